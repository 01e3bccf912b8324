"""Readings of the wrong size: a decimal point lost, or another unit than the one meant.

No check shows such a mistake in a detail that is booked once; the size alone does. Each rule names the row itself,
and the reading that would fit where moving the point gives one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Final

import numpy as np

from pegline.book.habits import notation_of
from pegline.book.model import Book
from pegline.diagnosis.rules.phrases import booked_text, rows_beyond_lines
from pegline.diagnosis.rules.thumb import FAR_TIMES, Remarks
from pegline.errors import Place
from pegline.measures.values import Length, Reading
from pegline.plane import Array
from pegline.reduction.model import Reduction
from pegline.solved import Solved

__all__ = [
    "SIZE_RULES",
    "decimals_among_inches",
    "far_chainage",
    "far_chainages",
    "far_offset",
    "far_offsets",
    "finer_than_a_tape",
    "moved_point",
    "odd_size",
    "usual_decimals",
]

OddRows = Iterator[tuple[str, str, Place]]

#: The rules of findings that tell a reading of the wrong size: they are told before all else.
SIZE_RULES: Final = frozenset({"far-chainage", "far-offset", "odd-size", "finer-than-a-tape", "decimals-among-inches"})
STOUTEST: Final = 15.0  #: girth of a trunk, metres
#: An offset written without a decimal point where others have one is longer than is taped, metres.
FAR_METRES: Final = 20.0
MOSTLY: Final = 0.75  #: share of a book's readings that makes a habit of writing
_PLAIN: Final = re.compile(r"(\d+)(?:\.(\d+))?\s*([a-z-]*)", re.ASCII)


def usual_decimals(book: Book) -> int | None:
    """Return how many decimals most bare readings of a book have; None where no number of them is usual."""
    counts: Counter[int] = Counter()
    for reading, _ in _readings(book):
        counts.update(_decimals(reading.length))
    if not counts:
        return None
    most, number = counts.most_common(1)[0]
    return most if number >= MOSTLY * counts.total() else None


def _readings(book: Book) -> Iterator[tuple[Reading, str]]:
    """Yield every reading off a tape with the unit of a bare number in it."""
    for line in book.lines.values():
        unit = book.unit_of(line.name)
        for taped in (*line.taped, *line.legs):
            yield taped.reading, unit
        for row in line.details:
            for reading in (*row.at, *row.offsets):
                if isinstance(reading, Reading):
                    yield reading, unit
    for dimension in book.dimensions:
        yield from ((reading, book.unit) for reading in dimension.readings)
    for arc in book.arcs:
        yield from ((reading, book.unit) for arm in arc.arms for reading in arm.readings)
    for witnesses in book.witnesses.values():
        yield from ((reading, book.unit) for witness in witnesses for reading in witness.readings)


def _decimals(length: Length) -> Iterator[int]:
    match = _PLAIN.fullmatch(length.text.lstrip("~ "))
    if match and not match[3]:
        yield len(match[2] or "")


def moved_point(length: Length, decimals: int | None, fits: Callable[[float], bool]) -> str | None:
    """Return a reading with its decimal point moved by one to three places, as written, where that fits.

    Parameters
    ----------
    decimals
        How many the book usually writes: such a reading is taken first.
    fits
        Whether a number in the reading's own unit would do.

    Examples
    --------
    >>> moved_point(Length(1519.0, None, "1519"), 2, lambda value: value < 40)
    '15.19'
    """
    match = _PLAIN.fullmatch(length.text.lstrip("~ "))
    if not match:
        return None
    digits, written = match[1] + (match[2] or ""), len(match[2] or "")
    places = sorted((written + 1, written + 2, written + 3), key=lambda count: (count != decimals, count))
    for count in places:
        padded = digits.zfill(count + 1)
        text = f"{padded[:-count]}.{padded[-count:]}"
        if fits(float(text)):
            return f"{text} {match[3]}".strip()
    return None


def _cure(length: Length, decimals: int | None, most: float, unit: str) -> str:
    """Return what a reading that is too long may have been."""
    one = Length(1.0, length.unit, "").metres(unit)
    moved = moved_point(length, decimals, lambda value: 0 < value * one <= most)
    lost = f"a decimal point is lost, perhaps {moved}" if moved else "a decimal point is lost"
    return f"look whether {lost}, or the unit or the line is another"


def far_chainage(solved: Solved, times: float) -> Remarks:
    """Chainages at twice their line's length and more."""
    yield from ((text, place) for _, text, place in far_chainages(solved.book, solved.reduction, times))


def far_offset(solved: Solved, limit: None) -> Remarks:
    """Offsets longer than the longest line, and long ones written without a decimal point where the book has one."""
    yield from ((text, place) for _, text, place in far_offsets(solved.book, solved.reduction))


