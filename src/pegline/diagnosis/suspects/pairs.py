"""Two readings wrong at once, each by any amount or by a slip."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain, combinations
from math import log, pi, sqrt
from typing import Final

import numpy as np

from pegline.diagnosis.suspects.evidence import (
    ANY_AMOUNT,
    NEAR_SIGMAS,
    SCALE_OF_TWO,
    WORTH_INTEGRATING,
    WeighedHypothesis,
    second_of_any_size,
    share_within,
)
from pegline.diagnosis.suspects.hypotheses import Hypothesis, Situation
from pegline.diagnosis.suspects.slips import Slip
from pegline.diagnosis.suspects.variants import SolvedVariant, Variant, Variants
from pegline.network.dependents import change_of
from pegline.plane import Array
from pegline.records import record

__all__ = ["Pairs", "told_with_one"]

PAIRS_SOLVED: Final = 80  #: pairs that are solved, begun from either reading, those that should fit best first
HOPELESS_PAIR: Final = 100.0  #: a pair that should fit by so much worse in χ² than the best single reading is none
STRAIGHT_SD: Final = 1.0  #: an amount known no better, metres or radians, is not followed by straight lines any further
PAIRED: Final = 14  #: readings of which two are taken to be wrong at once, the likeliest alone or beside the likeliest
TINY_SHARE: Final = 1e-6  #: a smaller part of a pair is nothing


@record(frozen=True, slots=False)
class Pairs:
    """What two wrong readings are reckoned from."""

    of: Situation
    singles: Sequence[Hypothesis]  #: each reading wrong by any amount,
    solved: SolvedVariant  #: and how they are solved
    slips_of: Mapping[int, Sequence[tuple[Slip, float]]]  #: with the logarithms of how likely they are, by reading
    per_reading: float  #: logarithm of one reading's part of what is wrong
    solve: Callable[[Sequence[Hypothesis], Array, Array | None], Iterable[WeighedHypothesis]]

    def hypotheses(self) -> list[WeighedHypothesis]:
        """Return two readings wrong at once, each by any amount or by a slip: one does not lead to the other."""
        pairs = self._pairs_by_any_amount()
        least = min((one.square for one in pairs), default=0.0)
        return [
            each
            for one in pairs
            for each in (one, *(self._slips_of_two(one) if one.square < least + WORTH_INTEGRATING else ()))
        ]

    def _pairs_by_any_amount(self) -> list[WeighedHypothesis]:
        """Return two readings wrong at once by any amount, those that come near the best, each pair once."""
        ones = self.of.observations
        best = self._best_of_each
        numbers = self._likeliest(best)
        prior = _log_prior_of_two(self._any_amount, self._any_amount)
        ordered = [(first, second) for i, j in combinations(numbers, 2) for first, second in ((i, j), (j, i))]
        hypotheses = [
            Hypothesis(
                pair,
                Variant(amounts=(change_of(ones, pair[0]), change_of(ones, pair[1]))),
                kind="two-readings",
                log_prior=prior,
            )
            for pair in ordered
        ]
        if not hypotheses:
            return []
        begins, amounts = self._beginnings(best, ordered)
        left = Variants(self.of.network, [one.variant for one in hypotheses]).foretold_squares(begins, amounts)
        some = np.argsort(left, kind="stable")[:PAIRS_SOLVED]
        some = some[left[some] < float(self.solved.squares.min()) + HOPELESS_PAIR]
        by_pair: dict[frozenset[int], WeighedHypothesis] = {}
        for one in self.solve([hypotheses[n] for n in some], begins[some], amounts[some]):
            key = frozenset(one.hypothesis.numbers)
            if key not in by_pair or one.square < by_pair[key].square:
                by_pair[key] = one
        return list(by_pair.values())

    @property
    def _any_amount(self) -> float:
        """Return the logarithm of how likely one reading is to be wrong by any amount."""
        return log(ANY_AMOUNT) + self.per_reading

    @property
    def _best_of_each(self) -> Mapping[int, int]:
        """Return where each reading fits best by its number, the best reading first; on the booked sides if anywhere.

        From where a point lies on the other side of its line no second mistake brings it back.
        """
        solved = self.solved
        astray = np.array([not self.of.on_booked_sides(parameters) for parameters in solved.parameters])
        best: dict[int, int] = {}
        for v in np.lexsort((solved.squares, astray)).tolist():
            best.setdefault(self.singles[v].numbers[0], v)
        return best

    def _likeliest(self, best: Mapping[int, int]) -> list[int]:
        """Return the readings to be paired: those that fit best alone and, in turn, those that do beside the first.

        The larger of two mistakes hides the smaller: alone that explains next to nothing.
        """
        if len(best) <= PAIRED:
            return list(best)
        first, *others = best
        ones, ordered = self.of.observations, [(first, other) for other in others]
        variants = [Variant(amounts=(change_of(ones, first), change_of(ones, other))) for other in others]
        left = Variants(self.of.network, variants).foretold_squares(*self._beginnings(best, ordered))
        beside = [others[n] for n in np.argsort(left, kind="stable").tolist()]
        in_turn = chain.from_iterable(zip(others, beside, strict=True))
        return list(dict.fromkeys((first, *in_turn)))[:PAIRED]

    def _beginnings(self, best: Mapping[int, int], ordered: Sequence[tuple[int, int]]) -> tuple[Array, Array]:
        """Return parameters and amounts to begin pairs with: where the first of each alone fits best."""
        rows = [best[first] for first, _ in ordered]
        amounts = np.zeros((len(rows), 2))
        amounts[:, 0] = self.solved.amounts[rows, 0]
        return self.solved.parameters[rows], amounts

    def _slips_of_two(self, root: WeighedHypothesis) -> Iterator[WeighedHypothesis]:
        """Yield the slips that explain one of two amounts, and both."""
        numbers, delta, among = root.hypothesis.numbers, np.array(root.amounts), root.covariances
        near = [
            [
                (s, p)
                for s, p in self.slips_of[n]
                if abs(s.change - delta[k]) <= NEAR_SIGMAS * min(root.sd(k), STRAIGHT_SD)
            ]
            for k, n in enumerate(numbers)
        ]
        for k in (0, 1):
            other, variance = 1 - k, float(among[k, k])
            for slip, prior in near[k]:
                off = slip.change - delta[k]
                amount = float(delta[other] + among[other, k] / variance * off)
                spread = sqrt(max(float(among[other, other] - among[other, k] ** 2 / variance), 1e-18))
                kind = type(self.of.observations[numbers[other]])
                density = 0.5 * log(2 * pi) + log(float(second_of_any_size(np.array([amount]), spread, kind)[0]))
                two = _log_prior_of_two(prior, self._any_amount)
                yield self._two_with(root, {k: slip}, {k: slip.change, other: amount}, two + density)
        inverse = np.linalg.inv(among)
        for one, one_prior in near[0]:
            for other_slip, other_prior in near[1]:
                off = np.array([one.change, other_slip.change]) - delta
                if off @ inverse @ off > NEAR_SIGMAS**2:
                    continue
                changes = {0: one.change, 1: other_slip.change}
                two = _log_prior_of_two(one_prior, other_prior)
                yield self._two_with(root, {0: one, 1: other_slip}, changes, two)

    def _two_with(
        self, root: WeighedHypothesis, slips: Mapping[int, Slip], changes: Mapping[int, float], prior: float
    ) -> WeighedHypothesis:
        """Return two readings wrong of which one or both are explained by slips."""
        some = sorted(slips)
        among = root.covariances[np.ix_(some, some)]
        off = np.array([changes[k] - root.amounts[k] for k in some])
        further = float(off @ np.linalg.solve(among, off))
        evidence = root.evidence - further / 2 - 0.5 * float(np.linalg.slogdet(among)[1])
        numbers = root.hypothesis.numbers
        hypothesis = replace(root.hypothesis, log_prior=prior, both=tuple(slips.get(k) for k in range(len(numbers))))
        across = root.covariances[:, some]
        return replace(
            root,
            hypothesis=hypothesis,
            weight=prior + evidence,
            evidence=evidence,
            amounts=(changes[0], changes[1]),
            covariances=root.covariances - across @ np.linalg.solve(among, across.T),
            square=root.square + further,
        )


def _log_prior_of_two(first: float, second: float) -> float:
    """Return the logarithm of how likely two mistakes are at once, from those of one and of the other.

    Each is a share of a whole that is more than 1, so that their product is scaled once more.

    >>> round(_log_prior_of_two(log(0.1), log(0.2)) - log(0.02 * SCALE_OF_TWO), 12)
    0.0
    """
    return first + second + log(SCALE_OF_TWO)


def told_with_one(
    single: Sequence[WeighedHypothesis], pairs: Sequence[WeighedHypothesis], critical: float, of: Situation
) -> tuple[list[WeighedHypothesis], list[WeighedHypothesis]]:
    """Return single readings with what speaks for a second mistake that no check would show, and the rest of the pairs.

    Where one reading lets everything pass, so it does as far from its best as the critical test allows. As far as a
    pair leaves it there, no check would show the second mistake, and what is told of the first stays true.
    """
    weights = [one.weight for one in single]
    roots: dict[int, list[int]] = {}
    for n in sorted(range(len(single)), key=lambda n: -weights[n]):
        if single[n].closes(critical) and single[n].hypothesis.slip is None:
            roots.setdefault(single[n].hypothesis.numbers[0], []).append(n)
    apart = []
    for pair in pairs:
        left = 1.0
        for k, number in enumerate(pair.hypothesis.numbers):
            shares = ((n, _share_unnoticed(pair, k, single[n], critical, of)) for n in roots.get(number, ()))
            likeliest = next(((n, share) for n, share in shares if share > TINY_SHARE), None)
            if likeliest is not None:
                n, share = likeliest[0], min(likeliest[1], left)
                weights[n] = float(np.logaddexp(weights[n], pair.weight + log(max(share, TINY_SHARE))))
                left -= share
        if left > TINY_SHARE:
            apart.append(replace(pair, weight=pair.weight + log(left)))
    return [replace(one, weight=weight) for one, weight in zip(single, weights, strict=True)], apart


def _share_unnoticed(
    pair: WeighedHypothesis, k: int, single: WeighedHypothesis, critical: float, of: Situation
) -> float:
    """Return how much of a pair leaves a reading where it alone would let everything pass."""
    near, amount = critical * single.sd(), single.amounts[0]
    if pair.sd(k) <= near or any(pair.hypothesis.both):
        return float(abs(amount - pair.amounts[k]) <= near >= pair.sd(k))
    kinds = [type(of.observations[number]) for number in pair.hypothesis.numbers]
    limits = amount - near, amount + near
    return share_within(np.array(pair.amounts), pair.covariances, (kinds[0], kinds[1]), k, limits)
