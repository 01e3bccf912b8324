"""Which measurement is wrong: each one that may be, what it would have to be, and whether a slip explains it.

For every measurement the survey says what it would have been without it: a correction c with standard
deviation s, and the misfit χ² that is left. How likely each is to be the wrong one follows from the misfit
that is left and from what the correction looks like:

    no slip     (1 - π) √(2π) s / (2 |c| ln R)     an error of any size, each order of magnitude as likely
    a slip      π / n · exp(-(d - c)² / 2 s²)      one of n slips, which would change it by d

both times exp(-χ²/2), and brought to a sum of 1. So a slip counts for less the more slips there are that
could explain the correction by chance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, inf, log, pi, sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.diagnosis.coupling import hangs_on, moved
from pegline.diagnosis.effects import LOOSE, Effects
from pegline.diagnosis.explanations import Explanation, bare, explanations
from pegline.diagnosis.model import Suspect
from pegline.diagnosis.readings import Booking
from pegline.diagnosis.slips import as_booked
from pegline.errors import BookError, Place
from pegline.network.equations import Bearing, Control, Observation, Ranging, Square
from pegline.network.model import MeasurementKind
from pegline.network.solve import Fit, changed, solve

__all__ = ["TIED", "Doubt", "doubts", "grouped", "told"]

Ints = NDArray[np.int64]

TIED: Final = 0.95  #: tests that correlate by more cannot be told apart
SLIP: Final = 0.8  #: share of gross errors that are one of the slips (a guess: nobody has counted)
RANGE: Final = 1e4  #: largest over smallest gross error
MOST: Final = 40  #: measurements that are looked at closely
WEAK: Final = 0.3  #: tests below this share of the largest are not
ROUNDS: Final = 6  #: how often a line is solved anew with its chainages
CURVED: Final = 0.3  #: how much of its own standard deviation a correction may bend


@dataclass(frozen=True, slots=True)
class Doubt:
    """One measurement, taken to be the wrong one."""

    number: int  #: of the observation
    what: str
    kind: MeasurementKind
    place: Place
    reading: str
    would_be: str
    correction: float  #: what would make the survey close, metres or radians
    sd: float  #: of the correction
    square: float  #: χ² that is left
    closes: bool  #: whether everything then passes
    slip: Explanation | None
    weight: float  #: logarithm of how likely it is the wrong one
    beside: tuple[int, ...] = ()  #: other observations taken to be wrong at the same time


def doubts(fit: Fit, critical: float, readings: Mapping[Place, tuple[Booking, ...]]) -> list[Doubt]:
    """Return the measurements that may be wrong, the likeliest first."""
    effects = Effects(fit)
    size = np.abs(effects.tests)
    looked = [int(n) for n in np.argsort(-size, kind="stable")[:MOST] if fit.keep[n] and effects.spread[n] > LOOSE]
    looked = [n for n in looked if size[n] >= WEAK * size[looked[0]]]
    if not looked:
        return []
    rows = np.array(looked)
    found = _straight(effects, rows)
    if any(_bends(fit, n, left) for n, left in found.items()):
        found = {n: left for n in looked if (left := _left_out(fit, n)) is not None}
    judged = [
        _judged(fit.network.observations[n], n, readings.get(fit.network.observations[n].place, ()), left, critical)
        for n, left in found.items()
    ]
    return sorted(judged, key=lambda doubt: (not doubt.closes, -doubt.weight))


class Left(NamedTuple):
    """What is left of the misfit when one observation is left out."""

    correction: float  #: what it would have to change by
    sd: float  #: of the correction
    square: float  #: χ²
    worst: float  #: largest test among the others


def _straight(effects: Effects, rows: Ints) -> dict[int, Left]:
    """Return what leaving out each observation does, by the straight equations."""
    told = effects.explained(rows)
    squares = effects.fit.square_sum - told.tests**2
    columns = (told.correction, told.sd, squares, told.worst)
    return {n: Left(*map(float, row)) for n, *row in zip(rows.tolist(), *columns, strict=True) if row[1] > 0}


def _bends(fit: Fit, number: int, left: Left) -> bool:
    """Return whether a correction is so large that the straight equations mislead."""
    one = fit.network.observations[number]
    if isinstance(one, Bearing | Square):
        return False
    length = max(abs(one.value), 0.05 * fit.network.extent)
    return left.correction**2 / (2 * length) > CURVED * left.sd


def _left_out(fit: Fit, number: int) -> Left | None:
    """Return what leaving out an observation does, solved anew; what hangs on it follows."""
    keep = fit.keep.copy()
    keep[number] = False
    network, correction = fit.network, 0.0
    rounds = ROUNDS if hangs_on(network.observations, number) else 1
    begin = fit.parameters
    try:
        for _ in range(rounds):
            without = solve(network, keep, begin)
            begin = without.parameters
            correction -= float(without.residuals[number])
            if rounds > 1:
                network = changed(fit.network, moved(fit.network.observations, number, correction))
    except BookError:
        return None
    effects = Effects(without)
    sd = fit.network.sds[number] * sqrt(effects.spread[number])
    return Left(correction, float(sd), without.square_sum, effects.worst())


def _judged(one: Observation, number: int, booked: Sequence[Booking], left: Left, critical: float) -> Doubt:
    correction, sd, square, worst = left
    slips = [(slip, -((slip.change - correction) ** 2) / (2 * sd**2)) for slip in explanations(booked)]
    slip, misfit = max(slips, key=lambda pair: pair[1], default=(None, -inf))
    free = (1 - SLIP) * sqrt(2 * pi) * sd / (2 * max(abs(correction), sd) * log(RANGE))
    by_slip = sum(exp(fits) for _, fits in slips) * SLIP / max(len(slips), 1)
    closes = worst <= critical
    explains = slip is not None and SLIP / len(slips) * exp(misfit) > free and sqrt(-2 * misfit) <= critical
    return Doubt(
        number,
        one.what,
        one.kind,
        slip.place if explains and slip else one.place,
        slip.reading if explains and slip else _reading(one, booked),
        slip.would_be if explains and slip else _would_be(one, booked, correction),
        correction,
        sd,
        square,
        closes,
        slip if explains else None,
        -square / 2 + log(free + by_slip),
    )


def _reading(one: Observation, booked: Sequence[Booking]) -> str:
    """Return what is booked, as the book writes it."""
    if booked:
        return ", ".join(bare(b.reading.length.text) for b in booked)
    return _plain(one, one.value)


def _would_be(one: Observation, booked: Sequence[Booking], correction: float) -> str:
    if not booked:
        return _plain(one, one.value + correction)
    if len(booked) > 1 and abs(booked[0].share - 1) < 0.1:  # legs: any of them may be wrong
        return f"{as_booked(booked[0].reading.metres + correction, booked[0].reading)} (or another leg)"
    mean = sum(b.reading.metres for b in booked) / len(booked)
    first = booked[0]
    return as_booked(mean + correction / (first.share * len(booked)), first.reading)


def _plain(one: Observation, value: float) -> str:
    """Return a value that no tape reads, in words."""
    match one:
        case Bearing():
            return f"{np.degrees(value) % 360:.2f}°"
        case Square():
            return f"{abs(np.degrees(value)):.2f}°"
        case Ranging():
            side = "left" if value > 0 else "right"
            return "in the line" if value == 0 else f"{abs(value):.2f} m {side} of the line"
        case Control(along=along):
            return f"{'easting' if along[0] else 'northing'} {value:.3f} m from the origin"
    return f"{value:.3f} m"


def grouped(fit: Fit, found: Sequence[Doubt]) -> list[list[Doubt]]:
    """Return the doubts in groups that the survey cannot tell apart, the likeliest first."""
    left = list(found)
    groups: list[list[Doubt]] = []
    rows = np.array([doubt.number for doubt in found], np.int64)
    shared = np.abs(Effects(_closed(fit, found[0])).explained(rows).correlations) if found else np.zeros((0, 0))
    place = {doubt.number: n for n, doubt in enumerate(found)}
    while left:
        first = left[0]
        tied = [d for d in left if d is first or shared[place[d.number], place[first.number]] > TIED]
        groups.append(tied)
        left = [doubt for doubt in left if doubt not in tied]
    return groups


def _closed(fit: Fit, doubt: Doubt) -> Fit:
    """Return the network solved with one observation corrected: there the equations are straight."""
    network = changed(fit.network, moved(fit.network.observations, doubt.number, doubt.correction))
    try:
        return solve(network, fit.keep, fit.parameters)
    except BookError:
        return fit


def told(groups: Sequence[Sequence[Doubt]], *, least: float = 0.005) -> tuple[Suspect, ...]:
    """Return the suspects as they are told: all of the first group, and of the others what is worth a look."""
    every = [doubt for group in groups for doubt in group]
    if not every:
        return ()
    top = max(doubt.weight for doubt in every)
    likely = {id(doubt): exp(doubt.weight - top) for doubt in every}
    total = sum(likely.values())
    return tuple(
        Suspect(
            what=doubt.what,
            group=number,
            place=doubt.place,
            reading=doubt.reading,
            would_be=doubt.would_be,
            slip=doubt.slip.words if doubt.slip else None,
            closes=doubt.closes,
            score=likely[id(doubt)] / total,
            kind=doubt.kind,
        )
        for number, group in enumerate(groups, 1)
        for doubt in group
        if number == 1 or likely[id(doubt)] / total >= least
    )
