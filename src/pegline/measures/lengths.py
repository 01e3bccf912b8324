"""Lengths and readings off a tape as a book writes them, and how well they are known."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Final, Literal

from pegline.errors import Place
from pegline.measures.grammar import Grammar, items, one_or_more, schema_of
from pegline.measures.keys import Key, Record
from pegline.measures.reading_log import Misread, ReadingLog, Wrong
from pegline.measures.scalars import MAX_NUMBER_CHARACTERS, NUMBER_PATTERN, SHARE, no_number, plain_signs, quote
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.measures.spelling import nearest
from pegline.measures.values import Accuracy, Length, Reading
from pegline.records import record
from pegline.units import COMPOUNDS, METRES_PER

__all__ = [
    "ACCURACY",
    "ANY_LENGTH",
    "CHAINAGE",
    "LENGTH",
    "OFFSETS",
    "READING",
    "READINGS",
    "SIZE",
    "UNIT",
    "UNIT_MARKS",
    "check_spread",
    "length_of_text",
    "plain_reading",
    "read_reading",
    "unknown_unit",
]

MAX_METRES: Final = 100_000.0  # metres: no tape goes further
LEAST_METRES: Final = 1e-6  # metres: no tape shows less
MAX_SPREAD_SHARE: Final = 0.1  # of the larger reading: more is no spread but a slip
Sign = Literal["over", "nought", "any"]

_BARE: Final = re.compile(NUMBER_PATTERN, re.ASCII)
_HYPHENATED: Final = "|".join(name for name in METRES_PER if "-" in name)
_FRACTION: Final = r"(?:\d+\s+)?\d+/\d+"
_PIECE: Final = re.compile(
    rf"\s*([-+]?{_FRACTION}|{NUMBER_PATTERN})\s*({_HYPHENATED}|[a-zA-Z]+(?:-[a-zA-Z]\w*)*|''|['′’\"″”])"
)
_BARE_FRACTION: Final = re.compile(r"[-+]?\d+\s+\d+/\d+", re.ASCII)
#: Feet and inches are often joined by a hyphen: 27'-10".
_JOIN: Final = re.compile(r"\s*-\s*(?=\d)")
#: Signs that people write for a unit.
UNIT_MARKS: Final = {"'": "ft", "′": "ft", "’": "ft", '"': "in", "″": "in", "”": "in", "''": "in"}
#: What people write for a unit, and the name that it has here.
_OTHER_NAMES: Final = {
    **dict.fromkeys(("metre", "metres", "meter", "meters", "mtr", "mtrs", "M"), "m"),
    **dict.fromkeys(("foot", "feet", "FT", "Ft"), "ft"),
    **dict.fromkeys(("inch", "inches"), "in"),
    **dict.fromkeys(("yard", "yards", "yds"), "yd"),
    **dict.fromkeys(("link", "links", "l", "lks"), "lk"),
    **dict.fromkeys(("chain", "chains", "chs"), "ch"),
}
LENGTH_SCHEMA: Final = {
    "anyOf": [
        {"type": "number"},
        {"type": "string", "pattern": r"^\s*[-+\u2212\u2013]?[0-9.\u00bc-\u00be\u2150-\u215e]"},
    ],
    "description": "A length: bare, in the unit of the book or line, or with a unit: 12.45 m, 40 ft 6 in.",
}


def unit(text: str) -> str:
    """Return the name of a unit."""
    if text in METRES_PER:
        return text
    raise Misread(unknown_unit(text))


def unknown_unit(text: str) -> str:
    """Return what is wrong with the name of a unit."""
    unit = _OTHER_NAMES.get(text) or _OTHER_NAMES.get(text.lower())
    near = nearest(text, METRES_PER)
    cure = f"write {unit}" if unit else f"did you mean {near!r}?" if near else "use m, ft, in, yd, lk, ch or cm"
    return f"unknown unit {quote(text)}; {cure}"


def _unit_read(written: Written, log: ReadingLog) -> str:
    if type(written) is not Text:
        raise Wrong("one unit is expected; write it like m or ft", written.place, "unit")
    try:
        return unit(written.value)
    except Misread as misread:
        raise Wrong(str(misread), written.place, "unit") from None


UNIT: Final = Grammar(_unit_read, lambda: {"enum": list(METRES_PER), "description": "A unit of length."}, "unit")


def length_of_text(text: str) -> Length:
    """Return a length as written: bare, with a unit, or compound.

    >>> length_of_text("40 ft 6 in").value
    40.5
    """
    if len(text) <= MAX_NUMBER_CHARACTERS and _BARE.fullmatch(text):
        value = float(text)
        if math.isfinite(value):
            return Length(value, None, text)
    if len(text) > MAX_NUMBER_CHARACTERS:
        raise Misread(f"{quote(text)} is longer than {MAX_NUMBER_CHARACTERS} characters; write a length as it was read")
    plain = plain_signs(text)
    if _BARE.fullmatch(plain) or _BARE_FRACTION.fullmatch(plain) or (plain in _LONE and not text.isascii()):
        value = _piece(plain)
        if math.isfinite(value):
            return Length(value, None, text)
    if _LETTER_AMONG_DIGITS.fullmatch(plain):
        raise Misread(_no_length(text))
    pieces, end = [], 0
    while match := _PIECE.match(plain, end):
        pieces.append((match[1], match[2]))
        join = _JOIN.match(plain, match.end())
        end = join.end() if join else match.end()
    if not pieces or plain[end:].strip():
        raise Misread(_no_length(text))
    return _compound(text, pieces)


#: Fractions that have a sign of their own, which alone is read as it stands: ½.
_LONE: Final = frozenset(plain_signs(chr(code)) for code in (*range(0xBC, 0xBF), *range(0x2150, 0x215F)))


#: Feet and inches without their units: 145 8 1/2, 145-8; and with the unit of the inches left out: 152 ft 4.
_FEET_AND_INCHES: Final = re.compile(r"(\d+)(?:\s+|\s*-\s*)(\d+(?:\s+\d+/\d+|\.\d+)?)", re.ASCII)
_INCHES_LEFT: Final = re.compile(r"(\d+)\s*(?:ft|')\s*-?\s*(\d+(?:\s+\d+/\d+|\.\d+)?)", re.ASCII)
_THOUSANDS: Final = re.compile(r"\d{1,3}( \d{3})+(\.\d*)?", re.ASCII)
#: Letters that are typed for digits.
_LETTER_AMONG_DIGITS: Final = re.compile(r"\d*\.?\d*[lIOo][\dlIOo.]*", re.ASCII)
_LETTERS_FOR_DIGITS: Final = str.maketrans("lIOo", "1100")


def _meant_length(text: str) -> str | None:
    """Return how a length is written that lacks a unit, or has a letter for a digit or no comma in its list.

    >>> _meant_length("152 ft 4"), _meant_length("145-8 1/2"), _meant_length("5.O1"), _meant_length("7.16 7.39")
    ('152 ft 4 in', '145 ft 8 1/2 in, or with the units that are meant', '5.01', '[7.16, 7.39], with commas between')
    """
    digits = text.translate(_LETTERS_FOR_DIGITS)
    if digits != text and _BARE.fullmatch(digits):
        links = f", or {text[:-1]} lk if links are meant" if text.endswith("l") and _BARE.fullmatch(text[:-1]) else ""
        return f"{digits}{links}"
    if match := _INCHES_LEFT.fullmatch(text):
        return f"{match[1]} ft {match[2]} in"
    if (match := _FEET_AND_INCHES.fullmatch(text)) and float(match[2].split()[0]) < 12:
        return f"{match[1]} ft {match[2]} in, or with the units that are meant"
    parts = text.split()
    if len(parts) > 1 and all(_BARE.fullmatch(part) for part in parts) and not _THOUSANDS.fullmatch(text):
        return f"[{', '.join(parts)}], with commas between"
    return None


def _no_length(text: str) -> str:
    if meant_text := _meant_length(plain_signs(text)):
        return f"{quote(text)} is no length; write {meant_text}"
    if re.fullmatch(r"[-+]?\d+/\d+", plain_signs(text), re.ASCII):
        return f"{quote(text)} is a fraction without a unit; write a unit or a whole number with it, such as 1/2 in"
    if text.startswith(("~", "{")):
        return f"{quote(text)} cannot be marked as doubtful; write a plain length"
    return no_number(text, "12.45, 12.45 m or 40 ft 6 in").replace("is no number", "is no length")


def _compound(text: str, pieces: Sequence[tuple[str, str]]) -> Length:
    units = [unit(UNIT_MARKS.get(mark, mark)) for _, mark in pieces]
    if len(units) > 1 and not any(_in_order(units, system) for system in COMPOUNDS):
        raise Misread(f"{quote(text)} mixes {' and '.join(units)}; write it in one unit, or largest first")
    numbers = [_piece(number) for number, _ in pieces]
    if not all(map(math.isfinite, numbers)):
        raise Misread(f"{quote(text)} is not a finite number; write what was read")
    sign = -1.0 if pieces[0][0].startswith("-") else 1.0
    value = abs(numbers[0])
    for index in range(1, len(units)):
        share = METRES_PER[units[index]] / METRES_PER[units[index - 1]]
        if numbers[index] < 0 or numbers[index] * share >= 1 - 1e-9 or numbers[index - 1] != int(numbers[index - 1]):
            raise Misread(
                f"{quote(text)}: {pieces[index][0]} {units[index]} does not fit there; write it like 40 ft 6 in"
            )
        value += numbers[index] * (METRES_PER[units[index]] / METRES_PER[units[0]])
    return Length(sign * value, units[0], text)


def _in_order(units: Sequence[str], system: Sequence[str]) -> bool:
    places = [system.index(unit) for unit in units if unit in system]
    return len(places) == len(units) and all(a < b for a, b in pairwise(places))


def _piece(text: str) -> float:
    """Return a number, or one with a fraction: ``6 1/2``, ``1/2``."""
    if "/" not in text:
        return float(text)
    *whole, over, under = re.split(r"[\s/]+", text.lstrip("+-"))
    if int(under) == 0 or int(over) >= int(under):
        raise Misread(f"{quote(text)} is no number with a fraction; write it like 6 1/2 in")
    value = sum(map(int, whole)) + int(over) / int(under)
    return -value if text.startswith("-") else value


def _length_of(written: Written, log: ReadingLog, wanted: str, sign: Sign) -> Length:
    if type(written) is not Text:
        what = "a list" if isinstance(written, Items) else "a map"
        raise Wrong(f"{what} is given where {wanted} is expected; write one value", written.place)
    try:
        return within(length_of_text(written.value), log, sign)
    except Misread as misread:
        raise Wrong(str(misread), written.place) from None


def within(length: Length, log: ReadingLog, sign: Sign) -> Length:
    """Return a length that a tape can have given."""
    metres = abs(length.value) * METRES_PER[length.unit or log.unit]
    if LEAST_METRES <= metres <= MAX_METRES and (length.value > 0 or sign == "any"):
        return length
    if length.value == 0 and sign == "nought":
        return length
    if sign != "any" and length.value <= 0:
        what = "zero" if length.value == 0 else "below zero"
        raise Misread(f"{quote(length.text)} is {what}; write a length over 0")
    if sign != "any" and metres < LEAST_METRES:
        raise Misread(f"{quote(length.text)} is shorter than any tape shows; check the value and its unit")
    if metres > MAX_METRES:
        raise Misread(f"{quote(length.text)} is over 100 km, which no tape reaches; check the value and its unit")
    return length


def _lengths(wanted: str, sign: Sign) -> Grammar[Length]:
    return Grammar(lambda written, log: _length_of(written, log, wanted, sign), lambda: LENGTH_SCHEMA, "length")


LENGTH: Final = _lengths("a length", "over")
SIZE: Final = _lengths("a size", "over")
_LENGTH_OR_NOUGHT: Final = _lengths("a length", "nought")
ANY_LENGTH: Final = _lengths("a length", "any")


# -- readings ---------------------------------------------------------------------------------------

READING_SCHEMA: Final = {
    "anyOf": [
        schema_of(LENGTH),
        {"type": "string", "pattern": r"^~"},
        {
            "type": "object",
            "properties": {
                "either": {
                    "type": "array",
                    "items": schema_of(LENGTH),
                    "minItems": 2,
                    "description": "The readings that it may be; the rest of the book settles which.",
                }
            },
            "required": ["either"],
            "additionalProperties": False,
        },
    ],
    "description": "A reading: a length; ~31.6 where doubtful; {either: [31.60, 31.80]} where not known which.",
}


def plain_reading(written: Written, log: ReadingLog) -> Reading | None:
    """Return a reading that is a plain number over nought, as nearly all are; None where it is written otherwise."""
    if type(written) is Text and len(written.value) <= MAX_NUMBER_CHARACTERS and _BARE.fullmatch(written.value):
        value = float(written.value)
        if LEAST_METRES <= value * METRES_PER[log.unit] <= MAX_METRES:
            return Reading(Length(value, None, written.value), written.place)
    return None


def read_reading(written: Written, log: ReadingLog, sign: Sign) -> Reading:
    """Return one reading off a tape."""
    if plain := plain_reading(written, log):
        return plain
    if type(written) is not Text:
        return _either(written, log, sign)
    text = written.value
    doubtful = text.startswith("~")
    try:
        length = within(length_of_text(text[1:].lstrip() if doubtful else text), log, sign)
    except Misread as misread:
        raise Wrong(str(misread), written.place) from None
    return Reading(length, written.place, doubtful)


def _either(written: Written, log: ReadingLog, sign: Sign) -> Reading:
    if isinstance(written, Table) and written.entries.keys() == {"either"}:
        choices = _CHOICES[sign].read(written.entries["either"][1], log)
        if len({choice.metres(log.unit) for choice in choices}) < len(choices):
            raise Wrong("two of the readings are the same; write those that it may be", written.place)
        return Reading(choices[0], written.place, either=choices)
    what = "a list" if isinstance(written, Items) else "a map"
    raise Wrong(
        f"{what} is given where one reading is expected; write it like 12.45, ~12.45 or {{either: [12.45, 12.54]}}",
        written.place,
    )


_CHOICES: Final = {
    "over": items(LENGTH, "the readings that it may be", least=2),
    "any": items(ANY_LENGTH, "the readings that it may be", least=2),
}
READING: Final = Grammar(lambda written, log: read_reading(written, log, "over"), lambda: READING_SCHEMA, "reading")
CHAINAGE: Final = Grammar(lambda written, log: read_reading(written, log, "any"), lambda: READING_SCHEMA, "reading")
#: Readings of which each may belong to another place: their spread means nothing.
OFFSETS: Final = one_or_more(READING, "a reading")


def check_spread(readings: Sequence[Reading], log: ReadingLog, place: Place | None = None) -> None:
    """Refuse readings of one length that differ by more than a tenth of the larger."""
    if len(readings) < 2:
        return
    lengths = [reading.length.metres(log.unit) for reading in readings if not reading.either]
    if lengths and max(lengths) - min(lengths) > MAX_SPREAD_SHARE * max(map(abs, lengths)):
        texts = [reading.length.text for reading in readings]
        point = f", or {_with_points(texts)} with a point if a decimal comma was meant" if _commas(texts) else ""
        raise Wrong(
            f"the readings {' and '.join(texts)} differ by more than a tenth; strike the wrong one{point}",
            place or readings[0].place,
            "spread",
        )


def _commas(texts: Sequence[str]) -> bool:
    return len(texts) % 2 == 0 and all(text.isascii() and text.isdigit() for text in texts)


def _with_points(texts: Sequence[str]) -> str:
    """Return whole numbers in pairs, as decimals that a comma had parted.

    >>> _with_points(["52", "35", "52", "36"])
    '52.35 and 52.36'
    """
    return " and ".join(map(".".join, zip(texts[::2], texts[1::2], strict=True)))


def _read_readings(written: Written, log: ReadingLog) -> tuple[Reading, ...]:
    if type(written) is Text:
        return (read_reading(written, log, "over"),)
    readings = OFFSETS.read(written, log)
    check_spread(readings, log)
    return readings


READINGS: Final = Grammar(
    _read_readings,
    lambda: {"anyOf": [schema_of(READING), {"type": "array", "items": schema_of(READING), "minItems": 1}]},
    "readings",
)


# -- accuracy ---------------------------------------------------------------------------------------


@record(frozen=True, slots=True)
class _Parts:
    place: Place
    fixed: Annotated[
        Length | None, Key(_LENGTH_OR_NOUGHT, "The part that is the same for every reading, a length.")
    ] = None
    per_length: Annotated[
        float, Key(SHARE, "The part that grows with the length, metres a metre: 0.0002 or 1/5000.")
    ] = 0.0


def _parts(values: dict[str, object], table: Table, log: ReadingLog) -> Accuracy:
    if not values.keys() & {"fixed", "per_length"}:
        raise Wrong("an accuracy is empty; write fixed, per_length or both", table.place)
    fixed = values.get("fixed") or Length(0.0, None, "0")
    if not (fixed.value or values.get("per_length")):  # type: ignore[attr-defined]
        raise Wrong("no reading is known exactly; write fixed or per_length over 0", table.place)
    return Accuracy(fixed, values.get("per_length", 0.0), table.place)  # type: ignore[arg-type]


_PARTS: Final = Record(_Parts, "an accuracy", _parts)  # type: ignore[arg-type]


def _read_accuracy(written: Written, log: ReadingLog) -> Accuracy:
    if isinstance(written, Table):
        return _PARTS.read(written, log)  # type: ignore[return-value]
    return Accuracy(LENGTH.read(written, log), 0.0, written.place)


ACCURACY: Final = Grammar(_read_accuracy, lambda: {"anyOf": [schema_of(LENGTH), _PARTS.schema()]}, "accuracy")
