"""A scanned plan put onto the grid: the picture with a world file, and a GeoTIFF where rasterio is installed.

Pixels are counted from the top left corner of the picture as it is shown, to the right and down; y up is minus the row.
"""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Iterator
from html import escape
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.errors import OpenError, UsageError
from pegline.frame.crs import Grid, prj_text
from pegline.frame.local_transformation import LocalTransformation
from pegline.frame.transformation import Transformation, carry_points
from pegline.plane import Array

__all__ = ["corners_of_picture", "world_file", "write_picture"]


#: Ends of world files by those of pictures.
WORLD_FILE_ENDINGS: Final = {".png": ".pgw", ".jpg": ".jgw", ".jpeg": ".jgw", ".tif": ".tfw", ".tiff": ".tfw"}
#: Where a camera tells which way up a picture is, and what it says of one that is as it is kept (Exif 2.32, 4.6.4).
ORIENTATION: Final = 0x0112
UPRIGHT: Final = 1
#: No picture is made larger than so many pixels.
MAX_PIXELS: Final = 400_000_000
#: Pixels across the cells in which a picture is bent piece by piece.
CELL: Final = 32


def corners_of_picture(path: Path) -> Array:
    """Return (4, 2) the corners of the picture, y up."""
    with _open_picture(path) as picture:
        width, height = picture.size
    return np.array([(0, 0), (width, 0), (width, -height), (0, -height)], dtype=float)


def world_file(matrix: Array) -> str:
    """Return the six lines of a world file: steps along a row, down a column, and the middle of the first pixel.

    >>> world_file(np.array([[0.5, 0, 100], [0, 0.5, 200], [0, 0, 1]])).split()
    ['0.5', '0.0', '0.0', '-0.5', '100.25', '199.75']
    """
    (a, b, _), (c, d, _) = matrix[:2].tolist()
    e, n = carry_points(matrix, [[0.5, -0.5]])[0].tolist()
    return "".join(f"{value!r}\n" for value in (a, c, 0.0 - b, -d, e, n))


def write_picture(path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    """Write the picture at ``path`` with its place on the grid to ``out``, with files beside it that tell the place."""
    from pegline.writers.publish import write_aside

    matrix, kind = fitted.matrix, out.suffix.lower()
    with write_aside(out) as made:
        if fitted.kind in ("projective", "local"):
            matrix = _write_north_up(path, fitted, made)
        elif kind == path.suffix.lower() and not _is_turned(path):
            shutil.copyfile(path, made)
        else:
            with _open_picture(path) as picture:
                picture.save(made)
        if kind in (".tif", ".tiff") and find_spec("rasterio"):
            _tell_place(made, matrix, grid)
    for beside, text in _beside(out, matrix, grid):
        with write_aside(beside) as made:
            made.write_text(text, encoding="utf-8")


def _beside(out: Path, matrix: Array, grid: Grid) -> Iterator[tuple[Path, str]]:
    """Yield what programs look for beside a picture: its place, and its CRS in two forms (both common practice)."""
    yield out.with_suffix(WORLD_FILE_ENDINGS[out.suffix.lower()]), world_file(matrix)
    prj = prj_text(grid.wkt)
    if prj is not None:
        yield out.with_suffix(".prj"), prj
    if out.suffix.lower() not in (".tif", ".tiff"):
        srs = f'<SRS dataAxisToSRSAxisMapping="1,2">{escape(grid.wkt)}</SRS>'
        yield out.with_name(f"{out.name}.aux.xml"), f"<PAMDataset>{srs}</PAMDataset>\n"


def _write_north_up(path: Path, fitted: Transformation, made: Path) -> Array:
    """Write the picture drawn anew, north up, and return its matrix: a world file says straight ones only."""
    from PIL import Image

    edges = fitted.carry(_rim(path))
    (west, south), (east, north) = edges.min(axis=0), edges.max(axis=0)
    pixel = fitted.scale
    width, height = int(np.ceil((east - west) / pixel)), int(np.ceil((north - south) / pixel))
    if not 0 < width * height <= MAX_PIXELS:
        raise UsageError(f"{path}: drawn anew it would be {width} by {height} pixels; take affine, or better points")
    matrix = np.array([[pixel, 0, west], [0, pixel, north], [0, 0, 1]])
    flip = np.diag([1.0, -1.0, 1.0])  # rows run down
    back = flip @ np.linalg.inv(fitted.matrix) @ matrix @ flip
    with _open_picture(path) as picture:
        clear = made.suffix.lower() not in (".jpg", ".jpeg")  # which know no transparency
        grey = picture.mode in ("1", "L", "I;16")
        plain = picture.convert(("LA" if clear else "L") if grey else ("RGBA" if clear else "RGB"))
        paper = {"L": 255, "RGB": (255, 255, 255), "LA": (255, 0), "RGBA": (255, 255, 255, 0)}[plain.mode]
        how: tuple[Any, Any] = (Image.Transform.PERSPECTIVE, tuple((back / back[2, 2]).ravel()[:8]))
        if isinstance(fitted, LocalTransformation):
            how = Image.Transform.MESH, list(_mesh(fitted, matrix, width, height))
        redrawn = plain.transform((width, height), *how, resample=Image.Resampling.BICUBIC, fillcolor=paper)
        redrawn.save(made)
    return matrix


def _rim(path: Path) -> Array:
    """Return places along the edge of a picture: a local transformation bends it."""
    ring = corners_of_picture(path)
    share = np.arange(32)[:, None] / 32
    return np.concatenate([a + (b - a) * share for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)])


