"""The layers as GeoDataFrames, and in the formats that are written only when asked for."""

from __future__ import annotations

import json
import sqlite3
import struct
from dataclasses import replace
from xml.etree import ElementTree

import fiona
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from builders import weir_survey as records
from builders.altered import with_stages
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod

from pegline.errors import UsageError
from pegline.writers.gis import geojson, geoparquet, gpkg, shp, sld
from pegline.writers.gis import layers as gis
from pegline.writers.gis.columns import RESERVED, safe_name
from pegline.writers.gis.dataframes import layers
from pegline.writers.gis.reprojection import OtherCRS

NAMES = [layer.name for layer in gis.GIS_LAYERS]
MILLIMETRE = 1e-3


def test_frames_have_the_names_and_crs_of_the_geopackage(local, grid):
    assert list(layers(local)) == NAMES
    assert all(frame.crs.is_engineering for frame in layers(local).values())
    assert all(frame.crs == CRS("EPSG:32630") for frame in layers(grid).values())


def test_columns_have_the_types_that_pandas_users_expect(local):
    found = layers(local)["detail_points"]

    assert pd.api.types.is_string_dtype(found["name"])
    assert found["sd_x"].dtype == "float64"
    assert found["girth"].dtype == "float64"
    assert found["checked"].dtype == "boolean"
    assert layers(local)["witnesses"].geometry.isna().sum() == 1


def test_frames_hold_what_the_geopackage_holds(tmp_path, grid):
    gpkg.write(grid, tmp_path / "weir.gpkg")

    for name, frame in layers(grid).items():
        read = pyogrio.read_dataframe(tmp_path / "weir.gpkg", layer=name)
        assert list(frame.columns) == list(read.columns)
        assert frame.geometry.geom_equals_exact(read.geometry, 0.0).where(frame.geometry.notna(), True).all()
        for column in frame.columns.drop("geometry"):
            ours, theirs = frame[column].astype(object), read[column].astype(object)
            assert (ours.isna() == theirs.isna()).all()
            assert ours.dropna().tolist() == theirs.dropna().tolist()


@given(st.lists(st.text(min_size=1), unique=True, max_size=8))
def test_column_names_are_safe_and_no_two_the_same(keys):
    taken = []
    for key in keys:
        taken.append(safe_name(key, taken))

    assert len(set(taken)) == len(keys)
    for name in taken:
        assert name.isascii()
        assert name.islower()
        assert name[0].isalpha()
        assert len(name) <= 30
        assert name not in RESERVED


# GeoJSON -------------------------------------------------------------------------------------------


def test_geojson_is_in_longitude_and_latitude(tmp_path, grid):
    geojson.write(grid, tmp_path / "weir.geojson")
    read = json.loads((tmp_path / "weir.geojson").read_text(encoding="utf-8"))
    stations = {
        each["properties"]["name"]: each["geometry"]["coordinates"]
        for each in read["features"]
        if each["properties"]["layer"] == "stations"
    }

    assert read["type"] == "FeatureCollection"
    assert "crs" not in read
    # A-C is √(22² + 24²) m in the frame; here the grid is 0.9996 or so of the ellipsoid at the zone's middle.
    _, _, length = Geod(ellps="WGS84").inv(*stations["A"], *stations["C"])
    assert length == pytest.approx(np.hypot(22, 24) / 0.9996, abs=MILLIMETRE)


def test_accuracies_in_geojson_are_those_of_a_package_in_degrees(tmp_path):
    # Krovak's grid is turned by several degrees here, and its datum is known to a metre.
    crs = CRS("EPSG:5514")
    survey = records.on_grid(wkt=crs.to_wkt(), crs_name=crs.name, origin=(-705_000.0, -1_080_000.0))
    geojson.write(survey, tmp_path / "weir.geojson")
    read = pyogrio.read_dataframe(tmp_path / "weir.geojson")
    told = layers(survey, OtherCRS("EPSG:4326", 5.0))

    for name in ("stations", "detail_points"):
        theirs = read[read["layer"] == name]
        for column in ("sd_x", "sd_y", "ellipse_a", "ellipse_b", "ellipse_bearing"):
            assert theirs[column].tolist() == pytest.approx(told[name][column].tolist())
        assert (theirs["sd_x"] >= 1.0).all()


