"""A drawing carried onto the grid: every entity of its model space, layers and blocks as they are."""

from __future__ import annotations

from math import isclose
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.errors import OpenError, UsageError
from pegline.frame.crs import Grid, prj_text
from pegline.frame.transformation import Transformation

__all__ = ["corners", "write"]

#: Units as a drawing names them, by their length, metres.
UNITS: Final = {1.0: 6, 0.3048: 2, 1200 / 3937: 21}
UNNAMED: Final = 0


def corners(path: Path) -> NDArray[np.float64]:
    """Return (4, 2) the corners of the box that holds everything."""
    from ezdxf import bbox

    box = bbox.extents(_read(path).modelspace(), fast=True)
    if not box.has_data:
        raise OpenError(f"{path}: its model space is empty; look whether it is the right drawing")
    (west, south, _), (east, north, _) = box.extmin, box.extmax
    return np.array([(west, south), (east, south), (east, north), (west, north)])


def write(path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
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
    return next((unit for length, unit in UNITS.items() if isclose(length, metres, rel_tol=1e-9)), UNNAMED)


def _read(path: Path):  # type: ignore[no-untyped-def]  # ezdxf's own type, imported late
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    try:
        return readfile(path)
    except (OSError, DXFError) as error:
        raise OpenError(f"{path}: cannot be read as a drawing ({error}); save it as DXF R2000 or later") from error
