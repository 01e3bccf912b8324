"""Rings and strips of a survey with their areas, in every unit asked for, and the division of one of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from math import ceil, hypot
from typing import Final

import numpy as np

from pegline.commands.area.division import Division, divide, ring_of
from pegline.commands.area.request import DivisionRequest, StripRequest
from pegline.commands.positions import Positions
from pegline.detail.curves import curve
from pegline.detail.model import Path, Shape
from pegline.detail.path import area, length, straight, stroke
from pegline.detail.paths_by_geometry import making_of
from pegline.errors import UsageError
from pegline.measures.notation import ACRE, Notation
from pegline.plane import Array, along, foot
from pegline.records import record
from pegline.survey import Survey

__all__ = ["AreaResult", "MeasuredArea", "areas", "in_units", "small_area"]


#: Intervals that differ by less than this share of their length are equal: chainages are adjusted by a little.
EQUAL: Final = 0.005


def trapezoidal(chainages: Array, ordinates: Array) -> float:
    """Return the area between a line and a side of straight pieces.

        A = Σ (cᵢ₊₁ - cᵢ) (oᵢ + oᵢ₊₁) / 2

    Ordinates on the other side of the line are negative, and so is the land there.

    Parameters
    ----------
    chainages, ordinates
        (n,) of the side's points, in their order along it, metres.

    Examples
    --------
    >>> trapezoidal(np.array([0.0, 10.0, 30.0]), np.array([2.0, 4.0, 0.0]))
    70.0
    """
    return float((np.diff(chainages) * (ordinates[1:] + ordinates[:-1])).sum() / 2)


def simpson(chainages: Array, ordinates: Array) -> tuple[float, int] | None:
    """Return the area by Simpson's rule, and how many intervals had no equal beside them.

        A = (h / 3) (o₀ + 4 o₁ + o₂)   for every two equal intervals h

    Along each run of equal intervals they are taken in pairs; the interval left over where their number
    is odd is taken as a trapezoid, and no ordinate is made up. None where no two neighbours are equal, or
    where the side turns back along the line.

    Examples
    --------
    >>> simpson(np.array([0.0, 10.0, 20.0, 26.0]), np.array([0.0, 3.0, 3.0, 2.0]))
    (65.0, 1)
    """
    steps = np.diff(chainages)
    if len(steps) < 2 or (steps <= 0).any():
        return None
    total, odd, at = 0.0, 0, 0
    while at < len(steps):
        if at + 1 < len(steps) and abs(steps[at + 1] - steps[at]) <= EQUAL * steps[at]:
            first, middle, last = ordinates[at : at + 3]
            total += (steps[at] + steps[at + 1]) * (first + 4 * middle + last) / 6
            at += 2
        else:
            total += trapezoidal(chainages[at : at + 2], ordinates[at : at + 2])
            odd += 1
            at += 1
    return (float(total), odd) if odd < len(steps) else None


def ordinates_at_equal_intervals(chainages: Array, ordinates: Array, every: float) -> tuple[Array, Array]:
    """Return ordinates at equal intervals, an even number of them and none longer than ``every``.

    Between the measured ordinates the side is taken as straight.

    >>> ordinates_at_equal_intervals(np.array([0.0, 10.0]), np.array([1.0, 2.0]), 5.0)[1].tolist()
    [1.0, 1.5, 2.0]
    """
    if not all(one < other for one, other in pairwise(chainages.tolist())):
        raise ValueError("the side turns back along the line")
    count = 2 * ceil((chainages[-1] - chainages[0]) / every / 2 - 1e-9)
    at = np.linspace(chainages[0], chainages[-1], count + 1)
    return at, np.interp(at, chainages, ordinates)


#: Square metres in one of each unit of area that a program is given.
SQUARE_METRES: Final[Mapping[str, float]] = {
    "m2": 1.0,
    "hectare": 10_000.0,
    "acre": ACRE,
    "square feet": 0.3048**2,
    "square chains": 20.1168**2,
}
#: How finely the outlines of features that must be kept are stroked, metres.
OUTLINE_TOLERANCE: Final = 0.01


@record(frozen=True, slots=True)
class MeasuredArea:
    """A ring or a strip, on the ground."""

    area: float  #: square metres
    area_sd: float
    perimeter: float  #: metres
    perimeter_sd: float
    outline: Path  #: in the frame about its origin
    trapezoidal: float | None = None  #: of a strip, square metres
    simpson: float | None = None
    note: str | None = None  #: how the rules were applied, a sentence


@record(frozen=True, slots=True)
class AreaResult:
    """Areas, and the division of one of them."""

    survey: Survey
    areas: Mapping[str, MeasuredArea]  #: by name of the ring, or ``P-Q:FEATURE``
    division: Division | None


def in_units(square_metres: float, customary: Mapping[str, float]) -> dict[str, float | list[float]]:
    """Return an area in every unit: a number, or acres, roods and perches.

    >>> in_units(4046.8564224, {})["acre-rood-perch"]
    [1, 0, 0.0]
    """
    units: dict[str, float | list[float]] = {name: square_metres / size for name, size in SQUARE_METRES.items()}
    acres, rest = divmod(round(square_metres / ACRE * 160, 9), 160)
    roods, perches = divmod(rest, 40)
    units["acre-rood-perch"] = [int(acres), int(roods), round(perches, 9)]
    return units | {name: square_metres / size for name, size in customary.items()}


def areas(
    survey: Survey,
    names: Sequence[str] = (),
    strips: Sequence[StripRequest] = (),
    division: DivisionRequest | None = None,
) -> AreaResult:
    """Return the areas of a survey's rings and strips, and the division of one ring.

    Parameters
    ----------
    names
        Rings; all of them where there are neither names nor strips.

    Raises
    ------
    UsageError
        A name, a side or a division that the survey cannot give.
    """
    positions = Positions(survey)
    every_ring = [name for name, shape in survey.detail.shapes.items() if shape.area is not None]
    ring_names = list(names) or ([] if strips or division else every_ring)
    if division and division.of not in ring_names:
        ring_names.append(division.of)
    measured = {name: _ring(survey, name) for name in ring_names}
    measured |= {str(strip): _strip(positions, strip) for strip in strips}
    return AreaResult(survey, measured, _divide_ring(positions, division) if division else None)


def _ring(survey: Survey, name: str) -> MeasuredArea:
    ring_of(Positions(survey), name)
    shape = survey.detail.shapes[name]
    values = shape.area, shape.area_sd, shape.perimeter, shape.perimeter_sd
    size, size_sd, around, around_sd = (0.0 if value is None else value for value in values)
    return MeasuredArea(size, size_sd, around, around_sd, _path(shape))


def _path(shape: Shape) -> Path:
    if shape.path is None:
        raise UsageError(f"{shape.name!r} is a point and has no side; name a line feature")
    return shape.path


# -- strips ----------------------------------------------------------------------------------------------------------


def _strip(positions: Positions, request: StripRequest) -> MeasuredArea:
    """Return the land between a line and a side, signed so that most of it is positive."""
    side_points, path_of = _side(positions, request)
    names = list(dict.fromkeys((request.start, request.end, *side_points)))
    rows = [names.index(name) for name in side_points]

    def outline(at: Array) -> Path:
        return _strip_outline(at[0], at[1], at[rows], path_of(at[rows]))

    def measures(at: Array) -> Array:
        closed = outline(at)
        return np.array([area(closed) / positions.scale**2, length(closed) / positions.scale])

    (size, around), covariance = positions.propagate(measures, names)
    at = positions.all(names)
    chainages, ordinates = (value / positions.scale for value in foot(at[0], at[1], at[rows]))
    # Walked along the line, land on its left has its outline clockwise.
    size = -size if chainages[0] < chainages[-1] else size
    if chainages[0] > chainages[-1]:
        chainages, ordinates = chainages[::-1], ordinates[::-1]
    by_trapezoids, by_simpson, note = _by_ordinates(request, chainages, ordinates)
    sign = -1.0 if by_trapezoids < 0 else 1.0
    sds = np.sqrt(np.diag(covariance))
    return MeasuredArea(
        area=sign * float(size),
        area_sd=float(sds[0]),
        perimeter=float(around),
        perimeter_sd=float(sds[1]),
        outline=outline(at),
        trapezoidal=sign * by_trapezoids,
        simpson=None if by_simpson is None else sign * by_simpson,
        note=note,
    )


def _side(positions: Positions, request: StripRequest) -> tuple[tuple[str, ...], Callable[[Array], Path]]:
    """Return the points of a crooked side, the line's own ends left out, and how its path is made of them."""
    survey = positions.survey
    for name in (request.start, request.end):
        positions.require(name, "station")
    shape = survey.detail.shapes.get(request.feature)
    making = making_of(shape.booked, survey.book, survey.reduction) if shape and shape.path else None
    if making is None or not making.shown:
        raise UsageError(f"{request.feature!r} is no line of points in the survey; name a fence, a hedge, an edge")
    points = tuple(name for name in making.shown if name not in (request.start, request.end))
    if len(points) < 2:
        raise UsageError(f"{request.feature!r} has fewer than two points off {request.start}-{request.end}")
    return points, curve if making.smooth else straight