def test_geojson_is_read_by_gdal(tmp_path, grid):
    geojson.write(grid, tmp_path / "weir.geojson")
    read = pyogrio.read_dataframe(tmp_path / "weir.geojson")

    assert read.crs == CRS("EPSG:4326")
    assert read["layer"].value_counts().to_dict() == {
        name: len(frame) for name, frame in layers(grid).items() if len(frame)
    }
    back = read[read["layer"] == "detail_areas"].to_crs("EPSG:32630").geometry.iloc[0]
    assert back.area == pytest.approx(111.831 / 2, abs=MILLIMETRE)
    assert shapely.is_ccw(read[read["layer"] == "detail_areas"].geometry.iloc[0].exterior)


def test_geojson_is_refused_where_there_is_no_grid(tmp_path, local):
    with pytest.raises(UsageError, match=r"this one has no control; book two stations under 'control', or take gpkg"):
        geojson.write(local, tmp_path / "weir.geojson")


def test_geojson_is_refused_where_the_way_to_wgs_84_is_a_guess(tmp_path):
    # Hong Kong 1963 has no way to WGS 84 in EPSG's register but through Hong Kong 1963(67).
    crs = CRS("EPSG:3366")
    far = records.on_grid(wkt=crs.to_wkt(), crs_name=crs.name, origin=(40_000.0, 20_000.0))

    with pytest.raises(UsageError, match="take gpkg"):
        geojson.write(far, tmp_path / "weir.geojson")


# Shapefiles ----------------------------------------------------------------------------------------


def test_shapefiles_are_read_back(tmp_path, grid):
    shp.write(grid, tmp_path / "weir.shp")

    for name, frame in layers(grid).items():
        with fiona.open(tmp_path / f"weir_{name}.shp") as file:
            assert len(file) == len(frame)
            assert all(len(column) <= 10 for column in file.schema["properties"])
        read = pyogrio.read_dataframe(tmp_path / f"weir_{name}.shp")
        assert read.crs.to_epsg() == 32630
        # The format runs outer rings clockwise.
        same = read.geometry.normalize().geom_equals_exact(frame.geometry.normalize(), 1e-9)
        assert same.where(frame.geometry.notna(), True).all()
    points = pyogrio.read_dataframe(tmp_path / "weir_detail_points.shp").set_index("name")
    assert points["spread"]["apple"] == 5.5
    assert np.isnan(points["spread"]["h1"])
    assert points["checked"]["h1"] == "no"  # nothing is said of what checks it
    pegs = pyogrio.read_dataframe(tmp_path / "weir_stations.shp").set_index("name")
    assert (pegs["checked"]["A"], pegs["unnoticed"]["A"]) == ("yes", 0.05)


def test_what_a_shapefile_cannot_hold_is_told(tmp_path, local):
    feature = replace(local.book.features["lane"], note="ø" * 200)
    shapes = {**local.detail.shapes, "lane": replace(local.detail.shapes["lane"], booked=feature)}
    long = with_stages(local, detail=replace(local.detail, shapes=shapes))
    shp.write(long, tmp_path / "weir.shp")
    told = (tmp_path / "weir_shp.txt").read_text(encoding="utf-8")

    assert "stations: ellipse_bearing is ellipse_be" in told
    assert "detail_lines: texts in note are cut off" in told
    with fiona.open(tmp_path / "weir_detail_lines.shp") as file:
        assert next(iter(file)).properties["note"] == "ø" * 127


def test_shapefiles_bear_the_day_of_the_book(tmp_path, local):
    shp.write(local, tmp_path / "one.shp")
    shp.write(local, tmp_path / "two.shp")

    # dBASE: the three bytes after the first are year - 1900, month, day.
    head = (tmp_path / "one_stations.dbf").read_bytes()[:4]
    assert struct.unpack("4B", head)[1:] == (126, 4, 18)
    for one in tmp_path.glob("one_*.[sd]*"):
        assert one.read_bytes() == one.with_name(one.name.replace("one", "two")).read_bytes()


