"""What the sketch of a book shows, and the book as it would be measured from it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from math import pi
from typing import Final

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pegline.book.feature import FEATURES, Feature
from pegline.book.geometry import At, Circle, Curve, Rectangle, Ring, TapedRound, Through
from pegline.book.half_finished import points_of_geometry
from pegline.book.model import Book, Use
from pegline.book.read import read_book
from pegline.commands.prepare.layout import Layout, PickUp, PlannedLine
from pegline.detail.curves import curve
from pegline.detail.path import stroke
from pegline.errors import Place
from pegline.kinds import OBSTACLES
from pegline.measures.distance import Wall
from pegline.measures.reading_log import ReadingLog
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.plane import Array, distance, left_of, turn_points
from pegline.units import METRES_PER

__all__ = [
    "expected_book",
    "expected_rows",
    "features_of",
    "flow",
    "intended_lines",
    "mark",
    "named_points",
    "obstacles_of",
    "rows_of",
    "sketched_outline",
    "sketched_places",
    "tie_stations",
]


USES: Final[Mapping[str, Use]] = {"base": "base", "side": "side", "tie": "tie", "check": "check", "detail": "detail"}

#: How finely curves are stroked, metres: sketches are rough.
CURVE_TOLERANCE: Final = 0.05


def features_of(written: Table, unit: str) -> dict[str, Feature]:
    """Return every feature of a book's table, those too that wait for points; what cannot be read is left out."""
    entry = written.entries.get("features")
    if entry is None or not isinstance(entry[1], Table):
        return {}
    return FEATURES.read(entry[1], ReadingLog(unit=unit))


def sketched_places(book: Book, written: Table) -> dict[str, Array]:
    """Return the places (2,) of the sketch, metres, x east and y north of the book's own north.

    The page's top has the bearing ``top``: the page is turned by it clockwise.
    """
    page = book.sketch
    unit = page.unit.metres(book.unit) if page.unit else METRES_PER[book.unit]
    top = page.top.radians if page.top else 0.0
    places: dict[str, Array] = {}
    for part in ("stations", "points"):
        for name, table in _tables(written, part):
            pair = table.entries.get("sketch")
            if pair and isinstance(pair[1], Items) and len(pair[1].items) == 2:
                numbers = [float(item.value) for item in pair[1].items if isinstance(item, Text)]
                if len(numbers) == 2:
                    places[name] = np.asarray(turn_points(np.array(numbers) * unit, top))
    return places


def _tables(written: Table, part: str) -> Iterator[tuple[str, Table]]:
    entry = written.entries.get(part)
    for name, (_, value) in entry[1].entries.items() if entry and isinstance(entry[1], Table) else ():
        if isinstance(value, Table):
            yield name, value


def intended_lines(written: Table) -> Iterator[PlannedLine]:
    """Yield the lines of a book, taped or not, as far as their use can be read."""
    entry = written.entries.get("lines")
    for name, (key, value) in entry[1].entries.items() if entry and isinstance(entry[1], Table) else ():
        use = value.entries.get("use") if isinstance(value, Table) else None
        word = use[1].value if use and isinstance(use[1], Text) else ""
        start, dash, end = (part.strip() for part in name.partition("-"))
        if dash and word in USES:
            yield PlannedLine(name, start, end, USES[word], key.place.source)


def named_points(features: Mapping[str, Feature], written: Table) -> dict[str, None]:
    """Return the points that must be picked up: those that features name and no shape makes, and those sketched."""
    corners = {corner for each in features.values() for corner in _corners(each)}
    named = dict.fromkeys(
        name for each in features.values() for name in points_of_geometry(each.geometry) if isinstance(name, str)
    )
    named |= dict.fromkeys(name for name, table in _tables(written, "points") if "meet" not in table.entries)
    meeting_points = {name for name, table in _tables(written, "points") if "meet" in table.entries}
    return {name: None for name in named if name not in corners | meeting_points}


def _corners(feature: Feature) -> tuple[str, ...]:
    return feature.geometry.corners if isinstance(feature.geometry, Rectangle | TapedRound) else ()


