"""The small records at the head and the end of a book: sheet, limits, tapes, a rough position."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pegline.book import formats
from pegline.errors import Place
from pegline.measures.angles import ANGLE, BEARING, LATITUDE, LONGITUDE
from pegline.measures.grammar import Grammar, items, one_or_more, scalar, schema_of
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.lengths import ACCURACY, LENGTH
from pegline.measures.notation import AreaUnit
from pegline.measures.reading_log import Misread, ReadingLog, Wrong
from pegline.measures.scalars import (
    DATE,
    FLAG,
    NAME,
    NUMBER,
    PROPORTION,
    PULL,
    TEMPERATURE,
    TEXT,
    integer,
    number_within,
    one_of,
    quote,
    to,
    word,
)
from pegline.measures.source_tree import Table, Text, Written
from pegline.measures.values import Accuracy, Angle, CustomaryArea, Length
from pegline.records import record

__all__ = [
    "DEFAULT_TAPE",
    "FORMAT",
    "LIMITS",
    "NEAR",
    "PAPERS",
    "SCALE",
    "SHEET",
    "SKETCH_PAGE",
    "TAPES",
    "BookedSheet",
    "DefaultTape",
    "Limits",
    "Material",
    "Near",
    "Revision",
    "SketchPage",
    "Tape",
    "TapeClass",
    "TrueLength",
]


#: ISO 216, A series: short and long side, millimetres.
PAPERS: Final[Mapping[str, tuple[int, int]]] = {
    "A4": (210, 297),
    "A3": (297, 420),
    "A2": (420, 594),
    "A1": (594, 841),
    "A0": (841, 1189),
}
Orientation = Literal["landscape", "portrait"]


@record(frozen=True, slots=True)
class _CustomaryArea:
    name: Annotated[str, Key(TEXT, "Name of the unit, as the plan prints it.")]
    square_metres: Annotated[float, Key(number_within("an area", above=0), "Its size in square metres.")]


def _customary(values: dict[str, Any], table: Table, log: ReadingLog) -> CustomaryArea:
    return CustomaryArea(**values)


_CUSTOMARY: Final = Record(_CustomaryArea, "a unit of area", _customary, name="area_unit")  # type: ignore[arg-type]
_USUAL_AREA: Final = one_of(AreaUnit)


def _read_area_unit(written: Written, log: ReadingLog) -> str | CustomaryArea:
    return _USUAL_AREA.read(written, log) if isinstance(written, Text) else _CUSTOMARY.read(written, log)  # type: ignore[return-value]


_AREA_UNIT: Final = Grammar(_read_area_unit, lambda: {"anyOf": [schema_of(_USUAL_AREA), schema_of(_CUSTOMARY.grammar)]})


@record(frozen=True, slots=True)
class Revision:
    """One revision of the plan."""

    revision: Annotated[str, Key(TEXT, "Its letter or number.")]
    date: Annotated[datetime.date | None, Key(DATE, "Day of the revision.")] = None
    note: Annotated[str | None, Key(TEXT, "What was changed.")] = None


_REVISION: Final = Record(Revision, "a revision", name="revision")


@record(frozen=True, slots=True)
class BookedSheet:
    """The plan's sheet as the book asks for it."""

    paper: Annotated[str | None, Key(word(*PAPERS), "Size of the paper.")] = None  #: A4 to A0
    orientation: Annotated[Orientation | None, Key(one_of(Orientation), "Which way the sheet lies.")] = None
    prepared_for: Annotated[str | None, Key(TEXT, "For whom the plan is.")] = None
    prepared_by: Annotated[str | None, Key(TEXT, "Who made it.")] = None
    number: Annotated[str | None, Key(TEXT, "Number of the drawing.")] = None
    revision: Annotated[str | None, Key(TEXT, "Its revision.")] = None
    checked_by: Annotated[str | None, Key(TEXT, "Who checked it.")] = None
    revisions: Annotated[
        tuple[Revision, ...], Key(items(_REVISION.grammar, "the revisions"), "Earlier revisions, in their order.")
    ] = ()
    boundary_figures: Annotated[
        bool,
        Key(
            FLAG,
            "true prints lengths and bearings along boundaries; by default they are left out, for with them a plan"
            " looks like a title plan, which it is not.",
        ),
    ] = False
    areas: Annotated[
        tuple[str | CustomaryArea, ...],
        Key(
            one_or_more(_AREA_UNIT, "a unit"),
            "Units to print areas in; customary ones with their size.",
        ),
    ] = ()


