"""What can be put onto the grid: which files, how far each reaches, and what writes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.commands.fit import drawing, layers, picture
from pegline.errors import OpenError, UsageError
from pegline.frame.crs import Grid
from pegline.frame.transformation import Transformation
from pegline.network.confidence import confidence_radii

__all__ = [
    "BEYOND",
    "SOURCES",
    "Source",
    "accuracy_words",
    "reach_beyond",
    "refuse_far_beyond",
    "source_of",
    "write_onto_grid",
]

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


def source_of(path: Path, out: Path) -> Source:
    """Return what a file is, of which another is to be made.

    Raises
    ------
    UsageError, OpenError
        It cannot be.
    """
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


def refuse_far_beyond(path: Path, source: Source, fitted: Transformation) -> None:
    """Refuse to carry what lies far beyond the points.

    Raises
    ------
    UsageError
        It does.
    """
    far = reach_beyond(fitted, source.corners(path))
    if far > BEYOND:
        raise UsageError(
            f"{path}: reaches {far:.1f} times as far beyond the points as they stand apart, and a"
            " transformation is not to be trusted there; add points near its edges, or say --beyond"
        )


def reach_beyond(fitted: Transformation, corners: Array) -> float:
    """Return how far the corners lie outside the points' hull, as a share of how far the points stand apart."""
    from shapely import MultiPoint, Point

    hull = MultiPoint(fitted.source.tolist()).convex_hull
    apart = max(float(np.hypot(*(p - q))) for p in fitted.source for q in fitted.source)
    return max(float(hull.distance(Point(*corner))) for corner in corners) / apart


def accuracy_words(fitted: Transformation, corners: Array) -> str:
    """Return in a line how well what is carried is known: at its best, and at its worst corner."""
    radii = confidence_radii(fitted.spread_at(np.concatenate([corners, fitted.source])))
    return f"carried within {radii.min():.2f} at the points and {radii.max():.2f} at the worst corner (95 %)"


def write_onto_grid(source: Source, path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    """Write a file carried onto the grid."""
    from pegline.writers.publish import hold_folder

    with hold_folder(out.parent):
        source.write(path, fitted, grid, out)
