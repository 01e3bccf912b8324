"""The field book as frozen records: what was booked and nothing that can be computed.

Each field that a key of the book fills says so; the reader and the JSON Schema come from that.
"""

from __future__ import annotations

import dataclasses
import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal

from pegline.book.geometry import (
    GEOMETRY,
    LEAST_POINTS,
    At,
    Booked,
    Circle,
    Curve,
    Geometry,
    Parallel,
    Rectangle,
    Ring,
    TapedRound,
    Through,
)
from pegline.errors import Finding, Place
from pegline.measures.angles import ANGLE, SLOPE
from pegline.measures.bearing import NORTH, North
from pegline.measures.control import CONTROL, Control
from pegline.measures.distance import ARC, DIMENSIONS, WITNESSES, Arc, Dimension, Witness
from pegline.measures.grammar import (
    Grammar,
    Key,
    Misread,
    Named,
    Record,
    Slate,
    Wrong,
    items,
    mapping,
    one_or_more,
    scalar,
)
from pegline.measures.lengths import ACCURACY, ANY_LENGTH, LENGTH, SIZE, UNIT, check_spread
from pegline.measures.offset import METHOD, ROW, Method, Row
from pegline.measures.scalars import (
    DATE,
    FLAG,
    INTEGER,
    LATITUDE,
    LONGITUDE,
    NAME,
    NUMBER,
    PAIR,
    PROPORTION,
    PULL,
    TEMPERATURE,
    TEXT,
    bounded,
    integer,
    shown,
    sides,
    to,
    word,
)
from pegline.measures.taped import TAPED, Taped
from pegline.measures.values import Accuracy, Angle, Length, Side
from pegline.measures.written import Table, Text, Written

__all__ = [
    "At",
    "Book",
    "Circle",
    "Curve",
    "Feature",
    "Geometry",
    "Limits",
    "Line",
    "Material",
    "Near",
    "OwnKind",
    "Parallel",
    "Rectangle",
    "Ring",
    "Sheet",
    "Station",
    "Tape",
    "TapedRound",
    "Through",
    "Use",
]

Use = Literal["base", "side", "tie", "check", "detail"]
Material = Literal["steel", "linen", "fibreglass", "chain"]


def _name_it(name: str) -> dict[str, Any]:
    return {"name": name}


_NOTE: Final = Key(TEXT, "Anything worth keeping.")
_PAGE: Final = Key(to("page", TEXT), "Page of the paper book.")


# -- tapes ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Found:
    value: Annotated[Length, Key(LENGTH, "The true length found.", measured=True)]
    date: Annotated[datetime.date | None, Key(DATE, "From which day it holds.", name="from")] = None


_FOUND: Final = Record(_Found, "a true length", short="value", name="true_length")


def _read_found(written: Written, slate: Slate) -> tuple[tuple[datetime.date | None, Length], ...]:
    found = one_or_more(_FOUND.grammar, "a true length").read(written, slate)
    dates = [entry.date for entry in found]
    if len(found) > 1 and (None in dates or len(set(dates)) < len(dates)):
        raise Wrong("each of several true lengths holds from a day of its own; write from in each", written.place)
    return tuple(
        (entry.date, entry.value) for entry in sorted(found, key=lambda entry: entry.date or datetime.date.min)
    )


_TRUE_LENGTH: Final = Grammar(_read_found, lambda: one_or_more(_FOUND.grammar, "").schema())


@dataclass(frozen=True, slots=True)
class Tape:
    """A tape or chain. What is None was not booked."""

    name: str
    material: Annotated[Material, Key(word("steel", "linen", "fibreglass", "chain"), "What it is made of.")]
    length: Annotated[Length, Key(LENGTH, "Nominal length of the whole tape.")]
    place: Place
    accuracy_class: Annotated[
        Literal["I", "II", "III"] | None, Key(word("I", "II", "III"), "Class by OIML R 35.", name="class")
    ] = None
    true_length: Annotated[
        tuple[tuple[datetime.date | None, Length], ...],
        Key(_TRUE_LENGTH, "Length found against a standard; one value, or a list of {from: DATE, value: …}."),
    ] = ()  #: from which date; None: always
    standard_temperature: Annotated[
        float | None, Key(TEMPERATURE, "Temperature at which it is right, degrees Celsius; 20 unless told.")
    ] = None
    standard_pull: Annotated[float | None, Key(PULL, "Pull at which it is right, newtons.")] = None
    mass: Annotated[float | None, Key(bounded("a mass", above=0), "Kilograms a metre.")] = None
    section: Annotated[float | None, Key(bounded("a section", above=0), "Square millimetres.")] = None
    modulus: Annotated[float | None, Key(bounded("a modulus", above=0), "Modulus of elasticity, gigapascals.")] = None
    expansion: Annotated[float | None, Key(NUMBER, "Thermal expansion per degree Celsius: 11.5e-6.")] = None
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "fixed: of one lay of the tape; per_length: of its scale.")] = (
        None
    )


