"""What a comparison takes of a book and of a file of results; files that are damaged."""

from __future__ import annotations

import argparse
import json
from math import log, sqrt

import numpy as np
import pytest
from builders.kites import AGAIN, KITE, compare_results, results_of

from pegline.cli import main
from pegline.commands.diff import of_book, of_json, run
from pegline.commands.diff.results import small_difference, small_length, way
from pegline.errors import OpenError
from pegline.measures.notation import METRES, Notation
from pegline.readers import parse_book

#: With a wall, whose two points are measured once, and a bed.
WITH_POINTS = KITE.replace(
    "taped: 50.00}", "taped: 50.00, details: [{at: 8, left: 3, point: p}, {at: 16, left: 3, point: q}]}"
)
WITH_POINTS += "features: {wall: {kind: wall, through: [p, q]}, bed: {kind: bed, ring: [p, q, C]}}\n"


def damage(where, value):
    entries = results_of(KITE)
    inner = entries
    for key in where[:-1]:
        inner = inner[key]
    assert where[-1] in inner
    inner[where[-1]] = value
    return entries


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e308, 10**400, True, "1", None])
@pytest.mark.parametrize(
    "where",
    [
        ("stations", "A", "x"),
        ("stations", "C", "local", "ellipse", "a"),
        ("stations", "C", "local", "ellipse", "bearing"),
        ("frame", "scale"),
        ("lines", "A-C", "taped"),
    ],
)
def test_a_number_that_is_none_is_told_as_damage(tmp_path, where, value):
    with pytest.raises(OpenError, match="holds no results"):
        compare_results(tmp_path, results_of(AGAIN), damage(where, value))


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("frame", "scale"), 0),
        (("frame", "scale"), -1.0),
        (("frame", "crs"), 5),
        (("frame", "kind"), 5),
        (("book", "title"), 5),
        (("book", "file"), None),
        (("book", "date"), ["2025-05-02"]),
        (("lines", "A-B", "use"), 5),
        (("stations", "C", "local", "ellipse", "b"), -1.0),
        (("solution", "checked"), False),  # though its checks pass
        (("checks",), [{"passed": "yes"}]),
    ],
)
def test_what_no_survey_has_is_told_as_damage(tmp_path, where, value):
    with pytest.raises(OpenError, match="holds no results"):
        compare_results(tmp_path, damage(where, value), results_of(AGAIN))


def test_points_and_areas_that_are_no_numbers_are_told_as_damage(tmp_path):
    for part, key in (("points", "x"), ("points", "y"), ("features", "area"), ("features", "area_sd")):
        entries = results_of(WITH_POINTS)
        next(iter(entries[part].values()))[key] = float("nan")
        with pytest.raises(OpenError, match="holds no results"):
            compare_results(tmp_path, entries, results_of(WITH_POINTS))


def test_a_file_of_brackets_is_told(tmp_path):
    with pytest.raises(OpenError, match="holds no results"):
        compare_results(tmp_path, 100_000 * "[", results_of(KITE))


def test_an_ellipse_as_wide_as_any_is_compared(tmp_path):
    wide = damage(("stations", "C", "local", "ellipse"), {"a": 1e4, "b": 0.0, "bearing": 33.3})
    assert compare_results(tmp_path, wide, results_of(AGAIN))[0] == 0


def test_a_title_commands_no_terminal_and_makes_no_line(tmp_path, capsys):
    path = tmp_path / "odd.json"
    path.write_text(json.dumps(damage(("book", "title"), "\x1b[2Jweir\n  B MOVED")), encoding="utf-8")
    assert main(["diff", str(path), str(path)]) == 0
    assert capsys.readouterr().out.splitlines()[0] == "Old: kite.yaml, \\x1b[2Jweir\\n  B MOVED, 2025-05-02"


@pytest.mark.parametrize("content", ["{}", "[]", "not json", '{"frame": 3, "book": 4}'])
def test_a_file_that_holds_no_results_is_told(tmp_path, content):
    path = tmp_path / "odd.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(OpenError, match="holds no results"):
        run(argparse.Namespace(old=str(path), new=str(path)), print, print)


