"""A survey put on the grid of its control."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from math import dist, isfinite

from pegline.book.model import Book
from pegline.errors import BookError, Finding
from pegline.frame.control import (
    KnownPoint,
    bring_to_grid,
    common_shift_sd,
    shift_findings,
    shift_steps,
    with_shift_accuracy,
)
from pegline.frame.control_mistakes import gross_findings
from pegline.frame.crs import (
    FAR_OUTSIDE,
    Factors,
    Grid,
    distance_outside,
    elevation_factor,
    factors_at,
    gaussian_radius,
    grid_bearing,
    grid_of,
    place_of,
)
from pegline.frame.datum_shift import is_dynamic
from pegline.frame.model import Frame, FrameBearing, FrameControl, Step
from pegline.frame.north import (
    Declination,
    bearing_steps,
    convergence_words,
    find_declination,
    local_attraction,
    no_declination_because,
    place_in_degrees,
    rough_place,
    signed_dms,
    turned_bearings,
)
from pegline.measures.bearing import Bearing, North
from pegline.measures.control import Control, ControlPoint
from pegline.plane import wrap_angle
from pegline.records import record

__all__ = ["on_grid"]


def on_grid(
    book: Book,
    control: Control,
    points: Sequence[ControlPoint],
    bearings: Sequence[Bearing],
    taped: Mapping[tuple[str, str], float],
    solved: Mapping[str, tuple[float, float]],
) -> Frame:
    """Return the frame of a survey on the grid of its control.

    Parameters
    ----------
    book
        The book.
    control, points
        Its control, and the points of it that the survey reaches.
    bearings
        Its bearings between stations that the survey reaches.
    taped
        Length of each taped line and of each piece to a tie station, metres on the ground.
    solved
        Easting and northing of stations, metres, where they are known already. Scale and
        convergence are then those of the plot's middle and of each bearing's line, not of the control.

    Raises
    ------
    BookError
        A CRS that no plan can be drawn in, control that cannot be brought to it, or the only
        bearing's way to the grid is not known.
    """
    near = rough_place(book)
    grid = grid_of(control.crs, control.crs_place, near or _degrees(points))
    known = _sound_points(control, points, grid, taped, near)
    at = {k.station: (k.easting, k.northing) for k in known}
    # The needle turns less within a plot than anyone can read: its declination is that of the control.
    needle = _middle_of(grid, at.values(), control)
    at |= solved
    place = _middle_of(grid, at.values(), control)
    factors, height_factor = factors_at(grid, place), _height_factor(control, grid, place)
    turned = _grid_bearings(book, grid, at, bearings, needle, needed=len(known) == 1)
    origin = _middle([k.easting for k in known]), _middle([k.northing for k in known])
    return Frame(
        kind="grid",
        north="grid",
        wkt=grid.wkt,
        crs_name=grid.name,
        origin=origin,
        metres_per_unit=grid.metres_per_unit,
        scale=factors.scale * height_factor,
        shift_sd=common_shift_sd(known),
        epoch=control.epoch,
        declination=turned.declination.east if turned.declination else None,
        convergence=factors.convergence,
        bearings=turned.bearings,
        control=tuple(
            FrameControl(k.station, k.easting - origin[0], k.northing - origin[1], k.sd, k.place)
            for k in with_shift_accuracy(known)
        ),
        steps=(
            *_needle_steps(book, turned, factors),
            *_axes_steps(grid),
            *_epoch_steps(control),
            *shift_steps(known),
            *_scale_steps(control, factors, height_factor),
        ),
        warnings=(
            *_grid_warnings(grid, control, known, place),
            *turned.warnings,
        ),
    )


def _sound_points(
    control: Control,
    points: Sequence[ControlPoint],
    grid: Grid,
    taped: Mapping[tuple[str, str], float],
    near: tuple[float, float] | None,
) -> list[KnownPoint]:
    """Return the points of the control on the grid.

    Raises
    ------
    BookError
        They cannot be brought there, or are grossly wrong.
    """
    known = bring_to_grid(control, points, grid)
    if wrong := [*gross_findings(control, points, known, grid, taped, near)]:
        raise BookError(wrong)
    return known


def _grid_warnings(
    grid: Grid, control: Control, known: Sequence[KnownPoint], place: tuple[float, float]
) -> Iterator[Finding]:
    """Yield the warnings of a grid and of the control on it."""
    yield from grid.warnings
    yield from _area(grid, place, control)
    yield from shift_findings(known)
    yield from _idle_epoch(control, grid)
    yield from _no_height(control)


def _degrees(points: Sequence[ControlPoint]) -> tuple[float, float] | None:
    """Return a longitude and latitude that the control itself tells, degrees, before any CRS is known."""
    for point in points:
        if point.latitude_deg is not None and point.longitude_deg is not None:
            return point.longitude_deg, point.latitude_deg
        east, north = point.easting, point.northing
        if east is not None and north is not None and abs(east) <= 180 and abs(north) <= 90:
            return east, north  # degrees in the columns of a grid
    return None


def _height_factor(control: Control, grid: Grid, place: tuple[float, float]) -> float:
    if control.ground_height is None:
        return 1.0
    return elevation_factor(control.ground_height, gaussian_radius(grid, place[1]))


def _no_height(control: Control) -> Iterator[Finding]:
    if control.ground_height is None:
        text = (
            "no ground_height is booked: lengths are not brought down to the ellipsoid"
            " (16 mm in 100 m for each 1000 m of height); book it under control"
        )
        yield Finding("no-ground-height", text, control.place)


def _middle(values: Sequence[float]) -> float:
    """Return the mean as a whole number: solved coordinates stay small, and the shift exact."""
    return float(round(sum(values) / len(values)))


def _middle_of(grid: Grid, positions: Collection[tuple[float, float]], control: Control) -> tuple[float, float]:
    easting = sum(easting for easting, _ in positions) / len(positions)
    northing = sum(northing for _, northing in positions) / len(positions)
    place = place_of(grid, easting, northing)
    if place is None or not all(isfinite(value) for value in place):
        text = f"the plot lies nowhere on {grid.name}; look at its control and the CRS"
        raise BookError([Finding("control", text, control.place)])
    return place


def _area(grid: Grid, place: tuple[float, float], control: Control) -> Iterator[Finding]:
    """Yield a warning where the plot lies a little outside the CRS's area of use; further out it is refused."""
    distance = distance_outside(grid, place)
    if not distance:
        return
    where = place_in_degrees(longitude_deg=place[0], latitude_deg=place[1])
    text = f"the plot lies at {where}, {distance / 1000:.0f} km outside the area that {grid.name} is meant for"
    if distance > FAR_OUTSIDE:
        text += "; is it the right CRS, and easting and northing the right way round?"
        raise BookError([Finding("outside-area", text, control.place)])
    yield Finding("outside-area", text + "; look at the CRS", control.place)


