"""The field book as frozen records: what was booked and nothing that can be computed."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from pegline.errors import Finding, Place
from pegline.measures.bearing import North
from pegline.measures.control import Control
from pegline.measures.distance import Arc, Dimension, Wall, Witness
from pegline.measures.offset import Method, Row
from pegline.measures.taped import Taped
from pegline.measures.values import Accuracy, Angle, Length, Pair, Side

Use = Literal["base", "side", "tie", "check", "detail"]
Material = Literal["steel", "linen", "fibreglass", "chain"]


@dataclass(frozen=True, slots=True)
class Tape:
    """A tape or chain. What is None was not booked."""

    name: str
    material: Material
    length: Length  #: nominal
    place: Place
    accuracy_class: Literal["I", "II", "III"] | None = None  #: the key ``class``
    true_length: tuple[tuple[datetime.date | None, Length], ...] = ()  #: from which date; None: always
    standard_temperature: float | None = None  #: degrees Celsius
    standard_pull: float | None = None  #: newtons
    mass: float | None = None  #: kilograms a metre
    section: float | None = None  #: square millimetres
    modulus: float | None = None  #: gigapascals
    expansion: float | None = None  #: per degree Celsius
    accuracy: Accuracy | None = None  #: a and b of the tape


@dataclass(frozen=True, slots=True)
class Station:
    """A station that has an entry of its own."""

    name: str
    place: Place
    mark: str | None = None
    note: str | None = None
    side: Side | None = None
    sketch: tuple[float, float] | None = None  #: rough position on the sketch, any unit


@dataclass(frozen=True, slots=True)
class Line:
    """A chain line, walked from start to end."""

    name: str  #: ``P-Q``
    start: str
    end: str
    use: Use
    place: Place
    taped: tuple[Taped, ...] = ()  #: whole tapings of the line
    legs: tuple[Taped, ...] = ()  #: or its pieces in order
    details: tuple[Row, ...] = ()
    tape: str | None = None
    unit: str | None = None
    date: datetime.date | None = None
    temperature: float | None = None
    pull: float | None = None
    rise: Length | None = None
    slope: float | None = None  #: radians
    rise_accuracy: Length | None = None
    slope_accuracy: Angle | None = None
    spans: int | None = None
    accuracy: Accuracy | None = None
    method: Method | None = None
    note: str | None = None
    page: str | None = None


@dataclass(frozen=True, slots=True)
class At:
    """A point feature."""

    point: str


@dataclass(frozen=True, slots=True)
class Through:
    """An open line through points."""

    points: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ring:
    """A closed area; it closes on its first point by itself."""

    points: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """A smooth curve through points."""

    points: tuple[str, ...]
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A rectangle from one edge and a depth; ``corners`` from the edge's end onward, always two."""

    edge: Pair
    left: bool
    depth: Wall
    corners: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TapedRound:
    """A right-angled outline: walls go on from the edge's end; each turns, then runs.

    ``corners`` names the far end of each wall, in order, without a last one that comes back to the start.
    """

    edge: Pair
    walls: tuple[Wall, ...]
    corners: tuple[str, ...]
    closing: bool  #: the last wall comes back to the edge's start and is a check


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle about a centre, or through three points."""

    centre: str | None
    radius: Length | None
    girth: Length | None
    through: tuple[str, ...] = ()
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Parallel:
    """An offset copy of another line feature."""

    to: str
    left: bool
    distance: Wall
    start: str | None = None  #: the key ``from``
    until: str | None = None


Geometry = At | Through | Ring | Curve | Rectangle | TapedRound | Circle | Parallel


@dataclass(frozen=True, slots=True)
class Feature:
    """Something on the ground, of a kind, with one geometry."""

    name: str
    kind: str
    geometry: Geometry
    place: Place
    thickness: Length | None = None
    face: Literal["left", "right", "middle"] | None = None
    girth: Length | None = None
    width: Length | None = None
    spread: Length | None = None
    height: Length | None = None
    label: str | None = None
    note: str | None = None
    page: str | None = None
    data: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OwnKind:
    """A kind of feature that the book adds."""

    name: str
    geometry: Literal["point", "line", "area"]
    place: Place
    layer: str | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the plan's sheet should be."""

    paper: str | None = None  #: A4 to A0
    orientation: Literal["landscape", "portrait"] | None = None
    prepared_for: str | None = None
    prepared_by: str | None = None
    number: str | None = None
    revision: str | None = None
    areas: tuple[str, ...] = ()  #: units to print areas in


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the rules of thumb. None: the default."""

    offset: Length | None = None
    oblique: Length | None = None
    angle: tuple[Angle, Angle] | None = None
    check_ratio: float | None = None  #: allowed difference of a check line over its length
    check_length: Length | None = None  #: or as a length
    significance: float = 0.001
    silence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Near:
    """A rough position, good enough for the declination."""

    latitude_deg: float
    longitude_deg: float
    place: Place


@dataclass(frozen=True, slots=True)
class Book:
    """One survey as booked."""

    file: str  #: bare name of the file
    path: str  #: the file as it was given
    sha256: str  #: of the file's bytes
    unit: str
    title: str | None = None
    place: str | None = None
    date: datetime.date | None = None
    scale: int | None = None
    tapes: Mapping[str, Tape] = field(default_factory=dict)
    line_tape: str | None = None  #: ``default_tape: {lines: …}``
    offset_tape: str | None = None
    default_method: Method | None = None
    surveyor: str | None = None
    party: tuple[str, ...] = ()
    weather: str | None = None
    instruments: Mapping[str, str] = field(default_factory=dict)
    purpose: str | None = None
    licence: str | None = None
    note: str | None = None
    near: Near | None = None
    pages: Mapping[str, str] = field(default_factory=dict)
    stations: Mapping[str, Station] = field(default_factory=dict)  #: those with an entry
    lines: Mapping[str, Line] = field(default_factory=dict)
    dimensions: tuple[Dimension, ...] = ()
    arcs: tuple[Arc, ...] = ()
    kinds: Mapping[str, OwnKind] = field(default_factory=dict)
    features: Mapping[str, Feature] = field(default_factory=dict)  #: rows with a ``kind`` of their own too
    witnesses: Mapping[str, tuple[Witness, ...]] = field(default_factory=dict)
    north: North | None = None
    control: Control | None = None
    sheet: Sheet = field(default_factory=Sheet)
    limits: Limits = field(default_factory=Limits)
    warnings: tuple[Finding, ...] = ()  #: what is odd in the book but not wrong
    missing: tuple[Finding, ...] = ()  #: what a half-finished book still lacks

    def unit_of(self, line: str) -> str:
        """Return the unit of bare lengths on a line."""
        return self.lines[line].unit or self.unit

    @property
    def station_names(self) -> tuple[str, ...]:
        """Return every station: ends of lines (but for detail lines between points) and tie stations, as they appear."""
        names: dict[str, None] = {}
        for line in self.lines.values():
            if line.use != "detail":
                names.update({line.start: None, line.end: None})
            names.update({row.name: None for row in line.details if row.form == "station"})
        return tuple(names)

    @property
    def tie_stations(self) -> Mapping[str, str]:
        """Return each tie station with the line it stands on."""
        return {row.name: line.name for line in self.lines.values() for row in line.details if row.form == "station"}
