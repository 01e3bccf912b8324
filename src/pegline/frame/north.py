"""Bearings turned from the north they were read from to the north of the frame: declination, and iron at a station."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from math import atan2, degrees, pi, radians, sqrt, tau
from typing import Final

from pegline.book.model import Book
from pegline.errors import Finding
from pegline.frame.geomagnetism import FIRST_YEAR, LAST_YEAR, field_at
from pegline.frame.model import FrameBearing, Step
from pegline.measures.bearing import Bearing, North, NorthFrom
from pegline.plane import mean_angle, wrap_angle
from pegline.records import record

__all__ = [
    "BEARING_SD",
    "Declination",
    "attraction_by_station",
    "bearing_sd",
    "bearing_steps",
    "convergence_words",
    "disagreement",
    "disagreement_limit",
    "find_declination",
    "igrf_declination",
    "local_attraction",
    "no_declination_because",
    "place_in_degrees",
    "rough_place",
    "signed_dms",
    "turned_bearings",
]


def dms(angle: float) -> str:
    r"""Return a bearing as degrees, minutes and seconds.

    >>> dms(1.1082840)
    '63°30\'00"'
    """
    return _sexagesimal(round(degrees(angle % tau) * 3600) % (360 * 3600))


def signed_dms(angle: float) -> str:
    r"""Return a small angle with its sign.

    >>> signed_dms(-0.0069726)
    '-0°23\'58"'
    """
    seconds = round(degrees(angle) * 3600)
    return ("-" if seconds < 0 else "+") + _sexagesimal(abs(seconds))


def _sexagesimal(seconds: int) -> str:
    return f"{seconds // 3600}°{seconds % 3600 // 60:02d}'{seconds % 60:02d}\""


def convergence_words(convergence: float) -> str:
    r"""Return where true north lies, in words: no sign can be mistaken.

    >>> convergence_words(0.0069726)
    'true north lies 0°23\'58" west of grid north'
    """
    if not round(degrees(convergence) * 3600):
        return "true north is grid north"
    return f"true north lies {signed_dms(abs(convergence))[1:]} {'west' if convergence > 0 else 'east'} of grid north"


def place_in_degrees(*, longitude_deg: float, latitude_deg: float) -> str:
    """Return a place to a hundredth of a degree.

    >>> place_in_degrees(longitude_deg=-2.3, latitude_deg=52.1)
    '52.10° N, 2.30° W'
    """
    return (
        f"{abs(latitude_deg):.2f}° {'N' if latitude_deg >= 0 else 'S'}, "
        f"{abs(longitude_deg):.2f}° {'E' if longitude_deg >= 0 else 'W'}"
    )


def bearing_steps(
    bearings: Sequence[FrameBearing],
    read_from: NorthFrom,
    turned_to: NorthFrom,
    between: Sequence[Step],
) -> Iterator[Step]:
    """Yield each bearing as read, then what is added to it, then each bearing in the frame."""
    for bearing in bearings:
        yield Step(f"bearing {bearing.start}-{bearing.end} as read", dms(bearing.booked), f"from {read_from} north")
    yield from between
    for bearing in bearings:
        what = f"bearing {bearing.start}-{bearing.end} on the plan"
        yield Step(what, dms(bearing.bearing), f"from {turned_to} north")


def igrf_declination(
    *, longitude_deg: float, latitude_deg: float, day: datetime.date, height: float = 0.0
) -> float | None:
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
    >>> igrf_declination(longitude_deg=0.0, latitude_deg=52.0, day=datetime.date(1899, 12, 31)) is None
    True
    """
    if not _has_field(day):
        return None
    # At the pole itself longitude, and with it east and north, has no meaning.
    latitude_deg = max(min(latitude_deg, 89.9999), -89.9999)
    moment = datetime.datetime.combine(day, datetime.time(12))
    return atan2(*field_at(longitude_deg=longitude_deg, latitude_deg=latitude_deg, height=height, moment=moment))


def _has_field(day: datetime.date) -> bool:
    """Return whether the field model covers a day."""
    return FIRST_YEAR <= day.year <= LAST_YEAR


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
    turned = {name: 0.0 for pair, value in both.items() if abs(value) <= disagreement_limit(sd) for name in pair}
    reach = list(turned)
    for start in reach:  # grows while it is walked
        for (p, q), off in both.items():
            if p == start and q not in turned:
                turned[q] = turned[p] - off
                reach.append(q)
    freed = {pair: float(value + turned[pair[0]]) for pair, value in read.items() if pair[0] in turned}
    return turned, freed


