"""STEM.gpkg: the layers for a GIS, with what each column means, what the survey was, and which row gave which point.

OGC 12-128r17, version 1.3, the oldest that has all we need, which every program reads.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pegline.diagnosis.model import Survey
from pegline.errors import OutputError
from pegline.writers.gis.extensions import add_extensions
from pegline.writers.gis.gpkg_tables import add_layer, make_core_tables
from pegline.writers.gis.layers import FilledLayer
from pegline.writers.gis.package import Package
from pegline.writers.gis.reprojection import package_in
from pegline.writers.publish import write_refusal

if TYPE_CHECKING:
    from sqlite3 import Connection

    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["write", "write_package"]

#: What tells a GeoPackage from other databases: the letters GPKG, and the version (requirement 2).
APPLICATION: Final = 0x47504B47
VERSION: Final = 10300
#: Forms from the lowest to the topmost.
DRAWN: Final = ("Polygon", "LineString", "Point")


def write(survey: Survey, path: Path, other: OtherCRS | None = None) -> None:
    """Write the layers of a survey as a GeoPackage at ``path``, and look whether it is whole.

    Raises
    ------
    OutputError
        The file could not be written, or is not whole.
    """
    write_package(package_in(survey, other), path)


def write_package(package: Package, path: Path) -> None:
    """Write a GeoPackage at ``path``, and look whether it is whole."""
    import sqlite3

    path.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            _fill(database, package)
            _look(database, package.layers)
    except sqlite3.Error as error:
        raise write_refusal(path, error) from error


def _fill(database: Connection, package: Package) -> None:
    # The file is new and only moved into place when whole, so nothing is lost by not waiting for the disk.
    for pragma in ("journal_mode = OFF", "synchronous = OFF", "foreign_keys = ON"):
        database.execute(f"PRAGMA {pragma}")
    database.execute("BEGIN")
    database.execute(f"PRAGMA application_id = {APPLICATION}")
    database.execute(f"PRAGMA user_version = {VERSION}")
    crs = make_core_tables(database, package.wkt, package.epoch)
    # Programs draw what they read first below the rest: areas, then lines, then points.
    for layer in sorted(package.layers, key=lambda layer: DRAWN.index(str(layer.shapes.form))):
        add_layer(database, layer, crs, package.moment)
    add_extensions(database, package)
    database.execute("COMMIT")


def _look(database: Connection, layers: Iterable[FilledLayer]) -> None:
    """Raise OutputError unless the database is sound and holds every row."""
    faults = [row[0] for row in database.execute("PRAGMA integrity_check") if row[0] != "ok"]
    faults += [f"a row of {row[0]} refers to nothing" for row in database.execute("PRAGMA foreign_key_check")]
    for layer in layers:
        (count,) = database.execute(f'SELECT count(*) FROM "{layer.name}"').fetchone()
        if count != len(layer):
            faults.append(f"{layer.name} holds {count} of {len(layer)} rows")
    if faults:
        raise OutputError(f"the GeoPackage is not whole ({'; '.join(faults)}); make room on the disk and run it again")
