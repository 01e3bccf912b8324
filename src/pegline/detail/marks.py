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

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from pegline.detail.ruler import Chainages, runs
from pegline.detail.ruler import numbers as numbers_of
from pegline.network.dependents import ParameterMoves, Readings
from pegline.network.least_squares import Fit
from pegline.network.model import Solution
from pegline.network.observation_types import tie_chainages
from pegline.network.observations import stops_by_line
from pegline.network.quality import base_holding
from pegline.plane import Array, Ints, outer
from pegline.reduction.model import Ground, Reduction

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
        lengths = {line: n for n, one in enumerate(observations) if (line := one.booking.measured_line)}
        ties: dict[tuple[str | None, str], int] = {}
        for n, one in tie_chainages(observations):
            ties.setdefault((one.booking.line, one.point), n)
        numbers = [*lengths.values(), *ties.values()]
        rates = Readings.of(fit, len(observations)).rates[numbers]
        self._moves = ParameterMoves(fit, rates)
        number = {line: n for n, line in enumerate(lengths)}
        #: (l,) of each line of the reduction: its number among those taped, -1 for one that is not
        self._number = np.array([number.get(line, -1) for line in reduction.lines], np.int64)
        column = {tie: len(lengths) + n for n, tie in enumerate(ties)}
        along = stops_by_line(reduction) if ties else {}
        standing = {
            (line, *stop) for line, stops in along.items() for stop in zip(stops.names, stops.chainages, strict=True)
        }
        marks = [
            (number[row.line], row.chainages[0], row.chainage_sd, column[row.line, row.name])
            for row in reduction.tie_rows.values()
            if (row.line, row.name) in column and (row.line, row.name, row.chainages[0]) in standing
        ]
        self._lines = _lines(reduction, [reduction.lines[line].ground for line in lengths], marks)

    def parts(
        self,
        read: Chainages,
        numbers: Ints,
        directions: Array,
        hanging: tuple[Array, Ints, Array],
        solution: Solution,
    ) -> tuple[Array, Array]:
        """Return what the marks add to the covariances of points, in the frame and relative to the base line.

        Parameters
        ----------
        read
            Chainages of rows.
        numbers
            (m,) which of them the points hang on.
        directions
            (m, 2) how the point moves for each metre that the chainage is off.
        hanging
            Positions (m, 2), parents (m, k) and jacobian (m, 2, k) of the points.
        solution
            What they hang on.
        """
        positions, parents, jacobian = hanging
        own, columns, shared = self._errors(read, numbers)
        base = np.array([2 * end + axis for end in solution.base for axis in (0, 1)])
        held = base_holding(positions, *solution.positions[list(solution.base)])
        # Points that follow each other on one piece have their parents and marks in common.
        one, which = runs(np.column_stack((parents, columns)))
        parent_moves = self._moves.of(parents[one][:, :, None], columns[one][:, None, :])
        base_moves = self._moves.of(base[:, None], columns[one][:, None, :])
        of_parents = np.einsum("mkr,mr->mk", parent_moves[which], shared)
        of_base = np.einsum("mbr,mr->mb", base_moves[which], shared)
        in_frame = np.einsum("mik,mk->mi", jacobian, of_parents)
        to_base = in_frame + np.einsum("mib,mb->mi", held, of_base)
        square = own[:, None, None] * outer(directions, directions)
        first, second = (square + outer(e, directions) + outer(directions, e) for e in (in_frame, to_base))
        return first, second

    def _errors(self, read: Chainages, numbers: Ints) -> tuple[Array, Ints, Array]:
        """Return what the marks add to the variance of e (m,), and its covariances (m, k) with all marks' readings."""
        most = self._lines.columns.shape[1]
        own, shared, columns = np.zeros(len(numbers)), np.zeros((len(numbers), most)), np.full((len(numbers), most), -1)
        of_rows = self._number[read.lines[numbers]]
        counting = (of_rows >= 0) & ~np.isin(numbers, list(read.at_stations))
        lines = _Lines._make(each[of_rows[counting]] for each in self._lines)
        at, variances = read.lengths[numbers[counting], None], read.sds[numbers[counting], None] ** 2
        other = np.clip((lines.chainages < at).sum(axis=1, keepdims=True), 1, lines.last)
        one = other - 1
        c1, c2 = (np.take_along_axis(lines.chainages, mark, axis=1) for mark in (one, other))
        t = (at - c1) / (c2 - c1)
        of_chainage = lines.covariances(at, variances)
        of_error = of_chainage - (1 - t) * lines.covariances_of(one) - t * lines.covariances_of(other)
        # var(e) - var(e_c) = -(1 - t) cov(e_c + e, e₁) - t cov(e_c + e, e₂)
        with_one, with_other = (np.take_along_axis(of_chainage + of_error, mark, axis=1) for mark in (one, other))
        own[counting] = -((1 - t) * with_one + t * with_other).ravel()
        columns[counting], shared[counting] = lines.columns, of_error
        return own, columns, shared


def _lines(reduction: Reduction, grounds: Sequence[Ground], tied: Sequence[tuple[int, float, float, int]]) -> _Lines:
    """Return the marks of lines of those lengths: the start of each, its end, and the tie stations on some.

    A tie station is told by the number of its line, its chainage, what that is good to, and its column.
    """
    count, tapes = len(grounds), [reduction.tapes[ground.tape] for ground in grounds]
    lengths, sds, readings = (numbers_of(grounds, name) for name in ("length", "sd", "count"))
    of_ties, chainages, tie_sds, columns = np.array(tied).reshape(-1, 4).T
    start, beyond = (0.0, 0.0, -1, 1.0), (np.inf, 0.0, -1, 1.0)  # no chainage lies beyond what is filled up with
    ends = np.column_stack((lengths, sds**2, np.arange(count), 1 / readings))
    ties = np.column_stack((chainages, tie_sds**2, columns, np.ones(len(tied))))
    marks = np.concatenate((np.tile(start, (count, 1)), ends, ties))
    of = np.concatenate((np.arange(count), np.arange(count), of_ties.astype(np.int64)))
    order = np.lexsort((marks[:, 0], of))
    marks, of, counts = marks[order], of[order], np.bincount(of, minlength=count)
    table = np.tile(beyond, (count, counts.max(initial=0), 1))
    table[of, np.arange(len(of)) - (np.cumsum(counts) - counts)[of]] = marks
    return _Lines(
        chainages=table[:, :, 0],
        variances=table[:, :, 1],
        columns=table[:, :, 2].astype(np.int64),
        shares=table[:, :, 3],
        last=counts[:, None] - 1,
        lay_variances=numbers_of(tapes, "lay_sd")[:, None] ** 2,
        nominals=numbers_of(tapes, "nominal")[:, None],
    )
