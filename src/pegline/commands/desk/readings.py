"""One reading booked otherwise, as a change of the text: to try out what a suspect speaks of."""

from __future__ import annotations

from typing import Any

from pegline.commands.desk.changes import Changes
from pegline.commands.desk.patches import KeyPath, patch
from pegline.errors import UsageError
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.readers.yaml import parse

__all__ = ["reading_change"]


def reading_change(text: str, source: str, reading: str, would_be: str) -> Changes:
    """Return the change that books ``would_be`` for ``reading`` in the entry at ``source`` (``LINE:COLUMN``).

    Raises
    ------
    UsageError
        The entry does not hold that reading exactly once.
    """
    spot = _spot(source)
    written = parse(text, "book")
    around: KeyPath = ()
    for path, place in _walk_places(written, ()):
        if place <= spot:
            around = path
    while True:
        part = _at(written, around)
        alike = [path for path, value in _texts(part, around) if _same(value, reading)]
        if len(alike) == 1:
            return patch(text, "set", alike[0], would_be)
        if alike or len(around) <= 2:
            raise UsageError(
                "look at this row and change it there: the page cannot tell which of its readings is meant"
            )
        around = around[:-1]


def _spot(source: str) -> tuple[int, int]:
    line, _, column = source.partition(":")
    if not (line.isascii() and line.isdigit() and column.isascii() and column.isdigit() and len(source) < 30):
        raise UsageError("a place is LINE:COLUMN")
    return int(line), int(column)


def _walk_places(written: Written, path: KeyPath) -> Any:
    yield path, (written.place.line, written.place.column)
    if isinstance(written, Table):
        for word, (key, value) in written.entries.items():
            yield (*path, word), (key.place.line, key.place.column)
            yield from _walk_places(value, (*path, word))
    elif isinstance(written, Items):
        for number, item in enumerate(written.items):
            yield from _walk_places(item, (*path, number))


def _texts(written: Written, path: KeyPath) -> Any:
    if isinstance(written, Text):
        yield path, written.value
    elif isinstance(written, Table):
        for word, (_, value) in written.entries.items():
            yield from _texts(value, (*path, word))
    else:
        for number, item in enumerate(written.items):
            yield from _texts(item, (*path, number))


def _at(written: Written, path: KeyPath) -> Written:
    for step in path:
        if isinstance(written, Table):
            written = written.entries[str(step)][1]
        elif isinstance(written, Items):
            written = written.items[int(step)]
    return written


def _same(value: str, reading: str) -> bool:
    return value.removeprefix("~").strip() == reading.removeprefix("~").strip()
