"""Lengths, areas, strokes, places and crossings of paths, against shapely and closed forms."""

from math import pi, tan

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pegline.detail.model import Path
from pegline.detail.path import (
    ONE_POINT_METRES,
    _meet,
    area,
    areas_and_lengths,
    chord_tolerance,
    cut,
    enclosed_areas,
    first_crossing,
    left_normals,
    length,
    locate,
    piece_lengths,
    position_at,
    straight,
    stroke,
)

ROUNDING = 1e-9

#: A stadium: two straights of 10 joined by half circles of radius 2.
STADIUM = Path(np.array([[0.0, 0], [10, 0], [10, 4], [0, 4]]), np.array([0.0, 1, 0, 1]), closed=True)
#: A quarter of a circle of radius 3, turning left from north.
QUARTER = Path(np.array([[3.0, 0], [0, 3]]), np.array([tan(pi / 8), 0]), closed=False)

plots = arrays(float, (6, 2), elements=st.floats(-100, 100, width=32))
bulges = st.floats(-1.5, 1.5)


def well_spaced(points, least=0.01):
    return shapely.distance(shapely.points(points), shapely.points(np.roll(points, 1, axis=0))).min() > least


def test_a_stadium_by_its_closed_forms():
    assert area(STADIUM) == pytest.approx(40 + 4 * pi, abs=ROUNDING)
    assert length(STADIUM) == pytest.approx(20 + 4 * pi, abs=ROUNDING)


def test_a_quarter_of_a_circle():
    assert length(QUARTER) == pytest.approx(1.5 * pi, abs=ROUNDING)
    pie = Path(np.array([[0.0, 0], [3, 0], [0, 3]]), np.array([0, tan(pi / 8), 0]), closed=True)
    assert area(pie) == pytest.approx(9 * pi / 4, abs=ROUNDING)


def test_a_clockwise_ring_has_a_negative_area():
    backward = Path(STADIUM.vertices[::-1], -np.array([0.0, 1, 0, 1]), closed=True)
    assert area(backward) == pytest.approx(-40 - 4 * pi, abs=ROUNDING)


def test_each_piece_of_a_ring_has_the_bulge_of_its_own_vertex():
    # On the sides of 3, 4 and 5 arcs that turn left by a third, a half and two thirds of a circle, R = c / (2 sin θ/2).
    corners, turns = np.array([[0.0, 0], [3, 0], [3, 4]]), 2 * pi * np.array([1 / 3, 1 / 2, 2 / 3])
    radii = np.array([3, 4, 5]) / (2 * np.sin(turns / 2))
    ring = Path(corners, np.tan(turns / 4), closed=True)
    assert length(ring) == pytest.approx((radii * turns).sum())
    assert area(ring) == pytest.approx(6 + (radii**2 * (turns - np.sin(turns)) / 2).sum())
    assert length(Path(corners, np.tan(turns / 4), closed=False)) == pytest.approx((radii * turns)[:2].sum())


@given(points=plots)
def test_straight_rings_measure_as_in_shapely(points):
    ring = shapely.LinearRing(points)
    assert length(straight(points, closed=True)) == pytest.approx(ring.length, abs=1e-8)
    signed = shapely.Polygon(points).area
    assert abs(area(straight(points, closed=True))) == pytest.approx(signed, abs=1e-7)


@pytest.mark.parametrize("bulge", [1e-5, -9.99e-4, 9.99e-4, 1.001e-3, -0.4, 2.0])
def test_series_and_closed_forms_agree_with_the_textbook_s_in_longer_numbers(bulge):
    # s = R θ and A = R² (θ - sin θ) / 2; with 19 digits in place of 16 they can vouch for nine of ours.
    b = np.longdouble(bulge)
    radius, angle = 7 * (1 + b * b) / (4 * b), 4 * np.arctan(b)
    assert float(piece_lengths(7.0, bulge)) == pytest.approx(float(radius * angle), rel=1e-9)
    if abs(bulge) > 1e-4:
        segment = radius**2 * (angle - np.sin(angle)) / 2
        assert float(enclosed_areas(7.0, bulge)) == pytest.approx(float(segment), rel=1e-9)


