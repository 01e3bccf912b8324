"""What is promised of a new line is what the results say once it is taped."""

from __future__ import annotations

import re
from dataclasses import replace
from math import dist, inf

import numpy as np
import pytest
from builders.mistaken import survey_of, taped_length

from pegline.readers import parse_book
from pegline.survey import reduce

FEW, MANY = 15, 200
ROUNDING = 0.005  #: of what is told, metres
OWN_ERRORS = 0.02  #: what the errors of the new line, which moves no station, and of rounding its length may change
PROMISE = re.compile(
    r"a mistake of (any size|[\d.]+ m) in (.+) could stay hidden; with this line, one of (any size|[\d.]+ m)"
)
PEG = re.compile(r"the chainage of (\S+) on (\S+)")


def survey_in(book):
    """Return the survey of a book's text."""
    return reduce(parse_book(book.encode(), "plot.yaml"))


def noticed_in(survey, what):
    """Return the smallest mistake that the results say is noticed in a reading, as a sentence names it, metres."""
    peg = PEG.fullmatch(what)
    (reading,) = (
        one.booking
        for one in survey.solved.adjustment.network.observations
        if (
            one.booking.kind == "chainage" and one.point == peg[1] and one.booking.line == peg[2]
            if peg
            else one.booking.kind == "length" and one.booking.label == what
        )
    )
    return survey.solved.unnoticed.smallest_noticed.get(reading, inf)


def told(text):
    """Return a size as it is told, metres."""
    return inf if text == "any size" else float(text.split()[0])


def agree(size, told_size):
    """Return whether a size is what was told of it."""
    return size == told_size or abs(size - told_size) <= ROUNDING + OWN_ERRORS * size


@pytest.mark.parametrize("checks", [1, 2, 3])
@pytest.mark.parametrize("surveys", [FEW // 3, pytest.param(MANY, marks=pytest.mark.long)])
def test_with_the_line_that_is_advised_the_results_say_what_was_promised(checks, surveys):
    random = np.random.default_rng([checks, 41])
    promised = smaller = 0
    for _ in range(surveys):
        survey = survey_of(random, checks)
        result = survey_in(survey.text)
        for advice in result.diagnosis.advice:
            promise = PROMISE.fullmatch(advice.why)
            if promise is None:  # something failed, as it may in a sound survey
                break
            before, what, after = told(promise[1]), promise[2], told(promise[3])
            assert agree(noticed_in(result, what), before)
            length = taped_length(dist(*(survey.at[end] for end in advice.measure.split("-"))), 1.0, random)
            use = str(random.choice(["check", "tie"]))
            survey = replace(
                survey,
                lines={**survey.lines, advice.measure: use},
                read={**survey.read, advice.measure: f"{length:.2f}"},
            )
            result = survey_in(survey.text)
            now = noticed_in(result, what)
            assert agree(now, after), f"{advice.measure} ({use}): {advice.why}; it is {now:.3f} m\n{survey.text}"
            promised, smaller = promised + 1, smaller + (now < before)
    print(f"{checks} check lines: {promised} lines in {surveys} surveys, all as promised")
    assert promised == smaller
    assert promised >= surveys / 4
