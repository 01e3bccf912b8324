"""A file's own line ends: the page edits a text with line feeds, the file keeps what it had."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Final

from pegline.commands.desk.changes import Change, Changes

__all__ = ["to_file", "to_page", "with_line_feeds", "without_returns"]

_PAIRS: Final = re.compile("\r\n")
_ALONE: Final = re.compile("\r(?!\n)")


def with_line_feeds(raw: str) -> str:
    r"""Return a file's text with every line end as one line feed.

    >>> with_line_feeds("a\r\nb\n")
    'a\nb\n'
    """
    return raw.replace("\r\n", "\n")


def without_returns(raw: str) -> str:
    r"""Return a text whose lines end with a line feed, or with both signs: a return alone is of a system long gone.

    >>> without_returns("a\r\nb\rc\n")
    'a\r\nb\nc\n'
    """
    return _ALONE.sub("\n", raw)


def to_file(changes: Sequence[Change], raw: str) -> Changes:
    """Return changes of the page's text as changes of the file's; new lines end as most of the file's do."""
    if "\r" not in raw:
        return tuple(changes)
    pairs = [match.start() - number for number, match in enumerate(_PAIRS.finditer(raw))]
    end = _usual_end(raw)

    def place(offset: int) -> int:
        return offset + bisect_left(pairs, offset)

    return tuple(Change(place(start), place(stop), insert.replace("\n", end)) for start, stop, insert in changes)


def to_page(changes: Sequence[Change], raw: str) -> Changes:
    """Return changes of the file's text as changes of the page's."""
    if "\r" not in raw and not any("\r" in change.insert for change in changes):
        return tuple(changes)
    ends = [match.end() for match in _PAIRS.finditer(raw)]

    def place(offset: int) -> int:
        return offset - bisect_right(ends, offset)

    return tuple(Change(place(start), place(stop), with_line_feeds(insert)) for start, stop, insert in changes)


def _usual_end(raw: str) -> str:
    return "\r\n" if 2 * raw.count("\r\n") > raw.count("\n") else "\n"