def test_a_plot_in_coordinates_of_a_grid_has_its_area_to_the_last_digit():
    corners = np.array([[0.0, 0], [40.3, 1.7], [38.1, 25.9], [-2.7, 22.2]])
    plot = straight(corners + np.array([500_000.3, 5_000_000.7]), closed=True)
    assert area(plot) == pytest.approx(shapely.Polygon(corners).area, abs=1e-6)


def test_paths_measured_together_are_as_large_and_as_long_as_each_is():
    corners = np.array([[0.0, 0], [40.3, 1.7], [38.1, 25.9], [-2.7, 22.2]])
    way, plot = straight(corners), straight(corners + np.array([500_000.3, 5_000_000.7]), closed=True)
    together = areas_and_lengths([way, STADIUM, plot])
    ring = shapely.Polygon(corners)
    assert together[1:, 0] == pytest.approx([40 + 4 * pi, ring.area], abs=1e-6)
    assert together[:, 1] == pytest.approx([shapely.LineString(corners).length, 20 + 4 * pi, ring.length], abs=1e-6)


@given(points=plots.filter(well_spaced), bulge=bulges)
def test_a_stroked_path_tends_to_the_exact_length_and_area(points, bulge):
    ring = Path(points, np.full(6, bulge), closed=True)
    errors = []
    for tolerance in (1e-2, 1e-4):
        line = shapely.LinearRing(stroke(ring, tolerance))
        signed = area(straight(stroke(ring, tolerance)[:-1], closed=True))
        assert abs(signed - area(ring)) <= tolerance * length(ring) + 1e-9
        errors.append(abs(line.length - length(ring)))
    assert errors[1] <= errors[0] + 1e-9


@given(bulge=bulges.filter(lambda b: abs(b) > 1e-3), tolerance=st.sampled_from([0.001, 0.005, 0.05]))
def test_no_chord_leaves_its_arc_by_more_than_the_tolerance(bulge, tolerance):
    path = Path(np.array([[0.0, 0], [40, 9]]), np.array([bulge, 0]), closed=False)
    coarse, fine = stroke(path, tolerance), stroke(path, tolerance / 400)
    assert shapely.hausdorff_distance(shapely.LineString(fine), shapely.LineString(coarse)) <= tolerance * 1.01


def test_a_stroke_keeps_the_vertices_and_comes_back_to_the_first():
    points = stroke(STADIUM, 0.001)
    assert points[0].tolist() == points[-1].tolist() == [0, 0]
    assert all(vertex in points.tolist() for vertex in STADIUM.vertices.tolist())


@pytest.mark.parametrize("turn", [pi, -pi, pi / 2, -pi / 3])
@pytest.mark.parametrize("chords", [1, 2, 3, 7])
def test_an_arc_is_stroked_with_the_fewest_chords_that_keep_to_the_tolerance(turn, chords):
    # A chord of the n-th part of the angle leaves an arc of radius 3 by 3 (1 - cos(θ/2n)).
    ends = 3 * np.array([[1.0, 0.0], [np.cos(turn), np.sin(turn)]])
    path = Path(ends, np.array([tan(turn / 4), 0.0]), closed=False)
    leaves = 3 * (1 - np.cos(turn / 2 / chords))
    angles = turn * np.arange(chords + 1) / chords

    points = stroke(path, leaves)

    assert points == pytest.approx(3 * np.stack([np.cos(angles), np.sin(angles)], axis=1))
    assert len(stroke(path, leaves * (1 - 1e-6))) == chords + 2


def test_three_quarters_of_a_circle_have_two_chords_however_much_they_may_leave_it():
    path = Path(np.array([[1.0, 0.0], [0.0, -1.0]]), np.array([tan(1.5 * pi / 4), 0.0]), closed=False)
    assert stroke(path, 50.0) == pytest.approx(np.array([[1, 0], [-(0.5**0.5), 0.5**0.5], [0, -1]]))


def test_two_vertices_in_one_place_are_stroked_as_two():
    twice = Path(np.array([[1.0, 2.0], [1.0, 2.0], [4.0, 6.0]]), np.array([0.0, 0.0, 0.0]), closed=False)
    assert stroke(twice, 0.01).tolist() == [[1, 2], [1, 2], [4, 6]]