#: Standard deviation of one bearing that the book does not tell, radians. Common practice.
BEARING_SD: Final[Mapping[NorthFrom, float]] = {
    "magnetic": radians(1.0),
    "true": radians(0.1),
    "grid": radians(0.1),
}


@record(frozen=True, slots=True)
class Declination:
    """By how much the needle pointed east of true north, and who says so."""

    east: float  #: radians
    step: Step


def bearing_sd(north: North) -> float:
    """Return the standard deviation of one bearing, radians."""
    return north.accuracy.radians if north.accuracy else BEARING_SD[north.reference]


def find_declination(book: Book, place: tuple[float, float] | None) -> Declination | None:
    """Return the declination: from the book, else from the IGRF for its day and place; None where neither has one.

    Parameters
    ----------
    book
        Its ``north`` is magnetic.
    place
        Longitude and latitude of the plot, degrees, where known.
    """
    if book.north is not None and book.north.declination is not None:
        booked = book.north.declination
        return Declination(
            booked.radians, Step("plus declination", signed_dms(booked.radians), "from the book; east is +")
        )
    if place is None or book.date is None:
        return None
    longitude, latitude = place
    east = igrf_declination(longitude_deg=longitude, latitude_deg=latitude, day=book.date)
    if east is None:
        return None
    where = place_in_degrees(longitude_deg=longitude, latitude_deg=latitude)
    return Declination(
        east, Step("plus declination", signed_dms(east), f"IGRF-14 for {book.date} at {where}; east is +")
    )


def no_declination_because(book: Book) -> str:
    """Return why `find_declination` finds none, and what to book, in words."""
    if book.date is None:
        return "the book has no date to ask the field model for; book the date, or declination under north"
    if not _has_field(book.date):
        years = f"{FIRST_YEAR} to {LAST_YEAR}"
        return f"the field model covers {years}, and the book is of {book.date.year}; book declination under north"
    return "the book does not say where the place is; book near (latitude, longitude), or declination under north"


def rough_place(book: Book) -> tuple[float, float] | None:
    """Return longitude and latitude that the book tells roughly, degrees."""
    return (book.near.longitude_deg, book.near.latitude_deg) if book.near else None


def turned_bearings(north: North, bearings: Sequence[Bearing], turn: float) -> tuple[FrameBearing, ...]:
    """Return bearings turned clockwise into the frame; several readings of one count as their mean."""
    sd = bearing_sd(north)
    return tuple(
        FrameBearing(
            start=bearing.pair.start,
            end=bearing.pair.end,
            bearing=(booked + turn) % tau,
            sd=sd / sqrt(len(bearing.angles)),
            booked=booked,
            place=bearing.place,
        )
        for bearing in bearings
        for booked in [mean_angle([angle.radians for angle in bearing.angles])]
    )


def local_attraction(north: North, bearings: Sequence[Bearing]) -> Iterator[Finding]:
    """Yield a warning for each line whose fore and back bearing disagree, with the ends where the needle was turned."""
    sd = bearing_sd(north)
    read = {(b.pair.start, b.pair.end): [angle.radians for angle in b.angles] for b in bearings}
    places = {(b.pair.start, b.pair.end): b.place for b in bearings}
    turned, _ = attraction_by_station(read, sd)
    for (p, q), fore in read.items():
        if (q, p) not in read or list(read).index((q, p)) < list(read).index((p, q)):
            continue
        off = disagreement(mean_angle(fore), mean_angle(read[q, p]))
        if abs(off) <= disagreement_limit(sd):
            continue
        culprits = [f"{name} ({signed_dms(-turned[name])})" for name in (p, q) if abs(turned.get(name, 0.0)) > sd]
        where = f"the needle was turned at {' and '.join(culprits)}" if culprits else f"iron was near {p} or {q}"
        yield Finding(
            "local-attraction",
            f"fore and back bearing of {p}-{q} disagree by {degrees(abs(off)):.2f}°: {where};"
            " read them again away from iron, or trust the lines that agree",
            places[p, q],
            data=dict(turned),
        )
