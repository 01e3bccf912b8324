"""The tables of kinds and of equations have a row for whatever an observation may be: none is taken for metres."""

from typing import get_args

import pytest
from builders.little_book import head

import pegline
from pegline.errors import BookError
from pegline.network.equations import EQUATIONS
from pegline.network.kinds import CHECK_OF_PART, CHECKS, MEASUREMENTS, CheckKind, MeasurementKind, Part
from pegline.network.observation_types import Observation
from pegline.readers import parse_book
from pegline.writers.result import result

YARD = (
    head()
    + """\
lines:
  A-B: {use: base, taped: 50.00}
  A-C: {use: side, taped: 40.00}
  C-B: {use: side, taped: 30.00}
angles:
  A-C-B: {angle: [270°10', 269°40'], accuracy: 0°30'}
"""
)


@pytest.mark.parametrize(
    ("table", "kinds"),
    [(MEASUREMENTS, MeasurementKind), (CHECKS, CheckKind), (CHECK_OF_PART, Part), (EQUATIONS, Observation)],
    ids=["measurements", "checks", "parts", "equations"],
)
def test_each_table_has_a_row_for_every_kind(table, kinds):
    assert set(table) == set(get_args(kinds))


def test_every_part_is_told_as_a_kind_of_check():
    assert set(CHECK_OF_PART.values()) == set(CHECKS)


def test_what_touches_more_than_its_own_feature_is_the_framework_and_witnesses_alone_are_not_adjusted():
    assert {kind for kind, row in CHECKS.items() if row.framework} == {"line", "bearing", "control", "angle"}
    assert {kind for kind, row in CHECKS.items() if not row.adjusted} == {"witness"}


def test_an_angle_is_a_check_of_the_framework_in_degrees():
    # A 3-4-5 triangle: at C, from A clockwise to B, three quarters of the circle. Booked a mean of 269°55'.
    survey = pegline.reduce(parse_book(YARD.encode(), "yard.yaml"))
    entries = result(survey)
    (check,) = entries["checks"]
    assert (check["what"], check["kind"], check["passed"]) == ("A-C-B", "angle", True)
    assert check["taped"] == pytest.approx(269 + 55 / 60)
    assert check["computed"] == pytest.approx(270, abs=0.001)
    assert check["difference"] == pytest.approx(-5 / 60, abs=0.001)
    (angle,) = [each for each in entries["measurements"] if each["kind"] == "angle"]
    assert angle["value"] == check["taped"]
    # 0°30' each, two readings: 0.35°; a check of one angle alone notices about (3.29 + 0.84) times that.
    assert angle["smallest_noticed"] == pytest.approx((3.29 + 0.84) * 0.5 / 2**0.5, rel=0.1)


def test_an_angle_20_degrees_off_fails_and_is_told_in_degrees():
    text = YARD.replace("[270°10', 269°40']", "249°30'")
    survey = pegline.reduce(parse_book(text.encode(), "yard.yaml"))
    assert survey.checked is False
    readings = {row.reading for row in survey.diagnosis.suspects if row.kind == "angle"}
    assert readings <= {"249°30'"}


@pytest.mark.parametrize("way", ["left", "right"])
def test_an_angle_turns_clockwise_whichever_side_the_station_lies(way):
    text = YARD.replace("left_of", f"{way}_of").replace("A-C-B: {angle: [270°10', 269°40'], accuracy: 0°30'}", "")
    corner = "A-C-B: 270" if way == "left" else "A-C-B: 90"
    survey = pegline.reduce(parse_book((text.rstrip() + f"\n  {corner}\n").encode(), "yard.yaml"))
    assert survey.adjustment.checks[0].difference == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("A-C: 90", "names no angle"),
        ("A-C-A: 90", "names a station twice"),
        ("A-C-B: 360", "under 360"),
        ("A-C-B: {angle: 90, accuracy: 0}", "over 0"),
        ("A-C-Q: 90", "Q"),
    ],
)
def test_what_is_no_angle_is_told_with_its_place(wrong, told):
    text = YARD.replace("A-C-B: {angle: [270°10', 269°40'], accuracy: 0°30'}", wrong)
    with pytest.raises(BookError) as error:
        parse_book(text.encode(), "yard.yaml")
    (finding,) = error.value.findings
    assert told in finding.text
    assert finding.place.line == 11
