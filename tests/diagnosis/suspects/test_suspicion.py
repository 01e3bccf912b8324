"""The suspects as they are told: shares that sum to 1, and in one group what nothing measured tells apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import dist

import numpy as np
import pytest
from builders.own_solver import solve_again

from pegline.diagnosis.effects import fit_of_everything
from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.slips import Slip
from pegline.diagnosis.suspects.suspicion import Candidate, Suspicion, _correlations, suspicion
from pegline.network.linear_equations import with_observations
from pegline.readers import parse_book
from pegline.survey import place_details, refine_frame, solve

AT = {"A": (0.0, 0.0), "B": (60.0, 2.0), "C": (25.0, 31.0), "D": (30.0, -26.0), "E": (62.0, 40.0)}
#: Of D and E two lines are redundant, of E alone the third.
LINES = {"A-B": "base", "A-C": "side", "C-B": "side", "A-D": "side", "D-B": "side", "C-E": "side", "E-B": "side"}
CHECKS = {"C-D": "check", "A-E": "check", "D-E": "check"}


def book_text(wrong: dict[str, float], checks: Sequence[str] = tuple(CHECKS)) -> str:
    uses = LINES | {name: CHECKS[name] for name in checks}
    rows = [
        f"  {name}: {{use: {use}, taped: {dist(AT[name[0]], AT[name[2]]) + wrong.get(name, 0.0):.2f}}}"
        for name, use in uses.items()
    ]
    sides = "stations: {C: {left_of: A-B}, D: {right_of: A-B}, E: {left_of: A-B}}"
    head = ["book: 1", "unit: m", "tapes: {s: {material: steel, length: 30}}", "default_tape: {lines: s}", sides]
    return "\n".join([*head, "lines:", *rows, ""])


@cache
def suspected(*wrong: tuple[str, float], checks: tuple[str, ...] = tuple(CHECKS)) -> Suspicion:
    """Return who is suspected in a survey with some lines wrong."""
    solved = place_details(refine_frame(solve(parse_book(book_text(dict(wrong), checks).encode(), "five.yaml"))))
    fit = fit_of_everything(solved.adjustment)
    assert fit is not None
    return suspicion(solved, fit)


def told(by: Suspicion, shares: Sequence[float], weighed: Sequence[WeighedHypothesis]) -> Suspicion:
    """Return a suspicion with some hypotheses, and with the shares of them, of something else and of a sound survey."""
    return replace(by, posterior=replace(by.posterior, hypotheses=tuple(weighed), shares=tuple(shares)))


def of_lines(by: Suspicion, *numbers: int) -> list[WeighedHypothesis]:
    """Return of each of some lines the reading wrong by any amount, made to let every check pass."""
    any_amount = next(one for one in by.posterior.hypotheses if one.hypothesis.kind == "reading")
    return [
        replace(
            any_amount, hypothesis=replace(any_amount.hypothesis, numbers=(n,), slip=None), worst=0.0, square=float(n)
        )
        for n in numbers
    ]


def test_the_line_that_is_wrong_comes_first_and_the_shares_sum_to_1():
    rows = suspected(("C-B", 1.37)).rows
    assert (rows[0].what, rows[0].kind) == ("C-B", "length")
    assert float(rows[0].would_be) == pytest.approx(dist(AT["C"], AT["B"]), abs=0.03)
    assert rows[0].closes
    assert rows[-1].what == "something else"
    assert sum(row.score for row in rows) == pytest.approx(1.0)


def test_all_ways_in_which_one_reading_may_be_wrong_are_one_suspect_with_their_sum():
    by = suspected(("C-B", 1.0))
    number = by.candidates[0].number
    ways = [
        share
        for one, share in zip(by.posterior.hypotheses, by.posterior.shares, strict=False)
        if one.hypothesis.numbers == (number,)
    ]
    assert len(ways) > 1
    assert by.candidates[0].share == pytest.approx(sum(ways))
    assert by.candidates[0].best is by.posterior.hypotheses[0]
    assert [one.share for one in by.candidates] == sorted((one.share for one in by.candidates), reverse=True)


def test_a_small_share_is_told_as_something_else():
    by = suspected(("C-B", 1.37))
    ones = of_lines(by, 1, 2, 3)
    rows = told(by, (0.6, 0.0051, 0.0049, 0.3, 0.09), ones).rows
    assert [row.score for row in rows] == pytest.approx([0.6, 0.0051, 0.3049, 0.09])
    assert [row.what for row in rows[-2:]] == ["something else", "nothing wrong"]
    assert [row.group for row in rows[-2:]] == [rows[1].group + 1, rows[1].group + 2]
    assert [row.closes for row in rows[-2:]] == [False, True]


def test_a_sound_survey_that_is_all_but_excluded_is_something_else_too():
    by = suspected(("C-B", 1.37))
    rows = told(by, (0.6, 0.3951, 0.0, 0.0049), of_lines(by, 1, 2)).rows
    assert [(row.what, row.score) for row in rows][2:] == [("something else", pytest.approx(0.0049))]
    rows = told(by, (0.6, 0.394, 0.0, 0.006), of_lines(by, 1, 2)).rows
    assert [row.what for row in rows][2:] == ["something else", "nothing wrong"]


def test_of_very_many_the_likeliest_are_told_and_one_always():
    by = suspected(("C-B", 1.37))
    pairs = [
        replace(one, hypothesis=replace(one.hypothesis, numbers=(i, j), kind="two-readings"), amounts=(1.0, 1.0))
        for one in of_lines(by, 1)
        for i in range(6)
        for j in range(6, 10)
    ]
    many = told(by, (0.2, *[0.02] * 24, 0.3, 0.02), [*of_lines(by, 9), *pairs]).rows
    assert len(many) == 24 + 2
    assert many[-2].score == pytest.approx(0.3 + 0.02)  # the one that is not told is something else
    single = told(by, (0.004, 0.9, 0.096), of_lines(by, 1)).rows
    assert [row.score for row in single] == pytest.approx([0.004, 0.9, 0.096])


def test_where_nothing_lets_every_check_pass_those_that_fit_best_are_told_without_a_share():
    by = suspected(("C-B", 1.37))
    open_ones = [replace(one, worst=9.0) for one in of_lines(by, *range(9, 1, -1))]
    rows = told(by, (*[0.1] * 8, 0.1, 0.1), open_ones).rows
    names = [by.terms.of.observations[n].booking.label for n in range(2, 8)]
    assert [row.what for row in rows] == names  # χ² was made to be their number
    assert {row.score for row in rows} == {None}
    assert not any(row.closes for row in rows)


# -- what cannot be told apart ---------------------------------------------------------------------------------------


def correlations_by_hand(by: Suspicion, first: WeighedHypothesis) -> np.ndarray:
    """Return how the tests correlate once the first is mended, by numeric derivatives: R = I - A (A'A)⁻¹ A'."""
    network = by.terms.of.network
    (number,) = first.hypothesis.numbers
    value = network.observations[number].booking.value + first.amounts[0]
    slopes = solve_again(network, first.parameters, values={number: value}).slopes
    left = np.eye(len(slopes)) - slopes @ np.linalg.inv(slopes.T @ slopes) @ slopes.T
    own = np.where(np.diag(left) > 1e-6, np.diag(left), np.inf)  # what nothing checks goes with nothing
    return np.abs(left / np.sqrt(np.outer(own, own)))


@pytest.mark.parametrize("checks", [("C-D",), ("C-D", "A-E"), tuple(CHECKS)])
def test_in_one_group_is_what_moves_together_by_more_than_19_in_20(checks):
    by = suspected(("C-B", 1.37), checks=checks)
    ones = of_lines(by, *range(7 + len(checks)))
    ones[2] = replace(ones[2], amounts=(-1.37,))
    alike = correlations_by_hand(by, ones[0])
    rows = told(by, (*[1 / (len(ones) + 2)] * (len(ones) + 2),), ones).rows[:-2]
    expected: dict[int, int] = {}
    for n in range(len(ones)):
        if n not in expected:
            group = len({*expected.values()}) + 1
            expected |= {m: group for m in range(len(ones)) if m not in expected and (m == n or alike[n, m] > 0.95)}
    assert [row.group for row in rows] == [expected[n] for n in range(len(ones))]
    assert 1 < len({*expected.values()}) <= len(ones)


def test_two_readings_at_once_are_a_group_of_their_own():
    by = suspected(("C-B", 1.37), checks=("C-D",))
    ones = of_lines(by, 1, 2)
    both = replace(ones[0], hypothesis=replace(ones[0].hypothesis, numbers=(1, 3), kind="two-readings"), amounts=(1, 1))
    rows = told(by, (0.4, 0.3, 0.2, 0.1, 0.0), [ones[0], both, ones[1]]).rows
    assert [row.group for row in rows] == [1, 2, 1, 3]
    assert rows[1].what == "A-C and A-D"


# -- words -----------------------------------------------------------------------------------------------------------

DROPPED = Slip("1 m misread", "38.85", "39.85", None, 1.0, "misread-unit", 0.15)


def two_of(by: Suspicion, numbers: tuple[int, int], both=()) -> str | None:
    """Return the words of two readings wrong at once."""
    (one,) = of_lines(by, 1)
    hypothesis = replace(one.hypothesis, numbers=numbers, kind="two-readings", both=both)
    return told(by, (0.9, 0.1, 0.0), [replace(one, hypothesis=hypothesis, amounts=(1.0, 1.0))]).rows[0].slip


def test_two_lines_to_one_peg_may_have_been_taped_to_it_before_and_after_it_was_moved():
    by = suspected(("C-B", 1.37))
    assert two_of(by, (1, 3)) == "or the peg A was moved between tapings"  # A-C and A-D
    assert two_of(by, (1, 4)) is None  # A-C and D-B
    assert two_of(by, (1, 3), (DROPPED, None)) == "1 m misread; or the peg A was moved between tapings"
    assert two_of(by, (1, 3), (DROPPED, DROPPED)) == "1 m misread and 1 m misread"


def test_one_reading_is_told_with_its_slip_and_nothing_of_pegs():
    by = suspected(("C-B", 1.37))
    (one,) = of_lines(by, 1)
    slipped = replace(one, hypothesis=replace(one.hypothesis, slip=DROPPED))
    assert told(by, (0.9, 0.1, 0.0), [slipped]).rows[0].slip == "1 m misread"
    assert told(by, (0.9, 0.1, 0.0), [one]).rows[0].slip is None


def test_where_nothing_can_be_solved_with_the_first_put_right_nothing_goes_together():
    by = suspected(("C-B", 1.37))
    lines = [one for one in by.terms.of.observations if "E" not in one.points or one.booking.label == "E-B"]
    swinging = replace(by.terms.of, network=with_observations(by.terms.of.network, lines))
    singles = [Candidate((one,), 0.5) for one in of_lines(by, 1, 2)]
    assert _correlations(swinging, singles).tolist() == np.eye(2).tolist()
    assert _correlations(swinging, []).shape == (0, 0)
