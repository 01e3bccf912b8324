"""Which alternatives of open readings let a survey close best, without solving every combination of them.

The survey is solved with one combination. What another alternative changes in the equations is known by looking
at them, so near that solution the misfit of every combination is a quadratic form of which alternatives it takes:

    χ²(y) = χ²₀ + 2 b'y + y' M y,   M = C' R C,   b = C' v,   y of zeros and ones

C holds what each alternative changes and v the residuals, all over σ; R is what the adjustment leaves of a change.
The combinations with the least χ² are found one reading after another, the best so far kept; only they are
adjusted themselves. A better one is the next to begin with.

Where a point may stand metres elsewhere, combinations lie on islands that are not seen from one another: the best with
each other alternative is solved and looked around too, and where nothing closes, arcs drawn anew lead elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import islice
from math import inf
from typing import Final

import numpy as np

from pegline.book.model import Book
from pegline.diagnosis.effects import Effects, fit_of_everything
from pegline.diagnosis.open_readings.choices import AlternativeNumbers, Observed, observed_in, with_choice
from pegline.diagnosis.open_readings.first_choice import MOST_TRIED, first_numbers, nearby_numbers, straighten
from pegline.errors import BookError
from pegline.measures.values import Reading
from pegline.network.adjust import adjust
from pegline.network.least_squares import Fit, solve_network
from pegline.network.linear_equations import linearise, misclosures, with_observations
from pegline.network.observation_types import Observation
from pegline.network.start import Gap
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.ground import chi2_exceeded
from pegline.reduction.reduce import reduce_readings

__all__ = ["Found", "best_choice"]

IDLE_ROUNDS: Final = 12  #: solutions one after the other from which nothing better is seen, until the search ends
MAX_NEIGHBOUR_STEPS: Final = 20  #: of an adjustment from a neighbour; what takes more is no near one
CHANCE: Final = 1e-6  #: chance of a χ² below which it is not the tapes
SOLVED: Final = 12  #: combinations that are adjusted in each round
RIVALS: Final = 2  #: and from the solution with each other alternative
COMBINATIONS_KEPT: Final = 512  #: combinations kept from one reading to the next
ROUNDING: Final = 1e-9  #: keeps readings apart that nothing but rounding does


@record(frozen=True, slots=True)
class Found:
    """The best combination, and how much worse the survey closes with other alternatives."""

    numbers: AlternativeNumbers
    misfit: float  #: χ² of the best
    others: tuple[float, ...]  #: for each reading the least χ² with another alternative
    closes: bool  #: whether χ² of the best is what the tapes explain; else something else is wrong too


def best_choice(book: Book, readings: Sequence[Reading]) -> Found | None:
    """Return the combination of alternatives with which a survey closes best; None where none can be solved."""
    observed = observed_in(book, readings)
    if observed is None:
        return None  # something else is wrong, and will be told
    search = _Search(observed)
    numbers, fresh, without = first_numbers(observed), dict[AlternativeNumbers, AlternativeNumbers](), 0
    while without < IDLE_ROUNDS:
        before = search.least
        search.look_around(numbers, soften=not search.tried or numbers in fresh.values())
        while search.tried.get(best := search.best) and search.look_at_rivals(best):
            pass
        if search.tried.get(best):
            return search.with_rivals(best)
        without = 0 if search.least < before else without + 1
        if without and best not in fresh:  # an island: arcs drawn anew may lead off it
            fresh[best] = straighten(observed, best)
        following = search.next_numbers(fresh.values(), numbers)
        if following is None:
            break
        numbers = following
    best = min(search.tried, key=search.seen.__getitem__)
    return None if search.seen[best] == inf else search.with_rivals(best)


class _Search:
    """What is known of the combinations so far."""

    def __init__(self, observed: Observed) -> None:
        self.observed = observed
        self.seen = dict[AlternativeNumbers, float]()  #: χ², infinite where it cannot be solved
        self.tried = dict[
            AlternativeNumbers, bool
        ]()  #: those solved on their own, not from a neighbour: whether they close
        self.rivals = set[
            tuple[AlternativeNumbers, int]
        ]()  #: those looked at as the best with their alternative of a reading

    @property
    def best(self) -> AlternativeNumbers:
        """Return the combination with the least χ²."""
        return min(self.seen, key=self.seen.__getitem__)

    @property
    def least(self) -> float:
        """Return the least χ²."""
        return min(self.seen.values(), default=inf)

    def with_rivals(self, numbers: AlternativeNumbers) -> Found:
        """Return a combination with the least χ² of the others for each reading."""
        others = tuple(
            min((misfit for each, misfit in self.seen.items() if each[place] != taken), default=inf)
            for place, taken in enumerate(numbers)
        )
        return Found(numbers, self.seen[numbers], others, self.tried[numbers])

    def next_numbers(
        self, fresh: Iterable[AlternativeNumbers], numbers: AlternativeNumbers
    ) -> AlternativeNumbers | None:
        """Return what to solve next: something fresh, the best not tried, or else something near."""
        waiting = [each for each in (*fresh, *sorted(self.seen, key=self.seen.__getitem__)) if each not in self.tried]
        near = (
            each
            for each in islice(nearby_numbers(self.observed.readings, numbers), MOST_TRIED)
            if each not in self.tried
        )
        return next((each for each in waiting if self.seen.get(each, 0.0) < inf), None) or next(near, None)

    def look_around(self, numbers: AlternativeNumbers, *, soften: bool) -> None:
        """Solve a combination, and look at those that should close best, and at the best with each alternative."""
        trial = self._solve(numbers)
        if trial is None:
            return
        for one in (trial.soften(), trial) if soften else (trial,):
            self._look(one, one.nearest(SOLVED))
            for each in one.alternatives:
                self._look(one, one.nearest(1, each))

    def look_at_rivals(self, numbers: AlternativeNumbers) -> bool:
        """Look at the best with each other alternative, from where the survey is solved with that one; once each.

        From the solution of another one, a combination that moves a point by metres is seen askew, or not at all.
        Returns whether there was something to look at.
        """
        waiting = dict[AlternativeNumbers, list[tuple[int, int]]]()
        for place, reading in enumerate(self.observed.readings):
            for number in range(len(reading.either)):
                rivals = [each for each in self.seen if each[place] == number]
                if number != numbers[place] and rivals:
                    rival = min(rivals, key=self.seen.__getitem__)
                    if (rival, place) not in self.rivals:
                        waiting.setdefault(rival, []).append((place, number))
        for rival, taken in waiting.items():
            self.rivals.update((rival, place) for place, _ in taken)
            if trial := self._solve(rival):
                for each in taken:
                    self._look(trial, trial.nearest(RIVALS, each))
        return bool(waiting)

    def _solve(self, numbers: AlternativeNumbers) -> _Trial | None:
        trial = _trial(self.observed, numbers)
        self.tried[numbers] = trial is not None and trial.closes
        self.seen[numbers] = trial.fit.misfit if trial else inf
        return trial

    def _look(self, trial: _Trial, near: Iterable[AlternativeNumbers]) -> None:
        for numbers in near:
            if numbers not in self.tried:
                self.seen[numbers] = min(self.seen.get(numbers, inf), trial.adjusted_misfit(numbers))


# --- one combination, solved ----------------------------------------------------------------------------------------


def _trial(observed: Observed, numbers: AlternativeNumbers) -> _Trial | None:
    """Return a survey solved with one combination; None where that cannot be."""
    try:
        chosen = with_choice(observed.book, observed.readings, numbers)
        reduction = reduce_readings(chosen)
        adjustment = adjust(chosen, reduction, observed.frame, allow_missing=True)
    except BookError:
        return None
    fit = fit_of_everything(adjustment)
    if fit is None or any(isinstance(finding.data, Gap) for finding in adjustment.warnings):
        return None  # without the points whose arcs do not meet it would close all the better
    return _Trial(observed, numbers, fit, fit.residuals / fit.network.sds)


@record(frozen=True, slots=False)
class _Trial:
    """A survey solved with one combination, and what its neighbours would be."""

    within: Observed
    numbers: AlternativeNumbers
    fit: Fit
    left: Array  #: (m,) what is left of the residuals once the points have moved, over σ

    @property
    def closes(self) -> bool:
        """Return whether χ² is what the tapes explain."""
        network = self.fit.network
        freedom = len(network.values) + len(network.shared_sds) - int((~network.held).sum())
        return freedom <= 0 or chi2_exceeded(self.fit.misfit, freedom) > CHANCE

    @cached_property
    def alternatives(self) -> list[tuple[int, int]]:
        """Return what may be taken instead: the number of the reading, the number of its alternative."""
        return [
            (place, number)
            for place, reading in enumerate(self.within.readings)
            for number in range(len(reading.either))
            if number != self.numbers[place]
        ]

    def with_alternatives(self, instead: Sequence[tuple[int, int]]) -> AlternativeNumbers:
        """Return the combination with some alternatives taken instead."""
        numbers = list(self.numbers)
        for place, number in instead:
            numbers[place] = number
        return tuple(numbers)

    def observations(self, numbers: AlternativeNumbers) -> list[Observation]:
        """Return the network's observations with another combination."""
        index = self.fit.network.index
        return [one for one in self.within.of(numbers) if all(name in index for name in one.points)]

    def adjusted_misfit(self, numbers: AlternativeNumbers) -> float:
        """Return χ² of another combination, adjusted from here; infinite where that does not settle."""
        try:
            return solve_network(
                with_observations(self.fit.network, self.observations(numbers)),
                None,
                self.fit.parameters,
                steps=MAX_NEIGHBOUR_STEPS,
            ).square_sum
        except BookError:
            return inf

    def soften(self) -> _Trial:
        """Return the same where the points stand by what is sure; open readings say no more than their range.

        A reading that is wrong by metres bends the whole figure, and what is seen from there is crooked.
        """
        network, sds = self.fit.network, self.fit.network.sds
        change = self.change * sds[:, None]
        low, high = change.min(axis=1, initial=0.0), change.max(axis=1, initial=0.0)
        loose = replace(network, values=network.values + (low + high) / 2, sds=np.hypot(sds, (high - low) / 2))
        try:
            begin = solve_network(loose, None, self.fit.parameters).parameters
            begin[2 * len(network.names) :] = 0.0  # with the tapes as they should be, nothing pulls
            linear = linearise(network, begin)
            here = solve_network(replace(network, values=linear.computed), None, begin)
        except BookError:
            return self
        residuals = misclosures(network, linear)
        left = Effects(here).residual_effects((residuals / sds)[:, None])[:, 0]
        return replace(self, fit=replace(here, network=network, residuals=residuals), left=left)

    @cached_property
    def change(self) -> Array:
        """Return C (m, k): what each alternative changes in the residuals where the points stand, over σ."""
        return np.stack([self._change(self.with_alternatives([each])) for each in self.alternatives], axis=1)

    @cached_property
    def form(self) -> tuple[list[tuple[int, int]], Array, Array]:
        """Return an order of the alternatives, U and z: χ² of y is that of this one and |U y + z|² - |z|²."""
        kept = np.where(self.fit.keep[:, None], self.change, 0.0)
        square = kept.T @ Effects(self.fit).residual_effects(kept)
        left_out = self.change - kept
        square += left_out.T @ left_out
        square += max(ROUNDING * float(np.diag(square).max()), ROUNDING) * np.eye(len(square))
        order = _elimination_order(square, [place for place, _ in self.alternatives])
        square = square[np.ix_(order, order)]
        upper = np.asarray(np.linalg.cholesky((square + square.T) / 2).T, float)
        aside = np.linalg.solve(upper.T, (self.change.T @ self.left)[order])
        return [self.alternatives[n] for n in order], upper, np.asarray(aside, float)

    def _change(self, numbers: AlternativeNumbers) -> Array:
        """Return what another combination changes in the residuals where the points stand, over σ."""
        network = self.fit.network
        other = with_observations(network, self.observations(numbers))
        residuals = misclosures(other, linearise(other, self.fit.parameters))
        return np.asarray((residuals - self.fit.residuals) / network.sds)

    def nearest(self, count: int, forced: tuple[int, int] | None = None) -> Iterator[AlternativeNumbers]:
        """Yield the combinations with the least χ² by the quadratic form, this one too; of those with one taken.

        That one may be this combination's own.

        From the last reading to the first: what a reading adds to |U y + z|² hangs on it and those after it alone.
        """
        order, upper, aside = self.form
        taken = np.zeros((1, len(aside)))
        costs = np.zeros(1)
        for place in dict.fromkeys(of for of, _ in reversed(order)):
            rows = [n for n, (of, _) in enumerate(order) if of == place]
            choices: list[int | None] = [None, *rows]
            if forced is not None and forced[0] == place:
                choices = [order.index(forced) if forced in order else None]
            taken, costs = _widen(taken, costs, upper[rows], aside[rows], choices)
        for row in taken[:count]:
            yield self.with_alternatives([order[n] for n in np.flatnonzero(row)])


