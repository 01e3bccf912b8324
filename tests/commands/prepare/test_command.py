"""The command ``pegline prepare``."""

import json

import pytest
from builders.paths import SAMPLES

from pegline.cli import main

LAYOUT = SAMPLES / "how-to" / "layout-to-measure.yaml"


def answer(capsys, path, *words):
    status = main(["prepare", str(path), *words, "--json"])
    return status, json.loads(capsys.readouterr().out)


def changed_book(tmp_path, *pairs):
    text = LAYOUT.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "layout.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def rules(found):
    return {remark["rule"] for remark in found["judgement"]}


def test_a_sound_layout(capsys):
    status, found = answer(capsys, LAYOUT)
    assert status == 0
    assert found["sketch"] == {"unit": 0.75, "top": pytest.approx(20.0)}
    base = 0.75 * (72**2 + 4**2) ** 0.5
    assert found["lines"]["A-B"]["length"] == pytest.approx(base)
    assert (found["stations"]["B"]["x"], found["stations"]["B"]["y"]) == pytest.approx((base, 0.0), abs=1e-9)
    assert all(station["checked"] for station in found["stations"].values())
    assert all(line["smallest_noticed"] < 0.5 for line in found["lines"].values())
    assert found["lines"]["A-B"]["picks_up"] == ["h1", "h2"]
    assert [triangle["well_conditioned"] for triangle in found["triangles"]] == [True, True]
    assert all(point["in_reach"] and point["sd_x"] > 0 for point in found["points"].values())
    assert found["needs"]["pegs"] == 4
    assert found["proposals"] == []


def test_without_a_check_the_layout_is_not_sound(capsys, tmp_path):
    status, found = answer(capsys, changed_book(tmp_path, ("  C-D: {use: check, taped: }\n", "")))
    assert status == 1
    assert "unchecked" in rules(found)
    assert not found["stations"]["C"]["checked"]
    assert found["stations"]["C"]["unnoticed"] is None
    assert found["lines"]["A-C"]["smallest_noticed"] is None


def test_a_detail_coarser_than_the_plan_shows_is_a_note_as_it_is_after_measuring(capsys, tmp_path):
    path = changed_book(tmp_path, ("scale: 200", "scale: 50"))
    assert main(["prepare", str(path)]) == 0
    first, *rest = capsys.readouterr().out.splitlines()
    assert first.startswith("PASSED")
    assert any(line.startswith("! at 1:50 the plan shows") for line in rest)


def test_a_flat_triangle_is_told(capsys, tmp_path):
    status, found = answer(capsys, changed_book(tmp_path, ("C: {sketch: [30, 34]}", "C: {sketch: [30, 9]}")))
    assert status == 1
    flat = next(triangle for triangle in found["triangles"] if "C" in triangle["stations"])
    assert flat["largest_angle"] > 120
    assert not flat["well_conditioned"]
    assert "triangle" in rules(found)


def test_a_line_across_the_house_is_told(capsys, tmp_path):
    _, found = answer(capsys, changed_book(tmp_path, ("h2: {sketch: [24, 5]}", "h2: {sketch: [24, -5]}")))
    assert found["lines"]["A-B"]["crosses"] == ["house"]
    assert "crosses" in rules(found)


def test_what_no_line_reaches_is_told(capsys, tmp_path):
    _, found = answer(capsys, changed_book(tmp_path, ("oak: {sketch: [56, -6]", "oak: {sketch: [20, -90]")))
    assert not found["points"]["oak"]["in_reach"]
    assert any("out of reach of every line: oak" in remark["text"] for remark in found["judgement"])


def test_a_longer_line_should_be_the_base(capsys, tmp_path):
    _, found = answer(capsys, changed_book(tmp_path, ("B: {sketch: [72, 4]}", "B: {sketch: [55, 4]}")))
    text = next(remark["text"] for remark in found["judgement"] if remark["rule"] == "base")
    assert "C-D is" in text
    assert "make it the base" in text


def test_a_far_point_is_booked_by_two_tapes(capsys, tmp_path):
    _, found = answer(capsys, changed_book(tmp_path, ("oak: {sketch: [56, -6]", "oak: {sketch: [30, -12]")))
    oak = found["points"]["oak"]
    assert oak["in_reach"]
    book = changed_book(
        tmp_path, ("oak: {sketch: [56, -6]", "oak: {sketch: [30, -14]"), ("scale: 200", "limits: {offset: 4}")
    )
    _, found = answer(capsys, book)
    assert found["points"]["oak"]["method"] == "oblique"
    assert len(found["points"]["oak"]["at"]) == 2


def test_a_book_without_lines_is_judged_too(capsys, tmp_path):
    path = tmp_path / "walk.yaml"
    path.write_text("book: 1\nunit: m\npoints: {h1: {sketch: [1, 2]}}\n", encoding="utf-8")
    status, found = answer(capsys, path)
    assert status == 1
    assert found["lines"] == {}
    assert "lines" in rules(found)


def test_a_wrong_book_stays_wrong(capsys, tmp_path):
    assert main(["prepare", str(changed_book(tmp_path, ("unit: m\n", "unit: mm3\n")))]) == 65
    assert "unit" in capsys.readouterr().err


