"""A scanned plan put onto the grid: where its spots come to lie, and what is written beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from builders.fitted import CORNERS, TRUTH, pairs, run, scan, world
from PIL import Image

from pegline.commands.fit.picture import corners_of_picture, world_file
from pegline.frame.transformation import carry_points

MILLIMETRE = 1e-3


def test_a_scanned_plan_gets_a_world_file(tmp_path: Path) -> None:
    source, spots = scan(tmp_path)
    out = tmp_path / "new.png"
    assert run(source, pairs(tmp_path, spots), "--out", out) == 0

    assert out.read_bytes() == source.read_bytes()
    for name, spot in spots.items():
        assert carry_points(world(tmp_path / "new.pgw"), spot) == pytest.approx(
            carry_points(TRUTH, CORNERS[name]), abs=MILLIMETRE
        )


def test_a_photograph_taken_askew_is_drawn_anew_with_north_up(tmp_path: Path) -> None:
    askew = np.array([[0.9, 0.05, 10], [-0.03, 0.95, 20], [1e-4, 5e-5, 1]])
    source, spots = scan(tmp_path, askew)
    out = tmp_path / "new.png"
    assert run(source, pairs(tmp_path, spots, kind="projective"), "--out", out) == 0

    matrix = world(tmp_path / "new.pgw")
    assert (matrix[0, 1], matrix[1, 0]) == (0, 0)
    with Image.open(out) as picture:
        for point in CORNERS.values():
            east, north = carry_points(TRUTH, point)
            column, row = carry_points(np.linalg.inv(matrix), (east, north))
            assert picture.convert("L").getpixel((int(column), int(row))) < 64


@pytest.mark.parametrize("kind", ["similarity", "affine", "projective"])
def test_a_tiff_carries_its_place_itself(tmp_path: Path, kind: str) -> None:
    source, spots = scan(tmp_path)
    out = tmp_path / "new.tif"
    assert run(source, pairs(tmp_path, spots, kind=kind), "--out", out) == 0

    with rasterio.open(out) as picture:
        assert picture.crs.to_epsg() == 27700
        for point in CORNERS.values():
            value, *_ = next(picture.sample([tuple(carry_points(TRUTH, point))]))  # a straightened one has alpha too
            assert value < 64
        assert np.array(picture.transform).reshape(3, 3) == pytest.approx(world(tmp_path / "new.tfw"))


@pytest.mark.parametrize("end", [".png", ".jpg"])
def test_a_picture_has_its_crs_beside_it(tmp_path: Path, end: str) -> None:
    source, spots = scan(tmp_path)
    out = tmp_path / f"new{end}"
    with Image.open(source) as picture:
        picture.convert("L").save(tmp_path / f"source{end}")
    assert run(tmp_path / f"source{end}", pairs(tmp_path, spots), "--out", out) == 0

    with rasterio.open(out) as picture:
        assert picture.crs.to_epsg() == 27700
        assert np.array(picture.transform).reshape(3, 3) == pytest.approx(
            world(out.with_suffix(".pgw" if end == ".png" else ".jgw"))
        )


def test_a_photograph_kept_on_its_side_is_fitted_as_it_is_shown(tmp_path: Path) -> None:
    source, spots = scan(tmp_path)
    with Image.open(source) as picture:
        aside = picture.convert("L").transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned a quarter clockwise to be seen
    aside.save(tmp_path / "photo.png", exif=exif)
    out = tmp_path / "new.png"
    assert run(tmp_path / "photo.png", pairs(tmp_path, spots), "--out", out) == 0

    with Image.open(out) as picture:
        for name, spot in spots.items():
            assert picture.getpixel((int(spot[0]), int(spot[1]))) < 64, name


def test_a_tiff_of_several_pages_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, spots = scan(tmp_path)
    with Image.open(source) as picture:
        page = picture.convert("L")
    page.save(tmp_path / "book.tif", save_all=True, append_images=[page])

    assert run(tmp_path / "book.tif", pairs(tmp_path, spots), "--out", tmp_path / "new.tif") == 2
    assert "holds 2 pages" in capsys.readouterr().err


@pytest.mark.parametrize("end", [".png", ".tif"])
def test_what_lies_beyond_a_straightened_picture_is_transparent(tmp_path: Path, end: str) -> None:
    askew = np.array([[0.9, 0.05, 10], [-0.03, 0.95, 20], [1e-4, 5e-5, 1]])
    source, spots = scan(tmp_path, askew)
    out = tmp_path / f"new{end}"
    assert run(source, pairs(tmp_path, spots, kind="projective"), "--out", out) == 0

    with Image.open(out) as picture:
        alpha = np.array(picture.getchannel("A"))
    assert alpha[0, 0] == 0
    assert alpha[alpha.shape[0] // 2, alpha.shape[1] // 2] == 255


def test_a_world_file_leads_from_columns_and_rows_to_the_middle_of_each_pixel() -> None:
    # Its six lines A, D, B, E, C, F: x = A column + B row + C, y = D column + E row + F (Esri's world file).
    matrix = np.array([[0.4, 0.3, 5000.0], [-0.3, 0.4, 7000.0], [0, 0, 1]])
    a, d, b, e, c, f = map(float, world_file(matrix).split())
    for column, row in ((0, 0), (7, 0), (0, 11), (30, 20)):
        middle = carry_points(matrix, (column + 0.5, -row - 0.5))
        assert (a * column + b * row + c, d * column + e * row + f) == pytest.approx(tuple(middle))


def test_the_corners_of_a_picture_go_round_from_its_upper_left(tmp_path: Path) -> None:
    Image.new("L", (30, 20)).save(tmp_path / "small.png")
    assert corners_of_picture(tmp_path / "small.png").tolist() == [[0, 0], [30, 0], [30, -20], [0, -20]]


def test_a_straightened_picture_reaches_from_edge_to_edge_and_no_farther(tmp_path: Path) -> None:
    askew = np.array([[0.9, 0.05, 10], [-0.03, 0.95, 20], [1e-4, 5e-5, 1]])
    source, spots = scan(tmp_path, askew)
    assert run(source, pairs(tmp_path, spots, kind="projective"), "--out", tmp_path / "new.png") == 0

    # From the pixels of the scan back to the plot, and from there onto the grid.
    to_plot = np.linalg.inv(askew @ np.array([[10.0, 0, 50], [0, -10, 500], [0, 0, 1]]))
    edges = carry_points(TRUTH @ to_plot, [(0, 0), (700, 0), (700, 550), (0, 550)])
    matrix = world(tmp_path / "new.pgw")
    with Image.open(tmp_path / "new.png") as picture:
        width, height = picture.size
    west, north = matrix[0, 2], matrix[1, 2]
    east, south = carry_points(matrix, (width, height))
    pixel = matrix[0, 0]
    assert (west, north) == pytest.approx((edges[:, 0].min(), edges[:, 1].max()), abs=0.01)
    assert (east, south) == pytest.approx((edges[:, 0].max(), edges[:, 1].min()), abs=pixel + 0.01)
    assert 0.08 < pixel == -matrix[1, 1] < 0.13  # 10 pixels a metre, about
