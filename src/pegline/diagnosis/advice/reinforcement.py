"""Which one or two new lines best check what is weakest in a sound survey.

With P = G' R G for errors in k directions G (see ``effects``), one more line of derivatives a/σ makes

    P' = P + u u',   u = a Q A' G / √(1 + a Q a')

so every pair of stations in reach is judged without solving anything anew. What is told of the line that is chosen,
how large a mistake could stay hidden, is what the results say: the checks decide it, and the survey is solved anew.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import combinations
from math import ceil, inf, sqrt
from typing import Final, Protocol

import numpy as np

from pegline.diagnosis.effects import Effects
from pegline.diagnosis.model import Advice
from pegline.diagnosis.rules.phrases import name_reading
from pegline.measures.notation import Notation
from pegline.network.least_squares import Fit
from pegline.network.observation_types import Booking, Observation, is_chain_line, tie_chainages
from pegline.plane import Array, Ints
from pegline.records import record
from pegline.reduction.model import Reduction

__all__ = ["NEAREST_STATIONS", "REACH_FACTOR", "NewLineTape", "on_one_line", "strengthening_lines"]

Judge = Callable[[Array], float]
Pair = tuple[str, str]

NEAREST_STATIONS: Final = 14  #: stations about the place in question between which new lines are looked for
WEAKEST: Final = 12  #: lines that advice for a sound survey looks at
OTHERS: Final = 0.1  #: what the other lines count beside the weakest
REACH_FACTOR: Final = 1.5  #: how much longer than the longest line taped a new one may be
STRONG: Final = 0.2  #: a redundancy number that needs no second line
LEAST_GAIN: Final = 0.02  #: gains below this are not worth a walk,
RAISED: Final = 1.2  #: nor a redundancy number raised by less,
LESS_HIDDEN: Final = 1.1  #: nor a mistake that could stay hidden, made smaller by less
MOST_TRIED: Final = 3  #: lines, the best ones first, for which the survey is solved anew


#: Whether stations, by their names, can be taped to: two from each other, more from a peg amid them.
Sight = Callable[..., bool]


class Noticing(Protocol):
    """What is asked of a survey to which lines may be added."""

    def smallest_noticed(self, reading: Booking, lines: Sequence[Pair]) -> float:
        """Return the smallest mistake in a reading that some check notices once lines are taped, metres."""

    def noticed_by_each(self, reading: Booking, rows: Array) -> Array:
        """Return the smallest mistake in a reading that each of some new lines (c, u) notices, near enough, metres."""


def open_ground(*stations: str) -> bool:
    """Return that every line can be taped: where nothing is known to stand in the way."""
    return True


@record(frozen=True, slots=True)
class NewLineTape:
    """The tape that a new line would be measured with."""

    name: str
    nominal: float  #: metres
    lay_sd: float  #: metres

    @classmethod
    def of_base(cls, reduction: Reduction) -> NewLineTape:
        """Return the tape that the base line was measured with."""
        tape = next(line.ground.tape for line in reduction.lines.values() if line.use == "base")
        constants = reduction.tapes[tape]
        return cls(tape, constants.nominal, constants.lay_sd)

    def sd(self, length: float) -> float:
        """Return the standard deviation of one reading, metres."""
        return self.lay_sd * sqrt(max(1, ceil(length / self.nominal)))


@dataclass(slots=True)
class _Lines:
    """New lines that could be taped, as the survey stands; each that is chosen changes the others."""

    pairs: list[tuple[int, int]]  #: stations
    rows: Array  #: (c, u) derivatives over the standard deviation
    moved: Array  #: (u, k) Q A' G
    shares: Array  #: (c,) a Q a'
    power: Array  #: (k, k) G' R G
    across: Array = field(init=False)  #: (c, k) u of each line

    def __post_init__(self) -> None:
        self.across = self.rows @ self.moved / np.sqrt(1 + self.shares)[:, None]

    def with_line(self, number: int) -> Array:
        """Return P' (k + 1, k + 1) with one more line, which may itself be wrong: its error is the last direction."""
        u, share = self.across[number], self.shares[number]
        with_itself = -u[:, None] / sqrt(1 + share)
        return np.block([[self.power + np.outer(u, u), with_itself], [with_itself.T, np.array([[1 / (1 + share)]])]])

    def after(self, number: int, fit: Fit) -> _Lines:
        """Return the lines that could be taped once one of them is."""
        row = self.rows[number]
        spread = fit.factor.solve(row)
        left = 1 + self.shares[number]
        shared = self.rows @ spread
        moved = np.column_stack((self.moved - np.outer(spread, row @ self.moved) / left, spread / left))
        shares = np.maximum(self.shares - shared**2 / left, 0.0)
        rest = [n for n in range(len(self.pairs)) if n != number]
        pairs = [self.pairs[n] for n in rest]
        return _Lines(pairs, self.rows[rest], moved, shares[rest], self.with_line(number))


