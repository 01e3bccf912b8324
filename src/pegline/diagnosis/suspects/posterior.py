"""One posterior over everything that may be wrong with a survey, each hypothesis solved anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import log, sqrt
from typing import Final

import numpy as np

from pegline.diagnosis.suspects.booked_reading import BookedReading
from pegline.diagnosis.suspects.construction import Construction
from pegline.diagnosis.suspects.evidence import (
    ANY_AMOUNT,
    MORE_THAN_TWO_SHARE,
    NEAR_SIGMAS,
    NOTHING_WRONG_SHARE,
    WORTH_INTEGRATING,
    WeighedHypothesis,
    integrate_amount,
    shares,
    something_else,
    weighed_hypothesis,
)
from pegline.diagnosis.suspects.hypotheses import ROUGH_SIGMAS, Hypothesis, Situation
from pegline.diagnosis.suspects.hypothesis_table import every_hypothesis
from pegline.diagnosis.suspects.pairs import Pairs, told_with_one
from pegline.diagnosis.suspects.slips import Slip, slips, spread_of
from pegline.diagnosis.suspects.variants import SolvedVariant, Variant, Variants
from pegline.network.dependents import change_of
from pegline.plane import Array
from pegline.records import record

__all__ = ["Posterior", "reckon"]

MOST_SOLVED: Final = 40  #: hypotheses of names, sides and lines that are solved, those with the least misclosures first
SLIPS_SOLVED: Final = 24  #: slips that are solved, the likeliest first
GRID: Final = np.linspace(0.0, 1.0, 61)  #: steps at which roots are looked for:
SHORTEST_SHARE, LONGER_METRES = 0.2, 100.0  #: from a share of the reading to the reading and so many metres
WEAK: Final = 0.15  #: an amount known no better, metres or radians, is integrated over
ROOTS_APART_SIGMAS: Final = 3.0  #: standard deviations between two roots of one reading
#: Where χ² is looked at beside a root, metres.
METRES_BESIDE_ROOT: Final = np.concatenate((-np.geomspace(20.0, 0.02, 20), [0.0], np.geomspace(0.02, 20.0, 20)))
MOST_SPREAD: Final = 100.0  #: χ² of the spread of readings counts no more
EXPLAINS: Final = 1e-3  #: what lowers χ² by less explains nothing
LEAST_FREEDOM: Final = 2  #: redundant measurements that two mistakes can be reckoned from


@record(frozen=True, slots=False)
class Posterior:
    """Every hypothesis with its share."""

    hypotheses: tuple[WeighedHypothesis, ...]  #: the likeliest first
    shares: tuple[float, ...]  #: of each hypothesis, then of something else and of nothing wrong; they sum to 1
    critical: float  #: largest test that passes

    @property
    def something_else(self) -> float:
        """Return the share of what is none of the hypotheses."""
        return self.shares[-2]

    @property
    def nothing_wrong(self) -> float:
        """Return the share of a sound survey."""
        return self.shares[-1]


def reckon(
    of: Situation,
    construction: Construction | None,
    readings: Mapping[int, Sequence[BookedReading]],
    critical: float,
    further: Mapping[int, Sequence[Slip]] | None = None,
) -> Posterior:
    """Return the posterior over what may be wrong.

    Parameters
    ----------
    of
        The survey.
    construction
        How arcs put its points.
    readings
        What is booked, by the number of the observation.
    critical
        Largest test that passes.
    further
        Slips of what no tape reads.
    """
    return _Reckoner(of, construction, readings, critical, further or {}).posterior()


@record(frozen=True, slots=False)
class _Reckoner:
    of: Situation
    construction: Construction | None
    readings: Mapping[int, Sequence[BookedReading]]
    critical: float
    further: Mapping[int, Sequence[Slip]]

    def posterior(self) -> Posterior:
        """Return the posterior: single readings, names and sides, two readings, something else, and nothing wrong."""
        square, log_volume = self._as_booked
        roots = self._explanations(self._any_amount())
        usual = self._slips(roots)
        freedom = self.of.freedom
        pairs = Pairs(self.of, *self._one_wrong, self._slips_of, self._per_reading, self._solve)
        single, apart = told_with_one(
            [*roots, *usual], pairs.hypotheses() if freedom >= LEAST_FREEDOM else [], self.critical, self.of
        )
        weighed, elsewhere = [*single, *self._others(roots)], [something_else(square, freedom) + log_volume]
        if freedom > LEAST_FREEDOM:
            weighed += [replace(one, weight=one.weight + log(1 - MORE_THAN_TWO_SHARE)) for one in apart]
            elsewhere += [one.weight + log(MORE_THAN_TWO_SHARE) for one in apart]
        else:  # two amounts fit two redundant measurements whatever is wrong: they speak for something else
            elsewhere += [one.weight for one in apart]
        weighed.sort(key=lambda one: -one.weight)
        sound = log(NOTHING_WRONG_SHARE) - square / 2 + log_volume
        every = [*(one.weight for one in weighed), float(np.logaddexp.reduce(elsewhere)), sound]
        return Posterior(tuple(weighed), tuple(shares(every)), self.critical)

    @cached_property
    def _as_booked(self) -> tuple[float, float]:
        """Return χ² of the survey as booked, and the volume of its likelihood.

        Where what disagrees draws a point to the other side of its line, that is no longer the survey as booked: its
        points are taken where its arcs put them.
        """
        begins = self._begins
        variants = Variants(self.of.network, [Variant()] * len(begins))
        solved = variants.solve(begins, variants.given_amounts)
        sided = np.array([self.of.on_booked_sides(one) for one in solved.parameters])
        as_begun = np.sum(variants.misclosures(begins) ** 2, axis=1)
        squares = np.where(sided, solved.squares, as_begun)
        best = int(np.argmin(squares))
        return float(squares[best]), float(solved.log_volumes[int(np.argmin(solved.squares))])

    @cached_property
    def _begins(self) -> Array:
        """Return parameters (b, 2 n + s) to begin with, every point on the side that is booked where that can be."""
        begins = [*self.of.begins]
        if self.construction is not None:
            begins.append(np.concatenate((self.construction.places.ravel(), np.zeros(len(self.of.network.shared_sds)))))
        sided = [one for one in begins if self.of.on_booked_sides(one)]
        return np.array(sided or begins)

    def _solve(
        self, hypotheses: Sequence[Hypothesis], begins: Array, amounts: Array | None = None
    ) -> Iterator[WeighedHypothesis]:
        """Yield the hypotheses solved; those that leave far more unexplained than the best are left out."""
        if not hypotheses:
            return
        variants = Variants(self.of.network, [one.variant for one in hypotheses])
        solved = variants.solve(begins, variants.given_amounts if amounts is None else amounts)
        yield from self._weigh(hypotheses, solved)

    def _weigh(self, hypotheses: Sequence[Hypothesis], solved: SolvedVariant) -> Iterator[WeighedHypothesis]:
        for v, one in enumerate(hypotheses):
            sided = self.of.on_booked_sides(solved.parameters[v], one.mirrored)
            if sided and np.isfinite(solved.log_volumes[v]):
                yield weighed_hypothesis(one, solved, v, self.of.network, self._as_booked[1])

    # -- one reading wrong -------------------------------------------------------------------------------------------

    @cached_property
    def _per_reading(self) -> float:
        """Return the logarithm of one reading's part of what is wrong: all readings alike."""
        return -log(max(len(self.of.readings), 1))

    @cached_property
    def _one_wrong(self) -> tuple[list[Hypothesis], SolvedVariant]:
        """Return every reading wrong by any amount, solved from every place where a root may be."""
        ones, prior = self.of.observations, log(ANY_AMOUNT) + self._per_reading
        single = {
            n: Hypothesis((n,), Variant(amounts=(change_of(ones, n),)), kind="reading", log_prior=prior)
            for n in self.of.readings
        }
        begins = list(self._roots(single))
        hypotheses = [single[number] for number, _, _ in begins]
        variants = Variants(self.of.network, [one.variant for one in hypotheses])
        parameters = np.array([begin for _, begin, _ in begins])
        return hypotheses, variants.solve(parameters, np.array([[amount] for _, _, amount in begins]))

    def _any_amount(self) -> list[WeighedHypothesis]:
        """Return every reading wrong by any amount, with every root that it has."""
        weighed: dict[int, list[WeighedHypothesis]] = {}
        for one in self._weigh(*self._one_wrong):
            others = weighed.setdefault(one.hypothesis.numbers[0], [])
            if all(abs(one.amounts[0] - other.amounts[0]) > other.sd() for other in others):
                others.append(one)
        return self._weak_ones_integrated([one for others in weighed.values() for one in others])

    def _weak_ones_integrated(self, roots: Sequence[WeighedHypothesis]) -> list[WeighedHypothesis]:
        """Return the readings wrong by any amount, the likelihood of what is only weakly known integrated over it."""
        least = min((one.square for one in roots), default=0.0)
        weak = [one for one in roots if one.sd() > WEAK and one.square < least + WORTH_INTEGRATING]
        if not weak:
            return list(roots)
        hypotheses = [
            replace(one.hypothesis, variant=replace(one.hypothesis.variant, fixed=(one.amounts[0] + step,)))
            for one in weak
            for step in METRES_BESIDE_ROOT
        ]
        variants = Variants(self.of.network, [one.variant for one in hypotheses])
        begins = np.repeat(np.array([one.parameters for one in weak]), len(METRES_BESIDE_ROOT), axis=0)
        squares = variants.solve(begins, variants.given_amounts).squares.reshape(len(weak), -1)
        sided = {
            id(one): integrate_amount(
                one, one.amounts[0] + METRES_BESIDE_ROOT, row, type(self.of.observations[one.hypothesis.numbers[0]])
            )
            for one, row in zip(weak, squares, strict=True)
        }
        return _apart([sided.get(id(one), one) for one in roots])

    def _roots(self, single: Mapping[int, Hypothesis]) -> Iterator[tuple[int, Array, float]]:
        """Yield where to look for what each reading would have to be: its number, parameters and amount."""
        as_booked = Variants(self.of.network, [Variant()] * len(self._begins))
        off = as_booked.misclosures(self._begins) * self.of.network.sds
        for number in single:
            for begin, misclosure in zip(self._begins, off[:, number].tolist(), strict=True):
                yield number, begin, -misclosure
        if self.construction is not None:
            yield from self._scan(self.construction, [single[n] for n in self.construction.readings])

    def _scan(self, construction: Construction, single: Sequence[Hypothesis]) -> Iterator[tuple[int, Array, float]]:
        """Yield the amounts with which a construction comes closest to everything else that was measured."""
        values = [max(self.of.observations[one.numbers[0]].booking.value, 1.0) for one in single]
        steps = np.array([v * SHORTEST_SHARE * ((v + LONGER_METRES) / v / SHORTEST_SHARE) ** GRID - v for v in values])
        many = Variants(self.of.network, [one.variant for one in single for _ in GRID])
        amounts = steps.reshape(-1, 1)
        begins = construction.repeat(many, amounts)
        costs = _roughness(many, begins, amounts).reshape(steps.shape)
        begins = begins.reshape(*steps.shape, -1)
        padded = np.pad(costs, ((0, 0), (1, 1)), constant_values=np.inf)
        least = (costs <= padded[:, :-2]) & (costs <= padded[:, 2:])
        for row, one in enumerate(single):
            best = sorted(np.flatnonzero(least[row]), key=lambda n: float(costs[row, n]))
            for n in best[:2]:
                yield one.numbers[0], begins[row, n], float(steps[row, n])

    @cached_property
    def _slips_of(self) -> Mapping[int, Sequence[tuple[Slip, float]]]:
        """Return the slips of each reading with the logarithm of how likely they are, by its number."""
        slips_by_number: dict[int, Sequence[tuple[Slip, float]]] = {}
        for number in self.of.readings:
            booked = self.readings.get(number, ())
            sd = self.of.observations[number].booking.sd * sqrt(max(len(booked), 1))
            every = [*slips(booked, sd), *self.further.get(number, ())]
            of_kind = Counter(slip.kind for slip in every)
            spread = min(spread_of([one.metres for one in booked], sd), MOST_SPREAD) if len(booked) > 1 else 0.0
            slips_by_number[number] = [
                (
                    slip,
                    log(slip.share / of_kind[slip.kind])
                    + self._per_reading
                    - (min(slip.spread, MOST_SPREAD) - spread if len(booked) > 1 else 0.0) / 2,
                )
                for slip in every
            ]
        return slips_by_number

    def _slips(self, roots: Sequence[WeighedHypothesis]) -> list[WeighedHypothesis]:
        """Return the slips that meet a root, each once; the likeliest solved anew."""
        nearest: dict[tuple[int, float, str], WeighedHypothesis] = {}
        for root in roots:
            delta, sd = root.amounts[0], root.sd()
            for slip, prior in self._slips_of[root.hypothesis.numbers[0]]:
                off = (slip.change - delta) / sd
                if abs(off) <= NEAR_SIGMAS:
                    one = replace(
                        root.hypothesis,
                        log_prior=prior,
                        slip=slip,
                        variant=replace(root.hypothesis.variant, fixed=(slip.change,)),
                    )
                    evidence = root.evidence - log(sd) - off**2 / 2
                    meeting = replace(
                        root,
                        hypothesis=one,
                        weight=prior + evidence,
                        evidence=evidence,
                        amounts=(slip.change,),
                        square=root.square + off**2,
                    )
                    key = root.hypothesis.numbers[0], slip.change, slip.would_be
                    if key not in nearest or meeting.weight > nearest[key].weight:
                        nearest[key] = meeting
        weighed = sorted(nearest.values(), key=lambda one: -one.weight)
        return [*self._again(weighed[:SLIPS_SOLVED]), *weighed[SLIPS_SOLVED:]]

    def _again(self, weighed: Sequence[WeighedHypothesis]) -> Iterator[WeighedHypothesis]:
        return self._solve([one.hypothesis for one in weighed], np.array([one.parameters for one in weighed]))

    # -- names, sides, lines -----------------------------------------------------------------------------------------

    def _others(self, roots: Sequence[WeighedHypothesis]) -> list[WeighedHypothesis]:
        """Return the hypotheses beyond single readings that come near, and explain something."""
        count = len(self.of.network.names)
        lengths = set(self.of.lengths)
        places = {
            one.hypothesis.numbers[0]: one.parameters[: 2 * count].reshape(-1, 2)
            for one in sorted(roots, key=lambda one: one.weight)
            if one.hypothesis.numbers[0] in lengths
        }
        hypotheses = list(every_hypothesis(replace(self.of, places_without=places)))
        if not hypotheses:
            return []
        variants = Variants(self.of.network, [one.variant for one in hypotheses])
        amounts = variants.given_amounts
        begins = [np.tile(begin, (len(hypotheses), 1)) for begin in self._begins]
        if self.construction is not None:
            begins.append(self.construction.repeat(variants, amounts))
        begins.append(self._begins_as_changed(hypotheses, roots, begins[-1]))
        costs = np.array([_roughness(variants, begin, amounts) for begin in begins])
        # From where a point lies on its booked side no adjustment reaches the other.
        costs[:-1, [bool(one.mirrored) for one in hypotheses]] = np.inf
        best = np.argmin(costs, axis=0)
        order = np.argsort(costs.min(axis=0), kind="stable")[:MOST_SOLVED]
        return self._explanations(
            self._solve([hypotheses[n] for n in order], np.array([begins[best[n]][n] for n in order]))
        )

    def _explanations(self, weighed: Iterable[WeighedHypothesis]) -> list[WeighedHypothesis]:
        """Return the hypotheses that explain something of what disagrees: no check sees the others."""
        return [one for one in weighed if one.square < self._as_booked[0] - EXPLAINS]

    def _begins_as_changed(
        self, hypotheses: Sequence[Hypothesis], roots: Sequence[WeighedHypothesis], otherwise: Array
    ) -> Array:
        """Return parameters (v, 2 n + s) with the points on the other side, exchanged, or as without a line."""
        begin = otherwise.copy()
        at_root = {one.hypothesis.numbers[0]: one.parameters for one in sorted(roots, key=lambda one: one.weight)}
        for v, one in enumerate(hypotheses):
            if one.mirrored and self.construction is not None:
                begin[v] = self.construction.mirror(one.mirrored[0])
            elif one.exchanged:
                places = begin[v, : 2 * len(self.of.network.names)].reshape(-1, 2)
                places[list(one.exchanged)] = places[list(reversed(one.exchanged))]
            elif one.reflected:
                places = begin[v, : 2 * len(self.of.network.names)].reshape(-1, 2)
                start, end, *corners = one.reflected
                places[corners] = _reflect(places[corners], places[start], places[end])
            elif one.numbers and one.numbers[0] in at_root:
                begin[v] = at_root[one.numbers[0]]
        return begin


def _reflect(places: Array, start: Array, end: Array) -> Array:
    """Return places (n, 2) on the other side of the line through two points."""
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    arms = places - start
    return np.asarray(start + 2 * np.outer(arms @ along, along) - arms)


def _apart(roots: Iterable[WeighedHypothesis]) -> list[WeighedHypothesis]:
    """Return the roots of each reading that lie apart: what is only weakly known has been integrated over once."""
    kept: dict[int, list[WeighedHypothesis]] = {}
    for root in sorted(roots, key=lambda one: -one.weight):
        others = kept.setdefault(root.hypothesis.numbers[0], [])
        if all(abs(root.amounts[0] - other.amounts[0]) > ROOTS_APART_SIGMAS * other.sd() for other in others):
            others.append(root)
    return [root for others in kept.values() for root in others]


def _roughness(variants: Variants, begins: Array, amounts: Array) -> Array:
    """Return how badly measurements fit where points only roughly stand (v,): gross misclosures count hardly more."""
    return np.asarray(np.log1p((variants.misclosures(begins, amounts) / ROUGH_SIGMAS) ** 2).sum(axis=1))
