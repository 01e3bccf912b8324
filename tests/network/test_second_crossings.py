"""A tie station that could stand at its line's second crossing is not called checked where it counts."""

from math import dist

import pytest
from builders.records import LOCAL, measure

from pegline.network.adjust import adjust
from pegline.network.unnoticed_mistakes import find_unnoticed

AT = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (33.0, 37.0), "D": (18.0, -30.0)}
SIDES = {"C": "left A-B", "D": "right A-B"}


def unnoticed(chainage, *more, carries=True, wrong=0.0):
    """Return what is said of S at a chainage on A-B, from which S-C and further lines are taped."""
    at = AT | {"S": (chainage, 0.0)}
    names = {"A-B": "base", "A-C": "side", "C-B": "side", "A-D": "side", "D-B": "side", "S-C": "tie", "C-D": "check"}
    lines = {name: (use, dist(*(at[end] for end in name.split("-")))) for name, use in names.items()}
    lines |= {name: ("check", dist(*(at[end] for end in name.split("-")))) for name in more}
    rows = [("S", "A-B", chainage + wrong, "station"), *([("p", "S-C", 10.0, 3.0)] if carries else [])]
    book, reduction = measure(lines, sides=SIDES, rows=rows)
    adjustment = adjust(book, reduction, LOCAL)
    assert all(check.passed for check in adjustment.checks)
    return find_unnoticed(book, reduction, adjustment)


@pytest.mark.parametrize("wrong", [0.0, 16.0])
def test_a_chainage_wrong_by_twice_the_way_to_the_foot_is_told(wrong):
    # The foot of C is at 33: from 25 and from 41 S-C is as long. Booked rightly or not, the other is as good.
    found = unnoticed(25.0, wrong=wrong)

    assert found.unchecked == ("S",)
    assert found.distance("S") == pytest.approx(16.0, abs=0.01)
    ((booking, mistake),) = found.hidden.items()
    assert (booking.kind, booking.line) == ("chainage", "A-B")
    assert mistake == pytest.approx(-16.0 if wrong else 16.0, abs=0.01)
    assert found.causes["S"] is booking
    assert found.is_checked("C")


def test_a_line_to_a_station_with_another_foot_shows_it():
    assert unnoticed(25.0, "S-D").unchecked == ()


def test_a_tie_station_that_carries_nothing_does_not_count():
    found = unnoticed(25.0, carries=False)
    assert found.unchecked == ()
    assert found.hidden == {}


@pytest.mark.parametrize("chainage", [20.0, 32.9])
def test_crossings_beyond_the_largest_mistake_and_within_what_counts_as_checked_are_not_told(chainage):
    # 26 m away, which is more than the 20 m that are looked at; 0.2 m away, where 0.67 m count as checked.
    assert unnoticed(chainage).hidden == {}
