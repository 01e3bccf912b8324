"""A PostGIS database that an office keeps all its plots in: one table a layer, one row of ``surveys`` a plot.

Tables have keys, comments, typed geometry in the column ``geom`` and a spatial index. Rows hang on the survey's row
of ``surveys``: taking that out takes all of them out. A schema holds surveys of one CRS.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final

from pegline.diagnosis.model import Survey
from pegline.errors import OutputError, UsageError
from pegline.writers.gis.columns import NAME_COLUMN, Column, Type
from pegline.writers.gis.layers import GIS_LAYERS, FilledLayer
from pegline.writers.gis.package import BOOK_TABLE, PACKAGE_TABLES, Package
from pegline.writers.gis.reprojection import package_in

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["to_postgis"]

NEEDED_PACKAGES: Final = ("sqlalchemy", "psycopg")
TYPES: Final[Mapping[Type, str]] = {
    "text": "text",
    "number": "double precision",
    "whole number": "bigint",
    "date": "date",
    "yes or no": "boolean",
}
#: Numbers of CRSs that PostGIS does not list begin here: it leaves numbers from 910000 to 998999 to users.
OWN_SRIDS: Final = 910_000
#: The number of a CRS that leads nowhere.
NO_SRID: Final = 0
#: Facts of the table ``book`` that stand in ``surveys`` too.
BOOK_FACTS: Final = ("title", "place", "date", "surveyor", "crs", "sha256")


def to_postgis(survey: Survey, engine: Any, name: str, schema: str = "public", other: OtherCRS | None = None) -> None:
    """Put a survey into the tables of a database, all or nothing.

    What a survey of this name has there already is replaced; other surveys stay. Writers wait for one another.

    Parameters
    ----------
    survey
        The survey.
    engine
        A SQLAlchemy engine, or the URL of the database: ``postgresql://user@host/name``.
    name
        Its name in the column ``survey``.
    schema
        The database's schema that holds the tables; made if need be. A survey in a frame of its own has one alone.
    other
        Another CRS than the survey's own.

    Raises
    ------
    UsageError
        A library is not installed, or the schema holds surveys in another CRS.
    OutputError
        The database does not take it.
    """
    if missing := [library for library in NEEDED_PACKAGES if find_spec(library) is None]:
        raise UsageError(f"a database needs {missing[0]}; install it with: pip install 'pegline[postgis]'")
    from sqlalchemy.exc import SQLAlchemyError

    package = package_in(survey, other)
    try:
        with _connect(engine) as connection:
            _Office(connection, schema).put(package, name)
    except SQLAlchemyError as error:
        complaint = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
        raise OutputError(f"the database does not take {name}: {complaint}; nothing was changed in it") from error


@contextmanager
def _connect(engine: Any) -> Iterator[Any]:
    """Give a connection whose work is kept when all of it was done, else none of it."""
    if not isinstance(engine, str):
        with engine.begin() as connection:
            yield connection
        return
    engine_in_use = _engine(engine)
    try:
        with engine_in_use.begin() as connection:
            yield connection
    finally:
        engine_in_use.dispose()


def _engine(url: str) -> Any:
    """Return an engine for the URL of a database."""
    from sqlalchemy import create_engine
    from sqlalchemy.exc import ArgumentError, NoSuchModuleError

    for short in ("postgresql://", "postgres://"):
        if url.startswith(short):  # with the driver that pegline installs
            url = "postgresql+psycopg://" + url.removeprefix(short)
    try:
        return create_engine(url)
    except (ArgumentError, NoSuchModuleError) as error:
        raise UsageError(f"{url!r} is no URL of a database; write postgresql://USER@HOST/NAME") from error


class _Office:
    """A schema of the database, while its writer holds it."""

    def __init__(self, connection: Any, schema: str) -> None:
        self._connection = connection
        self._schema = schema
        self._quoted = connection.dialect.identifier_preparer.quote

    def put(self, package: Package, name: str) -> None:
        """Put a survey in the place of what it has there."""
        # Two writers that make the tables at once would hinder one another: the second waits for the first to end.
        self._run("SELECT pg_advisory_xact_lock(hashtext(:key))", key=f"pegline {self._schema}")
        self._run(f"CREATE SCHEMA IF NOT EXISTS {self._quoted(self._schema)}")
        srid = self._srid(package.wkt)
        self._surveys()
        self._refuse_other_crs(srid, name)
        (book,) = (table for table in package.tables if table.name == BOOK_TABLE.name)
        facts = dict(zip(book.values["key"], book.values["value"], strict=True))
        self._run(f"DELETE FROM {self._table('surveys')} WHERE survey = :name", name=name)
        columns = ", ".join(f'"{fact}"' for fact in BOOK_FACTS)
        marks = ", ".join(f":{fact}" for fact in BOOK_FACTS)
        self._run(
            f"INSERT INTO {self._table('surveys')} (survey, srid, {columns}) VALUES (:survey, :srid, {marks})",
            survey=name,
            srid=srid,
            **{fact: facts.get(fact) for fact in BOOK_FACTS},
        )
        for layer in (*package.layers, *package.tables):
            self._make(layer, srid)
            self._fill(layer, name, srid)

    def _run(self, statement: str, **values: Any) -> Any:
        from sqlalchemy import text

        return self._connection.execute(text(statement), values)

    def _types(self, table: str) -> dict[str, str]:
        """Return the type of each column that a table of the schema has, as the database names it."""
        query = (
            "SELECT column_name, data_type FROM information_schema.columns"
            " WHERE table_schema = :schema AND table_name = :table"
        )
        return dict(self._run(query, schema=self._schema, table=table).fetchall())

    def _table(self, name: str) -> str:
        return f"{self._quoted(self._schema)}.{self._quoted(name)}"

    def _surveys(self) -> None:
        """Make the table of surveys, where there is none yet."""
        self._run(
            f"CREATE TABLE IF NOT EXISTS {self._table('surveys')} (survey text PRIMARY KEY, srid integer NOT NULL,"
            " title text, place text, date date, surveyor text, crs text NOT NULL, sha256 text)"
        )
        self._comment(
            "surveys",
            "One row a survey; the rows of all other tables go with it",
            {
                "survey": "its name",
                "srid": "number of the CRS of its geometries; 0: a frame of its own",
                "sha256": "hash of the field book",
            },
        )

    def _refuse_other_crs(self, srid: int, name: str) -> None:
        """Refuse a survey that would lie beside others as if it were in their CRS."""
        query = f"SELECT survey, srid FROM {self._table('surveys')} WHERE survey <> :name"
        others = self._run(query, name=name).fetchall()
        typed = self._run(
            "SELECT srid FROM geometry_columns WHERE f_table_schema = :schema AND f_table_name = 'stations'",
            schema=self._schema,
        ).scalar()
        if any(other != srid for _, other in others) or (typed is not None and typed != srid):
            raise UsageError(
                f"the tables in schema {self._schema!r} hold surveys in another CRS; give this one another schema, or"
                " say in which CRS to write it"
            )
        if srid == NO_SRID and others:
            raise UsageError(
                f"schema {self._schema!r} holds {others[0][0]!r}, and nothing says how two surveys in frames of their"
                " own lie to one another; give this one another schema"
            )

    def _srid(self, wkt: str) -> int:
        """Return the database's number of a CRS, listed there if need be; 0 for a frame of its own."""
        from pyproj import CRS

        from pegline.frame.crs import wkt_in_dialect

        crs = CRS.from_wkt(wkt)
        if crs.is_engineering:
            return NO_SRID
        # A code found with less confidence than this may be that of another grid.
        who, code = crs.to_authority(min_confidence=70) or ("", "")
        query = "SELECT srid FROM spatial_ref_sys WHERE auth_name = :who AND auth_srid = :code"
        if code.isdigit() and (listed := self._run(query, who=who, code=int(code)).scalar()) is not None:
            return int(listed)
        words = wkt_in_dialect(crs, "WKT1_GDAL") or wkt
        listed_srid = self._run("SELECT srid FROM spatial_ref_sys WHERE srtext = :words", words=words).scalar()
        if listed_srid is None:
            highest = "SELECT max(srid) FROM spatial_ref_sys WHERE srid BETWEEN :least AND 998999"
            listed_srid = (self._run(highest, least=OWN_SRIDS).scalar() or OWN_SRIDS - 1) + 1
            self._run(
                "INSERT INTO spatial_ref_sys (srid, auth_name, auth_srid, srtext, proj4text)"
                " VALUES (:srid, 'pegline', :srid, :words, :proj)",
                srid=listed_srid,
                words=words,
                proj=_proj_string(crs),
            )
        return int(listed_srid)

    def _make(self, layer: FilledLayer, srid: int) -> None:
        """Make a layer's table with all that pegline may write, and give it the columns that this survey brings."""
        columns = {column.name: column for column in (*_every_column(layer.name), *layer.columns)}
        table, form = self._table(layer.name), layer.shapes.form
        declared = [
            "id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY",
            f"survey text NOT NULL REFERENCES {self._table('surveys')} (survey) ON DELETE CASCADE ON UPDATE CASCADE",
            *(f"{self._quoted(name)} {TYPES[column.type]}{_not_null(column)}" for name, column in columns.items()),
            *([f"geom geometry({form}, {srid})"] if form else []),
        ]
        is_missing = self._run("SELECT to_regclass(:table) IS NULL", table=table).scalar()
        if not is_missing:
            self._widen(layer.name, columns)
            return
        self._run(f"CREATE TABLE {table} ({', '.join(declared)})")
        self._run(f"CREATE INDEX ON {table} (survey)")
        if form:
            self._run(f"CREATE INDEX ON {table} USING gist (geom)")
        if layer.name == "stations":
            self._run(f"ALTER TABLE {table} ADD UNIQUE (survey, name)")
        if layer.name == BOOK_TABLE.name:
            self._run(f"ALTER TABLE {table} ADD UNIQUE (survey, key)")
        self._comment(layer.name, layer.about, {name: column.about for name, column in columns.items()})

    def _widen(self, name: str, columns: Mapping[str, Column]) -> None:
        """Give a table the columns that it lacks; one whose type does not hold what comes becomes text."""
        has = self._types(name)
        for column in columns.values():
            quoted = self._quoted(column.name)
            if column.name not in has:
                self._run(f"ALTER TABLE {self._table(name)} ADD COLUMN {quoted} {TYPES[column.type]}")
                self._comment(name, None, {column.name: column.about})
            elif not _holds(has[column.name], column.type):
                self._run(f"ALTER TABLE {self._table(name)} ALTER COLUMN {quoted} TYPE text")

    def _fill(self, layer: FilledLayer, survey: str, srid: int) -> None:
        if not len(layer):
            return
        from sqlalchemy import text

        has = self._types(layer.name)
        as_text = {column.name for column in layer.columns if has[column.name] == "text" and column.type != "text"}
        rows = [
            {
                "survey": survey,
                **{f"v{n}": _value(row[key], text=key in as_text) for n, key in enumerate(row)},
                "geom": geometry,
            }
            for row, geometry in zip(layer.rows(), _geometries(layer), strict=True)
        ]
        columns = ", ".join(self._quoted(column.name) for column in layer.columns)
        marks = ", ".join(f":v{n}" for n in range(len(layer.columns)))
        form = layer.shapes.form
        geom, place = (", geom", f", ST_GeomFromWKB(:geom, {srid})") if form else ("", "")
        statement = f"INSERT INTO {self._table(layer.name)} (survey, {columns}{geom}) VALUES (:survey, {marks}{place})"
        self._connection.execute(text(statement), rows)

    def _comment(self, table: str, about: str | None, columns: Mapping[str, str]) -> None:
        from sqlalchemy import literal

        def sql_literal(text: str) -> str:
            # A literal comes with its percent signs doubled, as the driver wants them.
            return str(literal(text).compile(dialect=self._connection.dialect, compile_kwargs={"literal_binds": True}))

        run = self._connection.exec_driver_sql
        if about is not None:
            run(f"COMMENT ON TABLE {self._table(table)} IS {sql_literal(about)}")
        for name, text in columns.items():
            run(f"COMMENT ON COLUMN {self._table(table)}.{self._quoted(name)} IS {sql_literal(text)}")


