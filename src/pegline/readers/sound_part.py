"""Read the sound part of a book with wrong values in it: the parts that hold them are left out."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection
from pathlib import Path
from typing import Final

from pegline.book.model import Book
from pegline.book.read import read_book
from pegline.errors import BookError, Finding, Place, in_order
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.readers.file_text import read_bytes, text_of_bytes
from pegline.readers.yaml import parse

__all__ = ["parse_sound_part", "read_sound_part"]

MAX_ROUNDS: Final = 6  #: readings of the book; what is left out may leave something else without its ground
#: Keys of sections whose entries are parts by themselves, by the keys that lead to them.
_ENTRIES: Final = frozenset(
    {
        ("tapes",),
        ("stations",),
        ("lines",),
        ("dimensions",),
        ("angles",),
        ("points",),
        ("kinds",),
        ("features",),
        ("instruments",),
    }
    | {("pages",), ("witnesses",), ("witnesses", "*"), ("north", "bearings"), ("control", "points")}
)
#: Keys whose list holds parts by themselves: rows.
_ROWS: Final = frozenset({("arcs",), ("lines", "*", "details"), ("lines", "*", "details_back")})


def read_sound_part(path: str | os.PathLike[str]) -> tuple[Book, tuple[Finding, ...]]:
    """Read a field book without the rows, lines and features that cannot be read, and return what is wrong in them.

    Raises
    ------
    OpenError
        The file cannot be opened.
    BookError
        The file is no book, or nothing of it can be read.
    """
    return parse_sound_part(read_bytes(path), os.fspath(path))


def parse_sound_part(data: bytes, file: str) -> tuple[Book, tuple[Finding, ...]]:
    """Return what can be read of a book's bytes, and everything that is wrong in the rest."""
    written = parse(text_of_bytes(data, file), file)
    sha256 = hashlib.sha256(data).hexdigest()
    left_out: list[Written] = []
    refusals: list[BookError] = []
    for _ in range(MAX_ROUNDS):
        try:
            book = read_book(written, file=Path(file).name, path=file, sha256=sha256, left_out=left_out)
        except BookError as error:
            refusals.append(error)
            places = {finding.place for finding in error.findings if finding.place}
            lean = _without(written, places, (), left_out)
            if lean in (None, written):
                break
            written = lean
        else:
            return book, in_order(finding for refusal in refusals for finding in refusal.findings)
    raise refusals[0]


def _without(
    part: Written, places: Collection[Place], keys: tuple[str, ...], left_out: list[Written]
) -> Written | None:
    """Return a part of a book without the smallest parts that hold some places; None where that is all of it.

    Parameters
    ----------
    keys
        The keys that lead to the part, ``*`` for names of the book's own.
    left_out
        What is left out is added to it.
    """
    if isinstance(part, Text):
        return None
    if isinstance(part, Items):
        if keys not in _ROWS:
            return None
        rows = tuple(item for item in part.items if not _holds(item, places))
        left_out += [item for item in part.items if _holds(item, places)]
        return Items(rows, part.place, part.closed)
    entries: dict[str, tuple[Text, Written]] = {}
    for word, (key, value) in part.entries.items():
        if not (key.place in places or _holds(value, places)):
            entries[word] = (key, value)
            continue
        inner = (*keys, "*") if keys in _ENTRIES else (*keys, word)
        lean = None if key.place in places or not _leads(inner) else _without(value, places, inner, left_out)
        if lean is not None:
            entries[word] = (key, lean)
        elif keys and keys not in _ENTRIES:
            return None  # a record cannot do without a value of its own
        else:
            left_out.append(Table({word: (key, value)}, key.place))
    return Table(entries, part.place, part.closed)


def _leads(keys: tuple[str, ...]) -> bool:
    """Return whether parts by themselves stand somewhere under these keys."""
    return any(deeper[: len(keys)] == keys for deeper in (*_ENTRIES, *_ROWS))


def _holds(part: Written, places: Collection[Place]) -> bool:
    """Return whether a part, or anything in it, stands at one of some places."""
    if part.place in places:
        return True
    if isinstance(part, Items):
        return any(_holds(item, places) for item in part.items)
    if isinstance(part, Table):
        return any(key.place in places or _holds(value, places) for key, value in part.entries.values())
    return False
