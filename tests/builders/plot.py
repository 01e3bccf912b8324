"""The truth of an invented plot, and what the party decides to measure of it. No number here is a reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import cos, hypot, sin
from typing import Final, Literal

__all__ = ["TAPES", "XY", "Arc", "Leg", "Line", "Plot", "Row", "Tape"]

XY = tuple[float, float]
Use = Literal["base", "side", "tie", "check", "detail"]
Form = Literal["perpendicular", "oblique", "on line", "station"]


@dataclass(frozen=True, slots=True)
class Tape:
    """A tape as it is. The defaults of the errors are common practice, from the table of ``TAPES``."""

    material: str
    length: float  #: nominal, metres
    a: float  #: standard deviation of one lay, metres
    b: float  #: standard deviation of its scale, metres a metre
    true_length: float | None = None  #: what its nominal length is at 20 degrees and the standard pull, metres
    expansion: float = 0.0  #: per degree Celsius
    standard_temperature: float = 20.0  #: degrees Celsius
    standard_pull: float = 0.0  #: newtons
    stretch: float = 0.0  #: metres a metre for each newton: 1 / (section x modulus)
    mass: float = 0.0  #: kilograms a metre


TAPES: Final[Mapping[str, Tape]] = {
    "steel": Tape("steel", 50.0, 0.005, 1 / 5000),
    "fibreglass": Tape("fibreglass", 30.0, 0.010, 1 / 2000),
    "linen": Tape("linen", 20.0, 0.015, 1 / 1000),
    "chain": Tape("chain", 20.1168, 0.020, 1 / 1000),
}


@dataclass(frozen=True, slots=True)
class Row:
    """How one point is booked from a line."""

    point: str
    form: Form = "perpendicular"
    arms: tuple[float | str, ...] = ()  #: chainages (metres) or tie stations that an oblique is taped from
    method: str = ""  #: how the right angle is set out; empty: as the book's default
    half_width: float = 0.0  #: taped to the near face of something round: half its width, metres
    extra: str = ""  #: further keys, as written in the row


@dataclass(frozen=True, slots=True)
class Leg:
    """How a line, or one piece of it, was taped."""

    share: float = 1.0  #: part of the line's horizontal length
    tape: str = ""  #: empty: the default for lines
    temperature: float | None = None  #: degrees Celsius
    pull: float | None = None  #: newtons
    spans: int | None = None  #: equal unsupported spans
    rise: float | None = None  #: metres
    slope: float | None = None  #: degrees


@dataclass(frozen=True, slots=True)
class Line:
    """A chain line of the plan of work."""

    name: str  #: ``P-Q``
    use: Use = "side"
    rows: tuple[Row, ...] = ()
    legs: tuple[Leg, ...] = (Leg(),)  #: one: a whole taping under these conditions
    readings: int = 1  #: how often it is taped

    @property
    def ends(self) -> tuple[str, str]:
        """Return the two stations."""
        start, end = self.name.split("-")
        return start, end


@dataclass(frozen=True, slots=True)
class Arc:
    """A point fixed by distances from others."""

    point: str
    start: tuple[str, ...]  #: what it is taped from


@dataclass(frozen=True)
class Plot:
    """True positions, and the plan of work.

    Tie stations are those named by a row of form ``station``. They may stand a little off their line
    (see ``networks.ranged``): the chain then follows the pieces between them.
    """

    stations: Mapping[str, XY]  #: horizontal positions on the ground, metres; tie stations too
    lines: tuple[Line, ...]
    points: Mapping[str, XY] = field(default_factory=dict)
    dimensions: tuple[str, ...] = ()  #: ``P-Q``
    arcs: tuple[Arc, ...] = ()
    features: Mapping[str, str] = field(default_factory=dict)  #: as booked, with ``<P-Q>`` for a taped length
    tapes: Mapping[str, Tape] = field(default_factory=lambda: TAPES)  #: ``chain later`` is the tape ``chain``, later
    line_tape: str = "steel"
    offset_tape: str = "fibreglass"
    method: str = "optical square"  #: the book's default for right angles
    sides: Literal["sketch", "named"] = "sketch"  #: how the book tells on which side stations lie

    @cached_property
    def positions(self) -> dict[str, XY]:
        """Return stations and points."""
        return {**self.stations, **self.points}

    @property
    def base(self) -> Line:
        """Return the base line."""
        return next(line for line in self.lines if line.use == "base")

    @cached_property
    def either_way(self) -> dict[str, Line]:
        """Return the lines by name, and by name walked back."""
        back = {"-".join(reversed(line.ends)): line for line in self.lines}
        return {**back, **{line.name: line for line in self.lines}}

    def line(self, name: str) -> Line | None:
        """Return the line of that name, walked either way."""
        return self.either_way.get(name)

    def ties(self, line: Line) -> list[str]:
        """Return the tie stations on a line."""
        return [row.point for row in line.rows if row.form == "station"]

    def move(self, *, turn: float = 0.0, east: float = 0.0, north: float = 0.0, mirror: bool = False) -> Plot:
        """Return the plot mirrored in the x axis, then turned anticlockwise by ``turn`` radians, then shifted."""

        def move(at: XY) -> XY:
            x, y = at[0], -at[1] if mirror else at[1]
            return x * cos(turn) - y * sin(turn) + east, x * sin(turn) + y * cos(turn) + north

        return replace(
            self,
            stations={name: move(at) for name, at in self.stations.items()},
            points={name: move(at) for name, at in self.points.items()},
        )

    def local(self) -> dict[str, XY]:
        """Return all positions with the base line along +x from its first station at 0, 0."""
        start, end = (self.stations[name] for name in self.base.ends)
        length = hypot(end[0] - start[0], end[1] - start[1])
        ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
        return {
            name: ((x - start[0]) * ux + (y - start[1]) * uy, (y - start[1]) * ux - (x - start[0]) * uy)
            for name, (x, y) in self.positions.items()
        }
