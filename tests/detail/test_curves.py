"""Smooth curves, circles and offset copies."""

from math import pi

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pegline.detail.curves import NoRoomError, circle, curve, curve_vertices, parallel, through_three
from pegline.detail.model import Path
from pegline.detail.path import area, left_normals, length, locate, position_at, straight, stroke
from pegline.plane import turn_points

ROUNDING = 1e-9

lanes = arrays(float, (6,), elements=st.floats(-8, 8, width=32))


def lane(sideways):
    """Return points 10 m apart along x that lie up to 8 m aside."""
    return np.stack([10.0 * np.arange(len(sideways)), sideways], axis=1)


def turn_at_joints(path):
    """Return the angles between the pieces of a path that meet."""
    starts, ends = left_normals(path)
    after = starts[1:] if not path.closed else np.roll(starts, -1, axis=0)
    before = ends[:-1] if not path.closed else ends
    return np.arccos(np.clip((before * after).sum(1), -1, 1))


@given(sideways=lanes)
def test_a_curve_meets_its_points_in_order_and_has_no_corner(sideways):
    path = curve(lane(sideways))
    assert path.vertices[::2].tolist() == lane(sideways).tolist()
    assert turn_at_joints(path).max() < 1e-6


@given(sideways=lanes, angle=st.floats(-3, 3), east=st.floats(-1e4, 1e4), north=st.floats(-1e4, 1e4))
def test_a_curve_turns_and_shifts_with_the_plot(sideways, angle, east, north):
    points, shift = lane(sideways), np.array([east, north])
    moved = curve(turn_points(points, angle) + shift)
    same = curve(points)
    assert moved.vertices == pytest.approx(turn_points(same.vertices, angle) + shift, abs=1e-6)
    assert moved.bulges == pytest.approx(same.bulges, abs=1e-6)


@given(sideways=lanes)
def test_a_mirrored_or_reversed_plot_has_the_mirrored_or_reversed_curve(sideways):
    points, same = lane(sideways), curve(lane(sideways))
    assert curve(points * [1, -1]).bulges == pytest.approx(-same.bulges, abs=1e-7)
    back = curve(points[::-1])
    assert back.vertices[::-1] == pytest.approx(same.vertices, abs=1e-6)
    assert back.bulges[-2::-1] == pytest.approx(-same.bulges[:-1], abs=1e-6)


@given(radius=st.floats(1, 500), first=st.floats(0, 6), gaps=arrays(float, (4,), elements=st.floats(0.1, 0.7)))
def test_points_of_one_circle_give_that_circle(radius, first, gaps):
    angles = first + np.concatenate([[0], np.cumsum(gaps)])
    points = radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    path = curve(points)
    assert length(path) == pytest.approx(radius * gaps.sum(), rel=1e-9)
    assert np.hypot(*stroke(path, 0.01).T) == pytest.approx(radius, rel=1e-9)
    assert area(curve(points, closed=True)) == pytest.approx(pi * radius**2, rel=1e-9)


def test_points_in_line_and_two_points_are_joined_straight():
    assert curve([[0, 0], [1, 1], [3, 3], [4, 4]]).bulges.tolist() == [0.0] * 7
    assert length(curve([[0, 0], [3, 4]])) == 5.0


def test_a_closed_curve_has_no_corner_either():
    pond = curve([[0, 0], [9, -2], [14, 5], [6, 11], [-3, 7]], closed=True)
    assert turn_at_joints(pond).max() < 1e-6
    assert area(pond) > area(straight(pond.vertices[::2], closed=True))


def test_there_and_back_again_is_no_failure():
    assert np.isfinite(curve([[0, 0], [5, 0], [0, 0], [5, 1]]).bulges).all()


def test_a_point_given_twice_in_a_row_changes_nothing():
    twice = curve([[0, 0], [0, 0], [5, 1], [9, 4], [9, 4]])
    assert twice.vertices.tolist() == curve([[0, 0], [5, 1], [9, 4]]).vertices.tolist()
    ring = [[0, 0], [5, 1], [9, 4], [2, 6]]
    assert (curve([*ring, [0, 0]], closed=True).vertices == curve([*ring[1:], [0, 0]], closed=True).vertices).all()


def test_circles():
    assert length(circle([3, 4], 2.5)) == pytest.approx(5 * pi, abs=ROUNDING)
    for points in ([[1, 0], [0, 1], [-1, 0]], [[-1, 0], [0, 1], [1, 0]], [[1, 0], [0.8, 0.6], [0.6, 0.8]]):
        path = through_three(*points)
        assert abs(area(path)) == pytest.approx(pi, abs=1e-9)
        assert path.vertices.tolist() == points
    with pytest.raises(ValueError, match="in line"):
        through_three([0, 0], [1, 1], [3, 3])


