"""Dividing lines on random rings of straight and circular pieces."""

import numpy as np
import pytest
from builders.rings import rings
from shapely import LineString, Polygon
from shapely.ops import split

from pegline.commands.area.cuts import along_ring, left_part, parallel_cuts, part_of, place_along, through_cuts
from pegline.detail.curves import circle
from pegline.detail.path import area, position_at, stroke
from pegline.plane import left_of

EXACT = 1e-9  # share of the whole, by recomputing each part from its own outline
FINE = 1e-6  # metres, of the strokes that another library is given


def shares_of_divisions(count: int):
    """Yield the share wanted and the share found of every cut of so many random rings."""
    for rng, ring in rings(count):
        wanted, turn = rng.uniform(0.05, 0.95), rng.uniform(0, 2 * np.pi)
        target = wanted * abs(area(ring))
        cuts = list(parallel_cuts(ring, np.array([np.cos(turn), np.sin(turn)]), target))
        corner = ring.vertices[rng.integers(len(ring.vertices))]
        cuts += [*through_cuts(ring, corner, target), *through_cuts(ring, rng.uniform(-5, 5, 2), target)]
        for cut in cuts:
            yield wanted, abs(area(part_of(ring, cut.places))) / abs(area(ring))


def test_parts_have_the_share_asked_for():
    shares = np.array(list(shares_of_divisions(60)))
    assert len(shares) > 120
    assert np.abs(shares[:, 0] - shares[:, 1]).max() < EXACT


@pytest.mark.long
def test_parts_of_2000_rings_have_the_share_asked_for():
    shares = np.array(list(shares_of_divisions(2000)))
    print(
        f"{len(shares)} cuts of 2,000 rings: largest error {np.abs(shares[:, 0] - shares[:, 1]).max():.1e} of the whole"
    )
    assert np.abs(shares[:, 0] - shares[:, 1]).max() < EXACT


def test_the_area_on_the_left_is_what_another_library_cuts_off():
    for rng, ring in rings(40, seed=1):
        turn, origin = rng.uniform(0, 2 * np.pi), rng.uniform(-10, 10, 2)
        along = np.array([np.cos(turn), np.sin(turn)])
        polygon = Polygon(stroke(ring, FINE))
        far = LineString([origin - 200 * along, origin + 200 * along])
        back, front = origin - 200 * along, origin + 200 * along
        aside = 200 * left_of(along)
        left = Polygon([back, front, front + aside, back + aside])
        parts = split(polygon, far).geoms

        found = left_part(ring, origin, along)

        assert found.area == pytest.approx(polygon.intersection(left).area, abs=1e-3)
        assert len(parts) == 1 + len(found.crossings) // 2


def test_a_circle_is_halved_through_its_centre():
    (cut, _) = parallel_cuts(circle(np.zeros(2), 5.0), np.array([0.6, 0.8]), 12.5 * np.pi)
    assert cut.length == pytest.approx(10.0, abs=1e-9)
    assert np.abs(cut.ends.sum(axis=0)).max() < 1e-9


def test_a_place_is_found_again_by_its_distance_from_any_corner():
    for rng, ring in rings(20, seed=2):
        place = (int(rng.integers(len(ring.vertices))), float(rng.uniform()))
        corner = int(rng.integers(len(ring.vertices)))
        again = place_along(ring, corner, along_ring(ring, corner, place))
        assert position_at(ring, again) == pytest.approx(position_at(ring, place), abs=1e-8)
