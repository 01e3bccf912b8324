"""The layers in a real PostGIS database: the one that PEGLINE_POSTGIS names, as .ci/run starts it."""

from __future__ import annotations

import os
from dataclasses import replace
from uuid import uuid4

import geopandas
import pytest
from builders.altered import with_stages

from pegline.errors import OutputError, UsageError
from pegline.writers.gis import postgis
from pegline.writers.gis.dataframes import layers
from pegline.writers.gis.postgis import to_postgis

DATABASE = os.environ.get("PEGLINE_POSTGIS")
real = pytest.mark.skipif(DATABASE is None, reason="PEGLINE_POSTGIS names no database, such as postgresql+psycopg:///x")


@pytest.fixture
def engine():
    sqlalchemy = pytest.importorskip("sqlalchemy")
    made = sqlalchemy.create_engine(DATABASE)
    yield made
    made.dispose()


@pytest.fixture
def schema(engine):
    """A schema of its own, dropped after the test."""
    from sqlalchemy import text

    name = f"plots_{uuid4().hex[:8]}"
    yield name
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA IF EXISTS {name} CASCADE"))


def _read(engine, schema, layer):
    query = f"SELECT * FROM {schema}.{layer}"
    return geopandas.read_postgis(query, engine, geom_col="geometry")


def _one(engine, query):
    from sqlalchemy import text

    with engine.connect() as connection:
        return connection.execute(text(query)).scalar_one()


@real
def test_every_layer_is_read_back(engine, schema, grid):
    to_postgis(grid, engine, "weir", schema)

    for name, frame in layers(grid).items():
        read = _read(engine, schema, name)
        assert read.crs.to_epsg() == 32630
        assert read["survey"].tolist() == ["weir"] * len(frame)
        assert read["name"].tolist() == frame["name"].tolist()
        same = read.geometry.geom_equals_exact(frame.geometry, 0.0)
        assert same.where(frame.geometry.notna(), True).all()
    length = _one(engine, f"SELECT ST_Length(geometry) FROM {schema}.chain_lines WHERE name = 'A-B'")
    assert length == pytest.approx(52.32, abs=1e-9)


@real
def test_a_survey_put_again_takes_the_place_of_its_old_rows(engine, schema, grid):
    to_postgis(grid, engine, "weir", schema)
    to_postgis(grid, engine, "mill", schema)
    to_postgis(grid, engine, "weir", schema)

    counts = _read(engine, schema, "detail_points")["survey"].value_counts().to_dict()
    assert counts == {"weir": 9, "mill": 9}


@real
def test_a_survey_may_bring_columns_that_others_have_not(engine, schema, grid):
    shapes = {
        name: replace(shape, booked=replace(shape.booked, data={"Age, about": name}))
        for name, shape in grid.detail.shapes.items()
    }
    to_postgis(grid, engine, "weir", schema)
    to_postgis(with_stages(grid, detail=replace(grid.detail, shapes=shapes)), engine, "mill", schema)

    read = _read(engine, schema, "detail_points").set_index(["survey", "name"])
    assert read["age_about"]["mill", "bay"] == "bay"
    assert read["planted_in"]["weir", "bay"] == "1987"


@real
def test_a_frame_of_its_own_is_stored_without_a_crs(engine, schema, local):
    to_postgis(local, engine, "weir", schema)

    assert _one(engine, f"SELECT DISTINCT ST_SRID(geometry) FROM {schema}.stations") == 0


@real
def test_surveys_in_another_crs_are_refused_and_nothing_is_changed(engine, schema, grid, local):
    to_postgis(grid, engine, "weir", schema)

    with pytest.raises(UsageError, match="give this one another schema"):
        to_postgis(local, engine, "weir", schema)

    assert len(_read(engine, schema, "stations")) == 5


@real
def test_hostile_names_are_only_names(engine, schema, grid):
    name = "x'; DROP TABLE stations; --"
    to_postgis(grid, engine, name, schema)

    assert set(_read(engine, schema, "stations")["survey"]) == {name}


def test_a_database_that_is_not_there_is_an_output_error(grid):
    sqlalchemy = pytest.importorskip("sqlalchemy")
    pytest.importorskip("psycopg")
    engine = sqlalchemy.create_engine("postgresql+psycopg://127.0.0.1:1/none", connect_args={"connect_timeout": 2})

    with pytest.raises(OutputError, match="nothing was changed"):
        to_postgis(grid, engine, "weir")
    engine.dispose()


def test_a_library_that_is_not_installed_is_named_with_its_extra(grid, monkeypatch):
    monkeypatch.setattr(postgis, "find_spec", lambda name: None)

    with pytest.raises(UsageError, match=r"pip install 'pegline\[postgis\]'"):
        to_postgis(grid, None, "weir")
