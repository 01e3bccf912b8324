"""The equation of each type of observation.

One function a type gives the computed value and its partial derivatives for all observations of the
type at once, in the table ``EQUATIONS``. Angles are in radians, lengths on the ground in metres,
positions in the metres of the frame.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import hypot
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pegline.network.arc_intersection import XY
from pegline.network.observation_types import (
    AngleAtStation,
    Chainage,
    ControlCoordinate,
    Distance,
    LineBearing,
    Oblique,
    Offset,
    Produced,
    Ranging,
    Square,
    TieChainage,
)
from pegline.plane import Array, left_of
from pegline.records import record

__all__ = ["EQUATIONS", "Equation"]


def _length(vector: Array) -> Array:
    """Return the lengths of vectors (m, 2)."""
    return np.hypot(vector[:, 0], vector[:, 1])


def _dot(one: Array, other: Array) -> Array:
    """Return the scalar products of vectors (m, 2)."""
    return one[:, 0] * other[:, 0] + one[:, 1] * other[:, 1]


def distance_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return |Q - P| and its derivatives to P and Q."""
    vector = points[:, 1] - points[:, 0]
    computed = _length(vector)
    unit = vector / computed[:, None]
    return computed, np.stack((-unit, unit), axis=1)


def chainage_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return (X - P)·(Q - P) L / |Q - P|² and its derivatives to X, P and Q."""
    point, start, end = points[:, 0], points[:, 1], points[:, 2]
    line, arm = end - start, point - start
    square = _dot(line, line)
    share = _dot(arm, line) / square
    by_point = line / square[:, None]
    by_end = (arm - 2 * share[:, None] * line) / square[:, None]
    length = numbers[:, 0]
    partials = np.stack((by_point, -by_point - by_end, by_end), axis=1)
    return share * length, partials * length[:, None, None]


def tie_chainage_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return (X - P)·(Q - P) / |Q - P| and its derivatives to X, P and Q."""
    point, start, end = points[:, 0], points[:, 1], points[:, 2]
    line, arm = end - start, point - start
    size = _length(line)
    unit = line / size[:, None]
    normal = left_of(unit)
    # A move of Q across the line turns it: the chainage takes aside/|PQ| of the move.
    by_end = (_dot(arm, normal) / size)[:, None] * normal
    return _dot(arm, unit), np.stack((unit, -unit - by_end, by_end), axis=1)


def offset_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return side x (X - P)·n, n to the left of P-Q, and its derivatives to X, P and Q."""
    point, start, end = points[:, 0], points[:, 1], points[:, 2]
    line, arm = end - start, point - start
    size = _length(line)
    unit = line / size[:, None]
    normal = left_of(unit)
    along, aside = _dot(arm, unit), _dot(arm, normal)
    # A move of Q across the line turns it: the offset loses along/|PQ| of the move.
    by_end = -(along / size)[:, None] * normal
    partials = np.stack((normal, -normal - by_end, by_end), axis=1)
    return numbers[:, 0] * aside, numbers[:, 0, None, None] * partials


def oblique_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return |X - F|, F = P + share (Q - P), and its derivatives to X, P and Q."""
    point, start, end = points[:, 0], points[:, 1], points[:, 2]
    share = numbers[:, 0, None]
    arm = point - start - share * (end - start)
    computed = _length(arm)
    unit = arm / computed[:, None]
    return computed, np.stack((unit, -(1 - share) * unit, -share * unit), axis=1)


def bearing_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the bearing from P to Q, clockwise from +y, and its derivatives."""
    vector = points[:, 1] - points[:, 0]
    by_end = np.stack((vector[:, 1], -vector[:, 0]), axis=1) / _dot(vector, vector)[:, None]
    return np.arctan2(vector[:, 0], vector[:, 1]), np.stack((-by_end, by_end), axis=1)


def angle_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the angle at B from A clockwise to C, -2π to 2π, and its derivatives to A, B and C."""
    to_back, by_back = bearing_equation(points[:, [1, 0]], numbers)
    to_ahead, by_ahead = bearing_equation(points[:, [1, 2]], numbers)
    by_station = by_ahead[:, 0] - by_back[:, 0]
    return to_ahead - to_back, np.stack((-by_back[:, 1], by_station, by_ahead[:, 1]), axis=1)


