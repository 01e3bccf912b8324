"""Find the part of a half-finished book that can be reduced already, and the list of what is missing."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Iterator

from pegline.book.geometry import At, Circle, Curve, Parallel, Rectangle, Ring, TapedRound, Through
from pegline.book.model import Book, Feature, Line, NamedPoint, Station
from pegline.errors import Finding, Place, in_order
from pegline.kinds import KINDS
from pegline.measures.bearing import North
from pegline.measures.control import Control
from pegline.measures.distance import Arc
from pegline.measures.reading_log import ReadingLog
from pegline.measures.values import Name, Pair, Reading

__all__ = ["points_of_geometry", "reducible_part", "without_points", "without_readings"]


def reducible_part(book: Book, log: ReadingLog) -> Book:
    """Return what of a book can be reduced already; ``missing`` says what is left out and why."""
    untaped = {line.name: line for line in book.lines.values() if not (line.taped or line.legs)}
    missing = [*log.blanks]
    missing += [
        Finding("not-taped", f"line {name} is not taped yet; tape it", line.place) for name, line in untaped.items()
    ]
    reached = set(book.station_names)
    missing += [
        Finding("no-line", f"no line reaches station {station.name} yet; tape two to it", station.place)
        for station in book.stations.values()
        if station.name not in reached
    ]
    booked = {*reached, *_points(book)} if book.points else reached
    missing += [
        Finding("not-booked", f"point {point.name} is only sketched; book it from a line", point.place)
        for point in book.points.values()
        if point.sketch is not None and point.name not in booked
    ]
    if not book.lines:
        missing.append(Finding("no-lines", "no line is booked yet; begin with the base line"))
    if missing or log.lost:
        book = dataclasses.replace(book, lines={name: line for name, line in book.lines.items() if name not in untaped})
        book = _without_dangling(book, log, missing)
    return dataclasses.replace(book, missing=in_order(missing))


def without_points(book: Book, names: Collection[str]) -> Book:
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
    features = {name: feature for name, feature in book.features.items() if not _corners(feature) & set(names)}
    lean = dataclasses.replace(book, lines=lines, arcs=arcs, features=features)
    return _without_dangling(lean, ReadingLog(), [])


def without_readings(book: Book, places: Collection[Place]) -> Book:
    """Return the book without the lines, rows, dimensions and arcs that have a reading at one of some places."""

    def sound(readings: Iterable[Reading | Name]) -> bool:
        return not any(isinstance(one, Reading) and one.place in places for one in readings)

    lines = {
        name: dataclasses.replace(
            line, details=tuple(row for row in line.details if sound((*row.at, *row.left, *row.right)))
        )
        for name, line in book.lines.items()
        if sound(
            reading
            for taping in (*line.taped, *line.legs)
            for reading in (taping.reading, *(taping.passage.readings if taping.passage else ()))
        )
    }
    lean = dataclasses.replace(
        book,
        lines=lines,
        dimensions=tuple(each for each in book.dimensions if sound(each.readings)),
        arcs=tuple(arc for arc in book.arcs if sound(reading for arm in arc.arms for reading in arm.readings)),
    )
    return _without_dangling(lean, ReadingLog(), [])


def _without_dangling(book: Book, log: ReadingLog, missing: list[Finding]) -> Book:
    """Leave out, again and again, what hangs on something that is not booked yet."""
    while (lean := _without_unknown_names(book, log)) != book:
        missing += [
            Finding("waits", f"{name} waits for {_wait_words(feature, book, log)}", feature.place)
            for name, feature in book.features.items()
            if name not in lean.features
        ]
        book = lean
    return book


def _wait_words(feature: Feature, book: Book, log: ReadingLog) -> str:
    """Return what a feature waits for: the points by their names where the book gives them, and what to do."""
    known_names = {*book.station_names, *_points(book)}
    # Names, and no rows.
    points = (name for name in dict.fromkeys(points_of_geometry(feature.geometry)) if isinstance(name, str))
    names = [name for name in points if name not in known_names and "." not in name]
    if not names or any(log.is_lost(name) for name in names):
        return "points that are not booked yet; book them"
    return f"{' and '.join(names[:3])}; book {'it' if len(names) == 1 else 'them'}"


def _without_unknown_names(book: Book, log: ReadingLog) -> Book:
    """Leave out what names a station or a point that is not there."""
    stations = set(book.station_names)
    known_names = stations | set(_points(book))
    return dataclasses.replace(
        book,
        lines={
            name: _without_loose_rows(line, known_names)
            for name, line in book.lines.items()
            if _has_its_ends(line, known_names)
        },
        dimensions=tuple(each for each in book.dimensions if _are_both_known(each.pair, known_names)),
        arcs=tuple(arc for arc in book.arcs if _can_be_placed(arc, known_names)),
        angles=tuple(each for each in book.angles if {*each.corner.names} <= stations),
        points={name: _without_loose_meeting(point, known_names) for name, point in book.points.items()},
        features={name: each for name, each in book.features.items() if _can_be_drawn(each, book, log, known_names)},
        witnesses={
            peg: tuple(
                each for each in witnesses if each.to != "face" or _has_half_width(book.features.get(each.object))
            )
            for peg, witnesses in book.witnesses.items()
            if peg in known_names
        },
        stations={name: _without_unknown_side(station, stations) for name, station in book.stations.items()},
        north=_north(book.north, stations, book.control),
        control=_control(book.control, stations),
    )


def _has_half_width(feature: Feature | None) -> bool:
    """Return whether half its width is known; words that are no feature are told and need none."""
    return feature is None or feature.has_half_width


def _are_both_known(pair: Pair, known_names: set[str]) -> bool:
    return pair.start in known_names and pair.end in known_names


def _has_its_ends(line: Line, known_names: set[str]) -> bool:
    return line.use != "detail" or (line.start in known_names and line.end in known_names)


def _without_loose_rows(line: Line, known_names: set[str]) -> Line:
    """Return a line without the rows that count from a station not on it, or lie on a wall that is not there."""
    on_line = {line.start, line.end, *(row.name for row in line.details if row.is_tie_station)}
    rows = tuple(
        row
        for row in line.details
        if all(isinstance(at, Reading) or at.text in on_line for at in row.at)
        and (row.produced is None or _are_both_known(row.produced, known_names))
    )
    return line if len(rows) == len(line.details) else dataclasses.replace(line, details=rows)


def _can_be_placed(arc: Arc, known_names: set[str]) -> bool:
    has_its_arms = all(arm.start in known_names for arm in arc.arms) and len(arc.arms) > 1
    return has_its_arms and (arc.side is None or _are_both_known(arc.side.of, known_names))


def _without_loose_meeting(point: NamedPoint, known_names: set[str]) -> NamedPoint:
    """Return a point, without where it lies while one of its lines is not booked yet."""
    return (
        point if all(_are_both_known(pair, known_names) for pair in point.meet) else dataclasses.replace(point, meet=())
    )


def _without_unknown_side(station: Station, stations: set[str]) -> Station:
    if station.side is None or _are_both_known(station.side.of, stations):
        return station
    return dataclasses.replace(station, side=None)


def _north(north: North | None, stations: set[str], control: Control | None) -> North | None:
    if north and north.reference == "grid" and not control:
        return None  # the grid is not named yet
    bearings = tuple(each for each in north.bearings if _are_both_known(each.pair, stations)) if north else ()
    return dataclasses.replace(north, bearings=bearings) if north and bearings else None


def _control(control: Control | None, stations: set[str]) -> Control | None:
    points = tuple(point for point in control.points if point.station in stations) if control else ()
    return dataclasses.replace(control, points=points) if control and points else None


def _points(book: Book) -> Iterator[str]:
    """Yield every point that is booked somewhere."""
    for line in book.lines.values():
        for row in line.details:
            yield row.name
    for arc in book.arcs:
        yield arc.point
    for point in book.points.values():
        if point.meet:
            yield point.name
    for feature in book.features.values():
        yield from sorted(_corners(feature))


def _corners(feature: Feature) -> set[str]:
    """Return the names that a book gives to the corners that a shape makes."""
    return set(feature.geometry.corners) if isinstance(feature.geometry, Rectangle | TapedRound) else set()


def _can_be_drawn(feature: Feature, book: Book, log: ReadingLog, known_names: set[str]) -> bool:
    """Return whether all that a feature goes through is booked; a row of it may have been left out while reading."""
    geometry = feature.geometry
    if log.is_lost(feature.name, "feature") or not (feature.kind in KINDS or feature.kind in book.kinds):
        return False
    if isinstance(geometry, Parallel):
        return geometry.to in book.features and {geometry.start, geometry.until} - {None} <= known_names
    return set(points_of_geometry(geometry)) <= known_names


def points_of_geometry(geometry: object) -> tuple[str, ...]:
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
