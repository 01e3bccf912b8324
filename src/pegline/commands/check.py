"""Reduce books as far as they go and print the judgement, laid out for a terminal; nothing is written."""

from __future__ import annotations

import argparse
import datetime
import json
import os
import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Final

from pegline.book.habits import notation_of
from pegline.commands.command_line import Painted, Tell, status_of
from pegline.diagnosis.causes import causes
from pegline.diagnosis.model import Survey
from pegline.diagnosis.open_readings.settlement import CHOSEN
from pegline.diagnosis.report import (
    NOTHING_COMPUTED,
    ShownCheck,
    Verdict,
    accuracy_in_full,
    advice_sentence,
    book_line,
    check_rows,
    do_now,
    verdict,
)
from pegline.diagnosis.rules.impossible import future_dates
from pegline.diagnosis.rules.lost_points import SIZE_RULES
from pegline.diagnosis.rules.phrases import list_names
from pegline.diagnosis.unseen_mistakes import unseen_in_short
from pegline.errors import BookError, Finding, printable, worst

if TYPE_CHECKING:
    from pegline.book.model import Book
    from pegline.errors import Finding
    from pegline.survey import Survey

__all__ = ["Screen", "arguments", "cause_lines", "run", "survey_lines"]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument(
        "books", nargs="+", metavar="BOOK", help="a field book; a half-finished one is taken as far as it goes"
    )
    parser.add_argument("--json", action="store_true", help="print the results as JSON, one object for each book")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print the judgement of every book and return the worst status."""
    return worst([status_of(_check, complain, book, args.json, tell, complain) for book in args.books])


def _check(name: str, as_json: bool, tell: Tell, complain: Tell) -> int:
    from pegline.readers.sound_part import read_sound_part
    from pegline.survey import reduce_as_far_as_it_goes

    book, faults = read_sound_part(name)
    for fault in faults:
        complain(str(fault))
    survey, missing = reduce_as_far_as_it_goes(book)
    tell(_json(book, survey, missing) if as_json else _screen(name, survey, missing, faults))
    return BookError.status if faults else 0 if survey is None or survey.passed else 1


def _json(book: Book, survey: Survey | None, missing: Sequence[Finding]) -> str:
    """Return the results as one line of JSON, in ASCII, which every terminal and pipe carries."""
    from pegline.writers.result import result

    results = result(survey) if survey else {"book": {"title": book.title, "file": book.file}}
    return json.dumps({**results, "missing": [finding.text for finding in missing]})


def _screen(name: str, survey: Survey | None, missing: Sequence[Finding], faults: Sequence[Finding]) -> Painted:
    """Return the judgement of a book for the terminal; rows that cannot be read are to be mended before all else."""
    screen = Screen.of_terminal()
    lines = (
        survey_lines(survey, screen, missing, faults)
        if survey
        else _verdict_lines(NOTHING_COMPUTED, screen, missing, faults)
    )
    return Painted("\n".join([printable(name), *lines]))


# -- the screen --------------------------------------------------------------------------------------


SCREEN_WIDTH: Final = 80  #: columns of a screen, fewer where the terminal has fewer
MIN_SCREEN_WIDTH: Final = 40  #: columns below which lines are left to the terminal to break
LEAD_WIDTH: Final = 9  #: columns that hold the lead of a paragraph: 'Likely', 'Do now'
LEAST_LABEL: Final = 12  #: columns that names of checks need beside their figures
MOST_PASSED: Final = 8  #: passed checks that have a row each
MOST_NOTES: Final = 12  #: warnings on one screen; the computation sheet has them all

#: Codes of a terminal that shows colours.
TERMINAL_COLOURS: Final = {"FAILED": "1;31", "PASSED": "1;32", "NOT CHECKED": "1;33", "bad": "31", "lead": "1"}


class Screen:
    """Where text is shown: how wide it is and whether it shows colours."""

    def __init__(self, *, width: int = SCREEN_WIDTH, colours: bool = False) -> None:
        self.width = width
        self.colours = colours

    @classmethod
    def of_terminal(cls) -> Screen:
        """Return the screen that standard output is."""
        terminal = bool(sys.stdout) and sys.stdout.isatty()
        columns = shutil.get_terminal_size((SCREEN_WIDTH, 24)).columns if terminal else SCREEN_WIDTH
        plain = "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"
        return cls(width=max(min(columns, SCREEN_WIDTH), MIN_SCREEN_WIDTH), colours=terminal and not plain)

    def paint(self, text: str, colour: str) -> str:
        """Return text in a colour, where the screen has colours."""
        return f"\x1b[{TERMINAL_COLOURS[colour]}m{text}\x1b[0m" if self.colours and colour in TERMINAL_COLOURS else text

    def paragraph(self, lead: str, text: str, *, place: str = "", colour: str = "lead") -> Iterator[str]:
        """Yield a paragraph under its lead in the margin; a place of the book stands at the right of its first line."""
        room = self.width - LEAD_WIDTH - (len(place) + 2 if place else 0)
        indent = " " * LEAD_WIDTH
        if len(lead) >= LEAD_WIDTH:
            yield self.paint(lead, colour)
            lead = ""
        first, *rest = wrap(printable(text), room, break_on_hyphens=False) or [""]
        left = f"{lead:<{LEAD_WIDTH}}{first}"
        line = f"{left:<{self.width - len(place)}}{place}" if place else left
        yield line.replace(lead, self.paint(lead, colour), 1) if lead else line
        for part in wrap(" ".join(rest), self.width - LEAD_WIDTH, break_on_hyphens=False):
            yield indent + part


def survey_lines(
    survey: Survey, screen: Screen, missing: Sequence[Finding] = (), faults: Sequence[Finding] = ()
) -> Iterator[str]:
    """Yield the judgement of a survey: verdict, odd readings, likely cause, what to do, checks, what would improve it.

    Where rows could not be read (``faults``), what they leave out is not to be measured again: they are mended first.
    """
    yield from _verdict_lines(verdict(survey.solved), screen, missing, faults)
    if survey.passed and (unseen := unseen_in_short(survey.solved)):
        yield from screen.paragraph("", " ".join(unseen))
    if odd := [finding for finding in survey.diagnosis.warnings if finding.rule in SIZE_RULES]:
        yield from _notes("Look at", odd[:MOST_NOTES], screen)
    if faults:
        lines = sorted({finding.place.line for finding in faults if finding.place})
        places = list_names([str(line) for line in lines])
        yield ""
        yield from screen.paragraph(
            "Do now", f"Mend what is named above (book {places}) and check again; it is left out here."
        )
    else:
        yield from cause_lines(survey, screen)
    yield from _check_lines(survey, screen)
    yield from _accuracy_lines(survey, screen)
    yield from _improvement_lines(survey, screen)


def _verdict_lines(
    survey_verdict: Verdict, screen: Screen, missing: Sequence[Finding] = (), faults: Sequence[Finding] = ()
) -> Iterator[str]:
    """Yield the verdict, and what a half-finished book still lacks, or one whose wrong rows are left out."""
    if survey_verdict.word == "NOT CHECKED":
        first, *rest = wrap(
            printable(survey_verdict.headline), screen.width, subsequent_indent=" " * LEAD_WIDTH, break_on_hyphens=False
        )
        yield first.replace(survey_verdict.word, screen.paint(survey_verdict.word, survey_verdict.word), 1)
        yield from rest
        yield from screen.paragraph("", survey_verdict.meaning)
    else:
        text = f"{survey_verdict.about}. {survey_verdict.meaning}"
        yield from screen.paragraph(survey_verdict.word, text, colour=survey_verdict.word)
    if missing and faults:
        yield from screen.paragraph("Missing", "while what is named above is left out:")
    for number, finding in enumerate(missing, start=1 if faults else 0):
        yield from screen.paragraph("" if number else "Missing", finding.text, place=book_line(finding.place))


def cause_lines(survey: Survey, screen: Screen) -> Iterator[str]:
    """Yield the likely causes of failed checks and what to do now."""
    likely, sentences = list(causes(survey)), list(do_now(survey))
    if likely or sentences:
        yield ""
    for number, cause in enumerate(likely):
        yield from screen.paragraph(
            "or" if number else cause.likelihood.capitalize(), cause.what, place=book_line(cause.place)
        )
        yield from screen.paragraph("", cause.why)
    for number, sentence in enumerate(sentences):
        yield from screen.paragraph("" if number else "Do now", sentence)


HEADS: Final = ("booked", "computed", "difference", "allowed", "on plan")


def _check_lines(survey: Survey, screen: Screen) -> Iterator[str]:
    """Yield the table of checks: the failed ones first, then those that passed, as many as there is room for."""
    notation = notation_of(survey.book)
    rows = check_rows(survey, survey.scale, notation)
    if not rows:
        return
    failed = [row for row in rows if not row.check.passed]
    passed = [row for row in rows if row.check.passed]
    rows = [*failed, *passed[:MOST_PASSED]]
    cells = [(row.booked, row.computed, row.difference, row.allowed, row.on_plan) for row in rows]
    yield ""
    yield from _table(f"in {notation.words}", rows, cells, screen)
    if len(passed) > MOST_PASSED:
        rest = ", ".join(row.check.what for row in passed[MOST_PASSED:])
        yield from _indent_remark(f"and {len(passed) - MOST_PASSED} more that passed: {rest}", screen)
    if any(row.check.chosen for row in rows):
        yield from _indent_remark("~ agrees because a reading left open was chosen so", screen)
    if survey.book.north and any(row.check.kind == "bearing" for row in rows):
        yield from _indent_remark(f"Bearings are from {survey.book.north.reference} north, as booked.", screen)


def _indent_remark(text: str, screen: Screen) -> Iterator[str]:
    """Yield a remark under the table."""
    yield from wrap(printable(text), screen.width, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False)


def _table(title: str, rows: Sequence[ShownCheck], cells: Sequence[Sequence[str]], screen: Screen) -> Iterator[str]:
    """Yield a table; where the screen is narrow, its last columns are left out and names have lines of their own."""
    places = [book_line(row.check.place) for row in rows]
    end = 3 + max(map(len, places))
    widths = [max(len(head), *(len(row[n]) for row in cells)) + 2 for n, head in enumerate(HEADS)]
    while len(widths) > 3 and 2 + LEAST_LABEL + sum(widths) + end > screen.width:
        widths.pop()
    longest = max(len(title), *(len(row.label) for row in rows))
    label_width = min(longest, screen.width - 2 - sum(widths) - end)
    stacked = label_width < min(longest, LEAST_LABEL)
    if stacked:
        label_width = 0
        yield f"  {title}"
    heads = "".join(f"{head:>{width}}" for head, width in zip(HEADS, widths, strict=False))
    yield f"  {'' if stacked else title:<{label_width}}{heads}"
    for row, texts, place in zip(rows, cells, places, strict=True):
        figures = "".join(f"{text:>{width}}" for text, width in zip(texts, widths, strict=False))
        label = printable(row.label)
        *before, last = wrap(
            label, screen.width - 2 - len(place) - 1 if stacked else label_width, break_on_hyphens=False
        )
        mark = "!" if not row.check.passed else "~" if row.check.chosen else " "
        lines = [f"{mark} {part}" for part in before]
        if stacked:
            lines += [f"{mark} {last:<{screen.width - 3 - len(place)}} {place}", f"  {figures}"]
        else:
            lines.append(f"{mark} {last:<{label_width}}{figures}   {place}")
        yield from lines if row.check.passed else (screen.paint(line, "bad") for line in lines)


def _accuracy_lines(survey: Survey, screen: Screen) -> Iterator[str]:
    """Yield how near the points are to where they are drawn."""
    if survey.passed:
        yield ""
        yield from screen.paragraph("Accuracy", " ".join(accuracy_in_full(survey.solved)))


def _improvement_lines(survey: Survey, screen: Screen) -> Iterator[str]:
    """Yield what would improve the survey: what to measure, then the warnings with their places."""
    choices = [finding for finding in survey.diagnosis.warnings if finding.rule == CHOSEN]
    weak = [finding for finding in survey.diagnosis.warnings if finding.rule not in {CHOSEN, *SIZE_RULES}]
    # On screen alone: files say the same whichever day they are made.
    weak = [*future_dates(survey.book, datetime.date.today()), *weak]
    if choices:
        yield from _notes("Chosen", choices, screen)
    if survey.passed and survey.solved.checked is not None and survey.diagnosis.advice:
        yield ""
        for number, advice in enumerate(survey.diagnosis.advice):
            yield from screen.paragraph("" if number else "Improve", advice_sentence(advice))
    if weak:
        yield from _notes("Notes", weak[:MOST_NOTES], screen)
    if len(weak) > MOST_NOTES:
        yield from screen.paragraph(
            "", f"and {len(weak) - MOST_NOTES} more, all on the computation sheet that plot writes"
        )


def _notes(lead: str, findings: Iterable[Finding], screen: Screen) -> Iterator[str]:
    yield ""
    for number, finding in enumerate(findings):
        yield from screen.paragraph("" if number else lead, finding.text, place=book_line(finding.place))