def _mesh(fitted: LocalTransformation, matrix: Array, width: int, height: int) -> Iterator[tuple[Any, Any]]:
    """Yield boxes of the picture that is drawn, each with the corners of where it is in the source."""
    across = np.unique(np.append(np.arange(0, width, CELL), width))
    down = np.unique(np.append(np.arange(0, height, CELL), height))
    nodes = np.stack(np.meshgrid(across, -down), axis=-1).reshape(-1, 2).astype(float)
    corners_in_picture = (fitted.carry_back(carry_points(matrix, nodes)) * [1, -1]).reshape(len(down), len(across), 2)
    for row in range(len(down) - 1):
        for column in range(len(across) - 1):
            west, north, east, south = across[column], down[row], across[column + 1], down[row + 1]
            # From the upper left corner, down first.
            quad = (
                corners_in_picture[row, column],
                corners_in_picture[row + 1, column],
                corners_in_picture[row + 1, column + 1],
                corners_in_picture[row, column + 1],
            )
            box = (int(west), int(north), int(east), int(south))
            yield box, tuple(float(value) for corner in quad for value in corner)


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


def _open_picture(path: Path) -> Any:
    """Return a picture as it is shown: a camera writes which way up that is beside the pixels."""
    if not find_spec("PIL"):
        raise UsageError("pictures need pillow; install pegline[raster]")
    from PIL import Image, ImageOps

    try:
        picture = Image.open(path, formats=["PNG", "JPEG", "TIFF"])
        pages = getattr(picture, "n_frames", 1)
        if pages > 1:
            picture.close()
            raise UsageError(f"{path}: holds {pages} pages; save the one to fit as a picture of its own")
        ImageOps.exif_transpose(picture, in_place=True)
    except (OSError, Image.DecompressionBombError) as error:
        raise OpenError(f"{path}: cannot be read as a picture ({error}); save it as PNG, JPEG or TIFF") from error
    return picture


def _is_turned(path: Path) -> bool:
    """Return whether a picture is shown another way up than its pixels are kept."""
    from PIL import Image

    with Image.open(path, formats=["PNG", "JPEG", "TIFF"]) as picture:
        return bool(picture.getexif().get(ORIENTATION, UPRIGHT) != UPRIGHT)
