"""A field party: it measures a plot and writes down what it reads, with errors or without.

Everything goes from true positions to readings; nothing of pegline is used. A reading depends on
the seed and on what is read, never on the order in which things are read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import atan2, ceil, cos, degrees, dist, hypot, log10, radians, sqrt, tan
from random import Random
from typing import Final, Literal

from builders.plot import XY, Leg, Line, Plot, Row, Tape
from builders.slips import SLIPS

__all__ = ["DECIMALS", "EXACT", "REALISTIC", "ROUNDED", "UNITS", "Errors", "Party"]

FOOT: Final = Fraction(3048, 10000)  # international, 1959
US_FOOT: Final = Fraction(1200, 3937)  # Mendenhall order, 1893
INDIAN_FOOT: Final = Fraction(12_000_000, 39_370_142)  # EPSG 9080: 0.30479951024814694

#: metres in each unit of the format, worked out here from its foot
UNITS: Final[Mapping[str, float]] = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": float(FOOT),
    "ft-us": float(US_FOOT),
    "ft-indian": float(INDIAN_FOOT),
    "in": float(FOOT / 12),
    "yd": float(FOOT * 3),
    "lk": float(FOOT * 66 / 100),
    "ch": float(FOOT * 66),
    "lk-us": float(US_FOOT * 66 / 100),
    "ch-us": float(US_FOOT * 66),
    "lk-eng": float(FOOT),
    "ch-eng": float(FOOT * 100),
    "lk-20cm": 0.2,
    "ch-20m": 20.0,
    "ch-30m": 30.0,
}

#: decimals that a party books in each unit
DECIMALS: Final[Mapping[str, int]] = {
    "m": 2, "cm": 0, "mm": 0, "ft": 2, "ft-us": 2, "ft-indian": 2, "in": 1, "yd": 2, "lk": 1, "ch": 3,
    "lk-us": 1, "ch-us": 3, "lk-eng": 2, "ch-eng": 4, "lk-20cm": 1, "ch-20m": 3, "ch-30m": 3,
}  # fmt: skip

#: standard deviation of a right angle, radians (common practice)
RIGHT_ANGLE: Final[Mapping[str, float]] = {
    "eye": radians(2.0),
    "": radians(1.0),
    "set square": radians(0.5),
    "three-four-five": radians(0.5),
    "optical square": radians(0.2),
}
SEEN_WHEN_SWINGING: Final = 0.005  #: smallest change of reading that can be seen, metres
GRAVITY: Final = 9.80665


@dataclass(frozen=True, slots=True)
class Errors:
    """What goes wrong by chance; each number multiplies the usual standard deviation."""

    lays: float = 0.0  #: of each lay of a tape
    scale: float = 0.0  #: of each tape's scale, drawn once
    angle: float = 0.0  #: of right angles
    bearing: float = 0.0  #: of bearings and control
    rounding: Literal["none", "mm", "hand"] = "none"  #: not at all, to the millimetre or finer, as a party would


EXACT: Final = Errors()
ROUNDED: Final = Errors(rounding="mm")
REALISTIC: Final = Errors(lays=1.0, scale=1.0, angle=1.0, bearing=1.0, rounding="hand")


@dataclass(frozen=True, slots=True)
class Party:
    """The people who measure ``plot`` in ``unit``."""

    plot: Plot
    unit: str = "m"
    errors: Errors = EXACT
    seed: int = 0
    slips: Mapping[str, str] = field(default_factory=dict)  #: what is read, to the name of a slip of ``SLIPS``

    def draw(self, what: str, sd: float) -> float:
        """Return a normal error that belongs to ``what``."""
        return Random(f"{self.seed} {what}").gauss(0.0, sd) if sd else 0.0

    # -- lengths off a tape, metres -------------------------------------------------------------

    def read(self, level: float, leg: Leg, what: str, *, by_default: str) -> float:
        """Return what the tape reads over a horizontal distance under the conditions of a leg, metres."""
        name = leg.tape or by_default
        tape = self.plot.tapes[name]
        reading = exact_reading(level, leg, tape)
        scale = self.draw(f"scale of {name.split()[0]}", tape.b * self.errors.scale)
        lays = max(1, ceil(reading / tape.length))
        return reading * (1 + scale) + self.draw(what, tape.a * sqrt(lays) * self.errors.lays)

    def distance(self, start: str, end: str, what: str = "", *, tape: str = "") -> float:
        """Return a distance taped off any line, metres."""
        positions = self.plot.positions
        level = dist(positions[start], positions[end])
        return self.read(level, Leg(tape=tape), what or f"{start}-{end}", by_default=self.plot.offset_tape)

    def running_total(self, line: Line, what: str = "", *, leg: int = 0) -> float:
        """Return the running total of a line, or of one of its legs, metres."""
        chain = Chain.of(self.plot, line)
        conditions = line.legs[leg]
        return self.read(chain.length * conditions.share, conditions, what or line.name, by_default=self.plot.line_tape)

    # -- along a line --------------------------------------------------------------------------

    def chainage(self, line: Line, level: float, what: str) -> float:
        """Return the chainage booked at a horizontal distance from the start, metres of the tape."""
        booked = 0.0
        length = Chain.of(self.plot, line).length
        for number, leg in enumerate(line.legs):
            piece = length * leg.share
            last = number == len(line.legs) - 1
            inside = level if last else min(level, piece)
            name = leg.tape or self.plot.line_tape
            tape = self.plot.tapes[name]
            scale = self.draw(f"scale of {name.split()[0]}", tape.b * self.errors.scale)
            booked += exact_reading(piece, leg, tape) * (1 + scale) * inside / piece
            level -= inside
            if not level and not last:
                break
        lays = max(1, ceil(abs(booked) / tape.length))
        return booked + self.draw(what, tape.a * sqrt(lays) * self.errors.lays)

    def stand_at(self, line: Line, booked: float, what: str) -> XY:
        """Return where a man stands whose chainage reads ``booked`` (metres of the tape)."""
        chain = Chain.of(self.plot, line)
        # Readings grow with the distance all but evenly: a few rounds of the secant rule suffice.
        level = booked
        for _ in range(8):
            step = booked - self.chainage(line, level, what)
            level += step
            if abs(step) < 1e-14:
                break
        return chain.at(level)

    def perpendicular(self, row: Row, line: Line) -> tuple[float, float]:
        """Return chainage and offset (left positive), metres of the tapes, with the right angle's error."""
        level, offset = Chain.of(self.plot, line).locate(self.plot.positions[row.point])
        what = f"{row.point} on {line.name}"
        method = row.method or self.plot.method
        if method == "swing":
            level += self.draw(f"foot of {what}", sqrt(2 * abs(offset) * SEEN_WHEN_SWINGING / 3) * self.errors.angle)
            out = abs(offset)
        else:
            slant = self.draw(f"foot of {what}", RIGHT_ANGLE[method] * self.errors.angle)
            level += abs(offset) * tan(slant)
            out = abs(offset) / cos(slant)
        reading = self.read(out - row.half_width, Leg(), f"offset of {what}", by_default=self.plot.offset_tape)
        return self.chainage(line, level, f"chainage of {what}"), reading if offset >= 0 else -reading

    def oblique(self, row: Row, line: Line) -> tuple[list[str], list[float], float]:
        """Return the chainages as booked, the arms in metres, and the side (left positive)."""
        positions = self.plot.positions
        point = positions[row.point]
        _, side = Chain.of(self.plot, line).locate(point)
        booked, arms = [], []
        for arm in row.arms:
            what = f"{row.point} on {line.name} from {arm}"
            if isinstance(arm, str):
                booked.append(arm)
                foot = positions[arm]
            else:
                text = self.write_length(arm)
                booked.append(text)
                foot = self.stand_at(line, float(text) * UNITS[self.unit], f"chainage of {what}")
            out = dist(foot, point) - row.half_width
            arms.append(self.read(out, Leg(), f"offset of {what}", by_default=self.plot.offset_tape))
        return booked, arms, side

    # -- what is written -----------------------------------------------------------------------

    def write_length(self, metres: float, unit: str = "", *, what: str = "", tape: str = "", of: float = 0.0) -> str:
        """Return a length as a bare number in a unit, with the slip that is planned for ``what``."""
        unit = unit or self.unit
        factor = UNITS[unit]
        decimals = {"none": None, "mm": max(0, ceil(-log10(0.001 / factor) - 1e-9)), "hand": DECIMALS[unit]}
        text = plain(metres / factor, decimals[self.errors.rounding])
        slip = self.slips.get(what)
        if slip is None:
            return text
        lay = self.plot.tapes[tape or self.plot.line_tape].length / factor
        return SLIPS[slip](text, lay, of / factor)

    def bearing(self, start: str, end: str, *, sd: float = 0.3, turn: float = 0.0) -> float:
        """Return the bearing from the plot's +y, degrees, plus ``turn``, with an error of ``sd`` degrees."""
        (x1, y1), (x2, y2) = (self.plot.positions[name] for name in (start, end))
        true = degrees(atan2(x2 - x1, y2 - y1)) + turn
        return (true + self.draw(f"bearing {start}-{end}", sd * self.errors.bearing)) % 360


