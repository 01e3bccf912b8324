"""A survey on a grid in US survey feet: what each output counts in."""

from __future__ import annotations

import json
from pathlib import Path

import fiona
import pytest

import pegline

FOOT = 1200 / 3937
A = (6501082.647, 1840638.415)
#: On EPSG:2229, A known by its easting and northing in feet, B 300 ft east of it.
BOOK = f"""
book: 1
unit: ft-us
tapes: {{steel: {{material: steel, length: 100}}}}
stations: {{C: {{left_of: A-B}}}}
lines:
  A-B: {{use: base, taped: 300}}
  A-C: {{use: side, taped: 260}}
  C-B: {{use: side, taped: 250}}
north: {{from: grid, bearings: {{A-B: 90}}}}
control: {{crs: EPSG:2229, ground_height: 0, points: {{A: {{easting: {A[0]}, northing: {A[1]}, accuracy: 0.05}}}}}}
"""


def test_layers_count_in_the_grid_s_feet_and_the_rest_in_metres(tmp_path: Path) -> None:
    (tmp_path / "feet.yaml").write_text(BOOK, encoding="utf-8")
    survey = pegline.reduce(pegline.read(tmp_path / "feet.yaml"))
    pegline.write(survey, tmp_path, formats=("gpkg", "json", "csv", "html"))

    with fiona.open(tmp_path / "feet.gpkg", layer="stations") as layer:
        assert "ftUS" in layer.crs_wkt
        feet = {record.properties["name"]: record.geometry.coordinates for record in layer}
    metres = json.loads((tmp_path / "feet.json").read_text())["stations"]
    assert feet["A"] == pytest.approx(A, abs=1e-6)
    assert (metres["A"]["x"], metres["A"]["y"]) == pytest.approx((A[0] * FOOT, A[1] * FOOT), abs=1e-6)
    assert feet["B"][0] - A[0] == pytest.approx(300 * survey.frame.scale, abs=1e-6)
    assert "east (ft-us)" in (tmp_path / "feet.csv").read_text()
    assert "One unit of it is 0.30480061 m" in (tmp_path / "feet.html").read_text()