# -- what is taken ---------------------------------------------------------------------------------------------------

#: Half axis of an ellipse of 95 % for one standard deviation.
AXIS = sqrt(-2 * log(0.05))


def altered(**ellipses):
    """Return the results of the kite with other ellipses of its stations: half axes for 95 %, and a bearing."""
    entries = results_of(KITE)
    for name, station in entries["stations"].items():
        a, b, bearing = ellipses.get(name, (0.0, 0.0, 0.0))
        station["local"]["ellipse"] = {"a": AXIS * a, "b": AXIS * b, "bearing": bearing}
    return entries


def test_an_ellipse_of_a_file_is_the_covariance_of_its_station_and_the_mean_of_all_is_added():
    # 20 and 10 mm: to the north, to the east, and to the north-east, where half of 4 + 1 and of 4 - 1 cm² are in it.
    found = of_json(altered(A=(0.02, 0.01, 0.0), B=(0.02, 0.01, 90.0), C=(0.02, 0.01, 45.0))).stations
    own = {
        "A": np.diag([1e-4, 4e-4]),
        "B": np.diag([4e-4, 1e-4]),
        "C": np.array([[2.5e-4, 1.5e-4], [1.5e-4, 2.5e-4]]),
        "D": np.zeros((2, 2)),
    }
    mean = sum(own.values()) / 4
    for number, name in enumerate(found.names):
        rows = slice(2 * number, 2 * number + 2)
        assert found.covariance[rows, rows] == pytest.approx(own[name] + mean, abs=1e-12)
        found.covariance[rows, rows] = 0.0
    assert not found.covariance.any()  # a file has no correlations


def test_what_a_file_has_in_its_frame_is_compared_on_the_ground():
    entries = results_of(WITH_POINTS)
    entries["frame"]["scale"] = 0.5
    there, here = of_json(entries), of_json(results_of(WITH_POINTS))
    assert there.stations.positions == pytest.approx(2 * here.stations.positions)
    assert there.stations.covariance == pytest.approx(4 * here.stations.covariance)
    for name, (at, covariance) in here.points.items():
        assert there.points[name][0] == pytest.approx(2 * at)
        assert there.points[name][1] == pytest.approx(4 * covariance)


def test_a_book_and_its_file_of_results_tell_the_same():
    book, file = of_book(parse_book(WITH_POINTS.encode(), "kite.yaml")), of_json(results_of(WITH_POINTS))
    assert book.stations.names == file.stations.names
    assert book.stations.positions == pytest.approx(file.stations.positions, abs=1e-6)
    assert book.features["bed"] == pytest.approx(file.features["bed"])
    assert (book.lines, book.frame, book.passed, book.closes) == (file.lines, file.frame, file.passed, file.closes)
    for name, (at, covariance) in book.points.items():
        assert file.points[name][0] == pytest.approx(at, abs=1e-6)
        assert file.points[name][1] == pytest.approx(covariance, rel=1e-3, abs=1e-9)  # an ellipse has few digits


def test_a_move_is_told_in_the_words_of_the_frame():
    local = of_json(results_of(KITE))
    assert way((0.03, -0.04), local) == "50 mm (30 mm along the base line, 40 mm to its right)"
    assert way((-0.04, 0.03), local) == "50 mm (40 mm back along the base line, 30 mm to its left)"
    entries = results_of(KITE)
    entries["frame"]["kind"] = "north"
    assert way((-0.03, 0.04), of_json(entries)) == "50 mm (30 mm west, 40 mm north)"
    assert way((0.03, -0.04), of_json(entries)) == "50 mm (30 mm east, 40 mm south)"


def test_differences_are_in_millimetres_or_in_the_unit_of_a_book_that_is_not_metric():
    assert (small_length(0.0714, METRES), small_difference(-0.0714, METRES)) == ("71 mm", "-71 mm")
    feet = of_book(parse_book(KITE.replace("unit: m", "unit: ft").encode(), "kite.yaml")).notation
    assert isinstance(feet, Notation)
    assert "mm" not in small_length(0.0714, feet)
    assert small_difference(0.3048, feet).startswith("+1")
