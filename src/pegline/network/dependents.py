"""What hangs on a reading beside its own equation, and what a mistake in it does to residuals and unknowns.

A row's chainage is in proportion to the piece between the two stations that it counts on, or to its whole line:
a line's length and a tie station's chainage stand in further equations, and a change of one is followed through
all of them. Readings are numbered: first those of the observations, then the chainages of
oblique arms.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

import numpy as np

from pegline.network.equations import EQUATIONS
from pegline.network.least_squares import Fit
from pegline.network.observation_types import (
    ControlCoordinate,
    Distance,
    Observation,
    is_tie_chainage,
    with_value,
)
from pegline.plane import Array, Ints

__all__ = [
    "Change",
    "ParameterMoves",
    "Rate",
    "Readings",
    "change_of",
    "changed_by",
    "dependents_of",
    "derivative_matrix",
    "full_matrix",
    "join_changes",
    "pulls_on_unknowns",
    "residual_rates",
    "with_reading_changed",
]


class Rate(NamedTuple):
    """What one unit of a change does to an observation: to its value, and to what its constant is made of."""

    value: float
    chainage: float = 0.0  #: of the foot of an oblique distance
    length: float = 0.0  #: of the piece of a line that a chainage, or an oblique distance, counts on


Change = Mapping[int, Rate]  #: by the number of the observation


def change_of(observations: Sequence[Observation], number: int) -> Change:
    """Return what one metre, or one radian, in the reading of an observation changes: itself and what hangs on it."""
    one = observations[number]
    changes: dict[int, Rate] = {number: Rate(1.0)}
    carried = _carrying_line(one)
    if carried is None:
        return changes
    line, mark = carried
    for n, other in enumerate(observations):
        piece = EQUATIONS[type(other)].piece
        if n == number or piece is None or other.booking.line != line:
            continue
        _, start, end = other.points
        if end == mark:
            changes[n] = Rate(0.0, length=1.0)  # its piece of the line ends later
        elif start == mark:  # its piece starts later: it counts less, on a shorter one
            by_field = "chainage" in piece.fields
            changes[n] = Rate(0.0 if by_field else -1.0, -1.0, -1.0)
    return changes


def join_changes(changes: Iterable[Change]) -> Change:
    """Return several changes made together."""
    together: dict[int, Rate] = {}
    for change in changes:
        for number, rate in change.items():
            before = together.get(number, Rate(0.0))
            together[number] = Rate(*(a + b for a, b in zip(before, rate, strict=True)))
    return together


def changed_by(one: Observation, rate: Rate, amount: float) -> Observation:
    """Return an observation after a change; one whose piece of the line would be nothing stays as it is."""
    piece = EQUATIONS[type(one)].piece
    fields = {name: getattr(one, name) + getattr(rate, name) * amount for name in (piece.fields if piece else ())}
    if fields and fields["length"] <= 0:
        return one
    return replace(with_value(one, one.booking.value + rate.value * amount), **fields)


def dependents_of(observations: Sequence[Observation], number: int) -> tuple[int, ...]:
    """Return the numbers of the observations whose equations hold the value of another."""
    return tuple(n for n in change_of(observations, number) if n != number)


def _carrying_line(one: Observation) -> tuple[str, str] | None:
    """Return the line whose rows hold an observation's value, and the station where it stands; None for most."""
    booking = one.booking
    if isinstance(one, Distance) and booking.measured_line is not None:
        return booking.measured_line, one.end
    if is_tie_chainage(one) and booking.line is not None:
        return booking.line, one.point
    return None


def with_reading_changed(observations: Sequence[Observation], number: int, by: float) -> tuple[Observation, ...]:
    """Return the observations with the value of one changed, and what hangs on it."""
    changed = list(observations)
    for n, rate in change_of(observations, number).items():
        changed[n] = changed_by(observations[n], rate, by)
    return tuple(changed)


