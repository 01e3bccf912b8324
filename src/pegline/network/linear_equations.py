"""Observations between points gathered by type, and their equations at one place: computed values and derivatives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from pegline.network.equations import EQUATIONS, Equation
from pegline.network.observation_types import Observation
from pegline.plane import Array, Ints, wrap_angle
from pegline.records import record

__all__ = [
    "Batch",
    "Linear",
    "Mask",
    "Network",
    "build_network",
    "linearise",
    "misclosures",
    "parameter_numbers",
    "with_observations",
]

Mask = NDArray[np.bool_]


@record(frozen=True, slots=True)
class Batch:
    """All observations of one type."""

    equation: Equation
    rows: Ints  #: (m,) their numbers in ``Network.observations``
    points: Ints  #: (m, k) numbers of their points
    numbers: Array  #: (m, j) constants of the equation
    tapes: Ints  #: (m,) number of the tape, -1 for none
    shared: Ints  #: (m, w) numbers of the other errors that its readings share, after those of the tapes
    shares: Array  #: (m, w) what each of them puts into a reading, metres


@record(frozen=True, slots=True)
class Network:
    """Observations between points, gathered for the computation.

    Parameters are numbered: 2 i and 2 i + 1 are x and y of point i, 2 n + t is the scale of tape t; after the tapes
    come the other errors that readings share, over their standard deviations.
    """

    names: tuple[str, ...]  #: n points, the stations first
    index: Mapping[str, int]
    stations: int
    observations: tuple[Observation, ...]
    values: Array  #: (m,) observed, metres or radians
    sds: Array  #: (m,) of what each observation shares with no other, metres or radians
    batches: tuple[Batch, ...]
    tapes: tuple[str, ...]
    #: (s,) of what readings share, beforehand: the scale of each tape, metres a metre, then 1 for each other error
    shared_sds: Array
    scale: float  #: of the frame: ground length times this is frame length
    held: Mask  #: (2 n + s,) parameters that are not solved for
    begin: Array  #: (2 n + s,) where the parameters stand to begin with
    together: Ints  #: (q, 2) pairs of points whose covariance will be asked for, though nothing joins them
    shared: Mapping[str, int]  #: the other errors that readings share, by name, numbered as ``shared_sds``

    @property
    def columns(self) -> Ints:
        """Return the number of each parameter among the unknowns, -1 where it is held."""
        return np.where(self.held, -1, np.cumsum(~self.held) - 1)

    @property
    def extent(self) -> float:
        """Return the size of the figure, metres."""
        return float(max(np.ptp(self.places(self.begin), axis=0).max(), 1e-3)) if self.names else 1.0

    def places(self, parameters: Array) -> Array:
        """Return where the points stand (n, 2) by parameters (2 n + s,), metres of the frame."""
        return parameters[: 2 * len(self.names)].reshape(-1, 2)


@record(frozen=True, slots=True)
class Linear:
    """The equations at one place: what is computed, and its derivatives, batch by batch."""

    computed: Array  #: (m,)
    parameters: tuple[Ints, ...]  #: for each batch (m, p), -1 for none
    partials: tuple[Array, ...]  #: for each batch (m, p)


def build_network(
    names: Sequence[str],
    stations: int,
    observations: Sequence[Observation],
    tapes: Mapping[str, float],
    positions: Array,
    *,
    scale: float = 1.0,
    held: Sequence[int] = (),
    together: Sequence[tuple[str, str]] = (),
) -> Network:
    """Gather observations for the computation.

    Parameters
    ----------
    tapes
        Standard deviation of the scale of each tape.
    positions
        (n, 2) where the points stand to begin with, metres of the frame.
    held
        Parameters that are not solved for.
    together
        Pairs of points whose covariance will be asked for.
    """
    index = {name: number for number, name in enumerate(names)}
    errors = dict.fromkeys(name for one in observations for name, _ in one.booking.shared)
    shared = {name: number for number, name in enumerate(errors, len(tapes))}
    count = 2 * len(names) + len(tapes) + len(shared)
    mask = np.zeros(count, bool)
    mask[list(held)] = True
    pairs = [(index[a], index[b]) for a, b in together if a in index and b in index]
    return Network(
        names=tuple(names),
        index=index,
        stations=stations,
        observations=tuple(observations),
        values=np.array([one.booking.value for one in observations]),
        sds=_own_sds(observations, shared),
        batches=tuple(_batches(observations, index, tuple(tapes), shared)),
        tapes=tuple(tapes),
        shared_sds=np.array([*tapes.values(), *(1.0 for _ in shared)]),
        scale=scale,
        held=mask,
        begin=np.concatenate((np.asarray(positions, float).ravel(), np.zeros(len(tapes) + len(shared)))),
        together=np.array(pairs, np.int64).reshape(-1, 2),
        shared=shared,
    )


def with_observations(network: Network, observations: Sequence[Observation]) -> Network:
    """Return the network with other observations between the same points: values changed, some dropped or added."""
    return replace(
        network,
        observations=tuple(observations),
        values=np.array([one.booking.value for one in observations]),
        sds=_own_sds(observations, network.shared),
        batches=tuple(_batches(observations, network.index, network.tapes, network.shared)),
    )


def _own_sds(observations: Sequence[Observation], shared: Mapping[str, int]) -> Array:
    """Return the standard deviation of each observation without what it shares with others."""
    return np.array(
        [
            sqrt(one.booking.sd**2 - sum(size**2 for name, size in one.booking.shared if name in shared))
            if one.booking.shared
            else one.booking.sd
            for one in observations
        ]
    )


def _batches(
    observations: Sequence[Observation], index: Mapping[str, int], tapes: Sequence[str], shared: Mapping[str, int]
) -> Iterator[Batch]:
    number_of = {tape: number for number, tape in enumerate(tapes)}
    by_type: dict[tuple[type, int], list[int]] = {}
    errors = [[(shared[name], size) for name, size in one.booking.shared if name in shared] for one in observations]
    for number, one in enumerate(observations):
        by_type.setdefault((type(one), len(errors[number])), []).append(number)
    for (kind, width), rows in by_type.items():
        ones, equation = [observations[row] for row in rows], EQUATIONS[kind]
        yield Batch(
            equation,
            np.array(rows, np.int64),
            np.array([[index[name] for name in one.points] for one in ones], np.int64),
            np.array([equation.numbers(one) for one in ones], float).reshape(len(ones), -1),
            np.array([-1 if one.booking.tape is None else number_of[one.booking.tape] for one in ones], np.int64),
            np.array([[number for number, _ in errors[row]] for row in rows], np.int64).reshape(len(rows), width),
            np.array([[size for _, size in errors[row]] for row in rows], float).reshape(len(rows), width),
        )


def linearise(network: Network, parameters: Array) -> Linear:
    """Return computed values and derivatives of every observation.

    A taped length reads distance x (1 + scale of the tape) / scale of the frame, and what else readings share.
    """
    count, points = len(network.names), network.places(parameters)
    scales = np.append(parameters[2 * count :], 0.0)  # the last for what no tape measured
    computed = np.empty(len(network.values))
    numbers, partials = [], []
    for batch in network.batches:
        value, jacobian = batch.equation.function(points[batch.points], batch.numbers)
        flat = jacobian.reshape(len(value), -1)
        by_tape = np.zeros(len(value))
        if batch.equation.taped:
            factor = (1 + scales[batch.tapes]) / network.scale
            by_tape = np.where(batch.tapes >= 0, value / network.scale, 0.0)
            value, flat = value * factor, flat * factor[:, None]
        computed[batch.rows] = value + np.sum(batch.shares * scales[batch.shared], axis=1)
        numbers.append(parameter_numbers(batch, count))
        partials.append(np.column_stack((flat, by_tape, batch.shares)))
    return Linear(computed, tuple(numbers), tuple(partials))


def misclosures(network: Network, linear: Linear) -> Array:
    """Return observed minus computed, angles between -pi and pi."""
    residuals = np.asarray(network.values - linear.computed)
    for batch in network.batches:
        if batch.equation.angle:
            residuals[batch.rows] = wrap_angle(residuals[batch.rows])
    return residuals


def parameter_numbers(batch: Batch, count: int) -> Ints:
    """Return the parameters (m, p) of a batch's derivatives, -1 for none, where there are so many points."""
    places = np.stack((2 * batch.points, 2 * batch.points + 1), axis=2).reshape(len(batch.points), -1)
    tapes = np.where(batch.tapes >= 0, 2 * count + batch.tapes, -1)
    return np.column_stack((places, tapes, 2 * count + batch.shared))
