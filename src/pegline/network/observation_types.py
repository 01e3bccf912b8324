"""What was observed between points: a booking, the same for all, and the geometry of its type.

Lengths are on the ground in metres, positions in the metres of the frame, angles in radians. Who an
observation belongs to is data (line, row, points) and is never taken out of the text that is shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from operator import attrgetter
from typing import Any, TypeGuard, TypeVar, overload

from pegline.errors import Place
from pegline.network.kinds import MeasurementKind, Part
from pegline.records import record
from pegline.reduction.model import Ground

__all__ = [
    "AngleAtStation",
    "Booking",
    "Chainage",
    "ControlCoordinate",
    "Distance",
    "Group",
    "LineBearing",
    "Oblique",
    "Observation",
    "Offset",
    "PointFields",
    "Produced",
    "Ranging",
    "Square",
    "TieChainage",
    "base_lines",
    "fields_of_length",
    "is_chain_line",
    "is_tie_chainage",
    "tie_chainages",
    "tie_rangings",
    "with_value",
]

#: The line, row, arc, feature or station whose equations stand or fall together.
Group = tuple[str, str | int]


@record(frozen=True, slots=True)
class Booking:
    """What a book says of one observation, whatever its geometry."""

    label: str  #: as it is shown, for people only: ``P-Q``, or ``P-Q at 8.20``
    kind: MeasurementKind
    part: Part
    group: Group
    value: float  #: observed: metres on the ground, for control metres of the frame about its origin, or radians
    sd: float  #: without the tape's scale, same unit
    tape: str | None  #: the tape whose scale it shares; None where no tape's scale is in it
    place: Place
    line: str | None = None  #: the line that it is the length of, or that its row counts on
    row: int | None = None  #: number of its row in ``Reduction.rows``
    back: bool = False  #: of a row booked walking the line from its end: left and right are as seen then
    read: float | None = None  #: as booked where that is another figure: before its corrections, from the book's north
    #: part of the deviation that readings share: the name of each common error, and what it puts into this one, metres
    shared: tuple[tuple[str, float], ...] = ()

    @property
    def measured_line(self) -> str | None:
        """Return the line whose whole length this is; None where it is not a line's length."""
        return self.line if self.row is None else None


class PointFields:
    """The points of an observation, in the order of the derivatives of its equation: its fields of some names."""

    def __init__(self, *fields: str) -> None:
        self.fields = fields
        self._read = attrgetter(*fields, fields[0])  # one name more, so that what comes back is always a tuple

    @overload
    def __get__(self, one: None, owner: type) -> PointFields: ...

    @overload
    def __get__(self, one: object, owner: type) -> tuple[str, ...]: ...

    def __get__(self, one: object | None, owner: type) -> PointFields | tuple[str, ...]:
        """Return the points of an observation; of its type, what they are read from."""
        return self if one is None else self._read(one)[:-1]


@record(frozen=True, slots=True)
class Distance:
    """A length taped from one point to another."""

    booking: Booking
    start: str
    end: str

    points = PointFields("start", "end")


@record(frozen=True, slots=True)
class Chainage:
    """How far along the line from start to end the foot of a point lies.

    The line's own mean length stands in the equation, so the scale of the tape cancels. The booking's
    deviation is of the chainage and of the right angle's foot together.
    """

    booking: Booking
    point: str
    start: str
    end: str
    length: float  #: mean length on the ground from ``start`` to ``end``, metres

    points = PointFields("point", "start", "end")


@record(frozen=True, slots=True)
class TieChainage(Chainage):
    """How far along its line from start the foot of a tie station lies, taped as the line's length is.

    The scale of the tape is in it, the line's length is not: what the two readings have in common says how much
    of an error in one is in the other. The length serves to begin with only.
    """


@record(frozen=True, slots=True)
class Ranging:
    """A point that stands in the line from start to end: its distance to the left of it, booked as 0."""

    booking: Booking
    point: str
    start: str
    end: str

    points = PointFields("point", "start", "end")


