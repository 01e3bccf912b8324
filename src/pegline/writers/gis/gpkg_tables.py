"""The layers of a GeoPackage as SQL: the tables that every GeoPackage has, the rows that
name a CRS, features, and their spatial index.

OGC 12-128r17, version 1.3: core and features in clauses 1 and 2, the R-tree in annex F.3, WKT2 in annex F.10.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from struct import pack
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from pegline.plane import Array
from pegline.writers.gis.columns import Column, Type
from pegline.writers.gis.geometries import Shapes
from pegline.writers.gis.layers import FilledLayer, Value
from pegline.writers.gis.rows_in_sql import insert_rows
from pegline.writers.gis.spatial_index import add_index

if TYPE_CHECKING:
    from sqlite3 import Connection

__all__ = [
    "ALWAYS",
    "SQL_TYPES",
    "add_layer",
    "fill_table",
    "make_core_tables",
    "register_extension",
    "spatial_reference",
]


#: Numbers from here on are free for systems that no register numbers (common practice).
FREE: Final = 100_000


class SpatialReference(NamedTuple):
    """A row of ``gpkg_spatial_ref_sys``, in the order of its columns."""

    name: str
    number: int
    organisation: str
    code: int  #: number there
    definition: str  #: WKT of 2001
    description: str | None
    definition_12_063: str  #: WKT2 of 2015


#: What every GeoPackage lists (OGC 12-128r17, requirement 11).
ALWAYS: Final = (
    SpatialReference(
        "Undefined Cartesian SRS",
        -1,
        "NONE",
        -1,
        "undefined",
        "undefined Cartesian coordinate reference system",
        "undefined",
    ),
    SpatialReference(
        "Undefined geographic SRS",
        0,
        "NONE",
        0,
        "undefined",
        "undefined geographic coordinate reference system",
        "undefined",
    ),
    SpatialReference(
        "WGS 84 geodetic",
        4326,
        "EPSG",
        4326,
        'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
        'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
        'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],'
        'AUTHORITY["EPSG","4326"]]',
        "longitude/latitude coordinates in decimal degrees on the WGS 84 spheroid",
        'GEODCRS["WGS 84",DATUM["World Geodetic System 1984",ELLIPSOID["WGS 84",6378137,298.257223563,'
        'LENGTHUNIT["metre",1]]],PRIMEM["Greenwich",0,ANGLEUNIT["degree",0.0174532925199433]],CS[ellipsoidal,2],'
        'AXIS["latitude",north,ORDER[1]],AXIS["longitude",east,ORDER[2]],ANGLEUNIT["degree",0.0174532925199433],'
        'ID["EPSG",4326]]',
    ),
)

#: The head of an engineering CRS as ``frame.engineering`` writes it, in metres with axes east and north.
_ENGINEERING: Final = re.compile(
    r'ENGCRS\["(?P<name>(?:[^"]|"")*)",EDATUM\["(?P<datum>(?:[^"]|"")*)"\],CS\[Cartesian,2\]'
)
#: The same in WKT of 2001; 32767 is a local datum of no known kind there (OGC 01-009, 12.3.3).
_LOCAL: Final = (
    'LOCAL_CS["{name}",LOCAL_DATUM["{datum}",32767],UNIT["metre",1,AUTHORITY["EPSG","9001"]],'
    'AXIS["Easting",EAST],AXIS["Northing",NORTH]]'
)


def spatial_reference(wkt: str) -> SpatialReference:
    """Return the row of the CRS that files are written in.

    Parameters
    ----------
    wkt
        WKT2: a survey's own engineering CRS, or a grid.

    Examples
    --------
    >>> spatial_reference('ENGCRS["Local",EDATUM["peg A"],CS[Cartesian,2],AXIS["(E)",east],AXIS["(N)",north]]')[:4]
    ('Local', 100000, 'NONE', 100000)
    """
    if local := _ENGINEERING.match(wkt):
        name = local["name"].replace('""', '"')
        return SpatialReference(name, FREE, "NONE", FREE, _LOCAL.format_map(local.groupdict()), None, wkt)
    return _of_grid(wkt)


def _of_grid(wkt: str) -> SpatialReference:
    from pyproj import CRS

    from pegline.frame.crs import wkt_in_dialect

    crs = CRS(wkt)
    named = crs.to_json_dict().get("id", {})
    code = named.get("code")
    who, number = (named["authority"], code) if isinstance(code, int) else ("NONE", FREE)
    old = wkt_in_dialect(crs, "WKT1_GDAL") or "undefined"
    return SpatialReference(crs.name, number, who, number, old, None, crs.to_wkt("WKT2_2015"))


SQL_TYPES: Final[Mapping[Type, str]] = {
    "text": "TEXT",
    "number": "REAL",
    "whole number": "INTEGER",
    "date": "DATE",
    "yes or no": "BOOLEAN",
}

_CORE: Final = (
    """CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY NOT NULL,
    organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT,
    definition_12_063 TEXT NOT NULL)""",
    """CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,
    identifier TEXT UNIQUE, description TEXT DEFAULT '',
    last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
    min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
    CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))""",
    """CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
    geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
    CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
    CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
    CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))""",
    """CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
    definition TEXT NOT NULL, scope TEXT NOT NULL,
    CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))""",
    # GDAL's own: programs on it need not count a layer's features.
    "CREATE TABLE gpkg_ogr_contents (table_name TEXT NOT NULL PRIMARY KEY, feature_count INTEGER DEFAULT NULL)",
)

#: What keeps a layer's index and count right when another program edits it.
_TRIGGERS: Final = (
    """CREATE TRIGGER "rtree_{layer}_geom_insert" AFTER INSERT ON "{layer}"
    WHEN (NEW."geom" NOT NULL AND NOT ST_IsEmpty(NEW."geom"))
    BEGIN INSERT OR REPLACE INTO "rtree_{layer}_geom" VALUES (NEW."fid", {bounds}); END""",
    """CREATE TRIGGER "rtree_{layer}_geom_update1" AFTER UPDATE OF "geom" ON "{layer}"
    WHEN OLD."fid" = NEW."fid" AND (NEW."geom" NOTNULL AND NOT ST_IsEmpty(NEW."geom"))
    BEGIN INSERT OR REPLACE INTO "rtree_{layer}_geom" VALUES (NEW."fid", {bounds}); END""",
    """CREATE TRIGGER "rtree_{layer}_geom_update2" AFTER UPDATE OF "geom" ON "{layer}"
    WHEN OLD."fid" = NEW."fid" AND (NEW."geom" ISNULL OR ST_IsEmpty(NEW."geom"))
    BEGIN DELETE FROM "rtree_{layer}_geom" WHERE id = OLD."fid"; END""",
    """CREATE TRIGGER "rtree_{layer}_geom_update3" AFTER UPDATE ON "{layer}"
    WHEN OLD."fid" != NEW."fid" AND (NEW."geom" NOTNULL AND NOT ST_IsEmpty(NEW."geom"))
    BEGIN DELETE FROM "rtree_{layer}_geom" WHERE id = OLD."fid";
    INSERT OR REPLACE INTO "rtree_{layer}_geom" VALUES (NEW."fid", {bounds}); END""",
    """CREATE TRIGGER "rtree_{layer}_geom_update4" AFTER UPDATE ON "{layer}"
    WHEN OLD."fid" != NEW."fid" AND (NEW."geom" ISNULL OR ST_IsEmpty(NEW."geom"))
    BEGIN DELETE FROM "rtree_{layer}_geom" WHERE id IN (OLD."fid", NEW."fid"); END""",
    """CREATE TRIGGER "rtree_{layer}_geom_delete" AFTER DELETE ON "{layer}" WHEN OLD."geom" NOT NULL
    BEGIN DELETE FROM "rtree_{layer}_geom" WHERE id = OLD."fid"; END""",
    """CREATE TRIGGER "trigger_insert_feature_count_{layer}" AFTER INSERT ON "{layer}"
    BEGIN UPDATE gpkg_ogr_contents SET feature_count = feature_count + 1
    WHERE lower(table_name) = lower('{layer}'); END""",
    """CREATE TRIGGER "trigger_delete_feature_count_{layer}" AFTER DELETE ON "{layer}"
    BEGIN UPDATE gpkg_ogr_contents SET feature_count = feature_count - 1
    WHERE lower(table_name) = lower('{layer}'); END""",
)
_BOUNDS: Final = 'ST_MinX(NEW."geom"), ST_MaxX(NEW."geom"), ST_MinY(NEW."geom"), ST_MaxY(NEW."geom")'

#: The numbers of geometry types in well-known binary (OGC 06-103r4, 8.2.8).
_WKB: Final[Mapping[str | None, int]] = {"Point": 1, "LineString": 2, "Polygon": 3}


def make_core_tables(database: Connection, wkt: str, epoch: float | None) -> int:
    """Make the tables that every GeoPackage has, and list a CRS with its epoch; return its number."""
    crs = spatial_reference(wkt)
    for statement in _CORE:
        database.execute(statement)
    systems = {each.number: each for each in (*ALWAYS, crs)}
    database.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?, ?)", systems.values())
    extension, columns = "gpkg_crs_wkt", ["definition_12_063"]
    if epoch is not None:
        database.execute("ALTER TABLE gpkg_spatial_ref_sys ADD COLUMN epoch DOUBLE")
        database.execute("UPDATE gpkg_spatial_ref_sys SET epoch = ? WHERE srs_id = ?", (epoch, crs.number))
        extension, columns = "gpkg_crs_wkt_1_1", [*columns, "epoch"]
    register_extension(
        database,
        [("gpkg_spatial_ref_sys", column) for column in columns],
        extension,
        "http://www.geopackage.org/spec120/#extension_crs_wkt",
    )
    return crs.number


def add_layer(database: Connection, layer: FilledLayer, crs: int, moment: str) -> None:
    """Add a layer with its spatial index."""
    shapes, bounds = layer.shapes, layer.shapes.bounds
    kind = str(shapes.form).upper()
    declared = ", ".join(f'"{column.name}" {SQL_TYPES[column.type]}' for column in layer.columns)
    database.execute(
        f'CREATE TABLE "{layer.name}" ("fid" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "geom" {kind}, {declared})'
    )
    extent = [None] * 4
    if len(bounds):
        extent = [*bounds[:, [0, 2]].min(axis=0).tolist(), *bounds[:, [1, 3]].max(axis=0).tolist()]
    database.execute(
        "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
        (layer.name, layer.name, layer.about, moment, *extent, crs),
    )
    database.execute("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)", (layer.name, kind, crs))
    database.execute("INSERT INTO gpkg_ogr_contents VALUES (?, ?)", (layer.name, len(layer)))
    fill_table(database, layer, {"fid": range(1, len(layer) + 1), "geom": blobs(shapes, bounds, crs)})
    add_index(database, f"rtree_{layer.name}_geom", np.flatnonzero(shapes.present) + 1, bounds)
    definition = "http://www.geopackage.org/spec120/#extension_rtree"
    register_extension(database, [(layer.name, "geom")], "gpkg_rtree_index", definition, "write-only")
    for statement in _TRIGGERS:
        database.execute(statement.format(layer=layer.name, bounds=_BOUNDS))


def blobs(shapes: Shapes, bounds: Array, crs: int) -> Iterator[bytes | None]:
    """Yield each geometry in the binary form of GeoPackages (2.1.3): head, bounds, well-known binary; little-endian.

    >>> point = Shapes("Point", np.array([[1.0, 2.0]]), np.array([1]))
    >>> next(blobs(point, point.bounds, 27700)).hex(" ", -8)
    '47500001346c0000 0101000000000000 000000f03f000000 0000000040'
    """
    point = shapes.form == "Point"
    head = pack("<2sBBi", b"GP", 0, 1 if point else 3, crs)
    kind = pack("<BI", 1, _WKB[shapes.form]) + (pack("<I", 1) if shapes.form == "Polygon" else b"")
    corners = np.ascontiguousarray(shapes.corners, "<f8").ravel().view("u1").data
    ends = [0, *(16 * np.cumsum(shapes.counts)).tolist()]
    if point:
        return (head + kind + corners[start:end] if end > start else None for start, end in pairwise(ends))
    every = np.zeros((len(shapes), 4), "<f8")
    every[shapes.present] = bounds
    boxes, counts = every.tobytes(), shapes.counts.astype("<u4").tobytes()
    return (
        head + boxes[32 * k : 32 * k + 32] + kind + counts[4 * k : 4 * k + 4] + corners[start:end]
        if end > start
        else None
        for k, (start, end) in enumerate(pairwise(ends))
    )


def fill_table(database: Connection, layer: FilledLayer, first: Mapping[str, Iterable[Any]]) -> None:
    """Insert the rows of a layer or table, with other columns before its own."""
    own = {column.name: _sqlite_values(column, layer.values[column.name]) for column in layer.columns}
    # What is not known of any row need not be said of each.
    blank: list[Value] = [None] * len(layer)
    columns = {**first, **{name: values for name, values in own.items() if values != blank}}
    insert_rows(database, layer.name, list(columns), zip(*columns.values(), strict=True))


def _sqlite_values(column: Column, values: list[Value]) -> Sequence[Value]:
    """Return values as SQLite takes them, without NUL letters, at which other programs cut a text off."""
    if column.type == "yes or no":
        return [None if value is None else int(value) for value in values]
    if column.type == "text" and "\0" in "".join(map(str, filter(None, values))):
        return [
            value.replace("\0", "\N{REPLACEMENT CHARACTER}") if isinstance(value, str) else value for value in values
        ]
    return values


def register_extension(
    database: Connection,
    what: Iterable[tuple[str, str | None]],
    extension: str,
    definition: str,
    scope: str = "read-write",
) -> None:
    """List an extension for each table, or each of their columns."""
    database.executemany(
        "INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)",
        [(table, column, extension, definition, scope) for table, column in what],
    )