# GeoParquet ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("survey", [records.survey, records.on_grid])
def test_geoparquet_is_read_back_with_its_crs(tmp_path, survey):
    parquet = pytest.importorskip("pyarrow.parquet")
    survey = survey()
    geoparquet.write(survey, tmp_path / "weir.parquet")

    for name, frame in layers(survey).items():
        table = parquet.read_table(tmp_path / f"weir_{name}.parquet")
        told = json.loads(table.schema.metadata[b"geo"])
        assert told["version"] == "1.1.0"
        assert CRS.from_json_dict(told["columns"]["geometry"]["crs"]) == frame.crs
        read = shapely.from_wkb(table["geometry"].to_pylist())
        assert list(read) == list(frame.geometry)
        assert table["name"].to_pylist() == frame["name"].tolist()


# The reader leaves its files to the collector of what is no longer used.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_geoparquet_is_read_by_another_reader(tmp_path, grid):
    # fastparquet shares no code with the library that writes.
    fastparquet = pytest.importorskip("fastparquet")
    geoparquet.write(grid, tmp_path / "weir.parquet")

    for name, frame in layers(grid).items():
        file = fastparquet.ParquetFile(tmp_path / f"weir_{name}.parquet")
        told = json.loads(file.key_value_metadata["geo"])
        assert CRS.from_json_dict(told["columns"]["geometry"]["crs"]) == CRS("EPSG:32630")
        read = file.to_pandas()
        assert list(shapely.from_wkb(read["geometry"].to_numpy(object))) == list(frame.geometry)
        for column in frame.columns.drop("geometry"):
            ours, theirs = frame[column].astype(object), read[column].astype(object)
            assert (ours.isna() == theirs.isna()).all()
            assert ours.dropna().tolist() == theirs.dropna().tolist()


def test_geoparquet_says_which_extra_it_needs(tmp_path, local, monkeypatch):
    monkeypatch.setattr(geoparquet, "find_spec", lambda name: None)

    with pytest.raises(UsageError, match=r"pip install 'pegline\[geoparquet\]'"):
        geoparquet.write(local, tmp_path / "weir.parquet")


# Styles --------------------------------------------------------------------------------------------

SPACES = {
    "sld": "http://www.opengis.net/sld",
    "se": "http://www.opengis.net/se",
    "ogc": "http://www.opengis.net/ogc",
}


def test_every_layer_has_a_style_by_its_name(tmp_path, local):
    sld.write(local, tmp_path / "weir.sld")

    for layer in gis.GIS_LAYERS:
        root = ElementTree.parse(tmp_path / f"weir_{layer.name}.sld").getroot()
        assert root.tag == f"{{{SPACES['sld']}}}StyledLayerDescriptor"
        assert root.get("version") == "1.1.0"
        assert root.findtext("sld:NamedLayer/se:Name", namespaces=SPACES) == layer.name
        symbolizer = {"Point": "Point", "LineString": "Line", "Polygon": "Polygon"}[layer.shape]
        rules = root.findall(".//se:Rule", SPACES)
        assert rules
        assert all(rule.find(f"se:{symbolizer}Symbolizer", SPACES) is not None for rule in rules)


def test_every_kind_of_the_survey_has_a_rule(tmp_path, local):
    sld.write(local, tmp_path / "weir.sld")

    found = []
    for layer in ("detail_points", "detail_lines", "detail_areas"):
        root = ElementTree.parse(tmp_path / f"weir_{layer}.sld").getroot()
        found += [each.text for each in root.findall(".//ogc:Literal", SPACES)]
        filters = root.findall(".//ogc:Filter", SPACES)
        names = {each.text for one in filters for each in one.iter(f"{{{SPACES['ogc']}}}PropertyName")}
        assert names <= {"kind", "label"}
    assert sorted(set(found)) == ["building", "road edge", "shrub", "tree"]


