"""Geometries as arrays, against shapely; and paths of straight pieces, against those with arcs."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import shape

from pegline.detail.path import chord_tolerance, straight, stroke
from pegline.writers.gis.dataframes import _geometries
from pegline.writers.gis.geometries import Shapes, of_parts, stack_shapes
from pegline.writers.survey_figures import straight_pieces

RING = np.array([[1.0, 2.0], [5.0, 2.0], [4.0, 7.0], [1.0, 2.0]])
NONE = np.empty((0, 2))
PARTS = {
    "Point": [RING[:1], NONE, RING[1:2]],
    "LineString": [NONE, RING[:2], RING[:3], NONE],
    "Polygon": [RING + 10.0, NONE, NONE, RING],
}


@pytest.mark.parametrize("form", PARTS)
def test_bounds_and_geometries_are_those_of_shapely(form):
    shapes = of_parts(form, PARTS[form])
    told = shapes.geojson(shapes.corners.tolist())

    assert [each is not None for each in told] == [len(part) > 0 for part in PARTS[form]] == shapes.present.tolist()
    expected = [shape(each) for each in told if each]
    assert shapes.bounds[:, [0, 2, 1, 3]].tolist() == [[*each.bounds] for each in expected]
    assert [each for each in _geometries(shapes) if each is not None] == expected


@pytest.mark.parametrize("form", PARTS)
def test_a_layer_without_rows_has_no_bounds(form):
    empty = of_parts(form, [])

    assert len(empty) == len(empty.bounds) == len(empty.geojson([])) == 0


def test_stacked_shapes_come_one_after_the_other():
    one, other = of_parts("LineString", PARTS["LineString"]), of_parts("LineString", [RING])
    both = stack_shapes([one, other])

    assert isinstance(both, Shapes)
    assert both.geojson(both.corners.tolist()) == [
        *one.geojson(one.corners.tolist()),
        *other.geojson(other.corners.tolist()),
    ]


@pytest.mark.parametrize("closed", [False, True])
def test_a_straight_path_is_drawn_as_the_general_way_draws_it(local, closed):
    path = straight(RING[:3], closed=closed)

    expected = stroke(path, chord_tolerance(50)) + np.array(local.frame.origin)
    assert straight_pieces(local, path).tolist() == expected.tolist()
