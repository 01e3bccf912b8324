"""What is told of a mistake is true as often as it is told, in surveys drawn, read and spoilt without pegline.

Each class is simulated briefly in the normal run, where the limits leave room for the level of the test, and with
2,000 surveys behind the marker ``long``, where the figures are held as they stand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from builders.mistaken import MISTAKES, PEGS, Mistaken, survey_of

from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.survey import reduce

FEW, MANY = 40, 2000
SURE, LIKELY = 0.9, 0.5
#: What ends a message that lines do not fit together: the likeliest mistake and its probability.
EXPLAINED = re.compile(r"all checks then pass with (.+?) \S+ \(.*?probability (\d+|over 99) %\)")


@dataclass(frozen=True)
class Told:
    """What is said of one survey."""

    what: frozenset[str] = frozenset()  #: the readings that the first suspect accuses
    kind: str | None = None
    share: float | None = None  #: its probability; None where none is given


def first_suspect(survey: Mistaken) -> Told:
    """Return the first suspect of a survey."""
    try:
        suspects = reduce(parse_book(survey.text.encode(), "plot.yaml")).diagnosis.suspects
    except BookError as error:
        found = EXPLAINED.search(str(error))
        if found is None:
            return Told()
        return Told(frozenset(found[1].split(" and ")), None, 0.995 if found[2] == "over 99" else int(found[2]) / 100)
    scored = [suspect for suspect in suspects if suspect.score is not None]
    if not scored:
        return Told()
    first = max(scored, key=lambda suspect: suspect.score)
    if not first.reading:  # something else, or nothing wrong
        return Told()
    others = {other.what for other in first.also}
    own = first.what.split(" and ")[0] if others else first.what
    return Told(frozenset({own, *others}), first.kind, first.score)


def names(survey: Mistaken, readings: Iterable[str]) -> frozenset[str]:
    """Return what readings are called: a line, or a row by its chainage."""
    return frozenset(f"{PEGS[name]} at {survey.read[name]}" if name in PEGS else name for name in readings)


@dataclass
class Tally:
    """How often what is told is right."""

    trials: int = 0
    sure: int = 0
    sure_right: int = 0
    sure_innocent: int = 0  #: a reading is accused that is right
    likely: int = 0
    likely_right: int = 0
    likely_share: float = 0.0
    first: int = 0  #: the right one stands first, however surely

    def count(self, survey: Mistaken, said: Told) -> None:
        """Count what is told of one survey."""
        self.trials += 1
        if said.share is None:
            return
        wrong = names(survey, survey.wrong)
        right, innocent = said.what == wrong, not said.what <= wrong
        self.first += right
        if said.share >= SURE:
            self.sure += 1
            self.sure_right += right
            self.sure_innocent += innocent
        elif said.share >= LIKELY:
            self.likely += 1
            self.likely_right += right
            self.likely_share += said.share

    def __str__(self) -> str:
        n = self.trials
        return (
            f"{n} surveys: told at 90 % {self.sure / n:.1%}, right of these {self.sure_right / max(self.sure, 1):.1%},"
            f" false {(self.sure - self.sure_right) / n:.2%}, innocent {self.sure_innocent / n:.2%};"
            f" told at 50 to 90 % {self.likely}, right {self.likely_right / max(self.likely, 1):.0%},"
            f" told {self.likely_share / max(self.likely, 1):.0%}; first {self.first / n:.1%}"
        )


def simulate(mistake: str, checks: int, trials: int, *, tape: float | None = None) -> Tally:
    """Return how often what is told is right, over surveys with one kind of mistake."""
    random = np.random.default_rng([len(mistake), checks, 7])
    tally = Tally()
    for _ in range(trials):
        survey = MISTAKES[mistake](survey_of(random, checks), random)
        if tape is not None:
            survey = replace(survey, tape=tape)
        tally.count(survey, first_suspect(survey))
    print(f"{mistake}, {checks} check lines, {tally}")
    return tally


def slack(share: float, trials: int) -> float:
    """Return by how much a share may miss its figure in a short run: three standard deviations of its count."""
    return 0.0 if trials >= MANY else 3 * (share * (1 - share) / trials) ** 0.5 + 1 / trials


def trials(*classes: object) -> pytest.MarkDecorator:
    """Return the parameters of a class, briefly and at length."""
    return pytest.mark.parametrize(
        ("checks", "surveys"),
        [(c, FEW) for c in classes] + [pytest.param(c, MANY, marks=pytest.mark.long) for c in classes],
    )


#: told at 90 % at least, of all trials; the figures of the issue of trust
TOLD = {1: 0.20, 2: 0.42, 3: 0.70}


@trials(1, 2, 3)
def test_one_reading_wrong_half_of_them_in_a_usual_way(checks, surveys):
    tally = simulate("one", checks, surveys)
    assert tally.sure / surveys >= TOLD[checks] - slack(TOLD[checks], surveys)
    assert tally.sure_right >= 0.95 * tally.sure - slack(0.95, tally.sure) * tally.sure
    assert (tally.sure - tally.sure_right) / surveys <= 0.015 + slack(0.015, surveys)
    if surveys >= MANY:
        right, said = tally.likely_right / tally.likely, tally.likely_share / tally.likely
        assert said - 0.10 <= right <= said + 0.20


@trials(1)
def test_with_one_check_a_mistake_of_any_size_is_hardly_ever_told(checks, surveys):
    tally = simulate("any size", checks, surveys)
    assert tally.sure / surveys <= 0.04 + slack(0.04, surveys)


@trials(1, 2, 3)
def test_two_lines_exchanged(checks, surveys):
    tally = simulate("exchanged", checks, surveys)
    wanted = {1: 0.0, 2: 0.80, 3: 0.95}[checks]
    assert tally.sure_right / surveys >= wanted - slack(wanted, surveys)
    assert tally.sure_innocent / surveys <= 0.01 + slack(0.01, surveys)


@pytest.mark.parametrize("tape", [30.0, 50.0])
@trials(2, 3)
def test_a_base_line_30_m_short(checks, surveys, tape):
    tally = simulate("base short", checks, surveys, tape=tape)
    assert tally.first / surveys >= 0.95 - slack(0.95, surveys)


@trials(2, 3)
def test_a_peg_out_of_line_accuses_no_reading(checks, surveys):
    random = np.random.default_rng([checks, 9])
    false = 0
    for _ in range(surveys):
        said = first_suspect(MISTAKES["peg"](survey_of(random, checks), random))
        false += (said.share or 0.0) >= SURE and said.kind != "ranging"
    print(f"peg 0.6 m out of line, {checks} check lines, false at 90 % {false} of {surveys}")
    assert false / surveys <= 0.02 + slack(0.02, surveys)


@trials(2, 3)
def test_two_readings_wrong_accuse_no_innocent_one(checks, surveys):
    tally = simulate("two", checks, surveys)
    assert tally.sure_innocent / surveys <= 0.02 + slack(0.02, surveys)
