"""Divisions of rings that carry errors: what is told of the ends covers what is found."""

from math import sqrt

import numpy as np
import pytest
from builders.rings import random_ring

from pegline.commands.area.cuts import part_of, place_along
from pegline.commands.area.division import RingFunction, divide
from pegline.detail.curves import curve
from pegline.detail.path import area, first_crossing, straight
from pegline.errors import UsageError

NORMAL_95 = 1.96


def random_field(rng, *, curved):
    """Return a ring of random corners with a random covariance of some centimetres."""
    while True:
        ring = random_ring(rng, curved=False)
        if ring is None or (curved and first_crossing(curve(ring.vertices, closed=True)) is not None):
            continue
        values = ring.vertices.ravel()
        root = rng.normal(0, 0.02, (len(values), len(values))) / sqrt(len(values)) * rng.uniform(0.3, 2)
        covariance = root @ root.T

        def path_of(values):
            points = values.reshape(-1, 2)
            return curve(points, closed=True) if curved else straight(points, closed=True)

        step = 2 if curved else 1
        corners = tuple((step * number, f"p{number}") for number in range(len(ring.vertices)))
        return RingFunction("field", path_of, values, covariance, corners, {})


def misses(count, seed=0):
    """Yield how far the ends told of random divisions lie from the true ones, in their own standard deviations."""
    rng, made = np.random.default_rng(seed), 0
    while made < count:
        field = random_field(rng, curved=made % 3 == 0)
        share, through = rng.uniform(0.2, 0.8), made % 2 == 0
        at = rng.integers(len(field.values) // 2)

        def guide(values, at=at, through=through):
            points = values.reshape(-1, 2)
            if through:
                return points[at]
            side = points[(at + 1) % len(points)] - points[at]
            return side / np.hypot(*side)

        def divide_field(values, field=field, share=share, through=through, guide=guide, at=at):
            ring = RingFunction("field", field.path_of, values, field.covariance, field.corners, field.columns)
            near = None if through else values.reshape(-1, 2)[at]
            return divide(ring, guide, [share], through=through, scale=1.0, near=near)

        try:
            true = divide_field(field.values)
            told = divide_field(field.values + rng.multivariate_normal(np.zeros(len(field.values)), field.covariance))
        except UsageError:
            continue
        if [end.side for end in true.ends] != [end.side for end in told.ends]:
            continue  # the line moved past a corner, or another of two equal lines was the shorter
        made += 1
        yield from (
            (one.distance - other.distance) / one.sd
            for one, other in zip(told.ends, true.ends, strict=True)
            if one.sd > 1e-6 and min(one.distance, other.distance) > 0.5  # an end at a corner is that corner
        )


def coverage(count, seed):
    ratios = np.abs(list(misses(count, seed)))
    return len(ratios), float((ratios < NORMAL_95).mean())


def test_ends_lie_within_what_is_told_of_them():
    # 100 divisions: between 88 and 100 of 100 pass a test of rates near 95 %.
    ends, share = coverage(100, 1)
    assert ends > 100
    assert 0.88 < share <= 1.0


@pytest.mark.long
def test_ends_of_2000_divisions_lie_within_what_is_told_of_them():
    ends, share = coverage(2000, 2)
    print(f"{ends} ends of 2,000 divisions: {share * 100:.1f} % within 1.96 σ")
    assert 0.93 < share < 0.97


def test_the_area_told_of_a_part_has_the_spread_of_the_part_set_out():
    rng = np.random.default_rng(3)
    field = random_field(rng, curved=False)

    def guide(values):
        return np.array([1.0, 0.0])

    told = divide(field, guide, [0.4], through=False, scale=1.0)
    found = []
    for _ in range(400):
        there = field.values + rng.multivariate_normal(np.zeros(len(field.values)), field.covariance)
        path = field.path_of(there)
        names = [name for _, name in field.corners]
        places = tuple(place_along(path, names.index(end.start), end.distance) for end in told.ends)
        found.append(abs(area(part_of(path, places))))
    # 400 draws give a standard deviation to 1 / √800 = 3.5 %; four of those are allowed.
    assert np.std(found) == pytest.approx(told.parts[0].area_sd, rel=0.14)


def square():
    corners = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 10.0], [0.0, 10.0]])
    return RingFunction(
        "garden",
        lambda values: straight(values.reshape(-1, 2), closed=True),
        corners.ravel(),
        np.zeros((8, 8)),
        tuple(enumerate("ABCD")),
        {},
    )


def test_what_is_kept_decides_the_side():
    for well, start in (((1.0, 5.0), 5.0), ((19.0, 5.0), 15.0)):
        division = divide(square(), lambda _: np.array([0.0, 1.0]), [0.25], through=False, scale=1.0, keep=[well])
        (end,) = [end for end in division.ends if end.side == "A-B"]
        assert end.distance == pytest.approx(start, abs=1e-9)


def test_what_cannot_be_kept_is_told():
    with pytest.raises(UsageError, match="with all that is kept"):
        divide(
            square(), lambda _: np.array([0.0, 1.0]), [0.25], through=False, scale=1.0, keep=[(1.0, 5.0), (19.0, 5.0)]
        )


def test_equal_parts_by_parallels_and_from_a_corner():
    strips = divide(square(), lambda _: np.array([0.0, 1.0]), [0.25, 0.5, 0.75], through=False, scale=1.0)
    fan = divide(square(), lambda _: np.array([0.0, 0.0]), [0.25, 0.5, 0.75], through=True, scale=1.0)
    for division in (strips, fan):
        assert [part.area for part in division.parts] == pytest.approx([50.0] * 4, abs=1e-9)
        assert len(division.ends) == 6


def test_a_ring_shaped_like_an_u_is_not_divided_by_a_line_that_crosses_it_twice_over():
    corners = np.array([[0, 0], [30, 0], [30, 30], [20, 30], [20, 10], [10, 10], [10, 30], [0, 30]], float)
    ring = RingFunction(
        "yard",
        lambda values: straight(values.reshape(-1, 2), closed=True),
        corners.ravel(),
        np.zeros((16, 16)),
        tuple(enumerate("ABCDEFGH")),
        {},
    )
    with pytest.raises(UsageError, match="no single straight line"):
        divide(ring, lambda _: np.array([1.0, 0.0]), [0.3], through=False, scale=1.0, keep=[(5.0, 29.0), (25.0, 29.0)])
