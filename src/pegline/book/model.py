"""The field book as frozen records: what was booked and nothing that can be computed.

Each field that a key of the book fills says so; the reader and the JSON Schema come from that.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Mapping
from dataclasses import field
from functools import cached_property
from typing import Annotated, Any, Final, Literal

from pegline.book.feature import FEATURES, OWN_KINDS, Feature, OwnKind
from pegline.book.geometry import At, Circle, Curve, Geometry, Parallel, Rectangle, Ring, TapedRound, Through
from pegline.book.settings import (
    DEFAULT_TAPE,
    FORMAT,
    LIMITS,
    NEAR,
    SCALE,
    SHEET,
    SKETCH_PAGE,
    TAPES,
    BookedSheet,
    DefaultTape,
    Limits,
    Material,
    Near,
    SketchPage,
    Tape,
    TrueLength,
)
from pegline.errors import Finding, Place
from pegline.measures.angles import ANGLE, SLOPE
from pegline.measures.bearing import NORTH, North
from pegline.measures.control import CONTROL, Control
from pegline.measures.distance import ARC, DIMENSIONS, LEG, STEPPED, TAPED, WITNESSES, Arc, Dimension, Taped, Witness
from pegline.measures.grammar import items, one_or_more
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.lengths import ACCURACY, ANY_LENGTH, LENGTH, UNIT, check_spread
from pegline.measures.offset import METHOD, ROW, Method, Row
from pegline.measures.reading_log import NameUse, ReadingLog, Wrong
from pegline.measures.scalars import (
    DATE,
    INTEGER,
    NAME,
    NOTE,
    NUMBER,
    PAGE,
    PAIR,
    PULL,
    TEMPERATURE,
    TEXT,
    one_of,
    pair_of,
    sides,
    to,
)
from pegline.measures.source_tree import Table
from pegline.measures.station_angle import ANGLES, StationAngle
from pegline.measures.values import Accuracy, Angle, Length, Pair, Side
from pegline.records import record

__all__ = [
    "BOOK",
    "At",
    "Book",
    "BookedSheet",
    "Circle",
    "Curve",
    "Feature",
    "Geometry",
    "Limits",
    "Line",
    "Material",
    "NamedPoint",
    "Near",
    "OwnKind",
    "Parallel",
    "Rectangle",
    "Ring",
    "SketchPage",
    "Station",
    "Tape",
    "TapedRound",
    "Through",
    "TrueLength",
    "Use",
]

Use = Literal["base", "side", "tie", "check", "detail"]


def _name_it(name: str) -> dict[str, Any]:
    return {"name": name}


# -- stations and lines -----------------------------------------------------------------------------


_SKETCH: Final = Key(
    items(NUMBER, "a place on the sketch", least=2, most=2),
    "Rough place on the sketch, [x, y], x to the right and y up the page, in units of the sketch.",
)


@record(frozen=True, slots=True)
class Station:
    """A station that has an entry of its own."""

    name: str
    place: Place
    mark: Annotated[str | None, Key(TEXT, "What marks it on the ground: wooden peg, nail in kerb.")] = None
    note: Annotated[str | None, NOTE] = None
    side: Annotated[Side | None, sides("station")] = None
    sketch: Annotated[tuple[float, float] | None, _SKETCH] = None


@record(frozen=True, slots=True)
class NamedPoint:
    """A point that has an entry of its own: where lines meet, or only sketched so far."""

    name: str
    place: Place
    meet: Annotated[
        tuple[Pair, ...],
        Key(
            items(pair_of("point"), "the two lines", least=2, most=2),
            "It lies where two lines or walls, produced, meet: [P-Q, R-S].",
        ),
    ] = ()
    sketch: Annotated[tuple[float, float] | None, _SKETCH] = None
    note: Annotated[str | None, NOTE] = None


def _named_point(values: dict[str, Any], table: Table, log: ReadingLog) -> NamedPoint:
    point = NamedPoint(**values)
    if len(point.meet) == 2 and {point.meet[0].start, point.meet[0].end} & {point.meet[1].start, point.meet[1].end}:
        text = "meet: both lines go through one point already; name two lines that have no end in common"
        raise Wrong(text, table.entries["meet"][1].place, "meet")
    if point.meet:
        log.defined.append(NameUse("point", point.name, table.place))
    return point


@record(frozen=True, slots=True)
class Line:
    """A chain line, walked from start to end."""

    name: str  #: ``P-Q``
    start: str
    end: str
    use: Annotated[
        Use,
        Key(
            one_of(Use),
            "What the line is for: base (exactly one) and side make the framework; tie, check, detail.",
        ),
    ]
    place: Place
    taped: Annotated[
        tuple[Taped, ...],
        Key(one_or_more(TAPED.grammar, "a reading"), "The whole line as taped: one reading, or a list.", later=True),
    ] = ()  #: whole tapings of the line
    legs: Annotated[
        tuple[Taped, ...],
        Key(
            items(LEG, "the legs"),
            "The line in pieces, where slope, pull or tape differ or something is in the way.",
        ),
    ] = ()  #: or its pieces in order
    details: Annotated[tuple[Row, ...], Key(items(ROW, "the rows", least=0), "What was booked along the line.")] = ()
    tape: Annotated[str | None, Key(to("tape"), "The tape used, one of tapes.")] = None
    unit: Annotated[str | None, Key(UNIT, "Unit of the bare lengths of this line.")] = None
    date: Annotated[datetime.date | None, Key(DATE, "Day it was taped.")] = None
    temperature: Annotated[float | None, Key(TEMPERATURE, "Temperature of the tape, degrees Celsius.")] = None
    pull: Annotated[float | None, Key(PULL, "Pull on the tape, newtons.")] = None
    rise: Annotated[Length | None, Key(ANY_LENGTH, "Height difference of the ends.")] = None
    slope: Annotated[float | None, Key(SLOPE, "Slope of the line: 3°, 1 in 12, or 4.4 %.")] = None  #: radians
    rise_accuracy: Annotated[Length | None, Key(LENGTH, "Standard deviation of rise.")] = None
    slope_accuracy: Annotated[Angle | None, Key(ANGLE, "Standard deviation of slope.")] = None
    spans: Annotated[int | None, Key(INTEGER, "Equal unsupported spans; left out, the tape lay on the ground.")] = None
    stepped: Annotated[int | None, STEPPED] = None
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "Standard deviation of the reading as a whole.")] = None
    method: Annotated[Method | None, Key(METHOD, "How right angles were set out on this line.")] = None
    note: Annotated[str | None, NOTE] = None
    page: Annotated[str | None, PAGE] = None


def _line(values: dict[str, Any], table: Table, log: ReadingLog) -> Line:
    if "details_back" in values:
        back = (dataclasses.replace(row, back=True) for row in values.pop("details_back"))
        values["details"] = (*values.get("details", ()), *back)
    line = Line(**values)
    if line.taped and line.legs:
        raise Wrong("both taped and legs are given; keep the whole line or its pieces", table.entries["legs"][0].place)
    check_spread([taping.reading for taping in line.taped], log)
    realm = "point" if line.use == "detail" else "station"
    noted = log.used if realm == "point" else log.defined
    noted.extend(NameUse(realm, end, table.place) for end in (line.start, line.end))
    return line


LINES: Final = mapping(
    PAIR,
    Record(
        Line,
        "a line",
        _line,
        {
            "details_back": Key(
                items(ROW, "the rows", least=0),
                "What was booked walking the line back from its end: chainages count from there, left and right are as"
                " seen then.",
                after="details",
            )
        },
        name="line",
        has_unit=True,
    ),
    "lines",
    name=lambda pair: {"name": str(pair), "start": pair.start, "end": pair.end},
)


# -- the whole ---------------------------------------------------------------------------------------


@record(frozen=True, slots=False)
class Book:
    """One survey as booked."""

    file: str  #: bare name of the file
    path: str  #: the file as it was given
    sha256: str  #: of the file's bytes
    unit: Annotated[str, Key(UNIT, "Unit of every bare length in this book.", after="date")]
    title: Annotated[str | None, Key(TEXT, "What the survey is of.")] = None
    place: Annotated[str | None, Key(TEXT, "Where it is, in words.")] = None
    date: Annotated[datetime.date | None, Key(DATE, "The day measured.")] = None
    scale: Annotated[int | None, Key(SCALE, "100: the plan is wanted at 1:100.")] = None
    tapes: Annotated[
        Mapping[str, Tape],
        Key(TAPES, "The tapes and chains used."),
    ] = field(default_factory=dict)
    line_tape: str | None = None  #: ``default_tape: {lines: …}``
    offset_tape: str | None = None
    default_method: Annotated[
        Method | None, Key(METHOD, "How right angles were set out, where a line or a row names no other way.")
    ] = None
    surveyor: Annotated[str | None, Key(TEXT, "Who was in charge.")] = None
    party: Annotated[tuple[str, ...], Key(one_or_more(TEXT, "a name"), "Who was there.")] = ()
    weather: Annotated[str | None, Key(TEXT, "In words.")] = None
    instruments: Annotated[
        Mapping[str, str], Key(mapping(TEXT, TEXT, "instruments"), "Instruments used, each with a note.")
    ] = field(default_factory=dict)
    purpose: Annotated[str | None, Key(TEXT, "What the survey is for.")] = None
    licence: Annotated[str | None, Key(TEXT, "On what terms it may be used.")] = None
    note: Annotated[str | None, NOTE] = None
    near: Annotated[Near | None, Key(NEAR.grammar, "A rough position, for the declination.")] = None
    pages: Annotated[
        Mapping[str, str], Key(mapping(TEXT, TEXT, "pages"), "Images of the paper book's pages: 12: scans/p12.jpg.")
    ] = field(default_factory=dict)
    sketch: Annotated[SketchPage, Key(SKETCH_PAGE.grammar, "How the sketch lies on the ground.")] = field(
        default_factory=SketchPage
    )
    obstacles: Annotated[
        tuple[str, ...],
        Key(
            one_or_more(TEXT, "a kind or a feature"),
            "Kinds or features that no line can cross; default: building, outbuilding, porch, pond.",
        ),
    ] = ()
    stations: Annotated[
        Mapping[str, Station],
        Key(
            mapping(NAME, Record(Station, "a station", name="station"), "stations", name=_name_it), "Stations, by name."
        ),
    ] = field(default_factory=dict)  #: those with an entry
    lines: Annotated[Mapping[str, Line], Key(LINES, "Chain lines, P-Q: walked from P to Q.")] = field(
        default_factory=dict
    )
    dimensions: Annotated[
        tuple[Dimension, ...], Key(DIMENSIONS, "Taped between two named points, off any line, P-Q: length.")
    ] = ()
    arcs: Annotated[
        tuple[Arc, ...], Key(items(ARC.grammar, "the arcs", least=0), "Points fixed by distances from others.")
    ] = ()
    angles: Annotated[
        tuple[StationAngle, ...],
        Key(ANGLES, "Angles between lines at a station, A-B-C: at B, from A clockwise to C."),
    ] = ()
    points: Annotated[
        Mapping[str, NamedPoint],
        Key(
            mapping(NAME, Record(NamedPoint, "a point", _named_point, name="named_point"), "points", name=_name_it),
            "Points by name: where two lines or walls, produced, meet; or where the sketch has what is to be measured.",
        ),
    ] = field(default_factory=dict)
    kinds: Annotated[
        Mapping[str, OwnKind],
        Key(OWN_KINDS, "Kinds of feature of the book's own."),
    ] = field(default_factory=dict)
    features: Annotated[Mapping[str, Feature], Key(FEATURES, "What is on the ground, by name.")] = field(
        default_factory=dict
    )  #: rows with a ``kind`` of their own too
    witnesses: Annotated[
        Mapping[str, tuple[Witness, ...]],
        Key(WITNESSES, "Distances from lasting objects to each peg, PEG: {object: distance}."),
    ] = field(default_factory=dict)
    north: Annotated[North | None, Key(NORTH.grammar, "Bearings, and the north they are from.")] = None
    control: Annotated[Control | None, Key(CONTROL.grammar, "Stations known on a grid.")] = None
    sheet: Annotated[BookedSheet, Key(SHEET.grammar, "How the plan's sheet should be.")] = field(
        default_factory=BookedSheet
    )
    limits: Annotated[
        Limits,
        Key(LIMITS.grammar, "Limits of the rules of thumb."),
    ] = field(default_factory=Limits)
    warnings: tuple[Finding, ...] = ()  #: what is odd in the book but not wrong
    missing: tuple[Finding, ...] = ()  #: what a half-finished book still lacks

    def unit_of(self, line: str) -> str:
        """Return the unit of bare lengths on a line."""
        return self.lines[line].unit or self.unit

    @property
    def heading(self) -> str:
        """Return its title; without one the name of its file, less the ending."""
        return self.title or self.file.rsplit(".", 1)[0]

    @cached_property
    def station_names(self) -> tuple[str, ...]:
        """Return every station, as they appear: tie stations, and ends of lines but for detail lines."""
        names: dict[str, None] = {}
        for line in self.lines.values():
            if line.use != "detail":
                names[line.start] = names[line.end] = None
            for row in line.details:
                if row.is_tie_station:
                    names[row.name] = None
        return tuple(names)

    @property
    def meeting_points(self) -> frozenset[str]:
        """Return the points known only from where lines or walls meet, produced: nobody may be able to stand there."""
        return frozenset(name for name, point in self.points.items() if point.meet)

    @property
    def tie_stations(self) -> Mapping[str, str]:
        """Return each tie station with the line it stands on."""
        return {row.name: line.name for line in self.lines.values() for row in line.details if row.is_tie_station}


def _book(values: dict[str, Any], table: Table, log: ReadingLog) -> Book:
    del values["book"]
    tapes = values.pop("default_tape", DefaultTape())
    values["dimensions"] = tuple(values.get("dimensions", {}).values())
    values["angles"] = tuple(values.get("angles", {}).values())
    values["witnesses"] = {peg: tuple(witnesses.values()) for peg, witnesses in values.get("witnesses", {}).items()}
    return Book(**values, file="", path="", sha256="", line_tape=tapes.lines, offset_tape=tapes.offsets)


BOOK: Final = Record(
    Book,
    "a book",
    _book,
    {
        "book": Key(FORMAT, "Number of the format: 1.", after="first"),
        "default_tape": Key(
            DEFAULT_TAPE.grammar,
            "The tapes used where nothing else is said.",
            after="tapes",
        ),
    },
    name="book",
    must=("book",),
    parts=True,
    has_unit=True,
)
