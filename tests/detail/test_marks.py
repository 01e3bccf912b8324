"""What the errors of a line's marks do to the details between them, by hand for the ends of one line."""

from dataclasses import replace
from math import sqrt

import pytest
from builders.records import LAY_SD, LOCAL, measure

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
