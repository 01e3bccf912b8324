"""What was observed between points, and the equation of each kind of observation.

One frozen record a type, one function a type giving the computed value and its partial
derivatives for all observations of the type at once, in the table ``EQUATIONS``. Angles are in
radians, lengths on the ground in metres, positions in the metres of the frame.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import pi
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from pegline.errors import Place
from pegline.network.common import Array, MeasurementKind
from pegline.records import record

__all__ = [
    "EQUATIONS",
    "SQUARE_SD",
    "Bearing",
    "Chainage",
    "Control",
    "Distance",
    "Equation",
    "Oblique",
    "Observation",
    "Offset",
    "Part",
    "Ranging",
    "Square",
    "wrapped",
]

#: What an observation is there for. It decides what the plotting solution may use and how a failing check is told.
Part = Literal["base", "side", "tie", "check", "station", "row", "arc", "dimension", "wall", "bearing", "control"]

#: Standard deviation of a built right angle, radians (0.2°, common practice).
SQUARE_SD: Final = 0.2 * pi / 180


@record(frozen=True, slots=True)
class Distance:
    """A length taped from one point to another."""

    what: str  #: as it is told: ``P-Q``
    kind: MeasurementKind
    part: Part
    of: str  #: the line, row, arc or feature whose equations stand or fall together
    value: float  #: on the ground, metres
    sd: float  #: without the tape's scale, metres
    tape: str | None
    place: Place
    start: str
    end: str

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.start, self.end)


@record(frozen=True, slots=True)
class Chainage:
    """How far along the line from start to end the foot of a point lies.

    The line's own mean length stands in the equation, so the scale of the tape cancels.
    """

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: chainage on the ground from ``start``, metres
    sd: float  #: of the chainage and of the right angle's foot together, metres
    tape: str | None
    place: Place
    point: str
    start: str
    end: str
    length: float  #: mean length on the ground from ``start`` to ``end``, metres

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.point, self.start, self.end)


@record(frozen=True, slots=True)
class Ranging:
    """A point that stands in the line from start to end: its distance to the left of it, booked as 0."""

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: metres, 0
    sd: float  #: metres
    tape: str | None
    place: Place
    point: str
    start: str
    end: str

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.point, self.start, self.end)


@record(frozen=True, slots=True)
class Offset:
    """A perpendicular distance from the line from start to end to a point."""

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: on the ground, metres, never negative
    sd: float  #: metres
    tape: str | None
    place: Place
    point: str
    start: str
    end: str
    side: int  #: +1 left, -1 right

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.point, self.start, self.end)


@record(frozen=True, slots=True)
class Oblique:
    """A distance from a chainage on the line from start to end to a point."""

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: on the ground, metres
    sd: float  #: of the distance and of the chainage's part in it, metres
    tape: str | None
    place: Place
    point: str
    start: str
    end: str
    share: float  #: chainage over the line's mean length
    side: int  #: +1 left, -1 right, 0 not told; settles the start only

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.point, self.start, self.end)


@record(frozen=True, slots=True)
class Bearing:
    """A bearing from start to end, clockwise from the frame's +y."""

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: radians
    sd: float  #: radians
    tape: str | None
    place: Place
    start: str
    end: str

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.start, self.end)


@record(frozen=True, slots=True)
class Control:
    """A known coordinate of a station, along a direction of the frame."""

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: metres of the frame about its origin
    sd: float  #: metres
    tape: str | None
    place: Place
    station: str
    along: tuple[float, float]  #: unit vector: (1, 0) for x, (0, 1) for y

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.station,)


@record(frozen=True, slots=True)
class Square:
    """A right angle walked from before over corner to after: a turn of +90° (left) or -90° (right)."""

    what: str
    kind: MeasurementKind
    part: Part
    of: str
    value: float  #: radians, +pi/2 left or -pi/2 right
    sd: float  #: radians
    tape: str | None
    place: Place
    before: str
    corner: str
    after: str

    @property
    def points(self) -> tuple[str, ...]:
        """Return the points in the order of the equation's derivatives."""
        return (self.before, self.corner, self.after)


Observation = Distance | Chainage | Ranging | Offset | Oblique | Bearing | Control | Square


