"""The command ``pegline setout``."""

import json
from math import hypot
from pathlib import Path

import pytest
from builders.little_book import TWO_TRIANGLES, head

from pegline.cli import main

SAMPLE = Path(__file__).parents[3] / "samples" / "house-plot.yaml"
TARGETS = """\
points:
  q1: {line: A-B, at: 30, right: 4}
  q2: {line: A-B, at: 34, right: 4}
  cross: {meet: [A-B, C-D]}
  swung: {from: {A: 20, C: 25}, left_of: A-C}
  given: {easting: 466940.0, northing: 5339050.0}
features:
  new shed: {kind: outbuilding, rectangle: {edge: q1-q2, right: 3}, corners: [q3, q4]}
  annex: {kind: building, taped_round: {edge: q1-q2, walls: [left 2, left 4]}}
  new fence: {kind: fence, parallel: {to: west hedge, left: 2}}
  walk: {kind: path, curve: [q1, q2, swung]}
"""


@pytest.fixture
def targets(tmp_path):
    path = tmp_path / "targets.yaml"
    path.write_text(TARGETS, encoding="utf-8")
    return path


def answer(capsys, *words):
    status = main(["setout", str(SAMPLE), *map(str, words), "--json"])
    return status, json.loads(capsys.readouterr().out)


def apart(found, one, other):
    ends = [found["targets"][name] for name in (one, other)]
    return hypot(ends[0]["x"] - ends[1]["x"], ends[0]["y"] - ends[1]["y"])


def test_targets_of_every_kind(targets, capsys):
    status, found = answer(capsys, targets)
    assert status == 0
    grid = 6e-4  # near the middle of a UTM zone lengths on the ground are 0.04 % longer, and a little with the height
    assert apart(found, "q1", "q2") == pytest.approx(4.0, rel=grid)
    assert apart(found, "q2", "q3") == pytest.approx(3.0, rel=grid)
    assert apart(found, "q1", "q3") == pytest.approx(5.0, rel=grid)
    assert apart(found, "q2", "annex.1") == pytest.approx(2.0, rel=grid)
    assert apart(found, "annex.1", "annex.2") == pytest.approx(4.0, rel=grid)
    line = next(way for way in found["targets"]["q1"]["by_line"] if way["line"] == "A-B")
    assert (line["at"], line["offset"]) == pytest.approx((30.0, -4.0), abs=1e-6)
    assert found["targets"]["swung"]["by_arcs"][0]["from"]["A"] == pytest.approx(20.0, abs=1e-6)
    assert found["targets"]["given"]["x"] == pytest.approx(466940.0)
    assert {"new fence.1", "new fence.3", "walk.1"} <= found["targets"].keys()
    diagonals = {tuple(check["between"]): check["distance"] for check in found["checks"]}
    assert diagonals["q1", "q3"] == pytest.approx(5.0, abs=1e-6)
    assert diagonals["q2", "q4"] == pytest.approx(5.0, abs=1e-6)


def test_the_tape_in_hand_decides_what_is_read(targets, capsys, tmp_path):
    text = SAMPLE.read_text(encoding="utf-8")
    book = tmp_path / "long.yaml"
    book.write_text(
        text.replace("fibre: {material: fibreglass", "fibre: {true_length: 30.03, material: fibreglass"),
        encoding="utf-8",
    )
    main(["setout", str(book), str(targets), "--tape", "fibre", "--json"])
    found = json.loads(capsys.readouterr().out)
    way = found["targets"]["q2"]["by_arcs"][0]
    for name, distance in way["from"].items():
        assert way["reads"][name] == pytest.approx(distance * 30 / 30.03, abs=1e-6)


def test_what_is_measured_back_is_judged(targets, capsys, tmp_path):
    _, found = answer(capsys, targets)
    should = found["targets"]["q1"]["by_arcs"][0]["from"]
    (first, length), *_ = should.items()
    status, good = answer(capsys, targets, "--from", f"q1:{first}={length:.3f}")
    assert (status, good["measured"][0]["passed"]) == (0, True)
    back = tmp_path / "back.csv"
    back.write_text(f"target,from,reading\nq1,{first},{length + 0.4:.3f}\nq1,q2,4.01\n", encoding="utf-8")
    status, bad = answer(capsys, targets, "--from", back)
    assert status == 1
    assert [one["passed"] for one in bad["measured"]] == [False, True]
    assert main(["setout", str(SAMPLE), str(targets), "--from", str(back)]) == 1
    assert "FAILED   q1: set out again." in capsys.readouterr().out


def test_from_an_unsound_survey_nothing_is_set_out(targets, capsys, tmp_path):
    text = SAMPLE.read_text(encoding="utf-8")
    failed = tmp_path / "failed.yaml"
    failed.write_text(
        text.replace("C-D: {use: check, taped: 48.50}", "C-D: {use: check, taped: 49.50}"), encoding="utf-8"
    )
    assert main(["setout", str(failed), "h1", "--json"]) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "FAILED" in captured.err
    assert main(["setout", str(failed), "h1", "--json", "--unchecked"]) == 1
    assert "h1" in json.loads(capsys.readouterr().out)["targets"]


def test_gone_pegs_are_not_used(targets, capsys):
    _, found = answer(capsys, targets, "--gone", "A", "--gone", "T")
    for target in found["targets"].values():
        assert all("A" not in way["line"].split("-") for way in target["by_line"])
        assert all(not {"A", "T"} & way["from"].keys() for way in target["by_arcs"])


