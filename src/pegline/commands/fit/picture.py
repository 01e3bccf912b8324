"""A scanned plan put onto the grid: the picture with a world file, and a GeoTIFF where rasterio is installed.

Pixels are counted from the top left corner of the picture, to the right and down; y up is minus the row.
"""

from __future__ import annotations

import shutil
import warnings
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pegline.errors import OpenError, UsageError
from pegline.frame.crs import Grid, sidecar
from pegline.frame.transformation import Fitted, applied

__all__ = ["corners", "world_file", "write"]

Array = NDArray[np.float64]

#: Ends of world files by those of pictures.
WORLD: Final = {".png": ".pgw", ".jpg": ".jgw", ".jpeg": ".jgw", ".tif": ".tfw", ".tiff": ".tfw"}
#: No picture is made larger than so many pixels.
LARGEST: Final = 400_000_000


def corners(path: Path) -> Array:
    """Return (4, 2) the corners of the picture, y up."""
    with _opened(path) as picture:
        width, height = picture.size
    return np.array([(0, 0), (width, 0), (width, -height), (0, -height)], dtype=float)


def world_file(matrix: Array) -> str:
    """Return the six lines of a world file: steps along a row, down a column, and the middle of the first pixel.

    >>> world_file(np.array([[0.5, 0, 100], [0, 0.5, 200], [0, 0, 1]])).split()
    ['0.5', '0.0', '0.0', '-0.5', '100.25', '199.75']
    """
    (a, b, _), (c, d, _) = matrix[:2].tolist()
    e, n = applied(matrix, [[0.5, -0.5]])[0].tolist()
    return "".join(f"{value!r}\n" for value in (a, c, 0.0 - b, -d, e, n))


def write(path: Path, fitted: Fitted, grid: Grid, out: Path) -> None:
    """Write the picture at ``path`` with its place on the grid to ``out``, a world file and a .prj beside it."""
    from pegline.writers.publish import placed

    matrix = fitted.matrix
    with placed(out) as made:
        if fitted.kind == "projective":
            matrix = _straightened(path, fitted, made)
        elif out.suffix.lower() == path.suffix.lower():
            shutil.copyfile(path, made)
        else:
            with _opened(path) as picture:
                picture.save(made)
        if out.suffix.lower() in (".tif", ".tiff") and find_spec("rasterio"):
            _tell_place(made, matrix, grid)
    for end, text in ((WORLD[out.suffix.lower()], world_file(matrix)), (".prj", sidecar(grid.wkt))):
        if text is not None:
            with placed(out.with_suffix(end)) as made:
                made.write_text(text, encoding="ascii", errors="replace")


def _straightened(path: Path, fitted: Fitted, made: Path) -> Array:
    """Write the picture drawn anew, north up, and return its matrix: a world file cannot say a projective one."""
    from PIL import Image

    edges = applied(fitted.matrix, corners(path))
    (west, south), (east, north) = edges.min(axis=0), edges.max(axis=0)
    pixel = fitted.scale
    width, height = int(np.ceil((east - west) / pixel)), int(np.ceil((north - south) / pixel))
    if not 0 < width * height <= LARGEST:
        raise UsageError(f"{path}: drawn anew it would be {width} by {height} pixels; take affine, or better points")
    matrix = np.array([[pixel, 0, west], [0, pixel, north], [0, 0, 1]])
    flip = np.diag([1.0, -1.0, 1.0])  # rows run down
    back = flip @ np.linalg.inv(fitted.matrix) @ matrix @ flip
    with _opened(path) as picture:
        paper = 255 if picture.mode in ("1", "L") else (255, 255, 255)
        plain = picture if picture.mode in ("1", "L", "RGB") else picture.convert("RGB")
        drawn = plain.transform(
            (width, height),
            Image.Transform.PERSPECTIVE,
            tuple((back / back[2, 2]).ravel()[:8]),
            resample=Image.Resampling.NEAREST if plain.mode == "1" else Image.Resampling.BICUBIC,
            fillcolor=paper,
        )
        drawn.save(made)
    return matrix


def _tell_place(path: Path, matrix: Array, grid: Grid) -> None:
    """Write the place into the TIFF itself."""
    import rasterio

    flip = np.diag([1.0, -1.0, 1.0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)  # that is why it is told now
        opened = rasterio.open(path, "r+", driver="GTiff")
    with opened as picture:
        picture.transform = rasterio.Affine(*(matrix @ flip)[:2].ravel())
        picture.crs = rasterio.CRS.from_wkt(grid.wkt)


def _opened(path: Path) -> Any:
    if not find_spec("PIL"):
        raise UsageError("pictures need pillow; install pegline[raster]")
    from PIL import Image

    try:
        return Image.open(path, formats=["PNG", "JPEG", "TIFF"])
    except (OSError, Image.DecompressionBombError) as error:
        raise OpenError(f"{path}: cannot be read as a picture ({error}); save it as PNG, JPEG or TIFF") from error
