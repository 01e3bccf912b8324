"""What is told of surveys with a mistake, trial by trial: whether it is right, and how surely it is told.

Every trial has a seed of its own, so that a run which was cut off goes on where it ended (`tests/bench/trust.py`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from builders.mistaken import MISTAKES, PEGS, TAPE, Mistaken, survey_of
from pegline.diagnosis.model import Suspect
from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.survey import reduce

__all__ = ["LIKELY", "SURE", "Tally", "Told", "Trial", "first_suspect", "trials"]

SURE: Final = 0.9
LIKELY: Final = 0.5
#: What ends a message that lines do not fit together: the likeliest mistake and its probability.
EXPLAINED: Final = re.compile(r"all checks then pass with (.+?) ((?:\S+ and )?\S+) \(.*?probability (\d+|over 99) %\)")
NEAR: Final = 0.3  #: a suggestion is right within this, metres: so far a checked point may be out


@dataclass(frozen=True)
class Told:
    """What is said of one survey."""

    what: Mapping[str, str] = field(default_factory=dict)  #: what the readings would be that the first suspect accuses
    kind: str | None = None
    share: float | None = None  #: its probability; None where none is given
    group: frozenset[str] = frozenset()  #: readings of the first group: the first suspect and what is not told from it


def first_suspect(survey: Mistaken) -> Told:
    """Return the first suspect of a survey."""
    try:
        suspects = reduce(parse_book(survey.text.encode(), "plot.yaml")).diagnosis.suspects
    except BookError as error:
        found = EXPLAINED.search(str(error))
        if found is None:
            return Told()
        share = 0.995 if found[3] == "over 99" else int(found[3]) / 100
        what = dict(zip(found[1].split(" and "), found[2].split(" and "), strict=True))
        return Told(what, None, share, frozenset(what))
    rows = [suspect for suspect in suspects if suspect.group == 1 and suspect.reading]
    group = frozenset(name for suspect in rows for name in accused(suspect))
    scored = [suspect for suspect in suspects if suspect.score is not None]
    if not scored:
        return Told(group=group)
    first = max(scored, key=lambda suspect: suspect.score or 0.0)
    if not first.reading:  # something else, or nothing wrong
        return Told(group=group)
    return Told(accused(first), first.kind, first.score, group)


def accused(suspect: Suspect) -> dict[str, str]:
    """Return the readings that a suspect says are wrong, with what each would be."""
    others = {other.what: other.would_be for other in suspect.also}
    own = suspect.what.split(" and ")[0] if others else suspect.what
    return {own: suspect.would_be, **others}


def names(survey: Mistaken, readings: Iterable[str]) -> list[str]:
    """Return what readings are called: a line, or a row by its chainage."""
    return [f"{PEGS[name]} at {survey.read[name]}" if name in PEGS else name for name in readings]


@dataclass(frozen=True)
class Trial:
    """One survey with a mistake, and what is told of it."""

    right: bool  #: what is accused is what is wrong: all that any check shows, and nothing else
    innocent: bool  #: a reading is accused that is right
    true: bool  #: every reading that is accused is wrong, and would be what is told
    share: float | None  #: the probability that is told; None where none is
    group: int = 0  #: readings of the first group of suspects; none in a record from before they were counted
    grouped: bool = False  #: all that is wrong is in that group


def trials(mistake: str, checks: int, numbers: Iterable[int], *, tape: float | None = TAPE) -> Iterator[Trial]:
    """Yield trials of one kind of mistake by their numbers.

    Parameters
    ----------
    checks
        How many check lines there are.
    tape
        Length of the tape that the book names, metres; None where it names none.
    """
    of_kind = list(MISTAKES).index(mistake)
    for number in numbers:
        random = np.random.default_rng([of_kind, checks, number])
        sound = survey_of(random, checks)
        survey = replace(MISTAKES[mistake](sound, random), tape=tape)
        said = first_suspect(survey)
        if mistake == "peg":  # is no reading: it is told rightly as its standing in the line
            right = said.kind == "ranging"
            yield Trial(right, bool(said.what) and not right, right, said.share)
            continue
        meant = dict(zip(names(survey, survey.wrong), (float(sound.read[name]) for name in survey.wrong), strict=True))
        wrong = said.what.keys() <= meant.keys() and said.kind != "ranging"
        true = wrong and all(is_near(value, meant[name]) for name, value in said.what.items())
        whole = said.what.keys() == meant.keys() or (true and not shows_still(survey, sound, said.what))
        grouped = meant.keys() <= said.group
        yield Trial(wrong and whole, not wrong, true, said.share, len(said.group), grouped)


def shows_still(survey: Mistaken, sound: Mistaken, accused: Iterable[str]) -> bool:
    """Return whether any check shows what is wrong besides the readings that are accused: those are put right."""
    right = {name: sound.read[name] for name in survey.wrong if names(survey, [name])[0] in accused}
    try:
        mended = reduce(parse_book(replace(survey, read={**survey.read, **right}).text.encode(), "plot.yaml"))
    except BookError:
        return True
    return mended.solved.checked is False


def is_near(value: str, meant: float) -> bool:
    """Return whether a reading that is suggested is the right one."""
    try:
        return abs(float(value) - meant) <= NEAR
    except ValueError:  # the name of another station, say
        return False


@dataclass
class Tally:
    """How often what is told is right."""

    trials: int = 0
    sure: int = 0
    sure_right: int = 0
    sure_innocent: int = 0
    sure_untrue: int = 0
    likely: int = 0
    likely_right: int = 0
    likely_share: float = 0.0
    first: int = 0  #: the right one stands first, however surely
    suspected: int = 0  #: surveys in which any reading is suspected
    grouped: int = 0  #: of these, with all that is wrong in the first group
    group: int = 0  #: readings of the first groups together

    @staticmethod
    def of(found: Iterable[Trial]) -> Tally:
        """Return the count of some trials."""
        tally = Tally()
        for one in found:
            tally.count(one)
        return tally

    @property
    def false(self) -> int:
        """Return how often something is told at 90 % that is not right, or not the whole of it."""
        return self.sure - self.sure_right

    def count(self, one: Trial) -> None:
        """Count one trial."""
        self.trials += 1
        self.suspected += one.group > 0
        self.grouped += one.grouped
        self.group += one.group
        if one.share is None:
            return
        self.first += one.right
        if one.share >= SURE:
            self.sure += 1
            self.sure_right += one.right
            self.sure_innocent += one.innocent
            self.sure_untrue += not one.true
        elif one.share >= LIKELY:
            self.likely += 1
            self.likely_right += one.right
            self.likely_share += one.share

    def __str__(self) -> str:
        n = self.trials
        if not n:
            return "no trials"
        return (
            f"{n} surveys: told at 90 % {self.sure / n:.1%}, right of these {self.sure_right / max(self.sure, 1):.1%},"
            f" not all or not right {self.false / n:.2%}, untrue {self.sure_untrue / n:.2%},"
            f" innocent {self.sure_innocent / n:.2%};"
            f" told at 50 to 90 % {self.likely}, right {self.likely_right / max(self.likely, 1):.0%},"
            f" told {self.likely_share / max(self.likely, 1):.0%}; first {self.first / n:.1%};"
            f" in the first group, of the {self.suspected} with one, {self.grouped / max(self.suspected, 1):.1%},"
            f" {self.group / max(self.suspected, 1):.1f} readings in it"
        )
