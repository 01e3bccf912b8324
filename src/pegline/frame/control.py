"""Control brought to the grid: converted from the CRS of each point, and what may be wrong with one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import hypot, isfinite, pi

from pegline.errors import BookError, Finding, Place
from pegline.frame.crs import Grid, geographic_crs, grid_of
from pegline.frame.datum_shift import DatumWay, is_dynamic, same_datum, way_between
from pegline.frame.model import Step
from pegline.measures.control import Control, ControlPoint
from pegline.records import record

__all__ = [
    "KnownPoint",
    "bring_point",
    "bring_to_grid",
    "common_shift_sd",
    "shift_findings",
    "shift_steps",
    "with_shift_accuracy",
]


@record(frozen=True, slots=True)
class KnownPoint:
    """A control point on the grid."""

    station: str
    easting: float  #: metres
    northing: float
    sd: float  #: of each axis as booked, metres
    place: Place
    way: DatumWay | None = None  #: how it came here from another CRS


def bring_to_grid(control: Control, points: Sequence[ControlPoint], grid: Grid) -> list[KnownPoint]:
    """Return control points on the grid, metres.

    Raises
    ------
    BookError
        Points that cannot be brought there without more guessing than the book allows.
    """
    points_on_grid = []
    faults: list[Finding] = []
    for point in points:
        try:
            points_on_grid.append(bring_point(control, point, grid))
        except BookError as error:
            faults += error.findings
    if faults:
        raise BookError(faults)
    return points_on_grid


def bring_point(control: Control, point: ControlPoint, grid: Grid) -> KnownPoint:
    """Return one control point on the grid; raises as `bring_to_grid`."""
    if point.latitude_deg is not None and point.longitude_deg is not None:
        source = geographic_crs(point.crs or "EPSG:4326", point.place)
        unit = source.axis_info[0].unit_conversion_factor * 180 / pi
        coordinates = point.longitude_deg / unit, point.latitude_deg / unit
        sd = point.accuracy
    elif point.easting is not None and point.northing is not None:
        own = grid_of(point.crs, point.place) if point.crs else grid
        if (fault := _wrong_axes(point, own)) is not None:
            raise BookError([Finding("control", fault, point.place)])
        coordinates = point.easting, point.northing
        sd = point.accuracy * own.metres_per_unit
        if own.crs == grid.crs:
            unit = grid.metres_per_unit
            return KnownPoint(point.station, coordinates[0] * unit, coordinates[1] * unit, sd, point.place)
        source = own.crs
    else:
        text = f"control point {point.station} needs easting and northing, or latitude and longitude"
        raise BookError([Finding("control", text, point.place)])
    if control.epoch is not None and (is_dynamic(source) or is_dynamic(grid.crs)) and not same_datum(source, grid.crs):
        text = (
            f"control point {point.station}: coordinates of epoch {control.epoch:g} are not carried from {source.name}"
            f" to {grid.name}, because plates move and that is not reckoned; book them in the grid's own datum"
        )
        raise BookError([Finding("datum-shift", text, point.place)])
    way = _allow_way(control, point, source.name, grid, way_between(source, grid.crs, coordinates))
    x, y = (float(value) * grid.metres_per_unit for value in way.transformer.transform(*coordinates))
    if not isfinite(hypot(x, y)):
        text = f"control point {point.station} lies nowhere on {grid.name}; look at its coordinates and its CRS"
        raise BookError([Finding("control", text, point.place)])
    return KnownPoint(point.station, x, y, sd, point.place, way)


def _wrong_axes(point: ControlPoint, grid: Grid) -> str | None:
    """Return what is wrong where a point is booked along other axes than those of its grid."""
    who = f"control point {point.station}"
    if grid.instead_of is not None and point.westing is None:
        return (
            f"{who}: the axes of {grid.instead_of} run west and south; write westing and southing as printed, or take"
            f" crs: {grid.code or grid.name} with easting and northing (the same figures with the other sign)"
        )
    if grid.instead_of is None and point.westing is not None:
        return f"{who}: the axes of {grid.name} run east and north; write easting and northing"
    return None


def _allow_way(control: Control, point: ControlPoint, source: str, grid: Grid, way: DatumWay | None) -> DatumWay:
    """Return the way, if its change of datum is no worse than the book allows."""
    if way is None:
        text = (
            f"control point {point.station}: there is no way from {source} to {grid.name} without a network, only a"
            " guess that may be out by hundreds of metres; book it in the grid's own datum"
        )
        raise BookError([Finding("datum-shift", text, point.place)])
    if way.accuracy > (control.allow_shift or 0.0):
        text = (
            f"control point {point.station}: from {source} to {grid.name} the datum changes, good to {way.accuracy:g} m"
            f"{_better(way)}; book it in the grid's own datum, or say allow_shift: {way.accuracy:g} under control"
        )
        raise BookError([Finding("datum-shift", text, point.place)])
    return way


def _better(way: DatumWay) -> str:
    """Return which better grid is not at hand, in words."""
    if not way.missing:
        return ""
    name, accuracy = way.missing[0]
    return f" ({name}, good to {accuracy:g} m, is not installed)"


def with_shift_accuracy(known: Sequence[KnownPoint]) -> list[KnownPoint]:
    """Return control with the accuracy of its change of datum put in.

    Where all of it came the same way, the error is common to all: it moves the plot as a whole,
    turns nothing and stretches nothing, so it is told and stays out of the weights.
    """
    if not _ways_differ(known):
        return list(known)
    return [replace(one, sd=hypot(one.sd, one.way.accuracy)) if one.way else one for one in known]


def common_shift_sd(known: Sequence[KnownPoint]) -> float:
    """Return what a change of datum that all control went through is good to, metres.

    Any other is in the weights: see `with_shift_accuracy`.
    """
    return 0.0 if _ways_differ(known) else max((one.way.accuracy for one in known if one.way), default=0.0)


def _ways_differ(known: Sequence[KnownPoint]) -> bool:
    """Return whether control came by more than one way."""
    return len({one.way.description if one.way else "" for one in known}) > 1


def shift_findings(known: Sequence[KnownPoint]) -> Iterator[Finding]:
    """Yield a warning for each way that changes the datum, with its accuracy."""
    shifts = set()
    weight = "so it counts less" if _ways_differ(known) else "and positions on the earth are no better than that"
    for one in known:
        if one.way and one.way.accuracy and one.way.description not in shifts:
            shifts.add(one.way.description)
            text = (
                f"control point {one.station} was transformed between datums (± {one.way.accuracy:g} m"
                f"{_better(one.way)}), {weight}"
            )
            yield Finding("datum-shift", text, one.place)


def shift_steps(known: Sequence[KnownPoint]) -> Iterator[Step]:
    """Yield how each point of another CRS came to the grid."""
    for one in known:
        if one.way:
            good = f"good to {one.way.accuracy:g} m" if one.way.accuracy else "no change of datum"
            yield Step(f"control {one.station}", good, one.way.description)
