"""How deep points lie inside a ring: against a geometry library."""

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from pegline.plane import depth_inside

#: a house with a wing: not convex
RING = np.array([(0.0, 0.0), (9.0, 1.0), (9.0, 6.0), (5.0, 6.0), (5.0, 11.0), (-1.0, 10.0)])


def test_depths_are_those_of_a_geometry_library():
    house = Polygon(RING)
    points = np.random.default_rng(4).uniform(-4, 14, (400, 2))
    expected = [house.exterior.distance(Point(xy)) * (1 if house.contains(Point(xy)) else -1) for xy in points.tolist()]
    assert depth_inside(points, RING) == pytest.approx(np.array(expected), abs=1e-12)


def test_a_ring_walked_the_other_way_is_the_same_ring():
    points = np.random.default_rng(5).uniform(-4, 14, (50, 2))
    assert depth_inside(points, RING[::-1]) == pytest.approx(depth_inside(points, RING), abs=1e-12)
