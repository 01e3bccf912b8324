"""What leaving out one measurement does to a survey: what it would have to be, and the misfit that is left.

A small error is told by the straight equations for all measurements at once. A gross one has misplaced the
figure itself: then the figure is begun and solved anew without each measurement in turn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.diagnosis.anew import Anew
from pegline.diagnosis.effects import LOOSE, Effects
from pegline.diagnosis.explanations import explanations
from pegline.diagnosis.readings import Booking
from pegline.errors import BookError, Place
from pegline.network.dependents import hangs_on, moved
from pegline.network.least_squares import Fit, Network, changed, linearise, misclosures, solve
from pegline.network.model import Array
from pegline.network.observation_types import Bearing, Distance, Square

__all__ = ["STEPS", "Left", "Readings", "close", "gross"]

Ints = NDArray[np.int64]
Readings = Mapping[Place, tuple[Booking, ...]]

MOST: Final = 40  #: measurements that are looked at closely
WEAK: Final = 0.3  #: tests below this share of the largest are not
LOOSEST: Final = 1e3  #: a correction known no better than so many times the reading says nothing
GROSS: Final = frozenset({"whole-tape", "misread-unit", "moved-point"})  #: slips that misplace the first figure
NEAR: Final = 0.01  #: steps below so many standard deviations end the rounds
SOLVED: Final = 16  #: first figures that are solved, those with the least misfit first
CHANGED: Final = 2.5  #: corrections below so many of their standard deviations are none
STEPS: Final = 15  #: a figure that does not settle in so many steps is not the right one
ROUNDS: Final = 6  #: how often a line is solved anew with its chainages
CURVED: Final = 0.3  #: how much of its own standard deviation a correction may bend


class Left(NamedTuple):
    """What is left of the misfit when one observation is left out."""

    correction: float  #: what it would have to change by
    sd: float  #: of the correction
    square: float  #: χ²
    worst: float  #: largest test among the others
    begin: Array  #: parameters close to the solution without it


class Figure(NamedTuple):
    """A first figure in which one observation is taken to be wrong."""

    cost: float  #: squared misclosures in standard deviations
    number: int  #: of the observation
    change: float  #: by how much it is wrong in this figure; 0 where nothing hangs on it and it is left out
    begin: Array


def close(fit: Fit) -> dict[int, list[Left]] | None:
    """Return what leaving out each suspicious observation does, None where an error is too gross to tell so."""
    effects = Effects(fit)
    size = np.abs(effects.tests)
    looked = [int(n) for n in np.argsort(-size, kind="stable")[:MOST] if effects.spread[n] > LOOSE]
    looked = [n for n in looked if size[n] >= WEAK * size[looked[0]]]
    if not looked:
        return {}
    found = _straight(effects, np.array(looked))
    return None if any(_bends(fit, n, left) for n, left in found.items()) else {n: [left] for n, left in found.items()}


def gross(fit: Fit, critical: float, readings: Readings, anew: Anew | None) -> dict[int, list[Left]]:
    """Return what leaving out an observation does, solved anew: more than one figure may fit the rest.

    Of two figures that close, such as mirror images, the one that began nearer is the one that the book means.
    """
    size = np.abs(fit.residuals / fit.network.sds)
    looked = np.argsort(-size, kind="stable")[:MOST].tolist()
    figures = [figure for number in looked for figure in _figures(fit, number, readings, anew)]
    found: dict[int, list[Left]] = {}
    solved = 0
    for figure in sorted(figures, key=lambda figure: figure.cost):
        if solved == SOLVED or any(left.worst <= critical for left in found.get(figure.number, ())):
            continue
        solved += 1
        left = _left_out(fit, figure)
        # What needs no change is not wrong: the figure has only settled otherwise.
        if left is not None and abs(left.correction) > CHANGED * left.sd:
            found.setdefault(figure.number, []).append(left)
    return found


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
    yield Figure(_cost(network, begin, but=number), number, change, begin)
    if anew is None or not isinstance(observations[number], Distance):
        return
    for slip in explanations(readings.get(observations[number].booking.place, ())):
        if slip.kind in GROSS and observations[number].booking.value + slip.change > 0:
            mended = moved(observations, number, slip.change)
            begun = anew.begin(mended)
            if begun is not None:
                yield Figure(_cost(changed(fit.network, mended), begun), number, slip.change, begun)


def _cost(network: Network, parameters: Array, *, but: int | None = None) -> float:
    """Return the squared misclosures of a figure in standard deviations, those of one observation left out."""
    size = misclosures(network, linearise(network, parameters)) / network.sds
    if but is not None:
        size[but] = 0.0
    return float(size @ size)


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
    length = max(abs(one.booking.value), 0.05 * fit.network.extent)
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
            correction = float(network.values[number] - fit.network.values[number]) + step
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