def strengthening_lines(
    fit: Fit, tape: NewLineTape, more: Noticing, notation: Notation, *, is_clear: Sight = open_ground
) -> tuple[Advice, ...]:
    """Return the one or two lines that best check the weakest of chain lines and tie stations.

    The weakest is the one in which the largest mistake could stay hidden, counted in its standard deviations.
    Where no line helps the weakest of all, as a tie station square to what it carries, the weakest chain line counts.

    Parameters
    ----------
    fit
        The network.
    tape
        What a new line would be taped with.
    more
        How small a mistake would be noticed with lines more.
    notation
        How the book writes lengths.
    is_clear
        Whether a line between two stations can be taped: no house stands across it.
    """
    ones = fit.network.observations
    lines = [n for n, one in enumerate(ones) if is_chain_line(one)]
    ends = {name for n in lines for name in ones[n].points}
    ties = [n for n, one in tie_chainages(ones) if one.point in ends]
    spread = Effects(fit).spread

    def strength(number: int) -> tuple[float, float, int]:
        booking = ones[number].booking
        return round(-more.smallest_noticed(booking, ()) / booking.sd, 6), round(float(spread[number]), 6), number

    for numbers in (lines + ties, lines) if ties else (lines,):
        weakest = np.array(sorted(numbers, key=strength)[:WEAKEST], np.int64)
        if len(weakest) and (advice := _strengthening_lines(fit, weakest, tape, more, notation, is_clear)):
            return advice
    return ()


def _strengthening_lines(
    fit: Fit, weakest: Ints, tape: NewLineTape, more: Noticing, notation: Notation, is_clear: Sight
) -> tuple[Advice, ...]:
    """Return the one or two lines that best raise the first of some redundancy numbers."""
    ones = fit.network.observations
    alone = np.zeros((len(ones), len(weakest)))
    alone[weakest, np.arange(len(weakest))] = 1 / fit.network.sds[weakest]
    possible = _possible(fit, weakest, alone, tape, is_clear)
    if possible is None:
        return ()
    reading = ones[int(weakest[0])].booking
    what = name_reading(reading, ones[int(weakest[0])].points[0])
    scale = fit.network.sds[weakest] ** 2

    def weakest_of_all(power: Array) -> float:
        return float(power[0, 0] * scale[0])

    def judge(power: Array) -> float:
        # Of lines that do as much for the weakest, the one that does most for the others.
        return weakest_of_all(power) + OTHERS * float(np.mean(np.diag(power)[: len(scale)] * scale))

    def size(mistake: float) -> str:
        return "of any size" if mistake == inf else f"of {notation.small(mistake)}"

    def why(before: float, after: float) -> str:
        return f"a mistake {size(before)} in {what} could stay hidden; with this line, one {size(after)}"

    by_each = dict(zip(possible.pairs, more.noticed_by_each(reading, possible.rows).tolist(), strict=True))
    return _best_lines(fit, possible, judge, weakest_of_all, partial(more.smallest_noticed, reading), by_each, why)


