"""The layers in a PostGIS database, where an office keeps all its plots: one table a layer, a column for the survey."""

from __future__ import annotations

import warnings
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final

from pegline.diagnosis.model import Survey
from pegline.errors import OutputError, UsageError
from pegline.writers.gis.dataframes import layers

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["to_postgis"]

NEEDED: Final = ("sqlalchemy", "geoalchemy2")


def to_postgis(survey: Survey, engine: Any, name: str, schema: str = "public") -> None:
    """Put every layer of a survey into the tables of a database, all or nothing.

    Rows that a survey of this name has there already are replaced; those of other surveys stay. A survey
    in a frame of its own is stored without a CRS (SRID 0): a database has no words for such a frame.

    Parameters
    ----------
    survey
        The survey.
    engine
        A SQLAlchemy engine, or a connection, to a database with PostGIS, or its URL.
    name
        Its name in the column ``survey``.
    schema
        The database's schema that holds the tables; made if need be.

    Raises
    ------
    UsageError
        A library is not installed, or the tables hold surveys in another CRS.
    OutputError
        The database does not take it.
    """
    if missing := [name for name in NEEDED if find_spec(name) is None]:
        raise UsageError(f"a database needs {missing[0]}; install it with: pip install 'pegline[postgis]'")
    from sqlalchemy.exc import SQLAlchemyError

    if isinstance(engine, str):
        engine = _engine(engine)
    try:
        with engine.begin() as connection:
            _schema(connection, schema)
            for layer, frame in layers(survey).items():
                _put(connection, schema, layer, name, frame)
    except SQLAlchemyError as error:
        said = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
        raise OutputError(f"the database does not take {name}: {said}; nothing was changed in it") from error


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


def _schema(connection: Any, schema: str) -> None:
    from sqlalchemy.schema import CreateSchema

    connection.execute(CreateSchema(schema, if_not_exists=True))


def _with_survey(frame: GeoDataFrame, survey: str) -> GeoDataFrame:
    """Return a layer with the survey's name first, and no CRS where the database would have to guess its number."""
    named = frame.copy()
    named.insert(0, "survey", survey)
    # A number found with less confidence than this may be that of another grid.
    if frame.crs.to_epsg(min_confidence=70) is None:
        return named.set_crs(None, allow_override=True)
    return named


def _put(connection: Any, schema: str, name: str, survey: str, layer: GeoDataFrame) -> None:
    from sqlalchemy import inspect

    frame = _with_survey(layer, survey)
    inspector = inspect(connection)
    if inspector.has_table(name, schema=schema):
        _forget(connection, schema, name, survey)
        _widen(connection, inspector, schema, name, frame)
    with warnings.catch_warnings():
        # That there is no CRS was decided above.
        warnings.filterwarnings("ignore", "Could not parse CRS", UserWarning)
        try:
            frame.to_postgis(name, connection, schema=schema, if_exists="append", index=False)
        except ValueError as error:
            raise UsageError(
                f"the tables in schema {schema!r} hold surveys in another CRS ({error}); give this one another schema"
            ) from error


def _forget(connection: Any, schema: str, name: str, survey: str) -> None:
    """Take a survey's rows out of a table."""
    from sqlalchemy import column, delete, table

    rows = table(name, column("survey"), schema=schema)
    connection.execute(delete(rows).where(rows.c.survey == survey))


def _widen(connection: Any, inspector: Any, schema: str, name: str, frame: GeoDataFrame) -> None:
    """Give a table the columns that it lacks: only the features' own may be new, and they are text."""
    from sqlalchemy import text

    has = {each["name"] for each in inspector.get_columns(name, schema=schema)}
    quoted = connection.dialect.identifier_preparer.quote
    for extra in [each for each in frame.columns if each not in has]:
        connection.execute(text(f"ALTER TABLE {quoted(schema)}.{quoted(name)} ADD COLUMN {quoted(extra)} TEXT"))
