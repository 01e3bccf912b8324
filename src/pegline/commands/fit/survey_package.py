"""A GeoPackage of pegline's own put onto the grid whole, with the covariance of the fit added to the survey's."""

from __future__ import annotations

from math import degrees
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pegline.frame.crs import Grid, place_of
from pegline.frame.transformation import Transformation
from pegline.writers.gis.package import Motion, metres_per_unit, move_package
from pegline.writers.gis.package_reader import read_package

__all__ = ["write"]

Array = NDArray[np.float64]


def write(path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    """Write the package at ``path``, carried onto the grid, to ``out``."""
    from pegline.writers.gis.gpkg import write_package
    from pegline.writers.publish import write_aside

    package = read_package(path)
    with write_aside(out) as made:
        write_package(move_package(package, _motion(fitted, grid, metres_per_unit(package.wkt))), made)


def _motion(fitted: Transformation, grid: Grid, unit: float) -> Motion:
    """Return the way of a fit, from coordinates in a unit of so many metres."""
    scale = grid.metres_per_unit / unit
    return Motion(
        wkt=grid.wkt,
        crs_name=grid.name,
        places=fitted.carry,
        slopes=lambda corners: fitted.derivatives_at(corners) * scale,
        spread=lambda corners: fitted.spread_at(corners) * grid.metres_per_unit**2,
        on_earth=lambda corners: _on_earth(corners, grid),
        scale=fitted.scale * scale,
        history=history(fitted, grid),
    )


def history(fitted: Transformation, grid: Grid) -> str:
    """Return in a sentence or two how something was fitted."""
    factor = fitted.variance_factor
    checked = "nothing checks them" if factor is None else f"misfit {factor**0.5:.2f} times what their accuracies say"
    if fitted.kind == "local" and factor is not None:
        checked = f"a similarity alone would leave {factor**0.5:.2f} times what their accuracies say"
    if fitted.sheets > 1:
        more = fitted.sheets - 1
        checked = f"together with {more} further sheet{'s' if more > 1 else ''}, by points of one name"
    return (
        f"Fitted onto {grid.name} by a {fitted.kind} transformation with {len(fitted.source)} points ({checked}):"
        f" scale {fitted.scale:.7g}, turned {degrees(fitted.rotation):.4f}° clockwise. The covariance of the fit is"
        " added to that of the survey."
    )


def _on_earth(corners: Array, grid: Grid) -> list[tuple[float, float]]:
    """Return longitude and latitude of the corners of the box that holds coordinates on the grid."""
    metres = corners * grid.metres_per_unit
    (west, south), (east, north) = metres.min(axis=0), metres.max(axis=0)
    places = (place_of(grid, x, y) for x in (west, east) for y in (south, north))
    return [place for place in places if place]
