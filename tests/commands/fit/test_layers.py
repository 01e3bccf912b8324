"""A package put onto the grid by fit: whole, with covariances that hold, and the fit in its history."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from builders import weir_survey as records

from pegline.commands.fit.layers import _motion, write_survey
from pegline.frame.crs import grid_of
from pegline.frame.transformation import POINTS_NEEDED, carry_points, fit
from pegline.network.confidence import CHI2_95, variances_of
from pegline.writers.gis import gpkg
from pegline.writers.gis.package import FIGURES, PLACE_LAYERS, Package, move_package, package
from pegline.writers.gis.package_reader import read_package

GRID = grid_of("EPSG:27700")
SOURCE = np.array([(-10.0, -30.0), (60.0, -25.0), (55.0, 40.0), (-5.0, 35.0), (25.0, 5.0)])
SD = 0.04  # of each pair, metres


def transformation(random: np.random.Generator, kind: str) -> np.ndarray:
    """Return a random matrix of a kind onto the grid."""
    turn, scale = random.uniform(0, 2 * np.pi), random.uniform(0.9, 1.1)
    matrix = np.array([[np.cos(turn), -np.sin(turn), 4e5], [np.sin(turn), np.cos(turn), 3e5], [0, 0, 1]])
    matrix[:2, :2] *= scale
    if kind != "similarity":
        matrix[:2, :2] = matrix[:2, :2] @ (np.eye(2) + random.uniform(-0.05, 0.05, (2, 2)))
    if kind == "projective":
        matrix = matrix @ np.array([[1, 0, 0], [0, 1, 0], [*random.uniform(-5e-4, 5e-4, 2), 1]])
    return matrix


def with_errors(whole: Package, random: np.random.Generator) -> Package:
    """Return a package whose places are off by what their ellipses tell."""
    layers = []
    for layer in whole.layers:
        if layer.name in PLACE_LAYERS:
            figures = np.array([layer.values[name] for name in FIGURES]).T
            off = [random.multivariate_normal([0, 0], each, method="eigh") for each in variances_of(figures)]
            layer = replace(layer, shapes=replace(layer.shapes, corners=layer.shapes.corners + off))
        layers.append(layer)
    return replace(whole, layers=tuple(layers))


def share_inside(trials: int) -> float:
    """Return how many of the places lie inside the ellipses that a fit carried onto the grid."""
    whole, inside = package(records.survey()), []
    for seed in range(trials):
        random = np.random.default_rng(seed)
        kind = list(POINTS_NEEDED)[seed % 3]
        matrix = transformation(random, kind)
        target = carry_points(matrix, SOURCE) + random.normal(0, SD, SOURCE.shape)
        fitted = fit(kind, SOURCE, target, np.full(len(SOURCE), SD))  # type: ignore[arg-type]
        moved = move_package(with_errors(whole, random), _motion(fitted, GRID, 1.0))
        for true, layer in zip(whole.layers, moved.layers, strict=True):
            if layer.name in PLACE_LAYERS:
                # One place a layer, so that the trials are independent.
                row = int(random.integers(len(layer)))
                off = layer.shapes.corners[row] - carry_points(matrix, true.shapes.corners)[row]
                variances = variances_of(np.array([[layer.values[name][row] for name in FIGURES]]))[0]
                inside.append(off @ np.linalg.solve(variances, off) <= CHI2_95)
    return float(np.mean(inside))


def test_places_lie_inside_the_ellipses_that_a_fit_carries() -> None:
    # 300 places: four of their own standard deviations from 95 %.
    assert share_inside(150) == pytest.approx(0.95, abs=4 * (0.95 * 0.05 / 300) ** 0.5)


@pytest.mark.long
def test_so_they_do_over_2000_random_transformations() -> None:
    assert 0.93 <= share_inside(2000) <= 0.97


@pytest.fixture
def fitted_file(tmp_path: Path) -> Path:
    gpkg.write(records.survey(), tmp_path / "weir.gpkg")
    matrix = transformation(np.random.default_rng(4), "similarity")
    fitted = fit("similarity", SOURCE, carry_points(matrix, SOURCE), np.full(len(SOURCE), SD))
    write_survey(tmp_path / "weir.gpkg", fitted, GRID, tmp_path / "fitted.gpkg")
    return tmp_path / "fitted.gpkg"


def test_a_fitted_package_has_all_that_the_survey_s_has(fitted_file: Path) -> None:
    before, after = package(records.survey()), read_package(fitted_file)

    assert after.links == before.links
    assert after.values == before.values
    for ours, theirs in zip(before.layers, after.layers, strict=True):
        assert ours.columns == theirs.columns
        moved = {"sd_x", "sd_y", *FIGURES}
        assert {k: v for k, v in ours.values.items() if k not in moved} == {
            k: v for k, v in theirs.values.items() if k not in moved
        }
    assert [table.values for table in after.tables if table.name != "book"] == [
        table.values for table in before.tables if table.name != "book"
    ]
    database = sqlite3.connect(fitted_file)
    assert database.execute("SELECT DISTINCT srs_id FROM gpkg_geometry_columns").fetchall() == [(27700,)]
    database.close()


def test_the_fit_is_a_step_of_the_survey_s_history(fitted_file: Path) -> None:
    database = sqlite3.connect(fitted_file)
    book = dict(database.execute("SELECT key, value FROM book"))
    ((text,),) = database.execute("SELECT metadata FROM gpkg_metadata").fetchall()
    database.close()

    assert book["history 1"].startswith("Fitted onto OSGB36 / British National Grid (EPSG:27700) by a similarity")
    assert book["crs"] == "OSGB36 / British National Grid (EPSG:27700)"
    assert book["frame"] == "grid"
    spaces = {"gmd": "http://www.isotc211.org/2005/gmd", "gco": "http://www.isotc211.org/2005/gco"}
    root = ElementTree.fromstring(text.encode())
    assert "Fitted onto" in "".join(root.find(".//gmd:LI_ProcessStep", spaces).itertext())  # type: ignore[union-attr]
    assert root.find(".//gmd:EX_GeographicBoundingBox", spaces) is not None
    assert root.find(".//gmd:DQ_AbsoluteExternalPositionalAccuracy", spaces) is not None
    assert "British National Grid" in "".join(root.find("gmd:referenceSystemInfo", spaces).itertext())  # type: ignore[union-attr]


def test_ellipses_are_drawn_as_they_are_told(fitted_file: Path) -> None:
    ellipses = next(layer for layer in read_package(fitted_file).layers if layer.name == "ellipses")
    ends = np.concatenate([[0], np.cumsum(ellipses.shapes.counts)])

    for row, values in enumerate(ellipses.rows()):
        ring = ellipses.shapes.corners[ends[row] : ends[row + 1]]
        away = np.hypot(*(ring - ring[:-1].mean(axis=0)).T)
        # 36 corners miss the ends of an axis by 5° at most: cos 5° = 0.9962.
        assert away.max() == pytest.approx(values["ellipse_a"], rel=0.005)
        assert away.min() == pytest.approx(values["ellipse_b"], rel=0.005)


def test_a_fitted_package_joins_others_and_is_fitted_again(fitted_file: Path, tmp_path: Path) -> None:
    from pegline.cli import main

    shifted = fit("similarity", SOURCE, SOURCE + np.array([10.0, -4.0]), np.full(len(SOURCE), SD))
    write_survey(fitted_file, shifted, GRID, tmp_path / "again.gpkg")

    assert main(["join", str(tmp_path / "all.gpkg"), str(fitted_file)]) == 0
    facts = {
        row["key"]
        for table in read_package(tmp_path / "again.gpkg").tables
        if table.name == "book"
        for row in table.rows()
    }
    assert {"history 1", "history 2"} <= facts
