"""On which side of a line a place lies: the sign is that of the angle turned, whatever the line."""

from math import atan2, cos, pi, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline.errors import Place
from pegline.measures.values import Pair, Side
from pegline.network.line_sides import IN_LINE, is_on_booked_side, is_on_side, metres_left


@given(bearing=st.floats(0, 6.28), turn=st.floats(0.01, 3.13), arm=st.floats(1.0, 100.0))
def test_left_is_where_the_angle_from_the_line_turns_against_the_clock(bearing, turn, arm):
    end = (7.0 + 50 * cos(bearing), -3.0 + 50 * sin(bearing))
    for sign in (1, -1):
        place = (7.0 + arm * cos(bearing + sign * turn), -3.0 + arm * sin(bearing + sign * turn))
        assert metres_left((7.0, -3.0), end, place) == pytest.approx(sign * arm * sin(turn), abs=1e-9)
        angle = (atan2(place[1] + 3.0, place[0] - 7.0) - atan2(end[1] + 3.0, end[0] - 7.0) + pi) % (2 * pi) - pi
        assert is_on_side((7.0, -3.0), end, place, left=True) == (angle > 0)
        assert is_on_side((7.0, -3.0), end, place, left=False) == (angle < 0)


@pytest.mark.parametrize("aside", [-0.11, -0.09, 0.09, 0.11])
def test_what_all_but_stands_in_the_line_lies_on_either_side(aside):
    at = {"P": (2.0, 1.0), "Q": (2.0, 41.0), "X": (2.0 - aside, 20.0)}
    for left in (True, False):
        side = Side(Pair("P", "Q", Place("book.yaml", 1, 1)), left)
        assert is_on_booked_side(at, "X", side) == ((aside > 0) == left)
        assert is_on_booked_side(at, "X", side, IN_LINE) == ((aside > 0) == left or abs(aside) < 0.1)
        assert is_on_booked_side({"P": at["P"], "X": at["X"]}, "X", side) is None
