"""How lengths, bearings and areas are written on a plan."""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees
from typing import Final

from pegline.measures.notation import AREA_UNITS, UNIT_WORDS, area_text
from pegline.units import METRES_PER

__all__ = ["AREA_UNITS", "UNIT_WORDS", "area_text", "bearing_text", "length_text", "sd_text", "signed"]

#: Decimals that show about a centimetre, by unit; others show two.
DECIMALS: Final[Mapping[str, int]] = {
    "mm": 0,
    "cm": 0,
    "in": 0,
    "ft": 1,
    "ft-us": 1,
    "ft-indian": 1,
    "lk": 1,
    "lk-us": 1,
    "ch": 3,
    "ch-us": 3,
}


def length_text(metres: float, unit: str) -> str:
    """Return a length in a unit, without the unit's name.

    >>> length_text(12.345, "m"), length_text(3.048, "ft")
    ('12.35', '10.0')
    """
    return _plain(metres / METRES_PER[unit], DECIMALS.get(unit, 2))


def _plain(value: float, decimals: int) -> str:
    """Return a number, halves to even as floats round, and never '-0'."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def signed(value: float, decimals: int = 3) -> str:
    """Return a difference with its sign; never '-0'.

    >>> signed(0.0124), signed(-0.0001)
    ('+0.012', '+0.000')
    """
    return f"{round(value, decimals) + 0.0:+.{decimals}f}"


def sd_text(metres: float) -> str:
    """Return a standard deviation or a reach for people: millimetres under 0.1 m, then metres.

    >>> sd_text(0.0234), sd_text(0.31)
    ('23 mm', '0.31 m')
    """
    return f"{metres * 1000:.0f} mm" if metres < 0.0995 else f"{metres:.2f} m"


def bearing_text(radians: float) -> str:
    """Return a bearing in degrees and minutes, clockwise from north.

    >>> bearing_text(1.1082)
    "63°30'"
    """
    minutes = round(degrees(radians) * 60) % (360 * 60)
    return f"{minutes // 60}°{minutes % 60:02d}'"