def sketched_outline(feature: Feature, places: Mapping[str, Array], unit: str) -> Array | None:
    """Return the points (n, 2) of a feature's outline; None where a place is missing or it has no outline."""
    geometry = feature.geometry
    if not all(isinstance(name, str) and name in places for name in points_of_geometry(geometry)):
        return None
    match geometry:
        case Through(points=points) | Ring(points=points):
            return np.array([places[name] for name in points])
        case Curve(points=points, closed=closed):
            return stroke(curve([places[name] for name in points], closed=closed), CURVE_TOLERANCE)
        case Rectangle(edge=edge, depth=depth):
            start, end = places[edge.start], places[edge.end]
            aside = left_of(end - start) / distance(start, end) * _length_to_left(depth, unit)
            return np.array([start, end, end + aside, start + aside])
        case TapedRound(edge=edge, walls=walls):
            return _round(places[edge.start], places[edge.end], walls, unit)
        case Circle(centre=centre, radius=radius) if centre is not None and radius is not None:
            turns = np.linspace(0, 2 * pi, 25)[:-1]
            ring = radius.metres(unit) * np.column_stack((np.sin(turns), np.cos(turns)))
            return np.asarray(places[centre] + ring)
        case At(point=point):
            return places[point][None]
        case _:
            return None


def _length_to_left(wall: Wall, unit: str) -> float:
    length = wall.readings[0].length.metres(unit)
    return length if wall.left else -length


def _round(start: Array, end: Array, walls: tuple[Wall, ...], unit: str) -> Array:
    corners, way = [start, end], (end - start) / distance(start, end)
    for wall in walls:
        way = left_of(way) if wall.left else -left_of(way)
        corners.append(corners[-1] + way * wall.readings[0].length.metres(unit))
    return np.array(corners)


def obstacles_of(
    features: Mapping[str, Feature], places: Mapping[str, Array], named: tuple[str, ...], unit: str
) -> dict[str, BaseGeometry]:
    """Return what a line cannot cross: the features of the kinds and names told, as far as they are sketched."""
    names = set(named or OBSTACLES)
    obstacles: dict[str, BaseGeometry] = {}
    for name, feature in features.items():
        outline = sketched_outline(feature, places, unit) if {name, feature.kind} & names else None
        if outline is None:
            continue
        closed = isinstance(feature.geometry, Ring | Rectangle | TapedRound | Circle) or (
            isinstance(feature.geometry, Curve) and feature.geometry.closed
        )
        if len(outline) == 1:
            obstacles[name] = Point(outline[0]).buffer(CURVE_TOLERANCE)
        else:
            obstacles[name] = Polygon(outline).buffer(0) if closed and len(outline) > 2 else LineString(outline)
    return obstacles


def _is_blank(value: Written) -> bool:
    """Return whether nothing is written yet."""
    return isinstance(value, Text) and not value.value


# -- the book as it would be measured from the sketch ------------------------------------------------

#: What an expected book leaves out: it is judged about its own base line, whatever it lies on.
UNEXPECTED_SECTIONS = frozenset({"north", "control", "sketch", "witnesses"})


def flow(place: Place, **entries: Written | str | float) -> Table:
    """Return a table of some entries; numbers are metres."""
    return Table(
        {word.rstrip("_"): (Text(word.rstrip("_"), place), _value(value, place)) for word, value in entries.items()},
        place,
    )


def _value(value: Written | str | float, place: Place) -> Written:
    if isinstance(value, float):
        return Text(f"{value:.4f} m", place)
    return Text(value, place) if isinstance(value, str) else value


def mark(place: Place, at: Array) -> Items:
    """Return a place as the value of a sketch, metres."""
    return Items(tuple(Text(f"{value:.3f}", place) for value in at), place)


def rows_of(line: Table) -> tuple[Table, ...]:
    """Return the rows that a line's table has, those booked walking back left out."""
    entry = line.entries.get("details")
    return (
        tuple(row for row in entry[1].items if isinstance(row, Table)) if entry and isinstance(entry[1], Items) else ()
    )


def expected_rows(written: Table) -> Iterator[tuple[str, str, Table]]:
    """Yield the line, the point and the row of every row that is still to be booked."""
    lines = written.entries.get("lines")
    for name, (_, line) in lines[1].entries.items() if lines and isinstance(lines[1], Table) else ():
        for row in rows_of(line) if isinstance(line, Table) else ():
            at, point = row.entries.get("at"), row.entries.get("point")
            if (at is None or _is_blank(at[1])) and point and isinstance(point[1], Text) and point[1].value:
                yield name, point[1].value, row


def tie_stations(written: Table) -> Iterator[tuple[str, str]]:
    """Yield every tie station with the line that it stands on, booked already or not."""
    lines = written.entries.get("lines")
    for name, (_, line) in lines[1].entries.items() if lines and isinstance(lines[1], Table) else ():
        for row in rows_of(line) if isinstance(line, Table) else ():
            station = row.entries.get("station")
            if station and isinstance(station[1], Text) and station[1].value:
                yield station[1].value, name


