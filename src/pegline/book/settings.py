"""What a book asks of its plan and its checks, and the other small records at its head."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal

from pegline.book import formats
from pegline.errors import Place
from pegline.measures.angles import ANGLE
from pegline.measures.grammar import Grammar, items, one_or_more, reference, scalar
from pegline.measures.keys import Key, Record
from pegline.measures.lengths import LENGTH
from pegline.measures.reading_log import Misread, Slate, Wrong
from pegline.measures.scalars import LATITUDE, LONGITUDE, PROPORTION, TEXT, bounded, integer, shown, to, word
from pegline.measures.source_tree import Table, Text, Written
from pegline.measures.values import Angle, Length
from pegline.records import record

__all__ = ["DEFAULT_TAPE", "FORMAT", "LIMITS", "NEAR", "SCALE", "SHEET", "DefaultTape", "Limits", "Near", "Sheet"]

PAPERS: Final = ("A4", "A3", "A2", "A1", "A0")
AREA_UNITS: Final = ("m2", "hectare", "acre", "acre-rood-perch", "square feet", "square chains")


@record(frozen=True, slots=True)
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


@record(frozen=True, slots=True)
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
    if angle and len(angle) == 2 and angle[0].radians >= angle[1].radians:
        raise Wrong("angle: the smaller comes first; write [30°, 120°]", table.entries["angle"][1].place)
    return Limits(**values)


_CHECK: Final = Grammar(_read_check, lambda: {"anyOf": [reference(PROPORTION), reference(LENGTH)]})


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
        raise Misread(f"{shown(text)} says the 1 twice; write {text.split(':')[1].strip()}")
    value = integer(text)
    if not 5 <= value <= 100_000:
        raise Misread(f"{shown(text)} is no scale for a plan; write 5 to 100000")
    return value


def _format(text: str) -> int:
    if why := formats.trouble(text):
        raise Misread(f"{shown(text)} {why}")
    return int(text)


NEAR: Final = Record(Near, "near", name="near")
DEFAULT_TAPE: Final = Record(DefaultTape, "default tapes", name="default_tape")
SHEET: Final = Record(Sheet, "a sheet", name="sheet")
LIMITS: Final = Record(
    Limits,
    "limits",
    _limits,
    {"check": Key(_CHECK, "Allowed difference of a check line: a ratio 1/1000, or a length.", after="angle")},
    name="limits",
)
SCALE: Final = scalar(_scale, "a scale", {"type": "integer", "minimum": 5, "maximum": 100_000})
FORMAT: Final = scalar(_format, "the format's number", {"const": formats.NEWEST})
