"""An old map that the paper has bent: fitted so that it follows, and says at each carried point how well."""

from __future__ import annotations

from pathlib import Path

import fiona
import numpy as np
import pytest
import rasterio
from builders import weir_survey as records
from PIL import Image, ImageDraw

from pegline.cli import main
from pegline.frame.transformation import carry_points
from pegline.writers.gis import gpkg
from pegline.writers.gis.package_reader import read_package

TRUE = np.array([[0.5, 0.1, 412_000.0], [-0.1, 0.5, 287_000.0], [0, 0, 1]])
MIDDLE, REACH = np.array([500.0, 400.0]), 400.0


def bent(places: np.ndarray) -> np.ndarray:
    """Return where places of the map are on the grid: up to 6 m from where a similarity has them."""
    off = np.asarray(places, float) - MIDDLE
    near = np.exp(-(off**2).sum(axis=-1, keepdims=True) / REACH**2)
    return carry_points(TRUE, places) + near * [6.0, -3.0]


def spots(step: int) -> np.ndarray:
    across, up = np.meshgrid(np.arange(0, 1001, step), np.arange(0, 801, step))
    return np.stack([across.ravel(), up.ravel()], axis=-1).astype(float)


def write_list(path: Path, down: bool = False, off: dict[int, float] | None = None) -> Path:
    lines = ["name,x,y,easting,northing,accuracy"]
    for n, (x, y) in enumerate(spots(200)):
        east, north = bent(np.array([[x, y]]))[0] + ((off or {}).get(n, 0.0), 0.0)
        lines.append(f"p{n},{x},{-y if down else y},{east:.4f},{north:.4f},0.05")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def run(source: Path, points: Path, out: Path, kind: str = "local") -> int:
    return main(["fit", str(source), str(points), "--crs", "EPSG:27700", "--kind", kind, "--out", str(out)])


def layer(folder: Path, places: np.ndarray) -> Path:
    path = folder / "trees.gpkg"
    schema = {"geometry": "Point", "properties": {"n": "int"}}
    with fiona.open(path, "w", driver="GPKG", schema=schema, crs_wkt="") as target:
        for n, (x, y) in enumerate(places):
            target.write({"geometry": {"type": "Point", "coordinates": (x, y)}, "properties": {"n": n}})
    return path


def test_a_layer_follows_and_each_feature_says_how_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    places = spots(90) + 30
    inside = places[(places[:, 0] < 1000) & (places[:, 1] < 800)]
    far = {}
    for kind in ("similarity", "local"):
        source, points = layer(tmp_path, inside), write_list(tmp_path / "points.csv")
        status = run(source, points, tmp_path / f"{kind}.gpkg", kind)
        assert status == (1 if kind == "similarity" else 0)  # a similarity does not fit
        with fiona.open(tmp_path / f"{kind}.gpkg") as made:
            rows = [(each.geometry.coordinates, each.properties["fit_within"]) for each in made]
        far[kind] = np.hypot(*(np.array([at for at, _ in rows]) - bent(inside)).T), np.array([r for _, r in rows])
    assert far["similarity"][0].max() > 3
    assert far["local"][0].max() < 1.0
    off, within = far["local"]
    assert np.mean(off <= within) >= 0.95
    # Between the points it is known worse than at them.
    nearest = np.hypot(*(inside[:, None] - spots(200)[None]).transpose(2, 0, 1)).min(axis=1)
    assert within[nearest > 110].mean() > 1.5 * within[nearest < 50].mean()
    told = capsys.readouterr().out
    assert "a similarity alone would leave" in told
    assert "carried within 0." in told


def test_a_package_carries_what_is_left_of_the_distortion_in_its_ellipses(tmp_path: Path) -> None:
    gpkg.write(records.survey(), tmp_path / "weir.gpkg")
    points = write_list(tmp_path / "points.csv")
    assert run(tmp_path / "weir.gpkg", points, tmp_path / "fitted.gpkg") == 0

    before, after = (
        next(layer for layer in read_package(tmp_path / name).layers if layer.name == "stations")
        for name in ("weir.gpkg", "fitted.gpkg")
    )
    for name, place, sd, own in zip(
        after.values["name"], after.shapes.corners, after.values["sd_x"], before.values["sd_x"], strict=True
    ):
        at = before.shapes.corners[before.values["name"].index(name)]
        assert np.hypot(*(place - bent(at[None])[0])) < 3 * np.hypot(sd, 0.05)
        assert sd >= 0.9 * 0.51 * float(own)


def test_a_scan_is_bent_straight(tmp_path: Path) -> None:
    picture = Image.new("RGB", (1001, 801), "white")
    pen = ImageDraw.Draw(picture)
    marks = [(300, 300), (500, 400), (700, 500), (150, 650)]
    for x, y in marks:
        pen.ellipse((x - 4, y - 4, x + 4, y + 4), fill="black")
    picture.save(tmp_path / "map.png")
    lines = ["name,x,y,easting,northing,accuracy"]
    for n, (x, y) in enumerate(spots(100)):
        east, north = bent(np.array([[x, 800 - y]]))[0]
        lines.append(f"p{n},{x},{y},{east:.4f},{north:.4f},0.05")
    (tmp_path / "points.csv").write_text("\n".join(lines), encoding="utf-8")
    assert run(tmp_path / "map.png", tmp_path / "points.csv", tmp_path / "out.png") == 0

    with rasterio.open(tmp_path / "out.png") as made:
        red, alpha = made.read(1), made.read(4)
        rows, columns = np.nonzero((red < 100) & (alpha > 200))
        dark = np.stack(made.transform @ (columns + 0.5, rows + 0.5), axis=-1)
    for x, y in marks:
        true = bent(np.array([[x + 0.5, 800 - (y + 0.5)]]))[0]
        near = dark[np.hypot(*(dark - true).T) < 4]
        assert len(near) > 30
        assert np.hypot(*(near.mean(axis=0) - true)) < 0.3  # a pixel is 0.5 m


def test_a_wrong_pair_is_named_all_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    points = write_list(tmp_path / "points.csv", off={13: 9.0})

    assert run(layer(tmp_path, spots(300)), points, tmp_path / "out.gpkg") == 1
    said = capsys.readouterr().err
    assert "p13 does not fit: it is +" in said
    assert f"{points}:15:1: " in said


def test_a_drawing_is_not_bent_and_few_points_tell_no_distortion(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import ezdxf

    drawing = ezdxf.new("R2010")
    drawing.modelspace().add_line((100, 100), (900, 700))
    drawing.saveas(tmp_path / "map.dxf")
    points = write_list(tmp_path / "points.csv")
    assert run(tmp_path / "map.dxf", points, tmp_path / "out.dxf") == 2
    assert "no room for a local transformation" in capsys.readouterr().err

    few = points.read_text("utf-8").splitlines()[:6]
    points.write_text("\n".join(few), encoding="utf-8")
    assert run(layer(tmp_path, spots(300)), points, tmp_path / "out.gpkg") == 65
    assert "local needs 8 points and there are 5" in capsys.readouterr().err
