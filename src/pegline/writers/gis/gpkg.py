"""STEM.gpkg: the layers for a GIS, with what each column means, what the survey was, and which row gave which point.

OGC 12-128r17, version 1.3, the oldest that has all we need, which every program reads; the schema extension by annex
F.9 and that of metadata by annex F.8 of 12-128r19, related tables by OGC 18-000.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pegline.diagnosis.model import Survey
from pegline.errors import OutputError
from pegline.writers.disk_faults import write_refusal
from pegline.writers.gis.gpkg_tables import SQL_TYPES, add_layer, fill_table, make_core_tables, register_extension
from pegline.writers.gis.layers import FilledLayer
from pegline.writers.gis.metadata import NAMESPACE
from pegline.writers.gis.package import Package
from pegline.writers.gis.reprojection import package_in
from pegline.writers.gis.rows_in_sql import insert_rows

if TYPE_CHECKING:
    from sqlite3 import Connection

    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["describe_columns", "write", "write_package"]

#: What tells a GeoPackage from other databases: the letters GPKG, and the version (requirement 2).
GEOPACKAGE_ID: Final = 0x47504B47
VERSION: Final = 10300
#: Forms from the lowest to the topmost.
FORMS_FROM_BELOW: Final = ("Polygon", "LineString", "Point")


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
    database.execute(f"PRAGMA application_id = {GEOPACKAGE_ID}")
    database.execute(f"PRAGMA user_version = {VERSION}")
    crs = make_core_tables(database, package.wkt, package.epoch)
    # Programs draw what they read first below the rest: areas, then lines, then points.
    for layer in sorted(package.layers, key=lambda layer: FORMS_FROM_BELOW.index(str(layer.shapes.form))):
        add_layer(database, layer, crs, package.moment)
    _add_extensions(database, package)
    database.execute("COMMIT")


def _look(database: Connection, layers: Iterable[FilledLayer]) -> None:
    """Raise OutputError unless the database is sound and holds every row."""
    faults = [row[0] for row in database.execute("PRAGMA integrity_check") if row[0] != "ok"]
    faults += [f"a row of {row[0]} refers to nothing" for row in database.execute("PRAGMA foreign_key_check")]
    for layer in layers:
        (words,) = database.execute("SELECT rtreecheck(?)", [f"rtree_{layer.name}_geom"]).fetchone()
        faults += [f"the index of {layer.name}: {words}"] if words != "ok" else []
        (count,) = database.execute(f'SELECT count(*) FROM "{layer.name}"').fetchone()
        if count != len(layer):
            faults.append(f"{layer.name} holds {count} of {len(layer)} rows")
    if faults:
        raise OutputError(f"the GeoPackage is not whole ({'; '.join(faults)}); make room on the disk and run it again")


# -- what stands beside the layers -------------------------------------------------------------------


NO_LISTS: Final[Mapping[str, Mapping[str, str]]] = {}


def _add_extensions(database: Connection, package: Package) -> None:
    """Add to a GeoPackage of layers everything else."""
    for table in package.tables:
        _table(database, table, package.moment)
    _schema(database, package)
    _metadata(database, package)
    _relations(database, package)
    _styles(database, package)


def _table(database: Connection, table: FilledLayer, moment: str) -> None:
    declared = ", ".join(f'"{column.name}" {SQL_TYPES[column.type]}' for column in table.columns)
    database.execute(f'CREATE TABLE "{table.name}" (id INTEGER PRIMARY KEY NOT NULL, {declared})')
    fill_table(database, table, {"id": range(1, len(table) + 1)})
    columns = ["table_name", "data_type", "identifier", "description", "last_change"]
    insert_rows(database, "gpkg_contents", columns, [(table.name, "attributes", table.name, table.about, moment)])


# -- schema -----------------------------------------------------------------------------------------


def _schema(database: Connection, package: Package) -> None:
    columns = (
        (each.name, column.name, column.about, column.values)
        for each in (*package.layers, *package.tables)
        for column in each.columns
    )
    describe_columns(database, columns, package.values)


def describe_columns(
    database: Connection,
    columns: Iterable[tuple[str, str, str, str | None]],
    lists: Mapping[str, Mapping[str, str]] = NO_LISTS,
) -> None:
    """Say what columns hold.

    Parameters
    ----------
    columns
        Table, column, what it holds, and the name of the list that its values are of.
    lists
        The lists of values, each value with what it means.
    """
    database.execute(
        "CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT,"
        " description TEXT, mime_type TEXT, constraint_name TEXT,"
        " CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name))"
    )
    database.execute(
        "CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL,"
        " value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,"
        " CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))"
    )
    insert_rows(
        database,
        "gpkg_data_columns",
        ["table_name", "column_name", "name", "title", "description", "constraint_name"],
        ((table, name, name, name.replace("_", " "), about, values) for table, name, about, values in columns),
    )
    insert_rows(
        database,
        "gpkg_data_column_constraints",
        ["constraint_name", "constraint_type", "value", "description"],
        ((name, "enum", value, about) for name, values in lists.items() for value, about in values.items()),
    )
    register_extension(
        database,
        [("gpkg_data_columns", None), ("gpkg_data_column_constraints", None)],
        "gpkg_schema",
        "http://www.geopackage.org/spec121/#extension_schema",
    )


# -- metadata ---------------------------------------------------------------------------------------


def _metadata(database: Connection, package: Package) -> None:
    database.execute(
        "CREATE TABLE gpkg_metadata (id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL"
        " DEFAULT 'dataset', md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml',"
        " metadata TEXT NOT NULL DEFAULT '')"
    )
    database.execute(
        "CREATE TABLE gpkg_metadata_reference (reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT,"
        " row_id_value INTEGER, timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),"
        " md_file_id INTEGER NOT NULL, md_parent_id INTEGER,"
        " CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),"
        " CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))"
    )
    insert_rows(
        database,
        "gpkg_metadata",
        ["id", "md_scope", "md_standard_uri", "mime_type", "metadata"],
        [(number, "dataset", NAMESPACE, "text/xml", record) for number, record in enumerate(package.records, 1)],
    )
    insert_rows(
        database,
        "gpkg_metadata_reference",
        ["reference_scope", "timestamp", "md_file_id"],
        [("geopackage", package.moment, number) for number in range(1, len(package.records) + 1)],
    )
    register_extension(
        database,
        [("gpkg_metadata", None), ("gpkg_metadata_reference", None)],
        "gpkg_metadata",
        "http://www.geopackage.org/spec121/#extension_metadata",
    )


# -- relations --------------------------------------------------------------------------------------


def _relations(database: Connection, package: Package) -> None:
    database.execute(
        "CREATE TABLE gpkgext_relations (id INTEGER PRIMARY KEY AUTOINCREMENT, base_table_name TEXT NOT NULL,"
        " base_primary_column TEXT NOT NULL DEFAULT 'id', related_table_name TEXT NOT NULL,"
        " related_primary_column TEXT NOT NULL DEFAULT 'id', relation_name TEXT NOT NULL,"
        " mapping_table_name TEXT NOT NULL UNIQUE)"
    )
    columns = ["base_table_name", "base_primary_column", "related_table_name", "related_primary_column"]
    for links in package.links:
        declared = "base_id INTEGER NOT NULL, related_id INTEGER NOT NULL, source TEXT, page TEXT"
        database.execute(f'CREATE TABLE "{links.name}" ({declared})')
        insert_rows(database, links.name, ["base_id", "related_id", "source", "page"], links.rows)
        row = (links.base, "fid", links.related, "fid", "features", links.name)
        insert_rows(database, "gpkgext_relations", [*columns, "relation_name", "mapping_table_name"], [row])
    register_extension(
        database,
        [("gpkgext_relations", None), *((links.name, None) for links in package.links)],
        "gpkg_related_tables",
        "http://www.geopackage.org/18-000.html",
    )


# -- styles -----------------------------------------------------------------------------------------


def _styles(database: Connection, package: Package) -> None:
    """Add the table in which general GIS programs look for the styles of layers (common practice)."""
    database.execute(
        "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),"
        " f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30),"
        " styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),"
        " update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))"
    )
    insert_rows(
        database,
        "layer_styles",
        [
            "id",
            "f_table_catalog",
            "f_table_schema",
            "f_table_name",
            "f_geometry_column",
            "styleName",
            "styleQML",
            "styleSLD",
            "useAsDefault",
            "description",
            "owner",
            "update_time",
        ],
        [
            (number, "", "", layer, "geom", layer, style.qml, style.sld, 1, "As on the plan", "", package.moment)
            for number, (layer, style) in enumerate(package.styles.items(), 1)
        ],
    )
    columns = ["table_name", "data_type", "identifier", "description", "last_change"]
    about = "How each layer looks on the plan: styles that general GIS programs read"
    insert_rows(
        database, "gpkg_contents", columns, [("layer_styles", "attributes", "layer_styles", about, package.moment)]
    )
