"""Smooth curves, circles and offset copies."""

from math import acos, cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pegline.detail.curves import (
    NoRoomError,
    _joints,
    circle,
    curve,
    curve_vertices,
    exact_copy,
    parallel,
    through_three,
)
from pegline.detail.model import Path
from pegline.detail.path import area, left_normals, length, locate, position_at, straight, stroke
from pegline.plane import distance, turn_points

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


def test_three_points_of_a_circle_by_hand():
    # At 0°, 60° and 150°: two arcs of half the angle between each, a quarter of whose turn is the bulge's.
    vertices, bulges = curve_vertices(unit_vectors([0, 60, 150]), closed=False)
    assert vertices == pytest.approx(unit_vectors([0, 30, 60, 105, 150]))
    assert bulges == pytest.approx([*[tan(radians(7.5))] * 2, *[tan(radians(11.25))] * 2, 0.0])
    assert bulges[-1] == 0.0


def unit_vectors(degrees):
    return np.array([[cos(radians(angle)), sin(radians(angle))] for angle in degrees])


def test_points_in_line_and_two_points_are_joined_straight():
    assert curve(np.array([1.0, 2.0, 4.0, 7.0])[:, None] * [0.1, 0.3]).bulges.tolist() == [0.0] * 7
    assert length(curve([[0, 0], [3, 4]])) == 5.0


def test_two_points_have_no_ring_and_three_have_a_circle():
    assert not curve([[0, 0], [3, 4]], closed=True).closed
    ring = curve([[0, 0], [3, 4], [0, 4]], closed=True)
    assert ring.closed
    assert area(ring) == pytest.approx(pi * 2.5**2)


@pytest.mark.parametrize("first", [0, 40, -75, 120, 170, 200])
@pytest.mark.parametrize("last", [0, -30, -80, 80, 135, 240])
def test_two_arcs_join_with_one_tangent_at_equal_lengths_of_tangent(first, last):
    start, end = np.array([[2.0, 1.0]]), np.array([[8.0, -3.0]])
    towards = np.arctan2(-4, 6)
    t, u = (np.array([[np.cos(towards + radians(a)), np.sin(towards + radians(a))]]) for a in (first, last))
    if np.allclose(t, u) and (t * (end - start)).sum() <= 0:
        return  # parallel and backward: no two arcs of equal tangents
    (joint,) = _joints(start, t, end, u)

    # An arc leaves its chord as it came to it: the tangent mirrored in the chord, which both arcs have at the joint.
    there, on = ((joint - start[0]) / distance(start[0], joint), (end[0] - joint) / distance(joint, end[0]))
    arriving, leaving = (2 * (v @ chord) * chord - v for v, chord in ((t[0], there), (u[0], on)))
    assert arriving == pytest.approx(leaving, abs=1e-9)
    # From one end d along its tangent, then twice d along that of the joint, and d along that of the other end.
    d = distance(start[0], joint) / (2 * (t[0] @ there))
    assert start[0] + d * t[0] + 2 * d * arriving + d * u[0] == pytest.approx(end[0])
    assert d > 0


def test_half_turns_one_way_and_the_other_join_in_the_middle():
    up = np.array([[0.0, 1.0]])
    assert _joints(np.array([[1.0, 2.0]]), up, np.array([[9.0, 2.0]]), up).tolist() == [[5.0, 2.0]]


def test_a_closed_curve_has_no_corner_either():
    pond = curve([[0, 0], [9, -2], [14, 5], [6, 11], [-3, 7]], closed=True)
    assert turn_at_joints(pond).max() < 1e-6
    assert area(pond) > area(straight(pond.vertices[::2], closed=True))


def test_there_and_back_again_turns_square_to_the_way_it_came():
    # From (0, 0) east, at (10, 0) north, and back to (0, 0) westward. Between tangents square to one another two arcs
    # join d = v² / (v·t + √((v·t)² + 2 v²)) along both, v = 10 and v·t = 10, so that the joint is at d (1 + √3) = 10.
    d = 10 / (1 + sqrt(3))
    vertices, bulges = curve_vertices(np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 0.0]]), closed=False)
    assert vertices == pytest.approx(
        np.array([[0, 0], [5 + d / 2, -d / 2], [10, 0], [5 + d / 2, d / 2], [0, 0]]), abs=ROUNDING
    )
    # Its chords leave the first tangent by 15° and the second by 60°.
    small, great = tan(radians(-7.5)), tan(radians(30))
    assert bulges == pytest.approx([small, great, great, small, 0])


def test_a_point_given_twice_in_a_row_changes_nothing():
    twice = curve([[0, 0], [0, 0], [5, 1], [9, 4], [9, 4]])
    assert twice.vertices.tolist() == curve([[0, 0], [5, 1], [9, 4]]).vertices.tolist()
    ring = [[0, 0], [5, 1], [9, 4], [2, 6]]
    assert (curve([*ring, [0, 0]], closed=True).vertices == curve([*ring[1:], [0, 0]], closed=True).vertices).all()


def test_an_open_curve_may_end_where_it_began():
    there_and_round = [[0.0, 0.0], [10.0, 6.0], [14.0, -3.0], [6.0, -8.0], [0.0, 0.0]]
    assert curve(there_and_round).vertices[::2].tolist() == there_and_round


def test_points_all_in_one_place_are_one():
    for closed in (False, True):
        assert curve([[3, 4], [3, 4], [3, 4]], closed=closed).vertices.tolist() == [[3, 4]]


