"""The mistakes people make in reading a tape and booking it: what else a booked reading might have been.

Each is a pure function from one booked reading to the readings that may have been meant, as the book would
write them, and one row of ``SLIPS``, which says how likely it is. The list is common practice of tape surveys:
whoever misreads a tape misreads it in few ways.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import isfinite
from typing import Final

from pegline.diagnosis.suspects.booked_reading import (
    EXACT,
    BookedReading,
    as_booked,
    number_parts,
    with_number,
)
from pegline.errors import Place
from pegline.records import record
from pegline.units import METRES_PER

__all__ = [
    "SLIPS",
    "USUAL_SHARE",
    "Meant",
    "Slip",
    "SlipKind",
    "meant_readings",
    "slips",
    "spread_of",
]


@record(frozen=True, slots=True)
class Meant:
    """What may have been meant, and the slip that made what is booked of it."""

    metres: float  #: the reading meant; negative for an offset to the other side
    text: str  #: as the book would write it
    words: str  #: the slip
    kind: str  #: its row in ``SLIPS``


@record(frozen=True, slots=True)
class Slip:
    """A slip that would explain what a measurement has to change by."""

    words: str
    reading: str  #: as booked
    would_be: str  #: as the book would write it
    place: Place | None
    change: float  #: of the measurement
    kind: str  #: its row in ``SLIPS``, or what else its reading is
    share: float  #: of the prior, all slips of its kind in one reading together
    spread: float = 0.0  #: χ² of the readings of one measurement about their mean, once it is undone


Found = Iterator[tuple[float, str, str]]  #: metres, text and words of what may have been meant


def whole_tape(reading: BookedReading) -> Found:
    """A whole tape or chain length not counted, or counted twice, of any tape of the book."""
    for tape in dict.fromkeys(reading.tapes):
        size = f"a whole {reading.tape_words} length of {_round_length(tape, reading)}"
        for sign, done in ((1, "dropped"), (-1, "added")):
            yield _slip_by(reading, sign * tape, f"{size} {done}")


def two_tapes(reading: BookedReading) -> Found:
    """Two whole tape or chain lengths not counted, or counted twice."""
    for sign, done in ((1, "dropped"), (-1, "added")):
        yield _slip_by(reading, sign * 2 * reading.tapes[0], f"two whole {reading.tape_words} lengths {done}")


#: Lengths of tapes that are usual where a unit is, in that unit (common practice).
USUAL_TAPES: Final = {"m": (20.0, 30.0, 50.0), "ft": (50.0, 66.0, 100.0)}


def unnamed_tape(reading: BookedReading) -> Found:
    """A whole length of a usual tape that the book does not name."""
    unit = reading.length.unit or reading.unit
    for size in USUAL_TAPES.get(unit, ()):
        tape = size * METRES_PER[unit]
        if not any(abs(tape - named) < EXACT for named in reading.tapes):
            words = f"{_round_length(tape, reading)}, the length of a usual tape,"
            for sign, done in ((1, "dropped"), (-1, "added")):
                yield _slip_by(reading, sign * tape, f"{words} {done}")


def _round_length(metres: float, reading: BookedReading) -> str:
    """Return the length of a tape in the reading's unit, with no decimals that it does not need."""
    unit = reading.length.unit or reading.unit
    size = metres / METRES_PER[unit]
    return f"{size:.0f} {unit}" if abs(size - round(size)) < 1e-6 else f"{size:.2f} {unit}"


def _slip_by(reading: BookedReading, change: float, words: str) -> tuple[float, str, str]:
    return reading.metres + change, as_booked(reading.metres + change, reading), words


def misread_unit(reading: BookedReading) -> Found:
    """One, five or ten units misread: metres, feet, or links where chains and links are booked."""
    units = [part.unit for part in number_parts(reading)] or [reading.length.unit or reading.unit]
    unit = next((unit for unit in units if not unit.startswith("ch")), units[-1])
    for count in (1, 5, 10):
        for sign in (1, -1):
            yield _slip_by(reading, sign * count * METRES_PER[unit], f"{count} {unit} misread")


def exchanged_digits(reading: BookedReading) -> Found:
    """Two neighbouring digits exchanged."""
    for part in number_parts(reading):
        digits = part.number.partition(" ")[0]
        if "/" in digits:
            continue
        places = [place for place, sign in enumerate(digits) if sign.isdigit()]
        for one, two in pairwise(places):
            if digits[one] != digits[two]:
                other = f"{digits[:one]}{digits[two]}{digits[one + 1 : two]}{digits[one]}{digits[two + 1 :]}"
                changed = with_number(reading, part, other + part.number[len(digits) :])
                if changed:
                    yield (*changed, f"the digits {digits[one]} and {digits[two]} exchanged")


def confused_digits(reading: BookedReading) -> Found:
    """A digit taken for one that looks like it."""
    alike = {"6": "9", "9": "6", "1": "7", "7": "1", "3": "8", "8": "3"}
    for part in number_parts(reading):
        digits = part.number.partition(" ")[0]
        for at, sign in enumerate(digits if "/" not in digits else ""):
            if sign in alike:
                other = digits[:at] + alike[sign] + digits[at + 1 :]
                changed = with_number(reading, part, other + part.number[len(digits) :])
                if changed:
                    article = "an" if alike[sign] == "8" else "a"
                    yield (*changed, f"{article} {alike[sign]} booked as {'an' if sign == '8' else 'a'} {sign}")


def moved_decimal_point(reading: BookedReading) -> Found:
    """The decimal point one place off."""
    parts = number_parts(reading)
    if len(parts) == 1 and not parts[0].denominator:
        for factor, way in ((Fraction(10), "left"), (Fraction(1, 10), "right")):
            decimals = max(parts[0].decimals + (1 if factor < 1 else -1), 0)
            changed = with_number(reading, parts[0], f"{float(Fraction(parts[0].number) * factor):.{decimals}f}")
            if changed:
                yield (*changed, f"the decimal point booked one place too far {way}")


