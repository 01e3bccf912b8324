"""Putting what stands in coordinates of its own onto the grid, from points known in both."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from math import degrees, hypot
from pathlib import Path

import numpy as np

from pegline.commands.command_line import Tell
from pegline.commands.fit import layers
from pegline.commands.fit.pairs import CommonPoints, read_pairs
from pegline.commands.fit.several_sheets import accusation, block_report, fit_lists, read_sheet_lists
from pegline.commands.fit.sources import (
    SOURCES,
    Source,
    carried_accuracy,
    refuse_far_beyond,
    source_of,
    write_onto_grid,
)
from pegline.errors import BookError, Finding, Place, UsageError
from pegline.frame.crs import Grid, grid_of
from pegline.frame.local_transformation import fit_local
from pegline.frame.transformation import TRANSFORMATIONS, Transformation, find_mix_up, fit

__all__ = ["arguments", "run"]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("source", type=Path, help=f"what to put onto the grid: {', '.join(SOURCES)}")
    parser.add_argument("points", type=Path, help="YAML or CSV: points known in both, x, y, easting, northing")
    parser.add_argument(
        "more",
        type=Path,
        nargs="*",
        metavar="SOURCE POINTS",
        help="further sheets, fitted together with the first by points of one name",
    )
    parser.add_argument("--out", type=Path, required=True, help="the file to write; of several sheets, the folder")
    parser.add_argument("--kind", choices=TRANSFORMATIONS, help="which transformation (default similarity)")
    parser.add_argument("--crs", help="the grid, where the list of points does not name it")
    parser.add_argument("--control", type=Path, help="eastings and northings by name, where POINTS does not tell them")
    parser.add_argument("--without", action="append", default=[], metavar="NAME", help="leave a point out")
    parser.add_argument("--into", metavar="CRS", help="write in this grid, where it is not that of the points")
    parser.add_argument(
        "--allow-shift", type=float, default=0.0, metavar="METRES", help="with --into, allow a change of datum so good"
    )
    parser.add_argument("--beyond", action="store_true", help="write even what lies far beyond the points")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Fit, tell how well, and write; 1 where a pair is wrong."""
    if args.more:
        return _run_several(args, tell, complain)
    source = source_of(args.source, args.out)
    pairs = read_pairs(args.points, args.control, args.without)
    grid = _grid(args.crs or pairs.crs, args.points, pairs.place)
    if args.into is not None:
        pairs, grid = carry_into(pairs, grid, args.into, args.allow_shift)
    fitted = _fit_transformation(pairs, args.kind or pairs.kind or "similarity", source)
    for line in report(fitted, pairs, grid):
        tell(line)
    if not args.beyond:
        refuse_far_beyond(args.source, source, fitted)
    tell(carried_accuracy(fitted, source.corners(args.source)))
    write_onto_grid(source, args.source, fitted, grid, args.out)
    tell(f"written: {args.out}")
    for words in layers.left_out(args.source, args.out):
        complain(words)
    if fitted.wrong is None:
        return 0
    complain(f"{pairs.points[fitted.wrong].place}: {_accusation(fitted, pairs)}")
    return 1


def _grid(crs: str | None, points: Path, place: Place) -> Grid:
    if crs is None:
        raise UsageError(f"{points}: no grid is named; write crs: EPSG:CODE in it, or --crs")
    return grid_of(crs, place)


