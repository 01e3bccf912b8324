"""The judgement of a survey in plain words: what screens, sheets and the archive's summary show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final, Literal

from pegline.diagnosis.causes import suspect_name
from pegline.diagnosis.model import Advice, Survey, Suspect
from pegline.diagnosis.rules.impossible import runs_clear
from pegline.diagnosis.rules.phrases import list_names, number_with_noun
from pegline.diagnosis.unseen_mistakes import hidden_mistakes, unchecked_corners
from pegline.errors import Place
from pegline.measures.notation import Notation
from pegline.network.adjust import framework_fails
from pegline.network.kinds import CHECKS, MEASURE, MEASUREMENTS
from pegline.network.model import Adjustment, Check
from pegline.records import record
from pegline.solved import Solved

__all__ = [
    "NOTHING_COMPUTED",
    "ShownCheck",
    "Verdict",
    "accuracy_in_full",
    "accuracy_sentences",
    "advice_sentence",
    "book_line",
    "check_rows",
    "check_word",
    "do_now",
    "headline",
    "verdict",
]


NO_REDUNDANCY: Final = 1e-6  #: a reading with less has no part in a check
EMPTY_CELL: Final = "–"  #: a cell that has nothing to show


# -- verdict ----------------------------------------------------------------------------------------


@record(frozen=True, slots=True)
class Verdict:
    """The judgement of the whole survey: one word, what it is about, and what it means for the plan."""

    word: Literal["PASSED", "FAILED", "NOT CHECKED"]
    about: str  #: '4 checks', '2 of 4 checks', or the names of what nothing checks
    meaning: str  #: one or two sentences

    @property
    def headline(self) -> str:
        """Return word and subject: 'FAILED: 2 of 4 checks'."""
        return f"{self.word}: {self.about}"

    def __str__(self) -> str:
        return f"{self.headline}. {self.meaning}"


#: Of a half-finished book that fixes no station yet.
NOTHING_COMPUTED: Final = Verdict("NOT CHECKED", "nothing can be computed yet", "What is missing is listed here.")


def verdict(solved: Solved) -> Verdict:
    """Return the judgement of a survey, and whether its book is finished."""
    judged = _verdict_of_checks(solved)
    if not solved.adjustment.unfinished:
        return judged
    return replace(judged, meaning=_join_sentences("UNFINISHED: parts of the book are missing.", judged.meaning))


def headline(solved: Solved) -> str:
    """Return the verdict in one line, as every sheet and drawing shows it."""
    judged = verdict(solved)
    return f"UNFINISHED. {judged.headline}" if solved.adjustment.unfinished else judged.headline


def _verdict_of_checks(solved: Solved) -> Verdict:
    adjustment = solved.adjustment
    failed = [check for check in adjustment.checks if not check.passed]
    chosen = sum(check.chosen for check in adjustment.checks)
    total = len(adjustment.checks) - chosen
    by_choice = _chosen_words(chosen)
    if failed:
        about = f"{len(failed)} of {number_with_noun(total, 'check')}"
        loose = list(_unchecked_whatever_is_wrong(solved))
        beside = f"Nothing checks {list_names(loose)}." if loose else ""
        return Verdict("FAILED", about, _join_sentences(_failure_meaning(failed, adjustment), beside, by_choice))
    if not total:
        meaning = _join_sentences(by_choice, "A mistake in any line would not show.")
        return Verdict("NOT CHECKED", "nothing was measured that could show a mistake", meaning)
    control = _unchecked_control(solved)
    if solved.checked is None:
        about = f"{list_names(list(solved.unchecked))} ({number_with_noun(total, 'check')} passed)"
        return Verdict("NOT CHECKED", about, _join_sentences(*hidden_mistakes(solved), control, by_choice))
    meaning = "The extra measurements agree within what the tapes allow."
    return Verdict("PASSED", number_with_noun(total, "check"), _join_sentences(meaning, control, by_choice))


def _unchecked_control(solved: Solved) -> str:
    """Return that nothing checks where the plan is on its grid, where that is so."""
    if solved.frame.kind != "grid" or any(check.kind == "control" for check in solved.adjustment.checks):
        return ""
    return "Nothing checks the control: a mistake in its coordinates would move the whole plan."


def _unchecked_whatever_is_wrong(solved: Solved) -> Iterator[str]:
    """Yield the stations that nothing checks because their readings have no part in any check.

    How far others are checked hangs on the figure, which is not to be trusted where a check of it fails.
    """
    redundancies = {one.booking: one.redundancy for one in solved.adjustment.measurements}
    for name in solved.unchecked:
        cause = solved.unnoticed.causes.get(name)
        if cause is None or (redundancies.get(cause) or 0.0) < NO_REDUNDANCY:
            yield name


def _failure_meaning(failed: Sequence[Check], adjustment: Adjustment) -> str:
    if framework_fails(adjustment.checks):
        return "Do not use the plan yet."
    names = list_names([check.what for check in failed], most=3)
    return f"The framework of stations passed; do not use {names} yet."


def _chosen_words(chosen: int) -> str:
    """Return what is said of the checks that agree because a reading was chosen so."""
    if not chosen:
        return ""
    checks = "One more agrees" if chosen == 1 else f"{chosen} more agree"
    return f"{checks} only because a reading left open was chosen so; that proves less."


def _join_sentences(*sentences: str) -> str:
    return " ".join(sentence for sentence in sentences if sentence)


# -- accuracy ---------------------------------------------------------------------------------------


def accuracy_sentences(solved: Solved) -> Iterator[str]:
    """Yield how near the points are to where they are drawn, and on what that rests."""
    if solved.typical is None or solved.weakest is None:
        return
    near, far = (solved.notation.accuracy(place.radius) for place in (solved.typical, solved.weakest))
    weakest = f"the weakest ({solved.weakest.name}) within {far}"
    yield f"A typical point is within {near}, {weakest} (95 %, relative to the base line)."
    if (on_grid := solved.weakest_on_grid) is not None:
        radius = solved.notation.accuracy(on_grid.radius)
        yield f"The weakest point drawn ({on_grid.name}) lies on the grid within {radius} (95 %)."
    corners = list(unchecked_corners(solved))
    drawn = (*solved.stations, *solved.detail.points.names)
    if solved.checked is not True or not all(map(solved.unnoticed.is_checked, drawn)):
        yield "This holds only if the book has no mistake."
    yield from corners
    if solved.adjustment.unreliable:
        names = list_names(list(solved.adjustment.unreliable))
        yield f"The framework is too flat at {names}: do not trust the accuracy there."


def accuracy_in_full(solved: Solved) -> list[str]:
    """Return the accuracy as a screen or a computation sheet has room for it, with what all lengths share."""
    sentences = list(accuracy_sentences(solved))
    if sentences and not any(check.kind == "control" for check in solved.adjustment.checks):
        sentences.append("A mistake that all lengths share, such as a wrong unit, would not show.")
    return sentences


def do_now(survey: Survey) -> Iterator[str]:
    """Yield what to measure now, in the order of use: nothing where every check passed."""
    suspects, advice = survey.diagnosis.suspects, survey.diagnosis.advice
    if survey.passed and survey.solved.checked is not None:
        return
    yield from (advice_sentence(each) for each in advice)
    sides = [suspect.what for suspect in suspects if suspect.is_side]
    if suspects and suspects[0].is_side:
        yield f"Look on which side of its line {' and '.join(sides)} {'stand' if len(sides) > 1 else 'stands'}."
    elif suspects and not advice:
        yield _again(suspects[0])
    failed = [check for check in survey.adjustment.checks if check.kind == "witness" and not check.passed]
    yield from (MEASUREMENTS["witness"].again.format(check.what) for check in failed)
    if not (suspects or advice or failed):
        unexplained = [check for check in survey.adjustment.checks if not check.passed]
        yield _at_fault(unexplained) if unexplained else _one_more_check(survey.solved)


def _at_fault(failed: Sequence[Check]) -> str:
    """Return what to look at where checks fail that nothing explains: sides first, which nobody need measure again."""
    sided = [check.what for check in failed if check.kind == "point" and check.taped * check.computed < 0]
    if sided:
        return f"Look on which side of its line {list_names(sided, most=3)} lies: another row has the other side."
    return MEASURE.format(list_names([check.what for check in failed], most=3))


def _one_more_check(solved: Solved) -> str:
    """Return what would be a check where no line is known to be one: a line between stations, else a peg."""
    end = next(iter(solved.unchecked), None)
    joined = {frozenset((line.start, line.end)) for line in solved.reduction.lines.values()}
    free = (pair for pair in combinations(solved.stations, 2) if frozenset(pair) not in joined)
    begun = solved.adjustment.unfinished or len(solved.stations) < 3
    if begun or any(runs_clear(solved, *pair) for pair in free):
        return f"Tape one more line{f' to {end}' if end else ''}, between stations that no line joins yet."
    sees = f"{end} and two more stations" if end else "three stations"
    why = "every line between stations is taped already, or something stands across it"
    return f"Set one more peg that sees {sees}, and tape it to each: {why}."


def _again(suspect: Suspect) -> str:
    """Return how a suspected measurement is made again."""
    if suspect.kind is None:
        return MEASURE.format(suspect.what)
    row = MEASUREMENTS[suspect.kind]
    return row.again.format(suspect.what if row.again != MEASURE else suspect_name(suspect))


def advice_sentence(advice: Advice) -> str:
    """Return what to measure, and why."""
    if advice.how == "new peg":
        return f"Set one more peg, {advice.measure}, and tape it to {list_names(list(advice.to))}: {advice.why}."
    if advice.how == "new line":
        return f"Tape {advice.measure}, a new line: {advice.why}."
    again = MEASUREMENTS[advice.kind].again if advice.kind else MEASURE
    again = "Tape {} again." if again == MEASURE else again
    return f"{again.format(advice.measure).removesuffix('.')}: {advice.why}."


def book_line(place: Place | None) -> str:
    """Return a place of the book as people look it up."""
    return f"book {place.line}" if place else ""


# -- checks -----------------------------------------------------------------------------------------


@record(frozen=True, slots=True)
class ShownCheck:
    """One check in the book's own units; empty cells have a dash."""

    check: Check
    label: str  #: 'line A-C'
    booked: str
    computed: str
    difference: str  #: booked less computed, with its sign
    allowed: str
    on_plan: str  #: the difference on the plan, mm


