"""The part of a ring of straight and circular pieces that lies to the left of a straight line, in closed form."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import atan, atan2, copysign, cos, sin, sqrt, tan
from typing import NamedTuple

import numpy as np

from pegline.detail.model import Path
from pegline.detail.path import FLAT, SMALL, Place1D
from pegline.plane import Array

__all__ = ["Crossing", "LeftPart", "left_part"]

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
            part = _cut(piece, begin, until)
            left = _at(part, 0.5)[1] > 0
            parts.append(((number, begin), part.x0, left))
            if left:
                total += _under(part)
    # Where parts on different sides meet, at a corner or within a piece, the line crosses.
    crossings = [
        Crossing(along, place)
        for (_, _, before), (place, along, left) in pairwise((parts[-1], *parts))
        if before != left
    ]
    return LeftPart(total if whole > 0 else -total, tuple(_without_touches(sorted(crossings))))


def _without_touches(crossings: list[Crossing]) -> Iterator[Crossing]:
    """Yield the crossings without those pairs that fall together, as at a corner that the line only touches."""
    kept: list[Crossing] = []
    for one in crossings:
        if kept and one.along - kept[-1].along < TOUCH:
            kept.pop()
        else:
            kept.append(one)
    yield from kept


def _under(piece: _Piece) -> float:
    """Return -∫ y dx along a piece."""
    chord2 = (piece.x1 - piece.x0) ** 2 + (piece.y1 - piece.y0) ** 2
    return -(piece.y0 + piece.y1) * (piece.x1 - piece.x0) / 2 + chord2 * _segment(piece.bulge)


def _segment(b: float) -> float:
    """Return the area between an arc and a chord of 1; the formula of ``detail.path.enclosed`` for one number."""
    if abs(b) < SMALL:
        return b / 3 + b**3 / 15
    return ((1 + b * b) ** 2 * atan(b) - b * (1 - b * b)) / (8 * b * b)


def _shares(piece: _Piece) -> tuple[float, ...]:
    """Return the shares of a piece's length or angle, between its ends, at which it crosses y = 0, in order."""
    if abs(piece.bulge) < FLAT:
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
    if abs(half) < FLAT:
        return piece.x0 + share * dx, piece.y0 + share * dy
    ratio, turn = sin(share * half) / sin(half), (1 - share) * half
    c, s = cos(turn), sin(turn)
    return piece.x0 + ratio * (dx * c + dy * s), piece.y0 + ratio * (dy * c - dx * s)


def _cut(piece: _Piece, begin: float, until: float) -> _Piece:
    """Return the part of a piece between two shares."""
    if (begin, until) == (0.0, 1.0):
        return piece
    start = (piece.x0, piece.y0) if begin == 0.0 else _at(piece, begin)
    end = (piece.x1, piece.y1) if until == 1.0 else _at(piece, until)
    return _Piece(*start, *end, tan((until - begin) * atan(piece.bulge)))
