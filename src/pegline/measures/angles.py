"""Angles, bearings, slopes and declinations as a book writes them. Radians come out."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Final

from pegline.errors import Finding
from pegline.measures.grammar import Grammar, scalar
from pegline.measures.reading_log import Misread, ReadingLog, Wrong
from pegline.measures.scalars import MAX_NUMBER_CHARACTERS, no_number, plain_signs, quote
from pegline.measures.source_tree import Text, Written
from pegline.measures.values import Angle

__all__ = ["ANGLE", "BEARING", "DECLINATION", "LATITUDE", "LONGITUDE", "SLOPE", "angle_grammar", "degrees"]

_MINUTE: Final = r"['′’]"
_SECOND: Final = r"(?:\"|″|”|'')"
_PLAIN: Final = r"\d+(?:\.\d+)?"
_SIGNS: Final = re.compile(
    rf"(?=.)(?:(?P<d>{_PLAIN})\s*°)?(?:\s*(?P<m>{_PLAIN})\s*{_MINUTE})?(?:\s*(?P<s>{_PLAIN})\s*{_SECOND})?", re.ASCII
)
_SPACED: Final = re.compile(rf"(?P<d>\d+)(?P<by>[ -])(?P<m>{_PLAIN})(?:(?P=by)(?P<s>{_PLAIN}))?", re.ASCII)
_BARE: Final = re.compile(rf"(?P<d>{_PLAIN}|\.\d+)", re.ASCII)
_QUADRANT: Final = re.compile(r"([NS])\s*(.+?)\s*([EW])")
_EAST_WEST: Final = re.compile(r"(.+?)\s*([EW])")
_HEMISPHERE: Final = re.compile(r"([-+]?)\s*(.+?)\s*([NSEW]?)", re.ASCII)
_ONE_IN: Final = re.compile(rf"([-+]?)\s*1 in ({_PLAIN})", re.ASCII)
_PERCENT: Final = re.compile(rf"([-+]?{_PLAIN})\s*%", re.ASCII)


def degrees(text: str) -> float:
    """Return an angle in degrees, without a sign.

    >>> degrees("63°30'")
    63.5
    """
    if len(text) > MAX_NUMBER_CHARACTERS:
        raise Misread(f"{quote(text)} is longer than {MAX_NUMBER_CHARACTERS} characters; write an angle as it was read")
    match = _SIGNS.fullmatch(text) or _SPACED.fullmatch(text) or _BARE.fullmatch(text)
    if not match:
        why = no_number(text, "63.5, 63°30' or 63 30 15")
        raise Misread(why.replace("is no number", "is no angle"))
    parts = match.groupdict()
    whole, minutes, seconds = parts["d"], parts.get("m"), parts.get("s")
    for larger, smaller in ((whole, minutes), (minutes, seconds), (whole, seconds)):
        if smaller is not None and (float(smaller) >= 60 or "." in (larger or "")):
            raise Misread(f"{quote(text)}: {smaller} minutes or seconds do not fit; write 0 to 59 after a whole number")
    return float(whole or 0) + float(minutes or 0) / 60 + float(seconds or 0) / 3600


def bearing_of_text(text: str) -> float:
    """Return a whole-circle or quadrant bearing in radians, clockwise from north.

    >>> round(math.degrees(bearing_of_text("S 10°30' W")), 9)
    190.5
    """
    quadrant = _QUADRANT.fullmatch(text)
    if not quadrant:
        value = degrees(text)
        if value > 360:
            raise Misread(f"{quote(text)} is more than 360°; write a bearing from 0 to 360, or like N 63°30' E")
        return math.radians(value % 360)
    value = degrees(quadrant[2])
    if value > 90:
        raise Misread(f"{quote(text)} is more than 90° from {quadrant[1]}; write 0 to 90 between the letters")
    south, west = quadrant[1] == "S", quadrant[3] == "W"
    return math.radians((180 - value if south else value) * (-1 if west else 1) % 360)


def angle_of_text(text: str) -> float:
    """Return an angle over 0 and up to 180 degrees, radians."""
    value = degrees(text)
    if not 0 < value <= 180:
        raise Misread(f"{quote(text)} is out of range; write an angle over 0 and up to 180°")
    return math.radians(value)


def slope(text: str) -> float:
    """Return a slope as an angle from the level, radians: an angle, one up in so many level, or per cent.

    >>> round(math.tan(slope("1 in 12")) * 12, 12), round(math.tan(slope("4.4 %")), 12)
    (1.0, 0.044)
    """
    ratio = _ONE_IN.fullmatch(plain_signs(text))
    if ratio and float(ratio[2]) > 0:
        return math.atan(1 / float(ratio[2])) * (-1 if ratio[1] == "-" else 1)
    if re.fullmatch(r"1\s*[:/]\s*[\d.]+", text):
        raise Misread(
            f"{quote(text)} may be read in two ways; write '1 in {re.split('[:/]', text)[1].strip()}', or an angle"
        )
    if percent := _PERCENT.fullmatch(plain_signs(text)):
        return math.atan(float(percent[1]) / 100)
    text = plain_signs(text)
    value = degrees(text.lstrip("+-").strip())
    if value >= 90:
        raise Misread(f"{quote(text)} is no slope to tape along; write an angle under 90°, or '1 in 12'")
    return math.radians(-value if text.startswith("-") else value)


def declination_of_text(text: str) -> float:
    """Return a declination in radians, east positive.

    >>> round(math.degrees(declination_of_text("1.8° W")), 9)
    -1.8
    """
    match = _EAST_WEST.fullmatch(text)
    if not match:
        if text in ("0", "0°"):
            return 0.0
        raise Misread(f"{quote(text)} does not say east or west; write it like 2.4° E")
    plain = plain_signs(match[1])
    if plain.startswith("-"):
        other = "E" if match[2] == "W" else "W"
        size = plain.lstrip("- ")
        text_ = f"{quote(text)} has a minus sign and {match[2]} too; write {size}° {match[2]}, or {size}° {other}"
        raise Misread(text_.replace("°°", "°"))
    value = degrees(match[1])
    if value > 180:
        raise Misread(f"{quote(text)} is more than 180°; write it like 2.4° E")
    return math.radians(value if match[2] == "E" else -value)


def latitude(text: str) -> float:
    r"""Return a latitude in degrees, north positive: a number, or as it is printed.

    >>> round(latitude("37°57'03.72\"S"), 7)
    -37.9510333
    """
    return _on_earth(text, "latitude", "NS", 90)


def longitude(text: str) -> float:
    r"""Return a longitude in degrees, east positive: a number, or as it is printed.

    >>> round(longitude("144°25'30\" E"), 9), longitude("-2.5")
    (144.425, -2.5)
    """
    return _on_earth(text, "longitude", "EW", 180)


def _on_earth(text: str, name: str, letters: str, most: int) -> float:
    parts = _HEMISPHERE.fullmatch(text)
    sign, figures, letter = parts.groups() if parts else ("", text, "")
    if letter and letter not in letters:
        raise Misread(f"{quote(text)} ends in {letter}, and a {name} in {' or '.join(letters)}; write the right letter")
    if letter and sign:
        raise Misread(f"{quote(text)} has a sign and a letter; write one of them")
    value = degrees(figures)
    if value > most:
        raise Misread(f"{quote(text)} cannot be a {name}; it is at most {most}")
    return -value if sign == "-" or letter == letters[1] else value


def angle_grammar(convert: Callable[[str], float], wanted: str, name: str, help_: str) -> Grammar[Angle]:
    """Return the grammar of an angle that is converted from its text."""

    def read(written: Written, log: ReadingLog) -> Angle:
        if type(written) is not Text:
            raise Wrong(f"one value is expected, {wanted}; write it like 63°30'", written.place)
        try:
            return Angle(convert(written.value), written.value, written.place)
        except Misread as misread:
            raise Wrong(str(misread), written.place) from None

    return Grammar(read, lambda: {"type": ["number", "string"], "description": help_}, name)


ANGLE: Final = angle_grammar(
    angle_of_text, "an angle", "angle", "An angle: 63.5 (degrees), 63°30', 63°30'15\", 63 30 15."
)
BEARING: Final = angle_grammar(
    bearing_of_text,
    "a bearing",
    "bearing",
    "A bearing: 0 to 360 clockwise from north, 63.5 or 63°30', or by quadrant, N 63°30' E.",
)
DECLINATION: Final = angle_grammar(
    declination_of_text, "a declination", "declination", "A declination: 2.4° E or 1.8° W."
)


def _earthangle_grammar(convert: Callable[[str], float], name: str, example: str, most: int) -> Grammar[float]:
    about = f"A {name}: degrees as a number, or as printed, {example}."
    number_or_text = [{"type": "number", "minimum": -most, "maximum": most}, {"type": "string"}]
    return scalar(convert, f"a {name}", {"anyOf": number_or_text, "description": about})


LATITUDE: Final = _earthangle_grammar(latitude, "latitude", "37°57'03.72\"S", 90)
LONGITUDE: Final = _earthangle_grammar(longitude, "longitude", "144°25'29.52\"E", 180)


def _read_slope(written: Written, log: ReadingLog) -> float:
    slope = _SLOPE.read(written, log)
    bare = slope.text.lstrip("+-").strip()
    if _BARE.fullmatch(bare) and float(bare):
        text = f"slope: {slope.text} is taken as degrees; write {slope.text}° or {slope.text} %"
        log.oddities.append(Finding("slope-unit", text, slope.place))
    return slope.radians


_SLOPE: Final = angle_grammar(slope, "a slope", "", "")
SLOPE: Final = Grammar(
    _read_slope,
    lambda: {"type": ["number", "string"], "description": "A slope: an angle 3°, 1 in 12, or 4.4 %."},
    "slope",
)
