"""A mistake is followed to the checks and to the points; what no check reaches is not called checked."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.records import KITE, KITE_SIDES, LOCAL, all_moves, measure, simulate

from pegline.book.model import Limits
from pegline.errors import Place
from pegline.frame.model import Frame, FrameBearing, FrameControl
from pegline.measures.values import Length
from pegline.network import dependents, unnoticed_mistakes
from pegline.network.adjust import adjust
from pegline.network.dependents import Readings, derivative_matrix, full_matrix
from pegline.network.equations import EQUATIONS
from pegline.network.observation_types import AngleAtStation, Booking, Distance, LineBearing
from pegline.network.unnoticed_mistakes import (
    Compared,
    find_unnoticed,
    moved_points,
    noticed_mistakes,
    smallest_noticed,
)


def unnoticed_of(book, reduction, **others):
    return find_unnoticed(book, reduction, adjust(book, reduction, LOCAL, **others))


def test_without_a_check_a_mistake_could_have_put_a_station_anywhere():
    unnoticed = unnoticed_of(*measure(KITE, sides=KITE_SIDES))

    assert unnoticed.distance("A") == 0.0  # the base line's first station holds everything
    assert "A" not in unnoticed.causes
    assert [unnoticed.distance(name) for name in "BCD"] == [None] * 3
    assert unnoticed.unchecked == ("B", "C", "D")
    assert unnoticed.smallest_noticed == {}


def test_the_smallest_noticed_mistakes_alone_are_those_of_the_whole():
    book, reduction = measure(KITE | {"C-D": ("check", 72.182)}, sides=KITE_SIDES)
    adjustment = adjust(book, reduction, LOCAL)
    alone = smallest_noticed(adjustment)

    assert {booking.label for booking in alone} == {*KITE, "C-D"}
    assert alone == find_unnoticed(book, reduction, adjustment).smallest_noticed


def test_a_check_over_one_triangle_says_nothing_of_the_other():
    # T-C checks the triangle A-C-B over its tie station on the base; nothing else was taped to D.
    rows = (("T", "A-B", 25.0, "station"),)
    lines = KITE | {"T-C": ("check", 39.4)}
    unnoticed = unnoticed_of(*measure(lines, sides=KITE_SIDES, rows=rows))

    assert unnoticed.is_checked("C")
    assert unnoticed.is_checked("B")
    assert unnoticed.distance("D") is None
    assert unnoticed.causes["D"].label in ("A-D", "D-B")
    assert unnoticed.unchecked == ("D",)  # T carries a check line only


def test_a_dimension_checks_no_station():
    # Of the stations nothing was measured twice; a dimension between two offsets checks these alone.
    rows = (("h", "A-B", 10.0, 5.0), ("k", "A-B", 18.0, 5.0))
    unnoticed = unnoticed_of(*measure(KITE, sides=KITE_SIDES, rows=rows, dimensions={"h-k": 8.0}))

    assert unnoticed.unchecked == ("B", "C", "D")
    assert not unnoticed.is_checked("h")


@pytest.mark.parametrize("columns", [256, 8])
@pytest.mark.parametrize("name", ["triangle with check line", "quad with pegs", "farm", "strip"])
def test_all_together_is_what_each_reading_and_each_check_gives_alone(name, columns, monkeypatch):
    monkeypatch.setattr(unnoticed_mistakes, "COLUMNS", columns)
    adjustment = adjust(*simulate(NETWORKS[name](), 3), LOCAL)
    adjusted, plotting = adjustment.fit, adjustment.plotting_fit
    count, points = len(adjusted.network.values), len(adjusted.network.names)
    compared = [
        Compared(n, check.allowed, by_choice)
        for check, by_choice in zip(adjustment.checks, [True, *[False] * 99], strict=False)
        for n in check.numbers
    ]
    least = {one.number: one.allowed + 0.84 * check.sd for one, check in zip(compared, adjustment.checks, strict=True)}

    mistakes, first_checks = noticed_mistakes(plotting, count, compared, adjustment.critical)
    movements, causes = moved_points(adjusted, adjustment.adjusted.base, mistakes)

    rates, derivatives = Readings.of(plotting, count).rates, full_matrix(derivative_matrix(plotting))
    start, end = adjustment.adjusted.base
    positions = adjusted.parameters[: 2 * points].reshape(-1, 2)
    away = positions - positions[start]
    reach = np.zeros((points, count))
    for reading in range(count):
        moves = all_moves(plotting, rates[[reading]])[:, 0][~plotting.network.held]
        sizes = []
        for one in compared:
            effect = rates[reading, one.number] - derivatives[one.number] @ moves
            silent = one.by_choice and one.number != reading
            sizes.append(np.inf if silent or abs(effect) < 1e-12 else least[one.number] / abs(effect))
        if min(sizes) < 1e6:
            assert mistakes[reading] == pytest.approx(min(sizes), rel=1e-6)
            assert sizes[first_checks[reading]] == pytest.approx(min(sizes), rel=1e-6)
        else:
            assert mistakes[reading] > 1e6
        rates_adjusted = Readings.of(adjusted, count).rates[[reading]]
        moved = all_moves(adjusted, rates_adjusted)[: 2 * points, 0].reshape(-1, 2)
        moved = moved - moved[start]
        turn = (away[end, 0] * moved[end, 1] - away[end, 1] * moved[end, 0]) / (away[end] @ away[end])
        size = np.hypot(moved[:, 0] + turn * away[:, 1], moved[:, 1] - turn * away[:, 0])
        angle = EQUATIONS[type(adjusted.network.observations[reading])].angle
        largest = unnoticed_mistakes.MAX_TURN if angle else unnoticed_mistakes.MAX_MISTAKE
        reach[:, reading] = size * min(mistakes[reading], largest)
        reach[:, reading][(mistakes[reading] > largest) & (reach[:, reading] > unnoticed_mistakes.STILL)] = np.inf
    assert movements == pytest.approx(reach.max(axis=1), rel=1e-6, abs=1e-9)
    named = causes >= 0
    assert reach[named, causes[named]] == pytest.approx(movements[named], rel=1e-6)
    assert movements[~named] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("name", ["braced quad", "triangle with check line", "quad with pegs", "farm"])
def test_a_mistake_of_the_smallest_noticed_size_makes_a_check_just_fail_and_0_84_sd_more(name):
    # Against the definition: the mistake is put into a book without errors, which is solved anew.
    plot = NETWORKS[name]()
    adjustment = adjust(*simulate(plot, None), LOCAL)
    unnoticed = find_unnoticed(*simulate(plot, None), adjustment)
    lengths = {booking.label: size for booking, size in unnoticed.smallest_noticed.items() if booking.kind == "length"}
    for line, size in lengths.items():
        wrong = adjust(*simulate(plot, None, changed={line: size}), LOCAL, allow_missing=True)
        excess = [(abs(check.difference) - check.allowed) / check.sd for check in wrong.checks]
        # A base line that is wrong by a metre bends what is straight here: a tenth of a deviation.
        assert max(excess) == pytest.approx(0.84, abs=0.1), line


@pytest.mark.parametrize("entries", [0, 10**9])
def test_a_mistake_in_a_line_moves_what_was_booked_along_it_too(entries, monkeypatch):
    # By the definition again: C stands beyond h, whose chainage on A-C counts in proportion to the line's length.
    monkeypatch.setattr(dependents, "FULL", entries)
    rows = (("h", "A-B", 4.0, 24.0), ("h", "A-C", 24.0, -4.0))

    def found(mistake):
        lines = {"A-B": ("base", 40.0), "A-C": ("side", 30.0 + mistake), "C-B": ("side", 50.0)}
        return measure(lines, sides={"C": "left A-B"}, rows=rows)

    (size,) = (size for one, size in unnoticed_of(*found(0.0)).smallest_noticed.items() if one.label == "A-C")
    wrong = adjust(*found(size), LOCAL, allow_missing=True)
    excess = [(abs(check.difference) - check.allowed) / check.sd for check in wrong.checks]
    assert max(excess) == pytest.approx(0.84, abs=0.02)


@pytest.mark.parametrize("name", ["braced quad", "quad with pegs", "farm"])
def test_points_move_as_far_as_the_mistake_would_have_put_them(name):
    plot = NETWORKS[name]()
    book, reduction = simulate(plot, None)
    right = adjust(book, reduction, LOCAL)
    unnoticed = find_unnoticed(book, reduction, right)
    for station, booking in unnoticed.causes.items():
        if booking.kind != "length":
            continue
        size = unnoticed.smallest_noticed[booking]
        wrong = adjust(*simulate(plot, None, changed={booking.label: size}), LOCAL).adjusted
        moved = np.hypot(*(wrong.position(station) - right.adjusted.position(station)))
        assert unnoticed.distance(station) == pytest.approx(moved, rel=0.1)


@pytest.mark.parametrize(("by_most", "anywhere"), [(0.015, False), (0.03, True)])
def test_a_reading_that_moves_a_point_by_2_cm_at_most_does_not_hold_it(by_most, anywhere):
    # The largest mistake that is looked at is 20 m. A weak tie moves C about as the inverse of its variance, which is
    # chosen for what the largest mistake then does; no check would notice it.
    rows = (("T", "A-B", 25.0, "station"),)

    def movement_of_c(sd, mistake):
        adjustment = adjust(*measure(KITE | {"T-C": ("tie", 39.4, sd)}, sides=KITE_SIDES, rows=rows), LOCAL)
        fit = adjustment.fit
        labels = [one.booking.label for one in fit.network.observations]
        mistakes = np.zeros(len(labels))
        mistakes[labels.index("T-C")] = mistake
        return moved_points(fit, adjustment.adjusted.base, mistakes)[0][fit.network.names.index("C")]

    weak = sqrt(20 * movement_of_c(1.0, 1.0) / by_most)
    assert (20 * movement_of_c(weak, 1.0) > 0.02) == anywhere
    assert (movement_of_c(weak, np.inf) == np.inf) == anywhere


def test_a_point_counts_as_checked_within_a_hundredth_of_the_extent_but_0_3_m_at_least():
    book, reduction = measure(KITE, sides=KITE_SIDES)
    assert unnoticed_of(book, reduction).limit == pytest.approx(0.72182, rel=1e-4)  # C and D are 72.182 apart
    small = {name: (use, value / 10) for name, (use, value) in KITE.items()}
    assert unnoticed_of(*measure(small, sides=KITE_SIDES)).limit == 0.3


def test_what_moves_a_point_is_the_same_however_the_frame_lies_and_in_metres_on_the_ground():
    # Turned by a bearing, moved by a control point and shrunk by its scale: nothing of it checks, or bends, anything.
    book, reduction = measure(KITE | {"C-D": ("check", 72.182)}, sides=KITE_SIDES)
    here = book.lines["A-B"].place
    control = (FrameControl("D", 300.0, 500.0, 0.5, here),)
    bearings = (FrameBearing("C", "D", 0.7, 0.02, 0.7, here),)
    turned = Frame("grid", "grid", "", "a grid", scale=0.5, control=control, bearings=bearings)
    plain, other = (find_unnoticed(book, reduction, adjust(book, reduction, frame)) for frame in (LOCAL, turned))

    assert plain.limit == pytest.approx(other.limit, rel=1e-6)
    for name in "ABCD":
        assert other.distance(name) == pytest.approx(plain.distance(name), rel=1e-5, abs=1e-9)
        assert plain.causes.get(name) in (None, other.causes.get(name))
    lengths = {one.label: size for one, size in other.smallest_noticed.items() if one.kind == "length"}
    assert lengths == pytest.approx({one.label: size for one, size in plain.smallest_noticed.items()}, rel=1e-5)


def test_each_reading_is_told_with_the_check_that_notices_a_mistake_in_it_first():
    rows = (("T", "A-B", 25.0, "station"),)
    lines = KITE | {"T-C": ("check", 39.4), "T-D": ("check", 35.72)}
    found = unnoticed_of(*measure(lines, sides=KITE_SIDES, rows=rows))
    noticed_by = {one.label: check.label for one, check in found.noticed_by.items()}

    assert {name: noticed_by[name] for name in ("A-C", "C-B", "T-C")} == dict.fromkeys(("A-C", "C-B", "T-C"), "T-C")
    assert {name: noticed_by[name] for name in ("A-D", "D-B", "T-D")} == dict.fromkeys(("A-D", "D-B", "T-D"), "T-D")


def test_stations_count_that_are_no_tie_stations_or_carry_a_side_or_details():
    rows = [(name, "A-B", at, "station") for name, at in (("S", 15.0), ("T", 25.0), ("U", 35.0), ("V", 45.0))]
    rows.append(("p", "U-C", 10.0, 3.0))
    at = {"S": 15.0, "T": 25.0, "U": 35.0, "V": 45.0}
    uses = {"S": "check", "T": "side", "U": "tie", "V": "tie"}
    more = {f"{name}-C": (uses[name], float(np.hypot(33.2 - at[name], 37.387))) for name in at}
    found = unnoticed_of(*measure(KITE | more, sides=KITE_SIDES, rows=rows))

    assert set(found.counted) == {"A", "B", "C", "D", "T", "U"}


def test_mistakes_are_looked_at_up_to_20_m_and_20_degrees():
    here = Booking("", "length", "side", ("line", ""), 0.0, 0.01, None, Place("made.yaml", 1, 1))

    assert unnoticed_mistakes._largest(Distance(here, "A", "B")) == 20.0
    for one in (LineBearing(here, "A", "B"), AngleAtStation(here, "A", "B", "C")):
        assert unnoticed_mistakes._largest(one) == pytest.approx(np.radians(20.0))


def test_the_book_may_say_what_counts_as_checked():
    lines = KITE | {"C-D": ("check", 75.05)}
    book, reduction = measure(lines, sides=KITE_SIDES)
    assert unnoticed_of(book, reduction).unchecked == ()
    strict = replace(book, limits=Limits(unnoticed_length=Length(5, "mm", "5 mm")))
    assert unnoticed_of(strict, reduction).unchecked == ("B", "C", "D")
    by_ratio = unnoticed_of(replace(book, limits=Limits(unnoticed_ratio=1 / 1000)), reduction)
    assert by_ratio.limit == pytest.approx(0.075, abs=0.001)


def test_a_stated_limit_of_check_lines_lets_larger_mistakes_be_noticed_sooner():
    lines = KITE | {"C-D": ("check", 75.05)}
    book, reduction = measure(lines, sides=KITE_SIDES)
    strict = replace(book, limits=Limits(check_length=Length(1, "cm", "1 cm")))
    loose, tight = (unnoticed_of(one, reduction).smallest_noticed for one in (book, strict))
    assert all(tight[reading] < loose[reading] for reading in loose)
