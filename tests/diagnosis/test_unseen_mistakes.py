"""What no check would show is said in plain words, beside the verdict and in full."""

import re

import pytest
from builders.paths import SAMPLES
from builders.sound_book import SOUND

from pegline.commands.check import Screen, survey_lines
from pegline.diagnosis.report import verdict
from pegline.diagnosis.rules.phrases import reading_name
from pegline.diagnosis.unseen_mistakes import sides_sentences, unseen_in_rows, unseen_in_short
from pegline.readers import parse_book, read
from pegline.survey import reduce
from pegline.writers.result import result

#: S at 25 on A-B, the foot of C at 33: from 41 S-C is as long. C at 33, 37; D at 18, -30.
ON_A_TIE = """\
book: 1
unit: m
scale: 200
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 60.00, details: [{at: 25.00, station: S}, {at: 45.00, station: T}]}
  A-C: {use: side, taped: 49.58}
  C-B: {use: side, taped: 45.80}
  S-C: {use: tie, taped: 37.85, details: [{at: 10.00, left: 3.00, point: p}]}
  A-D: {use: side, taped: 34.99}
  D-B: {use: side, taped: 51.61}
  T-C: {use: check, taped: 38.90}
  T-D: {use: check, taped: 40.36}
"""


def survey(text):
    return reduce(parse_book(text.encode(), "unseen.yaml"))


def test_a_chainage_is_named_by_its_peg_and_its_line():
    judged = verdict(survey(ON_A_TIE).solved)

    assert judged.headline == "NOT CHECKED: S (3 checks passed)"
    told = r"A mistake of 16\.0\d m in the chainage of S on A-B would not show and could put S off by 16\.0\d m\."
    assert re.fullmatch(told, judged.meaning)


def test_every_reading_of_a_row_is_named_by_its_point():
    found = reduce(read(SAMPLES / "house-plot.yaml"))
    bookings = {each.kind: each.booking for each in found.adjustment.measurements}
    names = {kind: reading_name(booking, found.reduction) for kind, booking in bookings.items()}
    rows = [row.name for row in found.reduction.rows]

    for kind, begin in (("chainage", "the chainage of "), ("offset", "the offset of "), ("ranging", "how ")):
        assert names[kind].startswith(begin + rows[bookings[kind].row])
    assert names["length"] == bookings["length"].label
    assert names["bearing"].startswith("the bearing ")


def test_sides_that_only_the_book_tells_are_named_once_with_their_line():
    found = survey(ON_A_TIE)

    assert "Only the book says on which side C and D lie." in unseen_in_short(found.solved)
    assert list(sides_sentences(found.solved)) == [
        "Only the book says on which side of A-B these lie: C and D. No measurement would show it on the other side.",
        "Only the book says which is left and which is right: no measurement would show the whole plan mirrored.",
    ]
    assert result(found)["solution"]["sides_by_book"] == [
        {"line": "A-B", "stations": ["C"], "points": []},
        {"line": "A-B", "stations": ["D"], "points": []},
        {"line": None, "stations": [], "points": []},
    ]


def test_a_line_across_tells_both_sides():
    across = ON_A_TIE + "  C-D: {use: check, taped: 68.66}\n"

    assert not any("side" in sentence for sentence in unseen_in_short(survey(across).solved))
    assert [side.line for side in survey(across).solved.sides_by_book] == [None]


@pytest.mark.parametrize("moved", ["left_of", "right_of"])
def test_a_station_on_the_other_side_passes_as_it_is_told(moved):
    other = ON_A_TIE.replace("D: {right_of: A-B}", f"D: {{{moved}: A-B}}")

    assert survey(other).passed


def test_points_that_no_check_reaches_are_counted_beside_the_verdict():
    found = survey(SOUND)
    names = found.detail.points.names
    loose = [name for name in names if not found.solved.unnoticed.is_checked(name)]
    lines = list(survey_lines(found, Screen()))

    assert loose
    (sentence,) = unseen_in_rows(found.solved)
    assert sentence.startswith(f"Nothing checks {len(loose)} of {len(names)} points")
    assert any(f"Nothing checks {len(loose)} of {len(names)} points" in line for line in lines[:6])


def test_corners_of_buildings_among_them_are_named():
    (sentence,) = unseen_in_rows(reduce(read(SAMPLES / "house-plot.yaml")).solved)

    assert "corners of buildings among them (s3)" in sentence
