"""The sketch of a book: where its stations and points are meant to be, and the outlines of its features."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import pi
from typing import Final

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pegline.book.feature import FEATURES, Feature
from pegline.book.geometry import At, Circle, Curve, Rectangle, Ring, TapedRound, Through
from pegline.book.half_finished import points_of_geometry
from pegline.book.model import Book, Use
from pegline.commands.prepare.layout import PlannedLine
from pegline.detail.curves import curve
from pegline.detail.path import stroke
from pegline.kinds import OBSTACLES
from pegline.measures.distance import Wall
from pegline.measures.reading_log import ReadingLog
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.plane import Array, distance, left_of, turn_points
from pegline.units import METRES_PER

__all__ = [
    "features_of",
    "intended_lines",
    "named_points",
    "obstacles_of",
    "sketched_outline",
    "sketched_places",
]

USES: Final[Mapping[str, Use]] = {"base": "base", "side": "side", "tie": "tie", "check": "check", "detail": "detail"}
#: How finely curves are stroked, metres: sketches are rough.
FINE: Final = 0.05


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
            return stroke(curve([places[name] for name in points], closed=closed), FINE)
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
            obstacles[name] = Point(outline[0]).buffer(FINE)
        else:
            obstacles[name] = Polygon(outline).buffer(0) if closed and len(outline) > 2 else LineString(outline)
    return obstacles


def is_blank(value: Written) -> bool:
    """Return whether nothing is written yet."""
    return isinstance(value, Text) and not value.value