def control_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the coordinate along a direction and its derivatives."""
    return _dot(points[:, 0], numbers), numbers[:, None, :]


def square_equation(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the turn from a-b to b-c, left positive, and its derivatives to a, b and c."""
    coming, going = points[:, 1] - points[:, 0], points[:, 2] - points[:, 1]
    cross = coming[:, 0] * going[:, 1] - coming[:, 1] * going[:, 0]
    by_coming = -left_of(coming) / _dot(coming, coming)[:, None]
    by_going = left_of(going) / _dot(going, going)[:, None]
    return np.arctan2(cross, _dot(coming, going)), np.stack((-by_coming, by_coming - by_going, by_going), axis=1)


def chainage_rates(one: Chainage, point: XY, start: XY, end: XY) -> tuple[float, float]:
    """Return the derivatives of a chainage's residual to the chainage, and to the length of its piece."""
    (x, y), (px, py), (qx, qy) = point, start, end
    dx, dy = qx - px, qy - py
    return 1.0, -((x - px) * dx + (y - py) * dy) / (dx * dx + dy * dy)


def oblique_rates(one: Oblique, point: XY, start: XY, end: XY) -> tuple[float, float]:
    """Return the derivatives of an oblique distance's residual to its chainage, and to the length of its piece."""
    (x, y), (px, py), (qx, qy) = point, start, end
    dx, dy = qx - px, qy - py
    ex, ey = x - px - one.share * dx, y - py - one.share * dy
    along = (ex * dx + ey * dy) / (hypot(ex, ey) * one.length)
    return along, -along * one.share


@record(frozen=True, slots=True)
class Piece:
    """How observations of one type count in proportion on a piece of their line: other readings change it."""

    #: the fields of an observation whose ratio is its constant: what is above, and what is below where that is not 1
    fields: tuple[str, ...]
    #: from an observation and where its points stand: derivatives of its residual to its chainage and to the length
    rates: Callable[[Any, XY, XY, XY], tuple[float, float]]


@record(frozen=True, slots=True)
class Equation:
    """How one type of observation is computed."""

    #: from positions (m, k, 2) and constants (m, j): computed (m,) and derivatives (m, k, 2)
    function: Callable[[Array, NDArray[np.float64]], tuple[Array, Array]]
    #: constants of an observation in its equation
    numbers: Callable[[Any], tuple[float, ...]] = lambda _: ()
    taped: bool = False  #: a length in the frame, which the frame's and the tape's scale turn into a reading
    angle: bool = False  #: computed less observed is an angle, taken between -pi and pi
    apart: tuple[tuple[int, int], ...] = ()  #: points that must not lie at one place, for its direction to be known
    piece: Piece | None = None  #: what its constant is made of, where other readings are in that
    read: bool = True  #: someone reads it off something; else it is a condition: in a line, or at a right angle


EQUATIONS: Final[Mapping[type, Equation]] = {
    Distance: Equation(distance_equation, taped=True, apart=((0, 1),)),
    Chainage: Equation(
        chainage_equation,
        lambda one: (one.length,),
        apart=((1, 2),),
        piece=Piece(("length",), chainage_rates),
    ),
    TieChainage: Equation(tie_chainage_equation, taped=True, apart=((1, 2),)),
    Ranging: Equation(offset_equation, lambda _: (1.0,), taped=True, apart=((1, 2),), read=False),
    Produced: Equation(offset_equation, lambda _: (1.0,), taped=True, apart=((1, 2),), read=False),
    Offset: Equation(offset_equation, lambda one: (one.side,), taped=True, apart=((1, 2),)),
    Oblique: Equation(
        oblique_equation,
        lambda one: (one.share,),
        taped=True,
        piece=Piece(("chainage", "length"), oblique_rates),
    ),
    LineBearing: Equation(bearing_equation, angle=True, apart=((0, 1),)),
    ControlCoordinate: Equation(control_equation, lambda one: one.along),
    AngleAtStation: Equation(angle_equation, angle=True, apart=((0, 1), (1, 2))),
    Square: Equation(square_equation, angle=True, apart=((0, 1), (1, 2)), read=False),
}
