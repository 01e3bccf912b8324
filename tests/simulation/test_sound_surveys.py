"""Surveys without a mistake are seldom accused of one."""

import numpy as np
import pytest
from builders.figures import keep
from builders.mistaken import survey_of

from pegline.readers import parse_book
from pegline.survey import reduce

FEW, MANY = 40, 2000
FAMILY = 0.05  #: share of sound surveys of which some test may fail


def suspicion_of(text: str) -> tuple[bool, bool]:
    """Return whether a survey is suspected of anything, and whether surely of one reading."""
    suspects = reduce(parse_book(text.encode(), "plot.yaml")).diagnosis.suspects
    sure = any(suspect.reading and (suspect.score or 0.0) >= 0.9 for suspect in suspects)
    return bool(suspects), sure


@pytest.mark.parametrize("checks", [1, 2, 3])
@pytest.mark.parametrize("surveys", [FEW, pytest.param(MANY, marks=pytest.mark.long)])
def test_sound_surveys_raise_few_false_alarms(checks, surveys):
    random = np.random.default_rng([checks, 31])
    alarms = accused = 0
    for _ in range(surveys):
        alarm, sure = suspicion_of(survey_of(random, checks).text)
        alarms += alarm
        accused += sure
    print(f"{checks} check lines: {alarms} of {surveys} alarmed, {accused} with a reading accused at 90 %")
    slack = 3 * (FAMILY * (1 - FAMILY) / surveys) ** 0.5
    assert alarms / surveys <= FAMILY + slack
    assert accused / surveys <= 0.01 + 3 * (0.01 / surveys) ** 0.5
    if surveys == MANY:
        found = f"{alarms / surveys:.1%} alarm, {accused / surveys:.1%} with a reading accused at 90 %"
        keep("G10", f"sound surveys with {checks} check{'s' * (checks > 1)}", found, surveys)
