"""Reading back a GeoPackage that pegline wrote: of one survey, or of several joined."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.errors import OpenError
from pegline.writers.gis.columns import SURVEY_COLUMN, Column, Type
from pegline.writers.gis.geometries import Form, Shapes, of_parts
from pegline.writers.gis.gpkg_tables import SQL_TYPES
from pegline.writers.gis.layer_styles import Style
from pegline.writers.gis.layers import GIS_LAYERS, FilledLayer, Value
from pegline.writers.gis.package import PACKAGE_TABLES, Links, Package

__all__ = ["foreign_layers", "is_package", "read_package", "split_surveys"]

#: Layers that joining makes anew each time.
REPORTS: Final = ("peg_differences", "overlaps", "gaps")
#: Bytes of the bounds in the head of a geometry, by its flags (OGC 12-128r17, 2.1.3).
BOUNDS: Final[Mapping[int, int]] = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}


def is_package(path: Path) -> bool:
    """Return whether a GeoPackage has the layers and tables of a survey."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
            listed = {name for (name,) in database.execute("SELECT table_name FROM gpkg_contents")}
    except sqlite3.Error:
        return False
    return {layer.name for layer in GIS_LAYERS} | {table.name for table in PACKAGE_TABLES} <= listed


def read_package(path: Path) -> Package:
    """Return what a GeoPackage of ours holds.

    Raises
    ------
    OpenError
        It cannot be opened, or pegline did not write it.
    """
    if not path.is_file():
        raise OpenError(f"{path}: there is no such file; give the GeoPackages that 'pegline plot' wrote")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
            return _package(database)
    except sqlite3.Error as error:
        raise OpenError(
            f"{path}: pegline did not write this GeoPackage, or another program took something out of it ({error});"
            " plot its book again"
        ) from error
    except ValueError as error:
        raise OpenError(f"{path}: {error}; mend that where it was edited, or plot its book again") from error


def foreign_layers(path: Path) -> list[str]:
    """Return the names of layers and tables in a GeoPackage that are none of ours."""
    ours = {layer.name for layer in GIS_LAYERS} | {table.name for table in PACKAGE_TABLES} | {"layer_styles", *REPORTS}
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
        listed = database.execute("SELECT table_name FROM gpkg_contents ORDER BY table_name").fetchall()
        links = {name for (name,) in database.execute("SELECT mapping_table_name FROM gpkgext_relations")}
    return [name for (name,) in listed if name not in ours | links]


def _package(database: sqlite3.Connection) -> Package:
    described = database.execute(
        "SELECT table_name, column_name, description, constraint_name FROM gpkg_data_columns ORDER BY rowid"
    ).fetchall()
    ((wkt,),) = database.execute(
        "SELECT definition_12_063 FROM gpkg_spatial_ref_sys JOIN gpkg_geometry_columns USING (srs_id)"
        " WHERE table_name = 'stations'"
    ).fetchall()
    ((moment,),) = database.execute("SELECT max(last_change) FROM gpkg_contents").fetchall()
    values: dict[str, dict[str, str]] = {}
    for name, value, about in database.execute(
        "SELECT constraint_name, value, description FROM gpkg_data_column_constraints ORDER BY rowid"
    ):
        values.setdefault(name, {})[value] = about
    return Package(
        wkt,
        _epoch(database),
        moment,
        tuple(_layer(database, layer.name, layer.shape, layer.about, layer.columns, described) for layer in GIS_LAYERS),
        tuple(_layer(database, table.name, None, table.about, table.columns, described) for table in PACKAGE_TABLES),
        values,
        tuple(text for (text,) in database.execute("SELECT metadata FROM gpkg_metadata ORDER BY id")),
        tuple(_links(database)),
        _styles(database),
    )


def _columns(database: sqlite3.Connection, table: str) -> dict[str, str]:
    """Return the type of each column of a table."""
    return {name: kind for _, name, kind, *_ in database.execute(f'PRAGMA table_info("{table}")')}


def _epoch(database: sqlite3.Connection) -> float | None:
    """Return the epoch of the layers' CRS; only packages of a dynamic CRS have a column for it."""
    if "epoch" not in _columns(database, "gpkg_spatial_ref_sys"):
        return None
    query = "SELECT epoch FROM gpkg_spatial_ref_sys JOIN gpkg_geometry_columns USING (srs_id) WHERE table_name = ?"
    ((epoch,),) = database.execute(query, ("stations",)).fetchall()
    return None if epoch is None else float(epoch)