def plain(value: float, decimals: int | None) -> str:
    """Return a number without exponent: all its digits, or so many decimals.

    >>> plain(12.5, 2), plain(0.1, None)
    ('12.50', '0.1')
    """
    if decimals is not None:
        text = f"{value:.{decimals}f}"
        return text if float(text) else text.lstrip("-")
    text = repr(value)
    return text if "e" not in text else f"{value:.25f}".rstrip("0")


def exact_reading(level: float, leg: Leg, tape: Tape) -> float:
    """Return what a tape without random errors reads over a horizontal distance, metres.

    The party pulls the tape along the slope until ``along_slope`` of its reading reaches; that reading
    is found by repetition.
    """
    wanted = hypot(level, leg.rise or 0.0) if leg.slope is None else level / cos(radians(leg.slope))
    reading = wanted
    for _ in range(12):
        step = wanted - along_slope(reading, leg, tape)
        reading += step
        if abs(step) < 1e-14:
            break
    return reading


def along_slope(reading: float, leg: Leg, tape: Tape) -> float:
    """Return how far a tape really reaches that reads so much, metres.

    What it was when compared, then warmer, then pulled, then hanging: each acts on what the one before left.
    """
    length = reading
    if tape.true_length is not None:
        length *= tape.true_length / tape.length
    if leg.temperature is not None:
        length *= 1 + tape.expansion * (leg.temperature - tape.standard_temperature)
    if leg.pull is not None:
        length *= 1 + (leg.pull - tape.standard_pull) * tape.stretch
        if leg.spans is not None:
            length -= (tape.mass * GRAVITY / leg.pull) ** 2 * length**3 / (24 * leg.spans**2)
    return length