def _elimination_order(square: Array, places: Sequence[int]) -> list[int]:
    """Return an order of elimination in which a check is felt as soon as the last reading in it is decided.

    Always the reading of which least is left next: first those that others already explain. Decided from the last
    to the first, the readings of one check then follow one another, and few combinations need to be kept.
    """
    left, order = square.copy(), list[int]()
    waiting = dict.fromkeys(places)
    while waiting:
        place = min(waiting, key=lambda one: float(sum(left[n, n] for n, of in enumerate(places) if of == one)))
        del waiting[place]
        for pivot in (n for n, of in enumerate(places) if of == place):
            order.append(pivot)
            left -= np.outer(left[pivot], left[pivot]) / left[pivot, pivot]
    return order


def _widen(
    taken: Array, costs: Array, upper: Array, aside: Array, choices: Sequence[int | None]
) -> tuple[Array, Array]:
    """Return combinations with one more reading decided, the best of them in the order of their costs."""
    branches = [taken.copy() for _ in choices]
    for branch, choice in zip(branches, choices, strict=True):
        if choice is not None:
            branch[:, choice] = 1.0
    wider = np.concatenate(branches)
    dearer = np.tile(costs, len(choices)) + np.sum((wider @ upper.T + aside) ** 2, axis=1)
    order = np.argsort(dearer, kind="stable")[:COMBINATIONS_KEPT]
    return np.asarray(wider[order]), np.asarray(dearer[order])
