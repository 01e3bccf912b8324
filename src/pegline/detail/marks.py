"""What the marks of a line do to how well its details lie.

A detail at chainage c counts in proportion on the piece between two marks, at c₁ and c₂: t = (c - c₁) / (c₂ - c₁).
So the errors of the marks' own readings are in it too, along the line:

    e = e_c - (1 - t) e₁ - t e₂

A mark is a tie station, or the line's end with the error of its length; the start has none. Readings of one line
have in common the full lays of the tape that lie before the nearer of them; a line's length that is the mean of k
tapings has 1/k of them from the taping on which the chainages were read. The errors of the marks have moved the
solution as well, and what they moved there is in part taken back here: between tight control nothing is, without
control the error of a line's length goes out altogether.

A row booked walking back is taken as one booked forward, and what two arms of one oblique offset have in common is
left out: both are on the safe side or small.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf
from typing import Final, NamedTuple

import numpy as np

from pegline.network.dependents import ParameterMoves, Readings
from pegline.network.least_squares import Fit
from pegline.network.model import Solution
from pegline.network.observation_types import tie_chainages
from pegline.network.quality import base_holding
from pegline.plane import Array, Ints, outer
from pegline.reduction.model import ReducedLine, ReducedRow, Reduction

__all__ = ["Marks"]


class _Lines(NamedTuple):
    """The marks of l lines in the order of their chainage; the shorter are filled up with marks that have no error."""

    chainages: Array  #: (l, s) metres on the ground
    variances: Array  #: (l, s) of their readings, square metres
    columns: Ints  #: (l, s) numbers of their readings among those of all marks; -1 for a start, which has none
    shares: Array  #: (l, s) of the full lays that they have in common with chainages
    last: Ints  #: (l, 1) number of the last mark of each line
    lay_variances: Array  #: (l, 1) of one lay of the line's tape, square metres
    nominals: Array  #: (l, 1) length of that tape, metres

    def covariances(self, chainages: Array, variances: Array, shares: Array | float = 1.0) -> Array:
        """Return what a reading of each line and its marks' readings (l, s) have in common: lays before the nearer."""
        lays = np.floor(np.maximum(np.minimum(chainages, self.chainages), 0.0) / self.nominals)
        least = np.minimum(variances / shares, self.variances / self.shares)
        return np.asarray(shares * self.shares * np.minimum(self.lay_variances * lays, least))

    def covariances_of(self, marks: Ints) -> Array:
        """Return the covariances (l, s) of the readings of one mark (l, 1) of each line with those of all its marks."""
        chainages, variances, shares = (
            np.take_along_axis(each, marks, axis=1) for each in (self.chainages, self.variances, self.shares)
        )
        among = self.covariances(chainages, variances, shares)
        np.put_along_axis(among, marks, variances, axis=1)
        return among