def _proj_string(crs: Any) -> str:
    """Return a CRS in the form that PostGIS falls back to where it cannot read the words."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that this form says less is known
        return str(crs.to_proj4())


def _every_column(name: str) -> tuple[Column, ...]:
    """Return the columns that pegline may write of a layer or table, also those that this survey has none of."""
    return next((each.columns for each in (*GIS_LAYERS, *PACKAGE_TABLES) if each.name == name), ())


def _not_null(column: Column) -> str:
    return " NOT NULL" if column in (NAME_COLUMN, *BOOK_TABLE.columns) else ""


def _holds(stored: str, column_type: Type) -> bool:
    """Return whether a column of the database takes values of a type."""
    takes = {
        "text": ("text", "number", "whole number", "date", "yes or no"),
        "double precision": ("number", "whole number"),
        "bigint": ("whole number",),
        "date": ("date",),
        "boolean": ("yes or no",),
    }
    return column_type in takes.get(stored, ())


def _value(value: Any, *, text: bool) -> Any:
    """Return a value as the database takes it: no NUL in texts, and words in a column that became text."""
    if isinstance(value, str):
        return value.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return str(value) if text and value is not None else value


def _geometries(layer: FilledLayer) -> Iterator[bytes | None]:
    """Yield each row's geometry as well-known binary."""
    from shapely import to_wkb
    from shapely.geometry import shape

    for each in layer.shapes.geojson(layer.shapes.corners.tolist()):
        yield to_wkb(shape(each)) if each else None
