"""The compass: declination from the IGRF, and stations where something near by turned the needle."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from math import atan2, pi, sqrt

from pegline.frame.geomagnetism import FIRST_YEAR, LAST_YEAR, field_at
from pegline.plane import mean_angle, wrap_angle

__all__ = ["FIRST_YEAR", "LAST_YEAR", "attraction_by_station", "declination", "disagreement", "disagreement_limit"]


def declination(*, longitude_deg: float, latitude_deg: float, day: datetime.date, height: float = 0.0) -> float | None:
    """Return the declination of the needle by the IGRF, radians, east positive; None outside its years.

        D = atan2(B east, B north)

    Parameters
    ----------
    longitude_deg, latitude_deg
        Of the place, degrees.
    day
        The day of the survey.
    height
        Above the ellipsoid, metres; a hill changes nothing that a compass shows.

    References
    ----------
    International Geomagnetic Reference Field, 14th generation, its coefficients from the package ppigrf.

    Examples
    --------
    >>> declination(longitude_deg=0.0, latitude_deg=52.0, day=datetime.date(1899, 12, 31)) is None
    True
    """
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        return None
    # At the pole itself longitude, and with it east and north, has no meaning.
    latitude_deg = max(min(latitude_deg, 89.9999), -89.9999)
    moment = datetime.datetime.combine(day, datetime.time(12))
    return atan2(*field_at(longitude_deg=longitude_deg, latitude_deg=latitude_deg, height=height, moment=moment))


def disagreement(fore: float, back: float) -> float:
    """Return by how much fore and back bearing of a line fail to differ by half a turn, radians.

    >>> round(disagreement(0.5, 0.5 + pi + 0.01), 6)
    0.01
    """
    return float(wrap_angle(back - fore - pi))


def disagreement_limit(sd: float) -> float:
    """Return how far fore and back may disagree before local attraction is told: 3 √2 σ, radians."""
    return 3 * sqrt(2) * sd


def attraction_by_station(
    bearings: Mapping[tuple[str, str], Sequence[float]], sd: float
) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Return how much the needle is turned at each station, and the bearings freed of it, radians.

    A line whose fore and back bearings agree has no attraction at either end. From there on,
    every line read from both ends carries the correction to its other end.

    Parameters
    ----------
    bearings
        Readings of each line walked from the first station to the second, taken at the first.
    sd
        Standard deviation of one bearing.

    Returns
    -------
    tuple
        What to add to every bearing read at a station, for each station that could be reached, and
        the bearings read there so corrected. Both are empty where no line agrees with itself.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> turned, freed = attraction_by_station({("A", "B"): [1.0], ("B", "A"): [1.0 + pi], ("B", "C"): [2.0],
    ...     ("C", "B"): [2.2 + pi]}, sd=0.01)
    >>> {name: round(value, 3) for name, value in turned.items()}
    {'A': 0.0, 'B': 0.0, 'C': -0.2}
    """
    read = {pair: mean_angle(values) for pair, values in bearings.items()}
    both = {pair: disagreement(fore, read[pair[::-1]]) for pair, fore in read.items() if pair[::-1] in read}
    agreed = min(both, key=lambda pair: abs(both[pair]), default=None)
    if agreed is None or abs(both[agreed]) > disagreement_limit(sd):
        return {}, {}
    turned = {name: 0.0 for pair, value in both.items() if abs(value) <= disagreement_limit(sd) for name in pair}
    reach = list(turned)
    for start in reach:  # grows while it is walked
        for (p, q), off in both.items():
            if p == start and q not in turned:
                turned[q] = turned[p] - off
                reach.append(q)
    freed = {pair: float(value + turned[pair[0]]) for pair, value in read.items() if pair[0] in turned}
    return turned, freed
