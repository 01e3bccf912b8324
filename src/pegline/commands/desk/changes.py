"""Changes of a text as values: applied, undone, merged, and carried to and from the page's editor.

Offsets count characters of the text with line ends as one sign each; the editor of the page counts
UTF-16 units, so that signs beyond the first plane are two there.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from difflib import SequenceMatcher
from itertools import accumulate
from typing import Any, Final, NamedTuple

from pegline.errors import UsageError

__all__ = [
    "Change",
    "Changes",
    "apply_changes",
    "changes_between",
    "from_sections",
    "inverse",
    "merge_changes",
    "to_file",
    "to_page",
    "to_sections",
    "with_line_feeds",
    "without_returns",
]


_BEYOND: Final = "\uffff"  #: the last sign of the first plane


class Change(NamedTuple):
    """The signs from ``start`` to ``end`` of the text before become ``insert``."""

    start: int
    end: int
    insert: str


Changes = tuple[Change, ...]  #: in order, none touching the next


def apply_changes(text: str, changes: Sequence[Change]) -> str:
    """Return a text with changes made.

    >>> apply_changes("8.20", (Change(2, 3, "4"),))
    '8.40'
    """
    parts, at = [], 0
    for start, end, insert in changes:
        parts += [text[at:start], insert]
        at = end
    return "".join([*parts, text[at:]])


def inverse(text: str, changes: Sequence[Change]) -> Changes:
    """Return the changes that lead back to ``text``.

    >>> inverse("8.20", (Change(2, 3, "44"),))
    (Change(start=2, end=4, insert='2'),)
    """
    back, shift = [], 0
    for start, end, insert in changes:
        back.append(Change(start + shift, start + shift + len(insert), text[start:end]))
        shift += len(insert) - (end - start)
    return tuple(back)


def changes_between(old: str, new: str) -> Changes:
    """Return what turns one text into another, by whole lines; a single line that differs, by what differs in it."""
    before, after = old.splitlines(keepends=True), new.splitlines(keepends=True)
    starts = [0, *accumulate(map(len, before))]
    changes = []
    for tag, i, j, k, m in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if tag == "equal":
            continue
        if j - i == m - k:  # line for line: what others do to one of them leaves the next alone
            pairs = zip(range(i, j), after[k:m], strict=True)
            changes += [_narrow_change(old, Change(starts[line], starts[line + 1], new)) for line, new in pairs]
        else:
            changes.append(_narrow_change(old, Change(starts[i], starts[j], "".join(after[k:m]))))
    return tuple(changes)


def _narrow_change(text: str, change: Change) -> Change:
    """Return a change without what it leaves as it is at either end."""
    start, end, insert = change
    while start < end and insert and text[start] == insert[0]:
        start, insert = start + 1, insert[1:]
    while start < end and insert and text[end - 1] == insert[-1]:
        end, insert = end - 1, insert[:-1]
    return Change(start, end, insert)


def merge_changes(base: str, ours: Sequence[Change], theirs: Sequence[Change]) -> tuple[Changes, bool]:
    """Return ``theirs`` as changes of the text that ``ours`` made of ``base``, and whether all of them fit.

    Changes that touch a line that ours touched too do not fit, and are left out.
    """
    changed_lines = [_lines_of(base, change) for change in ours]
    rebased, fit = [], True
    for change in theirs:
        first, last = _lines_of(base, change)
        if any(first <= end and begin <= last for begin, end in changed_lines):
            fit = False
            continue
        shift = sum(len(insert) - (end - start) for start, end, insert in ours if end <= change.start)
        rebased.append(Change(change.start + shift, change.end + shift, change.insert))
    return tuple(rebased), fit


def _lines_of(text: str, change: Change) -> tuple[int, int]:
    """Return the first and the last line that a change touches; whole lines end before the next begins."""
    first = text.count("\n", 0, change.start)
    end = change.end - 1 if change.end > change.start and text[change.end - 1] == "\n" else change.end
    return first, text.count("\n", 0, max(end, change.start))


# -- the editor's form ------------------------------------------------------------------------------


def from_sections(sections: Any, text: str) -> Changes:
    """Return the changes that the editor tells as a list of lengths kept and ``[length, line, …]`` replaced.

    Raises
    ------
    UsageError
        The sections do not fit the text.
    """
    places = _Places(text)
    changes, at = [], 0
    for length, lines in _check_sections(sections):
        if lines is not None:
            changes.append(Change(places.character(at), places.character(at + length), "\n".join(lines)))
        at += length
    if at != places.units:
        raise UsageError("the change does not fit the text; load the page again")
    return tuple(changes)


def _check_sections(sections: Any) -> Iterator[tuple[int, list[str] | None]]:
    if not isinstance(sections, list):
        raise UsageError("a change is a list of lengths and lines")
    for section in sections:
        length, *lines = section if isinstance(section, list) and section else [section]
        if type(length) is not int or length < 0 or not all(isinstance(line, str) for line in lines):
            raise UsageError("a change is a list of lengths and lines")
        yield length, lines if isinstance(section, list) else None


def to_sections(changes: Iterable[Change], text: str) -> list[Any]:
    """Return changes of ``text`` as the editor of the page takes them."""
    places = _Places(text)
    sections: list[Any] = []
    at = 0
    for start, end, insert in changes:
        begin, finish = places.unit(start), places.unit(end)
        if begin > at:
            sections.append(begin - at)
        sections.append([finish - begin, *insert.split("\n")] if insert else [finish - begin])
        at = finish
    if places.units > at:
        sections.append(places.units - at)
    return sections


class _Places:
    """Offsets of a text in characters and in UTF-16 units."""

    def __init__(self, text: str) -> None:
        self.wide = [] if text.isascii() else [i for i, sign in enumerate(text) if sign > _BEYOND]
        self.ends = [index + number + 2 for number, index in enumerate(self.wide)]  # in units, after each wide sign
        self.units = len(text) + len(self.wide)

    def unit(self, character: int) -> int:
        return character + bisect_right(self.wide, character - 1)

    def character(self, unit: int) -> int:
        return unit - bisect_right(self.ends, unit)


# -- a file's own line ends --------------------------------------------------------------------------


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