def test_features_and_stations_are_labelled_and_what_does_not_plot_is_pale(tmp_path, local):
    apple = local.detail.shapes["apple"]
    labelled = replace(apple, booked=replace(apple.booked, label="Bramley"))
    shapes = {**local.detail.shapes, "apple": labelled, "pear": replace(apple, name="pear", points=("lane.1",))}
    local = with_stages(local, detail=replace(local.detail, shapes=shapes))
    sld.write(local, tmp_path / "weir.sld")

    def texts(layer):
        root = ElementTree.parse(tmp_path / f"weir_{layer}.sld").getroot()
        return [each.text for each in root.findall(".//se:TextSymbolizer/se:Label/ogc:PropertyName", SPACES)]

    def opacities(layer):
        root = ElementTree.parse(tmp_path / f"weir_{layer}.sld").getroot()
        return {
            each.text for each in root.iter(f"{{{SPACES['se']}}}SvgParameter") if each.get("name") == "stroke-opacity"
        }

    assert texts("stations") == ["name", "name"]
    # What has no label of its own goes by its name, as on the plan.
    assert texts("detail_areas") == texts("detail_lines") == ["label"]
    assert set(texts("detail_points")) == {"label"}
    told = {
        name: frame.set_index("name")["label"].dropna().to_dict()
        for name, frame in layers(local).items()
        if "label" in frame
    }
    assert told["detail_points"]["apple"] == "Bramley"
    assert told["detail_points"]["lane.1"] == "pear"
    assert "h1" not in told["detail_points"]  # a corner
    assert told["detail_areas"] == {"cottage": "cottage"}
    assert opacities("ellipses") == opacities("offsets") == opacities("chain_lines") == {"0.4"}
    assert opacities("detail_areas") == set()


def test_styles_travel_inside_the_geopackage(tmp_path, local):
    gpkg.write(local, tmp_path / "weir.gpkg")
    sld.write(local, tmp_path / "weir.sld")

    database = sqlite3.connect(tmp_path / "weir.gpkg")
    rows = database.execute(
        "SELECT f_table_name, f_geometry_column, styleSLD, useAsDefault FROM layer_styles"
    ).fetchall()
    order = [name for (name,) in database.execute("SELECT table_name FROM gpkg_contents WHERE data_type = 'features'")]
    database.close()
    assert {name: text for name, _, text, _ in rows} == {
        layer.name: (tmp_path / f"weir_{layer.name}.sld").read_text("utf-8") for layer in gis.GIS_LAYERS
    }
    assert {(column, default) for _, column, _, default in rows} == {("geom", 1)}
    # Areas below lines below points.
    forms = {layer.name: layer.shape for layer in gis.GIS_LAYERS}
    assert [forms[name] for name in order] == sorted((forms[name] for name in order), key=gpkg.FORMS_FROM_BELOW.index)


def test_the_style_for_qgis_has_the_rules_of_the_other(tmp_path, local):
    gpkg.write(local, tmp_path / "weir.gpkg")
    with sqlite3.connect(tmp_path / "weir.gpkg") as database:
        rows = database.execute("SELECT f_table_name, styleSLD, styleQML FROM layer_styles").fetchall()
    database.close()

    assert len(rows) == len(gis.GIS_LAYERS)
    for _, sld_text, qml_text in rows:
        theirs = ElementTree.fromstring(qml_text)
        titles = [rule.findtext("se:Name", namespaces=SPACES) for rule in ElementTree.fromstring(sld_text).iter(RULE)]
        assert [rule.get("label") for rule in theirs.iter("rule")] == titles
        symbols = {symbol.get("name") for symbol in theirs.iter("symbol")}
        assert {rule.get("symbol") for rule in theirs.iter("rule")} == symbols


RULE = "{http://www.opengis.net/se}Rule"


def test_a_rule_has_its_parts_in_the_order_of_the_standard(tmp_path, local):
    # OGC 05-077r4, 10: Name, Description, Filter or ElseFilter, then symbolizers.
    sld.write(local, tmp_path / "weir.sld")

    for path in tmp_path.glob("*.sld"):
        for rule in ElementTree.parse(path).getroot().findall(".//se:Rule", SPACES):
            tags = [each.tag.split("}")[1] for each in rule]
            assert tags[:2] == ["Name", "Description"]
            assert tags[2] in ("Filter", "ElseFilter")
            assert tags[3].endswith("Symbolizer")
