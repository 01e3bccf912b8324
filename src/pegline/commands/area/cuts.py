"""Straight lines with a given area of a ring on their left: parallel to a direction, or through a point."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import atan, atan2, copysign, cos, hypot, pi, sin, sqrt, tan
from typing import Final, NamedTuple

import numpy as np
from scipy.optimize import brentq

from pegline.detail.model import Path
from pegline.detail.path import FLAT_BULGE, SMALL_BULGE, Place1D, area, cut, piece_lengths, pieces
from pegline.plane import Array, distance, left_of
from pegline.records import record

__all__ = [
    "Cut",
    "along_ring",
    "left_part",
    "moved_cut",
    "parallel_cuts",
    "part_of",
    "place_along",
    "through_cuts",
    "turned_cut",
]


#: Crossings nearer than this to one another are a touch and no crossing, metres.
TOUCH = 1e-9


class Crossing(NamedTuple):
    """Where a line crosses a ring."""

    along: float  #: from the line's origin in its direction, metres
    place: Place1D  #: on the ring


class LeftPart(NamedTuple):
    """What of a ring lies to the left of a line."""

    area: float  #: square metres, positive for either sense of the ring
    crossings: tuple[Crossing, ...]  #: in the order along the line

    @property
    def width(self) -> float:
        """Return how much of the line lies within the ring, metres."""
        return sum(out.along - into.along for into, out in zip(self.crossings[::2], self.crossings[1::2], strict=False))


class _Piece(NamedTuple):
    """A piece of a ring in the line's own axes: x along it, y to its left."""

    x0: float
    y0: float
    x1: float
    y1: float
    bulge: float


def left_part(path: Path, origin: Array, direction: Array) -> LeftPart:
    """Return the area of a closed path to the left of a line, and where the line crosses the path.

    With x along the line and y to its left, by Green's theorem over the boundary's parts with y > 0
    (along the line itself y is 0 and adds nothing):

        A = -∮ y dx,   of a piece: -(y₀ + y₁)(x₁ - x₀) / 2 + the segment between arc and chord

    Parameters
    ----------
    origin, direction
        A point of the line and its unit vector.

    Examples
    --------
    >>> from pegline.detail.path import straight
    >>> square = straight([[0, 0], [4, 0], [4, 4], [0, 4]], closed=True)
    >>> left_part(square, np.array([0.0, 1.0]), np.array([1.0, 0.0])).area
    12.0
    """
    shifted = path.vertices - origin
    x = (shifted @ direction).tolist()
    y = (shifted @ np.array([-direction[1], direction[0]])).tolist()
    bulges = path.bulges.tolist()
    total = whole = 0.0
    parts: list[tuple[Place1D, float, bool]] = []  # where each part begins, on the ring and along the line; its side
    for number, bulge in enumerate(bulges):
        end = (number + 1) % len(bulges)
        piece = _Piece(x[number], y[number], x[end], y[end], bulge)
        whole += _under(piece)
        shares = (0.0, *_shares(piece), 1.0)
        for begin, until in pairwise(shares):
            part = _cut_piece(piece, begin, until)
            starts_left = _at(part, 0.5)[1] > 0
            parts.append(((number, begin), part.x0, starts_left))
            if starts_left:
                total += _under(part)
    # Where parts on different sides meet, at a corner or within a piece, the line crosses.
    crossings = [
        Crossing(along, place)
        for (_, _, before), (place, along, starts_left) in pairwise((parts[-1], *parts))
        if before != starts_left
    ]
    return LeftPart(total if whole > 0 else -total, tuple(_without_touches(sorted(crossings))))


def _without_touches(crossings: list[Crossing]) -> Iterator[Crossing]:
    """Yield the crossings without those pairs that fall together, as at a corner that the line only touches."""
    crossings_kept: list[Crossing] = []
    for one in crossings:
        if crossings_kept and one.along - crossings_kept[-1].along < TOUCH:
            crossings_kept.pop()
        else:
            crossings_kept.append(one)
    yield from crossings_kept


def _under(piece: _Piece) -> float:
    """Return -∫ y dx along a piece."""
    chord2 = (piece.x1 - piece.x0) ** 2 + (piece.y1 - piece.y0) ** 2
    return -(piece.y0 + piece.y1) * (piece.x1 - piece.x0) / 2 + chord2 * _segment(piece.bulge)


def _segment(b: float) -> float:
    """Return the area between an arc and a chord of 1; the formula of ``detail.path.enclosed`` for one number."""
    if abs(b) < SMALL_BULGE:
        return b / 3 + b**3 / 15
    return ((1 + b * b) ** 2 * atan(b) - b * (1 - b * b)) / (8 * b * b)


