"""Which measurement is wrong: each one that may be, what it would have to be, and whether a slip explains it.

For every measurement the survey says what it would have been without it: a correction c with standard
deviation s, and the misfit χ² that is left. How likely each is to be the wrong one follows from the misfit
that is left and from what the correction looks like:

    no slip     (1 - π) √(2π) s / (2 |c| ln R)     an error of any size, each order of magnitude as likely
    a slip      π p exp(-(d - c)² / 2 s²)          one that would change it by d; p is the less the more there are

both times exp(-χ²/2), and brought to a sum of 1. So a slip counts for less the more slips there are that
could explain the correction by chance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp, inf, log, pi, sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.diagnosis.anew import Anew
from pegline.diagnosis.coupling import hangs_on, moved
from pegline.diagnosis.effects import LOOSE, Effects
from pegline.diagnosis.explanations import Explanation, bare, explanations
from pegline.diagnosis.model import Suspect
from pegline.diagnosis.readings import Booking
from pegline.diagnosis.slips import as_booked
from pegline.errors import BookError, Place
from pegline.network.equations import Bearing, Control, Distance, Observation, Ranging, Square
from pegline.network.model import Array, MeasurementKind
from pegline.network.solve import Fit, Network, changed, linearise, misclosures, solve

__all__ = ["TIED", "Doubt", "closed", "doubts", "grouped", "judged", "ranked", "settled", "told", "undecided"]

Ints = NDArray[np.int64]
Readings = Mapping[Place, tuple[Booking, ...]]

TIED: Final = 0.95  #: tests that correlate by more cannot be told apart
SLIP: Final = 0.8  #: share of gross errors that are one of the slips (a guess: nobody has counted)
#: How slips share out over their kinds (a guess too): whole tapes and units are miscounted most.
SHARES: Final = {
    "whole-tape": 0.30,
    "misread-unit": 0.25,
    "confused-digits": 0.15,
    "exchanged-digits": 0.10,
    "moved-point": 0.05,
    "wrong-end": 0.05,
    "wrong-unit": 0.05,
    "other-side": 0.05,
}
RANGE: Final = 1e4  #: largest over smallest gross error
MOST: Final = 40  #: measurements that are looked at closely
WEAK: Final = 0.3  #: tests below this share of the largest are not
LOOSEST: Final = 1e3  #: a correction known no better than so many times the reading says nothing
GROSS: Final = frozenset({"whole-tape", "misread-unit", "moved-point"})  #: slips that misplace the first figure
NEAR: Final = 0.01  #: steps below so many standard deviations end the rounds
SOLVED: Final = 16  #: first figures that are solved, those with the least misfit first
CHANGED: Final = 2.5  #: corrections below so many of their standard deviations are none
SURE: Final = 0.9  #: share of the suspicion at which no more slips are looked for
STEPS: Final = 15  #: a figure that does not settle in so many steps is not the right one
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
    begin: Array  #: parameters close to the solution without it
    beside: str = ""  #: the measurement that is wrong at the same time, if one alone does not explain it


def doubts(fit: Fit, critical: float, readings: Readings, anew: Anew | None = None) -> list[Doubt]:
    """Return the measurements that may be wrong, the likeliest first.

    Parameters
    ----------
    fit
        The network solved with everything; what keeps it from settling may be left out.
    critical
        Largest test that passes.
    readings
        What is booked of each measurement.
    anew
        Begins the network anew where a gross error has misplaced the first figure.
    """
    found = _close(fit) if fit.keep.all() else None
    if found is None:
        found = _gross(fit, readings, anew)
    every = [
        max(
            (judged(one, number, readings.get(one.place, ()), left, critical) for left in lefts),
            key=lambda doubt: (doubt.closes, doubt.weight),
        )
        for number, lefts in found.items()
        for one in (fit.network.observations[number],)
    ]
    return sorted(every, key=lambda doubt: (not doubt.closes, -doubt.weight))


def _close(fit: Fit) -> dict[int, list[Left]] | None:
    """Return what leaving out each suspicious observation does, None where an error is too gross to tell so."""
    effects = Effects(fit)
    size = np.abs(effects.tests)
    looked = [int(n) for n in np.argsort(-size, kind="stable")[:MOST] if effects.spread[n] > LOOSE]
    looked = [n for n in looked if size[n] >= WEAK * size[looked[0]]]
    if not looked:
        return {}
    found = _straight(effects, np.array(looked))
    return None if any(_bends(fit, n, left) for n, left in found.items()) else {n: [left] for n, left in found.items()}


def _gross(fit: Fit, readings: Readings, anew: Anew | None) -> dict[int, list[Left]]:
    """Return what leaving out an observation does, solved anew: more than one figure may fit the rest."""
    size = np.abs(fit.residuals / fit.network.sds)
    looked = np.argsort(-size, kind="stable")[:MOST].tolist()
    figures = [figure for number in looked for figure in _figures(fit, number, readings, anew)]
    found: dict[int, list[Left]] = {}
    for figure in sorted(figures, key=lambda figure: figure.cost)[:SOLVED]:
        left = _left_out(fit, figure)
        # What needs no change is not wrong: the figure has only settled otherwise.
        if left is not None and abs(left.correction) > CHANGED * left.sd:
            found.setdefault(figure.number, []).append(left)
    return found


class Figure(NamedTuple):
    """A first figure in which one observation is taken to be wrong."""

    cost: float  #: squared misclosures of the others, in standard deviations
    number: int  #: of the observation
    change: float  #: by how much it is wrong in this figure; 0 where nothing hangs on it and it is left out
    begin: Array


def _figures(fit: Fit, number: int, readings: Readings, anew: Anew | None) -> Iterator[Figure]:
    """Yield first figures without an observation, and with its slips undone: the figure may hang on it."""
    observations = fit.network.observations
    fresh = anew.begin(observations, (number,)) if anew else None
    begin, network, change = fit.parameters if fresh is None else fresh, fit.network, 0.0
    if hangs_on(observations, number):
        # The figure itself says by how much: what hangs on the observation follows at once.
        change = -float(misclosures(network, linearise(network, begin))[number])
        mended = moved(observations, number, change)
        network = changed(network, mended)
        again = anew.begin(mended, (number,)) if anew else None
        begin = begin if again is None else again
    yield Figure(_cost(network, begin, number), number, change, begin)
    if anew is None or not isinstance(observations[number], Distance):
        return
    for slip in explanations(readings.get(observations[number].place, ())):
        if slip.kind in GROSS and observations[number].value + slip.change > 0:
            mended = moved(observations, number, slip.change)
            begun = anew.begin(mended)
            if begun is not None:
                yield Figure(_cost(changed(fit.network, mended), begun, number), number, slip.change, begun)


def _cost(network: Network, parameters: Array, number: int) -> float:
    size = misclosures(network, linearise(network, parameters)) / network.sds
    size[number] = 0.0
    return float(size @ size)


class Left(NamedTuple):
    """What is left of the misfit when one observation is left out."""

    correction: float  #: what it would have to change by
    sd: float  #: of the correction
    square: float  #: χ²
    worst: float  #: largest test among the others
    begin: Array  #: parameters close to the solution without it


def _straight(effects: Effects, rows: Ints) -> dict[int, Left]:
    """Return what leaving out each observation does, by the straight equations."""
    told = effects.explained(rows)
    squares = effects.fit.square_sum - told.tests**2
    columns = (told.correction, told.sd, squares, told.worst)
    return {
        n: Left(float(c), float(sd), float(square), float(worst), effects.fit.parameters)
        for n, c, sd, square, worst in zip(rows.tolist(), *columns, strict=True)
        if sd > 0
    }


def _bends(fit: Fit, number: int, left: Left) -> bool:
    """Return whether a correction is so large that the straight equations mislead."""
    one = fit.network.observations[number]
    if isinstance(one, Bearing | Square):
        return False
    length = max(abs(one.value), 0.05 * fit.network.extent)
    return left.correction**2 / (2 * length) > CURVED * left.sd


def _left_out(fit: Fit, figure: Figure) -> Left | None:
    """Return what leaving out an observation does, solved anew; what hangs on it follows."""
    _, number, correction, begin = figure
    keep = np.ones(len(fit.keep), bool)
    keep[number] = False
    network = fit.network
    follows = bool(hangs_on(network.observations, number))
    try:
        for _ in range(ROUNDS if follows else 1):
            if follows:
                network = changed(fit.network, moved(fit.network.observations, number, correction))
            without = solve(network, keep, begin, steps=STEPS)
            begin = without.parameters
            step = -float(without.residuals[number])
            correction = float(network.observations[number].value - fit.network.observations[number].value) + step
            if abs(step) < NEAR * network.sds[number]:
                break
    except BookError:
        return _mended(fit, figure)
    effects = Effects(without)
    sd = float(fit.network.sds[number] * sqrt(effects.spread[number]))
    if sd > LOOSEST * fit.network.sds[number]:
        return _mended(fit, figure)
    return Left(correction, sd, without.square_sum, effects.worst(), begin)


def _mended(fit: Fit, figure: Figure) -> Left | None:
    """Return what undoing a slip does to an observation that the figure cannot do without."""
    _, number, change, begin = figure
    if change == 0:
        return None
    try:
        network = changed(fit.network, moved(fit.network.observations, number, change))
        mended = solve(network, None, begin, steps=STEPS)
    except BookError:
        return None
    return Left(change, float(fit.network.sds[number]), mended.square_sum, Effects(mended).worst(), mended.parameters)


def judged(one: Observation, number: int, booked: Sequence[Booking], left: Left, critical: float) -> Doubt:
    """Return a measurement as the wrong one, with its likeliest slip."""
    correction, sd, square, worst, _ = left
    slips = [(slip, log(prior) - (slip.change - correction) ** 2 / (2 * sd**2)) for slip, prior in _priors(booked)]
    slip, likely = max(slips, key=lambda pair: pair[1], default=(None, -inf))
    free = log((1 - SLIP) * sqrt(2 * pi) * sd / (2 * max(abs(correction), sd) * log(RANGE)))
    by_slip = sum(exp(weight) for _, weight in slips) * SLIP
    closes = worst <= critical
    explains = slip is not None and log(SLIP) + likely > free and abs(slip.change - correction) <= critical * sd
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
        -square / 2 + log(exp(free) + by_slip),
        left.begin,
    )


def _priors(booked: Sequence[Booking]) -> list[tuple[Explanation, float]]:
    """Return every slip of a measurement with how likely it is among all of them: the more of a kind, the less each."""
    slips = list(explanations(booked))
    of_kind = Counter(slip.kind for slip in slips)
    total = sum(SHARES[kind] for kind in of_kind)
    return [(slip, SHARES[slip.kind] / of_kind[slip.kind] / total) for slip in slips]


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
    shared = np.abs(Effects(closed(fit, found[0])).explained(rows).correlations) if found else np.zeros((0, 0))
    place = {doubt.number: n for n, doubt in enumerate(found)}
    while left:
        first = left[0]
        tied = [d for d in left if d is first or shared[place[d.number], place[first.number]] > TIED]
        groups.append(tied)
        left = [doubt for doubt in left if doubt not in tied]
    return groups


def closed(fit: Fit, doubt: Doubt) -> Fit:
    """Return the network solved with one observation corrected: there the equations are straight."""
    network = changed(fit.network, moved(fit.network.observations, doubt.number, doubt.correction))
    try:
        return solve(network, None, doubt.begin)
    except BookError:
        return fit


def ranked(groups: Sequence[list[Doubt]]) -> list[list[Doubt]]:
    """Return groups by their likeliest member, those that close first."""
    return sorted(groups, key=lambda group: (not group[0].closes, -group[0].weight))


def settled(groups: Sequence[Sequence[Doubt]]) -> bool:
    """Return whether a slip of one reading lets everything close and stands alone."""
    likely = _likely([doubt for group in groups for doubt in group])
    return any(d.slip is not None and d.closes and not d.beside and share > SURE for d, share in likely)


def _likely(every: Sequence[Doubt]) -> list[tuple[Doubt, float]]:
    """Return each doubt with its share of the suspicion."""
    top = max((doubt.weight for doubt in every), default=0.0)
    total = sum(exp(doubt.weight - top) for doubt in every)
    return [(doubt, exp(doubt.weight - top) / total) for doubt in every]


def undecided(groups: Sequence[Sequence[Doubt]], *, least: float = 0.05) -> list[Doubt]:
    """Return the suspects between which it is open which is wrong; none where one stands alone."""
    likely = _likely([doubt for group in groups for doubt in group])
    found = [doubt for doubt, share in likely if share >= least or any(doubt is one for one in groups[0])]
    return found if len(found) > 1 else []


def told(groups: Sequence[Sequence[Doubt]], *, least: float = 0.005) -> tuple[Suspect, ...]:
    """Return the suspects as they are told: all of the first group, and of the others what is worth a look."""
    shares = {id(doubt): share for doubt, share in _likely([doubt for group in groups for doubt in group])}
    return tuple(
        Suspect(
            what=doubt.what,
            group=number,
            place=doubt.place,
            reading=doubt.reading,
            would_be=doubt.would_be,
            slip=doubt.slip.words if doubt.slip else None,
            closes=doubt.closes,
            score=shares[id(doubt)],
            kind=doubt.kind,
            beside=doubt.beside or None,
        )
        for number, group in enumerate(groups, 1)
        for doubt in group
        if number == 1 or shares[id(doubt)] >= least
    )
