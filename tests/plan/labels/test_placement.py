"""Labels keep off one another where there is room, and can be read from below or the right."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import shapely
from builders.drawn import house, random_survey
from builders.paths import SAMPLES
from hypothesis import example, given
from hypothesis import strategies as st

import pegline
from pegline.plan.labels.boxes import box
from pegline.plan.labels.placement import (
    LABEL_CLEARANCE_MM,
    MAX_LABEL_PLACES,
    PlaceableLabel,
    Spot,
    lines_under,
    places_along,
    places_around,
    places_inside,
    settle_labels,
    upright,
)
from pegline.plan.model import Plan

ALLOWED = 0.01  #: share of the labels' area that may overlap


def boxes(plan: Plan):
    labels = [label for label in plan.labels if plan.layers[label.layer].plots]
    x, y = (np.array([label.centre for label in labels]) / plan.metres_per_mm).T
    rotation, width, height = ([getattr(label, name) for label in labels] for name in ("rotation", "width", "height"))
    return box(x, y, rotation, width, height)


def overlap_share(boxes) -> float:
    """Return the area where labels overlap over the area of all labels."""
    one, two = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    pair = one < two
    over = shapely.area(shapely.intersection(boxes[one[pair]], boxes[two[pair]])).sum()
    return float(over / shapely.area(boxes).sum())


def label(text: str, x: float, y: float, *, needed: bool = True) -> PlaceableLabel:
    return PlaceableLabel(text, 10.0, 2.0, places_around(x, y, 0.5, 10.0, 2.0), needed)


def invented_plan(seed: int) -> Plan:
    return random_survey(seed, 4 + seed % 12, 10 + seed % 30).plan()


@pytest.mark.parametrize("seed", range(12))
def test_labels_of_invented_plots_hardly_overlap(seed):
    assert overlap_share(boxes(random_survey(seed).plan())) < ALLOWED


@pytest.mark.long
def test_labels_of_200_invented_plots_hardly_overlap():
    plans = [invented_plan(seed) for seed in range(200)]

    each = [boxes(plan) for plan in plans]
    areas = np.array([shapely.area(labels).sum() for labels in each])
    over = np.array([overlap_share(labels) for labels in each]) * areas
    print(f"{over.sum() / areas.sum():.5f}, worst {max(over / areas):.5f}")
    assert over.sum() / areas.sum() < ALLOWED


@pytest.mark.parametrize("name", ["house-plot", "old-farm", "paddock", "estate"])
def test_labels_of_the_samples_hardly_overlap(name):
    plan = pegline.reduce(pegline.read(SAMPLES / f"{name}.yaml")).plan()

    assert overlap_share(boxes(plan)) < ALLOWED


def test_labels_of_a_house_plot_do_not_overlap():
    assert overlap_share(boxes(house().plan())) == 0.0


def test_two_points_side_by_side_have_their_names_apart():
    places = settle_labels([label("one", 0, 0), label("two", 3, 0)], [], [])

    assert overlap_share(box([p.x for p in places], [p.y for p in places], 0.0, 10.0, 2.0)) == 0.0


def test_a_label_alone_takes_its_best_place():
    (place,) = settle_labels([label("one", 0, 0)], [], [])

    assert place == tuple(places_around(0, 0, 0.5, 10.0, 2.0)[0])


def test_a_label_keeps_off_a_line():
    fence = np.array([(-20, 1.5), (20, 1.5)])

    (place,) = settle_labels([label("one", 0, 0)], [fence], [])

    assert not box(place.x, place.y, 0.0, 10.0, 2.0).intersects(shapely.LineString(fence))


def test_a_figure_without_room_is_left_out_and_a_name_is_not():
    spot = Spot(0.0, 0.0)
    name, figure = (
        PlaceableLabel(text, 10.0, 2.0, np.array([spot]), needed, rank)
        for text, needed, rank in (("name", True, 0), ("figure", False, 5))
    )

    assert settle_labels([name, figure], [], []) == (spot, None)


def test_places_not_looked_at_could_not_have_been_among_the_best(monkeypatch):
    random = np.random.default_rng(5)
    lines = list(random.uniform(0, 120, (60, 3, 2)))
    discs = [(x, y, 1.0) for x, y in random.uniform(0, 120, (200, 2))]
    pieces = random.uniform(0, 120, (100, 2, 2, 2))
    own = [np.vstack([places_along(*piece, 10.0, 2.0) for piece in pair]) for pair in pieces]
    wanted = [PlaceableLabel("name", 10.0, 2.0, spots, True) for spots in own]

    monkeypatch.setattr("pegline.plan.labels.placement.MAX_LABEL_PLACES", 600)
    sparing = settle_labels(wanted, lines, discs)
    monkeypatch.setattr("pegline.plan.labels.placement.FIRST_LOOK_FACTOR", 1000)

    assert sparing == settle_labels(wanted, lines, discs)


@pytest.mark.parametrize("count", [40, 400])
def test_each_label_has_the_cheapest_place_beside_the_others(count):
    # The search stops where no label can do better by moving alone: that is so whatever the order of the moves.
    random = np.random.default_rng(count)
    wanted = [label("name", x, y) for x, y in random.uniform(0, 12 * count**0.5, (count, 2))]

    places = settle_labels(wanted, [], [])

    taken = box(
        *np.array([(p.x, p.y, 0.0, 10.0 + 2 * LABEL_CLEARANCE_MM, 2.0 + 2 * LABEL_CLEARANCE_MM) for p in places]).T
    )
    for i, (asked, place) in enumerate(zip(wanted, places, strict=True)):
        others = shapely.unary_union(np.delete(taken, i))
        free = [spot for spot in asked.spots[: MAX_LABEL_PLACES // count] if spot[3] < place.cost - 1e-9]
        tried = [box(x, y, 0.0, 10.0 + 2 * LABEL_CLEARANCE_MM, 2.0 + 2 * LABEL_CLEARANCE_MM) for x, y, *_ in free]
        assert all(shapely.area(shapely.intersection(each, others)) > 0 for each in tried)


@given(st.floats(-20.0, 20.0))
def test_text_is_upright_and_keeps_its_line(angle):
    turned = upright(angle)

    assert -pi / 2 < turned <= pi / 2 + 1e-6
    assert abs(np.sin(turned - angle)) < 1e-9


@given(st.floats(0, 6.28), st.floats(12.0, 60.0))
def test_places_beside_a_piece_do_not_touch_it(angle, length):
    end = (length * np.cos(angle), length * np.sin(angle))
    piece = shapely.LineString([(0, 0), end])

    for x, y, rotation, _ in places_along((0.0, 0.0), end, 10.0, 2.0):
        assert not box(x, y, rotation, 10.0, 2.0).intersects(piece)


def test_the_best_place_in_a_square_is_its_middle():
    ring = shapely.box(0, 0, 30, 30)

    best = places_inside(ring, 10.0, 2.0)[0]

    assert best[:2].tolist() == [15.0, 15.0]


@example(0.0, -4.3e-280, 1.0, 0.0, 0.0)
@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20), st.floats(-1.5, 1.5))
def test_the_line_under_a_box_is_as_long_as_geometry_says(x0, y0, x1, y1, rotation):
    shape = np.array([[1.0, 2.0, rotation, 12.0, 4.0]])
    (drawn,) = box(*shape.T)
    line = np.array([(x0, y0), (x1, y1)])

    # A line that runs along an edge lies in the box or not by a hair: that of a box a hair smaller, or larger.
    least, most = (drawn.buffer(hair, join_style="mitre") for hair in (-1e-9, 1e-9))
    found = lines_under(shape, [line])[0]
    assert found >= least.intersection(shapely.LineString(line)).length - 1e-6
    assert found <= most.intersection(shapely.LineString(line)).length + 1e-6