def wrapped(angle: Array) -> Array:
    """Return angles between -pi and pi.

    >>> float(wrapped(np.array([3 * pi / 2])).round(6)[0])
    -1.570796
    """
    return np.asarray((angle + pi) % (2 * pi) - pi)


def _left(vector: Array) -> Array:
    """Return vectors (m, 2) turned a quarter to the left."""
    return np.stack((-vector[:, 1], vector[:, 0]), axis=1)


def _length(vector: Array) -> Array:
    """Return the lengths of vectors (m, 2)."""
    return np.hypot(vector[:, 0], vector[:, 1])


def _dot(one: Array, other: Array) -> Array:
    """Return the scalar products of vectors (m, 2)."""
    return one[:, 0] * other[:, 0] + one[:, 1] * other[:, 1]


def distance(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return |Q - P| and its derivatives to P and Q."""
    vector = points[:, 1] - points[:, 0]
    computed = _length(vector)
    unit = vector / computed[:, None]
    return computed, np.stack((-unit, unit), axis=1)


def chainage(points: Array, numbers: Array) -> tuple[Array, Array]:
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


def offset(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return side x (X - P)·n, n to the left of P-Q, and its derivatives to X, P and Q."""
    point, start, end = points[:, 0], points[:, 1], points[:, 2]
    line, arm = end - start, point - start
    size = _length(line)
    unit = line / size[:, None]
    normal = _left(unit)
    along, aside = _dot(arm, unit), _dot(arm, normal)
    # A move of Q across the line turns it: the offset loses along/|PQ| of the move.
    by_end = -(along / size)[:, None] * normal
    partials = np.stack((normal, -normal - by_end, by_end), axis=1)
    return numbers[:, 0] * aside, numbers[:, 0, None, None] * partials


def oblique(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return |X - F|, F = P + share (Q - P), and its derivatives to X, P and Q."""
    point, start, end = points[:, 0], points[:, 1], points[:, 2]
    share = numbers[:, 0, None]
    arm = point - start - share * (end - start)
    computed = _length(arm)
    unit = arm / computed[:, None]
    return computed, np.stack((unit, -(1 - share) * unit, -share * unit), axis=1)


def bearing(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the bearing from P to Q, clockwise from +y, and its derivatives."""
    vector = points[:, 1] - points[:, 0]
    by_end = np.stack((vector[:, 1], -vector[:, 0]), axis=1) / _dot(vector, vector)[:, None]
    return np.arctan2(vector[:, 0], vector[:, 1]), np.stack((-by_end, by_end), axis=1)


def control(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the coordinate along a direction and its derivatives."""
    return _dot(points[:, 0], numbers), numbers[:, None, :]


def square(points: Array, numbers: Array) -> tuple[Array, Array]:
    """Return the turn from a-b to b-c, left positive, and its derivatives to a, b and c."""
    coming, going = points[:, 1] - points[:, 0], points[:, 2] - points[:, 1]
    cross = coming[:, 0] * going[:, 1] - coming[:, 1] * going[:, 0]
    by_coming = -_left(coming) / _dot(coming, coming)[:, None]
    by_going = _left(going) / _dot(going, going)[:, None]
    return np.arctan2(cross, _dot(coming, going)), np.stack((-by_coming, by_coming - by_going, by_going), axis=1)


@record(frozen=True, slots=True)
class Equation:
    """How one type of observation is computed."""

    #: from positions (m, k, 2) and constants (m, j): computed (m,) and derivatives (m, k, 2)
    function: Callable[[Array, NDArray[np.float64]], tuple[Array, Array]]
    #: constants of an observation in its equation
    numbers: Callable[[Any], tuple[float, ...]] = lambda _: ()
    taped: bool = False  #: a length in the frame, which the frame's and the tape's scale turn into a reading
    angle: bool = False  #: computed less observed is an angle, taken between -pi and pi


EQUATIONS: Final[Mapping[type, Equation]] = {
    Distance: Equation(distance, taped=True),
    Chainage: Equation(chainage, lambda one: (one.length,)),
    Ranging: Equation(offset, lambda _: (1.0,), taped=True),
    Offset: Equation(offset, lambda one: (one.side,), taped=True),
    Oblique: Equation(oblique, lambda one: (one.share,), taped=True),
    Bearing: Equation(bearing, angle=True),
    Control: Equation(control, lambda one: one.along),
    Square: Equation(square, angle=True),
}
