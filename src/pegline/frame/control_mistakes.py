"""Control that cannot be right: points further apart than the lines between them are long, and how they came about.

What the lines allow needs no solution: no station is further from another than the shortest way
along taped lines. A point that is kilometres beyond is taken through the mistakes that people make
with coordinates, and the one that brings it back is named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from heapq import heappop, heappush
from itertools import combinations
from math import hypot, isfinite
from typing import Final

from pegline.errors import BookError, Finding
from pegline.frame.control import KnownPoint, bring_point
from pegline.frame.crs import FAR_OUTSIDE, Grid, distance_outside, ground_distance, other_zones, place_of
from pegline.measures.control import Control, ControlPoint
from pegline.records import record

__all__ = [
    "GROSS",
    "SYSTEMATIC",
    "Mistake",
    "farthest_distances",
    "grid_distance",
    "gross_findings",
    "mistakes",
    "other_digits",
]

#: Control is told before anything is solved when it is this much further apart than its lines allow, metres.
GROSS: Final = 2000.0
#: How rough the rough position of a book may be, metres.
ROUGH: Final = 100_000.0
#: Metres in a foot, and how well a distance in the other unit agrees with a line, as a share of it.
FOOT: Final = 0.3048
SAME_UNIT: Final = 0.02
#: What the lines allow, a tape that is a hundredth out included.
STRETCH: Final = 1.01


@record(frozen=True, slots=True)
class Mistake:
    """One way in which a control point may have been booked wrong."""

    words: str  #: "its easting and northing are exchanged"
    point: ControlPoint  #: as it would be booked


Meant = Iterator[Mistake]


def _exchange(point: ControlPoint) -> Meant:
    words = "easting and northing" if point.westing is None else "westing and southing"
    yield Mistake(f"{words} are exchanged", replace(point, easting=point.northing, northing=point.easting))


def _degrees_exchanged(point: ControlPoint) -> Meant:
    if point.longitude_deg is not None and abs(point.longitude_deg) <= 90:
        exchanged = replace(point, latitude_deg=point.longitude_deg, longitude_deg=point.latitude_deg)
        yield Mistake("latitude and longitude are exchanged", exchanged)


def _wrong_sign(point: ControlPoint) -> Meant:
    if point.latitude_deg is not None and point.longitude_deg is not None:
        west = replace(point, longitude_deg=-point.longitude_deg)
        south = replace(point, latitude_deg=-point.latitude_deg)
        yield Mistake("the longitude has the wrong sign (west is negative)", west)
        yield Mistake("the latitude has the wrong sign (south is negative)", south)


def _feet(point: ControlPoint) -> Meant:
    if point.easting is not None and point.northing is not None:
        for words, factor in (("metres", 1 / FOOT), ("feet", FOOT)):
            in_feet = replace(point, easting=point.easting * factor, northing=point.northing * factor)
            yield Mistake(f"the coordinates are in {words}", in_feet)


def _digits(point: ControlPoint) -> Meant:
    """Yield one digit before the point misread, lost or doubled, and two neighbours exchanged."""
    if point.easting is not None and point.northing is not None:
        for slip, other in other_digits(f"{point.easting:.4f}"):
            yield Mistake(f"{slip} in the easting", replace(point, easting=other))
        for slip, other in other_digits(f"{point.northing:.4f}"):
            yield Mistake(f"{slip} in the northing", replace(point, northing=other))
    if point.latitude_deg is not None and point.longitude_deg is not None:
        for slip, other in other_digits(f"{point.latitude_deg:.9f}"):
            yield Mistake(f"{slip} in the latitude", replace(point, latitude_deg=other))
        for slip, other in other_digits(f"{point.longitude_deg:.9f}"):
            yield Mistake(f"{slip} in the longitude", replace(point, longitude_deg=other))


def other_digits(text: str) -> Iterator[tuple[str, float]]:
    """Yield what a figure may have been before a slip of one digit or of two neighbours, with the slip in words."""
    whole, _, rest = text.partition(".")
    sign, whole = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    for n, digit in enumerate(whole):
        if n + 1 < len(whole) and digit != whole[n + 1]:
            swapped = whole[:n] + whole[n + 1] + digit + whole[n + 2 :]
            yield "two digits are exchanged", float(f"{sign}{swapped}.{rest}")
    for n in range(len(whole)):
        yield "a digit too many", float(f"{sign}{whole[:n] + whole[n + 1 :] or '0'}.{rest}")
        for digit in "0123456789":
            if digit != whole[n]:
                yield "a wrong digit", float(f"{sign}{whole[:n]}{digit}{whole[n + 1 :]}.{rest}")
    for n in range(len(whole) + 1):
        for digit in "0123456789":
            yield "a digit too few", float(f"{sign}{whole[:n]}{digit}{whole[n:]}.{rest}")


#: Mistakes that people make with a whole list of coordinates as well as with one point, in the order in which they are
#: believed. Common practice.
SYSTEMATIC: Final[tuple[Callable[[ControlPoint], Meant], ...]] = (_exchange, _degrees_exchanged, _wrong_sign, _feet)


def mistakes(point: ControlPoint, grid: Grid) -> Iterator[Mistake]:
    """Yield how a control point may have been booked wrong, what is believed first first."""
    yield from systematic_mistakes(point, grid)
    yield from _digits(point)


def systematic_mistakes(point: ControlPoint, grid: Grid) -> Iterator[Mistake]:
    """Yield the mistakes that may have been made with all points alike."""
    if point.latitude_deg is None:
        for zone in other_zones(grid) if point.crs is None else ():
            yield Mistake(f"the coordinates are of {zone}", replace(point, crs=zone))
    for each in SYSTEMATIC:
        if each is not _exchange or point.easting is not None:
            yield from each(point)


def farthest_distances(lines: Mapping[tuple[str, str], float], start: str) -> dict[str, float]:
    """Return how far each station can be from one at most: the shortest way along taped lines, metres.

    >>> farthest_distances({("A", "B"): 30.0, ("B", "C"): 40.0, ("A", "C"): 90.0}, "A")
    {'A': 0.0, 'B': 30.0, 'C': 70.0}
    """
    beside: dict[str, list[tuple[str, float]]] = {}
    for (p, q), length in lines.items():
        beside.setdefault(p, []).append((q, length))
        beside.setdefault(q, []).append((p, length))
    lengths: dict[str, float] = {}
    heap = [(0.0, start)]
    while heap:
        so_far, here = heappop(heap)
        if here in lengths:
            continue
        lengths[here] = so_far
        for there, length in beside.get(here, ()):
            heappush(heap, (so_far + length, there))
    return lengths


def grid_distance(one: KnownPoint, other: KnownPoint) -> float:
    """Return the distance of two control points on the grid, metres."""
    return hypot(one.easting - other.easting, one.northing - other.northing)


def gross_findings(
    control: Control,
    points: Sequence[ControlPoint],
    known: Sequence[KnownPoint],
    grid: Grid,
    taped: Mapping[tuple[str, str], float],
    near: tuple[float, float] | None,
) -> Iterator[Finding]:
    """Yield a fault for each control point that cannot be where it is booked, with the mistake that explains it.

    Parameters
    ----------
    control, points, known
        The control, as booked and on the grid.
    grid
        The grid.
    taped
        Length of each taped line, metres on the ground.
    near
        Longitude and latitude of the plot as the book tells them roughly, degrees.
    """
    fits = _Fits(grid, {k.station: farthest_distances(taped, k.station) for k in known}, near)
    alone = {n for n, one in enumerate(known) if not fits.on_earth(one)}
    pairs = list(combinations(range(len(known)), 2))
    astray = {(n, m) for n, m in pairs if not fits.together(known[n], known[m], beyond=GROSS)}
    other_unit = _other_unit(known, taped)
    if not alone and not astray and not other_unit:
        return
    if len(known) > 1 and (len(alone) == len(known) or other_unit):
        shared = next(_shared_mistakes(control, points, known, grid, fits, taped), None)
        if shared is not None:
            yield _shared_finding(known, shared, fits)
            return
    if not alone and not astray:
        return
    accused = sorted(alone or _most_accused(astray, len(known)))
    explained: list[tuple[int, Mistake | None]] = []
    for n in accused:
        others = [k for m, k in enumerate(known) if m != n and m not in alone]
        meant = next(_mistakes_of_one(control, points[n], known[n], grid, others, fits), None)
        if meant is not None or alone:
            explained.append((n, meant))
    told = explained or [(n, None) for n in accused]
    for n, meant in told:
        yield _finding(known, n, meant, fits, several=len(told) > 1)


def _other_unit(known: Sequence[KnownPoint], taped: Mapping[tuple[str, str], float]) -> bool:
    """Return whether every two points with a line between them stand as far apart as if in feet for metres, or back."""
    at = {one.station: one for one in known}
    ratios = [
        grid_distance(at[p], at[q]) / length for (p, q), length in taped.items() if p in at and q in at and length > 0
    ]
    return any(ratios and all(abs(ratio / unit - 1) < SAME_UNIT for ratio in ratios) for unit in (FOOT, 1 / FOOT))


def _shared_mistakes(
    control: Control,
    points: Sequence[ControlPoint],
    known: Sequence[KnownPoint],
    grid: Grid,
    fits: _Fits,
    taped: Mapping[tuple[str, str], float],
) -> Iterator[tuple[str, list[ControlPoint]]]:
    """Yield each mistake that, undone at all points, puts all of them where they can be; with the points undone."""
    meant = [{each.words: each.point for each in systematic_mistakes(point, grid)} for point in points]
    for words in meant[0]:
        if not all(words in each for each in meant):
            continue
        undone = [each[words] for each in meant]
        moved = [_place_if_meant(control, point, one, grid) for point, one in zip(undone, known, strict=True)]
        placed = [one for one in moved if one is not None]
        if (
            len(placed) == len(known)
            and all(map(fits.on_earth, placed))
            and all(fits.together(one, other) for one, other in combinations(placed, 2))
            and not _other_unit(placed, taped)
        ):
            yield words, undone


@record(frozen=True, slots=True)
class _Fits:
    """What control must fit: the taped lines, the area of its CRS, and where the book says the plot is."""

    grid: Grid
    reach: Mapping[str, Mapping[str, float]]  #: by two stations, metres
    near: tuple[float, float] | None

    def together(self, one: KnownPoint, other: KnownPoint, *, beyond: float = 0.0) -> bool:
        """Return whether two points are no further apart than their lines allow, or beyond them by so many metres."""
        allowed = self.reach[one.station].get(other.station)
        return allowed is None or grid_distance(one, other) <= STRETCH * allowed + 5 * (one.sd + other.sd) + beyond

    def on_earth(self, one: KnownPoint) -> bool:
        """Return whether a point lies where its CRS is meant for, and where the book says the plot is."""
        place = place_of(self.grid, one.easting, one.northing)
        if place is None or not all(isfinite(value) for value in place):
            return False
        if distance_outside(self.grid, place) > FAR_OUTSIDE:
            return False
        return self.near is None or ground_distance(place, self.near) <= ROUGH


def _most_accused(astray: set[tuple[int, int]], count: int) -> set[int]:
    """Return the points that are in most of the pairs that cannot be: one, or all that cannot be told apart."""
    times = [sum(n in pair for pair in astray) for n in range(count)]
    return {n for n in range(count) if times[n] == max(times)}


def _mistakes_of_one(
    control: Control, point: ControlPoint, known: KnownPoint, grid: Grid, others: Sequence[KnownPoint], fits: _Fits
) -> Iterator[Mistake]:
    """Yield the mistakes that bring a point back to the others."""
    for mistake in mistakes(point, grid):
        moved = _place_if_meant(control, mistake.point, known, grid)
        if moved is not None and fits.on_earth(moved) and all(fits.together(moved, other) for other in others):
            yield mistake


def _place_if_meant(control: Control, meant: ControlPoint, known: KnownPoint, grid: Grid) -> KnownPoint | None:
    """Return where a point would be; None where that is nowhere."""
    try:
        if meant.latitude_deg is None or known.way is None:
            return bring_point(control, meant, grid)
        # The way is known already, and finding it again for each digit would take long.
        x, y = known.way.transformer.transform(meant.longitude_deg, meant.latitude_deg)
        return replace(known, easting=x * grid.metres_per_unit, northing=y * grid.metres_per_unit)
    except BookError:
        return None


def _finding(known: Sequence[KnownPoint], n: int, meant: Mistake | None, fits: _Fits, *, several: bool) -> Finding:
    one = known[n]
    where = _where(known, n, fits)
    if meant is None:
        text = f"control point {one.station} {where}; look at its coordinates and its CRS"
    else:
        look = "it looks as if" if not several else "it may be that"
        text = f"control point {one.station} {where}: {look} {meant.words}; it would be {_figures(meant.point)}"
    return Finding("wrong-control", text, one.place, data=meant)


def _shared_finding(known: Sequence[KnownPoint], shared: tuple[str, list[ControlPoint]], fits: _Fits) -> Finding:
    words, undone = shared
    names = ", ".join(one.station for one in known[:-1]) + f" and {known[-1].station}"
    first, meant = known[0], Mistake(words, undone[0])
    text = (
        f"control points {names} cannot be right: {first.station} {_where(known, 0, fits)}. It looks as if at all of"
        f" them {words}; {first.station} would be {_figures(meant.point)}"
    )
    return Finding("wrong-control", text, first.place, data=meant)


def _where(known: Sequence[KnownPoint], n: int, fits: _Fits) -> str:
    """Return what is wrong with the place of a control point, in words."""
    one = known[n]
    place = place_of(fits.grid, one.easting, one.northing)
    if place is None or not all(isfinite(value) for value in place):
        return f"lies nowhere on {fits.grid.name}"
    if (beyond := distance_outside(fits.grid, place)) > FAR_OUTSIDE:
        return f"lies {_distance(beyond)} outside the area that {fits.grid.name} is meant for"
    if fits.near is not None and (off := ground_distance(place, fits.near)) > ROUGH:
        return f"lies {_distance(off)} from where near says the plot is"
    others = [k for m, k in enumerate(known) if m != n]
    far = max(others, key=lambda other: (not fits.together(one, other), grid_distance(one, other)))
    beyond_lines = "further than the lines reach" if not fits.together(one, far) else "and the line between is longer"
    return f"lies {_distance(grid_distance(one, far))} from {far.station}, {beyond_lines}"


def _distance(metres: float) -> str:
    """Return a distance for people, in metres under 1 km.

    >>> _distance(417.3), _distance(5399.8)
    ('417 m', '5 km')
    """
    return f"{metres:.0f} m" if metres < 1000 else f"{metres / 1000:.0f} km"


def _figures(point: ControlPoint) -> str:
    if point.latitude_deg is not None:
        return f"latitude {point.latitude_deg:.7g}, longitude {point.longitude_deg:.7g}"
    in_crs = f" in {point.crs}" if point.crs else ""
    if point.westing is not None and point.easting is not None and point.northing is not None:
        return f"westing {0.0 - point.easting:.2f}, southing {0.0 - point.northing:.2f}{in_crs}"
    return f"easting {point.easting:.2f}, northing {point.northing:.2f}{in_crs}"
