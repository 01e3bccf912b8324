"""How sure a solved network is: covariances, redundancy numbers, flat places."""

from __future__ import annotations

from math import sqrt
from typing import Any, Final

import numpy as np

from pegline.network.equations import EQUATIONS
from pegline.network.least_squares import Fit
from pegline.network.model import Solution
from pegline.network.observation_types import Distance, Oblique
from pegline.plane import Array, Ints, left_of

__all__ = [
    "MAX_CORRELATION",
    "MIN_REDUNDANCY",
    "POWER",
    "NetworkCovariances",
    "base_holding",
    "computed_variances",
    "derivatives",
    "flat_points",
    "redundancies",
    "solution_of",
]


#: Quantile for the error that is noticed in 80 of 100 cases.
POWER: Final = 0.84
#: Tests that correlate by more than this cannot be told apart.
MAX_CORRELATION: Final = 0.95
#: A redundancy number below this is none: nothing checks the measurement.
MIN_REDUNDANCY: Final = 1e-6
#: A height of fewer of its own standard deviations makes a figure too flat for an ellipse.
FLAT_SIGMAS: Final = 4.0


class NetworkCovariances:
    """Covariances of a solved network's parameters."""

    def __init__(self, fit: Fit) -> None:
        self._factor, self._columns = fit.factor, fit.network.columns
        self._free = ~fit.network.held

    def blocks(self, parameters: Ints, others: Ints | None = None) -> Array:
        """Return the covariances (m, k, k) of m groups of k parameters each, or with others; -1 has covariance zero."""
        if others is None:
            return self._factor.blocks(self._unknowns(parameters))
        return self._factor.pairs(self._unknowns(parameters)[:, :, None], self._unknowns(others)[:, None, :])

    def _unknowns(self, parameters: Ints) -> Ints:
        return np.where(parameters >= 0, self._columns[parameters], -1)

    def of(self, gradients: Any) -> Array:
        """Return G C G' (r, r) for gradients G (r, parameters), dense or sparse: one solve a row.

        Parameters that lack at the end, such as errors that readings share, have no part.
        """
        dense = np.asarray(gradients.todense() if hasattr(gradients, "todense") else gradients, float)
        rows = np.zeros((len(dense), int(self._free.sum())))
        free = self._free[: dense.shape[1]]
        rows[:, : int(free.sum())] = dense[:, free]
        return np.asarray(rows @ self._factor.solve(rows.T))

    def with_each(self, parameters: Ints) -> Array:
        """Return the covariances (all, k) of every parameter with k of them."""
        full = np.zeros((len(self._columns), len(parameters)))
        columns = self._columns[parameters]
        right = np.zeros((int(self._free.sum()), len(parameters)))
        right[columns[columns >= 0], np.flatnonzero(columns >= 0)] = 1.0
        full[self._free] = self._factor.solve(right)
        return full


def derivatives(fit: Fit, rows: Ints) -> Array:
    """Return the derivatives (k, u) of some observations to the unknowns."""
    network = fit.network
    columns = np.append(network.columns, -1)
    matrix = np.zeros((len(rows), int((~network.held).sum()) + 1))
    place = np.full(len(network.values), -1)
    place[rows] = np.arange(len(rows))
    for batch, numbers, partials in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        some = place[batch.rows] >= 0
        at = place[batch.rows[some]]
        np.add.at(matrix, (at[:, None], columns[numbers[some]]), partials[some])
    return np.asarray(matrix[:, :-1])


def solution_of(fit: Fit, base: tuple[int, int]) -> Solution:
    """Return a solved network as it is handed on."""
    network = fit.network
    count = len(network.names)
    covariances = NetworkCovariances(fit)
    positions = network.places(fit.parameters)
    variances = covariances.blocks(_coordinates(count))
    return Solution(
        names=network.names,
        index=network.index,
        stations=network.stations,
        positions=positions,
        tapes=network.tapes,
        scales=fit.parameters[2 * count :],
        variances=variances,
        local_variances=_local(positions, variances, covariances, base),
        covariances=covariances,
        base=base,
    )


def _coordinates(count: int) -> Ints:
    """Return the parameters (n, 2) of so many points."""
    return np.arange(2 * count).reshape(count, 2)


def _base_parameters(base: tuple[int, int]) -> Ints:
    return np.array([2 * base[0], 2 * base[0] + 1, 2 * base[1], 2 * base[1] + 1], np.int64)


