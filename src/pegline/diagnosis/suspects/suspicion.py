"""The suspects as they are told: what is wrong by one posterior, the likeliest first, with all that speaks for it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np

from pegline.diagnosis.effects import TIED, Effects
from pegline.diagnosis.model import Also, Suspect
from pegline.diagnosis.rules.phrases import list_names
from pegline.diagnosis.suspects.construction import Construction, construct, orientations
from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Situation
from pegline.diagnosis.suspects.hypothesis_table import accusations, suspected_reading
from pegline.diagnosis.suspects.neighbourhood import (
    SMALL_SURVEY_UNKNOWNS,
    Neighbourhood,
    neighbourhood,
    positions_if_right,
    robust,
    robust_without_each,
    roughness,
)
from pegline.diagnosis.suspects.posterior import Posterior, reckon
from pegline.diagnosis.suspects.words import Terms
from pegline.errors import BookError
from pegline.network.adjust import hints
from pegline.network.dependents import with_reading_changed
from pegline.network.least_squares import Fit, solve_network
from pegline.network.linear_equations import Network, with_observations
from pegline.network.observation_types import Distance
from pegline.plane import Array
from pegline.records import record
from pegline.solved import Solved

__all__ = ["Candidate", "Suspicion", "suspicion"]

LEAST_SHARE_TOLD: Final = 0.005  #: suspects with a smaller share are told as something else
MAX_SUSPECTS_TOLD: Final = 24  #: suspects that are told
MOST_OPEN: Final = 6  #: suspects that are told where nothing lets everything pass
SOMETHING_ELSE: Final = "something else"
NOTHING_WRONG: Final = "nothing wrong"


@record(frozen=True, slots=False)
class Candidate:
    """What may be wrong, with every way in which it may be."""

    hypotheses: tuple[WeighedHypothesis, ...]  #: the likeliest first
    share: float

    @property
    def best(self) -> WeighedHypothesis:
        """Return how it is likeliest to be wrong."""
        return self.hypotheses[0]

    @property
    def number(self) -> int | None:
        """Return the number of the one observation that is wrong; None where it is not one."""
        numbers = self.best.hypothesis.numbers
        return numbers[0] if len(numbers) == 1 else None


@record(frozen=True, slots=False)
class Suspicion:
    """Who is suspected in a survey that fails."""

    terms: Terms
    posterior: Posterior

    @cached_property
    def candidates(self) -> tuple[Candidate, ...]:
        """Return what may be wrong, the likeliest first."""
        by_effect: dict[object, list[tuple[WeighedHypothesis, float]]] = {}
        for weighed, share in zip(self.posterior.hypotheses, self.posterior.shares, strict=False):
            hypothesis = weighed.hypothesis
            number = suspected_reading(hypothesis)
            key = (hypothesis.kind, hypothesis.numbers, hypothesis.mirrored) if number is None else number
            by_effect.setdefault(key, []).append((weighed, share))
        candidates = (
            Candidate(tuple(one for one, _ in alike), sum(share for _, share in alike)) for alike in by_effect.values()
        )
        return tuple(sorted(candidates, key=lambda one: -one.share))

    @cached_property
    def candidates_that_close(self) -> tuple[Candidate, ...]:
        """Return those that let every check pass."""
        return tuple(one for one in self.candidates if one.best.closes(self.posterior.critical))

    @cached_property
    def rows(self) -> tuple[Suspect, ...]:
        """Return the suspects: those that let everything pass with their share; without one where none does."""
        if not self.candidates_that_close:
            fitting = sorted(self.candidates, key=lambda one: one.best.square)[:MOST_OPEN]
            return tuple(self._row(one, group, None) for one, group in self._group(fitting))
        listed = [one for one in self.candidates if one.share >= LEAST_SHARE_TOLD][:MAX_SUSPECTS_TOLD] or [
            self.candidates[0]
        ]
        rows = [self._row(one, group, one.share) for one, group in self._group(listed)]
        last = max(row.group for row in rows)
        sound = self.posterior.nothing_wrong
        rest = max(1.0 - sum(row.score or 0.0 for row in rows) - sound, 0.0)
        rows.append(_last_row(SOMETHING_ELSE, last + 1, rest))
        if sound >= LEAST_SHARE_TOLD:
            return (*rows, _last_row(NOTHING_WRONG, last + 2, sound, closes=True))
        rows[-1] = _last_row(SOMETHING_ELSE, last + 1, rest + sound)
        return tuple(rows)

    def _row(self, candidate: Candidate, group: int, score: float | None) -> Suspect:
        weighed = candidate.best
        first, *others = accusations(self.terms, weighed)
        numbers = weighed.hypothesis.numbers
        sided = not numbers or weighed.hypothesis.reflected  # a side is looked at, not measured again
        kind = None if sided else self.terms.of.observations[numbers[0]].booking.kind
        names = list(dict.fromkeys(one.what for one in (first, *others)))
        return Suspect(
            what=list_names(names, most=len(names)),
            group=group,
            place=first.place,
            reading=first.reading,
            would_be=first.would_be,
            slip=self._slip(weighed),
            closes=weighed.closes(self.posterior.critical),
            score=score,
            kind=kind,
            also=tuple(Also(one.what, one.reading, one.would_be, one.place) for one in others),
        )

    def _slip(self, weighed: WeighedHypothesis) -> str | None:
        """Return the slip in words, with what else to look at where it may reach beyond the reading."""
        hypothesis = weighed.hypothesis
        words = hypothesis.slip.words if hypothesis.slip else hypothesis.words
        words = words or " and ".join(slip.words for slip in hypothesis.both if slip)
        reach = self._reach(weighed)
        return "; ".join(filter(None, (words, reach, self._moved_peg(weighed)))) or None

    def _moved_peg(self, weighed: WeighedHypothesis) -> str:
        """Return that two lines to one station may have been taped to another place of its peg than the others."""
        if weighed.hypothesis.kind != "two-readings" or all(weighed.hypothesis.both or (None,)):
            return ""
        one, other = (self.terms.of.observations[number] for number in weighed.hypothesis.numbers)
        if not (isinstance(one, Distance) and isinstance(other, Distance)):
            return ""
        shared = [name for name in one.points if name in other.points]
        return f"or the peg {shared[0]} was moved between tapings" if shared else ""

    def _reach(self, weighed: WeighedHypothesis) -> str:
        if len(weighed.hypothesis.numbers) != 1 or weighed.hypothesis.kind != "reading":
            return ""
        booking = self.terms.of.observations[weighed.hypothesis.numbers[0]].booking
        line = self.terms.reduction.lines.get(booking.line or "")
        if booking.kind != "chainage" or line is None or len(line.booked.details) < 2:
            return ""
        return f"look whether the other chainages of {line.name} share it"

    def _group(self, candidates: Sequence[Candidate]) -> list[tuple[Candidate, int]]:
        """Return candidates with the number of their group: those in one cannot be told apart."""
        singles = [one for one in candidates if one.number is not None]
        alike = _correlations(self.terms.of, singles)
        group_of: dict[int, int] = {}
        count = 0
        for one in candidates:
            if id(one) in group_of:
                continue
            count += 1
            group_of[id(one)] = count
            if one.number is not None:
                row = alike[singles.index(one)]
                for other, tied in zip(singles, row, strict=True):
                    if tied > TIED:
                        group_of.setdefault(id(other), count)
        return [(one, group_of[id(one)]) for one in candidates]


def _last_row(what: str, group: int, score: float, *, closes: bool = False) -> Suspect:
    return Suspect(what, group, None, "", "", None, closes, score)


def _correlations(of: Situation, singles: Sequence[Candidate]) -> Array:
    """Return how alike the mistakes are that single readings would be, where the first of them is mended."""
    if not singles:
        return np.zeros((0, 0))
    first = singles[0].best
    number = first.hypothesis.numbers[0]
    amount = first.amounts[0] if first.amounts else 0.0
    try:
        without_first = solve_network(
            with_observations(of.network, with_reading_changed(of.observations, number, amount)), None, first.parameters
        )
    except BookError:
        return np.eye(len(singles))
    rows = np.array([one.number for one in singles], np.int64)
    return np.asarray(np.abs(Effects(without_first).explain(rows).correlations))


def suspicion(solved: Solved, fit: Fit) -> Suspicion:
    """Return who is suspected in a survey that fails.

    Parameters
    ----------
    fit
        The solution from everything that was measured.
    """
    plotting = solved.adjustment.plotting
    begins = [fit.parameters, np.concatenate((plotting.positions.ravel(), plotting.scales))]
    begins += orientations(fit.network, begins[-1])
    if int((~fit.network.held).sum()) > SMALL_SURVEY_UNKNOWNS:
        return _in_large(solved, fit.network, begins)
    side_hints = hints(solved.book, solved.reduction)
    construction = construct(fit.network, side_hints, fit.parameters)
    return _reckon(solved, Situation(fit.network, side_hints, tuple(begins)), construction)


def _reckon(solved: Solved, situation: Situation, construction: Construction | None) -> Suspicion:
    terms = Terms(situation, solved.book, solved.reduction, solved.frame)
    posterior = reckon(situation, construction, terms.readings, solved.adjustment.critical, terms.coordinate_slips())
    return Suspicion(terms, posterior)


def _in_large(solved: Solved, whole: Network, begins: Sequence[Array]) -> Suspicion:
    """Return who is suspected in a large survey: about what disagrees; where that explains nothing, once more."""
    side_hints = hints(solved.book, solved.reduction)

    def about(places: Array) -> tuple[Neighbourhood, Suspicion]:
        near = neighbourhood(whole, places)
        return near, _reckon(solved, Situation(near.network, side_hints, (near.begin,)), None)

    places = robust(whole, begins)
    near, first = about(places)
    likeliest = first.candidates[0].best if first.candidates else None
    if likeliest is not None and first.candidates_that_close and near.worst in likeliest.hypothesis.numbers:
        return first
    if likeliest is not None:
        places = positions_if_right(whole, near, likeliest, places)
    if not first.candidates_that_close:
        places = min((places, robust_without_each(whole, begins[-1])), key=lambda at: roughness(whole, at))
    _, again = about(places)
    return again if again.candidates_that_close or not first.candidates else first
