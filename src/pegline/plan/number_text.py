"""How lengths, bearings and areas are written on a plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import degrees
from typing import Final

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

#: How a unit of length is called on a sheet.
UNIT_WORDS: Final[Mapping[str, str]] = {
    "m": "metres",
    "cm": "centimetres",
    "mm": "millimetres",
    "ft": "feet",
    "ft-us": "US survey feet",
    "ft-indian": "Indian feet",
    "in": "inches",
    "yd": "yards",
    "lk": "links",
    "ch": "chains",
    "lk-us": "US survey links",
    "ch-us": "US survey chains",
    "lk-eng": "engineer's links",
    "ch-eng": "engineer's chains",
    "lk-20cm": "metric links",
    "ch-20m": "chains of 20 m",
    "ch-30m": "chains of 30 m",
}

ACRE: Final = 4046.8564224  # exact: 10 square chains of 66 international feet


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


def _square_metres(area: float) -> str:
    return f"{_plain(area, 2 if area < 100 else 1)} m²"


def _acres_roods_perches(area: float) -> str:
    """Return acres, roods and perches: 4 roods an acre, 40 perches a rood."""
    perches = round(area / ACRE * 160, 1)
    acres, rest = divmod(perches, 160)
    roods, perches = divmod(rest, 40)
    return f"{acres:.0f} a {roods:.0f} r {perches:.1f} p"


#: Units to print areas in, by the names that a book may use.
AREA_UNITS: Final[Mapping[str, Callable[[float], str]]] = {
    "m2": _square_metres,
    "square metre": _square_metres,
    "hectare": lambda area: f"{_plain(area / 10_000, 4)} ha",
    "acre": lambda area: f"{_plain(area / ACRE, 4)} acres",
    "acre-rood-perch": _acres_roods_perches,
    "square feet": lambda area: f"{_plain(area / 0.3048**2, 0)} sq ft",
    "square chains": lambda area: f"{_plain(area / 20.1168**2, 3)} sq ch",
}


def area_text(area: float, unit: str = "m2") -> str:
    """Return an area in a unit, with its name.

    >>> area_text(58.304), area_text(4046.8564224, "acre-rood-perch")
    ('58.30 m²', '1 a 0 r 0.0 p')
    """
    return AREA_UNITS.get(unit, _square_metres)(area)
