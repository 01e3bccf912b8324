"""What to measure next: the one or two new lines that best tell suspects apart, or best check what is weakest.

With P = G' R G for errors in k directions G (see ``effects``), one more line of derivatives a/σ makes

    P' = P + u u',   u = a Q A' G / √(1 + a Q a')

so every pair of stations in reach is judged without solving anything anew.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import ceil, erf, exp, sqrt
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from pegline.diagnosis.effects import LOOSE, TIED, Effects
from pegline.diagnosis.model import Advice
from pegline.measures.notation import Notation
from pegline.network.least_squares import Fit
from pegline.network.model import Array
from pegline.network.observation_types import Chainage, Distance, Observation
from pegline.network.quality import POWER
from pegline.records import record

if TYPE_CHECKING:
    from pegline.diagnosis.suspects import Doubt

__all__ = ["Tape", "strengthening", "telling_apart"]

Ints = NDArray[np.int64]
Judge = Callable[[Array], float]

NEAREST: Final = 14  #: stations about the place in question between which new lines are looked for
WEAKEST: Final = 12  #: lines that advice for a sound survey looks at
ENOUGH: Final = 0.97  #: odds of naming the right suspect that need no second line
OTHERS: Final = 0.1  #: what the other lines count beside the weakest
REACH: Final = 1.5  #: how much longer than the longest line taped a new one may be
SETTLED: Final = 0.9  #: odds below which the lines between the pegs there are do not settle it
NEW_PEG: Final = "; to be sure, set one more peg and tape it to four others"  #: where lines do not settle it
STRONG: Final = 0.2  #: a redundancy number that needs no second line
LEAST: Final = 0.1  #: a suspect counts no less than so much of the likeliest
MARGIN: Final = 0.02  #: correlations so close to the limit may turn out beyond it
WORTH: Final = 0.02  #: gains below this are not worth a walk


@record(frozen=True, slots=True)
class Tape:
    """The tape that a new line would be measured with."""

    name: str
    nominal: float  #: metres
    lay_sd: float  #: metres

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


def telling_apart(fit: Fit, doubts: Sequence[Doubt], tape: Tape) -> tuple[Advice, ...]:
    """Return the one or two lines that best tell suspects apart, with the rise of the odds of naming the right one.

    Parameters
    ----------
    fit
        The network with the first suspect corrected.
    doubts
        The suspects; one alone needs no advice.
    tape
        What a new line would be taped with.
    """
    if len(doubts) < 2:
        return ()
    numbers = np.array([doubt.number for doubt in doubts], np.int64)
    errors = np.array([abs(doubt.correction) for doubt in doubts])
    lines = _possible(fit, numbers, Effects(fit).directions(numbers), tape, again=True)
    if lines is None:
        return ()
    teach = _three_lines(fit, numbers)

    top = max(doubt.weight for doubt in doubts)
    shares = np.array([max(exp(doubt.weight - top), LEAST) for doubt in doubts])

    def odds(power: Array) -> float:
        return _odds(power, errors, shares / shares.sum())

    now = odds(lines.power)

    def why(before: float, after: float) -> str:
        rise = f"the probability of finding the mistake rises from {100 * before:.0f} % to {100 * after:.0f} %"
        open_ = "" if after >= SETTLED else NEW_PEG
        return f"{rise}{teach if before == now else ''}{open_}"

    return _chosen(fit, lines, odds, odds, why, enough=ENOUGH)


def _three_lines(fit: Fit, numbers: Ints) -> str:
    """Return the rule that teaches, where all suspects meet in one station."""
    ends = [{one.start, one.end} for n in numbers if isinstance(one := fit.network.observations[int(n)], Distance)]
    if len(ends) == len(numbers) == 3 and set.intersection(*ends):
        return "; a point held by three lines shows that something is wrong, four are needed to show which"
    return ""


def strengthening(fit: Fit, tape: Tape, critical: float, notation: Notation) -> tuple[Advice, ...]:
    """Return the one or two lines that best raise the weakest redundancy number of the chain lines.

    Parameters
    ----------
    fit
        The network.
    tape
        What a new line would be taped with.
    critical
        Largest test that passes: it says how small a mistake would be noticed.
    notation
        How the book writes lengths.
    """
    ones = fit.network.observations
    spread = Effects(fit).spread
    lines = [n for n, one in enumerate(ones) if isinstance(one, Distance) and one.booking.kind == "length"]
    weakest = np.array(sorted(lines, key=lambda n: (round(float(spread[n]), 6), n))[:WEAKEST], np.int64)
    alone = np.zeros((len(ones), len(weakest)))
    alone[weakest, np.arange(len(weakest))] = 1 / fit.network.sds[weakest]
    possible = _possible(fit, weakest, alone, tape, again=False) if len(weakest) else None
    if possible is None:
        return ()
    what = ones[int(weakest[0])].booking.label
    scale = fit.network.sds[weakest] ** 2

    def weakest_of_all(power: Array) -> float:
        return float(power[0, 0] * scale[0])

    def judge(power: Array) -> float:
        # Of lines that do as much for the weakest, the one that does most for the others.
        return weakest_of_all(power) + OTHERS * float(np.mean(np.diag(power)[: len(scale)] * scale))

    def hidden(redundancy: float) -> str:
        if redundancy <= LOOSE:
            return "of any size"
        return f"of {notation.small((critical + POWER) * sqrt(scale[0] / redundancy))}"

    def why(before: float, after: float) -> str:
        return f"a mistake {hidden(before)} in {what} could stay hidden; with this line, one {hidden(after)}"

    return _chosen(fit, possible, judge, weakest_of_all, why, enough=STRONG)


def _chosen(
    fit: Fit, lines: _Lines, judge: Judge, figure: Judge, why: Callable[[float, float], str], *, enough: float
) -> tuple[Advice, ...]:
    """Return the line that is judged best with the rise of a figure, and a second one where the first does not do."""
    found: list[Advice] = []
    now = figure(lines.power)
    for _ in range(min(2, len(lines.pairs))):
        best = int(np.argmax(np.round([judge(lines.with_line(number)) for number in range(len(lines.pairs))], 9)))
        then = figure(lines.with_line(best))
        if then - now < WORTH:
            break
        name, how = _named(fit, lines.pairs[best])
        found.append(Advice(name, how, then - now, why(now, then)))
        now = then
        if now >= enough:
            break
        lines = lines.after(best, fit)
    return tuple(found)


def _named(fit: Fit, pair: tuple[int, int]) -> tuple[str, Literal["again", "new line"]]:
    """Return the name of a line, as it is booked where it was taped before, and whether it was."""
    start, end = (fit.network.names[point] for point in pair)
    booked = {frozenset(one.points): one.booking.label for one in fit.network.observations if _is_line(one)}
    name = booked.get(frozenset((start, end)))
    return (name, "again") if name else (f"{start}-{end}", "new line")


def _odds(power: Array, errors: Array, shares: Array) -> float:
    """Return how likely the right one of several suspects is named, by how likely each is the right one.

    Error i is told from error j when its test comes out larger: the difference of two tests of mean
    e √P_ii (1 - ρ) has the variance 2 (1 - ρ). Tests that correlate above 0.95 stay in one group.
    """
    size = np.sqrt(np.maximum(np.diag(power), 1e-12))
    shared = np.minimum(np.abs(power / size / size[:, None]), 1.0)
    count = len(errors)
    z = (errors * size[:count])[:, None] * np.sqrt((1 - shared[:count]) / 2)
    right = np.array([[(1 + erf(value / sqrt(2))) / 2 for value in row] for row in z])
    right[shared[:count] > TIED - MARGIN] = 0.5
    right[np.arange(count), np.arange(count)] = 1.0
    return float(shares @ np.prod(right, axis=1))


def _possible(fit: Fit, numbers: Ints, directions: Array, tape: Tape, *, again: bool) -> _Lines | None:
    """Return the lines that could be taped near some observations; ``again``: those of the suspects once more too."""
    network = fit.network
    positions = fit.parameters[: 2 * len(network.names)].reshape(-1, 2)
    ones = [network.observations[int(n)] for n in numbers]
    about = sorted({network.index[name] for one in ones for name in one.points})
    away = np.hypot(*(positions[: network.stations, None] - positions[about]).transpose(2, 0, 1)).min(axis=1)
    near = np.argsort(away, kind="stable")[: max(NEAREST, len([p for p in about if p < network.stations]))]
    longest = max((one.booking.value for one in network.observations if _is_line(one)), default=0.0)
    reach = REACH * longest * network.scale
    taken = {frozenset(one.points) for one in network.observations if _is_line(one)}
    taken |= {frozenset(pair) for pair in _on_one_line(network.observations)}
    if again:
        taken -= {frozenset(one.points) for one in ones if _is_line(one)}
    pairs = [
        (int(p), int(q))
        for p, q in combinations(sorted(near), 2)
        if frozenset((network.names[p], network.names[q])) not in taken
        and float(np.hypot(*(positions[p] - positions[q]))) <= reach
    ]
    if not pairs:
        return None
    rows = _derivatives(fit, positions, pairs, tape)
    effects = Effects(fit)
    moved = fit.factor.solve(effects.gathered(directions))
    shares = np.sum(rows * fit.factor.solve(rows.T).T, axis=1)
    return _Lines(pairs, rows, moved, shares, directions.T @ effects.seen(directions))


def _is_line(one: Observation) -> bool:
    return isinstance(one, Distance) and one.booking.kind == "length"


def _on_one_line(ones: Sequence[Observation]) -> set[tuple[str, str]]:
    """Return the pairs of stations that stand on one line: a tape between them tells little."""
    on: dict[tuple[str, str], list[str]] = {}
    for one in ones:
        if isinstance(one, Chainage) and one.booking.part == "station":
            on.setdefault((one.start, one.end), [one.start, one.end]).append(one.point)
    return {pair for names in on.values() for pair in combinations(names, 2)}


def _derivatives(fit: Fit, positions: Array, pairs: Sequence[tuple[int, int]], tape: Tape) -> Array:
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
