"""What can be put onto the grid: which files, how far each reaches, and what writes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isclose
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from pegline.commands.fit.layers import corners_of_layers, write_layers
from pegline.commands.fit.picture import corners_of_picture, write_picture
from pegline.errors import OpenError, UsageError
from pegline.frame.crs import Grid, prj_text
from pegline.frame.transformation import Transformation
from pegline.network.confidence import confidence_radii
from pegline.plane import Array

__all__ = [
    "SOURCES",
    "TRUSTED_REACH",
    "Source",
    "carried_accuracy",
    "reach_beyond",
    "refuse_far_beyond",
    "source_of",
    "write_onto_grid",
]


# -- a drawing: every entity of its model space, layers and blocks as they are -----------------------

#: Units as a drawing names them, by their length, metres.
DRAWING_UNITS: Final = {1.0: 6, 0.3048: 2, 1200 / 3937: 21}
UNNAMED: Final = 0


def _corners_of_drawing(path: Path) -> Array:
    """Return (4, 2) the corners of the box that holds everything."""
    from ezdxf import bbox

    box = bbox.extents(_read(path).modelspace(), fast=True)
    if not box.has_data:
        raise OpenError(f"{path}: its model space is empty; look whether it is the right drawing")
    (west, south, _), (east, north, _) = box.extmin, box.extmax
    return np.array([(west, south), (east, south), (east, north), (west, north)])


def _write_drawing(path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    """Write the drawing at ``path``, carried onto the grid, to ``out``, and a .prj beside it."""
    from ezdxf import transform
    from ezdxf.math import Matrix44

    from pegline.writers.publish import write_aside

    if fitted.kind in ("projective", "local"):
        raise UsageError(f"{out}: a drawing has no room for a {fitted.kind} transformation; take affine or similarity")
    (a, b, e), (c, d, n), _ = fitted.matrix.tolist()
    drawing = _read(path)
    # Heights and thicknesses grow as the plan does.
    matrix = Matrix44((a, c, 0, 0, b, d, 0, 0, 0, 0, fitted.scale, 0, e, n, 0, 1))
    log = transform.inplace(drawing.modelspace(), matrix)
    if len(log):
        first = log.messages()[0]
        raise UsageError(f"{path}: cannot be carried whole ({first}); take the drawing apart there, or similarity")
    drawing.units = _units(grid.metres_per_unit)
    with write_aside(out) as made:
        drawing.saveas(made)
    crs = prj_text(grid.wkt)
    if crs is not None:
        with write_aside(out.with_suffix(".prj")) as made:
            made.write_text(crs, encoding="utf-8")


def _units(metres: float) -> int:
    """Return a unit as a drawing names it; the last digit of its length is not the same everywhere."""
    return next((unit for length, unit in DRAWING_UNITS.items() if isclose(length, metres, rel_tol=1e-9)), UNNAMED)


def _read(path: Path):  # type: ignore[no-untyped-def]  # ezdxf's own type, imported late
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    try:
        return readfile(path)
    except (OSError, DXFError) as error:
        raise OpenError(f"{path}: cannot be read as a drawing ({error}); save it as DXF R2000 or later") from error


# -- a file, whatever it is --------------------------------------------------------------------------

#: How far beyond its points a transformation is trusted: this share of how far they stand apart.
TRUSTED_REACH: Final = 0.5


class Source(NamedTuple):
    """What can be put onto the grid."""

    down: bool  #: its y runs down, as rows of a picture do
    corners: Callable[[Path], Array]  #: (m, 2) the corners of what it holds, y up
    write: Callable[[Path, Transformation, Grid, Path], None]  #: source, transformation, grid, file to write
    ends: tuple[str, ...]  #: of files that it can write


_LAYERS: Final = Source(False, corners_of_layers, write_layers, (".gpkg", ".geojson"))
_PICTURE: Final = Source(True, corners_of_picture, write_picture, (".png", ".jpg", ".jpeg", ".tif", ".tiff"))
SOURCES: Final[Mapping[str, Source]] = {
    ".dxf": Source(False, _corners_of_drawing, _write_drawing, (".dxf",)),
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
    if far > TRUSTED_REACH:
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


def carried_accuracy(fitted: Transformation, corners: Array) -> str:
    """Return in a line how well what is carried is known: at its best, and at its worst corner."""
    radii = confidence_radii(fitted.spread_at(np.concatenate([corners, fitted.source])))
    return f"carried within {radii.min():.2f} at the points and {radii.max():.2f} at the worst corner (95 %)"


def write_onto_grid(source: Source, path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    """Write a file carried onto the grid."""
    from pegline.writers.publish import hold_folder

    with hold_folder(out.parent):
        source.write(path, fitted, grid, out)