def _layer(
    database: sqlite3.Connection,
    name: str,
    form: Form | None,
    about: str,
    columns: tuple[Column, ...],
    described: Sequence[tuple[str, str, str, str | None]],
) -> FilledLayer:
    """Return one layer or table: the columns that pegline writes, then those that the features brought."""
    there, column_names = _columns(database, name), {column.name for column in columns}
    texts = {column: (text, values) for table, column, text, values in described if table == name}
    own = tuple(
        Column(column, text or ADDED, _TYPES.get(there[column], "text"), values)
        for column, (text, values) in {**dict.fromkeys(there, (ADDED, None)), **texts}.items()
        if column in there and column not in column_names and column not in (SURVEY_COLUMN.name, "geom", "fid", "id")
    )
    # A survey has no column that nothing was booked for, or that an older release did not write.
    every = (
        ((SURVEY_COLUMN,) if SURVEY_COLUMN.name in there else ()) + tuple(c for c in columns if c.name in there) + own
    )
    listed = ", ".join(f'"{column.name}"' for column in every)
    geometry, order = ('"geom"', "fid") if form else ("NULL", "id")
    rows = database.execute(f'SELECT {geometry}, {listed} FROM "{name}" ORDER BY {order}').fetchall()
    return FilledLayer(
        name,
        about,
        every,
        _shapes(name, form, [blob for blob, *_ in rows]),
        {column.name: [_value(column, row[number]) for row in rows] for number, column in enumerate(every, 1)},
    )


#: What is said of a column that another program added.
ADDED: Final = "added after plotting"
#: Types of columns by their names in SQL.
_TYPES: Final[Mapping[str, Type]] = {name: kind for kind, name in SQL_TYPES.items()}


def _shapes(name: str, form: Form | None, blobs: Sequence[bytes | None]) -> Shapes:
    """Return what geometries in the binary form of GeoPackages are; pegline draws them of one part, without holes."""
    from shapely import get_coordinates

    geometries = [None if blob is None else _geometry(name, blob) for blob in blobs]
    for each in geometries:
        if each is None and form == "Point":
            raise ValueError(f"layer {name} has a row without a place")
        if each is not None and (each.geom_type != form or len(getattr(each, "interiors", ()))):
            raise ValueError(f"layer {name} has a {each.geom_type} where pegline draws a {form} without holes")
    return of_parts(form, (get_coordinates(each) for each in geometries))


def _geometry(name: str, blob: bytes) -> Any:
    """Return what a geometry in the binary form of GeoPackages is."""
    from shapely import from_wkb
    from shapely.errors import ShapelyError

    try:
        return from_wkb(blob[8 + BOUNDS[blob[3] >> 1 & 7] :])
    except (ShapelyError, KeyError, IndexError, TypeError) as error:
        raise ValueError(f"layer {name} has a geometry that is damaged") from error


def _value(column: Column, value: Any) -> Value:
    return bool(value) if column.type == "yes or no" and value is not None else value


def _links(database: sqlite3.Connection) -> Iterator[Links]:
    query = "SELECT mapping_table_name, base_table_name, related_table_name FROM gpkgext_relations ORDER BY id"
    for name, base, related in database.execute(query).fetchall():
        rows = database.execute(f'SELECT base_id, related_id, source, page FROM "{name}" ORDER BY rowid').fetchall()
        yield Links(name, base, related, tuple(rows))


def _styles(database: sqlite3.Connection) -> dict[str, Style]:
    """Return the style of each layer; packages of older releases have none."""
    if not _columns(database, "layer_styles"):
        return {}
    rows = database.execute("SELECT f_table_name, styleSLD, styleQML FROM layer_styles ORDER BY id").fetchall()
    return {name: Style(sld, qml) for name, sld, qml in rows}


# Several surveys in one ------------------------------------------------------------------------------


def split_surveys(package: Package) -> dict[str, Package]:
    """Return each survey of a joined package by its name; nothing of a package that was not joined."""
    (book,) = (table for table in package.tables if table.name == "book")
    if SURVEY_COLUMN.name not in book.values:
        return {}
    names = [str(name) for name in dict.fromkeys(book.values[SURVEY_COLUMN.name])]
    return {name: _one_of(package, name, number) for number, name in enumerate(names)}


def _one_of(package: Package, name: str, number: int) -> Package:
    """Return one survey of a joined package; ``number`` is its place among them, which is that of its record."""
    kept = {layer.name: _rows_of(layer, name) for layer in package.layers}
    return replace(
        package,
        layers=tuple(_select_rows(layer, kept[layer.name]) for layer in package.layers),
        tables=tuple(_select_rows(table, _rows_of(table, name)) for table in package.tables),
        records=package.records[number : number + 1],
        links=tuple(_selected_links(links, kept[links.base], kept[links.related]) for links in package.links),
    )


def _rows_of(part: FilledLayer, survey: str) -> list[int]:
    return [row for row, name in enumerate(part.values[SURVEY_COLUMN.name]) if name == survey]


def _select_rows(part: FilledLayer, rows: Sequence[int]) -> FilledLayer:
    """Return some rows of a layer or table, without the survey's name."""
    return replace(
        part,
        columns=tuple(column for column in part.columns if column != SURVEY_COLUMN),
        shapes=part.shapes.of_rows(np.array(rows, np.int64)),
        values={name: [each[row] for row in rows] for name, each in part.values.items() if name != SURVEY_COLUMN.name},
    )


def _selected_links(links: Links, base: Sequence[int], related: Sequence[int]) -> Links:
    """Return the links between some rows, numbered anew."""
    new_base = {old + 1: new for new, old in enumerate(base, 1)}
    new_related = {old + 1: new for new, old in enumerate(related, 1)}
    return replace(
        links,
        rows=tuple(
            (new_base[one], new_related[other], source, page)
            for one, other, source, page in links.rows
            if one in new_base and other in new_related
        ),
    )
