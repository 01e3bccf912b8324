"""What a half-finished book has already, and what it lacks still."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator

from pegline.book.geometry import At, Circle, Curve, Parallel, Rectangle, Ring, TapedRound, Through
from pegline.book.model import Book, Feature
from pegline.errors import Finding, in_order
from pegline.measures.grammar import Slate
from pegline.measures.values import Name

__all__ = ["finished", "without"]


def finished(book: Book, slate: Slate) -> Book:
    """Return what of a book can be reduced already; ``missing`` says what is left out and why."""
    untaped = {line.name: line for line in book.lines.values() if not (line.taped or line.legs)}
    missing = [*slate.blanks]
    missing += [Finding("not-taped", f"line {name} is not taped yet", line.place) for name, line in untaped.items()]
    reached = set(book.station_names)
    missing += [
        Finding("no-line", f"no line reaches station {station.name} yet", station.place)
        for station in book.stations.values()
        if station.name not in reached
    ]
    if not book.lines:
        missing.append(Finding("no-lines", "no line is booked yet"))
    if missing:
        book = dataclasses.replace(book, lines={name: line for name, line in book.lines.items() if name not in untaped})
        book = _without_dangling(book, slate, missing)
    return dataclasses.replace(book, missing=in_order(missing))


def without(book: Book, names: Collection[str]) -> Book:
    """Return the book without some stations and points, and without all that hangs on them.

    Parameters
    ----------
    names
        What nothing fixes yet.
    """
    lines = {
        name: dataclasses.replace(line, details=tuple(row for row in line.details if row.name not in names))
        for name, line in book.lines.items()
        if not {line.start, line.end} & set(names)
    }
    arcs = tuple(arc for arc in book.arcs if arc.point not in names)
    return _without_dangling(dataclasses.replace(book, lines=lines, arcs=arcs), Slate(), [])


def _without_dangling(book: Book, slate: Slate, missing: list[Finding]) -> Book:
    """Leave out, again and again, what hangs on something that is not booked yet."""
    while True:
        known = set(book.station_names) | set(_points(book))
        stations = set(book.station_names)
        lines = {
            name: line for name, line in book.lines.items() if line.use != "detail" or {line.start, line.end} <= known
        }
        lines = {
            name: dataclasses.replace(line, details=tuple(row for row in line.details if _stands(row.at, stations)))
            for name, line in lines.items()
        }
        features = {
            name: feature for name, feature in book.features.items() if _can_be_drawn(feature, book, slate, known)
        }
        lean = dataclasses.replace(
            book,
            lines=lines,
            dimensions=tuple(d for d in book.dimensions if {d.pair.start, d.pair.end} <= known),
            arcs=tuple(
                arc for arc in book.arcs if {arm.start for arm in arc.arms} <= known and _held(arc.arms, arc.side)
            ),
            features=features,
            witnesses={peg: found for peg, found in book.witnesses.items() if peg in known},
            stations={
                name: station
                if station.side is None or {station.side.of.start, station.side.of.end} <= stations
                else dataclasses.replace(station, side=None)
                for name, station in book.stations.items()
            },
        )
        if book.north:
            bearings = tuple(b for b in book.north.bearings if {b.pair.start, b.pair.end} <= stations)
            north = dataclasses.replace(book.north, bearings=bearings) if bearings else None
            lean = dataclasses.replace(lean, north=north)
        if book.control:
            points = tuple(point for point in book.control.points if point.station in stations)
            control = dataclasses.replace(book.control, points=points) if points else None
            lean = dataclasses.replace(lean, control=control)
        dropped = book.features.keys() - lean.features.keys()
        missing += [
            Finding("waits", f"{name} waits for points that are not booked yet", book.features[name].place)
            for name in book.features
            if name in dropped
        ]
        if lean == book:
            return lean
        book = lean


def _stands(at: tuple[object, ...], stations: set[str]) -> bool:
    return all(not isinstance(part, Name) or part.text in stations for part in at)


def _held(arms: tuple[object, ...], side: object) -> bool:
    return len(arms) >= 2


def _points(book: Book) -> Iterator[str]:
    """Yield every point that is booked somewhere."""
    for line in book.lines.values():
        for row in line.details:
            yield row.name
    for arc in book.arcs:
        yield arc.point
    for feature in book.features.values():
        if isinstance(feature.geometry, Rectangle | TapedRound):
            yield from feature.geometry.corners


def _can_be_drawn(feature: Feature, book: Book, slate: Slate, known: set[str]) -> bool:
    geometry = feature.geometry
    if feature.name in slate.lost:
        return False
    if isinstance(geometry, Parallel):
        return geometry.to in book.features and {geometry.start, geometry.until} - {None} <= known
    return set(names_of(geometry)) <= known


def names_of(geometry: object) -> tuple[str, ...]:
    """Return the points that a geometry is drawn through or hangs on."""
    if isinstance(geometry, At):
        return (geometry.point,)
    if isinstance(geometry, Through | Ring | Curve):
        return geometry.points
    if isinstance(geometry, Rectangle | TapedRound):
        return (geometry.edge.start, geometry.edge.end)
    if isinstance(geometry, Circle):
        return geometry.through or ((geometry.centre,) if geometry.centre else ())
    return ()
