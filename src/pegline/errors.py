"""What can go wrong, and where in the book: the exception tree, places and findings.

PeglineError
├── BookError      the book is wrong: one or more findings (exit 65)
├── OpenError      a file cannot be opened or read at all (66)
│   └── TooLargeError     it is larger than a book can be
├── OutputError    an output cannot be written (73)
├── BusyError      another run holds the folder, or a limit was passed (75)
└── UsageError     the call's words are off (2)
    └── UnsuitableError   a format cannot hold this survey; told, and the others are written
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import ClassVar, Final

from pegline.records import record

__all__ = [
    "FAULT",
    "BookError",
    "BusyError",
    "Finding",
    "OpenError",
    "OutputError",
    "PeglineError",
    "Place",
    "TooLargeError",
    "UnsuitableError",
    "UsageError",
    "in_order",
    "printable",
    "worst",
]

FAULT: Final = 70  #: exit status of a fault of the program's own
#: Signs that command a terminal, turn a line's direction, or stand for bytes that are no text.
_UNSHOWN: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_WORST_FIRST: Final = (2, FAULT, 73, 75, 65, 66, 1, 0)


def worst(statuses: Sequence[int]) -> int:
    """Return the exit status that several books end with together.

    >>> worst([0, 1, 65, 66])
    65
    """
    return min(statuses, key=_WORST_FIRST.index, default=0)


def printable(text: str) -> str:
    r"""Return a text that a terminal shows and a file can hold: other signs, as of a damaged name, as their escapes.

    >>> printable("old\x1b[1m caf\udce9.yaml")
    'old\\x1b[1m caf\\udce9.yaml'
    """
    return _UNSHOWN.sub(lambda match: match[0].encode("unicode_escape").decode(), text)


@record(frozen=True, slots=True)
class Place:
    """Where something stands in the book.

    >>> str(Place("weir.yaml", 12, 9))
    'weir.yaml:12:9'
    """

    file: str  #: the book's file as it was given
    line: int  #: counted from 1
    column: int  #: counted from 1, in characters

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"

    @property
    def source(self) -> str:
        """Return ``LINE:COLUMN``, which does not depend on the folder."""
        return f"{self.line}:{self.column}"


@record(frozen=True, slots=True)
class Finding:
    """Something to tell about a book: a fault, or (of a sound book) a warning."""

    rule: str  #: short name, words with hyphens; warnings can be silenced by it
    text: str  #: what is wrong; what to do
    place: Place | None = None  #: where, when it has a place
    data: object = None  #: what a later stage needs to say more, such as a Gap

    def __str__(self) -> str:
        return f"{self.place}: {self.text}" if self.place else self.text


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings in the order of their places, each once; those without a place come first."""

    def key(finding: Finding) -> tuple[str, int, int]:
        place = finding.place
        return (place.file, place.line, place.column) if place else ("", 0, 0)

    return tuple(sorted({(f.rule, f.text, f.place): f for f in findings}.values(), key=key))


class PeglineError(Exception):
    """Base of everything that pegline raises on purpose."""

    status: ClassVar[int]  #: exit status of a run that ends with it


class BookError(PeglineError):
    """The book cannot be reduced; ``findings`` tells everything found at this stage."""

    status = 65

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))


class OpenError(PeglineError):
    """A book cannot be opened or is no text at all."""

    status = 66


class TooLargeError(OpenError):
    """A file is larger than a book can be."""


class OutputError(PeglineError):
    """An output cannot be written; what stood there before is untouched."""

    status = 73


class BusyError(PeglineError):
    """Another run holds the folder, or a limit of time or memory was passed."""

    status = 75


class UsageError(PeglineError):
    """The call itself is wrong."""

    status = 2


class UnsuitableError(UsageError):
    """A survey cannot be written in one format; the others can be written all the same."""
