"""The same book with one thing booked otherwise: what a slip undone would have given.

Each function returns a new book; none of them judges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import permutations
from typing import Any, Final

from pegline.book.model import Book, Feature, Line, Parallel, Rectangle, TapedRound
from pegline.errors import Place
from pegline.measures.distance import Arc, Arm, Dimension, Wall
from pegline.measures.offset import Row
from pegline.measures.tapings import Taped
from pegline.measures.values import Length, Reading

__all__ = [
    "in_other_name",
    "on_other_side",
    "open_readings",
    "readings_in",
    "reversed_line",
    "row_on_other_side",
    "split_point",
    "unit_of",
    "with_edits",
    "with_readings",
]

#: The parts of a book that hold readings, and the fields of its records that do.
PARTS: Final = ("lines", "dimensions", "arcs", "features")
HOLDERS: Final[Mapping[type, tuple[str, ...]]] = {
    Line: ("taped", "legs", "details"),
    Taped: ("reading",),
    Row: ("at", "left", "right", "struck"),
    Dimension: ("readings",),
    Arc: ("arms",),
    Arm: ("readings",),
    Feature: ("geometry",),
    Rectangle: ("depth",),
    TapedRound: ("walls",),
    Parallel: ("distance",),
    Wall: ("readings",),
}


def _changed(record: Any, change: Callable[[Reading], Reading]) -> Any:
    """Return a record with every reading in it changed; what holds none comes back itself."""
    if isinstance(record, Reading):
        return change(record)
    if isinstance(record, tuple):
        items = tuple(_changed(item, change) for item in record)
        return items if any(new is not old for new, old in zip(items, record, strict=True)) else record
    if isinstance(record, dict):
        entries = {key: _changed(value, change) for key, value in record.items()}
        return entries if any(entries[key] is not record[key] for key in entries) else record
    names = HOLDERS.get(type(record), ())
    new = {name: _changed(getattr(record, name), change) for name in names}
    moved = {name: value for name, value in new.items() if value is not getattr(record, name)}
    return replace(record, **moved) if moved else record


def _readings(record: Any, found: list[Reading]) -> None:
    """Add every reading in a record to those found."""
    kind = type(record)
    if kind is Reading:
        found.append(record)
    elif kind is tuple or kind is dict:
        for item in record if kind is tuple else record.values():
            _readings(item, found)
    else:
        for name in HOLDERS.get(kind, ()):
            if part := getattr(record, name):
                _readings(part, found)


def with_readings(book: Book, change: Callable[[Reading], Reading]) -> Book:
    """Return a book with its readings changed."""
    return replace(book, **{part: _changed(getattr(book, part), change) for part in PARTS})


def with_edits(book: Book, edits: Iterable[tuple[Place, Length]]) -> Book:
    """Return a book in which the readings at some places are others."""
    lengths = dict(edits)
    return with_readings(book, lambda r: replace(r, length=lengths[r.place]) if r.place in lengths else r)


def readings_in(record: Any) -> tuple[Reading, ...]:
    """Return every reading in a line, a dimension, an arc or a feature."""
    found: list[Reading] = []
    _readings(record, found)
    return tuple(found)


def open_readings(book: Book) -> tuple[Reading, ...]:
    """Return the readings of which the book does not say what they are, in its order."""
    found: list[Reading] = []
    for part in PARTS:
        _readings(getattr(book, part), found)
    return tuple(reading for reading in found if reading.either)


def unit_of(book: Book, place: Place) -> str:
    """Return the unit of a bare number that stands at a place."""
    for line in book.lines.values():
        if any(reading.place == place for reading in readings_in(line)):
            return book.unit_of(line.name)
    return book.unit


def on_other_side(book: Book, name: str) -> Book:
    """Return a book in which a station, or a point fixed by arcs, lies on the other side of its line."""
    station = book.stations.get(name)
    if station is not None and station.side is not None:
        turned = replace(station, side=replace(station.side, left=not station.side.left))
        return replace(book, stations={**book.stations, name: turned})
    arcs = tuple(
        replace(arc, side=replace(arc.side, left=not arc.side.left)) if arc.point == name and arc.side else arc
        for arc in book.arcs
    )
    return replace(book, arcs=arcs)


def _with_line(book: Book, line: Line) -> Book:
    return replace(book, lines={**book.lines, line.name: line})


def reversed_line(book: Book, name: str) -> Book:
    """Return a book in which a line was walked from its other end, rows and all."""
    line = book.lines[name]
    return _with_line(book, replace(line, start=line.end, end=line.start))


def in_other_name(book: Book, name: str, end: str, other: str) -> Book:
    """Return a book in which one end of a line is another station."""
    line = book.lines[name]
    return _with_line(book, replace(line, start=other) if line.start == end else replace(line, end=other))


def _with_row(book: Book, place: Place, change: Callable[[Row], Row]) -> Book:
    for line in book.lines.values():
        if any(row.place == place for row in line.details):
            rows = tuple(change(row) if row.place == place else row for row in line.details)
            return _with_line(book, replace(line, details=rows))
    return book


def row_on_other_side(book: Book, place: Place) -> Book:
    """Return a book in which the row at a place has left for right."""
    return _with_row(book, place, lambda row: replace(row, left=row.right, right=row.left))


def split_point(book: Book, place: Place) -> Book:
    """Return a book in which the row at a place is of a point of its own: its name was used twice."""
    return _with_row(book, place, lambda row: replace(row, name=f"{row.name}'"))


def other_ends(book: Book, name: str) -> Iterator[tuple[str, str]]:
    """Yield how one end of a line could be another station: the end as booked, the other station."""
    line = book.lines[name]
    taken = {frozenset((one.start, one.end)) for one in book.lines.values()}
    for kept, end in permutations((line.start, line.end)):
        for other in book.station_names:
            if other not in (kept, end) and frozenset((kept, other)) not in taken:
                yield end, other