@record(frozen=True, slots=True)
class SketchPage:
    """The scale and the direction of the reconnaissance sketch's page."""

    unit: Annotated[
        Length | None,
        Key(LENGTH, "How long one unit of every sketch: [x, y] is, a pace say; default: the book's unit."),
    ] = None
    top: Annotated[Angle | None, Key(BEARING, "Bearing of the page's top, from the book's own north; default 0°.")] = (
        None
    )


@record(frozen=True, slots=True)
class Limits:
    """Limits of the rules of thumb. None: the default."""

    offset: Annotated[Length | None, Key(LENGTH, "Longest perpendicular offset; default 10 m.")] = None
    oblique: Annotated[
        Length | None, Key(LENGTH, "Longest oblique distance; default: the length of the offset tape.")
    ] = None
    angle: Annotated[
        tuple[Angle, Angle] | None,
        Key(items(ANGLE, "two angles", least=2, most=2), "Smallest and largest angle of a cut: [30°, 120°]."),
    ] = None
    check_ratio: float | None = None  #: allowed difference of a check line over its length
    check_length: Length | None = None  #: or as a length
    unnoticed_ratio: float | None = None  #: how far a mistake may go unnoticed, over the stations' extent
    unnoticed_length: Length | None = None  #: or as a length
    significance: Annotated[
        float,
        Key(
            number_within("a significance", above=0, most=0.5),
            "Probability that a sound measurement fails its test; default 0.001.",
        ),
    ] = 0.001
    silence: Annotated[
        tuple[str, ...], Key(one_or_more(TEXT, "a rule's name"), "Names of rules of thumb that are not to warn.")
    ] = ()


def _read_ratio_or_length(written: Written, log: ReadingLog) -> float | Length:
    if isinstance(written, Text) and re.fullmatch(r"\s*\d+\s*/\s*[\d.]+\s*", written.value):
        return PROPORTION.read(written, log)
    return LENGTH.read(written, log)


def _limits(values: dict[str, Any], table: Table, log: ReadingLog) -> Limits:
    for word_ in ("check", "unnoticed"):
        if (limit := values.pop(word_, None)) is not None:
            values[f"{word_}_length" if isinstance(limit, Length) else f"{word_}_ratio"] = limit
    angle = values.get("angle")
    if angle and len(angle) == 2 and angle[0].radians >= angle[1].radians:
        raise Wrong("angle: the smaller comes first; write [30°, 120°]", table.entries["angle"][1].place)
    return Limits(**values)


_RATIO_OR_LENGTH: Final = Grammar(_read_ratio_or_length, lambda: {"anyOf": [schema_of(PROPORTION), schema_of(LENGTH)]})


@record(frozen=True, slots=True)
class Near:
    """A rough position, good enough for the declination."""

    latitude_deg: Annotated[float, Key(LATITUDE, "Degrees, north positive.", name="latitude")]
    longitude_deg: Annotated[float, Key(LONGITUDE, "Degrees, east positive.", name="longitude")]
    place: Place


@record(frozen=True, slots=True)
class DefaultTape:
    """The tapes used where nothing else is said."""

    lines: Annotated[str | None, Key(to("tape"), "For chain lines.")] = None
    offsets: Annotated[str | None, Key(to("tape"), "For offsets, and all that is taped off the lines.")] = None


def _scale(text: str) -> int:
    if re.fullmatch(r"1\s*:\s*\d+", text):
        raise Misread(f"{quote(text)} says the 1 twice; write {text.split(':')[1].strip()}")
    value = integer(text)
    if not 5 <= value <= 100_000:
        raise Misread(f"{quote(text)} is no scale for a plan; write 5 to 100000")
    return value


def _format(text: str) -> int:
    if why := formats.trouble(text):
        raise Misread(f"{quote(text)} {why}")
    return int(text)