# -- stations and lines -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Station:
    """A station that has an entry of its own."""

    name: str
    place: Place
    mark: Annotated[str | None, Key(TEXT, "What marks it on the ground: wooden peg, nail in kerb.")] = None
    note: Annotated[str | None, _NOTE] = None
    side: Annotated[Side | None, sides("station")] = None
    sketch: Annotated[
        tuple[float, float] | None,
        Key(items(NUMBER, "a place on the sketch", least=2, most=2), "Rough place on the sketch, [x, y], any unit."),
    ] = None


@dataclass(frozen=True, slots=True)
class Line:
    """A chain line, walked from start to end."""

    name: str  #: ``P-Q``
    start: str
    end: str
    use: Annotated[
        Use,
        Key(
            word("base", "side", "tie", "check", "detail"),
            "What the line is for: base (exactly one) and side make the figure; tie, check, detail.",
        ),
    ]
    place: Place
    taped: Annotated[
        tuple[Taped, ...],
        Key(one_or_more(TAPED.grammar, "a reading"), "The whole line as taped: one reading, or a list."),
    ] = ()  #: whole tapings of the line
    legs: Annotated[
        tuple[Taped, ...],
        Key(items(TAPED.grammar, "the legs"), "The line in pieces, in order, where slope, pull or tape differ."),
    ] = ()  #: or its pieces in order
    details: Annotated[
        tuple[Row, ...], Key(items(ROW.grammar, "the rows", least=0), "What was booked along the line.")
    ] = ()
    tape: Annotated[str | None, Key(to("tape"), "The tape used, one of tapes.")] = None
    unit: Annotated[str | None, Key(UNIT, "Unit of the bare lengths of this line.")] = None
    date: Annotated[datetime.date | None, Key(DATE, "Day it was taped.")] = None
    temperature: Annotated[float | None, Key(TEMPERATURE, "Temperature of the tape, degrees Celsius.")] = None
    pull: Annotated[float | None, Key(PULL, "Pull on the tape, newtons.")] = None
    rise: Annotated[Length | None, Key(ANY_LENGTH, "Height difference of the ends.")] = None
    slope: Annotated[float | None, Key(SLOPE, "Slope of the line: an angle, or 1 in 12.")] = None  #: radians
    rise_accuracy: Annotated[Length | None, Key(LENGTH, "Standard deviation of rise.")] = None
    slope_accuracy: Annotated[Angle | None, Key(ANGLE, "Standard deviation of slope.")] = None
    spans: Annotated[int | None, Key(INTEGER, "Equal unsupported spans; left out, the tape lay on the ground.")] = None
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "Standard deviation of the reading as a whole.")] = None
    method: Annotated[Method | None, Key(METHOD, "How right angles were set out on this line.")] = None
    note: Annotated[str | None, _NOTE] = None
    page: Annotated[str | None, _PAGE] = None


def _line(values: dict[str, Any], table: Table, slate: Slate) -> Line:
    found = Line(**values)
    if found.taped and found.legs:
        raise Wrong("taped and legs stand together; keep the whole line or its pieces", table.entries["legs"][0].place)
    check_spread([taping.reading for taping in found.taped], slate)
    realm = "point" if found.use == "detail" else "station"
    noted = slate.used if realm == "point" else slate.defined
    noted.extend(Named(realm, end, table.place) for end in (found.start, found.end))
    return found


LINES: Final = mapping(
    PAIR,
    Record(Line, "a line", _line, name="line", has_unit=True),
    "lines",
    name=lambda pair: {"name": str(pair), "start": pair.start, "end": pair.end},
)