def test_a_book_that_is_half_measured_is_taken_on(capsys, tmp_path):
    book = changed_book(
        tmp_path,
        ("use: base\n    taped:\n", "use: base\n    taped: 54.20\n"),
        ("A-C: {use: side, taped: }", "A-C: {use: side, taped: 34.10}"),
        ("C-B: {use: side, taped: }", "C-B: {use: side, taped: 38.70}"),
    )
    _, found = answer(capsys, book)
    assert found["stations"]["B"]["x"] == pytest.approx(54.20, abs=1e-6)
    assert found["needs"]["lays"] == 4 - 1  # A-D, D-B, C-D: one tape each
    following = next(remark["text"] for remark in found["judgement"] if remark["rule"] == "next")
    assert sorted(following.split(": ")[1].split(", ")) == ["A-D", "C-D", "D-B"]


def test_a_book_that_is_measured_leaves_nothing_to_do(capsys):
    status, found = answer(capsys, SAMPLES / "paddock.yaml")
    assert status in (0, 1)
    assert found["needs"]["hours"] == 0
    assert not {"next", "sketch-error"} & rules(found)
    assert any(line["picks_up"] for line in found["lines"].values())


def test_the_screen_says_what_it_takes(capsys):
    assert main(["prepare", str(LAYOUT)]) == 0
    out = capsys.readouterr().out
    for part in ("PASSED", "common practice", "look after the party", "where it is off by 2 %"):
        assert part in out


GARDEN = """\
book: 1
unit: m
scale: 200
tapes: {steel: {material: steel, length: 50}, cloth: {material: fibreglass, length: 30}}
default_tape: {lines: steel, offsets: cloth}
default_method: optical square
sketch: {unit: 1.5 m, top: 30°}
points:
  g1: {sketch: [0, 0]}
  g2: {sketch: [33, 1]}
  g3: {sketch: [32, 24]}
  g4: {sketch: [1, 22]}
  h1: {sketch: [10, 14]}
  h2: {sketch: [18, 14]}
  h3: {sketch: [18, 19]}
  h4: {sketch: [10, 19]}
features:
  garden: {kind: boundary, ring: [g1, g2, g3, g4]}
  house: {kind: building, ring: [h1, h2, h3, h4]}
"""


@pytest.fixture
def garden(tmp_path):
    path = tmp_path / "garden.yaml"
    path.write_text(GARDEN, encoding="utf-8")
    return path


def test_proposals_differ_and_say_why(garden, capsys):
    status, found = answer(capsys, garden, "--propose")
    assert status == 0
    assert 1 <= len(found["proposals"]) <= 3
    assert len({tuple(sorted(map(tuple, each["stations"].values()))) for each in found["proposals"]}) > 1
    for proposal in found["proposals"]:
        assert proposal["gain"] > 0
        assert proposal["why"].count(". ") == 1
        assert all(set(line.split("-")) <= proposal["stations"].keys() for line in proposal["lines"])
    assert found["needs"]["pegs"] > 3


def test_a_proposal_becomes_a_book_that_is_sound(garden, capsys, tmp_path):
    new = tmp_path / "new.yaml"
    assert main(["prepare", str(garden), "--propose", "--to", str(new)]) == 0
    capsys.readouterr()
    status, found = answer(capsys, new)
    assert status == 0
    assert all(station["checked"] for station in found["stations"].values())
    assert all(point["in_reach"] for point in found["points"].values())
    text = new.read_text(encoding="utf-8")
    for part in ("witnesses:", "taped:\n", "{at: , "):
        assert part in text
    assert main(["prepare", str(garden), "--to", str(new)]) == 2
    assert "it is there already" in capsys.readouterr().err
    assert main(["prepare", str(garden), "--to", str(tmp_path / "x.yaml"), "--choose", "9"]) == 2
    assert "no proposal 9" in capsys.readouterr().err


STRIP = """\
book: 1
unit: m
tapes: {steel: {material: steel, length: 50}, cloth: {material: fibreglass, length: 30}}
default_tape: {lines: steel, offsets: cloth}
default_method: optical square
points:
  g1: {sketch: [0, 0]}
  g2: {sketch: [64, 1]}
  g3: {sketch: [64, 9]}
  g4: {sketch: [1, 8.5]}
  h1: {sketch: [30, 2.5]}
  h2: {sketch: [34, 2.5]}
  h3: {sketch: [34, 5.5]}
  h4: {sketch: [30, 5.5]}
features:
  garden: {kind: boundary, ring: [g1, g2, g3, g4]}
  house: {kind: building, ring: [h1, h2, h3, h4]}
"""


def test_a_strip_gets_one_long_line_with_triangles_on_its_tie_stations(capsys, tmp_path):
    strip, new = tmp_path / "strip.yaml", tmp_path / "new.yaml"
    strip.write_text(STRIP, encoding="utf-8")
    assert main(["prepare", str(strip), "--propose", "--to", str(new)]) == 0
    capsys.readouterr()
    status, found = answer(capsys, new)
    assert status == 0
    base = max(line["length"] for line in found["lines"].values())
    assert found["lines"]["A-B"]["length"] == base > 55
    assert all(station["checked"] for station in found["stations"].values())
    assert all(point["in_reach"] for point in found["points"].values())
    assert found["triangles"]
    assert all(triangle["smallest_angle"] >= 30 for triangle in found["triangles"])


def test_a_strip_too_narrow_for_any_triangle_gets_the_reason(garden, capsys):
    garden.write_text(
        GARDEN.replace("[32, 24]", "[33, 5]").replace("[1, 22]", "[0, 4]").replace("house:", "# house:"),
        encoding="utf-8",
    )
    _, found = answer(capsys, garden, "--propose")
    assert found["proposals"] == []
    assert any("strip" in remark["text"] for remark in found["judgement"])
