"""Where stations could stand on a plot, which of them see one another, and what each line between them picks up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import combinations, pairwise
from math import radians, tan
from typing import Final

import numpy as np
from shapely import LineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pegline.book.geometry import Ring
from pegline.commands.prepare.expectation import Intention
from pegline.commands.prepare.layout import PlannedLine, angles_of, booking_for, crossed_by
from pegline.commands.prepare.sketch import sketched_outline
from pegline.kinds import LAND_EDGES
from pegline.plane import Array, distance, foot

__all__ = ["MORE_PLACES", "Terrain", "terrain_of"]

OUTLINE_CLEARANCE: Final = 1.0  #: how far within the outline a peg stands, metres: hedges and walls are thick
CORNER_CLEARANCE: Final = 1.5  #: how far off an obstacle's corners a peg stands, metres
LONG_SIDE: Final = 25.0  #: sides longer than this have a place for a peg in their middle too, metres
MIN_APART: Final = 4.0  #: places nearer to one another are one, metres
MAX_PLACES: Final = 14  #: places that are tried, those of the outline first
MORE_PLACES: Final = 26  #: and where these do not do
NET_CLEARANCE: Final = 2.5  #: places of the net are no nearer to any other, metres
MIN_LINE: Final = 5.0  #: no chain line is shorter, metres
TIE_SHARES: Final = (0.5, 0.25, 0.75, 0.375, 0.625, 0.125, 0.875)  #: where along a line a tie station may stand
NET: Final = 20  #: meshes of a net of further places along a square of the same area
#: Cosines of the angles between a line and one from a tie station on it: 72° to 25°.
SQUARE: Final = 0.31
FLAT_COSINE: Final = 0.906
#: Angles at a line of a triangle whose corners on it are tie stations, and of the one that checks it, degrees.
FEET_DEG: Final = (45.0, 60.0, 35.0)
CHECKING_DEG: Final = (32.0, 28.0, 65.0)
TIE_CHAINAGE_STEP: Final = 0.5  #: such tie stations stand on whole multiples of this, metres
END_CLEARANCE: Final = 1.0  #: and no nearer to the end of their line, metres
OBSTACLE_CLEARANCE: Final = 0.7  #: how far a proposed line keeps off an obstacle, metres: sketches are rough
EDGE: Final = 0.6  #: how far a sight line may leave the outline, metres


class Terrain:
    """A plot with places for stations, numbered."""

    def __init__(self, intention: Intention, outline: Polygon, places: Sequence[Array]) -> None:
        self.intention, self.outline, self.places = intention, outline, list(places)
        self._obstacles = {name: shape.buffer(OBSTACLE_CLEARANCE) for name, shape in intention.layout.obstacles.items()}
        self._reach = outline.buffer(EDGE)
        self.visible = {
            (i, j)
            for i, j in combinations(range(len(self.places)), 2)
            if float(distance(self.places[i], self.places[j])) >= MIN_LINE
            and self.clear(self.places[i], self.places[j])
        }
        self._feet: dict[tuple[int, int, int], tuple[float, ...]] = {}
        self._ties: dict[tuple[int, int, int], tuple[float, ...]] = {}
        self._picked: dict[tuple[float, ...], frozenset[str]] = {}

    def clear(self, start: Array, end: Array) -> bool:
        """Return whether a line can be taped from one place to another."""
        inside = self._reach.covers(LineString([start, end]))
        return inside and not any(crossed_by(start, end, self._obstacles))

    def tie_shares(self, i: int, pair: tuple[int, int]) -> tuple[float, ...]:
        """Return where along a line a tie station sees a place, square neither to the line nor along it."""
        key = (i, *pair)
        if key not in self._ties:
            start, end = (self.places[n] for n in pair)
            self._ties[key] = tuple(
                share for share in TIE_SHARES if self._ties_well(start + share * (end - start), end, i)
            )
        return self._ties[key]

    def far_shares(self, i: int, pair: tuple[int, int]) -> tuple[float, ...]:
        """Return where along a line a tie station sees a place under a flat angle, from far off."""
        start, end = (self.places[n] for n in pair)
        return tuple(share for share in TIE_SHARES if self._sees_flat(start + share * (end - start), end, i))

    def _sees_flat(self, at: Array, end: Array, i: int) -> bool:
        return self._cosine(at, end, i) >= FLAT_COSINE and self.clear(at, self.places[i])

    def _cosine(self, at: Array, end: Array, i: int) -> float:
        way, line = self.places[i] - at, end - at
        return abs(float(way @ line)) / max(float(np.hypot(*way)) * float(np.hypot(*line)), 1e-9)

    def _ties_well(self, at: Array, end: Array, i: int) -> bool:
        length = float(distance(at, self.places[i]))
        return length >= MIN_LINE and SQUARE < self._cosine(at, end, i) < FLAT_COSINE and self.clear(at, self.places[i])

    def feet(self, i: int, pair: tuple[int, int]) -> tuple[float, ...]:
        """Return three shares of a line: tie stations that fix a place by a good triangle, and one that checks it.

        The first two see the place at 45°, or at what there is room for, on either side of its foot; the third
        sees it aslant, so that a mistake in any of the three chainages shows. Fewer where there is no room.
        """
        key = (i, *pair)
        if key not in self._feet:
            self._feet[key] = self._three_feet(i, pair)
        return self._feet[key]

    def _three_feet(self, i: int, pair: tuple[int, int]) -> tuple[float, ...]:
        start, end = (self.places[n] for n in pair)
        length = float(distance(start, end))
        chainage, offset = (float(value) for value in foot(start, end, self.places[i]))
        shares: list[float] = []
        for angles in (FEET_DEG, FEET_DEG, CHECKING_DEG):
            sides = (-1, 1) if len(shares) == 2 else ((-1, 1)[len(shares)],)
            ways = [chainage + side * abs(offset) / tan(radians(angle)) for angle in angles for side in sides]
            usable = (
                at / length
                for at in (round(way / TIE_CHAINAGE_STEP) * TIE_CHAINAGE_STEP for way in ways)
                if END_CLEARANCE <= at <= length - END_CLEARANCE
                and all(abs(at - share * length) >= MIN_LINE / 2 for share in shares)
                and self._ties_well(start + at / length * (end - start), end, i)
            )
            share = next(usable, None)
            if share is None:
                return ()
            shares.append(share)
        corners = [start + share * (end - start) for share in shares[:2]]
        return tuple(shares) if self.smallest_good_angle([*corners, self.places[i]]) is not None else ()

    def sees(self, i: int, j: int) -> bool:
        """Return whether a line can be taped between two places."""
        return (min(i, j), max(i, j)) in self.visible

    def length(self, i: int, j: int) -> float:
        """Return how far apart two places are, metres."""
        return float(distance(self.places[i], self.places[j]))

    @cached_property
    def points_to_pick_up(self) -> frozenset[str]:
        """Return the points that must be picked up."""
        booked_names = {row.name for line in self.intention.book.lines.values() for row in line.details}
        return frozenset(self.intention.layout.points) - booked_names - self.intention.measured

    def picked_up(self, i: int, j: int) -> frozenset[str]:
        """Return the points that a line between two places reaches."""
        return self.picked_between(self.places[min(i, j)], self.places[max(i, j)])

    def picked_between(self, start: Array, end: Array) -> frozenset[str]:
        """Return the points that a line from one place to another reaches."""
        key = (*start.round(3).tolist(), *end.round(3).tolist())
        if key not in self._picked:
            line = PlannedLine("P-Q", "P", "Q", "side")
            layout = replace(self.intention.layout, stations={"P": start, "Q": end}, lines=(line,))
            self._picked[key] = frozenset(
                name for name in self.points_to_pick_up if booking_for(layout, name, self.intention.limits) is not None
            )
        return self._picked[key]

    def well_conditioned(self, three: Sequence[int]) -> float | None:
        """Return the smallest angle of a triangle of places, degrees; None where it is not well-conditioned."""
        return self.smallest_good_angle([self.places[i] for i in three])

    def smallest_good_angle(self, corners: Sequence[Array]) -> float | None:
        """Return the smallest angle of a triangle, degrees; None where it is not well-conditioned."""
        angles = angles_of(corners)
        limits = self.intention.limits
        good = min(angles) >= limits.smallest_angle and max(angles) <= limits.largest_angle
        return min(angles) if good else None


def terrain_of(intention: Intention, most: int = MAX_PLACES) -> Terrain | None:
    """Return the plot of a sketch with its places for stations; None where the sketch shows too little."""
    outline = _outline(intention)
    if outline is None or outline.is_empty:
        return None
    shapes = list(intention.layout.obstacles.values())
    free = outline
    for shape in shapes:
        free = free.difference(shape.buffer(0.3))
    places: list[Array] = [at for at in intention.layout.stations.values() if free.covers(Point(at))]
    for at in _places(outline, shapes):
        if free.covers(Point(at)) and all(float(distance(at, other)) >= MIN_APART for other in places):
            places.append(at)
    places = places[: min(most, MAX_PLACES)]
    net = list(_net(free.buffer(-OUTLINE_CLEARANCE)))
    while net and len(places) < most:  # the one that is farthest from all others first
        at = max(net, key=lambda one: min((float(distance(one, other)) for other in places), default=0.0))
        if places and min(float(distance(at, other)) for other in places) < NET_CLEARANCE:
            break
        places.append(at)
    return Terrain(intention, outline, places)


def _net(free: BaseGeometry) -> Iterator[Array]:
    """Yield places all over the free ground."""
    west, south, east, north = free.bounds
    step = max(free.area**0.5 / NET, 1.0)
    for y in np.arange(south, north, step):
        yield from (np.array([x, y]) for x in np.arange(west, east, step) if free.covers(Point(x, y)))


def _outline(intention: Intention) -> Polygon | None:
    """Return the ring of the boundary, else what holds everything that is sketched."""
    layout = intention.layout
    places: Mapping[str, Array] = {**layout.points, **layout.stations}
    rings = []
    for feature in intention.features.values():
        outline = sketched_outline(feature, places, intention.book.unit)
        if outline is not None and feature.kind in LAND_EDGES and isinstance(feature.geometry, Ring):
            rings.append(Polygon(outline).buffer(0))
    if rings:
        return max(rings, key=lambda ring: ring.area)
    if len(places) < 3:
        return None
    return MultiPoint(list(places.values())).convex_hull.buffer(2 * OUTLINE_CLEARANCE)


def _places(outline: Polygon, obstacles: Sequence[object]) -> Iterator[Array]:
    """Yield places within the outline's corners, off the obstacles' corners, and in the middle of long sides."""
    inner = outline.buffer(-OUTLINE_CLEARANCE, join_style="mitre")
    rings = [part.exterior for part in getattr(inner, "geoms", [inner]) if not part.is_empty]
    corners = [np.array(at) for ring in rings for at in Polygon(ring).simplify(0.3).exterior.coords[:-1]]
    yield from corners
    for shape in obstacles:
        around = shape.buffer(CORNER_CLEARANCE, join_style="mitre").simplify(0.3)  # type: ignore[attr-defined]
        if around.geom_type == "Polygon":
            yield from (np.array(at) for at in around.exterior.coords[:-1])
    for ring in rings:
        ordered = [np.array(at) for at in Polygon(ring).simplify(0.3).exterior.coords]
        for one, other in pairwise(ordered):
            length = float(distance(one, other))
            parts = int(length // LONG_SIDE) + 1
            yield from (one + (other - one) * n / parts for n in range(1, parts))