def check_rows(
    survey: Survey | Solved, scale: float, notation: Notation, *, failed_only: bool = False
) -> list[ShownCheck]:
    """Return the checks, or those that failed, as rows of a table: failed ones first, then those that agree least.

    Booked is what the book says, the mean of several readings; computed is what should then have been read.
    """
    checks = [check for check in survey.adjustment.checks if not (failed_only and check.passed)]
    checks.sort(key=lambda check: (check.passed, check.chosen, -abs(check.test)))
    return [_row(check, notation, scale) for check in checks]


def _row(check: Check, notation: Notation, scale: float) -> ShownCheck:
    kind, read = CHECKS[check.kind], check.booking.read
    booked = abs(check.taped) if read is None else read
    label = f"{kind.label} {check.what}"
    if check.angle:
        north = kind.compared == "bearing"
        figures = (
            notation.bearing(booked) if north else notation.angle(booked),
            notation.bearing(booked - check.difference) if north else notation.angle(booked - check.difference),
            notation.signed_angle(check.difference),
            notation.small_angle(check.allowed),
            EMPTY_CELL,
        )
    else:
        apart = kind.compared == "place"
        figures = (
            EMPTY_CELL if apart else notation.figure(booked),
            EMPTY_CELL if apart else notation.figure(booked - check.difference),
            notation.difference(check.difference),
            notation.allowance(check.allowed),
            f"{1000 * abs(check.difference) / scale:.1f} mm",
        )
    return ShownCheck(check, label, *figures)


def check_word(check: Check) -> str:
    """Return how a check came out, in a word or a few."""
    if check.chosen:
        return "agrees by choice of a reading"
    return "PASSED" if check.passed else "FAILED"
