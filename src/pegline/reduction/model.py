"""What a book becomes once each reading is a horizontal ground length."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cached_property

from pegline.book.model import Line, Use
from pegline.errors import Finding, Place
from pegline.measures.distance import Witness
from pegline.measures.offset import Form, Row
from pegline.measures.values import Side
from pegline.records import record

__all__ = [
    "Ground",
    "ReducedArc",
    "ReducedDistance",
    "ReducedLine",
    "ReducedRow",
    "ReducedWitness",
    "Reduction",
    "TapeConstants",
]


@record(frozen=True, slots=True)
class TapeConstants:
    """A tape with every constant filled in, from the book or the table of materials."""

    name: str
    material: str
    nominal: float  #: metres
    lay_sd: float  #: a: standard deviation of one lay of the tape, metres
    scale_sd: float  #: b: standard deviation of its scale, metres a metre
    standard_temperature: float  #: degrees Celsius
    standard_pull: float | None  #: newtons
    mass: float | None  #: kilograms a metre
    section: float | None  #: square metres
    modulus: float | None  #: pascals
    expansion: float | None  #: per degree Celsius
    from_table: tuple[str, ...] = ()  #: the constants that the book does not give


@record(frozen=True, slots=True)
class Ground:
    """A reading, or the mean of several, as a horizontal length on the ground."""

    reading: float  #: mean reading off the tape, metres
    length: float  #: horizontal ground length, metres
    sd: float  #: its own standard deviation, metres, without the tape's scale
    tape: str  #: the tape whose scale it shares
    place: Place
    corrections: Mapping[str, float] = field(default_factory=dict)  #: what was added, by name, metres
    count: int = 1  #: readings taken
    either: tuple[float, ...] = ()  #: ground lengths it may be, when the book leaves it open
    doubtful: bool = False


@record(frozen=True, slots=True)
class ReducedLine:
    """A chain line on the ground."""

    name: str
    start: str
    end: str
    use: Use
    ground: Ground
    booked: Line
    pieces: tuple[tuple[float, float], ...]  #: (reading, ground) at the end of each leg, metres; one entry without legs

    def along(self, reading: float) -> float:
        """Return the ground chainage of a chainage read off the tape, metres; in proportion, leg by leg."""
        before_reading = before_ground = 0.0
        for reading_end, ground_end in self.pieces[:-1]:
            if reading <= reading_end:
                break
            before_reading, before_ground = reading_end, ground_end
        else:
            reading_end, ground_end = self.pieces[-1]
        share = (ground_end - before_ground) / (reading_end - before_reading)
        return before_ground + (reading - before_reading) * share


@record(frozen=True, slots=True)
class ReducedRow:
    """A row of details on the ground."""

    line: str
    booked: Row
    form: Form
    chainages: tuple[float, ...]  #: on the ground from the line's start, metres; one, or one for each oblique arm
    chainage_sd: float  #: of one chainage, metres
    at_stations: tuple[str | None, ...]  #: for each chainage, the station on the line that stands for it
    offsets: tuple[Ground, ...]  #: one (perpendicular), one for each arm (oblique), or none; never negative
    side: int  #: +1 left, -1 right, 0 on the line
    foot_sd: float  #: along the line, from setting out the right angle, metres
    walked: str  #: the line as it was walked when the row was booked: ``Q-P`` for a row booked on the way back

    @property
    def name(self) -> str:
        """Return the name of the point or tie station."""
        return self.booked.name

    @property
    def is_tie_station(self) -> bool:
        """Return whether the row books a station that stands on the line."""
        return self.form == "station"


@record(frozen=True, slots=True)
class ReducedDistance:
    """A dimension on the ground; a detail line is among the lines."""

    start: str
    end: str
    ground: Ground


@record(frozen=True, slots=True)
class ReducedArc:
    """A point fixed by arcs, on the ground."""

    point: str
    starts: tuple[str, ...]
    arms: tuple[Ground, ...]
    side: Side | None
    place: Place


@record(frozen=True, slots=True)
class ReducedWitness:
    """A witness distance on the ground."""

    booked: Witness
    ground: Ground


@record(frozen=True, slots=False)
class Reduction:
    """Every reading of a book on the ground, with the ledger of what was done to it."""

    tapes: Mapping[str, TapeConstants]  #: those used, under the name used
    lines: Mapping[str, ReducedLine]  #: chain lines, detail lines too, in the book's order
    rows: tuple[ReducedRow, ...]  #: in the book's order
    dimensions: tuple[ReducedDistance, ...]
    arcs: tuple[ReducedArc, ...]
    walls: Mapping[
        str, tuple[Ground, ...]
    ]  #: by feature: depth of a rectangle, walls of a round, distance of a parallel
    witnesses: Mapping[str, tuple[ReducedWitness, ...]]  #: by peg, in the book's order; those that were taped
    warnings: tuple[Finding, ...] = ()  #: corrections that could not be made, tapes taken for granted, spreads too wide

    @cached_property
    def tie_rows(self) -> Mapping[int, ReducedRow]:
        """Return the rows that book a station which stands on the line, by number: few of the many."""
        return {number: row for number, row in enumerate(self.rows) if row.is_tie_station}
