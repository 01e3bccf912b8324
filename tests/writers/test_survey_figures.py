"""How well a length between delivered ends is known."""

from math import hypot

import numpy as np
import pytest

from pegline import reduce
from pegline.readers import parse_book
from pegline.writers.survey_figures import length_sds

TRIANGLE = b"""\
book: 1
unit: m
tapes: {steel: {material: steel, length: 30}}
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: [29.98, 29.99]}
  A-C: {use: side, taped: 18.44}
  C-B: {use: side, taped: 22.80}
"""
CHECKED = (
    TRIANGLE
    + b"  A-D: {use: side, taped: 20.25}\n  D-B: {use: side, taped: 17.03}\n  C-D: {use: check, taped: 25.49}\n"
)


def test_a_length_that_nothing_checks_is_known_as_it_was_taped():
    book = TRIANGLE.replace(b", D: {right_of: A-B}", b"")

    found = length_sds(reduce(parse_book(book, "t.yaml")))

    # By hand: a steel tape gives 5 mm a lay (common practice), over the root of two for a line taped twice;
    # its scale is known to 1/5000.
    assert found["A-C"] == pytest.approx(hypot(0.005, 18.44 / 5000), rel=1e-6)
    assert found["A-B"] == pytest.approx(hypot(0.005 / 2**0.5, 29.985 / 5000), rel=1e-6)


def test_it_is_what_the_scatter_of_the_ends_together_gives():
    survey = reduce(parse_book(CHECKED, "t.yaml"))
    solution = survey.adjustment.solution
    ends = [solution.index["C"], solution.index["D"]]
    numbers = np.array([[2 * n + axis for n in ends for axis in (0, 1)]])
    joint = solution.covariances.blocks(numbers)[0]
    drawn = np.random.default_rng(3).multivariate_normal(solution.positions[ends].ravel(), joint, size=40_000)

    lengths = np.hypot(*(drawn[:, 2:] - drawn[:, :2]).T)

    # 40,000 draws give a standard deviation to 0.35 %: three of that.
    assert length_sds(survey)["C-D"] == pytest.approx(lengths.std(), rel=0.011)
