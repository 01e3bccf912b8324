"""Straight lines with a given area of a ring on their left: parallel to a direction, or through a point."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, hypot, pi, sin
from typing import Final

import numpy as np
from scipy.optimize import brentq

from pegline.commands.area.half_plane import LeftPart, left_part
from pegline.detail.model import Path
from pegline.detail.path import Place1D, area, cut, piece_lengths, pieces
from pegline.plane import Array, distance, left_of
from pegline.records import record

__all__ = ["Cut", "along_ring", "moved_cut", "parallel_cuts", "part_of", "place_along", "through_cuts", "turned_cut"]

#: Directions tried for a line through a point, before each that brackets the area is closed in on.
DIRECTIONS: Final = 360
#: To what an offset or an angle is bracketed, metres or radians, before Newton's steps.
BRACKET: Final = 1e-9
#: Newton's steps: each doubles the digits.
STEPS: Final = 8


@record(frozen=True, slots=True)
class Cut:
    """A straight line across a ring; the part cut off lies to its left."""

    origin: Array  #: (2,) a point of the line: the one that it turns about, where it goes through a point
    along: Array  #: (2,) its direction, a unit vector
    ends: Array  #: (2, 2) where it enters the ring and where it leaves it
    places: tuple[Place1D, Place1D]  #: of the two ends on the ring

    @property
    def length(self) -> float:
        """Return how long it is within the ring, metres."""
        return float(distance(self.ends[0], self.ends[1]))


def parallel_cuts(path: Path, direction: Array, target: float) -> Iterator[Cut]:
    """Yield the cuts parallel to a direction with an area of ``target`` to their left: one in either sense.

    The area on the left falls steadily as the line moves left, so there is one place in either sense; it
    is left out where the line crosses the ring more than twice.

    Parameters
    ----------
    direction
        Unit vector of the first cut; the second has the opposite one.
    target
        Square metres, between 0 and the ring's area.

    Examples
    --------
    >>> from pegline.detail.path import straight
    >>> field = straight([[0, 0], [10, 0], [10, 4], [0, 4]], closed=True)
    >>> [cut.ends[0].round(6).tolist() for cut in parallel_cuts(field, np.array([0.0, 1.0]), 12.0)]
    [[3.0, 0.0], [7.0, 4.0]]
    """
    for along in (direction, -direction):
        normal = left_of(along)
        heights = path.vertices @ normal
        room = _room(path)

        def excess(offset: float, along: Array = along, normal: Array = normal) -> float:
            return left_part(path, offset * normal, along).area - target

        offset = brentq(excess, float(heights.min()) - room, float(heights.max()) + room, xtol=BRACKET)
        cut = moved_cut(path, offset * normal, along, target)
        if cut is not None:
            yield cut


def _room(path: Path) -> float:
    """Return by how much arcs reach beyond their vertices at most, metres."""
    start, end, bulge = pieces(path)
    return float((distance(start, end) * np.maximum(np.abs(bulge), 1.0)).max())


def moved_cut(path: Path, origin: Array, along: Array, target: float) -> Cut | None:
    """Return the cut of a given direction near a given place, by Newton's method: the area changes by its width.

    None where the line crosses the ring more than twice.
    """
    for _ in range(STEPS):
        part = left_part(path, origin, along)
        if part.width <= 0 or abs(part.area - target) < 1e-14 * target:
            break
        origin = origin + (part.area - target) / part.width * left_of(along)
    return _cut(left_part(path, origin, along), origin, along)


def through_cuts(path: Path, point: Array, target: float) -> Iterator[Cut]:
    """Yield the cuts through a point with an area of ``target`` to their left, in the order of their direction.

    There may be none or several; those that cross the ring more than twice are left out.
    """

    def excess(angle: float) -> float:
        return left_part(path, point, np.array([cos(angle), sin(angle)])).area - target

    # No round directions: sides may lie along them.
    angles = 0.0137 + 2 * pi * np.arange(DIRECTIONS + 1) / DIRECTIONS
    values = [excess(angle) for angle in angles]
    for begin, end, one, other in zip(angles, angles[1:], values, values[1:], strict=False):
        if (one > 0) != (other > 0):
            angle = brentq(excess, begin, end, xtol=BRACKET)
            cut = turned_cut(path, point, np.array([cos(angle), sin(angle)]), target)
            if cut is not None:
                yield cut


def turned_cut(path: Path, point: Array, along: Array, target: float) -> Cut | None:
    """Return the cut through a point near a given direction, by Newton's method.

    Turned to the left by dθ the line loses what lies ahead of the point and gains what lies behind it:

        dA = -(b² - a²) / 2 dθ,   a and b from the point to where the line enters and leaves
    """
    for _ in range(STEPS):
        part = left_part(path, point, along)
        slope = sum(
            (into.along**2 - out.along**2) / 2
            for into, out in zip(part.crossings[::2], part.crossings[1::2], strict=False)
        )
        if slope == 0 or abs(part.area - target) < 1e-14 * target:
            break
        along = along - (part.area - target) / slope * left_of(along)
        along = along / hypot(*along)
    return _cut(left_part(path, point, along), point, along)


def _cut(part: LeftPart, origin: Array, along: Array) -> Cut | None:
    if len(part.crossings) != 2:
        return None
    into, out = part.crossings
    ends = np.array([origin + into.along * along, origin + out.along * along])
    return Cut(origin, along, ends, (into.place, out.place))


def part_of(path: Path, places: tuple[Place1D, Place1D]) -> Path:
    """Return the closed part of a ring to the left of the straight way from one place on it to another."""
    start, end = places
    # The part on the left of the cut is walked from the cut's end back to its start, where the ring is anticlockwise.
    side = cut(path, end, start) if area(path) > 0 else cut(path, start, end)
    return Path(side.vertices, side.bulges, closed=True)


def along_ring(path: Path, corner: int, place: Place1D) -> float:
    """Return the distance along a ring from one of its vertices on to a place, metres."""
    starts, ends, bulges = pieces(path)
    lengths = piece_lengths(distance(starts, ends), bulges)
    number, share = place
    whole = [(corner + step) % len(lengths) for step in range((number - corner) % len(lengths))]
    return float(lengths[whole].sum() + share * lengths[number])


def place_along(path: Path, corner: int, away: float) -> Place1D:
    """Return the place on a ring at a distance along it from one of its vertices: `along_ring` undone.

    >>> from pegline.detail.path import straight
    >>> place_along(straight([[0, 0], [4, 0], [4, 4]], closed=True), 0, 5.0)
    (1, 0.25)
    """
    starts, ends, bulges = pieces(path)
    lengths = piece_lengths(distance(starts, ends), bulges)
    number = corner
    while away > lengths[number]:
        away -= float(lengths[number])
        number = (number + 1) % len(lengths)
    return number, away / float(lengths[number])
