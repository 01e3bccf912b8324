"""Weighted least squares: observations gathered by type, normal equations, and the guarded Gauss-Newton step.

A ``Network`` holds what was observed and where the points stand to begin with; ``solve`` adjusts those
observations that are kept. Dense arithmetic serves up to ``DENSE`` unknowns, a sparse factor beyond.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.errors import BookError, Finding
from pegline.network.equations import EQUATIONS, Equation
from pegline.network.factor import DenseFactor, Factor, SparseFactor
from pegline.network.observation_types import Observation
from pegline.plane import Array, Ints, wrap_angle
from pegline.records import record

__all__ = ["Batch", "Fit", "Linear", "Network", "build_network", "linearise", "solve", "with_observations"]

Mask = NDArray[np.bool_]

#: Up to so many unknowns a full matrix is quicker than a sparse one.
DENSE: Final = 220
#: Steps shorter than this share of the figure end the iteration.
CONVERGED: Final = 1e-11
STEPS: Final = 60
#: Points nearer than this are at one place: the direction between them is lost in rounding, metres.
ONE_PLACE: Final = 1e-6


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
        points = self.begin[: 2 * len(self.names)].reshape(-1, 2)
        return float(max(np.ptp(points, axis=0).max(), 1e-3)) if len(points) else 1.0


@record(frozen=True, slots=True)
class Linear:
    """The equations at one place: what is computed, and its derivatives, batch by batch."""

    computed: Array  #: (m,)
    parameters: tuple[Ints, ...]  #: for each batch (m, p), -1 for none
    partials: tuple[Array, ...]  #: for each batch (m, p)


@record(frozen=True, slots=True)
class Fit:
    """A solved network."""

    network: Network
    keep: Mask  #: (m,) the observations that were used
    parameters: Array  #: (2 n + s,)
    residuals: Array  #: (m,) observed minus computed, of those left out too
    linear: Linear  #: at the solution
    factor: Factor  #: of the normal equations there
    square_sum: float  #: of the residuals over their standard deviations, what readings share included

    @property
    def misfit(self) -> float:
        """Return the square sum of all residuals over their standard deviations, of those left out too."""
        return self.square_sum + float(np.sum((self.residuals / self.network.sds)[~self.keep] ** 2))

    @property
    def freedom(self) -> int:
        """Return how many measurements are redundant."""
        network = self.network
        return int(self.keep.sum()) + len(network.shared_sds) - int((~network.held).sum())


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
    count = len(network.names)
    points = parameters[: 2 * count].reshape(-1, 2)
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
        numbers.append(_parameter_numbers(batch, count))
        partials.append(np.column_stack((flat, by_tape, batch.shares)))
    return Linear(computed, tuple(numbers), tuple(partials))


def misclosures(network: Network, linear: Linear) -> Array:
    """Return observed minus computed, angles between -pi and pi."""
    residuals = np.asarray(network.values - linear.computed)
    for batch in network.batches:
        if batch.equation.angle:
            residuals[batch.rows] = wrap_angle(residuals[batch.rows])
    return residuals


def solve(network: Network, keep: Mask | None = None, begin: Array | None = None, *, steps: int = STEPS) -> Fit:
    """Adjust the observations that are kept.

    Gauss-Newton; a step that does not lower the weighted sum of squares is shortened, and where the
    shortest does not either, damped as Levenberg and Marquardt do.

    Parameters
    ----------
    keep
        The observations that are used; all unless told.
    begin
        Parameters to begin with; the network's own unless told.
    steps
        After so many the figure is taken not to settle.

    Raises
    ------
    BookError
        Where the observations leave points free to move, points whose direction is needed begin at one
        place, or the figure is too flat to settle.
    """
    keep = np.ones(len(network.values), bool) if keep is None else keep
    first = (network.begin if begin is None else begin).copy()
    together = list(_at_one_place(network, first))
    if together:
        raise BookError(together)
    assembly = _Assembly.of(network)
    weights = np.where(keep, network.sds**-2.0, 0.0)
    here = _looked_at(network, weights, first)
    damping, last = 0.0, np.inf
    for _ in range(steps):
        matrix, right = assembly.normal(network, weights, here)
        factor = _factor(network, assembly, matrix, damping)
        here, damping, moved = _guarded_step(network, weights, here, _full(network, factor.solve(right)), damping)
        size = float(np.abs(moved[: 2 * len(network.names)]).max(initial=0.0)) / network.extent
        if damping == 0 and (size < CONVERGED or (size < 1e-8 and size >= last / 2)):
            factor = _factor(network, assembly, assembly.normal(network, weights, here)[0], 0.0)
            return Fit(network, keep, here.parameters, here.residuals, here.linear, factor, here.cost)
        last = size
    raise BookError([_too_flat(network, moved)])


class _Look(NamedTuple):
    """A network looked at where its points stand."""

    parameters: Array
    linear: Linear
    residuals: Array
    cost: float  #: weighted sum of squares, what readings share included


def _looked_at(network: Network, weights: Array, parameters: Array) -> _Look:
    linear = linearise(network, parameters)
    residuals = misclosures(network, linear)
    shared = parameters[2 * len(network.names) :]
    cost = float(weights @ residuals**2 + np.sum((shared / network.shared_sds) ** 2))
    return _Look(parameters, linear, residuals, cost)


def _full(network: Network, unknowns: Array) -> Array:
    step = np.zeros(len(network.held))
    step[~network.held] = unknowns
    return step


def _guarded_step(
    network: Network, weights: Array, here: _Look, step: Array, damping: float
) -> tuple[_Look, float, Array]:
    """Return the network after as much of a step as lowers the cost, the next damping, and the step made."""
    slack = here.cost * (1 + 1e-9) + 1e-9
    for share in (1.0, 0.5, 0.25, 0.1, 0.03):
        there = _looked_at(network, weights, here.parameters + share * step)
        if there.cost <= slack:
            return there, (0.0 if damping < 1e-6 else damping / 10), share * step
    return here, max(10 * damping, 1e-4), step


class _Assembly:
    """Where each product of derivatives goes in the normal matrix; the pattern is the same in every step."""

    def __init__(self, size: int, dense: bool, places: Ints, keys: Ints) -> None:
        self.size, self.dense, self.places, self.keys = size, dense, places, keys

    @classmethod
    def of(cls, network: Network) -> _Assembly:
        """Return the assembly of a network. What is held goes to a row and column beyond the last."""
        size = int((~network.held).sum())
        columns = np.append(np.where(network.held, size, network.columns), size)
        batches = [columns[_parameter_numbers(batch, len(network.names))] for batch in network.batches]
        width = size + 1
        keys = [(c[:, :, None] * width + c[:, None, :]).ravel() for c in batches]
        shared = columns[2 * len(network.names) : -1]
        keys.append(shared * width + shared)
        if size <= DENSE:
            return cls(size, True, np.concatenate(keys), np.zeros(0, np.int64))
        four = np.stack((2 * network.together, 2 * network.together + 1), axis=2).reshape(len(network.together), -1)
        wanted = columns[four]
        keys.append((wanted[:, :, None] * width + wanted[:, None, :]).ravel())
        unique, places = np.unique(np.concatenate(keys), return_inverse=True)
        return cls(size, False, places, unique)

    def normal(self, network: Network, weights: Array, here: _Look) -> tuple[Array, Array]:
        """Return the normal matrix, full or as the values of its pattern, and the right-hand side."""
        products, right = [], np.zeros(len(network.held) + 1)
        linear, shared = here.linear, here.parameters[2 * len(network.names) :]
        for batch, numbers, partials in zip(network.batches, linear.parameters, linear.partials, strict=True):
            weighted = partials * weights[batch.rows, None]
            products.append((weighted[:, :, None] * partials[:, None, :]).ravel())
            np.add.at(right, numbers, weighted * here.residuals[batch.rows, None])
        priors = network.shared_sds**-2.0
        products.append(priors)
        right[2 * len(network.names) : -1] -= priors * shared
        values = np.concatenate(products)
        if self.dense:
            width = self.size + 1
            matrix = np.bincount(self.places, values, width * width).reshape(width, width)[:-1, :-1].astype(float)
        else:
            values = np.concatenate((values, np.zeros(len(self.places) - len(values))))
            matrix = np.bincount(self.places, values).astype(float)
        return matrix, right[:-1][~network.held]


def _parameter_numbers(batch: Batch, count: int) -> Ints:
    """Return the parameters (m, p) of a batch's derivatives, -1 for none, where there are so many points."""
    places = np.stack((2 * batch.points, 2 * batch.points + 1), axis=2).reshape(len(batch.points), -1)
    tapes = np.where(batch.tapes >= 0, 2 * count + batch.tapes, -1)
    return np.column_stack((places, tapes, 2 * count + batch.shared))


