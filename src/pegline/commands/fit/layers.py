"""Layers of a GIS file carried onto the grid: every geometry, with all its attributes as they are."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from math import degrees, hypot
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.errors import OpenError, UsageError
from pegline.frame.crs import Grid, place_of
from pegline.frame.datum_shift import to_wgs84
from pegline.frame.transformation import Transformation
from pegline.network.confidence import confidence_radii
from pegline.plane import Array
from pegline.writers.gis.package import Motion, metres_per_unit, move_package
from pegline.writers.gis.package_reader import foreign_layers, is_package, read_package
from pegline.writers.gis.reprojection import DEGREE_DECIMALS, datum_accuracy_words

__all__ = ["corners_of_layers", "left_out", "write_layers", "write_survey"]


#: Drivers by the end of a file's name: none is guessed, so that no name leads elsewhere.
DRIVERS: Final = {".gpkg": "GPKG", ".geojson": "GeoJSON", ".shp": "ESRI Shapefile"}

#: GeoJSON is in WGS 84: the way there may be out by so much, metres.
MAX_DATUM_SHIFT: Final = 5.0

#: The column for how well the way is known at a feature: the radius that holds its worst corner in 95 of 100 cases,
#: as far as the fit goes, metres.
WITHIN: Final = "fit_within"
Within = Callable[[Array], float]


def corners_of_layers(path: Path) -> Array:
    """Return (4, 2) the corners of the box that holds everything."""
    boxes = []
    for name in _names(path):
        with _open_layer(path, name) as layer:
            if len(layer):
                boxes.append(layer.bounds)
    if not boxes:
        raise OpenError(f"{path}: holds nothing that could be fitted; look whether it is the right file")
    west, south = np.min(np.array(boxes)[:, :2], axis=0)
    east, north = np.max(np.array(boxes)[:, 2:], axis=0)
    return np.array([(west, south), (east, south), (east, north), (west, north)])


def write_layers(path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
    """Write the layers of ``path``, carried onto the grid, to ``out``."""
    import fiona

    from pegline.writers.publish import write_aside

    if path.suffix.lower() == out.suffix.lower() == ".gpkg" and is_package(path):
        write_survey(path, fitted, grid, out)
        return
    names = _names(path)
    driver = DRIVERS[out.suffix.lower()]
    if driver == "GeoJSON" and len(names) > 1:
        raise UsageError(f"{out}: can hold one layer and {path.name} has {len(names)}; end it with .gpkg")
    carry: Callable[[Array], Array] = fitted.carry
    within: Within = lambda points: _radius(fitted, grid, points)  # noqa: E731
    said = ""
    if driver == "GeoJSON":
        carry, said = _to_degrees(fitted, grid, out)
    options: dict[str, Any] = {"crs_wkt": grid.wkt, "VERSION": "1.3", "CRS_WKT_EXTENSION": "YES"}
    if driver == "GeoJSON":
        options = {"crs": "EPSG:4326", "RFC7946": "YES", "COORDINATE_PRECISION": DEGREE_DECIMALS, "DESCRIPTION": said}
    with write_aside(out) as made:
        for name in names:
            with _open_layer(path, name) as layer:
                layer_of = {"layer": name or path.stem} if driver == "GPKG" else {}
                schema = {**layer.schema, "properties": {**layer.schema["properties"], WITHIN: "float"}}
                with fiona.open(made, "w", driver=driver, schema=schema, **layer_of, **options) as target:
                    target.writerecords([_carry_record(record, carry, within) for record in layer])


def left_out(path: Path, out: Path) -> Iterator[str]:
    """Yield what of a package of ours was not carried."""
    if path.suffix.lower() == out.suffix.lower() == ".gpkg" and is_package(path) and (names := foreign_layers(path)):
        yield f"{path}: {', '.join(names)} left out: not of the layers that pegline writes"


def _names(path: Path) -> list[str | None]:
    """Return the layers; a file of one layer needs no name."""
    if path.suffix.lower() != ".gpkg":
        return [None]
    try:
        # Asked of the file itself: GDAL would try every driver on it, and some follow links.
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as package:
            rows = package.execute("SELECT table_name FROM gpkg_contents WHERE data_type = 'features'").fetchall()
    except sqlite3.Error as error:
        raise OpenError(f"{path}: cannot be read as a GeoPackage ({error}); check the file") from error
    return [name for (name,) in rows]


def _open_layer(path: Path, name: str | None) -> Any:
    import fiona

    try:
        return fiona.open(path, layer=name, enabled_drivers=[DRIVERS[path.suffix.lower()]])
    except (fiona.errors.FionaError, ValueError) as error:
        raise OpenError(f"{path}: cannot be read as {path.suffix[1:]} ({error}); check the file") from error


def _to_degrees(fitted: Transformation, grid: Grid, out: Path) -> tuple[Callable[[Array], Array], str]:
    """Return what carries points to longitude and latitude, and a sentence on how well."""
    middle = fitted.carry(fitted.source.mean(axis=0, keepdims=True))[0]
    way = to_wgs84(grid, (float(middle[0]), float(middle[1])))
    if way is None or way.accuracy > MAX_DATUM_SHIFT:
        raise UsageError(f"{out}: GeoJSON is in WGS 84 and the way there is not known well enough; end it with .gpkg")

    def carry(points: Array) -> Array:
        x, y = fitted.carry(points).T
        return np.stack(way.transformer.transform(x, y, errcheck=True), axis=-1)

    return carry, datum_accuracy_words(way)


def _radius(fitted: Transformation, grid: Grid, points: Array) -> float:
    """Return the radius that holds the worst of some points in 95 of 100 cases, metres."""
    return float(confidence_radii(fitted.spread_at(points)).max()) * grid.metres_per_unit


def _carry_record(record: Any, carry: Callable[[Array], Array], within: Within) -> dict[str, Any]:
    """Return a record carried, with how well the way is known at its worst corner; what an earlier fit told counts."""
    geometry, properties = record.geometry, dict(record.properties)
    known_before = properties.get(WITHIN) or 0.0
    properties[WITHIN] = hypot(known_before, within(_corners_of(geometry.__geo_interface__))) if geometry else None
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": geometry and _carry_geometry(geometry.__geo_interface__, carry),
    }


def _corners_of(geometry: dict[str, Any]) -> Array:
    from shapely import get_coordinates
    from shapely.geometry import shape

    return np.asarray(get_coordinates(shape(geometry)))


def _carry_geometry(geometry: dict[str, Any], carry: Callable[[Array], Array]) -> dict[str, Any]:
    if geometry["type"] == "GeometryCollection":
        return {**geometry, "geometries": [_carry_geometry(part, carry) for part in geometry["geometries"]]}
    return {"type": geometry["type"], "coordinates": _coordinates(geometry["coordinates"], carry)}


def _coordinates(nested: Any, carry: Callable[[Array], Array]) -> Any:
    """Return nested coordinates carried, heights as they are."""
    if isinstance(nested[0], float | int):
        x, y = carry(np.array([nested[:2]], dtype=float))[0].tolist()
        return (x, y, *nested[2:])
    if isinstance(nested[0][0], float | int):  # one line at once
        line = carry(np.array([point[:2] for point in nested], dtype=float)).tolist()
        return [(*moved, *point[2:]) for moved, point in zip(line, nested, strict=True)]
    return [_coordinates(part, carry) for part in nested]


# -- a GeoPackage of pegline's own: whole, the covariance of the fit added to the survey's -----------


def write_survey(path: Path, fitted: Transformation, grid: Grid, out: Path) -> None:
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
        history=fit_history(fitted, grid),
    )


def fit_history(fitted: Transformation, grid: Grid) -> str:
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
