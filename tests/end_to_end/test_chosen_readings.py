"""A check that agrees because a reading was chosen so proves less, and every output says it."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pypdfium2
import pytest
from builders.sound_book import SOUND

import pegline
from pegline.commands.check import Screen, survey_lines
from pegline.diagnosis.report import verdict
from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.survey import reduce, reduce_as_far_as_it_goes, write

OWN = SOUND.replace("taped: 54.23", "taped: {either: [54.93, 54.23]}")
OTHER = SOUND.replace("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: {either: [37.84, 37.54]}}")
#: Nothing but C-D checks this figure.
ALONE = OWN.replace("dimensions:\n  h1-h2: 8.00\n", "").replace(", B-A: 270°", "")


def survey(text: str) -> pegline.survey.Survey:
    """Return a book's survey."""
    return reduce(parse_book(text.encode(), "chosen.yaml"))


def agrees_by_choice(of: pegline.survey.Survey) -> dict[str, bool]:
    """Return for each check whether it agrees by choice."""
    return {check.what: check.chosen for check in of.adjustment.checks}


def test_a_check_whose_own_reading_was_chosen_agrees_by_choice():
    assert agrees_by_choice(survey(OWN)) == {"C-D": True, "h1-h2": False, "B-A": False}


def test_a_check_that_only_a_chosen_reading_stands_against_agrees_by_choice():
    # Any length of A-C draws a figure; only C-D says which, so it says nothing else. B-A reads the base line again.
    assert agrees_by_choice(survey(OTHER)) == {"C-D": True, "h1-h2": False, "B-A": False}


def test_no_check_agrees_by_choice_where_no_reading_is_open():
    assert not any(agrees_by_choice(survey(SOUND)).values())


def test_a_check_with_much_else_against_it_stays_a_check():
    # A sixth line, A-E and B-E with C-E and D-E: taking one of them out leaves the others to check.
    at = "  E: {right_of: A-B}\n"
    # E at 70, -20 (by hand): from A 72.801, B 22.361, C 65.795, D 40.447.
    more = "  A-E: {use: side, taped: 72.801}\n  B-E: {use: side, taped: 22.357}\n"
    more += "  C-E: {use: check, taped: 65.794}\n  D-E: {use: check, taped: {either: [40.447, 44.047]}}\n"
    text = SOUND.replace("lines:\n", at + "lines:\n", 1).replace("dimensions:", more + "dimensions:")
    found = agrees_by_choice(survey(text))
    assert found["D-E"]
    assert not found["C-D"]
    assert not found["C-E"]


def test_checks_by_choice_and_those_of_features_do_not_make_the_framework_checked():
    # C-D alone crosses the figure, and is one of two readings; a dimension and a wall check the house.
    solved = survey(OWN).solved
    assert solved.checked is None
    assert verdict(solved).headline == "NOT CHECKED: B, C and D (2 checks passed)"
    assert verdict(solved).meaning.endswith(
        "One more agrees only because a reading left open was chosen so; that proves less."
    )


def test_a_survey_with_no_check_but_by_choice_is_not_checked():
    found = survey(ALONE)
    assert found.solved.checked is None
    assert found.adjustment.delivered == "plotting"
    assert found.passed
    assert verdict(found.solved).word == "NOT CHECKED"
    assert "One more agrees only because a reading left open was chosen so" in verdict(found.solved).meaning
    assert any(finding.rule == "unchecked-figure" for finding in found.diagnosis.warnings)


def test_the_command_shows_each_choice_and_its_odds():
    lines = list(survey_lines(survey(OWN), Screen()))
    assert any(line.startswith("~ line C-D ") for line in lines)
    assert "  ~ agrees because a reading left open was chosen so" in lines
    (choice,) = [line for line in lines if line.startswith("Chosen   of 54.93 m or 54.23 m, 54.23 m fits")]
    assert choice.endswith("book 28")


def test_a_half_finished_book_is_begun_with_the_alternative_whose_arcs_meet():
    text = OTHER.replace("[37.84, 37.54]", "[3.784, 37.54]").replace("  D-B: {use: side, taped: [39.70, 39.70]}\n", "")
    found, missing = reduce_as_far_as_it_goes(parse_book(text.encode(), "half.yaml"))
    assert found is not None
    assert "C" in found.adjustment.solution.names
    assert any("D" in finding.text for finding in missing)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Return the folder of the survey's files."""
    folder = tmp_path_factory.mktemp("chosen")
    write(survey(OWN), folder, ("json", "html", "gpkg", "pdf"))
    return folder


def test_the_json_marks_it(written):
    checks = json.loads((written / "chosen.json").read_text(encoding="utf-8"))["checks"]
    assert {check["what"]: (check["passed"], check["chosen"]) for check in checks} == {
        "C-D": (True, True),
        "h1-h2": (True, False),
        "B-A": (True, False),
    }


def test_the_sheet_marks_it(written):
    page = (written / "chosen.html").read_text(encoding="utf-8")
    assert "agrees by choice of a reading" in page
    assert "One more agrees only because a reading left open was chosen so" in page


def test_the_package_marks_it(written):
    with closing(sqlite3.connect(written / "chosen.gpkg")) as package:
        rows = package.execute("SELECT what FROM checks WHERE passed AND chosen").fetchall()
    assert rows == [("C-D",)]


def test_the_plan_does_not_count_it(written):
    document = pypdfium2.PdfDocument(written / "chosen.pdf")
    text = " ".join(document[0].get_textpage().get_text_range().split())
    document.close()
    assert "NOT CHECKED: B, C and D" in text
    assert "PASSED:" not in text
    assert "agrees only because a reading left open was chosen so" in text


#: A reading past the shed in the sample of obstacles, left open: of 10.55, which is right, and its digits exchanged.
PAST_A_SHED = (Path(__file__).parents[2] / "samples/how-to/obstacle.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize("either", ["[10.55, 15.05]", "[15.05, 10.55]"])
def test_a_reading_past_an_obstacle_that_is_left_open_is_chosen_by_the_rest(either):
    text = PAST_A_SHED.replace("hypotenuse: 10.55", f"hypotenuse: {{either: {either}}}")
    as_booked, chosen = survey(PAST_A_SHED), survey(text)

    (told,) = [finding.text for finding in chosen.diagnosis.warnings if finding.rule == "either-chosen"]
    assert "10.55 m fits the rest of the book" in told
    lines, booked = chosen.reduction.lines, as_booked.reduction.lines
    assert lines["A-B"].ground.length == pytest.approx(booked["A-B"].ground.length, abs=1e-9)
    # √(10.55² - 5.00²) = 9.29, by hand.
    assert chosen.book.lines["A-B"].legs[3].reading.length.text == "9.29"
    assert [check.chosen for check in chosen.adjustment.checks if check.what == "C-D"] == [True]


def test_a_reading_past_an_obstacle_that_nothing_settles_is_told_at_its_place():
    text = PAST_A_SHED.replace("hypotenuse: 10.55", "hypotenuse: {either: [10.55, 10.56]}")
    with pytest.raises(BookError, match=r":17:55: whether this is 10\.55 m or 10\.56 m is open"):
        survey(text)