@given(sideways=lanes, offset=st.floats(-3, 3))
def test_every_point_of_a_copy_lies_at_its_distance(sideways, offset):
    assume(abs(offset) > 0.01)
    path = curve(lane(sideways / 3))
    copy = parallel(path, offset)
    source = shapely.LineString(stroke(path, 1e-4))
    away = shapely.distance(shapely.points(stroke(copy, 0.01)), source)
    assert away == pytest.approx(abs(offset), abs=5e-3)
    # And on the side asked for.
    middle = position_at(copy, locate(copy, path.vertices[4]))
    foot = locate(path, middle)
    normal = left_normals(path)[0][foot[0]]
    assert np.sign(normal @ (middle - position_at(path, foot))) == np.sign(offset)


def test_corners_of_straight_pieces_are_carried_out_to_a_point():
    copy = parallel(straight([[0, 0], [10, 0], [10, 10]]), -2.0)
    assert copy.vertices.round(9).tolist() == [[0, -2], [12, -2], [12, 10]]
    expected = shapely.LineString([[0, 0], [10, 0], [10, 10]]).offset_curve(-2.0, join_style="mitre")
    assert shapely.LineString(copy.vertices).equals(expected.normalize()) or shapely.hausdorff_distance(
        shapely.LineString(copy.vertices), expected
    ) == pytest.approx(0, abs=ROUNDING)


@pytest.mark.parametrize("offset", [1.0, -1.0])
@pytest.mark.parametrize("bulge", [(0.3, 0.0), (0.0, 0.3), (0.3, 0.3), (0.0, 0.0)])
def test_a_copy_keeps_its_distance_where_an_arc_and_a_straight_piece_meet_in_a_corner(bulge, offset):
    path = Path(np.array([[0.0, 0], [20, 0], [28, 16]]), np.array([*bulge, 0.0]), closed=False)
    expected = shapely.LineString(stroke(path, 1e-4)).offset_curve(offset, join_style="mitre")

    copy = shapely.LineString(stroke(parallel(path, offset), 1e-4))

    # The copy is made of chords within 1 mm of the arc, of radius 18.2 m or 16.3 m: the last one lies askew by up to
    # √(2 · 1 mm / 16.3 m) = 0.0111, by which a copy 1 m off ends elsewhere.
    assert shapely.hausdorff_distance(copy, expected, densify=0.01) < 0.0111 + 0.001


def test_a_ring_is_copied_inward_on_its_left_when_it_runs_anticlockwise():
    ring = straight([[0, 0], [10, 0], [10, 8], [0, 8]], closed=True)
    assert area(parallel(ring, 1.0)) == pytest.approx(8 * 6)
    assert area(parallel(ring, -1.0)) == pytest.approx(12 * 10)
    assert area(parallel(circle([0, 0], 5), 1.0)) == pytest.approx(16 * pi)


def test_a_bend_too_sharp_to_follow_is_cut_away():
    # A half turn of radius 1 between two straights 2 m apart, copied 1.5 m inward: nothing but what fits is left.
    hook = Path(np.array([[0.0, 0], [10, 0], [10, 2.0], [4, 6]]), np.array([0, 1.0, 0, 0]), closed=False)
    copy = parallel(hook, 1.5)
    away = shapely.distance(shapely.points(copy.vertices), shapely.LineString(stroke(hook, 1e-4)))
    assert away.min() == pytest.approx(1.5, abs=5e-3)


def test_a_vertex_given_twice_does_not_spoil_a_copy():
    copy = parallel(straight([[0, 0], [5, 0], [5, 0], [10, 0]]), 1.0)
    assert copy.vertices.tolist() == [[0, 1], [5, 1], [10, 1]]
    with pytest.raises(NoRoomError, match="no length"):
        parallel(straight([[3, 4], [3, 4]]), 1.0)


def test_a_ring_smaller_than_the_distance_has_no_copy_inside():
    with pytest.raises(NoRoomError):
        parallel(circle([0, 0], 2), 3.0)


def test_many_curves_through_two_points_are_as_many_straight_lines():
    points = np.arange(12.0).reshape(3, 2, 2)

    vertices, bulges = curve_vertices(points, closed=False)

    assert (vertices == points).all()
    assert bulges.shape == (3, 2)
    assert not bulges.any()


def test_an_open_curve_that_ends_where_it_began_is_as_one_that_ends_beside_it():
    there_and_round = np.array([[0.0, 0.0], [10.0, 6.0], [14.0, -3.0], [6.0, -8.0], [0.0, 0.0]])
    beside = there_and_round.copy()
    beside[-1] += 1e-6

    for one, other in zip(
        curve_vertices(there_and_round, closed=False), curve_vertices(beside, closed=False), strict=True
    ):
        assert one == pytest.approx(other, abs=1e-5)
