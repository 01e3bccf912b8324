"""What format 1 gained, through the whole flow: drawn, on the computation sheet, in the results and in tables."""

import argparse
import json

import pytest
import shapely
from builders.little_book import head
from builders.paths import ROOT

from pegline import read, reduce, write
from pegline.commands import table
from pegline.errors import BookError
from pegline.kinds import KINDS
from pegline.readers import parse_book

HOW_TO = ROOT / "samples" / "how-to"
FRAME = (
    head()
    + """\
lines:
  A-C: {use: side, taped: 40}
  C-B: {use: side, taped: 40}
  A-B:
    use: base
    taped: 60
    details:
"""
)
POINTS = "".join(
    f"      - {{at: {at}, left: {left}, point: {name}}}\n"
    for name, at, left in (("p", 5, 3), ("q", 20, 4), ("r", 35, 3), ("s", 20, 9))
)


def plan_of(features):
    return reduce(parse_book(f"{FRAME}{POINTS}features:\n{features}".encode(), "b.yaml")).plan()


LINES = [name for name, kind in KINDS.items() if kind.geometry == "line"]


@pytest.mark.parametrize("kind", LINES)
@pytest.mark.parametrize("geometry", ["through", "curve"])
def test_both_edges_of_any_line_with_a_thickness_and_a_face_are_drawn(kind, geometry):
    plan = plan_of(f"  way: {{kind: {kind}, {geometry}: [p, q, r], thickness: 1.5, face: left}}\n")
    edges = [feature for feature in plan.features if feature.name.startswith("way")]

    if kind in ("wall", "retaining wall"):  # one outline with its ends closed
        assert [(edge.shown_name, edge.geometry.closed) for edge in edges] == [("way", True)]
        assert shapely.Polygon(edges[0].geometry.vertices).area == pytest.approx(
            1.5 * shapely.LineString(edges[0].spine.vertices).length, rel=0.1
        )
    else:
        names = [edge.shown_name for edge in edges]
        assert names.count("way") >= 1
        assert names.count("way, other face") == 1


@pytest.mark.parametrize("kind", ["drive", "road"])
def test_a_drive_and_a_road_are_areas(kind):
    plan = plan_of(f"  way: {{kind: {kind}, ring: [p, q, r, s]}}\n")

    assert plan.survey.detail.shapes["way"].form == "area"
    assert plan.survey.detail.shapes["way"].area > 0


def test_the_computation_sheet_shows_the_working_of_each_obstacle(tmp_path):
    write(reduce(HOW_TO / "obstacle.yaml"), tmp_path, "html")
    sheet = (tmp_path / "obstacle.html").read_text(encoding="utf-8")

    for working in (
        "past pond: √(14.60² - (4.00 - 4.00)²) = 14.60 m",
        "past shed: √(10.55² - 5.00²) = 9.29 m",
        "cos the angle of chord 5.00 at 5.00 and 5.00) = 12.60 m",
        "past river: 4.75 × 6.00 / (9.75 - 6.00) = 7.60 m",
    ):
        assert working in sheet, working


def test_the_computation_sheet_says_how_a_line_was_stepped_and_a_row_booked(tmp_path):
    for name in ("sloping-ground", "walking-back", "unreachable-corner"):
        write(reduce(HOW_TO / f"{name}.yaml"), tmp_path, "html")

    assert "stepped in 6 drops" in (tmp_path / "sloping-ground.html").read_text(encoding="utf-8")
    assert "B-A at 34.60 m left 3.10 m; ground 13.995 / 3.100 m" in (tmp_path / "walking-back.html").read_text(
        encoding="utf-8"
    )
    assert "where h1-h2, produced, cuts it" in (tmp_path / "unreachable-corner.html").read_text(encoding="utf-8")


def test_rows_booked_walking_back_are_told_forward_in_the_results(tmp_path):
    write(reduce(HOW_TO / "walking-back.yaml"), tmp_path, "json")
    points = json.loads((tmp_path / "walking-back.json").read_text(encoding="utf-8"))["points"]
    there, back = points["h1"]["rows"]

    assert (there["line"], back["line"]) == ("A-B", "A-B")
    assert back["at"] == pytest.approx(there["at"], abs=0.02)
    assert back["offset"] == pytest.approx(there["offset"], abs=0.02)
    assert back["source"].startswith("19:")


@pytest.mark.parametrize("end", ["", ".xlsx", ".ods"])
@pytest.mark.parametrize("path", sorted(HOW_TO.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_small_book_comes_back_from_its_tables(path, end, tmp_path):
    tables, back = tmp_path / f"tables{end}", tmp_path / "back.yaml"
    for source, to in ((path, tables), (tables, back)):
        table.run(argparse.Namespace(files=[str(source)], to=str(to)), print, print)
    book, again = read(path), read(back)

    assert again.lines.keys() == book.lines.keys()
    assert [row.name for line in again.lines.values() for row in line.details] == [
        row.name for line in book.lines.values() for row in line.details
    ]
    assert [leg.reading.length for line in again.lines.values() for leg in line.legs] == [
        leg.reading.length for line in book.lines.values() for leg in line.legs
    ]
    assert (again.sheet, again.limits.unnoticed_ratio) == (book.sheet, book.limits.unnoticed_ratio)
    assert {name: [str(pair) for pair in point.meet] for name, point in again.points.items()} == {
        name: [str(pair) for pair in point.meet] for name, point in book.points.items()
    }


PASSED = (
    head("C: {left_of: A-B}, D: {right_of: A-B}, E: {right_of: A-B}", method="optical square")
    + """\
lines:
  A-B:
    use: base
    legs:
      - 20.00
      - {past: shed, perpendicular: 5.00, hypotenuse: 26.40}
  A-C: {use: side, taped: 34.41}
  C-B: {use: side, taped: 38.16}
  A-D: {use: side, taped: 34.66}
  D-B: {use: side, taped: 31.84}
  A-E: {use: side, taped: 40.85}
  E-B: {use: side, taped: 16.96}
  C-D: {use: check, taped: 52.24}
  D-E: {use: check, taped: 15.81}
  C-E: {use: check, taped: 46.62}
"""
)


@pytest.mark.parametrize(("wrong", "slip"), [("24.60", "the digits"), ("25.40", "1 m misread")])
def test_a_mistake_in_a_reading_past_an_obstacle_is_found(wrong, slip):
    assert reduce(parse_book(PASSED.encode(), "b.yaml")).passed

    survey = reduce(parse_book(PASSED.replace("26.40", wrong).encode(), "b.yaml"))
    first = survey.diagnosis.suspects[0]

    assert (first.what, first.reading, first.place.line) == ("A-B", wrong, 12)
    assert float(first.would_be) == 26.4
    assert first.slip.startswith(slip)


def test_a_mistake_past_an_obstacle_that_tears_the_framework_is_told_with_what_would_close_it():
    with pytest.raises(BookError, match=r"all checks then pass with A-B 26.40 \(the decimal point"):
        reduce(parse_book(PASSED.replace("26.40", "264.0").encode(), "b.yaml"))
