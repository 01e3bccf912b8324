"""How figures and readings are written on the computation sheet."""

from __future__ import annotations

from math import degrees
from typing import Final

from pegline.errors import Place
from pegline.measures.values import Length, Reading

__all__ = [
    "NONE",
    "booked",
    "degrees_of",
    "length_text",
    "metres",
    "millimetres",
    "paper",
    "ratio",
    "signed",
    "where",
]

NONE: Final = "–"  #: a cell that has nothing to tell


def signed(value: float, decimals: int) -> str:
    """Return a number with its sign, and no sign at nought.

    >>> signed(0.126, 2), signed(-0.001, 2)
    ('+0.13', '0.00')
    """
    rounded = round(value, decimals)
    return f"{rounded:+.{decimals}f}" if rounded else f"{0.0:.{decimals}f}"


def millimetres(metres: float | None) -> str:
    """Return a difference in millimetres.

    >>> millimetres(-0.0123)
    '-12'
    """
    return NONE if metres is None else signed(1000 * metres, 0)


def paper(metres: float | None, scale: int) -> str:
    """Return a difference as it is on the plan, millimetres.

    >>> paper(0.05, 500)
    '+0.1'
    """
    return NONE if metres is None else signed(1000 * metres / scale, 1)


def ratio(difference: float | None, length: float) -> str:
    """Return a difference as a part of a length.

    >>> ratio(-0.05, 50.0), ratio(0.0, 50.0)
    ('1/1000', 'exact')
    """
    if difference is None:
        return NONE
    return f"1/{length / abs(difference):.0f}" if abs(difference) > length * 1e-6 else "exact"


def degrees_of(radians: float) -> str:
    """Return an angle in degrees.

    >>> degrees_of(0.5)
    '28.648°'
    """
    return f"{degrees(radians):.3f}°"


def where(place: Place | None) -> str:
    """Return line and column of the book."""
    return place.source if place else NONE


def metres(value: float | None) -> str:
    """Return a length to the millimetre.

    >>> metres(12.3456), metres(None)
    ('12.346', '–')
    """
    return NONE if value is None else f"{value + 0.0:.3f}"


def booked(reading: Reading, unit: str) -> str:
    """Return a reading as it was written, doubt and all."""
    if reading.either:
        return " or ".join(length_text(length, unit) for length in reading.either)
    return f"{'~' if reading.doubtful else ''}{length_text(reading.length, unit)}"


def length_text(length: Length, unit: str) -> str:
    """Return a length as it was written, with the unit of a bare number."""
    text = length.text.lstrip("~ ")
    return text if length.unit else f"{text} {unit}"
