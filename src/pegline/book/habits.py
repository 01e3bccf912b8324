"""The notation of a book: the units, fractions and angles that its own readings are written in."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Final

from pegline.book.model import Book
from pegline.measures.notation import Notation, length_notation
from pegline.measures.values import Length, Reading

__all__ = ["notation_of"]

#: The unit of areas where the book asks for none, by its unit of length; square metres otherwise.
AREA_BY_UNIT: Final[Mapping[str, str]] = {
    **dict.fromkeys(("ft", "ft-us", "ft-indian", "in", "yd", "lk-eng", "ch-eng"), "square feet"),
    **dict.fromkeys(("lk", "ch", "lk-us", "ch-us"), "acre"),
}
_BEARING_DECIMALS: Final = re.compile(r"\d+(?:\.(\d+))?°?", re.ASCII)


def notation_of(book: Book) -> Notation:
    """Return how a book writes lengths, areas and bearings: as most of its own readings are."""
    units, step = length_notation(_lengths(book), book.unit)
    areas = tuple(dict.fromkeys(book.sheet.areas)) or (AREA_BY_UNIT.get(book.unit, "m2"),)
    decimals = _bearing_decimals(book)
    return Notation(units, step, areas, minutes=decimals is None, bearing_decimals=decimals or 0)


def _lengths(book: Book) -> Iterator[Length]:
    """Yield the lengths read along and off the lines, and between points."""
    for line in book.lines.values():
        if line.unit is None:
            for taped in (*line.taped, *line.legs):
                yield taped.reading.length
            for row in line.details:
                for reading in (*row.at, *row.offsets):
                    if isinstance(reading, Reading):
                        yield reading.length
    for dimension in book.dimensions:
        yield from (reading.length for reading in dimension.readings)


def _bearing_decimals(book: Book) -> int | None:
    """Return the decimals of a degree that bearings are written with; None where minutes are written, or none."""
    texts = [angle.text for bearing in (book.north.bearings if book.north else ()) for angle in bearing.angles]
    matches = [_BEARING_DECIMALS.fullmatch(text) for text in texts]
    if not matches or not all(matches):
        return None
    return max(len(match[1] or "") for match in matches if match)
