"""Reduce books as far as they go and print the judgement; nothing is written."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pegline.commands.several_books import Painted, Tell, status_of
from pegline.errors import BookError, printable, worst

if TYPE_CHECKING:
    from pegline.book.model import Book
    from pegline.errors import Finding
    from pegline.survey import Survey

__all__ = ["arguments", "run"]


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
    from pegline.commands.screen import Screen, survey_lines, verdict_lines
    from pegline.diagnosis.report import NOTHING_COMPUTED

    screen = Screen.of_terminal()
    lines = (
        survey_lines(survey, screen, missing, faults)
        if survey
        else verdict_lines(NOTHING_COMPUTED, screen, missing, faults)
    )
    return Painted("\n".join([printable(name), *lines]))