def residual_rates(
    observations: Sequence[Observation], positions: Mapping[str, tuple[float, float]]
) -> Iterator[tuple[int, int | None, float]]:
    """Yield what a unit of each reading adds to the residuals of other observations: row, reading, rate.

    A chainage c on a piece of length L counts c - computed, where the computed one is in proportion to L; an
    oblique arm r starts at the share c / L of its piece. For the arm's own chainage the reading is None.

    Parameters
    ----------
    observations
        The observations.
    positions
        Where the points stand.
    """
    carriers = {key: number for number, one in enumerate(observations) if (key := _carrying_line(one))}
    for row, one in enumerate(observations):
        piece = EQUATIONS[type(one)].piece
        if piece is None or one.booking.line is None:
            continue
        by_chainage, by_length = piece.rates(one, *(positions[name] for name in one.points))
        if "chainage" in piece.fields:
            yield row, None, by_chainage
        start, end = (carriers.get((one.booking.line, name)) for name in one.points[1:])
        if end is not None and end != row:
            yield row, end, by_length
        if start is not None and start != row:
            yield row, start, -by_chainage - by_length


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
    points = fit.network.places(fit.parameters).tolist()
    return {name: (x, y) for name, (x, y) in zip(fit.network.names, points, strict=True)}


def _placing_rates(observations: Sequence[Observation], count: int) -> list[tuple[int, int | None, float]]:
    """Return how control enters what turns the plotting solution to its second control point."""
    return [
        (row, number, placing.along[0] * one.along[0] + placing.along[1] * one.along[1])
        for row, placing in enumerate(observations[count:], count)
        for number, one in enumerate(observations[:count])
        if isinstance(one, ControlCoordinate)
        and isinstance(placing, ControlCoordinate)
        and one.station == placing.station
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


class ParameterMoves:
    """How the parameters of a solution move for a unit of each of some readings, worked out where it is asked for.

    A reading pulls on few unknowns: their covariances with a parameter, times the pulls, are the parameter's move.

    Parameters
    ----------
    fit
        The solution.
    rates
        (k, m) of the readings.
    """

    def __init__(self, fit: Fit, rates: Any) -> None:
        self._columns, self._factor = fit.network.columns, fit.factor
        self._ends, self._unknowns, self._pulls = _by_column(pulls_on_unknowns(fit, rates, derivative_matrix(fit)))

    def of(self, parameters: Ints, readings: Ints) -> Array:
        """Return the moves of parameters for a unit of readings, as the two broadcast; -1 is no reading."""
        parameter, reading = np.broadcast_arrays(parameters, readings + 1)
        lengths = np.diff(self._ends, prepend=0)[reading.ravel()]
        move = np.repeat(np.arange(reading.size), lengths)
        entry = np.arange(len(move)) + (self._ends[reading.ravel()] - np.cumsum(lengths))[move]
        shares = self._factor.pairs(self._columns[parameter.ravel()[move]], self._unknowns[entry]) * self._pulls[entry]
        return np.asarray(np.bincount(move, shares, reading.size).reshape(reading.shape), float)


def _by_column(matrix: Any) -> tuple[Ints, Ints, Array]:
    """Return where the entries of each column of a full or sparse matrix end, 0 before the first; rows and values."""
    if hasattr(matrix, "tocsc"):
        sparse = matrix.tocsc()
        return sparse.indptr.astype(np.int64), sparse.indices.astype(np.int64), sparse.data
    columns, rows = np.nonzero(matrix.T)
    return np.searchsorted(columns, np.arange(matrix.shape[1] + 1)), rows, matrix[rows, columns]


def pulls_on_unknowns(fit: Fit, rates: Any, derivatives: Any) -> Any:
    """Return what a unit of each of some readings adds to the right-hand side (u, k) of the normal equations."""
    weights = fit.keep / fit.network.sds**2
    weighted = derivatives.T.multiply(weights).tocsr() if hasattr(derivatives, "todense") else derivatives.T * weights
    return weighted @ rates.T


def full_matrix(matrix: Any) -> Array:
    """Return a matrix as a full one."""
    return np.asarray(matrix.toarray(order="C") if hasattr(matrix, "toarray") else matrix)


def by_rows(matrix: Any) -> Any:
    """Return a full or sparse matrix kept row by row, as products with several columns ask for it."""
    return matrix.tocsr() if hasattr(matrix, "tocsr") else matrix


def take_away(full: Array, matrix: Any) -> None:
    """Subtract a full or sparse matrix from a full one."""
    if hasattr(matrix, "tocoo"):
        entries = matrix.tocoo()
        full[entries.row, entries.col] -= entries.data
    else:
        full -= matrix


def _matrix(rows: Ints, columns: Ints, values: Array, shape: tuple[int, int]) -> Any:
    """Return a matrix with values added up at their places: full where it is small, else sparse."""
    if shape[0] * shape[1] <= FULL:
        small = np.zeros(shape)
        np.add.at(small, (rows, columns), values)
        return small
    from scipy.sparse import csr_matrix

    return csr_matrix((values, (rows, columns)), shape=shape)
