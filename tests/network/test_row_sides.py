"""A point that is booked more than once lies on the side that each of its rows says, or a check fails."""

from dataclasses import replace

import numpy as np
import pytest
from builders.numerical import whole_covariance
from builders.records import KITE, KITE_SIDES, LOCAL, measure, place

from pegline import reduce
from pegline.diagnosis.report import do_now
from pegline.measures.values import Pair, Side
from pegline.network.adjust import adjust, hints
from pegline.network.least_squares import solve_network
from pegline.network.linear_equations import build_network
from pegline.network.observation_types import Booking, Distance
from pegline.network.row_sides import on_other_sides
from pegline.network.start import Hints
from pegline.readers import parse_book

BOOK = """\
book: 1
unit: m
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B:
    use: base
    taped: 30.00
    details:
      - {at: 12.00, left: 5.00, point: oak}
      - {at: 20.00, left: 4.00, point: elm}
MORE
  A-C: {use: side, taped: 18.44}
  C-B: {use: side, taped: 22.80}
  A-D: {use: side, taped: 20.25}
  D-B: {use: side, taped: 17.03}
  C-D: {use: check, taped: 25.49}
ARCS
"""


def judged(more="", arcs=""):
    """Return the checks of points and arcs: the chainage of each or its point, with whether it passes."""
    text = BOOK.replace("MORE\n", f"      - {more}\n" if more else "").replace("ARCS\n", arcs)
    survey = reduce(parse_book(text.encode(), "plot.yaml"))
    return survey, [check for check in survey.adjustment.checks if check.kind in ("point", "arc", "dimension")]


@pytest.mark.parametrize(("side", "passes"), [("left", True), ("right", False)])
def test_a_row_of_two_arms_on_the_other_side_fails(side, passes):
    # From 8 and 15 along the line the oak is √(4² + 5²) and √(3² + 5²) away, to either side.
    survey, checks = judged(f"{{at: [8.00, 15.00], {side}: [6.40, 5.83], point: oak}}")

    (check,) = checks
    assert check.passed is survey.passed is passes
    assert check.difference == pytest.approx(0.0 if passes else 2 * 5.83, abs=0.02)
    told = "Look on which side of its line A-B at 15.00 lies: another row has the other side."
    assert list(do_now(survey)) == ([] if passes else [told])
    assert survey.adjustment.delivered == "adjusted"  # it touches its own point and the exit status
    assert survey.detail.points.positions[survey.detail.points.index["oak"]] == pytest.approx((12.0, 5.0), abs=0.02)


@pytest.mark.parametrize(("side", "passes"), [("left", True), ("right", False)])
def test_arcs_on_the_other_side_fail(side, passes):
    # The elm is 4 m left of the line, 20 m along it.
    survey, checks = judged(arcs=f"arcs: [{{point: elm, from: {{A: 20.40, B: 10.77}}, {side}_of: A-B}}]\n")

    assert len(checks) >= 1
    assert all(check.passed for check in checks) is survey.passed is passes


def test_a_point_that_lies_on_its_line_within_what_the_tapes_allow_is_on_either_side():
    text = BOOK.replace("left: 5.00, point: oak", "left: 0.02, point: oak")
    row = "      - {at: [8.00, 15.00], right: [4.00, 3.00], point: oak}\n"

    assert reduce(parse_book(text.replace("MORE\n", row).replace("ARCS\n", "").encode(), "plot.yaml")).passed


@pytest.mark.parametrize(("share", "numbers"), [(0.98, [0]), (1.02, [])])  # told by its shortest arm
def test_a_row_is_told_whose_point_lies_so_many_standard_deviations_on_the_other_side(share, numbers):
    # An arc of 1 cm about either end of a line of 30 m that is held; the tree stands 0.2 m right of it, booked left.
    at, sd = np.array([(0.0, 0.0), (30.0, 0.0), (12.0, -0.2)]), 0.01
    arms = at[2] - at[:2]
    lengths = np.hypot(*arms.T)
    bookings = [
        Booking(f"{end}-X", "dimension", "arc", ("arc", "X"), length, sd, None, place(1))
        for end, length in zip("AB", lengths.tolist(), strict=True)
    ]
    arcs = [Distance(booking, end, "X") for booking, end in zip(bookings, "AB", strict=True)]
    fit = solve_network(build_network("ABX", 2, arcs, {}, at, held=range(4)))
    # By hand: the normal matrix of two directions, and of its inverse what stands across the line.
    directions = arms / lengths[:, None]
    across = float(np.linalg.inv(directions.T @ directions)[1, 1] ** 0.5 * sd)
    booked = Hints({"X": Side(Pair("A", "B", place(1)), True)}, {}, dict)

    assert list(on_other_sides(fit, (0, 1), booked, share * 0.2 / across)) == numbers


# -- how far on the other side -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plotting():
    """A point 5 m left of A-B by its offset, whose arms and arcs are booked to the right, and one as it is booked."""
    rows = [("oak", "A-B", 12.0, 5.0), ("oak", "A-B", (8.0, 15.0, 20.0), (-6.403, -5.831, -9.434))]
    rows += [("elm", "A-B", 20.0, 4.0), ("elm", "A-B", (17.0, 24.0), (5.0, 5.657))]
    arcs = [("oak", {"A": 13.0, "B": 48.2}, "right A-B"), ("elm", {"A": 20.4, "B": 40.2}, "left A-B")]
    book, reduction = measure(KITE | {"C-D": ("check", 72.182)}, sides=KITE_SIDES, rows=rows, arcs=arcs)
    return adjust(book, reduction, LOCAL).plotting_fit, hints(book, reduction)


def left_out(fit):
    return np.flatnonzero(~fit.keep).tolist()


def told(fit, side_hints, critical, numbers=None):
    """Return label and length of what is told to lie on the other side."""
    found = on_other_sides(fit, left_out(fit) if numbers is None else numbers, side_hints, critical)
    return [(fit.network.observations[n].booking.label, fit.network.observations[n].booking.value) for n in found]


def test_of_each_row_and_each_pair_of_arcs_the_shortest_distance_is_told(plotting):
    assert told(*plotting, 4.0) == [("A-B at 15.00", 5.831), ("A-oak", 13.0)]


def test_a_point_lies_on_the_other_side_by_more_than_its_distance_from_the_line_varies(plotting):
    # By differences and whole matrices: how far the oak is from A-B, and how that varies.
    fit, side_hints = plotting
    index = fit.network.index

    def aside(parameters):
        at = parameters[: 2 * len(index)].reshape(-1, 2)
        start, end, oak = (at[index[name]] for name in ("A", "B", "oak"))
        (dx, dy), (u, v) = end - start, oak - start
        return (dx * v - dy * u) / np.hypot(dx, dy)

    step = 1e-5 * np.eye(len(fit.parameters))
    rates = np.array([(aside(fit.parameters + move) - aside(fit.parameters - move)) / 2e-5 for move in step])
    deviations = aside(fit.parameters) / np.sqrt(rates @ whole_covariance(fit) @ rates)
    for share, is_told in ((0.999, True), (1.001, False)):
        assert bool(told(fit, side_hints, share * deviations)) == is_told


def test_a_side_of_a_line_that_has_no_place_tells_nothing(plotting):
    fit, side_hints = plotting
    of_none = Side(Pair("A", "Z", place(1)), False)
    sides = {"oak": of_none, "elm": of_none}

    assert told(fit, replace(side_hints, sides=sides), 4.0) == [("A-B at 15.00", 5.831)]
