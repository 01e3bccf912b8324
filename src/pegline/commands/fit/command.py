"""Putting a drawing, a layer or a scanned plan that stands in coordinates of its own onto the grid."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from math import degrees, hypot
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.commands.fit import drawing, layers, picture
from pegline.commands.fit.pairs import Pairs, read_pairs
from pegline.errors import BookError, Finding, OpenError, UsageError
from pegline.frame.crs import Grid, grid_of
from pegline.frame.transformation import NEEDED, Transformation, carry_points, find_mix_up, fit

__all__ = ["BEYOND", "SOURCES", "Source", "arguments", "run"]

Tell = Callable[[str], None]
Array = NDArray[np.float64]

#: How far beyond its points a transformation is trusted: this share of how far they stand apart.
BEYOND: Final = 0.5


class Source(NamedTuple):
    """What can be put onto the grid."""

    down: bool  #: its y runs down, as rows of a picture do
    corners: Callable[[Path], Array]  #: (m, 2) the corners of what it holds, y up
    write: Callable[[Path, Transformation, Grid, Path], None]  #: source, transformation, grid, file to write
    ends: tuple[str, ...]  #: of files that it can write


_LAYERS: Final = Source(False, layers.corners, layers.write, (".gpkg", ".geojson"))
_PICTURE: Final = Source(True, picture.corners, picture.write, (".png", ".jpg", ".jpeg", ".tif", ".tiff"))
SOURCES: Final[Mapping[str, Source]] = {
    ".dxf": Source(False, drawing.corners, drawing.write, (".dxf",)),
    ".gpkg": _LAYERS,
    ".geojson": _LAYERS,
    ".shp": _LAYERS,
    ".png": _PICTURE,
    ".jpg": _PICTURE,
    ".jpeg": _PICTURE,
    ".tif": _PICTURE,
    ".tiff": _PICTURE,
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("source", type=Path, help=f"what to put onto the grid: {', '.join(SOURCES)}")
    parser.add_argument("points", type=Path, help="YAML or CSV: points known in both, x, y, easting, northing")
    parser.add_argument("--out", type=Path, required=True, help="the file to write")
    parser.add_argument("--kind", choices=tuple(NEEDED), help="which transformation (default similarity)")
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
    source = _source(args.source, args.out)
    pairs = read_pairs(args.points, args.control, args.without)
    crs = args.crs or pairs.crs
    if crs is None:
        raise UsageError(f"{args.points}: no grid is named; write crs: EPSG:CODE in it, or --crs")
    grid = grid_of(crs, pairs.place)
    if args.into is not None:
        pairs, grid = carry_into(pairs, grid, args.into, args.allow_shift)
    fitted = _fit_transformation(pairs, args.kind or pairs.kind or "similarity", source)
    for line in report(fitted, pairs, grid):
        tell(line)
    far = reach_beyond(fitted, source.corners(args.source))
    if far > BEYOND and not args.beyond:
        raise UsageError(
            f"{args.source}: reaches {far:.1f} times as far beyond the points as they stand apart, and a"
            " transformation is not to be trusted there; add points near its edges, or say --beyond"
        )
    _write(source, args.source, fitted, grid, args.out)
    tell(f"written: {args.out}")
    for words in layers.left_out(args.source, args.out):
        complain(words)
    if fitted.wrong is None:
        return 0
    complain(f"{pairs.points[fitted.wrong].place}: {_accusation(fitted, pairs)}")
    return 1


def carry_into(pairs: Pairs, grid: Grid, into: str, allowed: float) -> tuple[Pairs, Grid]:
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


def _source(path: Path, out: Path) -> Source:
    source = SOURCES.get(path.suffix.lower())
    if source is None:
        raise UsageError(f"{path}: of no kind that can be fitted; there are {', '.join(SOURCES)}")
    if out.suffix.lower() not in source.ends:
        raise UsageError(f"{out}: cannot be made of {path.name}; end it with {' or '.join(source.ends)}")
    if not path.is_file():
        raise OpenError(f"{path}: cannot be opened (no such file); check the name")
    if path.resolve() == out.resolve():
        raise UsageError(f"{out}: is the source itself; name another file")
    return source


def _fit_transformation(pairs: Pairs, kind: str, source: Source) -> Transformation:
    places = pairs.source * [1, -1] if source.down else pairs.source
    try:
        return fit(kind, places, pairs.target, pairs.sds)  # type: ignore[arg-type]
    except ValueError as error:
        text = f"{error}; list more points, well spread, or ask for a plainer kind"
        raise BookError([Finding("points", text, pairs.place)]) from error


def reach_beyond(fitted: Transformation, corners: Array) -> float:
    """Return how far the corners lie outside the points' hull, as a share of how far the points stand apart."""
    from shapely import MultiPoint, Point

    hull = MultiPoint(fitted.source.tolist()).convex_hull
    apart = max(float(np.hypot(*(p - q))) for p in fitted.source for q in fitted.source)
    return max(float(hull.distance(Point(*corner))) for corner in corners) / apart


def _write(source: Source, path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    from pegline.writers.publish import hold_folder

    with hold_folder(out.parent):
        source.write(path, fitted, grid, out)


def report(fitted: Transformation, pairs: Pairs, grid: Grid) -> Iterator[str]:
    """Yield the lines that tell how well the points fit."""
    unit = grid.crs.axis_info[0].unit_name
    yield f"{fitted.kind} onto {grid.name}, {len(pairs.points)} points; differences in the unit of the grid, {unit}"
    turn = degrees(fitted.rotation) % 360
    yield f"scale {fitted.scale:.7g}, turned {turn if turn <= 180 else turn - 360:.4f}° clockwise"
    factor = fitted.variance_factor
    if factor is None:
        yield "nothing checks the points: list one more"
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


def _accusation(fitted: Transformation, pairs: Pairs) -> str:
    """Return what is wrong with the pairs, in words."""
    mixed = find_mix_up(fitted)
    if mixed is not None:
        words = mixed.words
        if mixed.exchanged:
            words = "{} and {} look exchanged".format(*(pairs.points[n].name for n in mixed.exchanged))
        return f"the points do not fit: {words}; everything fits once that is undone"
    wrong = fitted.wrong or 0
    keep = np.arange(len(pairs.points)) != wrong
    try:
        without = fit(fitted.kind, fitted.source[keep], fitted.target[keep], fitted.sds[keep])
    except ValueError:
        without = None
    name = pairs.points[wrong].name
    if without is None or not without.freedom or without.wrong is not None:
        return f"the points do not fit, {name} worst; which of them is wrong is open: list more points"
    # Plus 0: no figure is told as -0.000.
    off = (fitted.target[wrong] - carry_points(without.matrix, fitted.source[wrong])).round(3) + 0.0
    return (
        f"{name} does not fit: it is {off[0]:+.3f} east and {off[1]:+.3f} north of where the others put it; look at it"
    )