def _best_lines(
    fit: Fit,
    lines: _Lines,
    judge: Judge,
    figure: Judge,
    noticed: Callable[[Sequence[Pair]], float],
    by_each: Mapping[tuple[int, int], float],
    why: Callable[[float, float], str],
) -> tuple[Advice, ...]:
    """Return the line that is judged best with the rise of a figure, and a second one where the first does not do.

    Of each it is proved by a new solution that a smaller mistake is noticed with it than without.
    """
    advice: list[Advice] = []
    taped: list[Pair] = []
    now, hidden = figure(lines.power), noticed(())
    while len(taped) < 2 and not (taped and now >= STRONG):
        powers = [lines.with_line(number) for number in range(len(lines.pairs))]
        figures = [figure(power) for power in powers]
        judged = np.round([judge(power) for power in powers], 9)
        promising = [
            number
            for number in np.argsort(-judged, kind="stable").tolist()
            if figures[number] >= max(now + LEAST_GAIN, RAISED * now)
            and hidden > LESS_HIDDEN * by_each[lines.pairs[number]]
        ]
        for best in promising[:MOST_TRIED]:
            start, end = (fit.network.names[point] for point in lines.pairs[best])
            left, then = noticed((*taped, (start, end))), figures[best]
            if hidden > LESS_HIDDEN * left:
                break
        else:
            break
        advice.append(Advice(f"{start}-{end}", "new line", then - now, why(hidden, left)))
        taped.append((start, end))
        now, hidden, lines = then, left, lines.after(best, fit)
    return tuple(advice)


def _possible(fit: Fit, numbers: Ints, directions: Array, tape: NewLineTape, is_clear: Sight) -> _Lines | None:
    """Return the lines that could be taped near some observations."""
    network = fit.network
    positions = fit.parameters[: 2 * len(network.names)].reshape(-1, 2)
    ones = [network.observations[int(n)] for n in numbers]
    about = sorted({network.index[name] for one in ones for name in one.points})
    away = np.hypot(*(positions[: network.stations, None] - positions[about]).transpose(2, 0, 1)).min(axis=1)
    near = np.argsort(away, kind="stable")[: max(NEAREST_STATIONS, len([p for p in about if p < network.stations]))]
    longest = max((one.booking.value for one in network.observations if is_chain_line(one)), default=0.0)
    reach = REACH_FACTOR * longest * network.scale
    taped_pairs = {frozenset(one.points) for one in network.observations if is_chain_line(one)}
    taped_pairs |= {frozenset(pair) for pair in on_one_line(network.observations)}
    pairs = [
        (int(p), int(q))
        for p, q in combinations(sorted(near), 2)
        if frozenset((network.names[p], network.names[q])) not in taped_pairs
        and float(np.hypot(*(positions[p] - positions[q]))) <= reach
        and is_clear(network.names[p], network.names[q])
    ]
    if not pairs:
        return None
    rows = _derivatives(fit, positions, pairs, tape)
    effects = Effects(fit)
    moved = fit.factor.solve(effects.parameter_effects(directions))
    shares = np.sum(rows * fit.factor.solve(rows.T).T, axis=1)
    return _Lines(pairs, rows, moved, shares, directions.T @ effects.residual_effects(directions))


def on_one_line(ones: Sequence[Observation]) -> set[tuple[str, str]]:
    """Return the pairs of stations that stand on one line: a tape between them tells little."""
    on: dict[tuple[str, str], list[str]] = {}
    for _, one in tie_chainages(ones):
        on.setdefault((one.start, one.end), [one.start, one.end]).append(one.point)
    return {pair for names in on.values() for pair in combinations(names, 2)}


def _derivatives(fit: Fit, positions: Array, pairs: Sequence[tuple[int, int]], tape: NewLineTape) -> Array:
    """Return the derivatives of new lines to the unknowns, over their standard deviations (c, u)."""
    network = fit.network
    full = np.zeros((len(pairs), len(network.held)))
    for row, (p, q) in enumerate(pairs):
        vector = positions[q] - positions[p]
        length = float(np.hypot(*vector))
        sd = tape.sd(length / network.scale)
        unit = vector / length / network.scale / sd
        full[row, 2 * p : 2 * p + 2], full[row, 2 * q : 2 * q + 2] = -unit, unit
        if tape.name in network.tapes:
            full[row, 2 * len(network.names) + network.tapes.index(tape.name)] = length / network.scale / sd
    return np.asarray(full[:, ~network.held])
