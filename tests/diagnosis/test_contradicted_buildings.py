"""A complete book that contradicts itself at a building fails with its cause: nothing of it is missing."""

from argparse import Namespace

import pytest

from pegline.commands.check import Screen, run, survey_lines
from pegline.diagnosis.report import do_now, verdict
from pegline.readers import parse_book
from pegline.survey import reduce, reduce_as_far_as_it_goes

#: Two equilateral triangles of 50 m on A-B. h1 at 15, 2 and h2 at 25, 2, so that a house 8 m deep on their left has h3
#: at 25, 10: from A-C, which runs at 60°, that is 25/2 + 10 √3/2 = 21.16 along and 25 √3/2 - 10/2 = 16.65 to the right.
BOOK = """\
book: 1
unit: m
tapes: {steel: {material: steel, length: 50}}
default_tape: {lines: steel, offsets: steel}
default_method: optical square
stations:
  C: {mark: peg, left_of: A-B}
  D: {mark: peg, right_of: A-B}
lines:
  A-B:
    use: base
    taped: 50.00
    details:
      - {at: 15.00, left: 2.00, point: h1}
      - {at: 25.00, left: 2.00, point: h2}
  A-C:
    use: side
    taped: 50.00
    details:
      - {at: 21.16, right: 16.65, point: h3}
  B-C: {use: side, taped: 50.00}
  A-D: {use: side, taped: 50.00}
  B-D: {use: side, taped: 50.00}
  C-D: {use: check, taped: 86.60}
dimensions: {h1-h2: 10.00}
features:
  house: {kind: building, rectangle: {edge: h1-h2, left: 8.00}, corners: [h3, h4]}
"""

#: what is booked otherwise: the words, the suspect, the reading and what it would be
SLIPS = [
    ("left: 8.00}", "right: 8.00}", "house", "right of h1-h2", "left of h1-h2"),
    ("right: 16.65", "left: 16.65", "A-C at 21.16", "left", "right"),
    ("left: 8.00}", "left: 3.00}", "h2-h3", "3.00", "8.00"),
    ("at: 21.16", "at: 12.16", "A-C at 12.16", "12.16", "21.16"),
]


def booked(true: str = "", wrong: str = "") -> str:
    assert true in BOOK
    return BOOK.replace(true, wrong) if true else BOOK


def test_the_book_passes_as_it_was_measured():
    survey, missing = reduce_as_far_as_it_goes(parse_book(booked().encode(), "b.yaml"))

    assert survey.passed
    assert missing == ()
    assert survey.solved.positions["h4"] == pytest.approx([15.0, 10.0], abs=0.01)


@pytest.mark.parametrize(("true", "wrong", "what", "reading", "would_be"), SLIPS)
def test_a_building_that_contradicts_its_corners_fails_and_the_slip_is_named(true, wrong, what, reading, would_be):
    book = parse_book(booked(true, wrong).encode(), "b.yaml")
    survey, missing = reduce_as_far_as_it_goes(book)

    assert missing == ()
    assert verdict(survey.solved).word == "FAILED"
    assert verdict(reduce(book).solved).word == "FAILED"  # as plot and batch reduce it
    first = survey.diagnosis.suspects[0]
    assert (first.what, first.reading, first.would_be, first.closes) == (what, reading, would_be, True)
    assert first.score > 0.9
    assert "h4" in survey.solved.positions


def test_a_building_on_the_wrong_side_is_looked_at_and_not_measured():
    true, wrong, *_ = SLIPS[0]
    survey = reduce(parse_book(booked(true, wrong).encode(), "b.yaml"))
    screen = " ".join("\n".join(survey_lines(survey, Screen())).split())

    assert "Likely house: booked right of h1-h2, perhaps left of h1-h2" in screen
    assert "UNFINISHED" not in screen
    assert "Missing" not in screen
    assert list(do_now(survey)) == ["Look on which side of its line house stands."]


@pytest.mark.parametrize("slip", [slip[:2] for slip in SLIPS])
def test_check_ends_with_the_status_of_a_failed_book(slip, tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text(booked(*slip), encoding="utf-8")
    assert run(Namespace(books=[str(path)], json=False), lambda text: None, lambda text: None) == 1


def test_what_is_not_booked_is_still_told_as_missing():
    text = booked("dimensions: {h1-h2: 10.00}", "dimensions: {h1-h2: 10.00, h1-w: 3.00}")
    text = text.replace("features:", "points: {w: {sketch: [12, 4]}}\nfeatures:")
    survey, missing = reduce_as_far_as_it_goes(parse_book(text.encode(), "b.yaml"))

    assert survey.passed
    assert [finding.text.partition(";")[0] for finding in missing] == ["point w is only sketched"]
