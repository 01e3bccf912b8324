"""The layers in a real PostGIS database: the one that PEGLINE_POSTGIS names, as .ci/run starts it."""

from __future__ import annotations

import json
import os
import subprocess
from dataclasses import replace
from pathlib import Path
from uuid import uuid4

import geopandas
import pytest
import shapely
from builders.altered import with_stages

from pegline.errors import OutputError, UsageError
from pegline.frame.crs import grid_of
from pegline.writers.gis import postgis
from pegline.writers.gis.dataframes import layers
from pegline.writers.gis.layers import GIS_LAYERS
from pegline.writers.gis.postgis import to_postgis
from pegline.writers.gis.reprojection import OtherCRS

PYTHON3_GDAL = Path("/usr/lib/python3/dist-packages/osgeo")
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
    return geopandas.read_postgis(query, engine, geom_col="geom")


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
    length = _one(engine, f"SELECT ST_Length(geom) FROM {schema}.chain_lines WHERE name = 'A-B'")
    assert length == pytest.approx(52.32, abs=1e-9)


#: What the system's GDAL, in a process of its own, reads of a layer: each row's name and geometry, and the CRS.
READ_BY_GDAL = """
import json, sys
from osgeo import ogr
ogr.UseExceptions()
source, name = sys.argv[1:]
database = ogr.Open(source)
layer = database.GetLayerByName(name)
rows = []
for each in layer:
    geometry = each.GetGeometryRef()
    rows.append((each.GetField("survey"), each.GetField("name"), geometry and geometry.ExportToWkt()))
crs = layer.GetSpatialRef()
print(json.dumps([crs.GetAuthorityCode(None), layer.GetGeometryColumn(), layer.GetFIDColumn(), rows]))
"""


@real
@pytest.mark.skipif(not PYTHON3_GDAL.exists(), reason="needs Debian's python3-gdal")
def test_every_layer_is_read_by_gdal_too(engine, schema, grid):
    to_postgis(grid, engine, "weir", schema)
    url = engine.url
    source = f"PG:host={url.host} dbname={url.database} user={url.username} password={url.password} schemas={schema}"

    for name, frame in layers(grid).items():
        command = ["/usr/bin/python3", "-c", READ_BY_GDAL, source, name]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        code, geometry, key, rows = json.loads(done.stdout)
        assert (code, geometry, key) == ("32630", "geom", "id")
        assert [(survey, each) for survey, each, _ in rows] == [("weir", each) for each in frame["name"]]
        for wkt, ours in zip((wkt for *_, wkt in rows), frame.geometry, strict=True):
            assert wkt is None if ours is None else shapely.from_wkt(wkt).equals_exact(ours, 1e-8)


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
    assert read["planted_in"]["weir", "bay"] == 1987


@real
def test_a_column_that_does_not_hold_what_comes_becomes_text(engine, schema, grid):
    shapes = {
        name: replace(shape, booked=replace(shape.booked, data={"planted in": "spring"}))
        for name, shape in grid.detail.shapes.items()
    }
    to_postgis(grid, engine, "weir", schema)
    to_postgis(with_stages(grid, detail=replace(grid.detail, shapes=shapes)), engine, "mill", schema)
    to_postgis(grid, engine, "weir", schema)

    read = _read(engine, schema, "detail_points").set_index(["survey", "name"])["planted_in"]
    assert (read["weir", "bay"], read["mill", "bay"]) == ("1987", "spring")


@real
def test_tables_are_as_an_office_keeps_them(engine, schema, grid):
    from sqlalchemy import text

    to_postgis(grid, engine, "weir", schema)

    def rows(query):
        with engine.connect() as connection:
            return {tuple(row) for row in connection.execute(text(query.format(schema=schema)))}

    tables = {layer.name for layer in GIS_LAYERS} | {"book", "checks", "warnings"}
    assert rows("SELECT tablename FROM pg_tables WHERE schemaname = '{schema}'") == {
        (table,) for table in tables | {"surveys"}
    }
    keys = rows(
        "SELECT conrelid::regclass::text, pg_get_constraintdef(oid) FROM pg_constraint"
        " WHERE connamespace = '{schema}'::regnamespace"
    )
    for table in tables:
        assert (f"{schema}.{table}", "PRIMARY KEY (id)") in keys
        cascade = f"FOREIGN KEY (survey) REFERENCES {schema}.surveys(survey) ON UPDATE CASCADE ON DELETE CASCADE"
        assert (f"{schema}.{table}", cascade) in keys
    assert (f"{schema}.stations", "UNIQUE (survey, name)") in keys
    bare = rows(
        "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = '{schema}'"
        " AND col_description(to_regclass('{schema}.' || table_name), ordinal_position) IS NULL"
        " AND table_name <> 'surveys'"
    )
    assert {column for _, column in bare} == {"id", "survey", "geom"}
    ((said,),) = rows(
        "SELECT col_description(to_regclass('{schema}.stations'), attnum) FROM pg_attribute"
        " WHERE attrelid = to_regclass('{schema}.stations') AND attname = 'ellipse_a'"
    )
    assert said == "semi-major axis of the 95 % ellipse, metres"
    loose = rows(
        "SELECT table_name FROM information_schema.columns WHERE table_schema = '{schema}'"
        " AND column_name IN ('id', 'survey') AND is_nullable = 'YES'"
    )
    assert not loose
    typed = rows(
        "SELECT f_table_name, f_geometry_column, type, srid FROM geometry_columns WHERE f_table_schema = '{schema}'"
    )
    assert typed == {(layer.name, "geom", layer.shape.upper(), 32630) for layer in GIS_LAYERS}
    assert _one(engine, f"SELECT value FROM {schema}.book WHERE key = 'title'") == "Weir cottage & its <garden>"
    assert _one(engine, f"SELECT count(*) FROM {schema}.checks") == 1