def far_chainages(book: Book, reduction: Reduction, times: float = FAR_TIMES) -> OddRows:
    """Yield the chainages at so many times their line's length and more, with the names of their rows."""
    lengths = {name: line.ground.length for name, line in reduction.lines.items()}
    far = [
        (row, booked, lengths[row.line])
        for row in rows_beyond_lines(reduction)
        for booked, chainage in zip(row.booked.at, row.chainages, strict=True)
        if abs(chainage) >= times * lengths[row.line] and isinstance(booked, Reading)
    ]
    if not far:
        return  # what the whole book is like need not be looked at
    decimals, notation = usual_decimals(book), notation_of(book)
    for row, booked, length in far:
        unit = book.unit_of(row.line)
        text = f"chainage {booked_text(booked.length, unit)} to {row.name} on a line of {notation.length(length)}"
        yield row.name, f"{text}; {_cure(booked.length, decimals, length, unit)}", booked.place


def far_offsets(book: Book, reduction: Reduction) -> OddRows:
    """Yield the offsets that are hardly what was read, with the names of their rows."""
    longest = max((line.ground.length for line in reduction.lines.values() if line.use != "detail"), default=0.0)
    usual = book.limits.offset.metres(book.unit) if book.limits.offset else FAR_METRES / 2
    least = min(longest, max(FAR_METRES, usual))
    far = [
        (row, reading, unit)
        for row in reduction.rows
        for unit in (book.unit_of(row.line),)
        for reading in row.booked.offsets
        if reading.length.metres(unit) > least
    ]
    if not far:
        return  # what the whole book is like need not be looked at
    decimals, whole = usual_decimals(book), notation_of(book).length(longest)
    for row, reading, unit in far:
        beyond = reading.length.metres(unit) > longest
        unpointed = reading.length.metres(unit) > max(FAR_METRES, usual) and list(_decimals(reading.length)) == [0]
        if beyond or (unpointed and decimals):
            why = f" on a survey whose longest line is {whole}" if beyond else ""
            text = f"the offset of {booked_text(reading.length, unit)} to {row.name}{why}"
            yield row.name, f"{text}; {_cure(reading.length, decimals, usual, unit)}", reading.place


def odd_size(solved: Solved, widest: float) -> Remarks:
    """Girths that no tree has, and spreads that are wider than any or than the plot."""
    sized = [row for row in solved.reduction.rows if row.booked.girth is not None or row.booked.spread is not None]
    extent = _extent(solved, widest) if sized else widest
    for row in sized:
        unit = solved.book.unit_of(row.line)
        sizes = (("girth", row.booked.girth, STOUTEST), ("spread", row.booked.spread, min(widest, extent)))
        for what, length, most in sizes:
            if length is not None and length.metres(unit) > most:
                text = f"the {what} of {row.name} is {booked_text(length, unit)}"
                yield f"{text}; look for a lost decimal point or another unit", row.booked.place


def _extent(solved: Solved, otherwise: float) -> float:
    """Return how far the plot reaches along its wider axis, metres."""
    at: Array = np.array(list(solved.positions.values())).reshape(-1, 2)
    return float(np.ptp(at, axis=0).max()) if len(at) > 1 else otherwise


_FINE_UNITS: Final = frozenset({"mm", "cm"})
_TOO_FINE: Final = re.compile(r"(\d+\.\d+) ?mm|(\d+\.\d\d+) ?cm", re.ASCII)


def finer_than_a_tape(solved: Solved, limit: None) -> Remarks:
    """Readings in millimetres or centimetres to a tenth of a millimetre or finer, which no tape shows."""
    for reading, unit in _readings(solved.book):
        if reading.length.unit not in _FINE_UNITS:
            continue
        text = reading.length.text.lstrip("~ ")
        if match := _TOO_FINE.fullmatch(text):
            likely = f"{match[1] or match[2]} {unit}"
            yield (
                f"{text} is finer than a tape is read; look whether the unit is wrong, and {likely} is meant",
                reading.place,
            )


def decimals_among_inches(solved: Solved, limit: None) -> Remarks:
    """Decimals of a foot in a book that writes feet and inches: often inches behind a point."""
    notation = solved.notation
    if notation.units != ("ft", "in"):
        return
    for reading, unit in _readings(solved.book):
        match = _PLAIN.fullmatch(reading.length.text.lstrip("~ "))
        if match and match[2] and (match[3] or unit) == "ft":
            read = notation.length(reading.length.metres(unit))
            inches = int(match[2])
            alternative = f", or {match[1]} ft {inches} in if that is meant" if inches < 12 else ""
            text = f"{reading.length.text} among feet and inches is read as {read}"
            yield f"{text}; write it so{alternative}", reading.place
