"""The readings that a book leaves open, the book with one alternative chosen for each, and what it then observes.

An alternative changes a few observations, so the book is gone through once for each of them, and a combination swaps
what its alternatives change.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from pegline.book.model import Book, Feature, Line, Parallel, Rectangle, TapedRound
from pegline.errors import BookError, Place
from pegline.frame.choice import choose_frame
from pegline.frame.model import Frame
from pegline.measures.distance import Arc, Arm, Dimension, Taped, Wall, reading_past
from pegline.measures.obstacles import ChainAngle, Passage
from pegline.measures.offset import Row
from pegline.measures.values import Length, Reading
from pegline.network.adjust import hints
from pegline.network.observation_types import Observation
from pegline.network.observations import observations, shared_points
from pegline.reduction.reduce import reduce_readings

__all__ = [
    "AlternativeNumbers",
    "Observed",
    "observed_in",
    "readings_in",
    "readings_left_open",
    "unit_at",
    "with_choice",
    "with_readings",
]


#: The parts of a book that hold readings, and the fields of its records that do.
SECTIONS_WITH_READINGS: Final = ("lines", "dimensions", "arcs", "features")
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


def _add_readings(record: Any, readings: list[Reading]) -> None:
    """Add every reading in a record to those found."""
    kind = type(record)
    if kind is Reading:
        readings.append(record)
    elif kind is tuple or kind is dict:
        for item in record if kind is tuple else record.values():
            _add_readings(item, readings)
    else:
        for name in HOLDERS.get(kind, ()):
            if part := getattr(record, name):
                _add_readings(part, readings)


def with_readings(book: Book, change: Callable[[Reading], Reading]) -> Book:
    """Return a book with its readings changed."""
    return replace(book, **{part: _change_readings(getattr(book, part), change) for part in SECTIONS_WITH_READINGS})


def _with_edits(book: Book, edits: Iterable[tuple[Place, Length]]) -> Book:
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
    _add_readings(record, readings)
    return tuple(readings)


def readings_left_open(book: Book) -> tuple[Reading, ...]:
    """Return the readings of which the book does not say what they are, in its order."""
    readings: list[Reading] = []
    for part in SECTIONS_WITH_READINGS:
        _add_readings(getattr(book, part), readings)
    return tuple(reading for reading in readings if reading.either)


def unit_at(book: Book, place: Place) -> str:
    """Return the unit of a bare number that stands at a place."""
    for line in book.lines.values():
        if any(reading.place == place for reading in readings_in(line)):
            return book.unit_of(line.name)
    return book.unit


AlternativeNumbers = tuple[int, ...]  #: for each open reading the number of its alternative


def with_choice(book: Book, readings: Sequence[Reading], numbers: AlternativeNumbers) -> Book:
    """Return a book with its open readings set; ``either`` stays as the record of what was booked."""
    return _with_edits(book, ((r.place, r.either[n]) for r, n in zip(readings, numbers, strict=True)))


def observed_in(book: Book, readings: Sequence[Reading]) -> Observed | None:
    """Return what a book observes; None where it has no frame, which is taken to be the same with every reading."""
    try:
        return Observed(book, readings, choose_frame(book, reduce_readings(book)))
    except BookError:
        return None


class Observed:
    """What a book observes.

    Readings that change the same observation, such as the offset and the chainage of a row, are looked at together.
    """

    def __init__(self, book: Book, readings: Sequence[Reading], frame: Frame) -> None:
        self.book, self.readings, self.frame = book, tuple(readings), frame
        reduction = reduce_readings(book)
        self.hints = hints(book, reduction)
        self.shared = shared_points(book, reduction)
        self.tapes = {name: constants.scale_sd for name, constants in sorted(reduction.tapes.items())}
        self._first = (0,) * len(self.readings)
        self._found = self._observe(self._first)
        self._known: dict[tuple[tuple[int, int], ...], dict[int, Observation] | None] = {}
        self._groups = self._together()

    def of(self, numbers: AlternativeNumbers) -> list[Observation]:
        """Return the observations with a combination.

        Raises
        ------
        BookError
            Where the readings contradict one another at once.
        """
        observations = list(self._found)
        for group in self._groups:
            swapped = self._swap(tuple((place, numbers[place]) for place in group if numbers[place]))
            if swapped is None:
                return self._observe(numbers)
            for row, one in swapped.items():
                observations[row] = one
        return observations

    def _together(self) -> list[set[int]]:
        """Return the readings in groups that change no observation in common."""
        groups: list[tuple[set[int], set[int]]] = []
        for place, reading in enumerate(self.readings):
            members, rows = {place}, set[int]()
            for number in range(1, len(reading.either)):
                rows.update(self._swap(((place, number),)) or {})
            for other in [group for group in groups if not rows.isdisjoint(group[1])]:
                groups.remove(other)
                members, rows = members | other[0], rows | other[1]
            groups.append((members, rows))
        return [members for members, _ in groups]

    def _swap(self, instead: tuple[tuple[int, int], ...]) -> dict[int, Observation] | None:
        """Return what some alternatives change, by the number of the observation; None where more than that."""
        if not instead:
            return {}
        if instead not in self._known:
            numbers = list(self._first)
            for place, number in instead:
                numbers[place] = number
            try:
                changes = self._observe(tuple(numbers))
            except BookError:
                changes = []
            pairs = enumerate(zip(changes, self._found, strict=False))
            same = len(changes) == len(self._found)
            self._known[instead] = {row: one for row, (one, old) in pairs if one != old} if same else None
        return self._known[instead]

    def _observe(self, numbers: AlternativeNumbers) -> list[Observation]:
        book = with_choice(self.book, self.readings, numbers)
        reduction = reduce_readings(book)
        names = {*book.station_names, *self.shared}
        return list(observations(book, reduction, self.frame, names))
