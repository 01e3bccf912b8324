"""What a GeoPackage says beside its layers: tables, the schema, metadata and related tables extensions, as SQL.

OGC 12-128r19 (schema: annex F.9, metadata: annex F.8) and OGC 18-000 (related tables).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pegline.writers.columns import Column
from pegline.writers.figures import Records, moment, source
from pegline.writers.gis import Filled, values_of
from pegline.writers.metadata import NAMESPACE, head, iso_record
from pegline.writers.result import result

if TYPE_CHECKING:
    from sqlite3 import Connection

__all__ = ["TABLES", "extended"]

Value = str | float | bool | None

_SQL_TYPES: Final = {"text": "TEXT", "number": "REAL", "yes or no": "BOOLEAN"}


@dataclass(frozen=True, slots=True)
class Table:
    """A table without geometry."""

    name: str
    about: str
    columns: tuple[Column, ...]


SOURCE: Final = Column("source", "place in the field book, LINE:COLUMN")

CHECKS: Final = Table(
    "checks",
    "What was measured beyond need, compared with the plotting solution",
    (
        Column("what", "the line, row, point or station"),
        Column("kind", "what was compared"),
        Column("taped", "as measured, on the ground, metres; degrees for a bearing", "number"),
        Column("computed", "as the plotting solution has it, same unit", "number"),
        Column("difference", "taped minus computed, same unit", "number"),
        Column("allowed", "the largest difference that passes, same unit", "number"),
        Column("test", "difference over its standard deviation", "number"),
        Column("passed", "whether it passes", "yes or no"),
        SOURCE,
    ),
)
WARNINGS: Final = Table(
    "warnings",
    "What to look at",
    (Column("rule", "its short name"), Column("text", "what is odd; what to do"), SOURCE),
)
BOOK: Final = Table(
    "book",
    "The survey: what the head of the field book says, and how it came out",
    (Column("key", "what"), Column("value", "its words")),
)
TABLES: Final = (CHECKS, WARNINGS, BOOK)


def extended(database: Connection, records: Records, layers: Sequence[Filled]) -> None:
    """Add to a GeoPackage of layers everything else, and leave it one plain file."""
    database.execute("PRAGMA synchronous = OFF")
    database.execute("PRAGMA foreign_keys = ON")
    database.execute("BEGIN")
    _tables(database, records)
    _schema(database, records, layers)
    _metadata(database, records)
    _relations(database, records, layers)
    database.execute("COMMIT")
    database.execute("PRAGMA journal_mode = DELETE")
    database.execute("VACUUM")


def _tables(database: Connection, records: Records) -> None:
    told = result(records)
    rows: dict[str, list[Mapping[str, Value]]] = {
        "checks": [dict(check) for check in told["checks"]],  # type: ignore[arg-type]
        "warnings": [dict(warning) for warning in told["warnings"]],  # type: ignore[arg-type]
        "book": [{"key": key, "value": value} for key, value in head(records)],
    }
    for table in TABLES:
        names = [column.name for column in table.columns]
        declared = ", ".join(f'"{column.name}" {_SQL_TYPES[column.type]}' for column in table.columns)
        database.execute(f'CREATE TABLE "{table.name}" (id INTEGER PRIMARY KEY NOT NULL, {declared})')
        _insert(
            database,
            table.name,
            ["id", *names],
            ((n, *map(row.get, names)) for n, row in enumerate(rows[table.name], 1)),
        )
        _insert(
            database,
            "gpkg_contents",
            ["table_name", "data_type", "identifier", "description", "last_change"],
            [(table.name, "attributes", table.name, table.about, moment(records.book))],
        )


def _insert(database: Connection, table: str, columns: Sequence[str], rows: Iterable[Sequence[Value]]) -> None:
    names = ", ".join(f'"{name}"' for name in columns)
    database.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({", ".join("?" * len(columns))})', rows)


def _register(database: Connection, tables: Iterable[str], extension: str, definition: str) -> None:
    database.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,"
        " definition TEXT NOT NULL, scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE"
        " (table_name, column_name, extension_name))"
    )
    _insert(
        database,
        "gpkg_extensions",
        ["table_name", "column_name", "extension_name", "definition", "scope"],
        [(table, None, extension, definition, "read-write") for table in tables],
    )


# Schema ------------------------------------------------------------------------------------------


def _schema(database: Connection, records: Records, layers: Sequence[Filled]) -> None:
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
    described = [(layer.layer.name, layer.columns) for layer in layers] + [(t.name, t.columns) for t in TABLES]
    _insert(
        database,
        "gpkg_data_columns",
        ["table_name", "column_name", "name", "title", "description", "constraint_name"],
        (
            (table, column.name, column.name, column.name.replace("_", " "), column.about, column.values)
            for table, columns in described
            for column in columns
        ),
    )
    _insert(
        database,
        "gpkg_data_column_constraints",
        ["constraint_name", "constraint_type", "value", "description"],
        (
            (name, "enum", value, about)
            for name, values in values_of(records).items()
            for value, about in values.items()
        ),
    )
    _register(
        database,
        ("gpkg_data_columns", "gpkg_data_column_constraints"),
        "gpkg_schema",
        "http://www.geopackage.org/spec121/#extension_schema",
    )


# Metadata ----------------------------------------------------------------------------------------


def _metadata(database: Connection, records: Records) -> None:
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
    _insert(
        database,
        "gpkg_metadata",
        ["id", "md_scope", "md_standard_uri", "mime_type", "metadata"],
        [(1, "dataset", NAMESPACE, "text/xml", iso_record(records))],
    )
    _insert(
        database,
        "gpkg_metadata_reference",
        ["reference_scope", "timestamp", "md_file_id"],
        [("geopackage", moment(records.book), 1)],
    )
    _register(
        database,
        ("gpkg_metadata", "gpkg_metadata_reference"),
        "gpkg_metadata",
        "http://www.geopackage.org/spec121/#extension_metadata",
    )


# Relations ---------------------------------------------------------------------------------------

#: Each mapping table, with the layers that it joins.
POINT_LINES: Final = ("chain_lines_detail_points", "chain_lines", "detail_points")
POINT_OFFSETS: Final = ("offsets_detail_points", "offsets", "detail_points")


def _relations(database: Connection, records: Records, layers: Sequence[Filled]) -> None:
    """Join each point to the chain line and row that gave it, and to its offsets."""
    database.execute(
        "CREATE TABLE gpkgext_relations (id INTEGER PRIMARY KEY AUTOINCREMENT, base_table_name TEXT NOT NULL,"
        " base_primary_column TEXT NOT NULL DEFAULT 'id', related_table_name TEXT NOT NULL,"
        " related_primary_column TEXT NOT NULL DEFAULT 'id', relation_name TEXT NOT NULL,"
        " mapping_table_name TEXT NOT NULL UNIQUE)"
    )
    ids = {layer.layer.name: _ids(layer) for layer in layers}
    joined = {POINT_LINES: _by_rows(records, ids), POINT_OFFSETS: _by_offsets(layers, ids)}
    for number, ((mapping, base, related), rows) in enumerate(joined.items(), 1):
        database.execute(
            f"CREATE TABLE {mapping} (base_id INTEGER NOT NULL, related_id INTEGER NOT NULL, source TEXT, page TEXT)"
        )
        _insert(database, mapping, ["base_id", "related_id", "source", "page"], rows)
        _insert(
            database,
            "gpkgext_relations",
            [
                "id",
                "base_table_name",
                "base_primary_column",
                "related_table_name",
                "related_primary_column",
                "relation_name",
                "mapping_table_name",
            ],
            [(number, base, "fid", related, "fid", "features", mapping)],
        )
    _register(
        database,
        ("gpkgext_relations", *(mapping for mapping, _, _ in joined)),
        "gpkg_related_tables",
        "http://www.geopackage.org/18-000.html",
    )


def _ids(layer: Filled) -> dict[str, list[int]]:
    """Return the numbers of a layer's rows by name; GDAL counts them from 1 as they come."""
    found: dict[str, list[int]] = {}
    for number, row in enumerate(layer.rows, 1):
        found.setdefault(str(row["name"]), []).append(number)
    return found


def _by_rows(records: Records, ids: Mapping[str, Mapping[str, list[int]]]) -> Iterator[tuple[Value, ...]]:
    for row in records.reduction.rows:
        for base in ids["chain_lines"].get(row.line, ()):
            for related in ids["detail_points"].get(row.name, ()):
                yield base, related, source(row.booked.place), row.booked.page


def _by_offsets(layers: Sequence[Filled], ids: Mapping[str, Mapping[str, list[int]]]) -> Iterator[tuple[Value, ...]]:
    offsets = next(layer for layer in layers if layer.layer.name == "offsets")
    for base, row in enumerate(offsets.rows, 1):
        for related in ids["detail_points"].get(str(row["name"]), ()):
            yield base, related, row["source"], row["page"]