def expected_book(written: Table, book: Book, layout: Layout, bookings: Mapping[str, PickUp]) -> Book:
    """Return the book with every line taped and every point booked as the layout has them, without errors.

    What is measured already stays as it is; lines and points that the layout adds are added.
    """
    entries = {word: entry for word, entry in written.entries.items() if word not in UNEXPECTED_SECTIONS}
    place = written.place
    stations: dict[str, tuple[Text, Written]] = {
        name: (Text(name, place), flow(place, sketch=mark(place, at))) for name, at in layout.stations.items()
    }
    entries["stations"] = Text("stations", place), Table(stations, place)
    entries["lines"] = Text("lines", place), Table(dict(_lines(written, layout, bookings)), place)
    if "points" in entries:
        entries["points"] = Text("points", place), _only_met(entries["points"][1])
    table = Table(entries, place)
    return read_book(table, file=book.file, path=book.path, sha256=hashlib.sha256(b"").hexdigest())


def _only_met(points: Written) -> Written:
    """Return the points that lie where lines meet: what is sketched is booked by now."""
    if not isinstance(points, Table):
        return points
    used_names = {
        name: entry
        for name, entry in points.entries.items()
        if isinstance(entry[1], Table) and "meet" in entry[1].entries
    }
    return Table(used_names, points.place)


def _lines(
    written: Table, layout: Layout, bookings: Mapping[str, PickUp]
) -> Iterator[tuple[str, tuple[Text, Written]]]:
    entry = written.entries.get("lines")
    booked = entry[1].entries if entry and isinstance(entry[1], Table) else {}
    for line in layout.lines:
        key, value = booked.get(line.name, (Text(line.name, written.place), Table({}, written.place)))
        table = value if isinstance(value, Table) else Table({}, written.place)
        yield (
            line.name,
            (key, _line(table, line, layout, [each for each in bookings.values() if each.line == line.name])),
        )


def _line(table: Table, line: PlannedLine, layout: Layout, picked: Sequence[PickUp]) -> Table:
    place = table.place
    entries = dict(table.entries)
    entries["use"] = Text("use", place), Text(line.use, place)
    taped = entries.get("taped")
    if "legs" not in entries and (taped is None or _is_blank(taped[1])):
        entries["taped"] = Text("taped", place), _value(layout.length(line), place)
    rows = [row for row in rows_of(table) if _is_booked(row)]
    how = {row.entries["point"][1].value: row for row in rows_of(table) if _names_point(row)}  # type: ignore[union-attr]
    rows += [_row(booking, how.get(booking.point), place) for booking in picked]
    there = {row.entries["station"][1].value for row in rows if "station" in row.entries}  # type: ignore[union-attr]
    rows += [
        flow(place, at=float(distance(layout.place(line.start), layout.stations[name])), station=name)
        for name, on in layout.ties.items()
        if on == line.name and name not in there
    ]
    if rows:
        entries["details"] = Text("details", place), Items(tuple(rows), place)
    else:
        entries.pop("details", None)
    return Table(entries, place)


def _is_booked(row: Table) -> bool:
    at = row.entries.get("at")
    sides = [row.entries[word][1] for word in ("left", "right") if word in row.entries]
    return at is not None and not _is_blank(at[1]) and not any(_is_blank(side) for side in sides)


def _names_point(row: Table) -> bool:
    point = row.entries.get("point")
    return point is not None and isinstance(point[1], Text)


def _row(booking: PickUp, planned: Table | None, place: Place) -> Table:
    """Return the row that books a point without error, with whatever else the planned row says."""
    entries = {
        word: entry
        for word, entry in (planned.entries.items() if planned else ())
        if word not in ("at", "left", "right", "point", "struck")
    }
    one = len(booking.chainages) == 1
    at = [_value(value, place) for value in booking.chainages]
    entries["at"] = Text("at", place), at[0] if one else Items(tuple(at), place)
    if booking.offsets:
        side = "left" if booking.offsets[0] > 0 else "right"
        arms = [_value(abs(value), place) for value in booking.offsets]
        entries[side] = Text(side, place), arms[0] if one else Items(tuple(arms), place)
    entries["point"] = Text("point", place), Text(booking.point, place)
    return Table(entries, place)
