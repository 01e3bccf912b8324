"""The GeoPackage: read by four readers, the same as the JSON, and described in its own extensions."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import fiona
import numpy as np
import pyogrio
import pytest
import shapely
from builders import weir_survey as records
from builders.altered import with_stages
from pyproj import CRS

from pegline.errors import OutputError
from pegline.writers import json as json_writer
from pegline.writers.gis import layers as gis
from pegline.writers.gis.geometries import Shapes
from pegline.writers.gis.gpkg import write, write_package
from pegline.writers.gis.metadata import iso_record
from pegline.writers.gis.package import package

NANOMETRE = 1e-9  # the contract's 1e-9 m
LAYERS = [layer.name for layer in gis.GIS_LAYERS]
VALIDATOR = Path("/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py")


@pytest.fixture
def path(tmp_path, local):
    write(local, tmp_path / "weir.gpkg")
    return tmp_path / "weir.gpkg"


@pytest.fixture
def database(path):
    opened = sqlite3.connect(path)
    yield opened
    opened.close()


def test_it_is_a_geopackage_of_version_1_3(database):
    # OGC 12-128r19, requirement 2: application id 'GPKG', user version 10300.
    assert database.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
    assert database.execute("PRAGMA user_version").fetchone() == (10300,)


def test_it_has_the_layers_and_tables_of_the_contract(database):
    told = database.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()

    assert {name for name, kind in told if kind == "features"} == {
        "stations", "chain_lines", "detail_points", "detail_lines", "detail_areas", "offsets", "witnesses", "ellipses",
    }  # fmt: skip
    assert {name for name, kind in told if kind == "attributes"} == {"checks", "warnings", "book", "layer_styles"}


def test_the_database_is_sound_and_one_plain_file(database, path):
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    assert database.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert [each.name for each in path.parent.iterdir()] == [path.name]


@pytest.mark.skipif(not VALIDATOR.exists(), reason="the validator comes with Debian's python3-gdal")
@pytest.mark.parametrize("survey", [records.survey, records.on_grid])
def test_gdals_validator_finds_no_fault(tmp_path, survey):
    write(survey(), tmp_path / "weir.gpkg")

    python = shutil.which("python3", path="/usr/bin")
    run = subprocess.run(
        [python, str(VALIDATOR), "--extra", str(tmp_path / "weir.gpkg")], capture_output=True, text=True, check=False
    )

    assert (run.returncode, run.stdout, run.stderr) == (0, "", "")


@pytest.mark.parametrize("survey", [records.survey, records.on_grid])
def test_counts_and_positions_are_those_of_the_json(tmp_path, survey):
    survey = survey()
    write(survey, tmp_path / "weir.gpkg")
    json_writer.write(survey, tmp_path / "weir.json")
    told = json.loads((tmp_path / "weir.json").read_text())

    for layer, table in (("stations", "stations"), ("detail_points", "points")):
        with fiona.open(tmp_path / "weir.gpkg", layer=layer) as file:
            read = {each.properties["name"]: each.geometry.coordinates for each in file}
        assert read.keys() == told[table].keys()
        for name, entry in told[table].items():
            assert read[name] == pytest.approx((entry["x"], entry["y"]), abs=NANOMETRE)
    with fiona.open(tmp_path / "weir.gpkg", layer="chain_lines") as file:
        assert len(file) == len(told["lines"])
    for layer, shape in (("detail_lines", "LineString"), ("detail_areas", "Polygon")):
        with fiona.open(tmp_path / "weir.gpkg", layer=layer) as file:
            for each in file:
                feature = told["features"][each.properties["name"]]
                assert each.geometry.type == shape
                read = np.array(each.geometry.coordinates).ravel()
                assert read == pytest.approx(np.ravel(feature["geometry"]["coordinates"]), abs=NANOMETRE)
                assert each.properties["kind"] == feature["kind"]


def test_every_layer_reads_the_same_by_another_gdal(path):
    for layer in LAYERS:
        with fiona.open(path, layer=layer) as file:
            count, columns = len(file), set(file.schema["properties"])
        meta, _, geometry, _ = pyogrio.raw.read(path, layer=layer)
        assert (len(geometry), set(meta["fields"])) == (count, columns)


def test_areas_and_lengths_come_back_from_the_geometry(tmp_path, grid):
    write(grid, tmp_path / "weir.gpkg")
    scale = grid.frame.scale

    area = pyogrio.read_dataframe(tmp_path / "weir.gpkg", layer="detail_areas").set_index("name")
    line = pyogrio.read_dataframe(tmp_path / "weir.gpkg", layer="chain_lines").set_index("name")

    # By hand, twice the area by the shoelace formula: -26.9885 + 108.302 + 83.155 - 52.6375 = 111.831 m² in the frame.
    assert area.geometry["cottage"].area == pytest.approx(111.831 / 2, abs=1e-6)
    assert line.geometry["A-B"].length / scale == pytest.approx(line["length"]["A-B"], abs=NANOMETRE)


def test_a_local_frame_is_a_named_engineering_crs(path):
    frame = pyogrio.read_dataframe(path, layer="stations")

    assert frame.crs.name == "Local survey grid: Weir cottage"
    assert frame.crs.is_engineering
    assert frame.crs.axis_info[0].unit_name == "metre"


def test_a_grid_is_stored_as_wkt2(tmp_path, grid):
    write(grid, tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    query = "SELECT definition_12_063 FROM gpkg_contents JOIN gpkg_spatial_ref_sys USING (srs_id) WHERE table_name = ?"
    ((wkt,),) = database.execute(query, ("stations",)).fetchall()
    database.close()

    assert CRS(wkt).equals(CRS("EPSG:32630"))


def test_coordinates_are_in_the_unit_of_the_crs(tmp_path):
    foot = 0.3048  # exact, international foot
    survey = records.on_grid(metres_per_unit=foot)
    write(survey, tmp_path / "weir.gpkg")

    with fiona.open(tmp_path / "weir.gpkg", layer="stations") as file:
        first = next(iter(file))

    assert first.geometry.coordinates == pytest.approx((512_340.25 / foot, 5_712_806.4 / foot), abs=NANOMETRE)
    assert first.properties["sd_x"] == 0.0


def test_every_column_is_described_and_every_value_is_listed(database):
    described = set(database.execute("SELECT table_name, column_name FROM gpkg_data_columns"))
    listed = database.execute("SELECT constraint_name, value FROM gpkg_data_column_constraints").fetchall()
    asks = database.execute(
        "SELECT table_name, column_name, constraint_name FROM gpkg_data_columns WHERE constraint_name IS NOT NULL"
    ).fetchall()

    for table in [*LAYERS, "checks", "warnings", "book"]:
        columns = {name for _, name, *_ in database.execute(f"PRAGMA table_info({table})")} - {"fid", "id", "geom"}
        assert {(table, name) for name in columns} <= described
    assert {"kind", "use", "method"} <= {name for _, _, name in asks}
    for table, column, constraint in asks:
        used = {value for (value,) in database.execute(f"SELECT DISTINCT {column} FROM {table}") if value is not None}
        assert used <= {value for name, value in listed if name == constraint}


def test_kinds_of_the_books_own_are_listed_too(tmp_path, local):
    from pegline.book.model import OwnKind

    book = replace(local.book, kinds={"beehive": OwnKind("beehive", "point", records.place(1))})
    write(with_stages(local, book=book), tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    query = "SELECT value FROM gpkg_data_column_constraints WHERE constraint_name = 'kind'"
    assert ("beehive",) in database.execute(query).fetchall()
    database.close()


def test_the_features_own_columns_have_names_that_programs_keep(path):
    with fiona.open(path, layer="detail_points") as file:
        bay = next(each.properties for each in file if each.properties["name"] == "bay")
        apple = next(each.properties for each in file if each.properties["name"] == "apple")

    # 'order' is a word of SQL's, and 'kind' is a column already.
    assert (bay["planted_in"], bay["data_order"], bay["kind_2"]) == (1987, 2, "laurel")
    assert (apple["girth"], apple["spread"], apple["planted_in"]) == (0.95, 5.5, None)


def test_column_names_are_plain_ascii(database):
    for table in LAYERS:
        for _, name, *_ in database.execute(f"PRAGMA table_info({table})"):
            assert name.isascii()
            assert name == name.lower()
            assert name not in gpkg_reserved()


def gpkg_reserved():
    from pegline.writers.gis.columns import RESERVED

    return RESERVED - {"fid", "geom"}


def test_what_is_not_known_is_null(database):
    query = "SELECT line, at, off, method, girth FROM detail_points WHERE name = 'bay'"
    assert database.execute(query).fetchone() == (None,) * 5
    # An oblique point has two chainages, which stand in its offsets; it has none of its own.
    assert database.execute("SELECT at, off FROM detail_points WHERE name = 'apple'").fetchone() == (None, None)
    assert database.execute("SELECT at, off FROM offsets WHERE name = 'apple' ORDER BY at").fetchall() == [
        (20.0, -11.42),
        (30.0, -9.87),
    ]


def test_every_row_says_what_the_checks_reach(tmp_path, local):
    # T is within the limit of 0.3 m, C beyond it; of the cottage's corners h4 may be anywhere, those of the lane not.
    reached = {"A": 0.0, "B": 0.02, "T": 0.05, "C": 0.4, "D": 0.05, "h1": 0.1, "h2": 0.1, "h3": 0.1}
    reached |= {"lane.1": 0.06, "lane.2": 0.25, "lane.3": 0.07}
    survey = with_stages(local, unnoticed=replace(local.solved.unnoticed, movements=reached))
    write(survey, tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    told = {
        (layer, name): (checked, unnoticed)
        for layer in LAYERS
        for name, checked, unnoticed in database.execute(f"SELECT name, checked, unnoticed FROM {layer}")
    }
    database.close()
    assert told["stations", "T"] == (1, 0.05)
    assert told["stations", "C"] == (0, 0.4)
    assert told["chain_lines", "A-B"] == (1, 0.02)
    assert told["chain_lines", "A-C"] == (0, 0.4)
    assert told["detail_points", "h1"] == (1, 0.1)
    assert told["detail_points", "h4"] == (0, None)
    assert told["detail_lines", "lane"] == (1, 0.25)
    assert told["detail_areas", "cottage"] == (0, None)
    assert told["offsets", "h1"] == (1, 0.1)
    assert told["ellipses", "C"] == (0, 0.4)


def test_a_flat_figure_s_points_are_not_reliable(tmp_path, local):
    adjustment = replace(local.adjustment, unreliable=("C",))
    write(with_stages(local, adjustment=adjustment), tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    assert dict(database.execute("SELECT name, reliable FROM stations")) == {"A": 1, "B": 1, "T": 1, "C": 0, "D": 1}
    assert dict(database.execute("SELECT name, reliable FROM chain_lines"))["A-C"] == 0
    database.close()


def test_columns_that_nobody_filled_are_left_out_of_details(tmp_path, local):
    write(local, tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    columns = {layer: {name for _, name, *_ in database.execute(f"PRAGMA table_info({layer})")} for layer in LAYERS}
    described = set(database.execute("SELECT table_name, column_name FROM gpkg_data_columns"))
    for layer in ("detail_points", "detail_lines", "detail_areas"):
        for column in columns[layer] - {"fid", "geom", "unnoticed", "reliable"}:
            (filled,) = database.execute(f"SELECT count({column}) FROM {layer}").fetchone()
            assert filled, (layer, column)
            assert (layer, column) in described
    database.close()
    assert "thickness" not in columns["detail_areas"]
    assert {"girth", "spread"} <= columns["detail_points"]


def test_a_witness_that_was_not_surveyed_has_no_line(path):
    with fiona.open(path, layer="witnesses") as file:
        found = {each.properties["object"]: each.geometry for each in file}

    assert found["gate post"] is None
    assert found["h1"].coordinates == [(8.2, 3.15), (0.0, 0.0)]


def test_spatial_indexes_hold_every_geometry(database):
    for layer in LAYERS:
        (shapes,) = database.execute(f"SELECT count(geom) FROM {layer}").fetchone()
        (indexed,) = database.execute(f"SELECT count(*) FROM rtree_{layer}_geom").fetchone()
        assert indexed == shapes
        assert database.execute("SELECT rtreecheck(?)", [f"rtree_{layer}_geom"]).fetchone() == ("ok",)


def test_details_are_related_to_the_line_and_row_that_gave_them(database):
    query = """
        SELECT c.name, d.name, m.source FROM chain_lines_detail_points m
        JOIN chain_lines c ON c.fid = m.base_id JOIN detail_points d ON d.fid = m.related_id
    """
    found = set(database.execute(query))

    assert ("A-B", "h1", "26:9") in found
    assert {name for _, name, _ in found} == {"h1", "h2", "apple", "lane.1", "lane.2", "lane.3"}
    joined = database.execute("SELECT base_table_name, related_table_name, relation_name FROM gpkgext_relations")
    assert set(joined) == {("chain_lines", "detail_points", "features"), ("offsets", "detail_points", "features")}


def test_offsets_are_related_to_their_points(database):
    query = """
        SELECT o.name, d.name FROM offsets_detail_points m
        JOIN offsets o ON o.fid = m.base_id JOIN detail_points d ON d.fid = m.related_id
    """
    found = database.execute(query).fetchall()

    assert len(found) == 7
    assert all(one == other for one, other in found)


def test_every_extension_is_registered(database):
    used = {name for (name,) in database.execute("SELECT extension_name FROM gpkg_extensions")}

    assert {"gpkg_schema", "gpkg_metadata", "gpkg_related_tables", "gpkg_rtree_index", "gpkg_crs_wkt"} <= used


def test_the_metadata_is_an_iso_record_of_the_survey(database):
    ((uri, mime, text),) = database.execute("SELECT md_standard_uri, mime_type, metadata FROM gpkg_metadata").fetchall()
    spaces = {"gmd": "http://www.isotc211.org/2005/gmd", "gco": "http://www.isotc211.org/2005/gco"}
    root = ElementTree.fromstring(text)

    assert (uri, mime) == (spaces["gmd"], "text/xml")
    words = " ".join(root.itertext())
    assert root.findtext(".//gmd:title/gco:CharacterString", namespaces=spaces) == "Weir cottage & its <garden>"
    assert root.findtext(".//gmd:CI_Date/gmd:date/gco:Date", namespaces=spaces) == "2026-04-18"
    for told in ("2 in the party", "CC BY 4.0", "tapes: steel (steel), linen (linen)", "boundary survey"):
        assert told in words
    # Relative accuracy as relative, and none that is absolute: this survey is on no grid. The weakest of the points
    # has variances of 0.0285² and 0.0225², somewhat correlated: between 1.96 and 2.45 times 0.0285.
    assert root.find(".//gmd:DQ_AbsoluteExternalPositionalAccuracy", spaces) is None
    relative = root.find(".//gmd:DQ_RelativeInternalPositionalAccuracy", spaces)
    assert "relative to the base line" in relative.findtext(
        ".//gmd:nameOfMeasure/gco:CharacterString", namespaces=spaces
    )
    assert 1.96 * 0.0285 < float(relative.findtext(".//gco:Record", namespaces=spaces)) < 2.45 * 0.0285
    assert root.findtext(".//gmd:MD_TopicCategoryCode", namespaces=spaces) == "location"
    assert root.find("gmd:hierarchyLevel/gmd:MD_ScopeCode", spaces).attrib["codeListValue"] == "dataset"
    assert root.find(".//gmd:EX_GeographicBoundingBox", spaces) is None


def test_the_metadata_of_a_survey_on_a_grid_tell_where_it_is_and_how_well(tmp_path):
    from pyproj import Transformer

    survey = records.on_grid()
    root = ElementTree.fromstring(iso_record(survey))
    spaces = {"gmd": "http://www.isotc211.org/2005/gmd", "gco": "http://www.isotc211.org/2005/gco"}
    box = root.find(".//gmd:EX_GeographicBoundingBox", spaces)

    west, east, south, north = (float(each.text) for each in box.iter(f"{{{spaces['gco']}}}Decimal"))
    longitude, latitude = Transformer.from_crs(32630, 4326, always_xy=True).transform(512_340.25, 5_712_806.4)
    assert west <= longitude <= east < west + 0.002
    assert south <= latitude <= north < south + 0.002
    absolute = root.find(".//gmd:DQ_AbsoluteExternalPositionalAccuracy", spaces)
    within = survey.solved.weakest_on_grid.radius
    assert float(absolute.findtext(".//gco:Record", namespaces=spaces)) == pytest.approx(within, abs=5e-5)


def test_the_tables_hold_checks_warnings_and_book(database):
    assert database.execute("SELECT what, kind, passed, source FROM checks").fetchall() == [("C-D", "line", 1, "37:9")]
    assert database.execute("SELECT rule, source FROM warnings").fetchall() == [
        ("no-bearing", None),
        ("long-oblique", "29:9"),
    ]
    book = dict(database.execute("SELECT key, value FROM book"))
    assert (book["title"], book["date"], book["checked"]) == (
        "Weir cottage & its <garden>",
        "2026-04-18",
        "checked",
    )


def test_the_same_survey_gives_the_same_bytes(tmp_path, local):
    write(local, tmp_path / "one.gpkg")
    write(records.survey(), tmp_path / "two.gpkg")

    assert (tmp_path / "one.gpkg").read_bytes() == (tmp_path / "two.gpkg").read_bytes()


def test_the_day_is_the_books_or_the_environments(tmp_path, local, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    write(local, tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    assert set(database.execute("SELECT last_change FROM gpkg_contents")) == {("1970-01-02T00:00:00.000Z",)}
    database.close()


def test_text_is_not_cut_at_a_nul(tmp_path, local):
    from pegline.book.model import Station

    stations = {**local.book.stations, "A": Station("A", records.place(16), mark="oak\0peg")}
    write(with_stages(local, book=replace(local.book, stations=stations)), tmp_path / "weir.gpkg")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    assert database.execute("SELECT mark FROM stations WHERE name = 'A'").fetchone() == ("oak\ufffdpeg",)
    database.close()


# Other programs ------------------------------------------------------------------------------------


@pytest.fixture
def large(tmp_path):
    """More points and lines than one node of an index takes, on a grid."""
    rng = np.random.default_rng(5)
    count = 4000
    first = package(records.on_grid())
    corners = rng.uniform((512_000.0, 5_712_000.0), (513_000.0, 5_713_000.0), (2 * count, 2))
    filled = []
    for layer in first.layers:
        if layer.name == "offsets":
            shapes = Shapes("LineString", corners, np.full(count, 2))
            values = {**{name: [None] * count for name in layer.values}, "name": [f"p{k}" for k in range(count)]}
            layer = replace(layer, shapes=shapes, values=values)
        filled.append(layer)
    write_package(replace(first, layers=tuple(filled), links=()), tmp_path / "large.gpkg")
    return tmp_path / "large.gpkg", corners.reshape(count, 2, 2)


def test_the_index_holds_the_bounds_rounded_outward(path, large):
    for file, layers in ((path, LAYERS), (large[0], ["offsets"])):
        database = sqlite3.connect(file)
        for layer in layers:
            indexed = database.execute(f"SELECT * FROM rtree_{layer}_geom ORDER BY id").fetchall()
            frame = pyogrio.read_dataframe(file, layer=layer, fid_as_index=True)
            bounds = frame.geometry[frame.geometry.notna()].bounds
            assert [number for number, *_ in indexed] == bounds.index.tolist()
            if indexed:
                kept = np.array(indexed)[:, [1, 3, 2, 4]]
                # Single precision has steps of 2⁻²³ of a number at most, and SQLite widens a bound that it cut short
                # by as much again (rtreeValueDown and rtreeValueUp in its ext/rtree/rtree.c).
                step = np.abs(bounds.to_numpy()) * 2.0**-22 + 1e-30
                assert (kept[:, :2] <= bounds.to_numpy()[:, :2]).all()
                assert (kept[:, 2:] >= bounds.to_numpy()[:, 2:]).all()
                assert (np.abs(kept - bounds.to_numpy()) <= step).all()
            assert database.execute("SELECT rtreecheck(?)", (f"rtree_{layer}_geom",)).fetchone() == ("ok",)
        database.close()


def test_gdal_finds_by_place_what_lies_there(large):
    path, ends = large
    window = (512_300.0, 5_712_300.0, 512_360.0, 5_712_360.0)

    with fiona.open(path, layer="offsets") as file:
        found = sorted(int(each.id) for each in file.filter(bbox=window))

    lines = shapely.linestrings(ends)
    assert found == (np.flatnonzero(shapely.intersects(lines, shapely.box(*window))) + 1).tolist()
    assert found


def test_gdal_adds_to_a_layer_and_its_index(path):
    with fiona.open(path, "a", layer="stations") as file:
        schema = file.schema
        properties = {**dict.fromkeys(schema["properties"]), "name": "new"}
        file.write({"geometry": {"type": "Point", "coordinates": (500.0, 600.0)}, "properties": properties})

    assert schema["geometry"] == "Point"
    with fiona.open(path, layer="stations") as file:
        assert len(file) == 6
        assert [each.properties["name"] for each in file.filter(bbox=(499, 599, 501, 601))] == ["new"]
    _sound(path, "stations", 6)


def test_another_gdal_adds_to_a_layer_and_its_index(path):
    more = pyogrio.read_dataframe(path, layer="detail_lines")
    pyogrio.write_dataframe(more.iloc[:1], path, layer="detail_lines", driver="GPKG", append=True)

    _sound(path, "detail_lines", len(more) + 1)


def test_sql_edits_a_layer_and_its_index_follows(path):
    database = sqlite3.connect(path, isolation_level=None)
    # What GeoPackage asks of a program that edits (OGC 12-128r15, annex F.3).
    database.create_function("ST_IsEmpty", 1, lambda blob: (blob[3] >> 4) & 1)
    for number, name in enumerate(("ST_MinX", "ST_MinY", "ST_MaxX", "ST_MaxY")):
        database.create_function(name, 1, lambda blob, k=number: shapely.from_wkb(blob[8:]).bounds[k])
    other = database.execute("SELECT geom FROM stations WHERE name = 'B'").fetchone()
    database.execute("UPDATE stations SET geom = ? WHERE name = 'A'", other)
    database.execute("INSERT INTO stations (geom, name) VALUES (?, 'new')", other)
    database.execute("DELETE FROM stations WHERE name = 'C'")
    database.execute("UPDATE stations SET geom = NULL WHERE name = 'D'")
    database.close()

    _sound(path, "stations", 5)
    with fiona.open(path, layer="stations") as file:
        x, y = next(each.geometry.coordinates for each in file if each.properties["name"] == "B")
        found = [each.properties["name"] for each in file.filter(bbox=(x - 0.1, y - 0.1, x + 0.1, y + 0.1))]
    assert sorted(found) == ["A", "B", "new"]


def _sound(path, layer, count):
    """Look whether a layer that was edited has so many rows by its own count, and its index is theirs."""
    database = sqlite3.connect(path)
    query = "SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = ?"
    assert database.execute(query, (layer,)).fetchone() in {(count,), (None,)}
    assert database.execute(f"SELECT count(*) FROM {layer}").fetchone() == (count,)
    (shapes,) = database.execute(f"SELECT count(geom) FROM {layer}").fetchone()
    assert database.execute(f"SELECT count(*) FROM rtree_{layer}_geom").fetchone() == (shapes,)
    assert database.execute("SELECT rtreecheck(?)", (f"rtree_{layer}_geom",)).fetchone() == ("ok",)
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    database.close()


def test_no_layer_is_too_small_to_be_told_of(tmp_path, local):
    empty = with_stages(local, detail=replace(local.detail, shapes={}))
    write(empty, tmp_path / "weir.gpkg")

    with fiona.open(tmp_path / "weir.gpkg", layer="detail_areas") as file:
        assert (len(file), file.schema["geometry"]) == (0, "Polygon")
    database = sqlite3.connect(tmp_path / "weir.gpkg")
    told = "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = 'detail_areas'"
    assert database.execute(told).fetchone() == (None,) * 4
    database.close()


def test_extents_are_those_of_the_geometries(path):
    database = sqlite3.connect(path)
    told = database.execute("SELECT table_name, min_x, min_y, max_x, max_y FROM gpkg_contents WHERE srs_id").fetchall()
    database.close()

    assert len(told) == len(LAYERS)
    for layer, *extent in told:
        assert extent == pyogrio.read_dataframe(path, layer=layer).total_bounds.tolist()


def test_a_folder_that_is_not_there_is_an_output_error(tmp_path, local):
    with pytest.raises(OutputError, match="cannot be written"):
        write(local, tmp_path / "none" / "weir.gpkg")


def test_the_epoch_of_a_dynamic_crs_stands_beside_its_definition(tmp_path):
    path = tmp_path / "moving.gpkg"
    write(records.on_grid(epoch=2026.3), path)

    database = sqlite3.connect(path)
    assert database.execute("SELECT srs_id, epoch FROM gpkg_spatial_ref_sys WHERE epoch NOT NULL").fetchall() == [
        (32630, 2026.3)
    ]
    assert database.execute("SELECT value FROM book WHERE key = 'epoch of the coordinates'").fetchone() == ("2026.3",)
    database.close()
    with fiona.open(path, layer="stations") as file:
        assert file.crs.to_epsg() == 32630
