"""A reading as it stands in the book, and other lengths written as the book writes it: unit, parts, fractions."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from math import floor, nan
from typing import Final

from pegline.errors import Place
from pegline.measures.lengths import UNIT_MARKS, length_of_text
from pegline.measures.reading_log import Misread
from pegline.measures.scalars import plain_signs
from pegline.measures.values import Length
from pegline.records import record
from pegline.units import METRES_PER

__all__ = ["EXACT", "BookedReading", "NumberPart", "as_booked", "bare", "number_parts", "with_number"]


_NUMBER: Final = re.compile(r"(?:(\d+)\s+)?(\d+)/(\d+)|(\d+(?:\.\d*)?|\.\d+)")
_PART: Final = re.compile(rf"({_NUMBER.pattern})\s*([a-zA-Z]+(?:-[a-zA-Z]\w*)*|''|['′’\"″”])?")
FINEST_SUGGESTION: Final = 0.012  #: a suggestion is written at least so fine, metres,
EXACT: Final = 5e-4  #: unless it is a round one within so much, metres
#: Steps in which a reading is looked for whose effect is no straight line, and for its slope.
MAX_NEWTON_STEPS, NEWTON_METRES = 20, 1e-5


@record(frozen=True, slots=True)
class BookedReading:
    """One reading as it stands in the book, with what its slips depend on."""

    length: Length  #: as booked
    unit: str  #: of a bare number here
    tapes: tuple[float, ...]  #: nominal lengths of the book's tapes, its own first, metres
    tape_words: str = "tape"  #: what its own is called: tape or chain
    whole: float | None = None  #: length of the line that a chainage runs along, metres as read; None: no chainage
    side: int = 0  #: of an offset: +1 left, -1 right; 0: no offset
    place: Place | None = None
    share: float = 1.0  #: how much of a small change of the reading goes into the measurement
    part: bool = False  #: one of several that make up the measurement, as legs do; else several are of the same length
    #: What the measurement has of this reading, metres, where it is worked out from several; NaN where that is nothing.
    effect: Callable[[float], float] | None = None

    def change_to(self, metres: float) -> float:
        """Return what the measurement changes by when the reading is another, metres."""
        if self.effect is None:
            return self.share * (metres - self.metres)
        return self.effect(metres) - self.effect(self.metres)

    def metres_for(self, change: float) -> float:
        """Return what the reading would be for the measurement to change by so much, metres; NaN where it cannot."""
        metres = self.metres + change / self.share if self.share else nan
        if self.effect is None:
            return metres
        for _ in range(MAX_NEWTON_STEPS):  # an effect is no straight line
            missing = change - self.change_to(metres)
            slope = (self.effect(metres + NEWTON_METRES) - self.effect(metres - NEWTON_METRES)) / (2 * NEWTON_METRES)
            if not abs(missing) > EXACT / 10 or not slope:  # also where there is no figure, and both are NaN
                break
            metres += missing / slope
        return metres if abs(missing) < EXACT else nan

    @property
    def metres(self) -> float:
        """Return the reading in metres."""
        return self.length.metres(self.unit)

    @property
    def text(self) -> str:
        """Return the reading as written, without the mark of doubt."""
        return bare(self.length.text)


def bare(text: str) -> str:
    """Return a reading as written, without the mark of doubt."""
    return text.lstrip("~ ")


@record(frozen=True, slots=True)
class NumberPart:
    """One number of a booked length, with its unit."""

    number: str  #: as written, a fraction with it
    unit: str
    start: int  #: where the number stands in the text
    end: int

    @property
    def denominator(self) -> int:
        """Return in how many parts the unit is written, 0 for decimals."""
        return int(self.number.rpartition("/")[2]) if "/" in self.number else 0

    @property
    def decimals(self) -> int:
        """Return the number of decimals."""
        return len(self.number.partition(".")[2])


def number_parts(reading: BookedReading) -> list[NumberPart]:
    """Return the numbers of a booked length, a bare one in the unit that it stands for."""
    fallback = reading.length.unit or reading.unit
    parts = [
        NumberPart(match[1], UNIT_MARKS.get(match[6], match[6]) if match[6] else fallback, match.start(1), match.end(1))
        for match in _PART.finditer(_plain(reading))
    ]
    return [part for part in parts if part.unit in METRES_PER]


def _plain(reading: BookedReading) -> str:
    return plain_signs(bare(reading.length.text)).lstrip("+-").strip()


def as_booked(metres: float, like: BookedReading) -> str:
    """Return a length as the book writes it: the unit, the parts and the fractions of another reading.

    Examples
    --------
    >>> as_booked(12.5, BookedReading(Length(3.0, None, "3.00"), "m", (30,)))
    '12.50'
    >>> as_booked(12.3444, BookedReading(Length(3.5, "ft", "3 ft 6 in"), "m", (30,)))
    '40 ft 6 in'
    >>> as_booked(29.508, BookedReading(Length(97.8125, "ft", "97 ft 9 3/4 in"), "m", (30,)))
    '96 ft 9 3/4 in'
    """
    parts, text = number_parts(like), _plain(like)
    if not parts:
        return f"{metres / METRES_PER[like.unit]:.2f}"
    steps = _steps(parts[-1], abs(metres))
    left = Fraction(floor(abs(metres) / METRES_PER[parts[-1].unit] * steps + 0.5), steps)
    numbers = []
    for part in parts[:-1]:
        size = round(METRES_PER[part.unit] / METRES_PER[parts[-1].unit])
        numbers.append(str(left // size))
        left %= size
    numbers.append(_number_text(left, parts[-1], steps))
    for part, number in reversed(list(zip(parts, numbers, strict=True))):
        text = text[: part.start] + number + text[part.end :]
    return ("-" if metres < 0 else "") + text


def _steps(part: NumberPart, metres: float) -> int:
    """Return in how many steps the last unit is written: as booked, or fine enough to tell what is meant."""
    fractions = part.denominator or (part.unit == "in" and not part.decimals)
    steps = max(part.denominator, 1) if fractions else 10**part.decimals
    size = METRES_PER[part.unit]
    while size / steps > FINEST_SUGGESTION and abs(metres - round(metres / size * steps) * size / steps) > EXACT:
        steps *= 2 if fractions else 10
    return int(steps)


def _number_text(number: Fraction, part: NumberPart, steps: int) -> str:
    if not part.denominator and not (part.unit == "in" and not part.decimals):
        return f"{float(number):.{len(str(steps)) - 1}f}"
    whole, rest = divmod(number, 1)
    if not rest:
        return str(int(whole))
    return f"{int(whole)} {rest}" if whole else str(rest)


def with_number(reading: BookedReading, part: NumberPart, number: str) -> tuple[float, str] | None:
    """Return metres and text of a reading with the number of one part written otherwise, where that is a length."""
    text = _plain(reading)
    negative = reading.metres < 0
    written = ("-" if negative else "") + text[: part.start] + number + text[part.end :]
    try:
        return length_of_text(written).metres(reading.unit), written
    except Misread:
        return None
