"""What the errors of a line's marks do to the details between them, by hand for the ends of one line."""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest
from builders.records import KITE, KITE_SIDES, LAY_SD, LOCAL, measure

import pegline.network.observations
from pegline.detail.marks import Marks
from pegline.detail.place import place_points
from pegline.detail.ruler import Ruler
from pegline.frame.model import Frame, FrameControl
from pegline.network.adjust import adjust

TIGHT = 1e-7  # metres
SAME = 1e-3


def variance(length, chainage, frame, *, lays=1, taken=1, ties=()):
    """Return the variance along the line of a point on it, over that of one lay; the tape's scale is known."""
    lines = {"A-B": ("base", length, LAY_SD * sqrt(lays / taken))}
    standing = [(f"T{at}", "A-B", at, "station") for at in ties]
    book, reduction = measure(lines, rows=[*standing, ("p", "A-B", chainage, None)], scale_sd=TIGHT)
    line = reduction.lines["A-B"]
    line = replace(line, ground=replace(line.ground, count=taken))
    rows = tuple(replace(row, chainage_sd=LAY_SD * sqrt(lays)) for row in reduction.rows)
    reduction = replace(reduction, rows=rows, lines={"A-B": line})
    adjustment = adjust(book, reduction, frame)
    fit = adjustment.fit if adjustment.delivered == "adjusted" else adjustment.plotting_fit
    points = place_points(reduction, Ruler(reduction, frame, adjustment.solution), Marks(reduction, fit))
    return points.variances[0, 0, 0] / LAY_SD**2


def between(length):
    known = (FrameControl("A", 0.0, 0.0, TIGHT, None), FrameControl("B", length, 0.0, TIGHT, None))
    return Frame("grid", "grid", "", "a grid", control=known)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 1.0])
def test_between_tight_control_the_line_s_own_error_is_in_what_counts_in_proportion_to_it(share):
    # x = c L' / L: the errors of the chainage and, in proportion, of the length; 28 m are one lay of a tape of 30 m.
    assert variance(28.0, 28.0 * share, between(28.0)) == pytest.approx(1 + share**2, abs=SAME)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 1.0])
def test_without_control_the_length_that_is_plotted_is_the_one_taped_and_its_error_goes_out(share):
    assert variance(28.0, 28.0 * share, LOCAL) == pytest.approx(1.0, abs=SAME)


@pytest.mark.parametrize(("chainage", "full"), [(29.0, 0), (31.0, 1), (139.0, 4)])
def test_full_lays_before_a_chainage_are_in_the_length_as_well(chainage, full):
    # Five lays each: 5 + 5 t² less twice t times what both have in common.
    share = chainage / 140
    expected = 5 + 5 * share**2 - 2 * share * full
    assert variance(140.0, chainage, between(140.0), lays=5) == pytest.approx(expected, abs=SAME)


def test_of_the_mean_of_two_tapings_one_has_the_lays_of_the_chainages():
    share = 139 / 140
    expected = 5 + 2.5 * share**2 - 2 * share * 4 / 2
    assert variance(140.0, 139.0, between(140.0), lays=5, taken=2) == pytest.approx(expected, abs=SAME)


def test_a_point_taped_from_the_ends_of_a_line_owes_nothing_to_its_chainages():
    book, reduction = measure({"A-B": ("base", 28.0)}, rows=[("p", "A-B", (0.0, 28.0), (17.0, 17.0))])
    (row,) = reduction.rows
    reduction = replace(reduction, rows=(replace(row, at_stations=("A", "B")),))
    adjustment = adjust(book, reduction, between(28.0))
    ruler, fit = Ruler(reduction, between(28.0), adjustment.solution), adjustment.fit
    marked, plain = (place_points(reduction, ruler, marks) for marks in (Marks(reduction, fit), None))
    assert marked.variances == pytest.approx(plain.variances, abs=1e-15)