def test_places_on_a_quarter_of_a_circle_and_what_lies_left_of_its_ends():
    for share in (0.0, 1 / 3, 0.8, 1.0):
        angle = share * pi / 2
        assert position_at(QUARTER, (0, share)) == pytest.approx([3 * np.cos(angle), 3 * np.sin(angle)])
    # North at its start and west at its end; to the left of these lie west and south.
    starts, ends = left_normals(QUARTER)
    assert starts == pytest.approx(np.array([[-1.0, 0.0]]))
    assert ends == pytest.approx(np.array([[0.0, -1.0]]))


def test_the_tolerance_of_strokes():
    # Half a tenth of a millimetre on paper, and never more than 5 mm.
    assert chord_tolerance(20) == pytest.approx(0.001)
    assert chord_tolerance(500) == 0.005


@given(x=st.floats(-20, 20), y=st.floats(-20, 20), bulge=bulges)
def test_the_nearest_place_is_as_near_as_shapely_finds(x, y, bulge):
    path = Path(np.array([[-8.0, 0], [0, 2], [9, -3]]), np.array([bulge, 0.2, 0]), closed=False)
    place = locate(path, [x, y])
    away = np.hypot(*(position_at(path, place) - [x, y]))
    line = shapely.LineString(stroke(path, 1e-5))
    assert away == pytest.approx(line.distance(shapely.Point(x, y)), abs=2e-5)


@pytest.mark.parametrize(
    ("point", "place"),
    [
        ([6.0, 6.0], (0, 0.5)),  # outside, on the ray through the middle of the arc
        ([0.1, 0.1], (0, 0.5)),
        ([3.5, -1.0], (0, 0.0)),  # beyond its ends
        ([-1.0, 3.5], (0, 1.0)),
        ([4 * 0.5, 4 * 0.75**0.5], (0, 2 / 3)),
    ],
)
def test_the_nearest_place_on_a_quarter_of_a_circle(point, place):
    assert locate(QUARTER, point) == pytest.approx(place)
    mirrored = Path(QUARTER.vertices * [1, -1], -QUARTER.bulges, closed=False)
    assert locate(mirrored, np.multiply(point, [1, -1])) == pytest.approx(place)


def test_the_nearest_place_on_more_than_half_a_circle():
    # Three quarters of one about the origin: beyond 270° its end is nearer up to 315°, then its start.
    path = Path(np.array([[1.0, 0.0], [0.0, -1.0]]), np.array([tan(1.5 * pi / 4), 0.0]), closed=False)
    for degrees, share in ((200.0, 200 / 270), (10.0, 10 / 270), (300.0, 1.0), (330.0, 0.0)):
        angle = np.radians(degrees)
        assert locate(path, [2 * np.cos(angle), 2 * np.sin(angle)]) == pytest.approx((0, share))


def test_of_places_as_near_the_first_is_taken():
    half = Path(np.array([[-1.0, 0.0], [1.0, 0.0]]), np.array([-1.0, 0.0]), closed=False)
    assert locate(half, [0.0, -5.0]) == (0, 0.0)
    assert locate(straight([[0, 0], [10, 0], [10, 10], [0, 10]], closed=True), [5, 5]) == (0, 0.5)


def test_the_nearest_place_on_straight_pieces():
    path = straight([[1, 1], [9, 1], [9, 5]])
    assert locate(path, [3, 0]) == (0, 0.25)
    assert locate(path, [-3, 2]) == (0, 0.0)
    assert locate(path, [10, 4]) == (1, 0.75)
    assert locate(path, [10, 9]) == (1, 1.0)


@given(first=st.floats(0.01, 0.95), second=st.floats(0.01, 0.95))
def test_cut_pieces_make_up_the_whole(first, second):
    low, high = sorted((first, second))
    parts = [cut(QUARTER, (0, 0.0), (0, low)), cut(QUARTER, (0, low), (0, high)), cut(QUARTER, (0, high), (0, 1.0))]
    assert sum(map(length, parts)) == pytest.approx(length(QUARTER), abs=1e-7)