class Marks:
    """The marks of all lines of a solution.

    Parameters
    ----------
    reduction
        The readings.
    fit
        The solution that the details hang on.
    """

    def __init__(self, reduction: Reduction, fit: Fit) -> None:
        observations = fit.network.observations
        lengths = {one.booking.measured_line: n for n, one in enumerate(observations) if one.booking.measured_line}
        ties = {(one.booking.line, one.point): n for n, one in tie_chainages(observations)}
        numbers = [*lengths.values(), *ties.values()]
        column = {number: place for place, number in enumerate(numbers)}
        rates = Readings.of(fit, len(observations)).rates[numbers]
        self._moves = ParameterMoves(fit, rates)
        tied: dict[str, list[ReducedRow]] = {}
        for row in reduction.rows:
            if row.is_tie_station and (row.line, row.name) in ties:
                tied.setdefault(row.line, []).append(row)
        number_of = {row: column[number] for row, number in ties.items()}
        taped = [line for name, line in reduction.lines.items() if name in lengths]
        self._number = {line.name: number for number, line in enumerate(taped)}
        self._lines = _lines(
            reduction,
            taped,
            [_marks(line, tied.get(line.name, ()), number_of, column[lengths[line.name]]) for line in taped],
        )

    def parts(
        self,
        rows: Sequence[ReducedRow],
        arm: int,
        directions: Array,
        hanging: tuple[Array, Ints, Array],
        solution: Solution,
    ) -> tuple[Array, Array]:
        """Return what the marks add to the covariances of points, in the frame and relative to the base line.

        Parameters
        ----------
        rows
            The m rows of the points.
        arm
            Which chainage of them.
        directions
            (m, 2) how the point moves for each metre that the chainage is off.
        hanging
            Positions (m, 2), parents (m, k) and jacobian (m, 2, k) of the points.
        solution
            What they hang on.
        """
        positions, parents, jacobian = hanging
        own, columns, shared = self._errors(rows, arm)
        base = np.array([2 * end + axis for end in solution.base for axis in (0, 1)])
        held = base_holding(positions, *solution.positions[list(solution.base)])
        of_parents = np.einsum("mkr,mr->mk", self._moves.of(parents[:, :, None], columns[:, None, :]), shared)
        of_base = np.einsum("bmr,mr->mb", self._moves.of(base[:, None, None], columns), shared)
        in_frame = np.einsum("mik,mk->mi", jacobian, of_parents)
        to_base = in_frame + np.einsum("mib,mb->mi", held, of_base)
        square = own[:, None, None] * outer(directions, directions)
        first, second = (square + outer(e, directions) + outer(directions, e) for e in (in_frame, to_base))
        return first, second

    def _errors(self, rows: Sequence[ReducedRow], arm: int) -> tuple[Array, Ints, Array]:
        """Return what the marks add to the variance of e (m,), and its covariances (m, k) with all marks' readings."""
        most = self._lines.columns.shape[1]
        own, shared, columns = np.zeros(len(rows)), np.zeros((len(rows), most)), np.full((len(rows), most), -1)
        read = [n for n, row in enumerate(rows) if row.line in self._number and row.at_stations[arm] is None]
        of_rows = [self._number[rows[n].line] for n in read]
        lines = _Lines._make(each[of_rows] for each in self._lines)
        at = np.array([rows[n].chainages[arm] for n in read]).reshape(-1, 1)
        variances = np.array([rows[n].chainage_sd for n in read]).reshape(-1, 1) ** 2
        other = np.clip((lines.chainages < at).sum(axis=1, keepdims=True), 1, lines.last)
        one = other - 1
        c1, c2 = (np.take_along_axis(lines.chainages, mark, axis=1) for mark in (one, other))
        t = (at - c1) / (c2 - c1)
        of_chainage = lines.covariances(at, variances)
        of_error = of_chainage - (1 - t) * lines.covariances_of(one) - t * lines.covariances_of(other)
        # var(e) - var(e_c) = -(1 - t) cov(e_c + e, e₁) - t cov(e_c + e, e₂)
        with_one, with_other = (np.take_along_axis(of_chainage + of_error, mark, axis=1) for mark in (one, other))
        own[read] = -((1 - t) * with_one + t * with_other).ravel()
        columns[read], shared[read] = lines.columns, of_error
        return own, columns, shared


class _Mark(NamedTuple):
    """A mark of one line, its fields those of ``_Lines``."""

    chainage: float
    variance: float
    column: int
    share: float


FAR: Final = _Mark(inf, 0.0, -1, 1.0)  #: what a line is filled up with: no chainage lies beyond it


def _marks(
    line: ReducedLine, tied: Sequence[ReducedRow], columns: Mapping[tuple[str | None, str], int], own: int
) -> list[_Mark]:
    """Return the marks of a line in the order of their chainage."""
    ground = line.ground
    marks = [_Mark(0.0, 0.0, -1, 1.0), _Mark(ground.length, ground.sd**2, own, 1 / ground.count)]
    marks += [_Mark(row.chainages[0], row.chainage_sd**2, columns[row.line, row.name], 1.0) for row in tied]
    return sorted(marks)


def _lines(reduction: Reduction, lines: Sequence[ReducedLine], marks: Sequence[Sequence[_Mark]]) -> _Lines:
    most = max(map(len, marks), default=0)
    filled = [(*each, *[FAR] * (most - len(each))) for each in marks]
    tapes = [reduction.tapes[line.ground.tape] for line in lines]
    chainages, variances, columns, shares = np.array(filled).reshape(len(lines), most, 4).transpose(2, 0, 1)
    return _Lines(
        chainages,
        variances,
        columns.astype(np.int64),
        shares,
        last=np.array([len(each) - 1 for each in marks]).reshape(-1, 1),
        lay_variances=np.array([tape.lay_sd**2 for tape in tapes]).reshape(-1, 1),
        nominals=np.array([tape.nominal for tape in tapes]).reshape(-1, 1),
    )
