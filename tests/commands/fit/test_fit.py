"""A drawing, a layer and a scanned plan in coordinates of their own, put onto the grid by points known in both."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import fiona
import numpy as np
import pytest
from builders.fitted import CORNERS, TRUTH, pairs, run

from pegline.frame.transformation import carry_points

MILLIMETRE = 1e-3


def drawing(folder: Path) -> Path:
    document = ezdxf.new("R2010", units=6)
    space = document.modelspace()
    space.add_line(CORNERS["gate"], CORNERS["well"], dxfattribs={"layer": "WALL"})
    space.add_arc((30, 20), 5, 0, 90)
    space.add_lwpolyline([(0, 0, 0, 0, 0.5), (60, 45, 0, 0, 0)])
    space.add_text("well", height=1).set_placement(CORNERS["well"])
    path = folder / "plot.dxf"
    document.saveas(path)
    return path


def layer(folder: Path) -> Path:
    path = folder / "plot.gpkg"
    schema = {"geometry": "LineString", "properties": {"name": "str"}}
    for name, points in (("walls", ["gate", "well", "oak"]), ("fences", ["oak", "stile"])):
        with fiona.open(path, "w", driver="GPKG", layer=name, schema=schema, crs_wkt="") as target:
            coordinates = [CORNERS[point] for point in points]
            geometry = {"type": "LineString", "coordinates": coordinates}
            target.write({"type": "Feature", "geometry": geometry, "properties": {"name": name}})
    return path


def test_a_drawing_comes_onto_the_grid_entity_by_entity(tmp_path: Path) -> None:
    out = tmp_path / "out" / "plot.dxf"
    assert run(drawing(tmp_path), pairs(tmp_path, CORNERS), "--out", out) == 0

    space = ezdxf.readfile(out).modelspace()
    line, arc, polyline = (space.query(kind).first for kind in ("LINE", "ARC", "LWPOLYLINE"))
    assert line.dxf.layer == "WALL"
    assert (line.dxf.end.x, line.dxf.end.y) == pytest.approx(carry_points(TRUTH, CORNERS["well"]), abs=MILLIMETRE)
    assert arc.dxf.radius == pytest.approx(5 * 1.0002)
    assert polyline.get_points()[0][4] == pytest.approx(0.5)
    assert "OSGB" in out.with_suffix(".prj").read_text()


@pytest.mark.parametrize(
    ("crs", "units"), [("EPSG:27700", 6), ("EPSG:2222", 2), ("EPSG:2229", 21), ("EPSG:29873", 6), ("EPSG:2314", 0)]
)
def test_a_drawing_says_in_which_unit_it_stands(tmp_path: Path, crs: str, units: int) -> None:
    # Arizona has international feet, California US survey feet, Trinidad links of Clarke's foot.
    points = pairs(tmp_path, CORNERS)
    points.write_text(points.read_text().replace("EPSG:27700", crs))

    assert run(drawing(tmp_path), points, "--out", tmp_path / "new.dxf") == 0
    assert ezdxf.readfile(tmp_path / "new.dxf").units == units


def test_layers_come_onto_the_grid_with_their_attributes_and_its_crs(tmp_path: Path) -> None:
    out = tmp_path / "new.gpkg"
    assert run(layer(tmp_path), pairs(tmp_path, CORNERS), "--out", out) == 0

    assert sorted(fiona.listlayers(out)) == ["fences", "walls"]
    with fiona.open(out, layer="walls") as walls:
        (record,) = walls
        assert record.properties["name"] == "walls"
        assert np.array(record.geometry.coordinates) == pytest.approx(
            carry_points(TRUTH, [CORNERS[name] for name in ("gate", "well", "oak")]), abs=MILLIMETRE
        )
        assert "British National Grid" in walls.crs_wkt


def test_geojson_is_written_in_degrees(tmp_path: Path) -> None:
    source = tmp_path / "plot.geojson"
    geometry = {"type": "Point", "coordinates": CORNERS["well"]}
    feature = {"type": "Feature", "properties": {"name": "well"}, "geometry": geometry}
    source.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    out = tmp_path / "new.geojson"

    assert run(source, pairs(tmp_path, CORNERS), "--out", out) == 0
    longitude, latitude = json.loads(out.read_text())["features"][0]["geometry"]["coordinates"]
    assert (longitude, latitude) == pytest.approx((-2.0, 52.6), abs=0.1)


def test_points_in_csv_are_as_good(tmp_path: Path) -> None:
    lines = ["name,x,y,easting,northing,accuracy"]
    for name, point in CORNERS.items():
        east, north = carry_points(TRUTH, point)
        lines.append(f"{name},{point[0]},{point[1]},{east:.4f},{north:.4f},0.02")
    points = tmp_path / "points.csv"
    points.write_text("\n".join(lines))

    assert run(drawing(tmp_path), points, "--out", tmp_path / "new.dxf", "--crs", "EPSG:27700") == 0


def test_a_wrong_pair_is_named_and_the_status_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points = pairs(tmp_path, CORNERS, {"oak": (1.0, 0.0)})

    assert run(drawing(tmp_path), points, "--out", tmp_path / "new.dxf") == 1
    said = capsys.readouterr()
    assert "oak does not fit: it is +1.000 east and +0.000 north" in said.err
    assert f"{points}:6:" in said.err
    assert (tmp_path / "new.dxf").exists()


def test_two_names_exchanged_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    exchanged = {**CORNERS, "oak": CORNERS["post"], "post": CORNERS["oak"]}

    assert run(drawing(tmp_path), pairs(tmp_path, exchanged), "--out", tmp_path / "new.dxf") == 1
    assert "oak and post look exchanged" in capsys.readouterr().err


def test_how_well_it_fits_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(drawing(tmp_path), pairs(tmp_path, CORNERS), "--out", tmp_path / "new.dxf")

    said = capsys.readouterr().out
    assert "similarity onto OSGB36 / British National Grid (EPSG:27700), 5 points; " in said
    assert "differences in the unit of the grid, metre" in said
    assert "scale 1.0002, turned 30.0000° clockwise" in said
    assert "6 redundant" in said


def test_what_lies_far_beyond_the_points_is_refused_unless_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    near = {name: CORNERS[name] for name in ("gate", "post")}
    words = (drawing(tmp_path), pairs(tmp_path, near), "--out", tmp_path / "new.dxf")

    assert run(*words) == 2
    assert "times as far beyond the points" in capsys.readouterr().err
    assert not (tmp_path / "new.dxf").exists()
    assert run(*words, "--beyond") == 0


@pytest.mark.parametrize(
    ("change", "status", "word"),
    [
        (("crs: EPSG:27700", ""), 2, "--crs"),
        (("crs: EPSG:27700", "crs: EPSG:4326"), 65, "no grid to draw on"),
        (("easting: 400000.0000", "easting: 400km"), 65, "is no number"),
        (("  gate: {x", "  gate: {why: 1, x"), 65, "why"),
        (("accuracy: 0.02", "kind: helmert"), 65, "similarity"),
        (("accuracy: 0.02", "kind: affin"), 65, "affine"),
    ],
)
def test_a_wrong_list_is_refused_at_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: tuple[str, str], status: int, word: str
) -> None:
    points = pairs(tmp_path, CORNERS)
    points.write_text(points.read_text().replace(*change))

    assert run(drawing(tmp_path), points, "--out", tmp_path / "new.dxf") == status
    assert word in capsys.readouterr().err
    assert not (tmp_path / "new.dxf").exists()


def test_too_few_points_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    two = {name: CORNERS[name] for name in ("gate", "oak")}

    assert run(drawing(tmp_path), pairs(tmp_path, two, kind="affine"), "--out", tmp_path / "new.dxf") == 65
    assert "affine needs 3 points and there are 2" in capsys.readouterr().err


@pytest.mark.parametrize("bad", ["plot.txt", "missing.dxf"])
def test_a_source_that_cannot_be_fitted_is_told(tmp_path: Path, bad: str) -> None:
    (tmp_path / "plot.txt").write_text("no drawing")

    assert run(tmp_path / bad, pairs(tmp_path, CORNERS), "--out", tmp_path / "new.dxf") in (2, 66)


def test_a_drawing_that_is_none_is_told(tmp_path: Path) -> None:
    source = tmp_path / "plot.dxf"
    source.write_text("no drawing")

    assert run(source, pairs(tmp_path, CORNERS), "--out", tmp_path / "new.dxf") == 66


def test_another_kind_of_output_is_refused(tmp_path: Path) -> None:
    assert run(drawing(tmp_path), pairs(tmp_path, CORNERS), "--out", tmp_path / "new.gpkg") == 2


def test_a_file_of_another_kind_under_a_layer_s_name_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("a,b\n1,2\n")
    link = f"<SrcDataSource>{tmp_path / 'secret.csv'}</SrcDataSource>"
    for name in ("plot.gpkg", "plot.geojson", "plot.shp"):
        source = tmp_path / name
        source.write_text(f'<OGRVRTDataSource><OGRVRTLayer name="secret">{link}</OGRVRTLayer></OGRVRTDataSource>')

        assert run(source, pairs(tmp_path, CORNERS), "--out", tmp_path / "new.gpkg") == 66


def test_a_shapefile_becomes_a_geopackage(tmp_path: Path) -> None:
    source = tmp_path / "plot.shp"
    schema = {"geometry": "Polygon", "properties": {"name": "str"}}
    ring = [[CORNERS[name] for name in ("gate", "well", "oak", "stile", "gate")]]
    with fiona.open(source, "w", driver="ESRI Shapefile", schema=schema) as target:
        geometry = {"type": "Polygon", "coordinates": ring}
        target.write({"type": "Feature", "geometry": geometry, "properties": {"name": "plot"}})

    assert run(source, pairs(tmp_path, CORNERS), "--out", tmp_path / "new.gpkg") == 0
    with fiona.open(tmp_path / "new.gpkg", layer="plot") as layer_:
        (record,) = layer_
        found = sorted(tuple(point) for point in record.geometry.coordinates[0])
    assert np.array(found) == pytest.approx(np.array(sorted(map(tuple, carry_points(TRUTH, ring[0])))), abs=MILLIMETRE)


def test_a_point_is_left_out_on_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points = pairs(tmp_path, CORNERS, {"oak": (1.0, 0.0)})

    assert run(drawing(tmp_path), points, "--out", tmp_path / "new.dxf", "--without", "oak") == 0
    assert "4 points" in capsys.readouterr().out
    assert run(drawing(tmp_path), points, "--out", tmp_path / "new.dxf", "--without", "elm") == 2
    assert "lists no point 'elm'" in capsys.readouterr().err


def test_many_drawings_share_one_list_of_control(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    control = tmp_path / "control.csv"
    rows = [f"{name},{east:.4f},{north:.4f},0.02" for name, (east, north) in
            ((name, carry_points(TRUTH, point)) for name, point in CORNERS.items())]  # fmt: skip
    control.write_text("\n".join(["name,easting,northing,accuracy", *rows]))
    points = tmp_path / "points.csv"
    points.write_text("\n".join(["name,x,y", *(f"{name},{x},{y}" for name, (x, y) in CORNERS.items())]))
    words = (drawing(tmp_path), points, "--out", tmp_path / "new.dxf", "--crs", "EPSG:27700")

    assert run(*words, "--control", control) == 0
    assert "scale 1.0002, turned 30.0000° clockwise" in capsys.readouterr().out
    control.write_text("\n".join(["name,easting,northing,accuracy", *rows[1:]]))
    assert run(*words, "--control", control) == 65
    assert "gate: easting and northing are missing; it is not in the list of control either" in capsys.readouterr().err
    assert run(*words) == 65


def test_what_is_fitted_is_written_in_another_grid_on_request(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from pyproj import Transformer

    points = pairs(tmp_path, CORNERS, dict.fromkeys(CORNERS, (200_000.0, 5_200_000.0)))
    points.write_text(points.read_text().replace("EPSG:27700", "EPSG:32630"))
    source, out = layer(tmp_path), tmp_path / "new.gpkg"

    assert run(source, points, "--out", out, "--into", "EPSG:32631") == 0
    assert "similarity onto WGS 84 / UTM zone 31N (EPSG:32631)" in capsys.readouterr().out
    with fiona.open(out, layer="walls") as walls:
        assert walls.crs.to_epsg() == 32631
        found = next(iter(walls)).geometry.coordinates[0]
    expected = Transformer.from_crs(32630, 32631, always_xy=True).transform(600_000.0, 5_500_000.0)
    assert found == pytest.approx(expected, abs=0.02)
    assert run(source, points, "--out", out, "--into", "EPSG:25831") == 2
    assert "the datum changes" in capsys.readouterr().err


def test_geojson_of_a_fitted_layer_keeps_its_digits_and_tells_its_datum(tmp_path: Path) -> None:
    source = tmp_path / "plot.geojson"
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [25.0, 20.0]}}
    source.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    out = tmp_path / "new.geojson"
    assert run(source, pairs(tmp_path, CORNERS), "--out", out) == 0

    told = json.loads(out.read_text("utf-8"))
    assert "WGS 84 itself is known to about 2 m" in told["description"]
    assert len(str(told["features"][0]["geometry"]["coordinates"][0]).split(".")[1]) > 7