def _turn(positions: Array, base: tuple[int, int]) -> Array:
    """Return the derivatives (4,) of the base line's direction to its ends, radians a metre."""
    line = positions[base[1]] - positions[base[0]]
    across = np.array([-line[1], line[0]]) / (line @ line)
    return np.concatenate((-across, across))


def base_holding(positions: Array, start: Array, end: Array) -> Array:
    """Return what moves of the base line's ends take away from points (m, 2, 4) when that line is held.

    The base line runs from A to B, w between them. Its first station and its direction are held by
    shifting a point X against A's move and turning it about A against the line's turn:

        dX - dA - (X - A)ᴸ (wᴸ · (dB - dA)) / w²,   ᴸ a quarter to the left

    (S-transformation; W. Baarda, S-transformations and criterion matrices, 1973; from memory).
    """
    line = end - start
    by_end = -left_of(positions - start)[:, :, None] * (left_of(line) / (line @ line))
    return np.concatenate((-np.eye(2) - by_end, by_end), axis=2)


def _local(positions: Array, variances: Array, covariances: NetworkCovariances, base: tuple[int, int]) -> Array:
    """Return the variances about the base line: its first station and its direction held."""
    ends = _base_parameters(base)
    shared = covariances.with_each(ends)
    gradient = base_holding(positions, positions[base[0]], positions[base[1]])
    with_ends = shared[: 2 * len(positions)].reshape(len(positions), 2, 4)
    mixed = gradient @ with_ends.transpose(0, 2, 1)
    among = shared[ends]
    variances_here = variances + mixed + mixed.transpose(0, 2, 1) + gradient @ among @ gradient.transpose(0, 2, 1)
    variances_here[base[0]] = 0.0
    return np.asarray(variances_here)


def computed_variances(fit: Fit, covariances: NetworkCovariances) -> Array:
    """Return the variance of each computed observation, (m,), in its own unit squared."""
    variances = np.zeros(len(fit.residuals))
    for batch, numbers, partials in zip(fit.network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        blocks = covariances.blocks(numbers)
        variances[batch.rows] = np.einsum("mi,mij,mj->m", partials, blocks, partials)
    return variances


def redundancies(fit: Fit, computed_variances: Array) -> Array:
    """Return how much of an error in each observation shows in its own residual, 0 to 1: 1 - a C a' / σ²."""
    shares = 1 - computed_variances / fit.network.sds**2
    return np.where(fit.keep, np.clip(shares, 0.0, 1.0), 0.0)


def flat_points(fit: Fit, covariances: NetworkCovariances, base: tuple[int, int]) -> tuple[str, ...]:
    """Return the points where the figure is so flat that ellipses mislead.

    A distance d between two points bends by s²/2d when they move by s across it. A station cut by two
    equal arcs, at a height of four of its own standard deviations, moves across each by s with
    s² = σ d / (4 √2): beyond that, what the straight-line theory leaves out is felt.
    """
    network = fit.network
    points = network.places(fit.parameters)
    turn = _turn(points, base)
    shared = covariances.with_each(_base_parameters(base)) @ turn
    by_direction = float(turn @ shared[_base_parameters(base)])
    flat_ends: list[Ints] = []
    for batch, numbers, partials in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        if batch.equation not in (EQUATIONS[Distance], EQUATIONS[Oblique]):
            continue
        size, places = fit.linear.computed[batch.rows], numbers[:, : 2 * batch.points.shape[1]]
        gradient = left_of(partials[:, : places.shape[1]].reshape(*batch.points.shape, 2)).reshape(places.shape)
        variance = np.einsum("mi,mij,mj->m", gradient, covariances.blocks(places), gradient)
        variance += size**2 * by_direction - 2 * size * np.einsum("mi,mi->m", gradient, shared[places])
        flat = fit.keep[batch.rows] & (variance > network.sds[batch.rows] * size / (FLAT_SIGMAS * sqrt(2)))
        flat_ends += list(batch.points[flat])
    if not flat_ends:
        return ()
    variances = covariances.blocks(_coordinates(len(points)))
    # Of its ends the loosest one about the base line: where the whole may turn, what is far from A moves most.
    loose = np.trace(_local(points, variances, covariances, base), axis1=1, axis2=2)
    return tuple(network.names[number] for number in sorted({int(max(ends, key=loose.item)) for ends in flat_ends}))