@pytest.mark.parametrize(("chainage", "beyond"), [(6.0, 0.0), (14.0, 4 / 18), (25.0, 15 / 18)])
def test_a_tie_station_that_nothing_else_holds_takes_its_own_error_out_of_what_counts_from_it(chainage, beyond):
    # T stands where it was taped. Before it p is c / c₁ of the way there, which is c; beyond it at
    # c₁ + (c - c₁) (L' - c₁) / (L - c₁), which between tight control owes to L what it does beyond T.
    assert variance(28.0, chainage, between(28.0), ties=[10.0]) == pytest.approx(1 + beyond**2, abs=SAME)
    assert variance(28.0, chainage, LOCAL, ties=[10.0]) == pytest.approx(1.0, abs=SAME)


@pytest.mark.parametrize("at", [0.0, 28.0, 28.0 - 4e-15])
@pytest.mark.parametrize("chainage", [-2.0, 0.0, 9.0, 28.0, 30.0])
def test_a_tie_station_where_a_line_ends_changes_nothing_of_what_counts_on_it(at, chainage):
    plain = variance(28.0, chainage, between(28.0))
    assert variance(28.0, chainage, between(28.0), ties=[at]) == pytest.approx(plain, rel=1e-6)


def test_of_a_tie_station_that_was_booked_twice_the_first_chainage_counts():
    # T stands at the mean of both, so that what counts from the first is off by its own error and (e₂ - e₁) / 2.
    book, reduction = measure(
        {"A-B": ("base", 28.0)},
        rows=[("T", "A-B", 10.0, "station"), ("T", "A-B", 10.004, "station"), ("p", "A-B", 10.003, None)],
        scale_sd=TIGHT,
    )
    rows = tuple(replace(row, chainage_sd=LAY_SD) for row in reduction.rows)
    reduction = replace(reduction, rows=rows)
    adjustment = adjust(book, reduction, LOCAL)
    ruler = Ruler(reduction, LOCAL, adjustment.solution)
    points = place_points(reduction, ruler, Marks(reduction, adjustment.delivered_fit))
    assert points.positions[0] == pytest.approx([10.002 + 0.003, 0.0], abs=1e-6)
    assert points.variances[0, 0, 0] / LAY_SD**2 == pytest.approx(1.5, abs=SAME)


def test_stations_a_millimetre_apart_along_a_line_are_two_and_those_that_no_reading_tells_apart_are_one():
    rows = [("T", "A-B", 10.0, "station"), ("U", "A-B", 10.001, "station"), ("V", "A-B", 10.00105, "station")]
    _, reduction = measure({"A-B": ("base", 28.0)}, rows=rows)
    assert pegline.network.observations.stops_by_line(reduction)["A-B"].names == ("A", "T", "U", "B")


def test_a_line_that_the_network_does_not_hold_has_no_marks():
    book, reduction = measure({"A-B": ("base", 28.0)}, rows=[("T", "A-B", 10.0, "station")])
    fit, solution = (one := adjust(book, reduction, LOCAL)).fit, one.solution
    lines = {"A-B": ("base", 28.0), "B-A": ("tie", 28.0), "C-D": ("side", 9.0)}
    ties = [("T", "A-B", 10.0, "station"), ("U", "A-B", 20.0, "station"), ("V", "C-D", 5.0, "station")]
    _, more = measure(lines, rows=[*ties, ("p", "B-A", 12.0, 3.0)])
    marked, plain = (place_points(more, Ruler(more, LOCAL, solution), marks) for marks in (Marks(more, fit), None))
    assert (marked.names, marked.variances.tolist()) == (("p",), plain.variances.tolist())


def test_what_the_marks_do_to_a_point_is_the_same_whatever_else_is_booked():
    def variances(*rows):
        book, reduction = measure({"A-B": ("base", 28.0)}, rows=rows)
        adjustment = adjust(book, reduction, between(28.0))
        ruler = Ruler(reduction, between(28.0), adjustment.solution)
        return place_points(reduction, ruler, Marks(reduction, adjustment.fit)).variances

    arms, upright = ("q", "A-B", (8.0, 24.0), (12.0, 11.0)), ("p", "A-B", 20.0, 4.0)
    alone = np.concatenate([variances(arms), variances(upright)])
    assert variances(arms, upright) == pytest.approx(alone, rel=1e-9)