def test_circles():
    assert length(circle([3, 4], 2.5)) == pytest.approx(5 * pi, abs=ROUNDING)
    for points in ([[1, 0], [0, 1], [-1, 0]], [[-1, 0], [0, 1], [1, 0]], [[1, 0], [0.8, 0.6], [0.6, 0.8]]):
        for radius in (1.0, 0.25, 40.0):
            path = through_three(*np.multiply(points, radius))
            way = 1 if points[0][0] > 0 else -1
            assert area(path) == pytest.approx(way * pi * radius**2)
            assert path.vertices.tolist() == np.multiply(points, radius).tolist()
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


def test_a_corner_is_carried_out_however_sharp_up_to_a_hairpin():
    for degrees, exact in ((100, True), (140, True), (160, False), (-100, True), (-160, False)):
        path = straight([[0, 0], [20, 0], [20 + 20 * cos(radians(degrees)), 20 * sin(radians(degrees))]])
        copy = exact_copy(path, 1.0)
        assert (copy is not None) == exact
        if copy is not None:
            # Where the two lines a metre to the left meet: o tan(θ/2) before the corner.
            assert copy.vertices[1] == pytest.approx([20 - tan(radians(degrees / 2)), 1.0])


@pytest.mark.parametrize("bulge", [(0.2, 0.0), (0.0, 0.2)])
def test_only_where_it_is_smooth_an_arc_is_copied_as_one(bulge):
    # The arc turns by 4 atan 0.2 = 45.2°, half of it at each end of its chord.
    half = 2 * np.arctan(0.2)
    for turn, exact in ((half, True), (half + radians(20), False)):
        path = Path(
            np.array([[0.0, 0], [20, 0], [20 + 20 * cos(turn), 20 * sin(turn)]]), np.array([*bulge, 0.0]), False
        )
        copy = exact_copy(path, 2.0)
        assert (copy is not None) == exact
        if copy is not None:
            assert copy.bulges.tolist() == path.bulges.tolist()
            assert length(copy) == pytest.approx(length(path) - 2.0 * 2 * half)


@pytest.mark.parametrize("radius", [0.5, 2.0])
def test_a_circle_is_copied_inward_as_long_as_anything_of_it_is_left(radius):
    for share, left in ((0.5, True), (0.99, True), (1.0, False), (1.5, False)):
        copy = exact_copy(circle([3, 4], radius), share * radius)
        assert (copy is not None) == left
        if copy is not None:
            assert length(copy) == pytest.approx(2 * pi * radius * (1 - share))


def test_the_copy_of_a_path_that_crosses_itself_may_cross_itself_as_well():
    path = straight([[0, 0], [20, 0], [20, 10], [10, 10], [10, -10]])
    assert parallel(path, 1.0).vertices.round(9).tolist() == [[0, 1], [19, 1], [19, 9], [11, 9], [11, -10]]


@pytest.mark.parametrize(("radius", "off"), [(5.0, 1.0), (0.5, 0.1)])
@pytest.mark.parametrize("way", [1, -1])
def test_half_a_disc_is_copied_inward_by_chords_either_way_round(way, radius, off):
    # Of the disc that is left within its rim there remains the segment beyond a chord as far off its middle.
    ends = np.array([[-radius, 0.0], [radius, 0.0]])[::way]
    ring = Path(ends, np.array([0.0, 1.0] if way > 0 else [0.0, -1.0]), closed=True)
    assert np.sign(area(ring)) == way
    left = radius - off
    segment = left**2 * acos(off / left) - off * sqrt(left**2 - off**2)
    copy = parallel(ring, way * off)
    assert area(copy) == pytest.approx(way * segment, rel=0.01)
    assert len(set(map(tuple, copy.vertices.tolist()))) == len(copy.vertices)
    # Outward it has the half disc of a larger radius and, below its diameter, an oblong.
    outward = pi * (radius + off) ** 2 / 2 + 2 * (radius + off) * off
    assert area(parallel(ring, way * -off)) == pytest.approx(way * outward, rel=0.01)


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


def test_of_a_ring_that_falls_apart_the_longer_part_is_kept():
    # Squares of 10 m and 6 m with a neck a metre broad between them, copied a metre inward.
    ring = [[0, 0], [10, 0], [10, 4], [20, 4], [20, 2], [26, 2], [26, 8], [20, 8], [20, 5], [10, 5], [10, 10], [0, 10]]
    for way in (1, -1):
        copy = parallel(straight(ring[::way], closed=True), way * 1.0)
        assert area(copy) == pytest.approx(way * 64)
        assert [copy.vertices.min(axis=0).tolist(), copy.vertices.max(axis=0).tolist()] == [[1, 1], [9, 9]]


def test_what_a_copy_cannot_enter_it_passes():
    # A bay half a metre broad, passed a metre off.
    path = [[0, 0], [10, 0], [10, 5], [10.5, 5], [10.5, 0], [30, 0]]
    for vertices, offset, ends in ((path, -1.0, [[0, -1], [30, -1]]), (path[::-1], 1.0, [[30, -1], [0, -1]])):
        copy = parallel(straight(vertices), offset)
        assert not copy.closed
        assert copy.vertices[[0, -1]].tolist() == ends
        assert copy.vertices[:, 1] == pytest.approx(-1.0)
        assert length(copy) == pytest.approx(30.0)


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
