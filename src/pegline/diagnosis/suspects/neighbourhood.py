"""The part of a large survey in which something is wrong: what lies farther off is held where it stands.

Every hypothesis is solved with full matrices, which a survey of many stations would make slow. A mistake shows
in the measurements about it; where the points stand that are farther off is known well enough without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.errors import BookError
from pegline.network.dependents import change_of, changed_by
from pegline.network.least_squares import settle_network
from pegline.network.linear_equations import Network, build_network, linearise, misclosures, with_observations
from pegline.network.observation_types import Distance
from pegline.plane import Array
from pegline.records import record

__all__ = [
    "SMALL_SURVEY_UNKNOWNS",
    "Neighbourhood",
    "neighbourhood",
    "positions_if_right",
    "robust",
    "robust_without_each",
    "roughness",
]

SMALL_SURVEY_UNKNOWNS: Final = 64  #: unknowns up to which a survey is looked at as a whole
POINTS: Final = 18  #: points about what is wrong that are solved
SUSPICIOUS: Final = 8  #: measurements about which is looked, those that disagree most
DISAGREES: Final = 4.0  #: a measurement disagrees that misfits by more standard deviations
LOOSENED: Final = 1e4  #: by how much the deviation of a measurement is enlarged that is taken out
MOST_LEFT_OUT: Final = 40  #: measurements that are left out one by one
BEGINNINGS: Final = 3  #: solutions from which a robust one is looked for
ROBUST_ROUNDS: Final = 10  #: of the robust solution
MILD: Final = 3.0  #: a misfit of so many standard deviations counts half, a gross one hardly


@record(frozen=True, slots=False)
class Neighbourhood:
    """What lies about what is wrong."""

    worst: int  #: number of the observation that disagrees most

    network: Network
    begin: Array  #: parameters of its points
    numbers: tuple[int, ...]  #: of its observations in the whole survey


def robust(whole: Network, begins: Sequence[Array]) -> Array:
    """Return where everything stands when what disagrees counts little, from the best of several beginnings."""
    settled = [_robust_solution(whole, begin) for begin in begins]
    return min(settled, key=lambda parameters: roughness(whole, parameters))


def robust_without_each(whole: Network, begin: Array) -> Array:
    """Return the best robust solution that begins without one of the measurements that disagree, and what hangs on it.

    A gross mistake in what places a station leaves everything else there in disagreement with it.
    """
    off = np.abs(misclosures(whole, linearise(whole, begin)) / whole.sds)
    lines = [n for n in np.argsort(-off, kind="stable").tolist() if isinstance(whole.observations[n], Distance)]
    begins = [begin]
    near = {name for n in lines[:SUSPICIOUS] for name in whole.observations[n].points[:2]}
    placing = [n for n in lines if near & set(whole.observations[n].points)]
    for number in placing[:MOST_LEFT_OUT]:
        loose = whole.sds.copy()
        loose[[number, *change_of(whole.observations, number)]] *= LOOSENED
        try:
            begins.append(settle_network(replace(whole, sds=loose), None, begin).parameters)
        except BookError:
            continue
    best = sorted(begins, key=lambda parameters: roughness(whole, parameters))[:BEGINNINGS]
    return robust(whole, best)


def positions_if_right(whole: Network, near: Neighbourhood, weighed: WeighedHypothesis, begin: Array) -> Array:
    """Return where everything stands once a hypothesis of the neighbourhood is taken for right."""
    ones = list(whole.observations)
    variant = weighed.hypothesis.variant
    for number, one in variant.instead.items():
        ones[near.numbers[number]] = one
    for amount, size in zip(variant.amounts, weighed.amounts, strict=False):
        for number, rate in amount.items():
            ones[near.numbers[number]] = changed_by(ones[near.numbers[number]], rate, size)
    return robust(with_observations(whole, ones), [begin])


def neighbourhood(whole: Network, parameters: Array) -> Neighbourhood:
    """Return the network about what disagrees.

    Parameters
    ----------
    whole
        The survey.
    parameters
        Where its points stand when what disagrees counts little.
    """
    points = parameters[: 2 * len(whole.names)].reshape(-1, 2)
    inside = _about(whole, parameters)
    numbers = [n for n, one in enumerate(whole.observations) if any(whole.index[name] in inside for name in one.points)]
    ones = [whole.observations[n] for n in numbers]
    order = sorted({whole.index[name] for one in ones for name in one.points})
    # What the frame holds of the points inside is free: those around them hold the figure where it is.
    held_parameters = [2 * row + axis for row, n in enumerate(order) if n not in inside for axis in (0, 1)]
    network = build_network(
        [whole.names[n] for n in order],
        sum(n < whole.stations for n in order),
        ones,
        dict(zip(whole.tapes, whole.shared_sds.tolist(), strict=False)),
        points[order],
        scale=whole.scale,
        held=held_parameters,
    )
    shared = parameters[2 * len(whole.names) :]
    errors = [shared[whole.shared[name]] for name in network.shared]
    begin = np.concatenate((points[order].ravel(), shared[: len(whole.tapes)], errors))
    off = np.abs(misclosures(network, linearise(network, begin)) / network.sds)
    return Neighbourhood(int(np.argmax(off)), network, begin, tuple(numbers))


def _robust_solution(network: Network, begin: Array) -> Array:
    """Return the robust solution from one beginning: by weights of Cauchy's, renewed in rounds."""
    parameters = begin
    residuals = misclosures(network, linearise(network, begin))
    try:
        for _ in range(ROBUST_ROUNDS):
            looser = network.sds * np.sqrt(1 + (residuals / network.sds / MILD) ** 2)
            mild = settle_network(replace(network, sds=looser), None, parameters)
            moved = float(np.abs(mild.parameters - parameters).max())
            parameters, residuals = mild.parameters, mild.residuals
            if moved < float(network.sds.min()):
                break
    except BookError:  # what there is has to do
        pass
    return parameters


def roughness(network: Network, parameters: Array) -> float:
    """Return how badly everything fits; what disagrees grossly counts hardly more than what does a little."""
    off = misclosures(network, linearise(network, parameters)) / network.sds
    return float(np.log1p((off / MILD) ** 2).sum())


def _about(network: Network, parameters: Array) -> set[int]:
    """Return the points about what disagrees, the nearest by lines first."""
    size = np.abs(misclosures(network, linearise(network, parameters)) / network.sds)
    worst = [int(n) for n in np.argsort(-size, kind="stable")[:SUSPICIOUS]]
    worst = [n for n in worst if size[n] > DISAGREES] or worst[:1]
    by_point: dict[int, set[int]] = {}
    for one in network.observations:
        ends = [network.index[name] for name in one.points]
        for end in ends:
            by_point.setdefault(end, set()).update(ends)
    numbers: dict[int, None] = {}
    ring = list(dict.fromkeys(network.index[name] for n in worst for name in network.observations[n].points))
    while ring and len(numbers) < POINTS:
        for point in ring:
            if len(numbers) < POINTS:
                numbers[point] = None
        ring = sorted({near for point in ring for near in by_point[point]} - numbers.keys())
    return set(numbers)
