"""A tie station that could stand at its line's second crossing is not called checked where it counts."""

from dataclasses import replace
from functools import partial
from math import dist

import pytest
from builders.records import LOCAL, measure

from pegline.network.adjust import adjust, hints
from pegline.network.second_crossings import second_crossings
from pegline.network.unnoticed_mistakes import find_unnoticed

AT = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (33.0, 37.0), "D": (18.0, -30.0)}
SIDES = {"C": "left A-B", "D": "right A-B"}


def measured(chainage, *more, carries=True, wrong=0.0, e=None, side=None, scale=1.0):
    """Return a book with S at a chainage on A-B, from which S-C and further lines are taped, reduced and adjusted.

    Where E is given, it is placed by S-E and C-E, on a booked side.
    """
    at = AT | {"S": (chainage, 0.0)} | ({"E": e} if e else {})
    names = {"A-B": "base", "A-C": "side", "C-B": "side", "A-D": "side", "D-B": "side", "S-C": "tie", "C-D": "check"}
    names |= {"S-E": "side", "C-E": "side"} if e else {}
    lines = {name: (use, dist(*(at[end] for end in name.split("-")))) for name, use in names.items()}
    lines |= {name: ("check", dist(*(at[end] for end in name.split("-")))) for name in more}
    rows = [("S", "A-B", chainage + wrong, "station"), *([("p", "S-C", 10.0, 3.0)] if carries else [])]
    book, reduction = measure(lines, sides=SIDES | ({"E": side} if side else {}), rows=rows)
    adjustment = adjust(book, reduction, replace(LOCAL, scale=scale))
    assert all(check.passed for check in adjustment.checks)
    return book, reduction, adjustment


def unnoticed(*figures, **more):
    """Return what is said of S where it stands so."""
    return find_unnoticed(*measured(*figures, **more))


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


@pytest.mark.parametrize("scale", [0.8, 1.25])
def test_in_a_grid_it_is_told_in_metres_on_the_ground(scale):
    found = unnoticed(25.0, scale=scale)

    assert found.distance("S") == pytest.approx(16.0, abs=0.01)
    assert list(found.hidden.values()) == [pytest.approx(16.0, abs=0.01)]


def test_a_line_to_a_station_with_another_foot_shows_it():
    assert unnoticed(25.0, "S-D").unchecked == ()


def test_a_tie_station_that_carries_nothing_does_not_count():
    found = unnoticed(25.0, carries=False)
    assert found.unchecked == ()
    assert found.hidden == {}


def test_only_the_tie_stations_that_are_asked_for_are_looked_at():
    book, reduction, adjustment = measured(25.0)
    crossings = partial(second_crossings, adjustment, hints(book, reduction), least=1.0, largest=20.0)

    assert [one.mistake for one in crossings(["S"])] == [pytest.approx(16.0, abs=0.01)]
    assert list(crossings(["C"])) == list(crossings([])) == []


@pytest.mark.parametrize(("chainage", "mistake"), [(23.05, 19.9), (22.95, None), (32.62, 0.76), (32.68, None)])
def test_mistakes_are_tried_up_to_20_m_and_beyond_what_counts_as_checked(chainage, mistake):
    # C and D are 68.66 m apart, of which a hundredth counts as checked.
    assert list(unnoticed(chainage).hidden.values()) == ([pytest.approx(mistake, abs=0.01)] if mistake else [])


@pytest.mark.parametrize("chainage", [20.0, 32.9])
def test_crossings_beyond_the_largest_mistake_and_within_what_counts_as_checked_are_not_told(chainage):
    # 26 m away, which is more than the 20 m that are looked at; 0.2 m away, where 0.67 m count as checked.
    assert unnoticed(chainage).hidden == {}


# E is taped from S and C alone: with S at 41 the triangle S C E turns about C, and E comes to (24.053, 25.255).
E = (20.0, 30.0)


def test_what_is_placed_from_the_tie_station_would_move_with_it():
    found = unnoticed(25.0, e=E, side="left S-C")

    assert found.unchecked == ("S", "E")
    assert list(found.hidden.values()) == [pytest.approx(16.0, abs=0.01)]


@pytest.mark.parametrize(("side", "check"), [("left S-C", ["E-D"]), ("left A-C", [])])
def test_a_line_further_on_or_a_booked_side_shows_it(side, check):
    # E-D would be 55.585 for 60.033; and E, which is booked left of A-C, would lie right of it.
    found = unnoticed(25.0, *check, e=E, side=side)

    assert found.hidden == {}
    assert found.is_checked("S")


def test_where_another_pole_stands_that_is_taped_from_it_the_tie_station_cannot_stand():
    # E is a pole in the line A-B at 41 itself, 16 from S.
    found = unnoticed(25.0, "E-D", e=(41.0, 0.0), side="right S-C")

    assert found.hidden == {}
    assert found.unchecked == ()
