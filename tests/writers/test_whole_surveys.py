"""Whole surveys, from book to files: every output tells the same, and independent readers find no fault."""

from __future__ import annotations

import csv
import json
import sqlite3
import subprocess
from pathlib import Path
from random import Random

import fiona
import jsonschema
import numpy as np
import pyogrio
import pytest
from builders import paths
from builders.book import book_text
from builders.networks import random_plot
from builders.party import Errors

import pegline
from pegline.readers import parse_book
from pegline.writers import csv as csv_writer
from pegline.writers import json as json_writer
from pegline.writers.gis import gpkg
from pegline.writers.gis.dataframes import layers
from pegline.writers.page import computation_sheet as html
from pegline.writers.result_schema import result_json_schema

SAMPLES = sorted(paths.SAMPLES.glob("*.yaml"))
NANOMETRE = 1e-9
CHORD = 0.005  # metres: how far a stroked curve may leave the true one
VALIDATOR = Path("/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py")

#: Checks every file named, by GDAL's own validator, in one process.
VALIDATE = f"""
import sys
sys.path.insert(0, {str(VALIDATOR.parent)!r})
import validate_gpkg
for name in sys.argv[1:]:
    validate_gpkg.check(name, extra_checks=True, warning_as_error=True)
"""


def _random(seed):
    plot = random_plot(seed, stations=4 + seed % 9, details=2)
    text = book_text(plot, errors=Errors(lays=1.0, scale=1.0, angle=1.0))
    return pegline.reduce(parse_book(text.encode(), "plot.yaml"))


#: On a grid, high up and far from its middle: a metre of the ground is 0.6 mm longer there than one of the frame.
GRID = """\
north: {from: grid, bearings: {S0-S1: 40°}}
control:
  crs: EPSG:32630
  ground_height: 1500
  points: {S0: {easting: 512340.25, northing: 5712806.4, accuracy: 0.05}}
"""


def _random_plot(seed):
    """Return a random plot with areas and lines of each geometry through its points, every other one on a grid."""
    plot = random_plot(seed, stations=4 + seed % 9, details=2)
    random = Random(seed)
    names = random.sample(sorted(plot.points), min(len(plot.points), 6))
    east, north = np.mean([plot.points[name] for name in names], axis=0)
    round_ = sorted(names, key=lambda name: np.arctan2(plot.points[name][1] - north, plot.points[name][0] - east))
    few, all_ = ", ".join(random.sample(names, 3)), ", ".join(round_)
    text = book_text(plot, errors=Errors(lays=1.0, scale=1.0, angle=1.0), head=GRID if seed % 2 else "")
    features = (
        f"terrace: {{kind: paving, ring: [{all_}]}}",
        f"pond: {{kind: pond, curve: [{all_}], closed: true}}",
        f"well: {{kind: well, circle: {{centre: {names[0]}, radius: 1.25}}}}",
        f"shed: {{kind: building, rectangle: {{edge: {names[0]}-{names[1]}, left: 4.5}}}}",
        f"fence: {{kind: fence, through: [{few}]}}",
        f"lane: {{kind: road edge, curve: [{few}]}}",
    )
    return pegline.reduce(parse_book(("\n  ".join([text.rstrip() + "\nfeatures:", *features])).encode(), "plot.yaml"))


def _sample(path):
    return pegline.reduce(pegline.read(path))


needs_validator = pytest.mark.skipif(not VALIDATOR.exists(), reason="GDAL's validator is not installed")


def _validate(surveys, folder):
    """Write the GeoPackage of each survey, and let GDAL's validator look for faults."""
    paths = [folder / f"{number}.gpkg" for number, _ in enumerate(surveys)]
    for survey, path in zip(surveys, paths, strict=True):
        gpkg.write(survey, path)
    run = subprocess.run(
        ["/usr/bin/python3", "-c", VALIDATE, *map(str, paths)], capture_output=True, text=True, check=False
    )
    assert (run.returncode, run.stderr) == (0, "")


def _same(survey, folder):
    """Write a survey, and compare the GeoPackage with the JSON."""
    gpkg.write(survey, folder / "plot.gpkg")
    json_writer.write(survey, folder / "plot.json")
    told = json.loads((folder / "plot.json").read_text(encoding="utf-8"))
    jsonschema.validate(told, result_json_schema())
    unit = survey.frame.metres_per_unit

    for layer, table in (("stations", "stations"), ("detail_points", "points")):
        with fiona.open(folder / "plot.gpkg", layer=layer) as file:
            read = {each.properties["name"]: np.array(each.geometry.coordinates) * unit for each in file}
        assert read.keys() == told[table].keys()
        for name, entry in told[table].items():
            # A nanometre, and what the last digit of a coordinate in another unit may be.
            assert read[name] == pytest.approx((entry["x"], entry["y"]), abs=NANOMETRE, rel=2e-15)
    for name, frame in layers(survey).items():
        _, _, geometry, _ = pyogrio.raw.read(folder / "plot.gpkg", layer=name)
        with fiona.open(folder / "plot.gpkg", layer=name) as file:
            assert len(file) == len(geometry) == len(frame)
    database = sqlite3.connect(folder / "plot.gpkg")
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    assert database.execute("SELECT count(*) FROM checks").fetchone() == (len(told["checks"]),)
    database.close()
    return told


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_samples_geopackage_tells_what_its_json_tells(tmp_path, path):
    survey = _sample(path)
    _measure(survey, _same(survey, tmp_path), tmp_path / "plot.gpkg")