def test_cutting_a_ring_follows_it_round_its_first_vertex():
    part = cut(STADIUM, (3, 0.5), (1, 0.5))
    assert length(part) == pytest.approx(10 + 2 * pi, abs=ROUNDING)
    assert part.vertices.round(9).tolist() == [[-2, 2], [0, 0], [10, 0], [12, 2]]


def test_a_ring_is_followed_all_the_way_round_from_a_place_to_itself():
    whole = cut(STADIUM, (1, 0.5), (1, 0.5))
    assert length(whole) == pytest.approx(length(STADIUM))
    # Half of the first half circle, both straights with the other between them, and its other half.
    assert whole.bulges == pytest.approx([tan(pi / 8), 0, 1, 0, tan(pi / 8), 0])
    assert not whole.closed


def test_what_is_cut_out_of_an_open_path_has_the_vertices_between():
    path = straight([[0, 0], [10, 0], [10, 10], [20, 10], [20, 30]])
    assert cut(path, (1, 0.5), (3, 0.25)).vertices.tolist() == [[10, 5], [10, 10], [20, 10], [20, 15]]
    assert cut(path, (2, 0.5), (2, 0.75)).vertices.tolist() == [[15, 10], [17.5, 10]]


def test_arcs_are_cut_in_proportion_to_their_angle():
    part = cut(QUARTER, (0, 0.25), (0, 0.75))
    assert part.bulges == pytest.approx([tan(pi / 16), 0.0])
    angles = np.array([pi / 8, 3 * pi / 8])
    assert part.vertices == pytest.approx(3 * np.stack([np.cos(angles), np.sin(angles)], axis=1))


def test_cutting_an_open_path_backwards_keeps_its_direction():
    path = straight([[0, 0], [10, 0], [10, 10]])
    assert cut(path, (1, 0.5), (0, 0.2)).vertices.tolist() == [[2, 0], [10, 0], [10, 5]]


def test_a_bow_tie_crosses_in_the_middle():
    assert first_crossing(straight([[0, 0], [2, 2], [2, 0], [0, 2]], closed=True)).tolist() == [1, 1]


def test_arcs_that_bulge_into_each_other_cross():
    # Both long sides of a thin oblong bulge inward by more than half its breadth.
    thin = Path(np.array([[0.0, 0], [10, 0], [10, 1], [0, 1]]), np.array([-0.3, 0, -0.3, 0]), closed=True)
    assert first_crossing(thin) is not None
    assert first_crossing(Path(thin.vertices, np.array([-0.05, 0, -0.05, 0]), closed=True)) is None


def test_arcs_are_stroked_finely_enough_to_see_them_cross():
    # An oblong 1 m broad whose long sides bulge inward by 0.55 m each: chords of a metre's tolerance miss each other.
    bulge = -2 * 0.55 / 10
    thin = Path(np.array([[0.0, 0], [10, 0], [10, 1], [0, 1]]), np.array([bulge, 0, bulge, 0]), closed=True)
    assert first_crossing(thin) is not None


@pytest.mark.parametrize(
    ("ring", "where"),
    [
        ([[0, 0], [4, 0], [4, 4], [2, 0], [0, 4]], [2, 0]),  # a corner touches a side
        ([[0, 0], [4, 0], [2, 0], [0, 4]], [4, 0]),  # a side runs back on the one before
        ([[0, 0], [2, 0], [2, 4], [4, 0]], [0, 0]),  # the last side on the first
        ([[0, 0], [4, 2], [2, 1], [0, 4]], [4, 2]),
        ([[0, 0], [9, 0], [9, 2], [6, 2], [6, -1], [3, -1], [3, 2], [0, 2]], [6, 0]),  # the first of two
    ],
)
def test_a_ring_that_touches_itself_or_runs_back_on_itself_is_told(ring, where):
    assert first_crossing(straight(ring, closed=True)).tolist() == where


def test_neither_a_round_ring_nor_a_pointed_one_crosses_itself():
    assert first_crossing(STADIUM) is None
    assert first_crossing(straight([[0, 0], [40, 1], [80, 0], [40, 2]], closed=True)) is None


