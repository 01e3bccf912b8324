"""Plane geometry."""

from __future__ import annotations

from math import hypot, pi, tau

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline import plane

ROUNDING = 1e-9
coordinate = st.floats(-1000, 1000)
point = st.tuples(coordinate, coordinate)
angle = st.floats(0, 6.28)


def apart(p: tuple[float, float], q: tuple[float, float]) -> bool:
    return hypot(p[0] - q[0], p[1] - q[1]) > 0.01


@given(start=point, bearing=angle, length=st.floats(0.1, 1000))
def test_a_bearing_comes_back_from_the_point_it_leads_to(
    start: tuple[float, float], bearing: float, length: float
) -> None:
    end = np.array(start) + length * plane.direction(bearing)

    assert float(plane.wrap_angle(plane.bearing(start, end) - bearing)) == pytest.approx(0, abs=1e-8)
    assert float(plane.distance(start, end)) == pytest.approx(length)


@given(start=point, end=point, chainage=coordinate, offset=coordinate)
def test_the_foot_undoes_setting_out(
    start: tuple[float, float], end: tuple[float, float], chainage: float, offset: float
) -> None:
    if not apart(start, end):
        return
    found = plane.foot(start, end, plane.along(start, end, chainage, offset))

    assert [float(value) for value in found] == pytest.approx([chainage, offset], abs=1e-6)


@given(points=st.lists(point, min_size=1, max_size=5), turn=angle)
def test_turning_clockwise_adds_to_every_bearing(points: list[tuple[float, float]], turn: float) -> None:
    for given_point in points:
        if hypot(*given_point) > 0.01:
            before = plane.bearing([0, 0], given_point)
            after = plane.bearing([0, 0], plane.turn_points(given_point, turn))

            assert float(plane.wrap_angle(after - before - turn)) == pytest.approx(0, abs=1e-8)


@given(start=point, end=point, height=st.floats(0.1, 500), chainage=coordinate, side=st.sampled_from([1, -1]))
def test_arcs_meet_at_the_point_whose_distances_they_are(
    start: tuple[float, float], end: tuple[float, float], height: float, chainage: float, side: int
) -> None:
    if hypot(start[0] - end[0], start[1] - end[1]) < 1:
        return
    truth = plane.along(start, end, chainage, side * height)

    found = plane.arcs_meet(start, plane.distance(start, truth), end, plane.distance(end, truth), side)

    assert found == pytest.approx(truth, abs=1e-5)


def test_three_four_five() -> None:
    # Atwell, The Faithfull Surveyour, Cambridge 1658, ch. I: sides 40 and 30 on a base of 50, foot at 32, height 24.
    chainage, offset = plane.foot([0, 0], [50, 0], plane.arcs_meet([0, 0], 40, [50, 0], 30, 1))

    assert (float(chainage), float(offset)) == pytest.approx((32, 24), abs=ROUNDING)


@pytest.mark.parametrize(
    ("distance", "radius", "other", "gap"), [(10, 3, 4, 3), (10, 6, 5, -1), (2, 10, 5, 3), (0, 5, 5, 0), (7, 3, 4, 0)]
)
def test_the_gap_between_arcs_that_do_not_meet(distance: float, radius: float, other: float, gap: float) -> None:
    assert float(plane.arc_gap(distance, radius, other)) == gap
    met = plane.arcs_meet([0, 0], radius, [max(distance, 1e-3), 0], other, 1)
    assert np.isnan(met).all() == (gap > 0)


def test_arcs_that_just_touch_meet_on_the_line() -> None:
    assert plane.arcs_meet([0, 0], 3, [7, 0], 4, 1).tolist() == [3, 0]


def test_functions_broadcast_over_arrays() -> None:
    starts = np.zeros((4, 2))
    ends = np.array([[0, 1], [1, 0], [0, -1], [-1, 0]])

    assert plane.bearing(starts, ends) == pytest.approx([0, pi / 2, pi, 3 * pi / 2])
    assert plane.arcs_meet(starts, np.ones(4), ends, np.ones(4), np.array([1, -1, 1, -1])).shape == (4, 2)


def test_the_mean_of_bearings_on_both_sides_of_north_is_north() -> None:
    assert plane.mean_angle([tau - 0.02, 0.02]) % tau == pytest.approx(0, abs=ROUNDING)


@given(
    centre=point,
    radius=st.floats(1, 500),
    bearings=st.tuples(st.floats(0, 1.8), st.floats(2.1, 3.9), st.floats(4.2, 6)),
)
def test_a_circle_comes_back_from_three_of_its_points(
    centre: tuple[float, float], radius: float, bearings: tuple[float, float, float]
) -> None:
    points = [np.array(centre) + radius * plane.direction(bearing) for bearing in bearings]

    found, size = plane.circle_through(*points)

    assert found == pytest.approx(centre, abs=1e-6)
    assert float(size) == pytest.approx(radius)


def test_three_points_in_line_have_no_circle() -> None:
    assert np.isinf(plane.circle_through([0, 0], [1, 1], [2, 2])[1])
