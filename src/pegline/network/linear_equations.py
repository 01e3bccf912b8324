"""Observations between points gathered by type, and their equations at one place: computed values and derivatives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from pegline.network.equations import EQUATIONS, Equation
from pegline.network.factor import SparsePattern
from pegline.network.observation_types import Observation
from pegline.plane import Array, Ints, wrap_angle
from pegline.records import record

__all__ = [
    "Batch",
    "Linear",
    "Mask",
    "Network",
    "NormalPattern",
    "build_network",
    "linearise",
    "misclosures",
    "with_observations",
]

Mask = NDArray[np.bool_]


@record(frozen=True, slots=True)
class Batch:
    """All observations of one type."""

    equation: Equation
    rows: Ints  #: (m,) their numbers in ``Network.observations``
    points: Ints  #: (m, k) numbers of their points
    parameters: Ints  #: (m, p) numbers of those of its derivatives, -1 for none
    numbers: Array  #: (m, j) constants of the equation
    tapes: Ints  #: (m,) number of the tape, -1 for none
    shared: Ints  #: (m, w) numbers of the other errors that its readings share, after those of the tapes
    shares: Array  #: (m, w) what each of them puts into a reading, metres


class NormalPattern:
    """Where the products of derivatives go in the normal matrix: worked out once, where it is asked for.

    Parameters
    ----------
    columns
        Number of each parameter among the unknowns; all that is held goes to a row and column beyond the last.
    parameters
        Of each batch, the numbers (m, p) of the parameters of its derivatives, -1 for none.
    alone
        Parameters that have an entry of their own on the diagonal.
    together
        (q, 2) pairs of points whose entries are wanted though nothing joins them.
    """

    def __init__(self, columns: Ints, parameters: Sequence[Ints], alone: Ints, together: Ints) -> None:
        self.size = int((columns >= 0).sum())
        self._columns = np.append(np.where(columns >= 0, columns, self.size), self.size)
        self._parameters, self._alone, self._together = parameters, alone, together

    def _keys(self, parameters: Ints) -> Ints:
        columns: Ints = self._columns[parameters]
        return (columns[:, :, None] * (self.size + 1) + columns[:, None, :]).ravel()

    @cached_property
    def _places(self) -> Ints:
        """Return row x (u + 1) + column of each product, batch after batch."""
        return np.concatenate([self._keys(one) for one in (*self._parameters, self._alone[:, None])])

    @cached_property
    def _entries(self) -> tuple[Ints, Ints]:
        """Return the places that have entries, each once, and the number among them of that of each product."""
        wanted = np.stack((2 * self._together, 2 * self._together + 1), axis=2).reshape(len(self._together), 4)
        return np.unique(np.concatenate((self._places, self._keys(wanted))), return_inverse=True)

    @cached_property
    def sparse(self) -> SparsePattern:
        """Return where the sparse matrix has entries."""
        return SparsePattern(self.size, self._entries[0])

    def sparse_sums(self, products: Array) -> Array:
        """Return the values of the entries of the sparse matrix."""
        keys, numbers = self._entries
        return np.bincount(numbers[: len(products)], products, len(keys)).astype(float)

    def full_sums(self, products: Array) -> Array:
        """Return the full matrix (u, u)."""
        width = self.size + 1
        return np.bincount(self._places, products, width * width).reshape(width, width)[:-1, :-1].astype(float)


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
    pattern: NormalPattern  #: of its normal equations

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
    pairs = np.array([(index[a], index[b]) for a, b in together if a in index and b in index], np.int64).reshape(-1, 2)
    batches = tuple(_batches(observations, index, tuple(tapes), shared))
    return Network(
        names=tuple(names),
        index=index,
        stations=stations,
        observations=tuple(observations),
        values=np.array([one.booking.value for one in observations]),
        sds=_own_sds(observations, shared),
        batches=batches,
        tapes=tuple(tapes),
        shared_sds=np.array([*tapes.values(), *(1.0 for _ in shared)]),
        scale=scale,
        held=mask,
        begin=np.concatenate((np.asarray(positions, float).ravel(), np.zeros(len(tapes) + len(shared)))),
        together=pairs,
        shared=shared,
        pattern=_pattern(batches, mask, len(names), pairs),
    )


def with_observations(network: Network, observations: Sequence[Observation]) -> Network:
    """Return the network with other observations between the same points: values changed, some dropped or added."""
    batches = tuple(_batches(observations, network.index, network.tapes, network.shared))
    return replace(
        network,
        observations=tuple(observations),
        values=np.array([one.booking.value for one in observations]),
        sds=_own_sds(observations, network.shared),
        batches=batches,
        pattern=_pattern(batches, network.held, len(network.names), network.together),
    )


def _pattern(batches: Sequence[Batch], held: Mask, points: int, together: Ints) -> NormalPattern:
    columns = np.where(held, -1, np.cumsum(~held) - 1)
    return NormalPattern(columns, [one.parameters for one in batches], np.arange(2 * points, len(held)), together)


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
        points = np.array([index[name] for one in ones for name in one.points], np.int64).reshape(len(ones), -1)
        of_tapes = np.array([-1 if one.booking.tape is None else number_of[one.booking.tape] for one in ones], np.int64)
        common = np.array([[number for number, _ in errors[row]] for row in rows], np.int64).reshape(len(rows), width)
        yield Batch(
            equation,
            np.array(rows, np.int64),
            points,
            _parameters(points, of_tapes, common, 2 * len(index)),
            np.array([equation.numbers(one) for one in ones], float).reshape(len(ones), -1),
            of_tapes,
            common,
            np.array([[size for _, size in errors[row]] for row in rows], float).reshape(len(rows), width),
        )


def _parameters(points: Ints, tapes: Ints, common: Ints, first: int) -> Ints:
    """Return the parameters (m, p) of derivatives, -1 for none, where those of tapes begin at a number."""
    places = np.stack((2 * points, 2 * points + 1), axis=2).reshape(len(points), -1)
    return np.column_stack((places, np.where(tapes >= 0, first + tapes, -1), first + common))


def linearise(network: Network, parameters: Array) -> Linear:
    """Return computed values and derivatives of every observation.

    A taped length reads distance x (1 + scale of the tape) / scale of the frame, and what else readings share.
    """
    count, points = len(network.names), network.places(parameters)
    scales = np.append(parameters[2 * count :], 0.0)  # the last for what no tape measured
    computed = np.empty(len(network.values))
    partials = []
    for batch in network.batches:
        value, jacobian = batch.equation.function(points[batch.points], batch.numbers)
        flat = jacobian.reshape(len(value), -1)
        by_tape = np.zeros(len(value))
        if batch.equation.taped:
            factor = (1 + scales[batch.tapes]) / network.scale
            by_tape = np.where(batch.tapes >= 0, value / network.scale, 0.0)
            value, flat = value * factor, flat * factor[:, None]
        computed[batch.rows] = value + np.sum(batch.shares * scales[batch.shared], axis=1)
        partials.append(np.column_stack((flat, by_tape, batch.shares)))
    return Linear(computed, tuple(batch.parameters for batch in network.batches), tuple(partials))


def misclosures(network: Network, linear: Linear) -> Array:
    """Return observed minus computed, angles between -pi and pi."""
    residuals = np.asarray(network.values - linear.computed)
    for batch in network.batches:
        if batch.equation.angle:
            residuals[batch.rows] = wrap_angle(residuals[batch.rows])
    return residuals
