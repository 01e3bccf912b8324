"""What changed: between two books, or between two measurings of one place."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from pegline.commands.command_line import Tell
from pegline.commands.diff import correction, second_measuring
from pegline.commands.diff.book_changes import BookedText, Noise, changes
from pegline.commands.diff.results import ComparedSurvey, Line, failure_lines, of_book, of_json, open_result
from pegline.commands.diff.second_measuring import reading_noise

__all__ = ["ComparedSurvey", "arguments", "difference_lines", "of_book", "of_json", "run"]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("old", metavar="OLD", help="a field book, or a STEM.json that plot wrote")
    parser.add_argument("new", metavar="NEW", help="the same, of the same place")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print what changed; 1 when a peg or point has moved by more than measuring explains, or a check failed."""
    old, new = (open_result(Path(name)) for name in (args.old, args.new))
    different = False
    for line, fails in difference_lines(old, new):
        tell(line.replace("\n", "\\n"))  # a title that is typed in lines is no line of ours
        different |= fails
    return 1 if different else 0


def difference_lines(old: ComparedSurvey, new: ComparedSurvey) -> Iterator[Line]:
    """Yield the lines to print.

    Which survey failed its own checks comes first, then what moved, or shifts by a correction, and at the end what
    is booked differently.
    """
    yield f"Old: {_head(old)}", False
    yield f"New: {_head(new)}", False
    yield from failure_lines(old, "old")
    yield from failure_lines(new, "new")
    shared = correction.count_shared_readings(old, new)
    yield from (
        second_measuring.measuring_lines(old, new) if shared is None else correction.correction_lines(old, new, shared)
    )
    yield from _book_difference_lines(old, new, reading_noise(old, new) if shared is None else None)


def _head(result: ComparedSurvey) -> str:
    return ", ".join(filter(None, (result.file, result.title, result.date)))


def _book_difference_lines(old: ComparedSurvey, new: ComparedSurvey, noise: Noise | None) -> Iterator[Line]:
    """Yield what the books say differently; readings that differ by no more than measuring explains are counted."""
    if old.book is None or new.book is None:
        return
    books = BookedText(old.book, old.tree), BookedText(new.book, new.tree)
    every = list(changes(*books))
    differences = list(changes(*books, noise)) if noise else every
    if not every:
        yield "The two books say the same.", False
        return
    if differences:
        yield "Booked differently:", False
    for sentence in differences:
        yield f"  {sentence}", False
    if unshown := len(every) - len(differences):
        differs = "more entry differs" if unshown == 1 else "more entries differ"
        yield f"{unshown} {differs} by no more than measuring twice explains.", False