def _shares(piece: _Piece) -> tuple[float, ...]:
    """Return the shares of a piece's length or angle, between its ends, at which it crosses y = 0, in order."""
    if abs(piece.bulge) < FLAT_BULGE:
        return (piece.y0 / (piece.y0 - piece.y1),) if piece.y0 * piece.y1 < 0 else ()
    return tuple(sorted(_share(piece, t) for t in _roots(piece)))


def _control(piece: _Piece) -> tuple[float, float, float]:
    """Return w and the middle control point, times w, of an arc as a rational curve of the second order.

        P(t) = ((1-t)² P₀ + 2 t (1-t) w M + t² P₁) / ((1-t)² + 2 t (1-t) w + t²),   w = cos(θ/2)

    It keeps its digits where the arc is nearly straight and its centre far away.
    """
    half = 2 * atan(piece.bulge)
    w, s = cos(half), sin(half)
    dx, dy = piece.x1 - piece.x0, piece.y1 - piece.y0
    return w, w * (piece.x0 + piece.x1) / 2 + s * dy / 2, w * (piece.y0 + piece.y1) / 2 - s * dx / 2


def _roots(piece: _Piece) -> Iterator[float]:
    """Yield the parameters between 0 and 1 at which an arc crosses y = 0: none, one or two."""
    _, _, k = _control(piece)
    a, half, c = piece.y0 - 2 * k + piece.y1, k - piece.y0, piece.y0
    squared = half * half - a * c
    if squared <= 0:
        return
    q = -(half + copysign(sqrt(squared), half))
    yield from (root for root in (q / a if a else -1.0, c / q if q else -1.0) if 0 < root < 1)


def _y(piece: _Piece, t: float) -> float:
    _, _, k = _control(piece)
    return (1 - t) ** 2 * piece.y0 + 2 * t * (1 - t) * k + t * t * piece.y1


def _share(piece: _Piece, t: float) -> float:
    """Return the share of an arc's angle at a parameter: the angle from the tangent at its start, over half of θ."""
    w, kx, _ = _control(piece)
    down = (1 - t) ** 2 + 2 * t * (1 - t) * w + t * t
    vx = ((1 - t) ** 2 * piece.x0 + 2 * t * (1 - t) * kx + t * t * piece.x1) / down - piece.x0
    vy = _y(piece, t) / down - piece.y0
    half = 2 * atan(piece.bulge)
    # The tangent at the start is the chord turned clockwise by half of θ.
    dx, dy = piece.x1 - piece.x0, piece.y1 - piece.y0
    tx, ty = dx * cos(half) + dy * sin(half), dy * cos(half) - dx * sin(half)
    share = atan2(tx * vy - ty * vx, tx * vx + ty * vy) / half
    return min(max(share, 0.0), 1.0)


def _at(piece: _Piece, share: float) -> tuple[float, float]:
    """Return the point at a share of a piece's angle or length."""
    dx, dy = piece.x1 - piece.x0, piece.y1 - piece.y0
    half = 2 * atan(piece.bulge)
    if abs(half) < FLAT_BULGE:
        return piece.x0 + share * dx, piece.y0 + share * dy
    ratio, turn = sin(share * half) / sin(half), (1 - share) * half
    c, s = cos(turn), sin(turn)
    return piece.x0 + ratio * (dx * c + dy * s), piece.y0 + ratio * (dy * c - dx * s)


def _cut_piece(piece: _Piece, begin: float, until: float) -> _Piece:
    """Return the part of a piece between two shares."""
    if (begin, until) == (0.0, 1.0):
        return piece
    start = (piece.x0, piece.y0) if begin == 0.0 else _at(piece, begin)
    end = (piece.x1, piece.y1) if until == 1.0 else _at(piece, until)
    return _Piece(*start, *end, tan((until - begin) * atan(piece.bulge)))


#: Directions tried for a line through a point, before each that brackets the area is closed in on.
DIRECTIONS_TRIED: Final = 360
#: To what an offset or an angle is bracketed, metres or radians, before Newton's steps.
BRACKET: Final = 1e-9
#: Newton's steps: each doubles the digits.
NEWTON_STEPS: Final = 8


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
    for _ in range(NEWTON_STEPS):
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
    angles = 0.0137 + 2 * pi * np.arange(DIRECTIONS_TRIED + 1) / DIRECTIONS_TRIED
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
    for _ in range(NEWTON_STEPS):
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