def _by_ordinates(request: StripRequest, chainages: Array, ordinates: Array) -> tuple[float, float | None, str | None]:
    """Return the area by trapezoids and by Simpson's rule, and a sentence on what was done for it."""
    notes = []
    if request.every is not None:
        try:
            chainages, ordinates = ordinates_at_equal_intervals(chainages, ordinates, request.every)
        except ValueError as error:
            raise UsageError(f"{request}: {error}, so no ordinates can be interpolated; leave out --every") from None
        notes.append(f"ordinates interpolated every {chainages[1] - chainages[0]:.3f} m")
    by_simpson = simpson(chainages, ordinates)
    if by_simpson is None:
        notes.append("no two neighbouring intervals are equal, so there is no area by Simpson's rule")
    elif by_simpson[1]:
        notes.append(f"Simpson's rule took {by_simpson[1]} of {len(chainages) - 1} intervals as trapezoids")
    size = by_simpson[0] if by_simpson else None
    return trapezoidal(chainages, ordinates), size, "; ".join(notes) or None


def _strip_outline(start: Array, end: Array, points: Array, side: Path) -> Path:
    """Return the outline of a strip: the side, then the ordinates of its two ends and the line between their feet."""
    feet = along(start, end, foot(start, end, points[[-1, 0]])[0])
    return Path(np.vstack([side.vertices, feet]), np.concatenate([side.bulges, [0.0, 0.0]]), closed=True)


