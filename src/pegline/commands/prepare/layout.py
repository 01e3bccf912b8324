"""A layout: where stations and things are meant to be, which lines are to be taped, and what each picks up."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import field
from itertools import combinations
from math import acos, degrees, hypot
from typing import Final, Literal, NamedTuple

from shapely import LineString
from shapely.geometry.base import BaseGeometry

from pegline.book.model import Use
from pegline.plane import Array, distance, foot
from pegline.records import record

__all__ = ["Layout", "MeasuringLimits", "PickUp", "PlannedLine", "Triangle", "booking_for", "crossed_by", "triangles"]

#: How far a line may run along or into an obstacle before it crosses it, metres: sketches are rough.
GRAZE: Final = 0.3
#: How far before its start or beyond its end a line is used for details, metres.
DETAIL_OVERHANG: Final = 2.0
#: An oblique offset is taped from so far on either side of the foot, as a share of the offset.
SPLAY: Final = 0.6


class PlannedLine(NamedTuple):
    """A line to be taped, or taped already."""

    name: str
    start: str
    end: str
    use: Use
    place: str | None = None  #: ``LINE:COLUMN`` where the book has it


class MeasuringLimits(NamedTuple):
    """What can be measured, metres and degrees."""

    offset: float  #: longest perpendicular offset
    oblique: float  #: longest oblique distance: the offset tape
    smallest_angle: float
    largest_angle: float


class PickUp(NamedTuple):
    """How one point is picked up."""

    point: str
    line: str
    chainages: tuple[float, ...]  #: one, or two for an oblique
    offsets: tuple[float, ...]  #: left positive; empty on the line itself
    method: Literal["perpendicular", "oblique", "on line"]


class Triangle(NamedTuple):
    """Three stations that are joined by lines."""

    stations: tuple[str, str, str]
    smallest: float  #: angle, degrees
    largest: float


@record(frozen=True, slots=True)
class Layout:
    """A layout in the plane of the sketch, metres."""

    stations: Mapping[str, Array]  #: (2,) each
    lines: tuple[PlannedLine, ...]
    points: Mapping[str, Array]  #: things to be picked up
    obstacles: Mapping[str, BaseGeometry]  #: what a line cannot cross, by feature
    ties: Mapping[str, str] = field(default_factory=dict)  #: tie stations, each with the line that it stands on

    def place(self, name: str) -> Array:
        """Return where a station or a point is."""
        return self.stations[name] if name in self.stations else self.points[name]

    def length(self, line: PlannedLine) -> float:
        """Return how long a line is, metres."""
        return float(distance(self.place(line.start), self.place(line.end)))

    @property
    def framework(self) -> tuple[PlannedLine, ...]:
        """Return the lines between stations."""
        return tuple(line for line in self.lines if line.use != "detail")

    @property
    def base(self) -> PlannedLine | None:
        """Return the base line."""
        return next((line for line in self.lines if line.use == "base"), None)

    def extent(self) -> float:
        """Return the greatest distance between stations, metres."""
        at = list(self.stations.values())
        return max((float(distance(one, other)) for one, other in combinations(at, 2)), default=0.0)


def crossed_by(start: Array, end: Array, obstacles: Mapping[str, BaseGeometry], graze: float = GRAZE) -> Iterator[str]:
    """Yield the obstacles that a straight way crosses; one that it only touches does not hinder.

    >>> from shapely import Polygon
    >>> house = Polygon([(4, -1), (6, -1), (6, 1), (4, 1)])
    >>> list(crossed_by([0.0, 0.0], [10.0, 0.0], {"house": house}))
    ['house']
    """
    way = LineString([start, end])
    for name, shape in obstacles.items():
        if not way.intersects(shape):
            continue
        if shape.geom_type in ("LineString", "MultiLineString"):
            if way.crosses(shape):
                yield name
        elif way.intersection(shape).length > graze:
            yield name


def triangles(layout: Layout) -> Iterator[Triangle]:
    """Yield every three stations joined by base, side or tie lines; check lines make none.

    A station that lines from tie stations alone fix makes one: the best with two of them on the same line.
    """
    joined = {frozenset((line.start, line.end)) for line in layout.framework if line.use != "check"}
    names = sorted({name for pair in joined for name in pair if name in layout.stations})
    cornered: set[str] = set()
    for three in combinations(names, 3):
        if all(frozenset(pair) in joined for pair in combinations(three, 2)):
            cornered.update(three)
            yield _triangle(layout, three)
    for name in names:
        feet = [tie for tie in layout.ties if frozenset((name, tie)) in joined]
        pairs = [pair for pair in combinations(feet, 2) if layout.ties[pair[0]] == layout.ties[pair[1]]]
        if pairs and name not in cornered and name not in layout.ties:
            triangles_of_lines = (_triangle(layout, sorted((name, *pair))) for pair in pairs)
            yield max(triangles_of_lines, key=lambda triangle: triangle.smallest)


def _triangle(layout: Layout, three: Sequence[str]) -> Triangle:
    angles = angles_of([layout.stations[name] for name in three])
    return Triangle((three[0], three[1], three[2]), min(angles), max(angles))


def angles_of(corners: Sequence[Array]) -> tuple[float, float, float]:
    """Return the angles of a triangle, degrees.

    >>> import numpy as np
    >>> [round(angle) for angle in angles_of([np.array([0, 0]), np.array([4, 0]), np.array([0, 4])])]
    [90, 45, 45]
    """
    angles = []
    for number in range(3):
        at, one, other = (corners[(number + step) % 3] for step in range(3))
        u, v = one - at, other - at
        cosine = float(u @ v) / max(hypot(*u) * hypot(*v), 1e-12)
        angles.append(degrees(acos(min(max(cosine, -1.0), 1.0))))
    return angles[0], angles[1], angles[2]


def booking_for(
    layout: Layout, point: str, limits: MeasuringLimits, *, lines: Collection[str] | None = None
) -> PickUp | None:
    """Return how a point is best picked up; None where no line reaches it.

    At right angles within the limit, the shortest offset first; else by two oblique distances within the tape.
    A way that crosses an obstacle is none, but for the thing itself that the point is a corner of.
    """
    at = layout.points[point]
    upright: list[tuple[float, PickUp]] = []
    oblique: list[tuple[float, PickUp]] = []
    for line in layout.lines:
        barred = lines is not None and line.name not in lines
        if barred or line.use == "check" or point in (line.start, line.end):  # check lines carry no details
            continue
        start, end = layout.place(line.start), layout.place(line.end)
        length = float(distance(start, end))
        chainage, offset = (float(value) for value in foot(start, end, at))
        if not -DETAIL_OVERHANG <= chainage <= length + DETAIL_OVERHANG:
            continue
        unit = (end - start) / max(length, 1e-9)
        if abs(offset) <= limits.offset and _clear(start + unit * chainage, at, layout):
            if abs(offset) < 0.02:
                upright.append((0.0, PickUp(point, line.name, (chainage,), (), "on line")))
            else:
                upright.append((abs(offset), PickUp(point, line.name, (chainage,), (offset,), "perpendicular")))
        pair = _splayed_chainages(chainage, offset, length)
        arms = [hypot(offset, chainage - one) for one in pair]
        if max(arms) <= limits.oblique and all(_clear(start + unit * one, at, layout) for one in pair):
            sign = 1.0 if offset >= 0 else -1.0
            signed = tuple(sign * arm for arm in arms)
            oblique.append((max(arms), PickUp(point, line.name, pair, signed, "oblique")))
    best = min(upright or oblique, key=lambda each: each[0], default=None)
    return best[1] if best else None


def _splayed_chainages(chainage: float, offset: float, length: float) -> tuple[float, float]:
    """Return two chainages on a line from which a point is seen under a good angle."""
    aside = max(SPLAY * abs(offset), 1.0)
    first, second = max(chainage - aside, 0.0), min(chainage + aside, length)
    if second - first < aside:  # near an end of the line
        first, second = (
            (0.0, min(2 * aside, length)) if chainage < length / 2 else (max(length - 2 * aside, 0.0), length)
        )
    return first, second


def _clear(start: Array, end: Array, layout: Layout) -> bool:
    """Return whether the tape can be held from one place to another."""
    return not any(crossed_by(start, end, layout.obstacles))
