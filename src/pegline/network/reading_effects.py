"""What a mistake or an error in one reading does: to the residuals of all observations, and to all unknowns.

A reading is followed through every equation that holds it. Readings are numbered: first those of the observations,
then the chainages of oblique arms.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.network.dependents import residual_rates
from pegline.network.least_squares import Fit
from pegline.network.observation_types import Control, Observation
from pegline.plane import Array

__all__ = ["Readings", "derivative_matrix", "full_matrix", "parameter_moves"]

Ints = NDArray[np.int64]

FULL: Final = 300_000  #: entries of a matrix up to which a full one is quicker than a sparse one


class Readings(NamedTuple):
    """The readings of a survey."""

    owners: Ints  #: (r,) for each the observation that it is booked with
    rates: Any  #: (r, m) what a unit of each adds to the residuals of the observations

    @classmethod
    def of(cls, fit: Fit, count: int) -> Readings:
        """Return those of a network's first ``count`` observations; others only place the plotting solution."""
        observations = fit.network.observations
        entries = list(residual_rates(observations[:count], _positions_by_name(fit)))
        owners = [*range(count), *dict.fromkeys(row for row, reading, _ in entries if reading is None)]
        arm_number = {row: number for number, row in enumerate(owners) if number >= count}
        entries += _placing_rates(observations, count)
        rows = [*range(count), *(row for row, _, _ in entries)]
        readings = [*range(count), *(arm_number[row] if reading is None else reading for row, reading, _ in entries)]
        values = np.array([1.0] * count + [rate for _, _, rate in entries])
        places = np.array(readings, np.int64), np.array(rows, np.int64)
        return cls(np.array(owners, np.int64), _matrix(*places, values, (len(owners), len(observations))))


def _positions_by_name(fit: Fit) -> Mapping[str, tuple[float, float]]:
    points = fit.parameters[: 2 * len(fit.network.names)].reshape(-1, 2).tolist()
    return {name: (x, y) for name, (x, y) in zip(fit.network.names, points, strict=True)}


def _placing_rates(observations: Sequence[Observation], count: int) -> list[tuple[int, int | None, float]]:
    """Return how control enters what turns the plotting solution to its second control point."""
    return [
        (row, number, placing.along[0] * one.along[0] + placing.along[1] * one.along[1])
        for row, placing in enumerate(observations[count:], count)
        for number, one in enumerate(observations[:count])
        if isinstance(one, Control) and isinstance(placing, Control) and one.station == placing.station
    ]


def derivative_matrix(fit: Fit) -> Any:
    """Return the derivatives (m, u) of all observations to the unknowns, full or sparse."""
    network, unknowns = fit.network, int((~fit.network.held).sum())
    column_of = np.append(network.columns, -1)
    rows, columns, values = [], [], []
    for batch, numbers, partials in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        at = column_of[numbers].ravel()
        rows.append(np.repeat(batch.rows, numbers.shape[1])[at >= 0])
        columns.append(at[at >= 0])
        values.append(partials.ravel()[at >= 0])
    places = np.concatenate(rows), np.concatenate(columns)
    return _matrix(*places, np.concatenate(values), (len(network.values), unknowns))


def parameter_moves(fit: Fit, rates: Any, derivatives: Any = None) -> Array:
    """Return how all parameters (2 n + t, k) of a solution move for a unit of each of some readings.

    Parameters
    ----------
    fit
        The solution.
    rates
        (k, m) of the readings.
    derivatives
        Those of the solution where they are at hand.
    """
    network, weights = fit.network, fit.keep / fit.network.sds**2
    derivatives = derivative_matrix(fit) if derivatives is None else derivatives
    weighted = derivatives.T.multiply(weights).tocsr() if hasattr(derivatives, "todense") else derivatives.T * weights
    moved = np.zeros((len(network.held), rates.shape[0]))
    moved[~network.held] = fit.factor.solve(full_matrix(weighted @ rates.T))
    return moved


def full_matrix(matrix: Any) -> Array:
    """Return a matrix as a full one."""
    return np.asarray(matrix.todense() if hasattr(matrix, "todense") else matrix)


def _matrix(rows: Ints, columns: Ints, values: Array, shape: tuple[int, int]) -> Any:
    """Return a matrix with values added up at their places: full where it is small, else sparse."""
    if shape[0] * shape[1] <= FULL:
        small = np.zeros(shape)
        np.add.at(small, (rows, columns), values)
        return small
    from scipy.sparse import csr_matrix

    return csr_matrix((values, (rows, columns)), shape=shape)