# -- division --------------------------------------------------------------------------------------------------------


def _divide_ring(positions: Positions, request: DivisionRequest) -> Division:
    """Divide a ring as asked."""
    further = tuple(positions.require(name) for name in request.guides)
    ring = ring_of(positions, request.of, further)

    def at(name: str, values: Array) -> Array:
        there: Array = values[ring.columns[name] : ring.columns[name] + 2]
        return there

    def towards(values: Array) -> Array:
        p, q = at(further[0], values), at(further[1], values)
        unit: Array = (q - p) / hypot(*(q - p))
        return unit

    def point(values: Array) -> Array:
        return at(further[0], values)

    through = request.through is not None
    return divide(
        ring,
        point if through else towards,
        request.shares(ring.area / positions.scale**2),
        through=through,
        scale=positions.scale,
        near=None if through else positions.all(further).mean(axis=0),
        keep=[tuple(vertex) for name in request.keep for vertex in _extent(positions, name)],
    )


def _extent(positions: Positions, name: str) -> Array:
    """Return the points (n, 2) that must lie in a part for a thing to lie in it."""
    shape = positions.survey.detail.shapes.get(name)
    if shape is not None and shape.path is not None:
        return stroke(shape.path, OUTLINE_TOLERANCE)
    return positions.all([positions.require(name, "feature, station or point")])


def small_area(square_metres: float, notation: Notation) -> str:
    """Return a standard deviation of an area with its unit, never rounded to nought."""
    text = notation.area(square_metres)
    return text if any(digit in "123456789" for digit in text) else f"{square_metres:.2g} m²"
