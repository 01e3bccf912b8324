"""Single values of a book: lengths, readings, angles, slopes, accuracies, names and pairs."""

from __future__ import annotations

from pegline.errors import Place
from pegline.records import record
from pegline.units import METRES_PER


@record(frozen=True, slots=True)
class Length:
    """A length as booked.

    >>> Length(10.0, "ft", "10 ft").metres("m")
    3.048
    """

    value: float  #: in ``unit``; compound lengths (40 ft 6 in) in their first unit
    unit: str | None  #: a name of ``units.METRES_PER``; None: the unit of the line or the book
    text: str  #: as written

    def metres(self, unit: str) -> float:
        """Return the length in metres, a bare number taken in ``unit``."""
        return self.value * METRES_PER[self.unit or unit]


@record(frozen=True, slots=True)
class Reading:
    """One reading off a tape."""

    length: Length  #: what was read; the first of ``either`` until one is chosen
    place: Place
    doubtful: bool = False  #: written with ``~``: its standard deviation is tripled
    either: tuple[Length, ...] = ()  #: the readings it may be, when it is not known which


@record(frozen=True, slots=True)
class Angle:
    """An angle or bearing as booked."""

    radians: float
    text: str  #: as written
    place: Place


@record(frozen=True, slots=True)
class CustomaryArea:
    """A customary unit of area, as a book registers it."""

    name: str
    square_metres: float

    def __str__(self) -> str:
        return self.name


@record(frozen=True, slots=True)
class Accuracy:
    """A standard deviation as booked: ``fixed + per_length x length``, combined as squares."""

    fixed: Length
    per_length: float  #: metres per metre
    place: Place


@record(frozen=True, slots=True)
class Name:
    """A name used somewhere, with its place."""

    text: str
    place: Place


@record(frozen=True, slots=True)
class Pair:
    """``P-Q``: from P to Q."""

    start: str
    end: str
    place: Place

    def __str__(self) -> str:
        return f"{self.start}-{self.end}"


@record(frozen=True, slots=True)
class Side:
    """On which side of a line something lies, as seen walking it from start to end."""

    of: Pair
    left: bool