@record(frozen=True, slots=True)
class _Turned:
    """Bearings on the grid, and what took part in it."""

    bearings: tuple[FrameBearing, ...] = ()
    convergences: tuple[float, ...] = ()  #: where each bearing was read, radians; empty where they are grid bearings
    declination: Declination | None = None
    warnings: tuple[Finding, ...] = ()


def _grid_bearings(
    book: Book,
    grid: Grid,
    at: Mapping[str, tuple[float, float]],
    bearings: Sequence[Bearing],
    place: tuple[float, float],
    *,
    needed: bool,
) -> _Turned:
    """Return bearings on the grid; none where the declination is not known and control needs none.

    Grid bearing = magnetic bearing + declination - convergence where the bearing was read, and
    the bend of the line on the grid where its length is known.
    """
    north = book.north
    if north is None or not bearings:
        return _Turned()
    if north.reference == "grid":
        return _Turned(turned_bearings(north, bearings, 0.0))
    if north.reference == "true":
        return _Turned(*_on_grid(north, bearings, 0.0, grid, at, place))
    declination = find_declination(book, place)
    if declination is None and needed:
        text = (
            "the bearing is magnetic and its declination is not known, so it does not say where grid north is:"
            f" {no_declination_because(book)}"
        )
        raise BookError([Finding("no-declination", text, north.place)])
    attracted = local_attraction(north, bearings)
    if declination is None:
        return _Turned(warnings=(*attracted, *_left_out(book, bearings)))
    return _Turned(*_on_grid(north, bearings, declination.east, grid, at, place), declination, tuple(attracted))


