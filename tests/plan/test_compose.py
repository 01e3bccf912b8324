"""What a plan is put together of: symbols along lines, and how much larger ellipses are drawn."""

from math import hypot

import numpy as np
import pytest
from builders.drawn import Drawn

STATIONS = {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (20.0, 30.0)}
LINES = [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")]


def tufts(points, names, kind="fence", bulges=()):
    plan = Drawn(STATIONS, LINES, points, {"line": (kind, names, bulges, False)}, scale=200).plan()
    assert plan.scale == 200
    return plan.tufts


def test_crosses_of_a_fence_are_evenly_apart_half_a_step_from_its_ends():
    # 30 m are 150 mm at 1:200; steps of 13 mm would be 11.54, so they are 12 of 12.5 mm or 2.5 m.
    found = tufts({"p": (5.0, 5.0), "q": (35.0, 5.0)}, ("p", "q"))
    assert [tuft.position for tuft in found] == [pytest.approx((6.25 + 2.5 * number, 5.0)) for number in range(12)]
    assert {tuft.rotation for tuft in found} == {0.0}


def test_round_a_corner_they_go_on_and_turn_with_their_piece():
    found = tufts({"p": (0.0, 5.0), "q": (10.0, 5.0), "r": (10.0, 25.0)}, ("p", "q", "r"))
    along = [x if y == 5.0 else 10.0 + y - 5.0 for x, y in (tuft.position for tuft in found)]
    assert np.diff(along) == pytest.approx(2.5)
    turned = {"level" if tuft.position[1] == 5.0 else "up": tuft.rotation for tuft in found}
    assert turned == {"level": 0.0, "up": pytest.approx(np.pi / 2)}


def test_along_an_arc_they_stand_on_it():
    found = tufts({"p": (5.0, 5.0), "q": (25.0, 5.0)}, ("p", "q"), bulges=(1.0,))
    for tuft in found:
        x, y = tuft.position
        assert hypot(x - 15.0, y - 5.0) == pytest.approx(10.0, abs=0.01)
        assert np.cos(tuft.rotation - np.arctan2(y - 5.0, x - 15.0)) == pytest.approx(0.0, abs=0.1)


def test_a_line_shorter_than_a_step_has_one_in_its_middle():
    (one,) = tufts({"p": (5.0, 5.0), "q": (6.0, 5.0)}, ("p", "q"))
    assert one.position == pytest.approx((5.5, 5.0))


def test_steps_are_the_nearest_number_to_what_the_kind_asks_for():
    # 27 m are 135 mm: steps of 13 mm would be 10.38, so they are 10.
    assert len(tufts({"p": (5.0, 5.0), "q": (32.0, 5.0)}, ("p", "q"))) == 10
