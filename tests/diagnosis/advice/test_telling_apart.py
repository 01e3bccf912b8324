"""What is advised tells suspects apart, the cheapest first, and says by how much."""

import numpy as np
import pytest
from builders.mistaken import survey_of

from pegline.diagnosis.advice.telling_apart import _expected_probability, _likeliest
from pegline.readers import parse_book
from pegline.survey import reduce


def test_what_tells_nothing_leaves_the_shares_and_what_tells_all_makes_sure():
    shares = np.array([0.5, 0.3, 0.2])
    # By hand: 0.25 + 0.09 + 0.04.
    assert _expected_probability(shares, np.zeros((3, 3))) == pytest.approx(0.38)
    assert _expected_probability(shares, 1e3 * (1 - np.eye(3))) == pytest.approx(1.0)


def test_two_of_three_told_apart_from_the_third():
    # By hand: the first stands alone, 0.5; the others share 0.5: (0.09 + 0.04) / 0.5.
    apart = 1e3 * np.array([[0.0, 1, 1], [1, 0, 0], [1, 0, 0]])
    assert _expected_probability(np.array([0.5, 0.3, 0.2]), apart) == pytest.approx(0.5 + 0.26)


def test_the_likeliest_is_as_probable_as_the_first_suspect_until_something_is_measured():
    known = np.array([0.6, 0.2, 0.1])  # something else has the rest
    assert _likeliest(known, np.zeros((3, 3))) == pytest.approx(0.6 * 0.9 / 0.9)
    assert _likeliest(known, 1e3 * (1 - np.eye(3))) == pytest.approx(0.9)


@pytest.mark.parametrize("seed", [0, 1])
def test_the_probability_that_advice_begins_with_is_the_first_suspect_s(seed):
    survey = survey_of(np.random.default_rng(seed), 1, 0)
    text = survey.text.replace(f"taped: {survey.read['A-C']}", f"taped: {float(survey.read['A-C']) + 0.87:.2f}")
    diagnosis = reduce(parse_book(text.encode(), "plot.yaml")).diagnosis
    begins = int(diagnosis.advice[0].why.partition("instead of ")[2].split()[0])
    assert begins == pytest.approx(100 * diagnosis.suspects[0].score, abs=0.5)


def test_a_mistake_of_odd_size_with_one_check_line_is_advised_about():
    survey = survey_of(np.random.default_rng(1), 1, 0)
    text = survey.text.replace(f"taped: {survey.read['A-C']}", f"taped: {float(survey.read['A-C']) + 0.87:.2f}")
    diagnosis = reduce(parse_book(text.encode(), "plot.yaml")).diagnosis
    open_ = [one for one in diagnosis.suspects if one.reading and (one.score or 0.0) > 0.01]
    assert len(open_) > 1
    assert diagnosis.advice
    for one in diagnosis.advice:
        assert one.how in ("again", "new line", "new peg")
        assert one.gain > 0
        assert (len(one.to) == 4) == (one.how == "new peg")


@pytest.mark.parametrize(("kind", "pegs"), [("bed", 1), ("building", 0)])
def test_no_peg_is_advised_that_does_not_see_its_stations_past_a_house(kind, pegs):
    # What lies from 23, 1 to 27, 7 beside A-B is amid A, B, C and D and stands before C.
    rows = "details: [{at: 23, left: 1, point: q1}, {at: 27, left: 1, point: q2}]"
    text = f"""\
book: 1
unit: m
stations: {{C: {{left_of: A-B}}, D: {{right_of: A-B}}}}
lines:
  A-B: {{use: base, taped: 50.00, {rows}}}
  A-C: {{use: side, taped: 39.05}}
  C-B: {{use: side, taped: 39.05}}
  A-D: {{use: side, taped: 40.05}}
  D-B: {{use: side, taped: 39.05}}
  C-D: {{use: check, taped: 60.00}}
features: {{it: {{kind: {kind}, rectangle: {{edge: q1-q2, left: 6}}}}}}
"""
    advice = reduce(parse_book(text.encode(), "plot.yaml")).diagnosis.advice
    assert len([one for one in advice if one.how == "new peg"]) == pegs
    assert advice
