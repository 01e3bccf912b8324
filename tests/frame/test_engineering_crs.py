"""A survey without control: every format that takes a CRS names it as what it is."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pyarrow.parquet as pq
from pyproj import CRS

import pegline

BOOK = """
book: 1
title: Weir cottage
unit: m
tapes: {steel: {material: steel, length: 50}}
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 60}
  A-C: {use: side, taped: 50}
  C-B: {use: side, taped: 40}
"""
NAME = "Local survey grid, not turned to north: Weir cottage"


def test_a_survey_without_control_is_in_a_named_engineering_crs_everywhere(tmp_path: Path) -> None:
    (tmp_path / "weir.yaml").write_text(BOOK, encoding="utf-8")
    survey = pegline.reduce(pegline.read(tmp_path / "weir.yaml"))
    pegline.write(survey, tmp_path, formats=("gpkg", "shp", "geoparquet", "dxf"))

    with closing(sqlite3.connect(tmp_path / "weir.gpkg")) as package:
        query = "SELECT definition_12_063 FROM gpkg_spatial_ref_sys WHERE srs_name = ?"
        (wkt2,) = package.execute(query, (NAME,)).fetchone()
    geo = json.loads(pq.read_schema(tmp_path / "weir_stations.parquet").metadata[b"geo"])
    found = [CRS.from_wkt(wkt2), CRS.from_json_dict(geo["columns"][geo["primary_column"]]["crs"])]
    found.append(CRS.from_wkt((tmp_path / "weir_stations.prj").read_text()))
    assert [(crs.name, crs.is_engineering) for crs in found] == [(NAME, True)] * 3
    # A .prj beside a drawing would say that it lies on the earth.
    assert not (tmp_path / "weir.prj").exists()