@needs_validator
def test_the_samples_geopackages_are_valid(tmp_path):
    _validate([_sample(path) for path in SAMPLES], tmp_path)


@needs_validator
def test_the_geopackages_of_random_plots_are_valid(tmp_path):
    _validate([_random(seed) for seed in range(12)], tmp_path)


@needs_validator
@pytest.mark.long
def test_the_geopackages_of_two_hundred_random_plots_are_valid(tmp_path):
    _validate([_random(seed) for seed in range(200)], tmp_path)


def _measure(survey, told, path):
    """Measure the areas and lines of a GeoPackage, bring them to the ground, and compare them with the JSON."""
    scale = survey.frame.scale / survey.frame.metres_per_unit
    areas = pyogrio.read_dataframe(path, layer="detail_areas")
    for name, area, shape in zip(areas["name"], areas["area"], areas.geometry, strict=True):
        feature = told["features"][name]
        if feature["area"] is None:
            assert np.isnan(area)
            continue
        assert area == feature["area"]
        straight = not survey.detail.shapes[name].path.bulges.any()
        within = 1e-6 if straight else CHORD * feature["perimeter"]
        assert shape.area / scale**2 == pytest.approx(feature["area"], abs=within)
    lines = pyogrio.read_dataframe(path, layer="detail_lines")
    for name, length, shape in zip(lines["name"], lines["length"], lines.geometry, strict=True):
        assert length == told["features"][name]["perimeter"]
        # Of an arc of radius r that turns by φ between chords with sagitta s, s = r (1 - cos φ/2), the chords are
        # short by r (φ - 2 sin φ/2): by a third of s φ where φ is small, and by 0.364 of it in a half circle.
        turned = 4 * np.abs(np.arctan(survey.detail.shapes[name].path.bulges)).sum()
        assert shape.length / scale == pytest.approx(length, abs=1e-6 + 0.37 * CHORD * turned)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_samples_sheet_names_everything_that_its_json_names(tmp_path, path):
    survey = _sample(path)
    html.write(survey, tmp_path / "plot.html")
    csv_writer.write(survey, tmp_path / "plot.csv")
    page = (tmp_path / "plot.html").read_text(encoding="utf-8")
    with (tmp_path / "plot.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))

    names = [*survey.adjustment.solution.names[: survey.adjustment.solution.stations], *survey.detail.points.names]
    assert sorted(row[0] for row in rows[1:]) == sorted(names)
    for name in [*names, *survey.reduction.lines, *survey.detail.shapes]:
        assert pegline_escape(name) in page
    for check in survey.adjustment.checks:
        assert check.place.source in page


def pegline_escape(text):
    from html import escape

    return escape(text)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_samples_files_are_the_same_bytes_every_time(tmp_path, path):
    formats = ("gpkg", "html", "csv", "json")
    one = pegline.write(_sample(path), tmp_path / "one", formats=formats)
    two = pegline.write(_sample(path), tmp_path / "two", formats=formats)

    assert [file.name for file in one] == [file.name for file in two]
    for first, second in zip(one, two, strict=True):
        assert first.read_bytes() == second.read_bytes()


def _all_measured(seeds, folder):
    scales = set()
    for seed in seeds:
        survey = _random_plot(seed)
        _measure(survey, _same(survey, folder), folder / "plot.gpkg")
        assert {shape.form for shape in survey.detail.shapes.values()} == {"area", "line"}
        scales.add(survey.frame.scale < 0.9995)
    assert scales == {True, False}


def test_areas_and_lengths_of_random_plots_are_those_of_the_ground(tmp_path):
    _all_measured(range(12), tmp_path)


@pytest.mark.long
def test_areas_and_lengths_of_two_hundred_random_plots_are_those_of_the_ground(tmp_path):
    _all_measured(range(200), tmp_path)


def _both(seeds, folder):
    for seed in seeds:
        _same(_random(seed), folder)
        (folder / "plot.gpkg").unlink()


def test_random_plots_tell_the_same_in_both(tmp_path):
    _both(range(12), tmp_path)


@pytest.mark.long
def test_two_hundred_random_plots_tell_the_same_in_both(tmp_path):
    _both(range(200), tmp_path)
