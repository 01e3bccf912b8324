"""The slips people make in reading a tape and booking it: what else a booked reading might have been.

Each slip is a pure function from one booked reading to the readings that may have been meant, and one row
of ``SLIPS``. Slips of whole lines, names and sides are in ``mixups``. The list is common practice of tape
surveys: whoever misreads a tape misreads it in few ways.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from typing import Final

from pegline.measures.values import Length
from pegline.records import record
from pegline.units import METRES_PER

__all__ = ["SLIPS", "BookedReading", "Meant", "as_booked", "meant"]


@record(frozen=True, slots=True)
class BookedReading:
    """One reading as it stands in the book, with what its slips depend on."""

    length: Length  #: as booked
    unit: str  #: of a bare number here
    tape: float  #: nominal length of the tape, metres
    tape_words: str = "tape"  #: what it is called: tape or chain
    whole: float | None = None  #: length of the line that a chainage runs along, metres as read; None: no chainage
    side: int = 0  #: of an offset: +1 left, -1 right; 0: no offset

    @property
    def metres(self) -> float:
        """Return the reading in metres."""
        return self.length.metres(self.unit)


@record(frozen=True, slots=True)
class Meant:
    """What may have been meant, and the slip that made what is booked of it."""

    metres: float  #: the reading meant; negative for an offset to the other side
    text: str  #: as the book would write it
    slip: str  #: in words
    kind: str  #: the slip's row in ``SLIPS``


Found = Iterator[tuple[float, str, str]]  #: metres, text and words of what may have been meant

_PART: Final = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*([a-z][a-z0-9-]*|['′\"″])?", re.IGNORECASE)
_MARKS: Final = {"'": "ft", "′": "ft", '"': "in", "″": "in"}


@record(frozen=True, slots=True)
class _Part:
    """One number of a booked length, with its unit."""

    digits: str  #: as written
    unit: str
    start: int  #: where the digits stand in the text
    end: int


def _parts(reading: BookedReading) -> list[_Part]:
    """Return the numbers of a booked length, a bare one in the unit that it stands for."""
    fallback = reading.length.unit or reading.unit
    found = [
        _Part(match[1], _MARKS.get(match[2], match[2]) if match[2] else fallback, match.start(1), match.end(1))
        for match in _PART.finditer(reading.length.text)
    ]
    return [part for part in found if part.unit in METRES_PER]


def _with(reading: BookedReading, part: _Part, digits: str) -> tuple[float, str]:
    """Return metres and text of a reading with the digits of one part written otherwise."""
    text = reading.length.text
    change = (float(digits) - float(part.digits)) * METRES_PER[part.unit]
    return reading.metres + change, (text[: part.start] + digits + text[part.end :]).lstrip("~ ")


def _decimals(digits: str) -> int:
    return len(digits.partition(".")[2])


def as_booked(metres: float, like: BookedReading) -> str:
    """Return a length as the book writes it: the unit and decimals of another reading.

    Examples
    --------
    >>> as_booked(12.5, BookedReading(Length(3.0, None, "3.00"), "m", tape=30))
    '12.50'
    >>> as_booked(12.3444, BookedReading(Length(3.5, "ft", "3 ft 6 in"), "m", tape=30))
    '40 ft 6 in'
    """
    parts = _parts(like)
    if len(parts) < 2:
        unit = parts[0].unit if parts else like.unit
        number = f"{metres / METRES_PER[unit]:.{_decimals(parts[0].digits) if parts else 2}f}"
        text = like.length.text
        return (text[: parts[0].start] + number + text[parts[0].end :]).lstrip("~ ") if parts else number
    return _compound(metres, like, parts)


def _compound(metres: float, like: BookedReading, parts: list[_Part]) -> str:
    """Return a length in several units, each below one of the unit before it."""
    finest = parts[-1]
    step = METRES_PER[finest.unit] / 10 ** _decimals(finest.digits)
    left = round(abs(metres) / step) * step
    numbers = []
    for part in parts[:-1]:
        whole = int(left / METRES_PER[part.unit] + 1e-9)
        numbers.append(str(whole))
        left -= whole * METRES_PER[part.unit]
    numbers.append(f"{max(left, 0) / METRES_PER[finest.unit]:.{_decimals(finest.digits)}f}")
    text = like.length.text
    for part, number in reversed(list(zip(parts, numbers, strict=True))):
        text = text[: part.start] + number + text[part.end :]
    return ("-" if metres < 0 else "") + text.lstrip("~- ")


def whole_tape(reading: BookedReading) -> Found:
    """A whole tape or chain length not counted, or counted twice."""
    size = f"a whole {reading.tape_words} length of {as_booked(reading.tape, _bare(reading))}"
    for count, words in ((1, size), (2, f"two whole {reading.tape_words} lengths")):
        for sign, done in ((1, "dropped"), (-1, "added")):
            yield _moved(reading, sign * count * reading.tape, f"{words} {done}")


def _bare(reading: BookedReading) -> BookedReading:
    """Return a pattern to write round lengths by: one decimal less what is not needed, with the unit."""
    unit = reading.length.unit or reading.unit
    size = reading.tape / METRES_PER[unit]
    text = f"{round(size)} {unit}" if abs(size - round(size)) < 1e-6 else f"{size:.2f} {unit}"
    return replace(reading, length=Length(size, unit, text))


def _moved(reading: BookedReading, change: float, words: str) -> tuple[float, str, str]:
    return reading.metres + change, as_booked(reading.metres + change, reading), words


def misread_unit(reading: BookedReading) -> Found:
    """One, five or ten units misread: metres, feet, or links where chains and links are booked."""
    units = [part.unit for part in _parts(reading)] or [reading.length.unit or reading.unit]
    unit = next((unit for unit in units if not unit.startswith("ch")), units[-1])
    for count in (1, 5, 10):
        for sign in (1, -1):
            yield _moved(reading, sign * count * METRES_PER[unit], f"{count} {unit} misread")


def exchanged_digits(reading: BookedReading) -> Found:
    """Two neighbouring digits exchanged."""
    for part in _parts(reading):
        at = [place for place, sign in enumerate(part.digits) if sign.isdigit()]
        for one, two in pairwise(at):
            signs = list(part.digits)
            signs[one], signs[two] = signs[two], signs[one]
            if signs[one] != signs[two]:
                words = f"{part.digits[one]} and {part.digits[two]} exchanged"
                yield (*_with(reading, part, "".join(signs)), words)


def confused_digits(reading: BookedReading) -> Found:
    """A digit taken for one that looks like it."""
    alike = {"6": "9", "9": "6", "1": "7", "7": "1", "3": "8", "8": "3"}
    for part in _parts(reading):
        for at, sign in enumerate(part.digits):
            if sign in alike:
                digits = part.digits[:at] + alike[sign] + part.digits[at + 1 :]
                yield (*_with(reading, part, digits), f"{_with_article(alike[sign])} booked as {_with_article(sign)}")


def _with_article(digit: str) -> str:
    return f"{'an' if digit == '8' else 'a'} {digit}"


def moved_point(reading: BookedReading) -> Found:
    """The decimal point one place off."""
    parts = _parts(reading)
    if len(parts) == 1:
        for factor, way in ((10, "left"), (0.1, "right")):
            meant = replace(reading, length=replace(reading.length, text=_shifted(reading, parts[0], factor)))
            yield reading.metres * factor, meant.length.text, f"the decimal point booked one place too far {way}"


def _shifted(reading: BookedReading, part: _Part, factor: float) -> str:
    places = max(_decimals(part.digits) + (1 if factor < 1 else -1), 0)
    text = reading.length.text
    return (text[: part.start] + f"{float(part.digits) * factor:.{places}f}" + text[part.end :]).lstrip("~ ")


def wrong_end(reading: BookedReading) -> Found:
    """Read from the wrong end: of the line for a chainage, of the tape for any other distance."""
    if reading.whole is not None:
        yield _moved(reading, reading.whole - 2 * reading.metres, "read from the wrong end of the line")
    elif reading.metres < reading.tape:
        words = f"read from the wrong end of the {reading.tape_words}"
        yield _moved(reading, reading.tape - 2 * reading.metres, words)


#: Units that are taken for each other: what is booked, what was read, in words.
CONFUSED_UNITS: Final = (
    ("m", "ft", "feet"),
    ("ft", "m", "metres"),
    ("ft", "lk", "links"),
    ("lk", "ft", "feet"),
)


def wrong_unit(reading: BookedReading) -> Found:
    """Feet for metres, links for feet, or the other way round."""
    parts = _parts(reading)
    if len(parts) != 1:
        return
    booked, number = parts[0].unit, float(parts[0].digits)
    for taken, read, words in CONFUSED_UNITS:
        if booked == taken:
            names = {"m": "metres", "ft": "feet", "lk": "links"}
            yield number * METRES_PER[read], f"{parts[0].digits} {read}", f"{words} booked as {names[taken]}"


def other_side(reading: BookedReading) -> Found:
    """Left for right."""
    if reading.side:
        meant, booked = ("right", "left") if reading.side > 0 else ("left", "right")
        yield -reading.metres, f"{meant} {reading.length.text.lstrip('~ ')}", f"{booked} booked for {meant}"


#: Every slip of one reading, by name.
SLIPS: Final[dict[str, Callable[[BookedReading], Found]]] = {
    "whole-tape": whole_tape,
    "misread-unit": misread_unit,
    "exchanged-digits": exchanged_digits,
    "confused-digits": confused_digits,
    "moved-point": moved_point,
    "wrong-end": wrong_end,
    "wrong-unit": wrong_unit,
    "other-side": other_side,
}


@lru_cache(maxsize=4096)
def meant(reading: BookedReading) -> tuple[Meant, ...]:
    """Return every reading that may have been meant, each value once with its likeliest slip.

    Distances come out positive; only a chainage may be negative, and only an offset change its side.

    Examples
    --------
    >>> reading = BookedReading(Length(46.05, None, "46.05"), "m", tape=30)
    >>> [m.text for m in meant(reading) if m.kind == "whole-tape"]
    ['76.05', '16.05', '106.05']
    """
    found: dict[float, Meant] = {}
    for kind, slip in SLIPS.items():
        for metres, text, words in slip(reading):
            key = round(metres, 6)
            sound = metres > 0 or reading.whole is not None or kind == "other-side"
            if sound and abs(metres - reading.metres) > 1e-9 and key not in found:
                found[key] = Meant(metres, text, words, kind)
    return tuple(found.values())