NEAR: Final = Record(Near, "near", name="near")
DEFAULT_TAPE: Final = Record(DefaultTape, "default tapes", name="default_tape")
SKETCH_PAGE: Final = Record(SketchPage, "a sketch", name="sketch_page")
SHEET: Final = Record(BookedSheet, "a sheet", name="sheet")
LIMITS: Final = Record(
    Limits,
    "limits",
    _limits,
    {
        "check": Key(
            _RATIO_OR_LENGTH, "Allowed difference of a check line: a ratio 1/1000, or a length.", after="angle"
        ),
        "unnoticed": Key(
            _RATIO_OR_LENGTH,
            "How far a mistake that no check shows may move a station that counts as checked: a length, or a ratio of"
            " the greatest distance between stations; by default 1/100 of it and at least 0.3 m.",
            after="check",
        ),
    },
    name="limits",
)
SCALE: Final = scalar(_scale, "a scale", {"type": "integer", "minimum": 5, "maximum": 100_000})
FORMAT: Final = scalar(_format, "the format's number", {"const": formats.NEWEST})

# -- tapes -------------------------------------------------------------------------------------------


Material = Literal["steel", "linen", "fibreglass", "chain"]
TapeClass = Literal["I", "II", "III"]  #: by OIML R 35


@record(frozen=True, slots=True)
class TrueLength:
    """The length of a tape as found against a standard."""

    value: Annotated[Length, Key(LENGTH, "The true length found.", measured=True, after="from")]
    date: Annotated[datetime.date | None, Key(DATE, "From which day it holds.", name="from")] = None  #: None: always
    accuracy: Annotated[Length | None, Key(LENGTH, "Standard deviation of the comparison; 1 mm by default.")] = None


_TRUE_LENGTH: Final = Record(TrueLength, "a true length", short="value", name="true_length")


def _read_true_lengths(written: Written, log: ReadingLog) -> tuple[TrueLength, ...]:
    lengths = one_or_more(_TRUE_LENGTH.grammar, "a true length").read(written, log)
    dates = [entry.date for entry in lengths]
    if len(lengths) > 1 and (None in dates or len(set(dates)) < len(dates)):
        raise Wrong("each of several true lengths holds from a day of its own; write from in each", written.place)
    return tuple(sorted(lengths, key=lambda entry: entry.date or datetime.date.min))


_TRUE_LENGTHS: Final = Grammar(_read_true_lengths, lambda: one_or_more(_TRUE_LENGTH.grammar, "").schema())


@record(frozen=True, slots=True)
class Tape:
    """A tape or chain. What is None was not booked."""

    name: str
    material: Annotated[Material, Key(one_of(Material), "What it is made of.")]
    length: Annotated[Length, Key(LENGTH, "Nominal length of the whole tape.")]
    place: Place
    accuracy_class: Annotated[TapeClass | None, Key(one_of(TapeClass), "Class by OIML R 35.", name="class")] = None
    true_length: Annotated[
        tuple[TrueLength, ...],
        Key(
            _TRUE_LENGTHS,
            "Length found against a standard: one value, {value: …, accuracy: …}, or a list with from: DATE in each.",
        ),
    ] = ()  #: by the day from which each holds
    standard_temperature: Annotated[
        float | None, Key(TEMPERATURE, "Temperature at which it is right, degrees Celsius; default 20.")
    ] = None
    standard_pull: Annotated[float | None, Key(PULL, "Pull at which it is right, newtons.")] = None
    mass: Annotated[float | None, Key(number_within("a mass", above=0), "Mass of the tape, kilograms a metre.")] = None
    section: Annotated[float | None, Key(number_within("a section", above=0), "Cross-section of the tape, mm².")] = None
    modulus: Annotated[
        float | None, Key(number_within("a modulus", above=0), "Modulus of elasticity of the tape, gigapascals.")
    ] = None
    expansion: Annotated[float | None, Key(NUMBER, "Thermal expansion per degree Celsius: 11.5e-6.")] = None
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "fixed: of one lay of the tape; per_length: of its scale.")] = (
        None
    )


TAPES: Final = mapping(NAME, Record(Tape, "a tape", name="tape"), "tapes", name=lambda name: {"name": name})
