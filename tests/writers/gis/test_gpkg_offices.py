"""The GeoPackage before a validator that a mapping office publishes for what others deliver to it.

pdok-geopackage-validator (PyPI, MIT licence) stands in a Python of its own, for it needs the GDAL of the system's;
``PEGLINE_GPKG_VALIDATOR`` names its command, and ``.ci/run`` installs it.
"""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
from contextlib import closing

import pytest
from builders import paths
from builders.book import book_text
from builders.networks import random_plot
from builders.party import Errors

import pegline
from pegline.readers import parse_book
from pegline.writers.gis import gpkg

SAMPLES = sorted(paths.SAMPLES.glob("*.yaml"))
COMMAND = os.environ.get("PEGLINE_GPKG_VALIDATOR")
#: Its rules but for four: RQ2 and RC25 refuse layers with nothing in them (ours are always all there), RQ22 all
#: but that office's own CRSs, and RQ24 a row without a place (a witness to an object that was not surveyed).
RULES = [
    "RQ1",
    "RQ4",
    "RQ6",
    "RQ7",
    "RQ9",
    "RQ10",
    "RQ11",
    "RQ13",
    "RQ14",
    "RQ15",
    "RQ21",
    "RQ23",
    "RQ26",
    "RC17",
    "RC18",
    "RC19",
    "RC20",
]

pytestmark = pytest.mark.skipif(not COMMAND, reason="PEGLINE_GPKG_VALIDATOR names no validator")


def faults(path):
    """Return what the validator finds, and the rules that it went by."""
    words = [COMMAND, "validate", "--gpkg-path", str(path), "--validations", ",".join(RULES)]
    run = subprocess.run(words, capture_output=True, text=True, check=False)
    told = json.loads(run.stdout)
    assert sorted(told["validations_executed"]) == sorted(RULES)
    return told["results"]


@pytest.mark.parametrize("book", SAMPLES, ids=lambda path: path.stem)
def test_an_offices_validator_finds_no_fault_in_a_sample(book, tmp_path):
    gpkg.write(pegline.reduce(pegline.read(book)), tmp_path / "plot.gpkg")

    assert faults(tmp_path / "plot.gpkg") == []


@pytest.mark.parametrize("seed", [*range(4), *(pytest.param(n, marks=pytest.mark.long) for n in range(4, 200))])
def test_an_offices_validator_finds_no_fault_in_a_plot(seed, tmp_path):
    plot = random_plot(seed, stations=4 + seed % 9, details=2)
    text = book_text(plot, errors=Errors(lays=1.0, scale=1.0, angle=1.0))
    gpkg.write(pegline.reduce(parse_book(text.encode(), "plot.yaml")), tmp_path / "plot.gpkg")

    assert faults(tmp_path / "plot.gpkg") == []


def test_the_validator_finds_a_fault_that_is_there(tmp_path):
    path = tmp_path / "plot.gpkg"
    gpkg.write(pegline.reduce(pegline.read(SAMPLES[0])), path)
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("UPDATE gpkg_geometry_columns SET geometry_type_name = 'POINT' WHERE table_name = 'offsets'")

    assert "RQ15" in {fault["validation_code"] for fault in faults(path)}
