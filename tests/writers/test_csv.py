"""The points as CSV."""

from __future__ import annotations

import csv
from dataclasses import replace

import pytest
from builders import weir_survey as records
from builders.altered import with_stages
from hypothesis import given
from hypothesis import strategies as st

from pegline.writers.csv import write
from pegline.writers.csv_cells import text_cell


def _read(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def test_the_points_are_there_with_units_in_the_header(tmp_path, local):
    base = local.book.lines["A-B"]
    unpaged = replace(base, details=tuple(replace(row, page=None) for row in base.details))
    write(
        with_stages(local, book=replace(local.book, lines={**local.book.lines, "A-B": unpaged})), tmp_path / "weir.csv"
    )
    head, *rows = _read(tmp_path / "weir.csv")

    assert head == [
        "name",
        "east (m)",
        "north (m)",
        "standard deviation (m)",
        "standard deviation relative to the base line (m)",
        "checked",
        "unnoticed (m; empty: any distance)",
        "reliable",
        "kind",
    ]
    assert len(rows) == 5 + 9
    assert rows[0] == ["A", "0.0000", "0.0000", "0.0000", "0.0000", "yes", "0.0500", "yes", "station"]
    assert rows[2][:3] == ["T", "24.0000", "0.0000"]
    assert rows[2][8] == "tie station"
    of_h1 = {row[0]: row for row in rows}["h1"]
    assert of_h1[5:] == ["no", "", "yes", "building"]
    assert float(of_h1[4]) < float(of_h1[3])


def test_a_book_with_pages_has_two_more_columns(tmp_path, local):
    write(local, tmp_path / "weir.csv")
    head, *rows = _read(tmp_path / "weir.csv")

    assert head[9:] == ["page", "image"]
    assert {row[0]: row[9:] for row in rows if any(row[9:])} == {"h2": ["12", "scans/p12.jpg"]}


def test_coordinates_are_in_the_unit_of_the_crs(tmp_path):
    write(records.on_grid(metres_per_unit=0.3048), tmp_path / "weir.csv")
    head, first, *_ = _read(tmp_path / "weir.csv")

    assert head[1] == "east (ft)"
    assert float(first[1]) == pytest.approx(512_340.25 / 0.3048, abs=1e-4)


def test_the_standard_deviation_is_that_along_the_worst_direction(tmp_path, local):
    variances = local.detail.points.variances.copy()
    variances[0] = [[0.0004, 0.0], [0.0, 0.0009]]
    local = with_stages(local, detail=replace(local.detail, points=replace(local.detail.points, variances=variances)))
    write(local, tmp_path / "weir.csv")

    assert {row[0]: row[3] for row in _read(tmp_path / "weir.csv")}["h1"] == "0.0300"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "=cmd|'/c calc'!A1"])
def test_no_text_is_taken_for_a_formula(text):
    assert text_cell(text)[0] == "'"


@given(st.text())
def test_a_text_keeps_its_letters(text):
    assert text_cell(text).endswith(text)