def _factor(network: Network, assembly: _Assembly, matrix: Array, damping: float) -> Factor:
    if assembly.dense:
        factor: Factor = DenseFactor(matrix + damping * np.diag(np.diag(matrix)) if damping else matrix)
    else:
        factor = SparseFactor(assembly.size, assembly.keys, matrix, damping)
    if damping == 0 and len(factor.free):
        raise BookError([_free_to_swing(network, factor.free)])
    return factor


def _points_of(network: Network, unknowns: Ints) -> list[str]:
    parameters = np.flatnonzero(~network.held)[unknowns]
    numbers = sorted({int(p) // 2 for p in parameters if p < 2 * len(network.names)})
    return [network.names[number] for number in numbers]


def _free_to_swing(network: Network, free: Ints) -> Finding:
    names = _points_of(network, free)
    return Finding(
        "free-to-move",
        f"the readings leave {', '.join(names) or 'the framework'} free to move; tape one more line to each,"
        " not in line with those there are",
        data=tuple(names),
    )


def _at_one_place(network: Network, parameters: Array) -> Iterator[Finding]:
    """Tell each two points at one place between which an observation needs a direction, once."""
    points = parameters[: 2 * len(network.names)].reshape(-1, 2)
    seen: set[frozenset[int]] = set()
    for batch in network.batches:
        for pair in batch.equation.apart:
            ends = batch.points[:, list(pair)]
            apart = points[ends[:, 1]] - points[ends[:, 0]]
            for row in np.flatnonzero(np.hypot(apart[:, 0], apart[:, 1]) < ONE_PLACE):
                both = frozenset(ends[row].tolist())
                if both not in seen:
                    seen.add(both)
                    yield _one_place(network, int(batch.rows[row]), *sorted(network.names[n] for n in both))


def _one_place(network: Network, row: int, first: str, *second: str) -> Finding:
    names = (first, *second)
    booking = network.observations[row].booking
    return Finding(
        "one-place",
        f"the readings put {' and '.join(names)} at one place, and {booking.label} is measured between them;"
        " one peg under two names, or a line booked twice? Look at the lines to both",
        booking.place,
        names,
    )


def _too_flat(network: Network, moved: Array) -> Finding:
    worst = int(np.abs(moved[: 2 * len(network.names)]).argmax()) // 2
    name = network.names[worst]
    return Finding(
        "too-flat",
        f"the framework is too flat to fix {name}: its lines run almost in one direction;"
        " tape a line to it from the side",
        data=(name,),
    )
