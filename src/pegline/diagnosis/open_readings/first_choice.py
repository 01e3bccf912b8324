"""A combination of open readings to begin with, by looking where arcs first put the points; nothing is adjusted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, islice
from math import inf
from typing import Final

import numpy as np

from pegline.diagnosis.open_readings.choices import AlternativeNumbers, Observed, readings_in
from pegline.errors import BookError, Place
from pegline.measures.values import Reading
from pegline.network.linear_equations import build_network, linearise, misclosures
from pegline.network.start import Gap, start_figure
from pegline.records import record

__all__ = ["MOST_TRIED", "first_numbers", "nearby_numbers", "straighten"]

MOST_TRIED: Final = 64  #: combinations tried to find one that can be solved at all
LOOKED: Final = 256  #: combinations looked at without an adjustment
RUDE: Final = 10.0  #: standard deviations from which a measurement disagrees where the points only roughly stand


def first_numbers(observed: Observed) -> AlternativeNumbers:
    """Return a combination with which as many points as can be found their place: arcs must meet to be solved."""
    numbers = (0,) * len(observed.readings)
    first = _rough(observed, numbers)
    while first.lacking:
        # Where arcs do not meet their own readings are wrong, or those that put their centres where they are.
        tries = (nearby_numbers(observed.readings, numbers, some) for some in (first.concerned, frozenset[Place]()))
        looked = ((_rough(observed, each), each) for each in chain(*(islice(some, MOST_TRIED) for some in tries)))
        better = next((one for one in looked if one[0].lacking < first.lacking), None)
        if better is None:
            break
        first, numbers = better
    return numbers


def straighten(observed: Observed, numbers: AlternativeNumbers) -> AlternativeNumbers:
    """Return a combination with which fewer measurements disagree where arcs first put the points.

    One reading after another, then two at once. How many disagree counts and hardly by how much: a wrong reading
    that places a point makes everything else there disagree.
    """
    here = _rough(observed, numbers)
    tries = nearby_numbers(observed.readings, numbers)
    for _ in range(LOOKED):
        other = next(tries, None)
        if other is None:
            break
        there = _rough(observed, other)
        if (there.lacking, there.disagreement) < (here.lacking, here.disagreement):
            here, numbers, tries = there, other, nearby_numbers(observed.readings, other)
    return numbers


def nearby_numbers(
    readings: Sequence[Reading], numbers: AlternativeNumbers, concerned: frozenset[Place] = frozenset()
) -> Iterator[AlternativeNumbers]:
    """Yield other combinations, those with the fewest changes first; of some readings only where told."""
    free = [place for place, reading in enumerate(readings) if not concerned or reading.place in concerned]
    for changes in range(1, len(free) + 1):
        yield from _with_changes(readings, numbers, free, changes)


def _with_changes(
    readings: Sequence[Reading], numbers: AlternativeNumbers, free: Sequence[int], changes: int
) -> Iterator[AlternativeNumbers]:
    if not changes:
        yield numbers
        return
    for at, place in enumerate(free):
        for number in range(len(readings[place].either)):
            if number != numbers[place]:
                other = (*numbers[:place], number, *numbers[place + 1 :])
                yield from _with_changes(readings, other, free[at + 1 :], changes - 1)


@record(frozen=True, slots=True)
class _Rough:
    """How a combination looks where arcs first put the points, before anything is adjusted."""

    lacking: float  #: points that find no place
    disagreement: float = inf  #: sum of log(1 + (v / RUDE σ)²) of everything observed
    concerned: frozenset[Place] = frozenset()  #: the open readings of arcs that do not meet


def _rough(observed: Observed, numbers: AlternativeNumbers) -> _Rough:
    book, readings = observed.book, observed.readings
    try:
        observations = observed.of(numbers)
        first = start_figure(book.station_names, observed.shared, observations, observed.hints)
    except BookError:
        return _Rough(inf)
    gaps = [finding.data for finding in first.findings if isinstance(finding.data, Gap)]
    arms = [arm for gap in gaps for arm in gap.observations]
    lines = {arm.booking.line for arm in arms}
    places = {reading.place for line in book.lines.values() if line.name in lines for reading in readings_in(line)}
    places.update(arm.booking.place for arm in arms)
    concerned = frozenset(reading.place for reading in readings if reading.place in places)
    # Where north lies, and the grid, the first places do not know yet.
    placed_observations = [
        one
        for one in observations
        if one.booking.part not in ("bearing", "control") and first.positions.keys() >= set(one.points)
    ]
    network = build_network(
        list(first.positions), 0, placed_observations, observed.tapes, np.array(list(first.positions.values()))
    )
    off = misclosures(network, linearise(network, network.begin)) / network.sds
    return _Rough(len(first.missing), float(np.log1p((off / RUDE) ** 2).sum()), concerned)