@dataclass(frozen=True, slots=True)
class Chain:
    """The path of a line over its tie stations."""

    corners: tuple[XY, ...]

    @classmethod
    def of(cls, plot: Plot, line: Line) -> Chain:
        """Return the path of a line: straight on, by the tie stations where they stand."""
        start, end = (plot.positions[name] for name in line.ends)
        ties = sorted((plot.stations[name] for name in plot.ties(line)), key=lambda at: dist(start, at))
        return cls((start, *ties, end))

    @property
    def length(self) -> float:
        """Return the length of the whole path, metres."""
        return sum(map(dist, self.corners, self.corners[1:]))

    def locate(self, at: XY) -> tuple[float, float]:
        """Return distance along the path and offset (left positive) of a point, metres."""
        done, found = 0.0, (0.0, 0.0)
        pieces = list(zip(self.corners, self.corners[1:], strict=False))
        for number, ((x1, y1), (x2, y2)) in enumerate(pieces):
            length = hypot(x2 - x1, y2 - y1)
            ux, uy = (x2 - x1) / length, (y2 - y1) / length
            along = (at[0] - x1) * ux + (at[1] - y1) * uy
            across = (at[1] - y1) * ux - (at[0] - x1) * uy
            found = done + along, across
            if along < length or number == len(pieces) - 1:
                break
            done += length
        return found

    def at(self, level: float) -> XY:
        """Return the place at a distance along the path; it may lie before or beyond it."""
        pieces = list(zip(self.corners, self.corners[1:], strict=False))
        for number, ((x1, y1), (x2, y2)) in enumerate(pieces):
            length = hypot(x2 - x1, y2 - y1)
            if level < length or number == len(pieces) - 1:
                share = level / length
                return x1 + (x2 - x1) * share, y1 + (y2 - y1) * share
            level -= length
        raise AssertionError("a path has pieces")
