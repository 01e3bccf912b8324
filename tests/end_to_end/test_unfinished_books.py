"""Half-finished books: any prefix of a sound book that is YAML is checked as far as it goes, and drawn on request."""

import json
import re
from pathlib import Path

import pytest

from pegline.cli import main
from pegline.diagnosis.report import do_now
from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.readers.yaml import parse
from pegline.survey import reduce_as_far_as_it_goes

SAMPLES = Path(__file__).parents[2] / "samples"
BOOKS = sorted(SAMPLES.rglob("*.yaml"))
EVERY = 9  # of the prefixes are solved in every run; all of them with the long tests


def prefixes(path):
    """Yield each prefix of a book that is YAML, cut after each line from that of ``unit:`` on."""
    lines = path.read_text(encoding="utf-8").split("\n")
    first = next(number for number, line in enumerate(lines) if line.startswith("unit:"))
    for number in range(first + 1, len(lines)):
        text = "\n".join(lines[:number]) + "\n"
        try:
            parse(text, path.name)
        except BookError:
            continue
        yield text


def as_far_as_it_goes(text, name):
    book = parse_book(text.encode(), name)
    survey, missing = reduce_as_far_as_it_goes(book)
    assert all(finding.text for finding in missing)
    return survey, missing


@pytest.mark.parametrize("path", BOOKS, ids=[path.stem for path in BOOKS])
def test_every_prefix_of_a_sound_book_is_read(path):
    for text in prefixes(path):
        parse_book(text.encode(), path.name)


@pytest.mark.parametrize("path", BOOKS, ids=[path.stem for path in BOOKS])
def test_prefixes_of_a_sound_book_are_solved_as_far_as_they_go(path):
    for number, text in enumerate(prefixes(path)):
        if number % EVERY == 0:
            as_far_as_it_goes(text, path.name)


@pytest.mark.long
@pytest.mark.parametrize("path", BOOKS, ids=[path.stem for path in BOOKS])
def test_every_prefix_of_a_sound_book_is_solved_as_far_as_it_goes(path):
    solved = [as_far_as_it_goes(text, path.name)[0] for text in prefixes(path)]

    measured = any(line.taped or line.legs for line in parse_book(path.read_bytes(), path.name).lines.values())
    assert any(survey is not None for survey in solved) == measured


def test_a_prefix_never_has_fewer_stations_than_a_shorter_one():
    text = (SAMPLES / "house-plot.yaml").read_text(encoding="utf-8")
    counts = []
    for prefix in prefixes(SAMPLES / "house-plot.yaml"):
        if prefix.count("\n") < text[: text.index("dimensions:")].count("\n"):
            survey, _ = as_far_as_it_goes(prefix, "b.yaml")
            counts.append(survey.adjustment.solution.stations if survey else 0)

    assert counts == sorted(counts)
    assert counts[-1] > 3


def test_a_book_cut_off_after_its_lines_says_what_is_missing_with_the_verdict(tmp_path, capsys):
    text = (SAMPLES / "house-plot.yaml").read_text(encoding="utf-8")
    path = tmp_path / "cut.yaml"
    path.write_text(text[: text.index("\ndimensions:") + 1], encoding="utf-8")

    assert main(["check", str(path)]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert re.search(r"there is no feature 'fence' yet", told.out)
    assert told.out.index("there is no feature 'fence' yet") < told.out.index("A-B")


OPEN = """\
book: 1
unit: m
lines:
  A-B: {use: base, taped: 50}
  A-C: {use: side, taped: 40}
  C-B: {use: side, taped: {either: [30, 36]}}
  A-D: {use: side, taped: 35}
  D-B: {use: side, taped: 28}
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
"""


def test_a_reading_that_nothing_settles_yet_is_left_out_with_its_station():
    survey, missing = as_far_as_it_goes(OPEN, "b.yaml")

    assert survey is not None
    assert set(survey.adjustment.solution.names) == {"A", "B", "D"}
    assert any(finding.rule == "either-open" and "30 m or 36 m" in finding.text for finding in missing)


def test_a_station_that_is_left_free_gives_the_smaller_plan():
    survey, missing = as_far_as_it_goes(
        OPEN.replace("{either: [30, 36]}", "30").replace("  D-B: {use: side, taped: 28}\n", ""), "b.yaml"
    )

    assert survey is not None
    assert set(survey.adjustment.solution.names) == {"A", "B", "C"}
    assert any("D" in finding.text for finding in missing)
    # All lines between the three are taped, but not those to D: no peg more than the book has is wanted.
    assert [one for one in do_now(survey) if one.startswith("Set one more peg")] == []


def test_check_names_a_wrong_row_and_checks_the_rest(tmp_path, capsys):
    path = tmp_path / "wrong.yaml"
    text = (SAMPLES / "how-to" / "house-by-edge-and-depth.yaml").read_text(encoding="utf-8")
    path.write_text(text.replace("point: h2}", "point: h2, method: eys}"), encoding="utf-8")

    assert main(["check", str(path)]) == 65
    told = capsys.readouterr()
    assert re.fullmatch(r".*wrong\.yaml:16:\d+: method: 'eys' is none of its words; did you mean 'eye'\?\n", told.err)
    assert "PASSED" in told.out
    assert "house waits for points" in told.out


def test_plot_says_first_what_is_missing_and_how_to_draw_the_rest(tmp_path, capsys):
    half = SAMPLES / "how-to" / "half-finished.yaml"

    assert main(["plot", str(half), "--out", str(tmp_path)]) == 65
    first = capsys.readouterr().err.splitlines()[0]
    assert re.search(r"unfinished: \d+ things are missing, first of all: .+; draw the rest with --unfinished$", first)
    assert not list(tmp_path.iterdir())


def test_what_is_drawn_of_a_half_finished_book_says_so(tmp_path, capsys):
    half = SAMPLES / "how-to" / "half-finished.yaml"
    formats = "json,html,svg,dxf,gpkg,csv"

    assert main(["plot", str(half), "--out", str(tmp_path), "--unfinished", "--formats", formats]) == 0
    assert "unfinished: " in capsys.readouterr().out.splitlines()[0]
    names = {path.name for path in tmp_path.iterdir()}
    assert {f"half-finished-unfinished.{form}" for form in formats.split(",")} <= names
    for form in ("html", "svg", "dxf"):
        assert "UNFINISHED" in (tmp_path / f"half-finished-unfinished.{form}").read_text(encoding="utf-8"), form
    result = json.loads((tmp_path / "half-finished-unfinished.json").read_text(encoding="utf-8"))
    assert sorted(result["stations"]) == ["A", "B", "C", "D"]
