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
    _meet,
    area,
    chord_tolerance,
    cut,
    enclosed_areas,
    first_crossing,
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


@given(points=plots)
def test_straight_rings_measure_as_in_shapely(points):
    ring = shapely.LinearRing(points)
    assert length(straight(points, closed=True)) == pytest.approx(ring.length, abs=1e-8)
    signed = shapely.Polygon(points).area
    assert abs(area(straight(points, closed=True))) == pytest.approx(signed, abs=1e-7)


@given(bulge=st.floats(-0.0011, 0.0011), chord=st.floats(0.1, 1000))
def test_series_and_closed_forms_join_without_a_step(bulge, chord):
    b = bulge if abs(bulge) > 1e-5 else 1e-5
    radius, angle = chord * (1 + b * b) / (4 * b), 4 * np.arctan(b)
    assert piece_lengths(chord, b) == pytest.approx(abs(radius * angle), rel=1e-10)
    # The textbook form loses digits here: it can vouch for six of ours.
    assert enclosed_areas(chord, b) == pytest.approx(
        np.sign(b) * radius**2 * (abs(angle) - np.sin(abs(angle))) / 2, rel=2e-6
    )


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


@given(first=st.floats(0.01, 0.95), second=st.floats(0.01, 0.95))
def test_cut_pieces_make_up_the_whole(first, second):
    low, high = sorted((first, second))
    parts = [cut(QUARTER, (0, 0.0), (0, low)), cut(QUARTER, (0, low), (0, high)), cut(QUARTER, (0, high), (0, 1.0))]
    assert sum(map(length, parts)) == pytest.approx(length(QUARTER), abs=1e-7)


def test_cutting_a_ring_follows_it_round_its_first_vertex():
    part = cut(STADIUM, (3, 0.5), (1, 0.5))
    assert length(part) == pytest.approx(10 + 2 * pi, abs=ROUNDING)
    assert part.vertices.round(9).tolist() == [[-2, 2], [0, 0], [10, 0], [12, 2]]


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


def test_a_ring_that_touches_itself_or_runs_back_on_itself_is_told():
    assert first_crossing(straight([[0, 0], [4, 0], [4, 4], [2, 0], [0, 4]], closed=True)) is not None
    assert first_crossing(straight([[0, 0], [4, 0], [2, 0], [0, 4]], closed=True)) is not None
    assert first_crossing(STADIUM) is None


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
