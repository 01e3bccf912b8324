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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.network.dependents import ParameterMoves, Readings
from pegline.network.least_squares import Fit
from pegline.network.model import Solution
from pegline.network.observation_types import Chainage
from pegline.network.quality import base_holding
from pegline.plane import Array, outer
from pegline.reduction.model import ReducedLine, ReducedRow, Reduction

__all__ = ["Marks"]

Ints = NDArray[np.int64]


class _Line(NamedTuple):
    """The marks of a line in the order of their chainage."""

    chainages: Array  #: (s,) metres on the ground
    variances: Array  #: (s,) of their readings, square metres
    columns: Ints  #: (s,) numbers of their readings among those of all marks; -1 for the start, which has none
    shares: Array  #: (s,) of the full lays that they have in common with chainages
    lay_variance: float  #: of one lay of the line's tape, square metres
    nominal: float  #: length of that tape, metres

    @property
    def among(self) -> Array:
        """Return the covariances (s, s) of the marks' readings."""
        alone = self.variances / self.shares
        c, v, s = self.chainages, self.variances, self.shares
        found = s[:, None] * s * self.common(c[:, None], c, np.minimum(alone[:, None], alone))
        found[np.diag_indices(len(v))] = v
        return np.asarray(found)

    def common(self, one: Array, other: Array, least: Array) -> Array:
        """Return what two readings have in common: the full lays before the nearer, square metres."""
        lays = np.floor(np.maximum(np.minimum(one, other), 0.0) / self.nominal)
        return np.asarray(np.minimum(self.lay_variance * lays, least))


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
        ties = {
            (one.booking.line, one.point): n
            for n, one in enumerate(observations)
            if isinstance(one, Chainage) and one.booking.part == "station"
        }
        numbers = [*lengths.values(), *ties.values()]
        column = {number: place for place, number in enumerate(numbers)}
        rates = Readings.of(fit, len(observations)).rates[numbers]
        self._moves = ParameterMoves(fit, rates)
        tied: dict[str, list[ReducedRow]] = {}
        for row in reduction.rows:
            if row.form == "station" and (row.line, row.name) in ties:
                tied.setdefault(row.line, []).append(row)
        self._lines = {
            name: _line(reduction, line, tied.get(name, ()), {row: column[number] for row, number in ties.items()}, at)
            for name, line in reduction.lines.items()
            if (at := column.get(lengths.get(name, -1))) is not None
        }

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
        most = max((len(self._lines[row.line].columns) for row in rows if row.line in self._lines), default=0)
        own, shared = np.zeros(len(rows)), np.zeros((len(rows), most))
        columns = np.full((len(rows), most), -1)
        by_line: dict[str, list[int]] = {}
        for number, row in enumerate(rows):
            if row.line in self._lines and row.at_stations[arm] is None:
                by_line.setdefault(row.line, []).append(number)
        for name, numbers in by_line.items():
            line = self._lines[name]
            at = np.array([rows[n].chainages[arm] for n in numbers])
            variance = np.array([rows[n].chainage_sd for n in numbers]) ** 2
            later = np.clip(np.searchsorted(line.chainages, at), 1, len(line.chainages) - 1)
            one, other = later - 1, later
            c1, c2, v1, v2 = line.chainages[one], line.chainages[other], line.variances[one], line.variances[other]
            t = (at - c1) / (c2 - c1)
            among = line.among
            count = len(among)
            with_each = line.shares * line.common(
                at[:, None], line.chainages, np.minimum(variance[:, None], line.variances / line.shares)
            )
            with_one, with_other = (with_each[range(len(at)), mark] for mark in (one, other))
            columns[numbers, :count] = line.columns
            shared[np.ix_(numbers, range(count))] = (
                with_each - (1 - t)[:, None] * among[one] - t[:, None] * among[other]
            )
            own[numbers] = (1 - t) ** 2 * v1 + t**2 * v2 + 2 * t * (1 - t) * among[one, other]
            own[numbers] -= 2 * (1 - t) * with_one + 2 * t * with_other
        return own, columns, shared


def _line(
    reduction: Reduction,
    line: ReducedLine,
    tied: Sequence[ReducedRow],
    columns: Mapping[tuple[str | None, str], int],
    own: int,
) -> _Line:
    ground, tape = line.ground, reduction.tapes[line.ground.tape]
    marks = [(0.0, 0.0, -1, 1.0), (ground.length, ground.sd**2, own, 1 / ground.count)]
    marks += [(row.chainages[0], row.chainage_sd**2, columns[row.line, row.name], 1.0) for row in tied]
    chainages, variances, numbers, shares = zip(*sorted(marks), strict=True)
    return _Line(
        np.array(chainages),
        np.array(variances),
        np.array(numbers, np.int64),
        np.array(shares),
        tape.lay_sd**2,
        tape.nominal,
    )
