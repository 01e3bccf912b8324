"""A check that only a chosen reading holds up does not count: it keeps next to none of its redundancy without it."""

import numpy as np
import pytest
from builders.records import place

from pegline.diagnosis.open_readings.settlement import _weak
from pegline.network.least_squares import solve_network
from pegline.network.linear_equations import build_network
from pegline.network.observation_types import Booking, Distance


def taped(weights):
    """Return one line taped several times, each with its weight, solved."""
    bookings = [
        Booking(f"A-B {n}", "length", "check", ("line", f"A-B {n}"), 50.0, weight**-0.5 / 100, None, place(n))
        for n, weight in enumerate(weights)
    ]
    at = np.array([(0.0, 0.0), (50.0, 0.0)])
    return solve_network(build_network("AB", 2, [Distance(one, "A", "B") for one in bookings], {}, at, held=(0, 1, 3)))


@pytest.mark.parametrize(("other", "weak"), [(0.098, 1), (0.113, 0)])
def test_what_keeps_under_a_tenth_of_its_redundancy_without_the_chosen_readings_agrees_by_choice(other, weak):
    # Of lengths taped with weights w the redundancy of one is 1 - w / Σw; the chosen reading has the weight 1000.
    weights = [1.0, 1000.0, other]
    whole, without = 1 - 1 / sum(weights), 1 - 1 / (1 + other)
    assert (without / whole < 0.1) == bool(weak)

    assert _weak(taped(weights), frozenset({place(1)})).tolist()[:2] == [weak, 2]


def test_where_two_chosen_readings_hold_up_each_other_the_third_has_nothing_else():
    weights = [1.0, 1.0, 1.0, 1.0]
    assert _weak(taped(weights), frozenset({place(1), place(2)})).tolist() == [0, 2, 2, 0]
    assert _weak(taped(weights[:3]), frozenset({place(1), place(2)})).tolist() == [1, 2, 2]
