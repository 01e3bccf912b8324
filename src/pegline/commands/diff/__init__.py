"""What changed: between two books, or between two measurings of one place."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pegline.commands.diff import correction as corrected
from pegline.commands.diff import second_measuring as again
from pegline.commands.diff.book_changes import changes
from pegline.commands.diff.phrases import Line, failing
from pegline.commands.diff.results import Result, of_book, of_json, opened

if TYPE_CHECKING:
    from pegline.book.model import Book

__all__ = ["Result", "arguments", "of_book", "of_json", "run", "told"]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("old", metavar="OLD", help="a field book, or a STEM.json that plot wrote")
    parser.add_argument("new", metavar="NEW", help="the same, of the same place")


def run(args: argparse.Namespace, tell: Callable[[str], None], complain: Callable[[str], None]) -> int:
    """Tell what changed; 1 when a peg or point has moved by more than measuring explains, or a check fails."""
    old, new = (opened(Path(name)) for name in (args.old, args.new))
    different = False
    for line, fails in told(old, new):
        tell(line.replace("\n", "\\n"))  # a title that is typed in lines is no line of ours
        different |= fails
    return 1 if different else 0


def told(old: Result, new: Result) -> Iterator[Line]:
    """Yield the lines to print.

    Which survey fails its own checks comes first, then what is booked differently, then what that, or the time
    between, did on the ground.
    """
    yield f"Old: {_head(old)}", False
    yield f"New: {_head(new)}", False
    yield from failing(old, "old")
    yield from failing(new, "new")
    if old.book and new.book:
        yield from _booked(old.book, new.book)
    shared = corrected.corrected(old, new)
    yield from again.told(old, new) if shared is None else corrected.told(old, new, shared)


def _head(result: Result) -> str:
    return ", ".join(filter(None, (result.file, result.title, result.date)))


def _booked(old: Book, new: Book) -> Iterator[Line]:
    found = list(changes(old, new))
    yield ("Booked differently:" if found else "The two books say the same."), False
    for sentence in found:
        yield f"  {sentence}", False
