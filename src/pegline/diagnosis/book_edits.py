"""The same book with one thing booked otherwise: what a slip undone would have given.

Each function returns a new book; none of them judges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any, Final

from pegline.book.model import Book, Feature, Line, Parallel, Rectangle, TapedRound
from pegline.errors import Place
from pegline.measures.distance import Arc, Arm, Dimension, Taped, Wall, reading_past
from pegline.measures.obstacles import ChainAngle, Passage
from pegline.measures.offset import Row
from pegline.measures.values import Length, Reading

__all__ = [
    "open_readings",
    "readings_in",
    "unit_of",
    "with_edits",
    "with_readings",
]

#: The parts of a book that hold readings, and the fields of its records that do.
PARTS: Final = ("lines", "dimensions", "arcs", "features")
HOLDERS: Final[Mapping[type, tuple[str, ...]]] = {
    Line: ("taped", "legs", "details"),
    Taped: ("reading", "passage"),
    Passage: ("parallel", "offsets", "sides", "angle", "perpendicular", "hypotenuse", "perpendiculars", "apart"),
    ChainAngle: ("along", "chord"),
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


def _change_readings(record: Any, change: Callable[[Reading], Reading]) -> Any:
    """Return a record with every reading in it changed; what holds none comes back itself."""
    if isinstance(record, Reading):
        return change(record)
    if isinstance(record, tuple):
        items = tuple(_change_readings(item, change) for item in record)
        return items if any(new is not old for new, old in zip(items, record, strict=True)) else record
    if isinstance(record, dict):
        entries = {key: _change_readings(value, change) for key, value in record.items()}
        return entries if any(entries[key] is not record[key] for key in entries) else record
    names = HOLDERS.get(type(record), ())
    new = {name: _change_readings(getattr(record, name), change) for name in names}
    moved = {name: value for name, value in new.items() if value is not getattr(record, name)}
    return replace(record, **moved) if moved else record


def _readings(record: Any, readings: list[Reading]) -> None:
    """Add every reading in a record to those found."""
    kind = type(record)
    if kind is Reading:
        readings.append(record)
    elif kind is tuple or kind is dict:
        for item in record if kind is tuple else record.values():
            _readings(item, readings)
    else:
        for name in HOLDERS.get(kind, ()):
            if part := getattr(record, name):
                _readings(part, readings)


def with_readings(book: Book, change: Callable[[Reading], Reading]) -> Book:
    """Return a book with its readings changed."""
    return replace(book, **{part: _change_readings(getattr(book, part), change) for part in PARTS})


def with_edits(book: Book, edits: Iterable[tuple[Place, Length]]) -> Book:
    """Return a book in which the readings at some places are others."""
    lengths = dict(edits)
    edited = with_readings(book, lambda r: replace(r, length=lengths[r.place]) if r.place in lengths else r)
    lines = {name: _renew_passages(line, book.unit_of(name)) for name, line in edited.lines.items()}
    return replace(edited, lines=lines)


def _renew_passages(line: Line, unit: str) -> Line:
    """Return a line whose legs past obstacles add to the chainage what their readings now give."""
    if not any(leg.passage for leg in line.legs):
        return line
    legs = tuple(replace(leg, reading=reading_past(leg.passage, unit)) if leg.passage else leg for leg in line.legs)
    return replace(line, legs=legs)


def readings_in(record: Any) -> tuple[Reading, ...]:
    """Return every reading in a line, a dimension, an arc or a feature."""
    readings: list[Reading] = []
    _readings(record, readings)
    return tuple(readings)


def open_readings(book: Book) -> tuple[Reading, ...]:
    """Return the readings of which the book does not say what they are, in its order."""
    readings: list[Reading] = []
    for part in PARTS:
        _readings(getattr(book, part), readings)
    return tuple(reading for reading in readings if reading.either)


def unit_of(book: Book, place: Place) -> str:
    """Return the unit of a bare number that stands at a place."""
    for line in book.lines.values():
        if any(reading.place == place for reading in readings_in(line)):
            return book.unit_of(line.name)
    return book.unit