@real
def test_a_survey_goes_with_its_row_of_surveys(engine, schema, grid):
    from sqlalchemy import text

    to_postgis(grid, engine, "weir", schema)
    with engine.begin() as connection:
        connection.execute(text(f"DELETE FROM {schema}.surveys WHERE survey = 'weir'"))

    assert sum(_one(engine, f"SELECT count(*) FROM {schema}.{layer.name}") for layer in GIS_LAYERS) == 0


@real
def test_a_survey_in_another_crs_is_written_in_the_office_s(engine, schema, grid):
    to_postgis(grid, engine, "weir", schema, OtherCRS("EPSG:4326"))

    assert _one(engine, f"SELECT DISTINCT ST_SRID(geom) FROM {schema}.stations") == 4326
    # PostGIS's own PROJ brings it back to where it was.
    east = _one(engine, f"SELECT ST_X(ST_Transform(geom, 32630)) FROM {schema}.stations WHERE name = 'A'")
    assert east == pytest.approx(512_340.25, abs=1e-3)


@real
def test_a_crs_that_postgis_does_not_know_is_listed(engine, schema, grid):
    frame = grid_of("EPSG:22279")  # with axes west and south: its counterpart has no code
    survey = with_stages(
        grid, frame=replace(grid.frame, wkt=frame.wkt, crs_name=frame.name, origin=(-20_000.0, -3_750_000.0))
    )
    to_postgis(survey, engine, "weir", schema)
    to_postgis(survey, engine, "mill", schema)

    srid = _one(engine, f"SELECT DISTINCT ST_SRID(geom) FROM {schema}.stations")
    assert srid >= 910_000
    # 20 km west of the 19th meridian, at about 33.9° south: 20 / (111.3 cos 33.9°) is 0.217°.
    query = f"SELECT ST_X(ST_Transform(geom, 4222)) FROM {schema}.stations WHERE survey = 'mill' AND name = 'A'"
    assert _one(engine, query) == pytest.approx(19 - 0.2165, abs=0.001)


@real
def test_local_frames_are_never_laid_over_each_other(engine, schema, local):
    to_postgis(local, engine, "weir", schema)
    to_postgis(local, engine, "weir", schema)

    with pytest.raises(UsageError, match="own lie to one another"):
        to_postgis(local, engine, "mill", schema)


@real
def test_a_failing_write_leaves_the_survey_as_it_was(engine, schema, grid, monkeypatch):
    to_postgis(grid, engine, "weir", schema)

    def broken(layer):
        if layer.name == "ellipses":
            raise RuntimeError("the power went out")
        return postgis_geometries(layer)

    postgis_geometries = postgis._geometries
    monkeypatch.setattr(postgis, "_geometries", broken)
    with pytest.raises(RuntimeError):
        to_postgis(grid, engine, "weir", schema)

    assert len(_read(engine, schema, "stations")) == 5
    assert len(_read(engine, schema, "ellipses")) == 14


@real
def test_two_writers_at_once_wait_for_one_another(schema, grid, engine):
    from concurrent.futures import ThreadPoolExecutor

    import sqlalchemy

    def put(name):
        mine = sqlalchemy.create_engine(DATABASE)
        try:
            to_postgis(grid, mine, name, schema)
        finally:
            mine.dispose()

    # Into a schema that is not there yet, each name twice: tables are made once, and no survey stands twice.
    names = ["weir", "mill", "lock", "weir", "mill", "lock"]
    with ThreadPoolExecutor(6) as pool:
        list(pool.map(put, names))

    counts = _read(engine, schema, "stations")["survey"].value_counts().to_dict()
    assert counts == {"weir": 5, "mill": 5, "lock": 5}


@real
def test_an_address_is_as_good_as_an_engine(engine, schema, grid):
    grid.to_postgis(DATABASE.replace("+psycopg", ""), name="weir", schema=schema)

    assert len(_read(engine, schema, "stations")) == 5


@real
def test_a_frame_of_its_own_is_stored_without_a_crs(engine, schema, local):
    to_postgis(local, engine, "weir", schema)

    assert _one(engine, f"SELECT DISTINCT ST_SRID(geom) FROM {schema}.stations") == 0


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