#: Ties and points of the kite within the first lay of the tape, which no two readings of a line then share.
KITE_ROWS = (
    ("T", "A-C", 12.0, "station"),
    ("U", "C-B", 9.0, "station"),
    ("V", "C-B", 21.0, "station"),
    ("p", "A-C", 6.0, 4.0),
    ("q", "A-C", 25.0, -7.0),
    ("r", "C-B", 16.0, 9.0),
    ("s", "C-B", 25.0, -2.0),
    ("t", "D-B", 14.0, 3.0),
)
#: Across the kite from tie to tie, so that the ties are more than places on their lines.
ACROSS = {"T-U": ("check", 32.0)}
KITE_KNOWN = (FrameControl("A", 0.0, 0.0, 0.02, None), FrameControl("C", 33.2, 37.4, 0.03, None))


def place_kite(frame, offs):
    """Return the points of the kite with each of its readings and known coordinates off by so much, marks and all."""
    book, reduction = measure({**KITE, **ACROSS}, sides=KITE_SIDES, rows=KITE_ROWS, scale_sd=TIGHT)
    rest = iter(offs)
    lines = {
        name: replace(line, ground=replace(line.ground, length=line.ground.length + next(rest)))
        for name, line in reduction.lines.items()
    }
    rows = tuple(
        replace(
            row,
            chainages=tuple(chainage + next(rest) for chainage in row.chainages),
            offsets=tuple(replace(offset, length=offset.length + next(rest)) for offset in row.offsets),
        )
        for row in reduction.rows
    )
    known = tuple(replace(one, x=one.x + next(rest), y=one.y + next(rest)) for one in frame.control)
    reduction, frame = replace(reduction, lines=lines, rows=rows), replace(frame, control=known)
    adjustment = adjust(book, reduction, frame)
    fit = adjustment.fit if adjustment.delivered == "adjusted" else adjustment.plotting_fit
    ruler = Ruler(reduction, frame, adjustment.solution)
    return place_points(reduction, ruler, Marks(reduction, fit)), adjustment.solution


def deviations_of_kite(frame):
    """Return the standard deviation of each reading and known coordinate, in the order in which they are put off."""
    _, reduction = measure({**KITE, **ACROSS}, sides=KITE_SIDES, rows=KITE_ROWS, scale_sd=TIGHT)
    sds = [LAY_SD for _ in reduction.lines]
    for row in reduction.rows:
        sds += [hypot(row.chainage_sd, row.foot_sd)] * len(row.chainages) + [LAY_SD] * len(row.offsets)
    return np.array([*sds, *(one.sd for one in frame.control for _ in "xy")])


def test_the_variances_of_a_network_s_details_are_what_all_its_readings_bring(monkeypatch):
    # That a tie station stands in its line is no reading that could be off here.
    monkeypatch.setattr(pegline.network.observations, "RANGING_SD", TIGHT)
    frame = Frame("grid", "grid", "", "a grid", control=KITE_KNOWN)
    sds, step = deviations_of_kite(frame), 1e-3

    def placed(offs):
        points, solution = place_kite(frame, offs)
        a, b = (solution.positions[end] for end in solution.base)
        along = (b - a) / np.hypot(*(b - a))
        seen = (points.positions - a) @ np.array([along, [-along[1], along[0]]]).T
        return np.stack((points.positions, seen))

    moves = np.stack([(placed(off) - placed(-off)) / (2 * step) for off in step * np.eye(len(sds))], axis=-1) * sds
    in_frame, seen = moves @ moves.swapaxes(-1, -2)

    points, solution = place_kite(frame, np.zeros(len(sds)))
    a, b = (solution.positions[end] for end in solution.base)
    along = (b - a) / np.hypot(*(b - a))
    axes = np.array([along, [-along[1], along[0]]])
    assert points.names == ("p", "q", "r", "s", "t")
    # The readings do not quite agree: what they bring to the second order is a thousandth.
    assert points.variances == pytest.approx(in_frame, abs=1e-3 * in_frame.max())
    assert axes @ points.local_variances @ axes.T == pytest.approx(seen, abs=1e-3 * seen.max())