@record(frozen=True, slots=True)
class Produced:
    """A point that lies in the line of a wall from start to end, produced: its distance from it, booked as 0."""

    booking: Booking
    point: str
    start: str
    end: str

    points = PointFields("point", "start", "end")


@record(frozen=True, slots=True)
class Offset:
    """A perpendicular distance, never negative, from the line from start to end to a point."""

    booking: Booking
    point: str
    start: str
    end: str
    side: int  #: +1 left, -1 right

    points = PointFields("point", "start", "end")


@record(frozen=True, slots=True)
class Oblique:
    """A distance from a chainage on the line from start to end to a point.

    The booking's deviation is of the distance and of the chainage's part in it.
    """

    booking: Booking
    point: str
    start: str
    end: str
    chainage: float  #: on the ground from ``start``, metres
    length: float  #: mean length on the ground from ``start`` to ``end``, metres
    side: int  #: +1 left, -1 right, 0 not told; settles the start, and is compared

    points = PointFields("point", "start", "end")

    @property
    def share(self) -> float:
        """Return how much of the line lies before the chainage."""
        return self.chainage / self.length


@record(frozen=True, slots=True)
class LineBearing:
    """A bearing from start to end, clockwise from the frame's +y."""

    booking: Booking
    start: str
    end: str

    points = PointFields("start", "end")


@record(frozen=True, slots=True)
class ControlCoordinate:
    """A known coordinate of a station, along a direction of the frame."""

    booking: Booking
    station: str
    along: tuple[float, float]  #: unit vector: (1, 0) for x, (0, 1) for y

    points = PointFields("station")


@record(frozen=True, slots=True)
class AngleAtStation:
    """An angle at a station, from one station clockwise to another."""

    booking: Booking
    back: str
    station: str
    ahead: str

    points = PointFields("back", "station", "ahead")


@record(frozen=True, slots=True)
class Square:
    """A right angle walked from before over corner to after: a turn of +π/2 (left) or -π/2 (right)."""

    booking: Booking
    before: str
    corner: str
    after: str

    points = PointFields("before", "corner", "after")


Observation = (
    Distance
    | Chainage
    | TieChainage
    | Ranging
    | Produced
    | Offset
    | Oblique
    | LineBearing
    | ControlCoordinate
    | Square
    | AngleAtStation
)

_Some = TypeVar("_Some", bound=Observation)


def base_lines(observations: Iterable[Observation]) -> Iterator[tuple[int, Distance]]:
    """Yield the base line with its number; a sound book has one."""
    for number, one in enumerate(observations):
        if isinstance(one, Distance) and one.booking.part == "base":
            yield number, one


def is_chain_line(one: Observation) -> TypeGuard[Distance]:
    """Return whether an observation is the length of a chain line."""
    return isinstance(one, Distance) and one.booking.kind == "length"


def is_tie_chainage(one: Observation) -> TypeGuard[Chainage]:
    """Return whether an observation says how far along its line a tie station stands."""
    return isinstance(one, Chainage) and one.booking.part == "station"


def tie_chainages(observations: Iterable[Observation]) -> Iterator[tuple[int, Chainage]]:
    """Yield how far along its line each tie station stands, with its number."""
    for number, one in enumerate(observations):
        if is_tie_chainage(one):
            yield number, one


def tie_rangings(observations: Iterable[Observation]) -> Iterator[tuple[int, Ranging]]:
    """Yield that each tie station stands in its line, with its number."""
    for number, one in enumerate(observations):
        if isinstance(one, Ranging) and one.booking.part == "station":
            yield number, one


def fields_of_length(ground: Ground) -> dict[str, Any]:
    """Return what a booking takes from a taped length."""
    return {"value": ground.length, "sd": ground.sd, "tape": ground.tape, "place": ground.place, "read": ground.reading}


def with_value(one: _Some, value: float) -> _Some:
    """Return an observation with another value observed."""
    return replace(one, booking=replace(one.booking, value=value))
