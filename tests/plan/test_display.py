"""Lines of straight and round pieces made of straight ones, by circles; and what turns a page."""

from math import pi, tan

import numpy as np
import pytest

from pegline.plan.display import Stroke, close_ring, flatten, turning_matrix


@pytest.mark.parametrize("turn", [pi / 6, pi / 2, pi, 1.7 * pi, -pi / 3, -1.2 * pi])
def test_an_arc_keeps_to_its_circle_and_its_chords_within_what_is_allowed(turn):
    # From (3, 1) to the east, about a centre 10 to the left of that or to the right.
    side = 1.0 if turn > 0 else -1.0
    centre = np.array([3.0, 1.0 + 10 * side])
    end = centre + 10 * np.array([np.sin(abs(turn)), -side * np.cos(turn)])
    points = flatten(np.array([(3.0, 1.0), end]), np.array([tan(turn / 4), 0.0]), False, 0.02)
    assert points[0].tolist() == [3.0, 1.0]
    assert points[-1] == pytest.approx(end)
    assert np.hypot(*(points - centre).T) == pytest.approx(10.0)
    middles = (points[1:] + points[:-1]) / 2
    sagittas = 10.0 - np.hypot(*(middles - centre).T)
    assert sagittas.max() <= 0.02
    assert sagittas.max() > 0.02 / 2.5  # in no more pieces than that needs
    assert np.ptp(np.hypot(*np.diff(points, axis=0).T)) == pytest.approx(0.0, abs=1e-9)


def test_a_ring_of_two_half_circles_is_a_circle():
    points = flatten(np.array([(0.0, 0.0), (10.0, 0.0)]), np.array([1.0, 1.0]), True, 0.01)
    assert np.hypot(*(points - (5.0, 0.0)).T) == pytest.approx(5.0)
    x, y = close_ring(points, closed=True).T
    assert (x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2 == pytest.approx(pi * 25, rel=0.005)  # anticlockwise


def test_straight_pieces_stay_as_they_are():
    corners = np.array([(0.0, 0.0), (4.0, 0.0), (4.0, 3.0)])
    assert flatten(corners, np.zeros(3), False, 0.01) is corners
    mixed = flatten(corners, np.array([0.0, 1.0, 0.0]), False, 0.01)
    assert mixed[:2].tolist() == corners[:2].tolist()
    assert mixed[2:-1, 0].min() > 4.0  # round to the right of the way north, whose centre is on the left
    assert close_ring(corners, closed=False) is corners


def test_a_turn_is_anticlockwise():
    assert turning_matrix(pi / 2) @ [1.0, 0.0] == pytest.approx([0.0, 1.0])
    assert turning_matrix(0.3) @ turning_matrix(-0.3) == pytest.approx(np.eye(2))
    with pytest.raises(ValueError, match="read-only"):
        turning_matrix(0.3)[0, 0] = 2.0


def test_a_line_looks_like_its_layer_or_another():
    line = np.zeros((2, 2))
    assert (Stroke("SHEET", line).look, Stroke("SHEET", line, looks_like="WALLS").look) == ("SHEET", "WALLS")
