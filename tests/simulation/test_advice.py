"""The advice followed to its end names the mistake: retaping, new lines, one more peg."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import dist

import numpy as np
import pytest
from builders.mistaken import LAY_SD, PEGS, Mistaken, one_wrong, survey_of, taped_length

from pegline.diagnosis.model import Advice, Diagnosis, Suspect
from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.survey import reduce

FEW, MANY = 12, 500
LARGE = 20.0  #: the mistakes are larger than so many standard deviations of a reading
MOST_MEASURED = 12  #: after so many further measurements the party gives up
SURE = 0.9


@dataclass
class Party:
    """A party that measures what it is advised to."""

    survey: Mistaken
    random: np.random.Generator
    measured: int = 0
    agreed: tuple[str, ...] = ()  #: what was read again and agreed

    def named(self) -> str | None:
        """Return the reading that is named in the end; None where nothing was noticed, '' where none is named."""
        while self.measured < MOST_MEASURED:
            try:
                diagnosis = reduce(parse_book(self.survey.text.encode(), "plot.yaml")).diagnosis
            except BookError:
                return None  # arcs that do not meet have a message of their own
            if not diagnosis.suspects:
                return None if not self.measured else ""
            if found := self._alone(diagnosis.suspects):
                return found
            found = self._follow(diagnosis.advice, diagnosis.suspects)
            if found:
                return found
        return ""

    def _alone(self, suspects: tuple[Suspect, ...]) -> str | None:
        first = suspects[0]
        others = [one for one in suspects[1:] if one.group == first.group and one.reading and (one.score or 0) > 0.05]
        if first.score is not None and first.score >= SURE and not others and not first.also:
            return self._name(first.what)
        return None

    def _name(self, what: str) -> str:
        return next((peg for peg in self.survey.pegs if what == f"{PEGS[peg]} at {self.survey.read[peg]}"), what)

    def _follow(self, advice: tuple[Advice, ...], suspects: tuple[Suspect, ...]) -> str | None:
        """Measure what is advised first and was not yet; return the reading that turns out wrong, if it does."""
        for one in advice:
            name = self._name(one.measure)
            if one.how == "again" and name not in self.agreed:
                return self._again(name)
            if one.how == "new line":
                self._line(name)
                return None
            if one.how == "new peg":
                self._peg(name, one.to)
                return None
        for suspect in suspects:
            name = self._name(suspect.what)
            if name in self.survey.read and name not in self.agreed:
                return self._again(name)
        self.measured = MOST_MEASURED
        return None

    def _again(self, name: str) -> str | None:
        """Read something again: what differs was wrong; what agrees is booked beside the first."""
        self.measured += 1
        line = PEGS.get(name, name)
        start, end = line.split("-")
        true = dist(self.survey.at[start], self.survey.at[name if name in PEGS else end])
        again = taped_length(true, 1.0, self.random)
        first = float(self.survey.read[name].strip("[]").split(",")[0])
        if abs(again - first) > 0.1:
            return name
        self.agreed += (name,)
        if name not in PEGS:
            self.survey = replace(self.survey, read={**self.survey.read, name: f"[{first:.2f}, {again:.2f}]"})
        return None

    def _line(self, name: str) -> None:
        self.measured += 1
        start, end = name.split("-")
        length = taped_length(dist(self.survey.at[start], self.survey.at[end]), 1.0, self.random)
        self.survey = replace(
            self.survey,
            lines={**self.survey.lines, name: "check"},
            read={**self.survey.read, name: f"{length:.2f}"},
        )

    def _peg(self, name: str, to: tuple[str, ...]) -> None:
        middle = np.mean([self.survey.at[station] for station in to], axis=0) + self.random.normal(0, 2, 2)
        self.survey = replace(self.survey, at={**self.survey.at, name: (float(middle[0]), float(middle[1]))})
        for station in to:
            self._line(f"{name}-{station}")
        lines = {line: "tie" if name in line.split("-") else use for line, use in self.survey.lines.items()}
        self.survey = replace(self.survey, lines=lines)


def spoilt(random: np.random.Generator, checks: int) -> Mistaken:
    """Return a survey with one reading wrong by 20 to 200 standard deviations."""
    survey = survey_of(random, checks)
    name = str(random.choice(list(survey.read)))
    error = random.choice([-1, 1]) * random.uniform(LARGE, 10 * LARGE) * LAY_SD * 2**0.5
    wrong = f"{float(survey.read[name]) + error:.2f}"
    return replace(survey, read={**survey.read, name: wrong}, wrong=(name,))


@pytest.mark.parametrize("checks", [1, 2, 3])
@pytest.mark.parametrize("surveys", [FEW, pytest.param(MANY, marks=pytest.mark.long)])
def test_followed_to_its_end_the_advice_names_the_mistake(checks, surveys):
    random = np.random.default_rng([checks, 17])
    named = noticed = 0
    counts: list[int] = []
    for _ in range(surveys):
        party = Party(spoilt(random, checks), random)
        wrong = party.survey.wrong
        found = party.named()
        if found is None:
            continue
        noticed += 1
        named += (found,) == wrong
        counts.append(party.measured)
    typical, most = np.median(counts), max(counts)
    print(f"{checks} check lines: named {named} of {noticed}; measurements {typical:.0f}, at most {most}")
    assert named >= 0.95 * noticed - (0 if surveys >= MANY else 1)


RISE = re.compile(r"on average the likeliest of them then has (?:over )?(\d+) % instead of (?:over )?\d+ %")


def likeliest_after(survey: Mistaken, random: np.random.Generator) -> tuple[float, float] | None:
    """Return how probable the likeliest suspect is told to be after what is advised first, and how probable it is."""
    try:
        diagnosis = reduce(parse_book(survey.text.encode(), "plot.yaml")).diagnosis
        advice = diagnosis.advice[:1]
        rise = RISE.search(advice[0].why) if advice else None
        if rise is None:
            return None
        party = Party(survey, random)
        # A reading that differs when it is read again is known to be wrong.
        if party._follow(advice, ()):
            return int(rise[1]) / 100, 1.0
        return int(rise[1]) / 100, likeliest(reduce(parse_book(party.survey.text.encode(), "plot.yaml")).diagnosis)
    except BookError:
        return None


def likeliest(diagnosis: Diagnosis) -> float:
    """Return how probable the likeliest suspected reading is."""
    return max((one.score or 0.0 for one in diagnosis.suspects if one.reading), default=0.0)


@pytest.mark.parametrize(
    ("checks", "surveys", "off"),
    [(2, 30, 0.15), *(pytest.param(checks, MANY, 0.06, marks=pytest.mark.long) for checks in (1, 2))],
)
def test_the_likeliest_suspect_has_on_average_the_probability_that_the_advice_foretells(checks, surveys, off):
    random = np.random.default_rng([checks, 23])
    pairs: list[tuple[float, float]] = []
    for _ in range(surveys):
        found = likeliest_after(one_wrong(survey_of(random, checks), random), random)
        pairs += [found] if found else []
    foretold, found_then = np.mean(pairs, axis=0)
    print(f"{checks} check lines, {len(pairs)} surveys: foretold {foretold:.3f}, then {found_then:.3f}")
    assert len(pairs) > surveys / 4
    assert found_then == pytest.approx(foretold, abs=off)
