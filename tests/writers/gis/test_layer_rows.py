"""Lines between places and drawn ellipses, by the equations of both."""

from math import pi

import numpy as np
import pytest
import shapely

from pegline.writers.gis.layer_rows import CORNERS, ellipse_shapes, lines_between


def test_a_line_runs_between_two_places_that_are_there_and_apart():
    starts = np.array([(0.0, 0.0), (5.0, 5.0), (1.0, 1.0), (2.0, 0.0)])
    ends = np.array([(3.0, 4.0), (5.0, 5.0 + 9e-7), (9.0, 9.0), (2.0, 1.1e-6)])
    found = lines_between(starts, ends, np.array([True, True, False, True]))
    assert found.counts.tolist() == [2, 0, 0, 2]
    assert found.corners.tolist() == [[0.0, 0.0], [3.0, 4.0], [2.0, 0.0], [2.0, 1.1e-6]]


def test_an_ellipse_has_its_axes_its_bearing_and_its_centre():
    # 3 by 1 m, longest 30° east of north, about (100, 200); corners lie on it, and its area is that of a 24-gon.
    found = ellipse_shapes(np.array([(100.0, 200.0)]), np.array([(3.0, 1.0, 30.0)]), 1.0)
    off = found.corners - (100.0, 200.0)
    along, across = off @ [0.5, 0.75**0.5], off @ [0.75**0.5, -0.5]
    assert (along / 3) ** 2 + across**2 == pytest.approx(1.0)
    assert np.abs(along).max() == pytest.approx(3.0)
    ring = shapely.Polygon(found.corners)
    assert ring.area == pytest.approx(3.0 * CORNERS / 2 * np.sin(2 * pi / CORNERS))
    assert ring.exterior.is_ccw
    assert found.corners[0].tolist() == found.corners[-1].tolist()


def test_ellipses_are_in_the_unit_of_the_crs_and_what_is_held_has_none():
    centres = np.array([(30.48, 60.96), (0.0, 0.0), (3.048, 0.0)])
    found = ellipse_shapes(centres, np.array([(0.3048, 0.3048, 0.0), (0.5, 0.0, 0.0), (0.3048, 0.3048, 0.0)]), 0.3048)
    assert found.counts.tolist() == [CORNERS + 1, 0, CORNERS + 1]
    first, second = found.corners.reshape(2, CORNERS + 1, 2)
    assert np.hypot(*(first - (100.0, 200.0)).T) == pytest.approx(1.0)  # a foot about 100, 200 feet
    assert np.hypot(*(second - (10.0, 0.0)).T) == pytest.approx(1.0)


def test_of_many_ellipses_each_is_about_its_own_centre():
    draw = np.random.default_rng(3)
    centres, figures = (
        draw.uniform(-50, 50, (2100, 2)),
        np.column_stack((draw.uniform(0.1, 2, (2100, 2)), draw.uniform(0, 180, 2100))),
    )
    rings = ellipse_shapes(centres, figures, 1.0).corners.reshape(2100, CORNERS + 1, 2)
    assert rings[:, :-1].mean(axis=1) == pytest.approx(centres)
