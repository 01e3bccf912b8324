"""STEM.json: every result, in the shape that its schema tells."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from math import degrees, hypot

import jsonschema
import numpy as np
import pytest
from builders import paths
from builders import weir_survey as records
from builders.altered import with_stages

from pegline import reduce
from pegline.network.confidence import ellipses
from pegline.readers import parse_book
from pegline.writers.json import json_text, write
from pegline.writers.result import result
from pegline.writers.result_schema import result_json_schema

SCHEMA = paths.ROOT / "schemas" / "result.schema.json"


def test_the_schema_is_the_one_that_the_types_make():
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == result_json_schema()


#: A sixth correction, entered in its table and nowhere else, then every place that tells corrections.
SIXTH = """
from pathlib import Path
from pegline.reduction import tape
wet = tape.Correction("moisture", "for its moisture", lambda c: c.temperature, lambda _: (), lambda *_: 0.25)
tape.CORRECTIONS += (wet,)
import pegline
from pegline.writers.result_schema import result_json_schema
survey = pegline.reduce("samples/how-to/tape-corrections.yaml")
pegline.write(survey, "OUT", "json,html")
print(result_json_schema()["$defs"]["Corrections"]["properties"]["moisture"]["description"])
print("moisture mm" in Path("OUT/tape-corrections.html").read_text())
"""


def test_a_correction_is_entered_once(tmp_path):
    code = SIXTH.replace("OUT", str(tmp_path))
    told = subprocess.run([sys.executable, "-c", code], cwd=paths.ROOT, capture_output=True, text=True, check=True)
    assert told.stdout.splitlines() == ["for its moisture", "True"]
    lines = json.loads((tmp_path / "tape-corrections.json").read_text())["lines"].values()
    assert [line["corrections"]["moisture"] for line in lines] == [0.25, 0.25, 0.25, 0.25, 0.0, 0.0]
    for line in lines:
        assert line["ground"] == pytest.approx(line["taped"] + sum(line["corrections"].values()))


def test_every_key_of_the_schema_is_explained():
    def bare(node, path):
        if isinstance(node, dict):
            for key, entry in node.get("properties", {}).items():
                if "$ref" not in entry and entry.get("type") != "array" and "description" not in entry:
                    yield f"{path}.{key}"
            for key, each in node.items():
                yield from bare(each, f"{path}.{key}")

    assert not list(bare(result_json_schema(), ""))


@pytest.mark.parametrize("missing", [None, (), ("D has one line only; tape one more",)])
@pytest.mark.parametrize("survey", [records.survey, records.on_grid])
def test_a_result_has_the_shape_of_the_schema(survey, missing):
    entries = json.loads(json_text(result(survey(), missing)))

    jsonschema.Draft202012Validator(result_json_schema()).validate(entries)
    assert ("missing" in entries) == (missing is not None)


def test_a_key_too_many_does_not_have_the_shape(local):
    entries = {**result(local), "extra": 1}

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(entries, result_json_schema())


def test_what_is_written_is_read_back_to_the_last_digit(tmp_path, grid):
    write(grid, tmp_path / "weir.json")

    read = json.loads((tmp_path / "weir.json").read_text(encoding="utf-8"))
    assert read == result(grid)
    assert read["points"]["h1"]["x"] == 8.2 + 512_340.25


def test_what_is_not_finite_never_leaves(tmp_path, local):
    positions = local.detail.points.positions.copy()
    positions[0] = np.nan
    broken = with_stages(local, detail=replace(local.detail, points=replace(local.detail.points, positions=positions)))

    with pytest.raises(ValueError, match="not JSON compliant"):
        write(broken, tmp_path / "weir.json")


def test_the_corrections_lead_from_the_reading_to_the_ground(local):
    for line in result(local)["lines"].values():
        assert line["taped"] + sum(line["corrections"].values()) == pytest.approx(line["ground"], abs=1e-12)
        assert set(line["corrections"]) == {"standard", "temperature", "pull", "sag", "slope"}


def test_a_line_is_computed_on_the_ground(grid):
    line = result(grid)["lines"]["A-C"]

    assert line["computed"] == pytest.approx(hypot(22, 24) / 0.9996, abs=1e-9)
    assert line["difference"] is None  # nothing else measures it
    check = result(grid)["lines"]["C-D"]
    assert check["difference"] == pytest.approx(check["ground"] - check["computed"], abs=1e-12)


def test_rows_are_told_left_positive_and_oblique_ones_as_lists(local):
    found = result(local)["points"]

    assert found["h2"]["rows"] == [
        {"line": "A-B", "at": 16.95, "offset": 3.22, "source": "27:9", "page": "12", "mark_at": None}
    ]
    assert found["apple"]["rows"][0]["at"] == [20.0, 30.0]
    assert found["apple"]["rows"][0]["offset"] == [-11.42, -9.87]
    assert found["h3"]["rows"] == []
    assert found["bay"]["rows"] == [
        {"line": None, "at": None, "offset": [4.2, 5.1], "source": "43:9", "page": None, "mark_at": None}
    ]


def test_bearings_are_told_in_degrees(local):
    length, bearing = result(local)["measurements"]

    assert length["value"] == 52.32
    assert (bearing["value"], bearing["residual"]) == pytest.approx((90.2, 0.2))
    assert bearing["smallest_noticed"] is None


def test_the_frame_is_told_in_degrees(grid, local):
    told = result(grid)["frame"]

    assert told["convergence"] == degrees(grid.frame.convergence)
    assert told["crs"] == grid.frame.wkt
    assert result(local)["frame"]["crs"] is None
    assert result(local)["frame"]["rotation"] == 0.0


def test_rotation_turns_the_local_axes_clockwise_onto_the_frames(local):
    # The base line runs north in the frame; the local +x along it must turn 90° clockwise to be the frame's +x.
    solution = local.adjustment.solution
    north = replace(solution, positions=solution.positions @ np.array([[0.0, 1.0], [-1.0, 0.0]]))
    turned = with_stages(local, adjustment=replace(local.adjustment, adjusted=north))

    assert result(turned)["frame"]["rotation"] == pytest.approx(90.0)


def test_geometry_is_geojson_with_outer_rings_anticlockwise(local):
    found = result(local)["features"]
    ring = np.array(found["cottage"]["geometry"]["coordinates"][0])

    assert ring[0].tolist() == ring[-1].tolist()
    assert ring[:-1, 0] @ ring[1:, 1] > ring[1:, 0] @ ring[:-1, 1]
    assert found["lane"]["geometry"]["type"] == "LineString"
    assert found["apple"]["geometry"] == {"type": "Point", "coordinates": [25.0, -6.0]}


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, 90.0, 135.0, 179.0])
def test_an_ellipse_is_that_of_its_covariance_turned(turn_deg):
    # a = sd √(χ²(0.95, 2)), χ² = 5.991 464 547 (Abramowitz and Stegun's table 26.8 has 5.99146); from memory.
    sd_a, sd_b, turn = 3.0, 1.0, np.radians(turn_deg)
    major = np.array([np.sin(turn), np.cos(turn)])
    minor = np.array([-major[1], major[0]])
    variance = sd_a**2 * np.outer(major, major) + sd_b**2 * np.outer(minor, minor)

    a, b, bearing = ellipses(variance[None])[0]

    assert (a, b) == pytest.approx((sd_a * 5.991464547**0.5, sd_b * 5.991464547**0.5))
    assert (bearing - turn_deg + 90) % 180 == pytest.approx(90)


def test_tables_and_lists_have_a_line_for_each_member(tmp_path, local):
    write(local, tmp_path / "weir.json")
    lines = (tmp_path / "weir.json").read_text(encoding="utf-8").splitlines()

    assert sum(line.startswith('  "lane.') for line in lines) == 3


def test_a_line_that_nothing_else_measures_has_no_difference(tmp_path):
    # Without a check the computed length of each line is the taped one: 0.000 would look like a good check.
    lines = "  A-B: {use: base, taped: 50.00}\n  A-C: {use: side, taped: 40.00}\n  C-B: {use: side, taped: 30.00}\n"
    head = "book: 1\nunit: m\nstations: {C: {left_of: A-B}, D: {right_of: A-B}}\nlines:\n"
    alone = result(reduce(parse_book((head.replace(", D: {right_of: A-B}", "") + lines).encode(), "alone.yaml")))
    assert {each["difference"] for each in alone["lines"].values()} == {None}
    more = (
        lines
        + "  A-D: {use: side, taped: 40.00}\n  D-B: {use: side, taped: 30.00}\n  C-D: {use: check, taped: 48.01}\n"
    )
    checked = result(reduce(parse_book((head + more).encode(), "checked.yaml")))
    assert None not in {each["difference"] for each in checked["lines"].values()}