# -- features ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Feature:
    """Something on the ground, of a kind, with one geometry."""

    name: str
    kind: Annotated[str, Key(to("kind", TEXT), "What it is: building, fence, tree … or one of the book's own kinds.")]
    geometry: Annotated[Geometry, GEOMETRY]
    place: Place
    thickness: Annotated[Length | None, Key(SIZE, "How thick a wall or hedge is.")] = None
    face: Annotated[
        Literal["left", "right", "middle"] | None,
        Key(
            word("left", "right", "middle"), "Which face of a wall or hedge its points are on, as seen going along it."
        ),
    ] = None
    girth: Annotated[Length | None, Key(SIZE, "Length of the tape once round it.")] = None
    width: Annotated[Length | None, Key(SIZE, "How wide it is.")] = None
    spread: Annotated[Length | None, Key(SIZE, "Diameter of the crown.")] = None
    height: Annotated[Length | None, Key(SIZE, "How high it is.")] = None
    label: Annotated[str | None, Key(TEXT, "What the plan says beside it.")] = None
    note: Annotated[str | None, _NOTE] = None
    page: Annotated[str | None, _PAGE] = None
    data: Annotated[
        Mapping[str, str], Key(mapping(TEXT, TEXT, "data"), "Anything else, passed through to the outputs.")
    ] = field(default_factory=dict)


def _feature(values: dict[str, Any], table: Table, slate: Slate) -> Feature:
    closed, corners = values.pop("closed", None), values.pop("corners", None)
    name, geometry = values["name"], values["geometry"]
    if closed is not None:
        if not isinstance(geometry, Curve):
            raise Wrong("closed stands where there is no curve; leave it out", table.entries["closed"][0].place)
        geometry = dataclasses.replace(geometry, closed=closed)
    least = LEAST_POINTS.get(type(geometry), 0)
    if least and len(geometry.points) < least and not any(isinstance(point, Booked) for point in geometry.points):
        word_, text = next((w, v) for w, (_, v) in table.entries.items() if w in GEOMETRY.keys)
        raise Wrong(f"{word_}: {len(geometry.points)} points are too few; name {least} or more", text.place, "points")
    if isinstance(geometry, Rectangle | TapedRound):
        geometry = _with_corners(name, geometry, corners, table, slate)
    elif corners is not None:
        raise Wrong(
            "corners stand where no rectangle or round makes any; leave them out", table.entries["corners"][0].place
        )
    return Feature(**values | {"geometry": geometry})


def _with_corners(
    name: str, geometry: Rectangle | TapedRound, corners: tuple[str, ...] | None, table: Table, slate: Slate
) -> Rectangle | TapedRound:
    """Name the corners that a shape makes, from the edge's end onward."""
    count = 2 if isinstance(geometry, Rectangle) else len(geometry.walls) - geometry.closing
    if corners is None:
        corners = tuple(f"{name}.{number}" for number in range(1, count + 1))
        slate.defined.extend(Named("corner", corner, table.place) for corner in corners)
    elif len(corners) != count:
        place = table.entries["corners"][1].place
        raise Wrong(f"corners: {len(corners)} names for {count} corners; name each one", place, "corners")
    return dataclasses.replace(geometry, corners=corners)


def _read_corner(written: Written, slate: Slate) -> str:
    name = NAME.read(written, slate)
    slate.defined.append(Named("point", name, written.place))
    return name


FEATURES: Final = mapping(
    NAME,
    Record(
        Feature,
        "a feature",
        _feature,
        {
            "closed": Key(FLAG, "true makes a curve come back to its first point."),
            "corners": Key(
                items(Grammar(_read_corner, NAME.schema, NAME.name), "the corners"),
                "Names of the corners that a rectangle or a round makes, from the edge's end onward.",
            ),
        },
        name="feature",
    ),
    "features",
    name=lambda name: {"name": name},
)


def _layer(text: str) -> str:
    if re.fullmatch(r"[A-Za-z][A-Za-z0-9_ ]{0,59}", text):
        return text
    raise Misread(f"{shown(text)} is no layer; write plain letters, digits, '_' and spaces")


@dataclass(frozen=True, slots=True)
class OwnKind:
    """A kind of feature that the book adds."""

    name: str
    geometry: Annotated[Literal["point", "line", "area"], Key(word("point", "line", "area"), "What it is on a plan.")]
    place: Place
    layer: Annotated[
        str | None,
        Key(scalar(_layer, "a layer", {"type": "string", "pattern": "^[A-Za-z][A-Za-z0-9_ ]*$"}), "Layer in drawings."),
    ] = None


