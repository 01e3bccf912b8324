"""Sheets of an old map, each with its own list of points, put onto the grid together."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from builders import weir_survey as records
from PIL import Image

from pegline.cli import main
from pegline.frame.transformation import carry_points
from pegline.writers.gis import gpkg
from pegline.writers.gis.package_reader import read_package

#: Pixels, y down, of half a metre, and the second sheet upside down.
WEST = np.array([[0.5, 0.0, 400_000.0], [0.0, -0.5, 300_400.0], [0, 0, 1]])
EAST = np.array([[-0.5, 0.0, 400_780.0], [0.0, 0.5, 300_010.0], [0, 0, 1]])
GRID = {
    "church": (400_050.0, 300_350.0),
    "mill": (400_040.0, 300_060.0),
    "bridge": (400_360.0, 300_330.0),
    "elm": (400_350.0, 300_200.0),
    "ford": (400_365.0, 300_050.0),
    "inn": (400_700.0, 300_340.0),
    "weir": (400_720.0, 300_080.0),
}
ON = {"west": ("church", "mill", "bridge", "elm", "ford"), "east": ("bridge", "elm", "ford", "inn", "weir")}
KNOWN = ("church", "mill", "inn", "weir")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, matrix in (("west", WEST), ("east", EAST)):
        Image.new("RGB", (800, 800), "white").save(tmp_path / f"{name}.png")
        places = {point: carry_points(np.linalg.inv(matrix), GRID[point]) for point in ON[name]}
        write_list(tmp_path / f"{name}.csv", places)
    lines = [f"{point},{GRID[point][0]},{GRID[point][1]}" for point in KNOWN]
    (tmp_path / "control.csv").write_text("name,easting,northing\n" + "\n".join(lines), encoding="utf-8")
    return tmp_path


def write_list(path: Path, places: dict[str, np.ndarray]) -> None:
    lines = [f"{name},{x:.3f},{y:.3f}" for name, (x, y) in places.items()]
    path.write_text("name,x,y\n" + "\n".join(lines), encoding="utf-8")


def run(folder: Path, *more: object) -> int:
    sheets = [folder / f"{name}.{end}" for name in ("west", "east") for end in ("png", "csv")]
    words = [*sheets, "--control", folder / "control.csv", "--crs", "EPSG:27700", "--out", folder / "out", *more]
    return main(["fit", *(str(word) for word in words)])


def test_sheets_tied_by_common_points_lie_on_the_grid(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(folder, "--beyond") == 0

    for name, matrix in (("west", WEST), ("east", EAST)):
        with rasterio.open(folder / "out" / f"{name}.png") as picture:
            assert picture.crs.to_epsg() == 27700
            for point in ON[name]:
                pixel = carry_points(np.linalg.inv(matrix), GRID[point])
                assert picture.transform @ tuple(pixel) == pytest.approx(GRID[point], abs=0.002)
    told = capsys.readouterr().out
    assert "similarity of 2 sheets onto OSGB36 / British National Grid (EPSG:27700): 4 points known on the grid" in told
    assert "west.png: scale 0.5, turned 0.0000° clockwise; carried within" in told
    assert "east.png: scale 0.5, turned 180.0000° clockwise; carried within" in told


def test_a_point_that_is_wrong_on_one_sheet_is_named_at_its_place(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    places = {point: carry_points(np.linalg.inv(EAST), GRID[point]) for point in ON["east"]}
    places["inn"] = places["inn"] + (40.0, 0.0)  # 20 m too far west
    write_list(folder / "east.csv", places)

    assert run(folder, "--beyond") == 1
    said = capsys.readouterr()
    assert "inn" in [line.split()[0] for line in said.out.splitlines() if line.endswith("does not fit")]
    assert "inn on " in said.err
    assert "of where the others put it; look at it" in said.err
    assert f"{folder / 'east.csv'}:5:1: " in said.err or f"{folder / 'control.csv'}:4:1: " in said.err


def test_a_survey_among_the_sheets_tells_of_it_in_its_history(folder: Path) -> None:
    survey = records.survey()
    gpkg.write(survey, folder / "weir.gpkg")
    stations = next(layer for layer in read_package(folder / "weir.gpkg").layers if layer.name == "stations")
    places = dict(zip(map(str, stations.values["name"]), stations.shapes.corners, strict=True))
    write_list(folder / "weir.csv", places)
    matrix = np.array([[1.0, 0.0, 400_300.0], [0.0, 1.0, 300_100.0], [0, 0, 1]])
    on_west = {name: carry_points(np.linalg.inv(WEST), carry_points(matrix, at)) for name, at in places.items()}
    write_list(folder / "west.csv", {**{p: carry_points(np.linalg.inv(WEST), GRID[p]) for p in KNOWN[:2]}, **on_west})
    sheets = [str(folder / name) for name in ("west.png", "west.csv", "weir.gpkg", "weir.csv")]
    words = ["--control", str(folder / "control.csv"), "--crs", "EPSG:27700", "--out", str(folder / "out"), "--beyond"]

    assert main(["fit", *sheets, *words]) == 0
    fitted = read_package(folder / "out" / "weir.gpkg")
    found = next(layer for layer in fitted.layers if layer.name == "stations")
    np.testing.assert_allclose(found.shapes.corners, carry_points(matrix, stations.shapes.corners), atol=0.005)
    (book,) = (table for table in fitted.tables if table.name == "book")
    facts = dict(zip(book.values["key"], book.values["value"], strict=True))
    assert "(together with 1 further sheet, by points of one name)" in facts["history 1"]


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("east.csv", "name,x,y\nbridge,1,2\nelm,5,400\noak,7,7", "oak is on this sheet only and not known on the grid"),
        ("west.csv", "name,x,y\nchurch,1,2\nmill,1,9", "bridge is on this sheet only and not known on the grid"),
        ("east.csv", "name,x,y\nbridge,1,2\nelm,1,9\nford,1,9\ninn,1,", "inn: x and y say where it is; add both"),
        ("east.csv", "name,x,y,easting,northing\ninn,1,2,3,4\nelm,1,2,,", "inn has another easting and northing at"),
    ],
)
def test_what_ties_nothing_is_told(
    folder: Path, name: str, text: str, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / name).write_text(text, encoding="utf-8")

    assert run(folder) == 65
    assert why in capsys.readouterr().err
    assert not (folder / "out").exists()


def test_words_that_make_no_sense_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = [str(folder / "west.png"), str(folder / "west.csv")]
    both = [*sheet, str(folder / "east.png"), str(folder / "east.csv")]
    for words, why in (
        ([*sheet, str(folder / "east.png")], "each sheet wants its own list of points"),
        ([*sheet, *sheet], "a file name of its own"),
        (
            [*sheet, str(folder / "east.png"), str(folder / "east.csv"), "--kind", "projective"],
            "by similarity or affine",
        ),
        (
            [*sheet, str(folder / "east.png"), str(folder / "east.csv"), "--into", "EPSG:27700"],
            "--into is for one sheet",
        ),
        ([*both, "--without", "oak"], "no list has a point 'oak'"),
    ):
        common = ["--control", str(folder / "control.csv"), "--crs", "EPSG:27700", "--out", str(folder / "out")]
        assert main(["fit", *words, *common]) == 2
        assert why in capsys.readouterr().err


def test_sheets_that_reach_far_beyond_their_points_are_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.new("RGB", (4000, 800), "white").save(folder / "west.png")

    assert run(folder) == 2
    assert "west.png: reaches" in capsys.readouterr().err
    assert not (folder / "out" / "east.png").exists()