def test_an_open_path_that_comes_back_to_its_start_touches_itself_there():
    assert first_crossing(straight([[1, 1], [5, 1], [5, 5], [1, 1]])).tolist() == [1, 1]
    assert first_crossing(straight([[1, 1], [5, 1], [3, 1]])).tolist() == [5, 1]
    assert first_crossing(straight([[1, 1], [5, 1]])) is None


#: A piece from (1, 2) by (4, 2), and what meets it or does not: where another begins, how it runs, and where they meet.
SLANTING = [
    ((1.0, 4.0), (4.0, -2.0), (3.0, 3.0)),  # across both middles
    ((2.0, 2.5), (-3.0, 6.0), (2.0, 2.5)),  # begins on it
    ((-1.0, 8.5), (3.0, -6.0), (2.0, 2.5)),  # ends on it
    ((1.0, 2.0), (-1.0, 3.0), (1.0, 2.0)),  # begins where it begins
    ((5.0, 4.0), (-1.0, 3.0), (5.0, 4.0)),  # begins where it ends
    ((2.0, 3.0), (-3.0, 6.0), None),  # leaves from beside it
    ((6.0, 6.0), (2.0, -5.0), None),  # would meet it a third beyond its end
    ((-0.5, 3.0), (1.0, -3.0), None),  # and before its beginning
    ((1.0, 2.5), (4.0, 2.0), None),  # beside it all the way
    ((3.0, 3.0), (-8.0, -4.0), (1.0, 2.0)),  # along it, from its middle back beyond its beginning
    ((5.0, 4.0), (2.0, 1.0), (5.0, 4.0)),  # goes on from its end
    ((-1.0, 1.0), (2.0, 1.0), (1.0, 2.0)),  # comes up to its beginning
    ((1.0 - 4e-10, 2.0 + 8e-10), (8000.0, 4000.0), (1.0, 2.0)),  # beside it by less than a nanometre
    ((1.0 - 4e-9, 2.0 + 8e-9), (8000.0, 4000.0), None),  # and by more
    ((7.0, 5.0), (2.0, 1.0), None),  # goes on beyond it
    ((-3.0, 0.0), (2.0, 1.0), None),  # ends before it
]


@pytest.mark.parametrize(("begin", "runs", "at"), SLANTING)
def test_which_pieces_meet_and_where(begin, runs, at):
    p, d, q, e = (np.array([vector]) for vector in ((1.0, 2.0), (4.0, 2.0), begin, runs))
    found, where = _meet(p, d, q, e)
    one, other = (shapely.LineString(np.vstack((start, start + by))) for start, by in ((p, d), (q, e)))
    assert found.tolist() == [one.distance(other) < ONE_POINT_METRES] == [at is not None]
    if at:
        assert where[0] == pytest.approx(at)


@pytest.mark.parametrize(
    ("begin", "along", "meets", "at"),
    [(4.0, 3.0, True, 4.0), (7.0, -9.0, True, 0.0), (12.0, -3.0, True, 9.0), (12.0, 3.0, False, None)],
)
def test_pieces_of_one_line_meet_where_the_one_first_has_the_other_on_it(begin, along, meets, at):
    p, d = np.array([[0.0, 0.0]]), np.array([[10.0, 0.0]])
    found, where = _meet(p, d, np.array([[begin, 0.0]]), np.array([[along, 0.0]]))
    assert found[0] == meets
    if meets:
        assert where[0] == pytest.approx([at, 0.0])


def test_a_point_given_twice_in_a_row_is_no_crossing():
    assert first_crossing(straight([[0, 0], [4, 0], [4, 0], [4, 4], [0, 4], [0, 0]], closed=True)) is None


@given(points=arrays(float, (6, 2), elements=st.integers(-9, 9).map(float)))
def test_rings_cross_where_shapely_finds_them_invalid(points):
    polygon = shapely.Polygon(points)
    if polygon.area < 1 or not well_spaced(points):
        return
    assert (first_crossing(straight(points, closed=True)) is None) == polygon.is_valid