def test_the_screen_holds_the_cautions(targets, capsys):
    assert main(["setout", str(SAMPLE), str(targets)]) == 0
    out = capsys.readouterr().out
    assert "find out what lies under the ground" in out
    assert "licensed surveyor" in out


def test_targets_whose_distances_do_not_meet_are_told_in_the_units_of_the_book(capsys, tmp_path):
    book, targets = tmp_path / "feet.yaml", tmp_path / "targets.yaml"
    book.write_text("book: 1\nunit: ft\nlines:\n  A-B: {use: base, taped: 60 ft 6 in}\n", encoding="utf-8")
    targets.write_text("points:\n  q1: {from: {A: 3, B: 4}, left_of: A-B}\n", encoding="utf-8")
    assert main(["setout", str(book), str(targets), "--unchecked"]) == 65
    assert "A and B are 60 ft 6 in apart" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "status", "message"),
    [
        ("points:\n  q1: {line: A-B, at: 3, easting: 4}\n", 65, "write one of"),
        ("points:\n  q1: {line: A-Z, at: 3}\n", 65, "no station, point or target 'Z'"),
        ("points:\n  h1: {line: A-B, at: 3}\n", 65, "a point of the survey already"),
        ("points:\n  q1: {line: A-q1, at: 3}\n", 65, "hangs on itself"),
        ("points:\n  q1: {from: {A: 3, B: 4}, left_of: A-B}\n", 65, "do not meet"),
        ("points:\n  q1: {meet: [A-B, h1-h2]}\n", 65, "nearly side by side"),
        ("features:\n  f: {kind: fence, parallel: {to: lane, left: 2}}\n", 65, "no line feature 'lane'"),
    ],
)
def test_a_wrong_file_is_told_with_its_place(capsys, tmp_path, text, status, message):
    path = tmp_path / "wrong.yaml"
    path.write_text(text, encoding="utf-8")
    assert main(["setout", str(SAMPLE), str(path)]) == status
    error = capsys.readouterr().err
    assert message in error
    assert error.startswith(f"{path}:2:")


def test_words_that_mean_nothing_are_told(targets, capsys):
    for words, message in (
        (["zz"], "no station or point 'zz'"),
        (["h1", "--tape", "rope"], "no tape 'rope'"),
        (["h1", "--from", "h1"], "is no distance"),
        (["h1", "--from", "h9:A=3"], "is no target"),
    ):
        assert main(["setout", str(SAMPLE), *words]) == 2
        assert message in capsys.readouterr().err


HOUSE_CORNERS_ONCE = (
    head(TWO_TRIANGLES, method="optical square")
    + """\
lines:
  A-B:
    use: base
    taped: 40.00
    details:
      - {at: 8.00, left: 4.00, point: h1}
      - {at: 16.00, left: 4.00, point: h2}
      - {at: 20.00, left: 3.00, point: w1}
      - {at: 24.00, left: 5.00, point: w2}
      - {at: 28.00, left: 3.50, point: w3}
  A-C: {use: side, taped: 32.02}
  C-B: {use: side, taped: 32.02}
  A-D: {use: side, taped: 32.02}
  D-B: {use: side, taped: 32.02}
  C-D: {use: check, taped: 50.00}
features:
  front: {kind: wall, through: [h1, h2]}
  bent wall: {kind: wall, curve: [w1, w2, w3]}
"""
)


@pytest.fixture
def loose(tmp_path):
    path = tmp_path / "loose.yaml"
    path.write_text(HOUSE_CORNERS_ONCE, encoding="utf-8")
    return path


def test_targets_that_hang_on_what_no_check_reaches_are_warned_of(loose, capsys, tmp_path):
    shed = tmp_path / "shed.yaml"
    shed.write_text("points: {n1: {line: h1-h2, at: 12}, n2: {line: A-B, at: 20}}\n", encoding="utf-8")
    assert main(["setout", str(loose), str(shed)]) == 0
    before_second = capsys.readouterr().out.split("n2: ")[0]
    assert "nothing checks h1 and h2: a mistake in their rows would put this peg wrong unseen" in before_second
    assert main(["setout", str(loose), str(shed), "--json"]) == 0
    captured = capsys.readouterr()
    assert "n1: nothing checks h1 and h2" in captured.err
    assert "n2: nothing checks" not in captured.err
    assert main(["setout", str(loose), "A"]) == 0
    assert "nothing checks" not in capsys.readouterr().out


def test_distances_are_from_checked_points_and_never_from_the_course_of_a_curve(loose, capsys, tmp_path):
    target = tmp_path / "t.yaml"
    target.write_text("points: {n: {line: A-B, at: 22, left: 2}}\n", encoding="utf-8")
    main(["setout", str(loose), str(target), "--json"])
    (n,) = json.loads(capsys.readouterr().out)["targets"].values()
    assert n["by_arcs"][0]["from"].keys() <= {
        "A",
        "B",
        "C",
        "D",
    }  # the wall's corners are nearer, but nothing checks them
    main(["setout", str(loose), str(target), "--json", "--gone", "A", "--gone", "B", "--gone", "C", "--gone", "D"])
    (n,) = json.loads(capsys.readouterr().out)["targets"].values()
    for way in n["by_arcs"]:
        assert way["from"].keys() <= {"h1", "h2", "w1", "w3"}