def wrong_end(reading: BookedReading) -> Found:
    """Read from the wrong end: of the line for a chainage, of the tape for any other distance."""
    if reading.whole is not None:
        yield _slip_by(reading, reading.whole - 2 * reading.metres, "read from the wrong end of the line")
    elif reading.metres < reading.tapes[0]:
        words = f"read from the wrong end of the {reading.tape_words}"
        yield _slip_by(reading, reading.tapes[0] - 2 * reading.metres, words)


#: Units that are taken for each other: what is booked, what was read, in words.
CONFUSED_UNITS: Final = (
    ("m", "ft", "feet booked as metres"),
    ("ft", "m", "metres booked as feet"),
    ("ft", "lk", "links booked as feet"),
    ("lk", "ft", "feet booked as links"),
)


def wrong_unit(reading: BookedReading) -> Found:
    """Feet for metres, links for feet, or the other way round."""
    parts = number_parts(reading)
    if len(parts) != 1 or parts[0].denominator:
        return
    for unit_taken, read, words in CONFUSED_UNITS:
        if parts[0].unit == unit_taken:
            yield float(parts[0].number) * METRES_PER[read], f"{parts[0].number} {read}", words


def other_side(reading: BookedReading) -> Found:
    """Left for right."""
    if reading.side:
        likely, booked = ("right", "left") if reading.side > 0 else ("left", "right")
        yield -reading.metres, f"{likely} {reading.text}", f"{booked} booked for {likely}"


@record(frozen=True, slots=True)
class SlipKind:
    """A row of ``SLIPS``."""

    find: Callable[[BookedReading], Found]
    share: float = 0.02  #: of the prior, all of the kind in one reading together (a guess: nobody has counted)


USUAL_SHARE: Final = 0.5  #: one reading wrong in one of the four usual ways
#: Every slip of one reading, by name. How mistakes share out over them is common practice (a tape dropped and a unit
#: misread are the commonest) and must not decide. Two mistakes are one and one again: the product of their shares.
SLIPS: Final[dict[str, SlipKind]] = {
    "whole-tape": SlipKind(whole_tape, 0.3 * USUAL_SHARE),
    "misread-unit": SlipKind(misread_unit, 0.3 * USUAL_SHARE),
    "exchanged-digits": SlipKind(exchanged_digits, 0.2 * USUAL_SHARE),
    "confused-digits": SlipKind(confused_digits, 0.2 * USUAL_SHARE),
    "two-tapes": SlipKind(two_tapes),
    "unnamed-tape": SlipKind(unnamed_tape, 0.04),
    "moved-point": SlipKind(moved_decimal_point),
    "wrong-end": SlipKind(wrong_end),
    "wrong-unit": SlipKind(wrong_unit),
    "other-side": SlipKind(other_side),
}


@lru_cache(maxsize=4096)
def meant_readings(reading: BookedReading) -> tuple[Meant, ...]:
    """Return every reading that may have been meant, each value once with its likeliest slip.

    No slip turns a reading about: what is booked forward was read forward, as a chainage behind the begin of its line
    was read behind it; only an offset may change its side.

    Examples
    --------
    >>> from pegline.measures.values import Length
    >>> reading = BookedReading(Length(46.05, None, "46.05"), "m", (30,))
    >>> [m.text for m in meant_readings(reading) if m.kind == "whole-tape"]
    ['76.05', '16.05']
    """
    by_value: dict[float, Meant] = {}
    for kind, row in SLIPS.items():
        for metres, text, words in row.find(reading):
            key = round(metres, 6)
            forward = metres > 0 or (metres == 0 and reading.whole is not None)
            sound = forward if reading.metres >= 0 else metres < 0
            if (sound or kind == "other-side") and abs(metres - reading.metres) > 1e-9 and key not in by_value:
                by_value[key] = Meant(metres, text, words, kind)
    return tuple(by_value.values())


def slips(booked: Sequence[BookedReading], sd: float) -> Iterator[Slip]:
    """Yield the slips of a measurement: of one of its readings, or of all of them alike.

    Parameters
    ----------
    booked
        Its readings: one, several of the same length, or the legs of a line.
    sd
        Standard deviation of one reading, metres.
    """
    several = len(booked) > 1 and not any(one.part for one in booked)
    for booking in booked:
        others = [b.metres for b in booked if b is not booking] if several else []
        for may in meant_readings(booking):
            change = booking.change_to(may.metres)
            if not isfinite(change):  # what would be meant makes no figure
                continue
            spread, share = spread_of([may.metres, *others], sd), SLIPS[may.kind].share
            yield Slip(may.words, booking.text, may.text, booking.place, change, may.kind, share, spread)
    if several:
        yield from _alike(booked, sd)


def spread_of(readings: Sequence[float], sd: float) -> float:
    """Return χ² of several readings of one length about their mean."""
    mean = sum(readings) / len(readings)
    return sum((reading - mean) ** 2 for reading in readings) / sd**2


def _alike(booked: Sequence[BookedReading], sd: float) -> Iterator[Slip]:
    """Yield the slips that are made the same way each time."""
    first = booked[0]
    spread = spread_of([b.metres for b in booked], sd)
    for may in meant_readings(first):
        change = may.metres - first.metres
        would = ", ".join(as_booked(b.metres + change, b) for b in booked)
        yield Slip(
            f"{may.words} each time",
            ", ".join(b.text for b in booked),
            would,
            first.place,
            change,
            may.kind,
            SLIPS[may.kind].share,
            spread,
        )
