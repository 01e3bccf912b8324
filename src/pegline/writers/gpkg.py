"""STEM.gpkg: the layers for a GIS, with what each column means, what the survey was, and which row gave which point.

OGC 12-128, version 1.3. The layers are written by GDAL; the tables and extensions that it has no words for, by SQL.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from pegline.errors import OutputError
from pegline.writers.columns import Type
from pegline.writers.extensions import extended
from pegline.writers.faults import refused
from pegline.writers.figures import Records
from pegline.writers.gis import Filled
from pegline.writers.package import Package, package

__all__ = ["write", "written"]

#: Above so many features in one layer the faster library is used where it is installed; it takes long to load.
MANY: Final = 10_000

#: The oldest version that has all we need, which every program reads.
CREATION: Final = {"VERSION": "1.3", "GEOMETRY_NAME": "geom", "SPATIAL_INDEX": "YES", "CRS_WKT_EXTENSION": "YES"}

_TYPES: Final[Mapping[Type, str]] = {"text": "str", "number": "float", "yes or no": "bool"}


def write(records: Records, path: Path) -> None:
    """Write the layers of a survey as a GeoPackage at ``path``, and look whether it is whole.

    Raises
    ------
    OutputError
        The file could not be written, or is not whole.
    """
    written(package(records), path)


def written(package: Package, path: Path) -> None:
    """Write a GeoPackage at ``path``, and look whether it is whole."""
    import sqlite3

    many = max(len(layer.rows) for layer in package.layers) > MANY
    by = _by_arrow if many and find_spec("pyogrio") and find_spec("pyarrow") else _by_fiona
    path.unlink(missing_ok=True)
    by(package, path)
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            extended(database, package)
            _look(database, package.layers)
    except sqlite3.Error as error:
        raise refused(path, error) from error


def _by_fiona(package: Package, path: Path) -> None:
    import fiona
    from fiona._err import CPLE_BaseError  # what GDAL itself complains of has no public name
    from fiona.errors import FionaError

    try:
        # The file is new and only moved into place when whole, so nothing is lost by not waiting for the disk.
        with fiona.Env(OGR_SQLITE_SYNCHRONOUS="OFF", OGR_CURRENT_DATE=package.moment):
            for layer in package.layers:
                schema = {
                    "geometry": layer.shape,
                    "properties": {column.name: _TYPES[column.type] for column in layer.columns},
                }
                options = {**CREATION, "IDENTIFIER": layer.name, "DESCRIPTION": layer.about}
                with fiona.open(path, "w", "GPKG", schema, crs_wkt=package.wkt, layer=layer.name, **options) as file:
                    file.writerecords(_features(layer))
    except (CPLE_BaseError, FionaError, OSError, RuntimeError, ValueError) as error:
        raise refused(path, error) from error


def _features(layer: Filled) -> Iterator[Any]:
    """Yield fiona's features of a layer.

    Its own properties look a value up by copying all of them, which takes half the time of writing.
    """
    from fiona.model import Feature, Geometry, Properties

    class Values(Properties):  # type: ignore[misc]
        def __getitem__(self, key: str) -> Any:
            return self._data[key]

        def __iter__(self) -> Iterator[str]:
            return iter(self._data)

        def items(self) -> Any:
            return self._data.items()

    for shape, row in zip(layer.geometries, layer.rows, strict=True):
        place = Geometry(type=shape["type"], coordinates=shape["coordinates"]) if shape else None
        yield Feature(geometry=place, properties=Values(**_whole(row)))


def _whole(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a row without NUL letters, at which text would be cut off."""
    if not any(isinstance(value, str) and "\0" in value for value in row.values()):
        return row
    return {
        key: value.replace("\0", "\N{REPLACEMENT CHARACTER}") if isinstance(value, str) else value
        for key, value in row.items()
    }


def _by_arrow(package: Package, path: Path) -> None:
    import pyarrow
    import pyogrio
    import shapely
    from pyogrio.errors import DataSourceError

    pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF", "OGR_CURRENT_DATE": package.moment})
    types = {"text": pyarrow.string(), "number": pyarrow.float64(), "yes or no": pyarrow.bool_()}
    try:
        for count, layer in enumerate(package.layers):
            rows = [_whole(row) for row in layer.rows]
            columns = {
                column.name: pyarrow.array([row[column.name] for row in rows], types[column.type])
                for column in layer.columns
            }
            table = pyarrow.table({**columns, "geom": pyarrow.array(shapely.to_wkb(_shapes(layer)), pyarrow.binary())})
            options = {**CREATION, "IDENTIFIER": layer.name, "DESCRIPTION": layer.about}
            pyogrio.write_arrow(
                table,
                path,
                layer=layer.name,
                driver="GPKG",
                geometry_name="geom",
                geometry_type=layer.shape,
                crs=package.wkt,
                append=count > 0,
                **options,
            )
    except (DataSourceError, OSError, ValueError, RuntimeError) as error:
        raise refused(path, error) from error
    finally:
        pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": None, "OGR_CURRENT_DATE": None})


def _shapes(layer: Filled) -> Any:
    """Return a layer's geometries as an array of shapely's, all made at once."""
    import numpy as np
    import shapely

    shapes = np.full(len(layer.geometries), None, dtype=object)
    there = [number for number, each in enumerate(layer.geometries) if each]
    parts = [layer.geometries[number]["coordinates"] for number in there]  # type: ignore[index]
    if not there:
        return shapes
    if layer.shape == "Point":
        shapes[there] = shapely.points(np.array(parts))
        return shapes
    # Our areas have an outer ring and no holes.
    lines = [part[0] for part in parts] if layer.shape == "Polygon" else parts
    which = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    flat = np.array([corner for line in lines for corner in line])
    made = shapely.linearrings if layer.shape == "Polygon" else shapely.linestrings
    shapes[there] = made(flat, indices=which)
    if layer.shape == "Polygon":
        shapes[there] = shapely.polygons(shapes[there])
    return shapes


def _look(database: Any, layers: Iterable[Filled]) -> None:
    """Raise OutputError unless the database is sound and holds every row."""
    faults = [row[0] for row in database.execute("PRAGMA integrity_check") if row[0] != "ok"]
    faults += [f"a row of {row[0]} refers to nothing" for row in database.execute("PRAGMA foreign_key_check")]
    for layer in layers:
        (count,) = database.execute(f'SELECT count(*) FROM "{layer.name}"').fetchone()
        if count != len(layer.rows):
            faults.append(f"{layer.name} holds {count} of {len(layer.rows)} rows")
    if faults:
        raise OutputError(f"the GeoPackage is not whole ({'; '.join(faults)}); make room on the disk and run it again")