def _run_several(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Fit several sheets together, tell how well, and write each into a folder; 1 where a reading is wrong."""
    paths = _sheet_paths(args)
    # A Shapefile becomes a GeoPackage; all else stays what it is.
    ends = {path: ".gpkg" if path.suffix.lower() == ".shp" else path.suffix for path in paths}
    outs = {path: args.out / path.with_suffix(end).name for path, end in ends.items()}
    sources = {path: source_of(path, outs[path]) for path in paths}
    lists = read_sheet_lists(
        {path.name: points for path, points in zip(paths, [args.points, *args.more[1::2]], strict=True)},
        {path.name: source.down for path, source in sources.items()},
        args.control,
        args.without,
    )
    grid, kind = _grid(args.crs or lists.crs, args.points, lists.place), args.kind or lists.kind or "similarity"
    block, factor = fit_lists(lists, kind)
    for line in block_report(block, factor, kind, grid):
        tell(line)
    if not args.beyond:
        for path, source in sources.items():
            refuse_far_beyond(path, source, block.sheets[path.name])
    for path, source in sources.items():
        write_onto_grid(source, path, block.sheets[path.name], grid, outs[path])
        tell(f"written: {outs[path]}")
        for words in layers.left_out(path, outs[path]):
            complain(words)
    if block.wrong is None:
        return 0
    complain(f"{lists.where[block.wrong.sheet, block.wrong.point]}: {accusation(block, lists, kind)}")
    return 1


def _sheet_paths(args: argparse.Namespace) -> list[Path]:
    """Return the files of several sheets, each of which has its list of points behind it."""
    paths: list[Path] = [args.source, *args.more[::2]]
    if len(args.more) % 2 or len({path.name for path in paths}) < len(paths):
        raise UsageError("each sheet wants its own list of points behind it, and a file name of its own")
    if args.into is not None:
        raise UsageError("--into is for one sheet; fit several onto the grid of their points first")
    return paths


def carry_into(pairs: CommonPoints, grid: Grid, into: str, allowed: float) -> tuple[CommonPoints, Grid]:
    """Return points with their places on another grid, and that grid.

    Raises
    ------
    UsageError
        The datum changes by more than is allowed.
    """
    from pegline.frame.datum_shift import way_between

    other = grid_of(into, None)
    way = way_between(grid.crs, other.crs, tuple(pairs.target[0]))
    if way is None:
        raise UsageError(
            f"--into {into}: nothing here leads there from {grid.name} but a guess; take a grid of its datum"
        )
    if way.accuracy > allowed:
        good = f"from {grid.name} the datum changes, good to {way.accuracy:g} m"
        raise UsageError(f"--into {into}: {good}; take a grid of its datum, or say --allow-shift {way.accuracy:g}")
    ratio, shift = grid.metres_per_unit / other.metres_per_unit, way.accuracy / other.metres_per_unit
    places = zip(*way.transformer.transform(*pairs.target.T, errcheck=True), strict=True)
    points = tuple(
        replace(point, easting=float(east), northing=float(north), sd=hypot(point.sd * ratio, shift))
        for point, (east, north) in zip(pairs.points, places, strict=True)
    )
    return replace(pairs, points=points), other


def _fit_transformation(pairs: CommonPoints, kind: str, source: Source) -> Transformation:
    places = pairs.source * [1, -1] if source.down else pairs.source
    try:
        if kind == "local":
            return fit_local(places, pairs.target, pairs.sds)
        return fit(kind, places, pairs.target, pairs.sds)  # type: ignore[arg-type]
    except ValueError as error:
        text = f"{error}; list more points, well spread, or ask for a plainer kind"
        raise BookError([Finding("points", text, pairs.place)]) from error


def report(fitted: Transformation, pairs: CommonPoints, grid: Grid) -> Iterator[str]:
    """Yield the lines that tell how well the points fit."""
    unit = grid.crs.axis_info[0].unit_name
    yield f"{fitted.kind} onto {grid.name}, {len(pairs.points)} points; differences in the unit of the grid, {unit}"
    turn = degrees(fitted.rotation) % 360
    yield f"scale {fitted.scale:.7g}, turned {turn if turn <= 180 else turn - 360:.4f}° clockwise"
    factor = fitted.variance_factor
    if factor is None:
        yield "nothing checks the points: list one more"
    elif fitted.kind == "local":
        yield f"a similarity alone would leave {factor**0.5:.2f} times what the accuracies say; the rest is distortion"
    else:
        yield f"misfit {factor**0.5:.2f} times what the accuracies say, {fitted.freedom} redundant"
    yield f"{'point':<20}{'dE':>10}{'dN':>10}{'dE unseen':>12}{'dN unseen':>12}{'test':>8}"
    # Plus 0: no figure is told as -0.000.
    residuals, left_out = fitted.residuals.round(3) + 0.0, fitted.left_out().round(3) + 0.0
    rows = zip(pairs.points, residuals, left_out, fitted.tests, strict=True)
    for n, (point, residual, unseen, test) in enumerate(rows):
        alone = "".join(f"{value:>12.3f}" if np.isfinite(value) else f"{'-':>12}" for value in unseen)
        mark = "  does not fit" if n == fitted.wrong else ""
        yield f"{point.name:<20}{residual[0]:>10.3f}{residual[1]:>10.3f}{alone}{test:>8.1f}{mark}"
    yield f"a test value may reach {fitted.critical:.1f}; unseen: the difference from where the other points put it"


def _accusation(fitted: Transformation, pairs: CommonPoints) -> str:
    """Return what is wrong with the pairs, in words."""
    mixed = None if fitted.kind == "local" else find_mix_up(fitted)
    if mixed is not None:
        words = mixed.words
        if mixed.exchanged:
            words = "{} and {} look exchanged".format(*(pairs.points[n].name for n in mixed.exchanged))
        return f"the points do not fit: {words}; everything fits once that is undone"
    wrong = fitted.wrong or 0
    keep = np.arange(len(pairs.points)) != wrong
    again = fitted.source[keep], fitted.target[keep], fitted.sds[keep]
    try:
        without = fit_local(*again) if fitted.kind == "local" else fit(fitted.kind, *again)
    except ValueError:
        without = None
    name = pairs.points[wrong].name
    if without is None or not without.freedom or without.wrong is not None:
        return f"the points do not fit, {name} worst; which of them is wrong is open: list more points"
    # Plus 0: no figure is told as -0.000.
    off = (fitted.target[wrong] - without.carry(fitted.source[[wrong]])[0]).round(3) + 0.0
    return (
        f"{name} does not fit: it is {off[0]:+.3f} east and {off[1]:+.3f} north of where the others put it; look at it"
    )
