"""The earth's magnetic field by the International Geomagnetic Reference Field, from the coefficients of ppigrf.

The package ppigrf carries the official coefficients, but its own functions load pandas, which takes longer
than a whole survey; the sum of harmonics below needs a millisecond.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from functools import cache
from importlib.util import find_spec
from math import cos, hypot, radians, sin, sqrt
from pathlib import Path
from typing import Final

__all__ = ["FIRST_YEAR", "LAST_YEAR", "field_at"]

#: Years that the coefficients cover (IGRF-14); the last five are a forecast.
FIRST_YEAR: Final = 1900
LAST_YEAR: Final = 2029
#: Radius of the sphere that the coefficients refer to, kilometres: part of the model's definition.
REFERENCE_RADIUS_KM: Final = 6371.2
#: WGS 84, kilometres: a, and b from its flattening of 1/298.257223563 (NGA.STND.0036).
SEMI_MAJOR_KM: Final = 6378.137
SEMI_MINOR_KM: Final = SEMI_MAJOR_KM * (1 - 1 / 298.257223563)

#: Degree and order of each coefficient, order below zero for those of the sine, with its values, nanotesla.
Coefficients = dict[tuple[int, int], tuple[float, ...]]


@cache
def _model() -> tuple[tuple[datetime.datetime, ...], Coefficients]:
    """Return the moments that coefficients are listed for, and the coefficients at each."""
    package = find_spec("ppigrf")  # found, not imported: an import loads pandas
    if package is None or package.origin is None:
        raise ModuleNotFoundError("ppigrf, which carries the coefficients of the field, is not installed")
    text = Path(package.origin).with_name("IGRF14.shc").read_text(encoding="ascii")
    _, years, *rows = [line.split() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    moments = tuple(datetime.datetime(int(float(year)), 1, 1) for year in years)
    return moments, {(int(n), int(m)): tuple(map(float, values)) for n, m, *values in rows}


def _coefficients_at(moment: datetime.datetime) -> Mapping[tuple[int, int], float]:
    """Return the coefficients at a moment, straight between the moments that they are listed for, nanotesla."""
    moments, listed = _model()
    after = next(n for n in range(1, len(moments)) if moment <= moments[n])
    before = after - 1
    share = (moment - moments[before]) / (moments[after] - moments[before])
    return {key: values[before] + share * (values[after] - values[before]) for key, values in listed.items()}


def field_at(
    *, longitude_deg: float, latitude_deg: float, height: float, moment: datetime.datetime
) -> tuple[float, float]:
    """Return the field to the east and to the north, horizontal on the ellipsoid, nanotesla.

    The field is the slope of a potential of spherical harmonics,

        V = a Σ (a/r)^(n+1) (g cos mλ + h sin mλ) P[n][m](cos θ)

    taken on the sphere and turned by the angle between the sphere's and the ellipsoid's vertical.

    Parameters
    ----------
    longitude_deg, latitude_deg
        On WGS 84, degrees; not a pole, where east has no meaning.
    height
        Above the ellipsoid, metres.
    moment
        From the beginning of ``FIRST_YEAR`` to the end of ``LAST_YEAR``.

    References
    ----------
    International Geomagnetic Reference Field, 14th generation, coefficients as ppigrf carries them.
    """
    longitude, latitude = radians(longitude_deg), radians(latitude_deg)
    # From the earth's centre: the distances from its axis and from the equator, kilometres.
    a, b = SEMI_MAJOR_KM, SEMI_MINOR_KM
    normal = a * a / hypot(a * cos(latitude), b * sin(latitude))
    from_axis = (normal + height / 1000) * cos(latitude)
    from_equator = (normal * (b / a) ** 2 + height / 1000) * sin(latitude)
    radius = hypot(from_axis, from_equator)
    sine, cosine = from_axis / radius, from_equator / radius
    east, south, up = _on_sphere(_coefficients_at(moment), longitude, sine, cosine, radius)
    # The ellipsoid's vertical leans by the difference of the two latitudes.
    lean_sine = sin(latitude) * sine - cos(latitude) * cosine
    lean_cosine = cos(latitude) * sine + sin(latitude) * cosine
    return east, -south * lean_cosine - up * lean_sine


def _on_sphere(
    coefficients: Mapping[tuple[int, int], float], longitude: float, sine: float, cosine: float, radius: float
) -> tuple[float, float, float]:
    """Return the field to the east, to the south and outward at a colatitude and a radius (kilometres), nanotesla."""
    degree = max(n for n, _ in coefficients)
    values, slopes = _legendre(degree, sine, cosine)
    east = south = up = 0.0
    for n in range(1, degree + 1):
        share = (REFERENCE_RADIUS_KM / radius) ** (n + 2)
        for m in range(n + 1):
            g, h = coefficients[n, m], coefficients[n, -m]  # of order 0 there is no h: its sine is 0
            wave = g * cos(m * longitude) + h * sin(m * longitude)
            east += share * m * (g * sin(m * longitude) - h * cos(m * longitude)) * values[n][m] / sine
            south -= share * wave * slopes[n][m]
            up += share * (n + 1) * wave * values[n][m]
    return east, south, up


def _legendre(degree: int, sine: float, cosine: float) -> tuple[list[list[float]], list[list[float]]]:
    """Return Schmidt's semi-normalised functions P[n][m] at a colatitude θ, and their derivatives by θ.

        P[n][m] = ((2n - 1) cos θ P[n-1][m] - √((n - 1)² - m²) P[n-2][m]) / √(n² - m²),  m < n
        P[n][n] = √((2n - 1) / 2n) sin θ P[n-1][n-1],  P[1][1] = sin θ

    Examples
    --------
    >>> [round(value, 4) for value in _legendre(2, 0.6, 0.8)[0][2]]  # (3 cos² θ - 1) / 2, √3 sin θ cos θ, √3/2 sin² θ
    [0.46, 0.8314, 0.3118]
    """
    values, slopes = [[1.0], [cosine, sine]], [[0.0], [-sine, cosine]]
    for n in range(2, degree + 1):
        value, slope = [], []
        for m in range(n):
            root, older = sqrt(n * n - m * m), sqrt((n - 1) ** 2 - m * m)
            below = min(m, n - 2)  # there is no function of order m below degree m, and `older` is 0 there
            turned = cosine * slopes[n - 1][m] - sine * values[n - 1][m]
            value.append(((2 * n - 1) * cosine * values[n - 1][m] - older * values[n - 2][below]) / root)
            slope.append(((2 * n - 1) * turned - older * slopes[n - 2][below]) / root)
        ratio = sqrt((2 * n - 1) / (2 * n))
        value.append(ratio * sine * values[n - 1][n - 1])
        slope.append(ratio * (cosine * values[n - 1][n - 1] + sine * slopes[n - 1][n - 1]))
        values.append(value)
        slopes.append(slope)
    return values, slopes
