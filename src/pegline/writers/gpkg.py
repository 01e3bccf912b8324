"""STEM.gpkg: the layers for a GIS, with what each column means, what the survey was, and which row gave which point.

OGC 12-128, version 1.3. The layers are written by GDAL; the tables and extensions that it has no words for, by SQL.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pegline.errors import OutputError
from pegline.writers.columns import Type
from pegline.writers.extensions import extended
from pegline.writers.gis import Filled
from pegline.writers.package import Package, package

if TYPE_CHECKING:
    from pegline.plan.model import Plan

__all__ = ["write", "written"]

#: Above so many features the faster library is used where it is installed.
MANY: Final = 10_000

#: The oldest version that has all we need, which every program reads.
CREATION: Final = {"VERSION": "1.3", "GEOMETRY_NAME": "geom", "SPATIAL_INDEX": "YES", "CRS_WKT_EXTENSION": "YES"}

_TYPES: Final[Mapping[Type, str]] = {"text": "str", "number": "float", "yes or no": "bool"}


def write(plan: Plan, path: Path) -> None:
    """Write the layers of a survey as a GeoPackage at ``path``, and look whether it is whole.

    Raises
    ------
    OutputError
        The file could not be written, or is not whole.
    """
    written(package(plan), path)


def written(package: Package, path: Path) -> None:
    """Write a GeoPackage at ``path``, and look whether it is whole."""
    import sqlite3

    many = sum(len(layer.rows) for layer in package.layers) > MANY
    by = _by_arrow if many and find_spec("pyogrio") and find_spec("pyarrow") else _by_fiona
    path.unlink(missing_ok=True)
    by(package, path)
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            extended(database, package)
            _look(database, package.layers)
    except sqlite3.Error as error:
        raise _unwritten(path, error) from error


def _by_fiona(package: Package, path: Path) -> None:
    import fiona
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
                    file.writerecords(
                        {"geometry": shape, "properties": _whole(row)}
                        for shape, row in zip(layer.geometries, layer.rows, strict=True)
                    )
    except (FionaError, OSError, ValueError) as error:
        raise _unwritten(path, error) from error


def _whole(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row without NUL letters, at which text would be cut off."""
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
            shapes = [shapely.geometry.shape(each) if each else None for each in layer.geometries]
            columns = {
                column.name: pyarrow.array([row[column.name] for row in rows], types[column.type])
                for column in layer.columns
            }
            table = pyarrow.table({**columns, "geom": pyarrow.array(shapely.to_wkb(shapes), pyarrow.binary())})
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
        raise _unwritten(path, error) from error
    finally:
        pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": None, "OGR_CURRENT_DATE": None})


def _unwritten(path: Path, error: Exception) -> OutputError:
    return OutputError(f"{path.name}: cannot be written: {error}; make room on the disk and run it again")


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
