"""KML and FlatGeobuf: read back by two readers each; GeoJSON and the head of shapefiles say what they must."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from xml.etree import ElementTree

import fiona
import numpy as np
import pyogrio
import pytest
from builders import weir_survey as records
from builders.altered import with_stages
from builders.paths import SAMPLES
from pyproj import Transformer

import pegline
from pegline.errors import UnsuitableError
from pegline.network.confidence import confidence_radii
from pegline.writers.gis import fgb, geojson, kml, shp
from pegline.writers.gis.dataframes import layers
from pegline.writers.gis.reprojection import OtherCRS

KML = {"kml": "http://www.opengis.net/kml/2.2"}
TO_EARTH = Transformer.from_crs(32630, 4326, always_xy=True)


@pytest.fixture
def marks(tmp_path, grid):
    """Return the placemarks of the survey by their names, read as plain XML."""
    kml.write(grid, tmp_path / "weir.kml")
    root = ElementTree.parse(tmp_path / "weir.kml").getroot()
    return {each.findtext("kml:name", namespaces=KML): each for each in root.iter(f"{{{KML['kml']}}}Placemark")}


def test_kml_holds_things_where_they_are(marks, grid):
    cottage = marks["cottage"].findtext(".//kml:coordinates", namespaces=KML)
    drawn = layers(grid)["detail_areas"].set_index("name").geometry["cottage"]

    found = np.array([tuple(map(float, pair.split(","))) for pair in cottage.split()])
    expected = np.stack(TO_EARTH.transform(*np.array(drawn.exterior.coords).T), -1)
    np.testing.assert_allclose(found, expected, atol=1e-9)
    # Corners of the cottage are no things of their own; the shrub and the tree are.
    assert "h1" not in marks
    assert {"apple", "bay", "lane", "cottage", "A"} <= marks.keys()


def test_a_balloon_tells_how_well_a_thing_is_known_first(marks, grid):
    text = marks["cottage"].findtext("kml:description", namespaces=KML)
    points = grid.detail.points
    corners = [points.index[name] for name in grid.detail.shapes["cottage"].points]

    weakest = confidence_radii(points.variances[corners]).max()
    assert text.startswith(f"<table><tr><td>on the grid within (95 %)</td><td>{weakest:.2f} m</td></tr>")
    assert "area on the ground" in text


def test_a_circle_is_known_as_well_as_its_middle_and_a_copy_as_its_original(tmp_path):
    survey = pegline.reduce(pegline.read(SAMPLES / "estate.yaml"))
    points = survey.detail.points
    kml.write(survey, tmp_path / "estate.kml")
    root = ElementTree.parse(tmp_path / "estate.kml").getroot()
    told = {
        each.findtext("kml:name", namespaces=KML): each.findtext("kml:description", namespaces=KML)
        for each in root.iter(f"{{{KML['kml']}}}Placemark")
    }

    middle = survey.detail.shapes["draw well"].booked.geometry.centre
    within = confidence_radii(points.variances[[points.index[middle]]])[0]
    assert told["draw well"].startswith(f"<table><tr><td>on the grid within (95 %)</td><td>{within:.2f} m</td></tr>")
    # No check reaches the middle, so none reaches the circle; a copy is as its original.
    areas, lines = (layers(survey)[name].set_index("name")["checked"] for name in ("detail_areas", "detail_lines"))
    assert not survey.solved.unnoticed.is_checked(middle)
    assert not areas["draw well"]
    original = survey.detail.shapes["lane far edge"].booked.geometry.to
    assert lines["lane far edge"] == lines[original]
    assert told["lane far edge"].split("</tr>")[0] == told[original].split("</tr>")[0]


def test_gdal_reads_the_kml_too(tmp_path, grid):
    kml.write(grid, tmp_path / "weir.kml")

    names = {name for name, _ in pyogrio.list_layers(tmp_path / "weir.kml")}
    areas = pyogrio.read_dataframe(tmp_path / "weir.kml", layer="Areas")
    assert {"Areas", "Lines", "Points", "Pegs"} <= names
    assert areas.crs.to_epsg() == 4326
    assert areas["Name"].tolist() == ["cottage"]
    assert areas.geometry[0].is_valid


def test_the_document_says_how_well_the_plan_lies_on_the_earth(tmp_path, grid):
    kml.write(grid, tmp_path / "weir.kml")
    root = ElementTree.parse(tmp_path / "weir.kml").getroot()

    about = root.findtext("kml:Document/kml:description", namespaces=KML)
    assert "lies on the grid within" in about
    assert "WGS 84 itself is known to about 2 m" in about
    assert "not a boundary survey" in about


def test_hostile_names_are_only_names_in_kml(tmp_path, grid):
    name = "a<b>&\x07]]>"
    shape = replace(grid.detail.shapes["apple"], booked=replace(grid.detail.shapes["apple"].booked, label=name))
    survey = with_stages(grid, detail=replace(grid.detail, shapes={**grid.detail.shapes, "apple": shape}))
    kml.write(survey, tmp_path / "weir.kml")

    root = ElementTree.parse(tmp_path / "weir.kml").getroot()
    names = [each.text for each in root.iter(f"{{{KML['kml']}}}name")]
    assert "a<b>&\N{REPLACEMENT CHARACTER}]]>" in names


def test_a_survey_without_control_is_no_kml(tmp_path, local):
    with pytest.raises(UnsuitableError, match="KML is for surveys on a grid"):
        kml.write(local, tmp_path / "weir.kml")


@pytest.mark.parametrize("other", [None, OtherCRS("EPSG:4326")])
def test_flatgeobuf_is_read_back_by_two_readers(tmp_path, grid, other):
    fgb.write(grid, tmp_path / "weir.fgb", other)

    for name, frame in layers(grid, other).items():
        file = tmp_path / f"weir_{name}.fgb"
        read = pyogrio.read_dataframe(file)
        with fiona.open(file) as opened:  # another GDAL than pyogrio's
            assert opened.crs.to_epsg() == (4326 if other else 32630)
            assert sorted(each.properties["name"] for each in opened) == sorted(frame["name"])
        assert sorted(read["name"]) == sorted(frame["name"])
        ours = frame[frame.geometry.notna()].sort_values("name", kind="stable").geometry.normalize()
        theirs = read[read.geometry.notna()].sort_values("name", kind="stable").geometry.normalize()
        assert sorted(ours.to_wkb()) == sorted(theirs.to_wkb())


def test_flatgeobuf_keeps_a_frame_of_its_own(tmp_path, local):
    fgb.write(local, tmp_path / "weir.fgb")

    assert "Local survey grid" in pyogrio.read_info(tmp_path / "weir_stations.fgb")["crs"]


def test_geojson_of_wgs_84_itself_says_how_well_that_is_known(tmp_path, grid):
    geojson.write(grid, tmp_path / "weir.geojson")

    about = json.loads((tmp_path / "weir.geojson").read_text("utf-8"))["description"]
    assert "good to 0 m" not in about
    assert "WGS 84 itself is known to about 2 m" in about


def test_the_head_of_a_shapefile_of_an_old_book_bears_no_day_of_today(tmp_path, local):
    old = with_stages(local, book=replace(local.book, date=datetime.date(1887, 6, 2)))
    shp.write(old, tmp_path / "weir.shp")

    # Bytes 1 to 3 of a DBF: year less 1900, month, day (dBASE's own description of the format).
    assert (tmp_path / "weir_stations.dbf").read_bytes()[1:4] == bytes([0, 1, 1])
    assert records.survey().book.date.year == 2026
