"""Weighted least squares: normal equations, and the guarded Gauss-Newton step.

``solve_network`` adjusts those observations of a network that are kept. Dense arithmetic serves up to ``DENSE``
unknowns, a sparse factor beyond.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from pegline.errors import BookError, Finding
from pegline.network.factor import DenseFactor, Factor, SparseFactor
from pegline.network.linear_equations import Linear, Mask, Network, linearise, misclosures
from pegline.plane import Array, Ints
from pegline.records import record

__all__ = ["Fit", "Settled", "settle_network", "solve_network"]

#: Up to so many unknowns a full matrix is quicker than a sparse one.
DENSE: Final = 220
#: Steps shorter than this share of the figure end the iteration.
CONVERGED: Final = 1e-11
MAX_SOLUTION_STEPS: Final = 60
#: Points nearer than this are at one place: the direction between them is lost in rounding, metres.
ONE_PLACE_METRES: Final = 1e-6


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


class Settled(NamedTuple):
    """A network looked at where its points stand."""

    parameters: Array  #: (2 n + s,)
    linear: Linear
    residuals: Array  #: (m,) observed minus computed
    cost: float  #: weighted sum of squares, what readings share included
    factor: Factor | None = None  #: of the normal equations there, where the last step has needed it


def solve_network(
    network: Network, keep: Mask | None = None, begin: Array | None = None, *, steps: int = MAX_SOLUTION_STEPS
) -> Fit:
    """Adjust the observations that are kept: where they settle, with the factor of the normal equations there.

    Parameters and errors are those of ``settle_network``.
    """
    keep = np.ones(len(network.values), bool) if keep is None else keep
    here = settle_network(network, keep, begin, steps=steps)
    factor = here.factor or _factor(network, _normal(network, _weights(network, keep), here)[0], 0.0)
    return Fit(network, keep, here.parameters, here.residuals, here.linear, factor, here.cost)


def settle_network(
    network: Network, keep: Mask | None = None, begin: Array | None = None, *, steps: int = MAX_SOLUTION_STEPS
) -> Settled:
    """Return where the observations that are kept settle.

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
    first = (network.begin if begin is None else begin).copy()
    together = list(_at_one_place(network, first))
    if together:
        raise BookError(together)
    weights = _weights(network, keep)
    here = _looked_at(network, weights, first)
    damping, last = 0.0, np.inf
    for _ in range(steps):
        matrix, right, damped = *_normal(network, weights, here), damping
        factor = _factor(network, matrix, damping)
        here, damping, moved = _guarded_step(network, weights, here, _full(network, factor.solve(right)), damping)
        size = float(np.abs(moved[: 2 * len(network.names)]).max(initial=0.0)) / network.extent
        if damping == 0 and (size < CONVERGED or (size < 1e-8 and size >= last / 2)):
            serves = size < CONVERGED and not damped and not _is_full(network)
            return here._replace(factor=factor if serves else None)
        last = size
    raise BookError([_too_flat(network, moved)])


def _weights(network: Network, keep: Mask | None) -> Array:
    return network.sds**-2.0 if keep is None else np.where(keep, network.sds**-2.0, 0.0)


def _looked_at(network: Network, weights: Array, parameters: Array) -> Settled:
    linear = linearise(network, parameters)
    residuals = misclosures(network, linear)
    shared = parameters[2 * len(network.names) :]
    cost = float(weights @ residuals**2 + np.sum((shared / network.shared_sds) ** 2))
    return Settled(parameters, linear, residuals, cost)


def _full(network: Network, unknowns: Array) -> Array:
    step = np.zeros(len(network.held))
    step[~network.held] = unknowns
    return step


def _guarded_step(
    network: Network, weights: Array, here: Settled, step: Array, damping: float
) -> tuple[Settled, float, Array]:
    """Return the network after as much of a step as lowers the cost, the next damping, and the step made."""
    slack = here.cost * (1 + 1e-9) + 1e-9
    for share in (1.0, 0.5, 0.25, 0.1, 0.03):
        there = _looked_at(network, weights, here.parameters + share * step)
        if there.cost <= slack:
            return there, (0.0 if damping < 1e-6 else damping / 10), share * step
    return here, max(10 * damping, 1e-4), step


def _is_full(network: Network) -> bool:
    """Return whether a network has so few unknowns that a full matrix serves."""
    return network.pattern.size <= DENSE


def _normal(network: Network, weights: Array, here: Settled) -> tuple[Array, Array]:
    """Return the normal matrix, full or as the values of its pattern, and the right-hand side."""
    pattern, linear, shared = network.pattern, here.linear, here.parameters[2 * len(network.names) :]
    products, right = [], np.zeros(len(network.held) + 1)
    for batch, numbers, partials in zip(network.batches, linear.parameters, linear.partials, strict=True):
        weighted = partials * weights[batch.rows, None]
        products.append((weighted[:, :, None] * partials[:, None, :]).ravel())
        np.add.at(right, numbers, weighted * here.residuals[batch.rows, None])
    priors = network.shared_sds**-2.0
    right[2 * len(network.names) : -1] -= priors * shared
    values = np.concatenate((*products, priors))
    sums = pattern.full_sums(values) if _is_full(network) else pattern.sparse_sums(values)
    return sums, right[:-1][~network.held]


def _factor(network: Network, matrix: Array, damping: float) -> Factor:
    if _is_full(network):
        factor: Factor = DenseFactor(matrix + damping * np.diag(np.diag(matrix)))
    else:
        factor = SparseFactor(network.pattern.sparse, matrix, damping)
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
    points = network.places(parameters)
    seen: set[frozenset[int]] = set()
    for batch in network.batches:
        for pair in batch.equation.apart:
            ends = batch.points[:, list(pair)]
            apart = points[ends[:, 1]] - points[ends[:, 0]]
            for row in np.flatnonzero(np.hypot(apart[:, 0], apart[:, 1]) < ONE_PLACE_METRES):
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
