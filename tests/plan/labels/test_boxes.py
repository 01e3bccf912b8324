"""Boxes of texts against shapely: where they are, which overlap, and what they share; the paper by hand."""

from __future__ import annotations

from math import pi, radians

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pegline.detail.path import straight
from pegline.plan.labels.boxes import TOUCHING, Boxes, LabelPaper, box, common_area, level_diagonals


@given(st.floats(-15, 15), st.floats(-15, 15), st.floats(-1.5, 1.5), st.floats(-1.5, 1.5))
def test_boxes_share_something_only_where_they_meet(x, y, first, second):
    one, two = np.array([[0.0, 0.0, first, 12.0, 4.0]]), np.array([[x, y, second, 9.0, 3.0]])

    area = box(*one.T)[0].intersection(box(*two.T)[0]).area
    assert (common_area(one, two)[0] > 1e-9) == (area > 1e-12) or area < 1e-6
    assert common_area(one, two)[0] >= area - 1e-8  # mm²; edges turned by 1e-7 to each other differ by 2e-9 in GEOS


def test_boxes_that_lie_alike_share_what_geometry_says():
    one, two = np.array([[0.0, 0.0, 0.3, 12.0, 4.0]]), np.array([[2.0, 1.0, 0.3, 9.0, 3.0]])

    assert common_area(one, two)[0] == pytest.approx(box(*one.T)[0].intersection(box(*two.T)[0]).area)


@given(st.floats(-15, 15), st.floats(-15, 15), st.floats(-1.5, 1.5), st.floats(-1.5, 1.5))
def test_boxes_overlap_as_geometry_says(x, y, first, second):
    one, two = np.array([[0.0, 0.0, first, 12.0, 4.0]]), np.array([[x, y, second, 9.0, 3.0]])
    hair = 1e-5  # boxes that overlap by less than this, or miss by less, are told either way

    there = Boxes.of(two)
    told = len(Boxes.of(one).meet(there, shapely.STRtree(there.reach))[0]) > 0

    drawn, other = box(*one.T)[0], box(*two.T)[0]
    assert told or drawn.buffer(-hair, join_style="mitre").disjoint(other)
    assert not told or drawn.buffer(hair, join_style="mitre").intersects(other)


def random_boxes(count, seed=9):
    draw = np.random.default_rng(seed)
    turns, wide, high = draw.uniform(-4, 4, count), draw.uniform(2, 14, count), draw.uniform(1, 5, count)
    return np.column_stack((draw.uniform(0, 60, (count, 2)), turns, wide, high))


def test_a_box_is_a_rectangle_turned_about_its_middle():
    level = shapely.box(-6.0, -2.0, 6.0, 2.0)
    turned = shapely.affinity.translate(shapely.affinity.rotate(level, 25.0, origin=(0, 0)), 30.0, -7.0)
    drawn = box(30.0, -7.0, radians(25.0), 12.0, 4.0)
    assert drawn.symmetric_difference(turned).area == pytest.approx(0.0, abs=1e-9)
    assert drawn.exterior.is_ccw


def test_a_diagonal_reaches_as_far_as_the_turned_box():
    some = random_boxes(50)
    assert shapely.bounds(level_diagonals(some)) == pytest.approx(shapely.bounds(box(*some.T)), abs=1e-9)


def test_of_many_boxes_the_pairs_that_meet_and_what_they_share_are_those_of_shapely():
    one, two = random_boxes(60, 1), random_boxes(60, 2)
    first, second = (grid.ravel() for grid in np.meshgrid(range(60), range(60), indexing="ij"))
    shared = shapely.area(shapely.intersection(box(*one[first].T), box(*two[second].T)))
    assert common_area(one[first], two[second]) == pytest.approx(shared, abs=1e-6)
    there = Boxes.of(two)
    found = set(zip(*(each.tolist() for each in Boxes.of(one).meet(there, shapely.STRtree(there.reach))), strict=True))
    assert found == {(i, j) for i, j, area in zip(first, second, shared, strict=True) if area > 1e-4}
    assert len(found) > 60


def test_boxes_that_touch_share_nothing():
    here = np.array([[0.0, 0.0, 0.0, 4.0, 2.0]])
    for x, y, meets in ((4.0, 0.0, False), (0.0, 2.0, False), (4 - 1e-3, 0.0, True), (0.0, 2 - 1e-3, True)):
        there = Boxes.of(np.array([[x, y, 0.0, 4.0, 2.0]]))
        assert (len(Boxes.of(here).meet(there, shapely.STRtree(there.reach))[0]) > 0) == meets
    assert TOUCHING < 1e-3


def test_boxes_are_chosen_and_joined_row_by_row():
    some, more = Boxes.of(random_boxes(5)), Boxes.of(random_boxes(3, 4))
    both = some + more
    assert len(both) == 8
    assert both[np.arange(5, 8)].shape.tolist() == more.shape.tolist()
    assert shapely.equals(both[np.arange(5)].reach, some.reach).all()


def test_on_paper_the_map_is_smaller_and_turned():
    # 1:200 is 0.2 m a millimetre. Turned a quarter anticlockwise, what lies east lies up.
    paper = LabelPaper(0.2, pi / 2)
    assert paper.at((10.0, 0.0)) == pytest.approx((0.0, 50.0))
    assert paper.at((0.0, 10.0)) == pytest.approx((-50.0, 0.0))
    assert paper.position(0.0, 50.0) == pytest.approx((10.0, 0.0))
    places = np.random.default_rng(3).uniform(-50, 50, (7, 2))
    slant = LabelPaper(0.35, 0.6)
    assert slant.positions(slant.points(places)) == pytest.approx(places)
    line = straight([np.array(p) for p in ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0))], closed=False)
    assert paper.path(line) == pytest.approx(np.array([(0, 0), (0, 50), (-50, 50)]))


def test_letters_are_larger_where_they_are_read_standing():
    # Of the series of ISO 3098: 1.8, 2.5, 3.5.
    assert (LabelPaper(0.2).name_height, LabelPaper(0.2).strong_height) == (1.8, 2.5)
    assert (LabelPaper(0.2, large=True).name_height, LabelPaper(0.2, large=True).strong_height) == (2.5, 3.5)
