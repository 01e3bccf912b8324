"""Several sheets of one map put onto the grid together: each with its own list, tied by points of one name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import degrees
from pathlib import Path

import numpy as np

from pegline.commands.fit.pairs import PointList, read_list
from pegline.errors import BookError, Finding, Place, UsageError
from pegline.frame.crs import Grid
from pegline.frame.sheet_block import GridPoint, PointResidual, SheetBlock, SheetPoints, fit_sheets
from pegline.network.confidence import CHI2_95
from pegline.records import record

__all__ = ["SheetLists", "accusation", "block_report", "fit_lists", "read_sheet_lists"]


@record(frozen=True, slots=False)
class SheetLists:
    """What the lists of all sheets say."""

    sheets: Mapping[str, SheetPoints]
    known: Mapping[str, GridPoint]
    where: Mapping[tuple[str | None, str], Place]  #: of each point of each sheet, and of each known one
    crs: str | None
    kind: str | None
    place: Place


def read_sheet_lists(
    lists: Mapping[str, Path], down: Mapping[str, bool], control: Path | None, without: Sequence[str]
) -> SheetLists:
    """Return what the list of each sheet says, and the list of control that all share.

    Parameters
    ----------
    lists
        The list of each sheet, by the sheet's name.
    down
        Whether y runs down on it.
    control
        Eastings and northings by name; a point that a sheet's list tells them of has them from there.
    without
        Names of points to leave out, on all sheets.

    Raises
    ------
    BookError
        Everything that is wrong in them.
    UsageError
        A point to leave out is on no sheet.
    """
    read = {name: read_list(path) for name, path in lists.items()}
    shared = read_list(control) if control else None
    every = {point.name for each in read.values() for point in each.points}
    if absent := [name for name in without if name not in every]:
        raise UsageError(f"no list has a point {absent[0]!r} to leave out; look at its name")
    grid_points, where = _known_points([*read.values(), *([shared] if shared else [])], every - set(without))
    faults, sheets = [], {}
    on = {name: [point.name for point in each.points] for name, each in read.items()}
    for name, each in read.items():
        places = {}
        for point in (point for point in each.points if point.name not in without):
            where[name, point.name] = point.place
            if point.x is None or point.y is None:
                faults.append(Finding("points", f"{point.name}: x and y say where it is; add both", point.place))
            elif point.name in grid_points or sum(point.name in names for names in on.values()) > 1:
                places[point.name] = (point.x, -point.y if down[name] else point.y)
            else:
                text = f"{point.name} is on this sheet only and not known on the grid, so it says nothing; leave it out"
                faults.append(Finding("points", text, point.place))
        sheets[name] = SheetPoints(name, places, each.drawn or each.accuracy)
    if faults:
        raise BookError(faults)
    all_lists = [*read.values(), *([shared] if shared else [])]
    crs, kind = (next((getattr(one, key) for one in all_lists if getattr(one, key)), None) for key in ("crs", "kind"))
    return SheetLists(sheets, grid_points, where, crs, kind, all_lists[0].place)


def _known_points(
    lists: Sequence[PointList], names: set[str]
) -> tuple[dict[str, GridPoint], dict[tuple[str | None, str], Place]]:
    """Return the points of lists that are known on the grid; where two tell of one, they must tell the same."""
    grid_points: dict[str, GridPoint] = {}
    where: dict[tuple[str | None, str], Place] = {}
    faults = []
    for each in lists:
        for point in each.points:
            if point.easting is None or point.northing is None or point.name not in names:
                continue
            grid_point = GridPoint((point.easting, point.northing), point.accuracy or each.accuracy)
            if point.name in grid_points and grid_points[point.name].place != grid_point.place:
                first = where[None, point.name]
                text = f"{point.name} has another easting and northing at {first}; which is right?"
                faults.append(Finding("points", text, point.place))
            grid_points.setdefault(point.name, grid_point)
            where.setdefault((None, point.name), point.place)
    if faults:
        raise BookError(faults)
    return grid_points, where


def fit_lists(lists: SheetLists, kind: str) -> tuple[SheetBlock, float | None]:
    """Return the sheets fitted together; raises as `fit_sheets`, with the place of the first list."""
    if kind not in ("similarity", "affine"):
        raise UsageError(f"several sheets are fitted together by similarity or affine, not {kind}")
    try:
        return fit_sheets(kind, lists.sheets, lists.known)  # type: ignore[arg-type]
    except ValueError as error:
        text = f"{error}; add points in common with the other sheets, or points known on the grid, well spread"
        raise BookError([Finding("points", text, lists.place)]) from error


def block_report(block: SheetBlock, factor: float | None, kind: str, grid: Grid) -> Iterator[str]:
    """Yield the lines that tell how well the sheets fit the grid and one another."""
    unit = grid.crs.axis_info[0].unit_name
    control_readings = [reading for reading in block.readings if reading.sheet is None]
    common = [point for point in block.places if sum(each.point == point for each in block.readings) > 1]
    yield (
        f"{kind} of {len(block.sheets)} sheets onto {grid.name}: {len(control_readings)} points known on the grid,"
        f" {len(common)} told more than once; differences in the unit of the grid, {unit}"
    )
    if factor is None:
        yield "nothing checks the points: list one more"
    else:
        yield f"misfit {factor**0.5:.2f} times what the accuracies say, {block.freedom} redundant"
    for name, fitted in block.sheets.items():
        # Plus 0: no figure is told as -0.000.
        turn = (round(degrees(fitted.rotation), 4) + 0.0) % 360
        radius = CHI2_95**0.5 * float(np.sqrt(np.linalg.eigvalsh(fitted.spread_at(fitted.source))[:, -1].max()))
        yield (
            f"{name}: scale {fitted.scale:.7g}, turned {turn if turn <= 180 else turn - 360:.4f}° clockwise;"
            f" carried within {radius:.2f} at its points (95 %)"
        )
        yield from _rows([reading for reading in block.readings if reading.sheet == name], block)
    yield "known on the grid:"
    yield from _rows(control_readings, block)
    yield f"a test value may reach {block.critical:.1f}"


def _rows(readings: Sequence[PointResidual], block: SheetBlock) -> Iterator[str]:
    yield f"  {'point':<20}{'dE':>10}{'dN':>10}{'test':>8}"
    for reading in readings:
        # Plus 0: no figure is told as -0.000.
        east, north = (round(value, 3) + 0.0 for value in reading.residual)
        mark = "  does not fit" if reading == block.wrong else ""
        yield f"  {reading.point:<20}{east:>10.3f}{north:>10.3f}{reading.test:>8.1f}{mark}"


def accusation(block: SheetBlock, lists: SheetLists, kind: str) -> str:
    """Return which reading is wrong, in words, where the others agree without it."""
    wrong = block.wrong
    if wrong is None:
        return ""
    at = f"on {wrong.sheet}" if wrong.sheet else "on the grid"
    try:
        without, _ = fit_sheets(kind, *_left_out(lists, wrong))  # type: ignore[arg-type]
    except (ValueError, KeyError):
        without = None
    if without is None or not without.freedom or without.wrong is not None:
        return f"the points do not fit, {wrong.point} {at} worst; which of them is wrong is open: list more points"
    place = np.array(without.places[wrong.point])
    if wrong.sheet is None:
        told_place = np.array(lists.known[wrong.point].place)
    else:
        told_place = without.sheets[wrong.sheet].carry([lists.sheets[wrong.sheet].places[wrong.point]])[0]
    # Plus 0: no figure is told as -0.000.
    off = (told_place - place).round(3) + 0.0
    return (
        f"{wrong.point} {at} does not fit: it is {off[0]:+.3f} east and {off[1]:+.3f} north of where the others put it;"
        " look at it"
    )


def _left_out(lists: SheetLists, wrong: PointResidual) -> tuple[dict[str, SheetPoints], dict[str, GridPoint]]:
    """Return the sheets and known points without one reading."""
    grid_points = {point: each for point, each in lists.known.items() if wrong.sheet or point != wrong.point}
    sheets = {}
    for name, sheet in lists.sheets.items():
        places = {p: place for p, place in sheet.places.items() if (name, p) != (wrong.sheet, wrong.point)}
        sheets[name] = SheetPoints(name, places, sheet.sd)
    return sheets, grid_points