def _on_grid(
    north: North,
    bearings: Sequence[Bearing],
    east: float,
    grid: Grid,
    at: Mapping[str, tuple[float, float]],
    place: tuple[float, float],
) -> tuple[tuple[FrameBearing, ...], tuple[float, ...]]:
    """Return bearings on the grid, and the convergence where each was read, radians.

    True north lies ``east`` of the north that they were read from, radians.
    """
    turned, convergences = [], []
    for true in turned_bearings(north, bearings, east):
        p, q = at.get(true.start), at.get(true.end)
        start = (place_of(grid, *p) if p else None) or place
        length = dist(p, q) if p and q else 1.0  # a metre has no bend
        turned.append(replace(true, bearing=grid_bearing(grid, start, true.bearing, length)))
        convergences.append(factors_at(grid, start).convergence)
    return tuple(turned), tuple(convergences)


def _left_out(book: Book, bearings: Sequence[Bearing]) -> Iterator[Finding]:
    for bearing in bearings:
        text = f"bearing {bearing.pair} is magnetic and not used: {no_declination_because(book)}"
        yield Finding("no-declination", text, bearing.place)


def _needle_steps(book: Book, turned: _Turned, factors: Factors) -> Iterator[Step]:
    """Yield what leads from each bearing as read to the same on the plan."""
    if book.north is None or not turned.bearings:
        return
    between = [turned.declination.step] if turned.declination else []
    if book.north.reference != "grid":
        between.append(
            Step("less convergence", signed_dms(factors.convergence), convergence_words(factors.convergence))
        )
        between += _own_steps(turned, factors)
    yield from bearing_steps(turned.bearings, book.north.reference, "grid", between)


def _own_steps(turned: _Turned, factors: Factors) -> Iterator[Step]:
    """Yield what is seconds different for one bearing: the convergence at its station, and the bend of its line.

    The bend (arc-to-chord) turns a line that is straight on the ground away from its chord on the grid.
    """
    east = turned.declination.east if turned.declination else 0.0
    for bearing, own in zip(turned.bearings, turned.convergences, strict=True):
        line = f"{bearing.start}-{bearing.end}"
        if signed_dms(own) != signed_dms(factors.convergence):
            yield Step(
                f"convergence at {bearing.start}, for {line}", signed_dms(own), "in its place, not the plot's middle"
            )
        bend = float(wrap_angle(bearing.booked + east - own - bearing.bearing))
        if signed_dms(bend) != signed_dms(0.0):
            yield Step(f"less arc-to-chord of {line}", signed_dms(bend), "from the line on the ground to its chord")


def _axes_steps(grid: Grid) -> Iterator[Step]:
    """Yield in which grid a survey is solved and written whose own has axes west and south."""
    if grid.instead_of is not None:
        note = f"for {grid.instead_of}, whose axes run west and south: the same figures with the other sign"
        yield Step("solved and written in", grid.name, note)


def _epoch_steps(control: Control) -> Iterator[Step]:
    if control.epoch is not None:
        yield Step("epoch", f"{control.epoch:g}", "the coordinates hold for this moment and are carried to no other")


def _idle_epoch(control: Control, grid: Grid) -> Iterator[Finding]:
    """Yield a warning where an epoch is booked and the grid's datum does not move."""
    if control.epoch is not None and not is_dynamic(grid.crs):
        text = f"{grid.name} moves with its plate: epoch {control.epoch:g} is recorded and changes nothing"
        yield Finding("idle-epoch", text, control.place)


def _scale_steps(control: Control, factors: Factors, height_factor: float) -> Iterator[Step]:
    """Yield what is done to a length on the ground to make it one on the grid."""
    yield Step("grid scale factor", f"{factors.scale:.7f}", "ellipsoid to grid, at the middle of the plot")
    if control.ground_height is None:
        yield Step("height factor", "left out", "no ground_height is booked")
    else:
        yield Step("height factor", f"{height_factor:.7f}", f"ground at {control.ground_height:g} m to ellipsoid")
    change = (factors.scale * height_factor - 1) * 1e6
    yield Step("combined factor", f"{factors.scale * height_factor:.7f}", f"ground to grid: {change:+.0f} mm in 1 km")
