"""A proposed layout as a book ready to be filled in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from pegline.book.canonical_layout import book_text
from pegline.commands.prepare.expected_book import mark
from pegline.commands.prepare.proposals import Proposal
from pegline.errors import Place
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.plane import Array, distance, turn_points
from pegline.units import METRES_PER

__all__ = ["new_book"]

WITNESSES: Final = 3  #: things near each peg that its distances are wanted from
NEAR: Final = 25.0  #: how far they may be, metres


def new_book(proposal: Proposal) -> str:
    """Return the text of a book with a proposal's stations, lines, expected rows and witnesses, all still blank."""
    intention = proposal.expectation.intention
    written, place = intention.written, intention.written.place
    entries = {word: entry for word, entry in written.entries.items() if word not in ("stations", "lines", "witnesses")}
    parts = {
        "stations": dict(_stations(proposal, place)),
        "lines": dict(_lines(proposal, place)),
        "witnesses": dict(_witnesses(proposal, place)),
    }
    entries |= {word: (Text(word, place), Table(part, place)) for word, part in parts.items()}
    return book_text(Table(entries, place))


Entry = tuple[str, tuple[Text, Written]]


def _entry(word: str, value: Written, place: Place) -> Entry:
    return word, (Text(word, place), value)


def _blank(place: Place) -> Text:
    return Text("", place)


def _stations(proposal: Proposal, place: Place) -> Iterator[Entry]:
    """Yield the stations with their places on the book's own sketch."""
    for name, at in proposal.expectation.intention.layout.stations.items():
        yield _entry(name, Table(dict([_entry("sketch", mark(place, _on_sketch(proposal, at)), place)]), place), place)


def _on_sketch(proposal: Proposal, at: Array) -> Array:
    """Return a place in metres as the book's sketch has it: in its unit, the page's top up."""
    book = proposal.expectation.intention.book
    unit = book.sketch.unit.metres(book.unit) if book.sketch.unit else METRES_PER[book.unit]
    top = book.sketch.top.radians if book.sketch.top else 0.0
    return np.asarray(turn_points(at, -top) / unit)


def _lines(proposal: Proposal, place: Place) -> Iterator[Entry]:
    """Yield the lines, untaped, with the rows that are expected on them in the order of the chainage."""
    expectation = proposal.expectation
    layout = expectation.intention.layout
    for line in layout.lines:
        parts = dict([_entry("use", Text(line.use, place), place), _entry("taped", _blank(place), place)])
        start = layout.place(line.start)
        rows: list[tuple[float, Table]] = [
            (float(distance(start, layout.stations[name])), _row(place, station=name))
            for name, on in layout.ties.items()
            if on == line.name
        ]
        for booking in expectation.bookings.values():
            if booking.line == line.name:
                side = None if not booking.offsets else "left" if booking.offsets[0] > 0 else "right"
                rows.append((booking.chainages[0], _row(place, side=side, point=booking.point)))
        if rows:
            ordered = tuple(row for _, row in sorted(rows, key=lambda each: each[0]))
            parts |= dict([_entry("details", Items(ordered, place), place)])
        yield _entry(line.name, Table(parts, place), place)


def _row(place: Place, *, side: str | None = None, point: str | None = None, station: str | None = None) -> Table:
    entries = [_entry("at", _blank(place), place)]
    if side:
        entries.append(_entry(side, _blank(place), place))
    word, name = ("point", point) if point else ("station", station)
    entries.append(_entry(word, Text(name or "", place), place))
    return Table(dict(entries), place)


def _witnesses(proposal: Proposal, place: Place) -> Iterator[Entry]:
    """Yield blank witnesses to each station: the things sketched near it."""
    layout = proposal.expectation.intention.layout
    for name, at in layout.stations.items():
        away = {point: float(distance(at, where)) for point, where in layout.points.items()}
        near = sorted((point for point in away if 0.5 < away[point] <= NEAR), key=away.__getitem__)[:WITNESSES]
        if near:
            yield _entry(name, Table(dict(_entry(point, _blank(place), place) for point in near), place), place)