# -- the sheet, limits and the whole ----------------------------------------------------------------

PAPERS: Final = ("A4", "A3", "A2", "A1", "A0")
AREA_UNITS: Final = ("m2", "hectare", "acre", "acre-rood-perch", "square feet", "square chains")


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the plan's sheet should be."""

    paper: Annotated[str | None, Key(word(*PAPERS), "Size of the paper.")] = None  #: A4 to A0
    orientation: Annotated[
        Literal["landscape", "portrait"] | None, Key(word("landscape", "portrait"), "Which way the sheet lies.")
    ] = None
    prepared_for: Annotated[str | None, Key(TEXT, "For whom the plan is.")] = None
    prepared_by: Annotated[str | None, Key(TEXT, "Who made it.")] = None
    number: Annotated[str | None, Key(TEXT, "Number of the drawing.")] = None
    revision: Annotated[str | None, Key(TEXT, "Its revision.")] = None
    areas: Annotated[tuple[str, ...], Key(one_or_more(word(*AREA_UNITS), "a unit"), "Units to print areas in.")] = ()


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the rules of thumb. None: the default."""

    offset: Annotated[Length | None, Key(LENGTH, "Longest perpendicular offset; 10 m unless told.")] = None
    oblique: Annotated[
        Length | None, Key(LENGTH, "Longest oblique distance; the offset tape's length unless told.")
    ] = None
    angle: Annotated[
        tuple[Angle, Angle] | None,
        Key(items(ANGLE, "two angles", least=2, most=2), "Smallest and largest angle of a cut: [30°, 120°]."),
    ] = None
    check_ratio: float | None = None  #: allowed difference of a check line over its length
    check_length: Length | None = None  #: or as a length
    significance: Annotated[
        float, Key(bounded("a significance", above=0, most=0.5), "Of the statistical tests; 0.001 unless told.")
    ] = 0.001
    silence: Annotated[
        tuple[str, ...], Key(one_or_more(TEXT, "a rule's name"), "Names of rules of thumb not to be told.")
    ] = ()


def _read_check(written: Written, slate: Slate) -> float | Length:
    if isinstance(written, Text) and "/" in written.value:
        return PROPORTION.read(written, slate)
    return LENGTH.read(written, slate)


def _limits(values: dict[str, Any], table: Table, slate: Slate) -> Limits:
    check = values.pop("check", None)
    if check is not None:
        values["check_length" if isinstance(check, Length) else "check_ratio"] = check
    angle = values.get("angle")
    if angle and angle[0].radians >= angle[1].radians:
        raise Wrong("angle: the smaller comes first; write [30°, 120°]", table.entries["angle"][1].place)
    return Limits(**values)


_CHECK: Final = Grammar(_read_check, lambda: {"anyOf": [{"$ref": "#/$defs/ratio"}, {"$ref": "#/$defs/length"}]})


@dataclass(frozen=True, slots=True)
class Near:
    """A rough position, good enough for the declination."""

    latitude_deg: Annotated[float, Key(LATITUDE, "Degrees, north positive.", name="latitude")]
    longitude_deg: Annotated[float, Key(LONGITUDE, "Degrees, east positive.", name="longitude")]
    place: Place


@dataclass(frozen=True, slots=True)
class _DefaultTape:
    lines: Annotated[str | None, Key(to("tape"), "For chain lines.")] = None
    offsets: Annotated[str | None, Key(to("tape"), "For offsets, and all that is taped off the lines.")] = None


def _scale(text: str) -> int:
    if re.fullmatch(r"1\s*:\s*\d+", text):
        raise Misread(f"{shown(text)} says the 1 twice; write {text.split(':')[1].strip()}")
    value = integer(text)
    if not 5 <= value <= 100_000:
        raise Misread(f"{shown(text)} is no scale for a plan; write 5 to 100000")
    return value


def _format(text: str) -> int:
    if text != "1":
        raise Misread(f"{shown(text)} is no format that is known; write 1")
    return 1


@dataclass(frozen=True, slots=True)
class Book:
    """One survey as booked."""

    file: str  #: bare name of the file
    path: str  #: the file as it was given
    sha256: str  #: of the file's bytes
    unit: Annotated[str, Key(UNIT, "Unit of every bare length in this book.")]
    title: Annotated[str | None, Key(TEXT, "What the survey is of.")] = None
    place: Annotated[str | None, Key(TEXT, "Where it is, in words.")] = None
    date: Annotated[datetime.date | None, Key(DATE, "The day measured.")] = None
    scale: Annotated[
        int | None,
        Key(
            scalar(_scale, "a scale", {"type": "integer", "minimum": 5, "maximum": 100_000}),
            "100: the plan is wanted at 1:100.",
        ),
    ] = None
    tapes: Annotated[
        Mapping[str, Tape],
        Key(mapping(NAME, Record(Tape, "a tape", name="tape"), "tapes", name=_name_it), "The tapes and chains used."),
    ] = field(default_factory=dict)
    line_tape: str | None = None  #: ``default_tape: {lines: …}``
    offset_tape: str | None = None
    default_method: Annotated[Method | None, Key(METHOD, "How right angles were set out, unless told otherwise.")] = (
        None
    )
    surveyor: Annotated[str | None, Key(TEXT, "Who was in charge.")] = None
    party: Annotated[tuple[str, ...], Key(one_or_more(TEXT, "a name"), "Who was there.")] = ()
    weather: Annotated[str | None, Key(TEXT, "In words.")] = None
    instruments: Annotated[
        Mapping[str, str], Key(mapping(TEXT, TEXT, "instruments"), "Instruments used, each with a note.")
    ] = field(default_factory=dict)
    purpose: Annotated[str | None, Key(TEXT, "What the survey is for.")] = None
    licence: Annotated[str | None, Key(TEXT, "On what terms it may be used.")] = None
    note: Annotated[str | None, _NOTE] = None
    near: Annotated[
        Near | None, Key(Record(Near, "near", name="near").grammar, "A rough position, for the declination.")
    ] = None
    pages: Annotated[
        Mapping[str, str], Key(mapping(TEXT, TEXT, "pages"), "Images of the paper book's pages: 12: scans/p12.jpg.")
    ] = field(default_factory=dict)
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
    kinds: Annotated[
        Mapping[str, OwnKind],
        Key(
            mapping(TEXT, Record(OwnKind, "a kind", name="own_kind"), "kinds", name=_name_it),
            "Kinds of the book's own.",
        ),
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
    sheet: Annotated[Sheet, Key(Record(Sheet, "a sheet", name="sheet").grammar, "How the plan's sheet should be.")] = (
        field(default_factory=Sheet)
    )
    limits: Annotated[
        Limits,
        Key(
            Record(
                Limits,
                "limits",
                _limits,
                {"check": Key(_CHECK, "Allowed difference of a check line: a ratio 1/1000, or a length.")},
                name="limits",
            ).grammar,
            "Limits of the rules of thumb.",
        ),
    ] = field(default_factory=Limits)
    warnings: tuple[Finding, ...] = ()  #: what is odd in the book but not wrong
    missing: tuple[Finding, ...] = ()  #: what a half-finished book still lacks

    def unit_of(self, line: str) -> str:
        """Return the unit of bare lengths on a line."""
        return self.lines[line].unit or self.unit

    @property
    def station_names(self) -> tuple[str, ...]:
        """Return every station, as they appear: tie stations, and ends of lines but for detail lines."""
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


def _book(values: dict[str, Any], table: Table, slate: Slate) -> Book:
    del values["book"]
    tapes: _DefaultTape = values.pop("default_tape", _DefaultTape())
    values["dimensions"] = tuple(values.get("dimensions", {}).values())
    values["witnesses"] = {peg: tuple(found.values()) for peg, found in values.get("witnesses", {}).items()}
    return Book(**values, file="", path="", sha256="", line_tape=tapes.lines, offset_tape=tapes.offsets)


BOOK: Final = Record(
    Book,
    "a book",
    _book,
    {
        "book": Key(scalar(_format, "the format's number", {"const": 1}), "Number of the format: 1."),
        "default_tape": Key(
            Record(_DefaultTape, "default tapes", name="default_tape").grammar,
            "The tapes used where nothing else is said.",
        ),
    },
    name="book",
    must=("book",),
    has_unit=True,
)
