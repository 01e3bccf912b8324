"""The earth's magnetic field by the IGRF, from the coefficients that the package ppigrf carries.

Its own reader brings pandas, over a second of waiting for one number; this needs nothing but the file.
The tests hold the two against each other.
"""

from __future__ import annotations

import datetime
from calendar import isleap
from functools import lru_cache
from importlib.util import find_spec
from math import cos, hypot, radians, sin, sqrt
from pathlib import Path
from typing import Final

__all__ = ["horizontal_field"]

COEFFICIENTS: Final = "IGRF14.shc"
REFERENCE_RADIUS: Final = 6371.2  # km, of the model
SEMI_MAJOR: Final = 6378.137  # km, WGS 84
SQUARE: Final = 0.00669437999014  # first eccentricity squared, WGS 84
DEGREES: Final = 13  # of the model


def horizontal_field(
    day: datetime.date, *, longitude_deg: float, latitude_deg: float, height: float
) -> tuple[float, float]:
    """Return the field towards east and towards north, nanotesla.

        V = a Σₙ (a/r)ⁿ⁺¹ Σₘ (gₙₘ cos mλ + hₙₘ sin mλ) Pₙₘ(cos θ),   B = -∇V

    Parameters
    ----------
    day
        Within the years of the model, 1900 to 2029.
    longitude_deg, latitude_deg
        Of the place on WGS 84, degrees.
    height
        Above the ellipsoid, metres.

    References
    ----------
    P. Alken and others, International Geomagnetic Reference Field, equation 1, with the Schmidt
    quasi-normalised functions; from memory, checked against two other programs.
    """
    latitude, longitude = radians(max(min(latitude_deg, 89.9999), -89.9999)), radians(longitude_deg)
    across = SEMI_MAJOR / sqrt(1 - SQUARE * sin(latitude) ** 2)
    x = (across + height / 1000) * cos(latitude)
    z = (across * (1 - SQUARE) + height / 1000) * sin(latitude)
    radius = hypot(x, z)
    s, c = x / radius, z / radius
    p, slope = _legendre(s, c)
    up = south = east = 0.0
    for (n, m), (g, h) in _coefficients(_decimal_year(day)).items():
        shrunk = (REFERENCE_RADIUS / radius) ** (n + 2)
        wave = g * cos(m * longitude) + h * sin(m * longitude)
        up += (n + 1) * shrunk * wave * p[n, m]
        south -= shrunk * wave * slope[n, m]
        east -= shrunk * m * (h * cos(m * longitude) - g * sin(m * longitude)) * p[n, m] / s
    # From the sphere's north to the ellipsoid's: up leans by the difference of the two latitudes.
    lean_sin = sin(latitude) * s - cos(latitude) * c
    lean_cos = cos(latitude) * s + sin(latitude) * c
    return east, -south * lean_cos - up * lean_sin


def _legendre(s: float, c: float) -> tuple[dict[tuple[int, int], float], dict[tuple[int, int], float]]:
    """Return Schmidt's functions of s = sin θ and c = cos θ, and their slopes by θ."""
    p, slope = {(0, 0): 1.0}, {(0, 0): 0.0}
    for n in range(1, DEGREES + 1):
        down = sqrt((2 * n - 1) / (2 * n)) if n > 1 else 1.0
        p[n, n] = down * s * p[n - 1, n - 1]
        slope[n, n] = down * (s * slope[n - 1, n - 1] + c * p[n - 1, n - 1])
        for m in range(n):
            before = sqrt((n - 1) ** 2 - m * m)
            whole = sqrt(n * n - m * m)
            p[n, m] = ((2 * n - 1) * c * p[n - 1, m] - before * p.get((n - 2, m), 0.0)) / whole
            turned = c * slope[n - 1, m] - s * p[n - 1, m]
            slope[n, m] = ((2 * n - 1) * turned - before * slope.get((n - 2, m), 0.0)) / whole
    return p, slope


def _decimal_year(day: datetime.date) -> float:
    return day.year + (day.timetuple().tm_yday - 1) / (366 if isleap(day.year) else 365)


@lru_cache(maxsize=8)
def _coefficients(year: float) -> dict[tuple[int, int], tuple[float, float]]:
    """Return g and h of each degree and order for a year, straight between the years of the file, nanotesla."""
    package = find_spec("ppigrf")
    if package is None or package.origin is None:
        raise ModuleNotFoundError("ppigrf, which carries the coefficients of the IGRF, is not installed")
    text = (Path(package.origin).parent / COEFFICIENTS).read_text("ascii")
    _, years, *rows = [line.split() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    epochs = [float(epoch) for epoch in years]
    later = next(n for n, epoch in enumerate(epochs) if epoch > year)
    share = (year - epochs[later - 1]) / (epochs[later] - epochs[later - 1])
    found: dict[tuple[int, int], float] = {}
    for n, m, *values in rows:
        before, after = float(values[later - 1]), float(values[later])
        found[int(n), int(m)] = before + share * (after - before)
    # The file gives h under a negative order.
    return {(n, m): (g, found.get((n, -m), 0.0) if m else 0.0) for (n, m), g in found.items() if m >= 0}
