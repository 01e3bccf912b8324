"""Where every point of a survey lies, and how well: those of the network taken over, all others by direct formulae.

A point booked once hangs on the piece of its line between two stations, and on the scale of the
tape of its offset. Lengths on the ground become lengths in the frame by the frame's scale, and a
tape that was found to read long by s gives o / (1 + s).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from operator import attrgetter
from typing import Final, NamedTuple

import numpy as np

from pegline.book.habits import notation_of
from pegline.book.model import Book
from pegline.detail.marks import Marks
from pegline.detail.model import Detail, OffsetFeet, Points
from pegline.detail.ruler import ON_THE_LINE, Arms, Feet, Ruler, coordinates, numbers, runs
from pegline.detail.shapes import shapes
from pegline.errors import BookError, Finding
from pegline.frame.model import Frame
from pegline.measures.notation import METRES
from pegline.network.model import Adjustment, Solution
from pegline.network.quality import base_holding
from pegline.plane import Array, Ints, arc_gap, arcs_meet, distance, left_of, outer
from pegline.records import record
from pegline.reduction.model import ReducedRow, Reduction

__all__ = ["Missed", "place", "place_offset_feet", "place_points"]

#: Arms that cut flatter than this (the sine of their angle) fix nothing; it keeps the formulae finite.
MIN_CUT_SINE: Final = 1e-4
#: Points whose covariances are worked out at one time.
BATCH: Final = 20_000

ReducedRows = Sequence[ReducedRow]


@record(frozen=True, slots=True)
class Missed:
    """Two arms of an oblique offset that do not meet."""

    point: str
    row: int  #: in ``Reduction.rows``
    gap: float  #: what is missing (or too much) between them, metres on the ground


class _Tied(NamedTuple):
    """How points hang on the solution."""

    positions: Array  #: (m, 2)
    parents: Ints  #: (m, k)
    jacobian: Array  #: (m, 2, k)
    own: Array  #: (m, 2, 2)
    by_chainage: tuple[Array, ...] = ()  #: for each arm (m, 2) how a point moves for a metre of its chainage
    chainages: tuple[Ints, ...] = ()  #: for each arm (m,) the number of that chainage among those of the ruler

    def in_order(self, order: Ints) -> _Tied:
        """Return the points in another order."""
        return self._replace(
            positions=self.positions[order],
            parents=self.parents[order],
            jacobian=self.jacobian[order],
            own=self.own[order],
        )


def place(book: Book, reduction: Reduction, frame: Frame, adjustment: Adjustment) -> Detail:
    """Return every point and every shape of a survey.

    Raises
    ------
    BookError
        Arms of oblique offsets that do not meet, or shapes that cannot be made.
    """
    ruler = Ruler(reduction, frame, adjustment.solution)
    marks = Marks(reduction, adjustment.delivered_fit) if reduction.rows else None
    points = place_points(reduction, ruler, marks, lambda gap: notation_of(book).small(gap))
    drawn, warnings = shapes(book, reduction, ruler, points)
    return Detail(points, drawn, place_offset_feet(reduction, ruler), warnings)


def place_points(
    reduction: Reduction, ruler: Ruler, marks: Marks | None = None, small_length: Callable[[float], str] = METRES.small
) -> Points:
    """Return every point that is no station.

    A row whose line is not in the solution, as in a half-finished book, is left out. With the marks of the lines
    their own errors are in the covariances of what counts between them. ``small_length`` writes metres in the units
    of the book.

    Raises
    ------
    BookError
        Arms of oblique offsets that do not meet.
    """
    solution = ruler.solution
    index, rows, first, solved, upright, oblique = _sorted_out(reduction, ruler)
    names = tuple(index)
    tables = (
        _taken_over([names[i] for i in solved], ruler),
        _upright([reduction.rows[n] for n in first[upright].tolist()], first[upright], ruler),
        _oblique([reduction.rows[n] for n in first[oblique].tolist()], first[oblique], ruler, small_length),
    )
    tied, variances, local = _stack_tables(tables, solution)
    if marks is not None:
        begin = len(solved)
        for table in tables[1:]:
            part = slice(begin, begin + len(table.positions))
            in_frame, to_base = _of_marks(table, ruler, marks)
            variances[part] += in_frame
            local[part] += to_base
            begin = part.stop
    if len(upright) < len(names):
        order = np.argsort(np.concatenate((solved, upright, oblique)))
        tied, variances, local = tied.in_order(order), variances[order], local[order]
    return Points(
        names=names,
        index=index,
        positions=tied.positions,
        parents=tied.parents,
        jacobian=tied.jacobian,
        own=tied.own,
        variances=variances,
        local_variances=local,
        rows=tuple(rows),
    )


def place_offset_feet(reduction: Reduction, ruler: Ruler) -> OffsetFeet:
    """Return where each offset begins on a line that has its stations solved: its point is placed too."""
    read = ruler.chainages
    taped = np.fromiter(map(bool, map(attrgetter("offsets"), reduction.rows)), bool, len(reduction.rows))
    begins = np.flatnonzero(read.held & taped[read.rows])
    rows = read.rows[begins]
    return OffsetFeet(rows, begins - read.first[rows], ruler.feet.points[begins])


def _of_marks(table: _Tied, ruler: Ruler, marks: Marks) -> tuple[Array, Array]:
    """Return what the marks of their lines add to the covariances of points (m, 2, 2), in the frame and to the base."""
    hanging = table.positions, table.parents, table.jacobian
    in_frame, to_base = np.zeros((2, len(table.positions), 2, 2))
    if len(table.positions):
        for along, chainages in zip(table.by_chainage, table.chainages, strict=True):
            first, second = marks.parts(ruler.chainages, chainages, along, hanging, ruler.solution)
            in_frame += first
            to_base += second
    return in_frame, to_base


class _SortedOut(NamedTuple):
    """The points that can be placed, by how they are placed."""

    numbers: Mapping[str, int]  #: of the points, by name
    rows: Sequence[tuple[int, ...]]  #: of each, as booked; what the network solved besides has none
    first: Ints  #: (m,) the first of them, -1 for none
    solved: Ints  #: the numbers of those that the network solved
    upright: Ints
    oblique: Ints


def _sorted_out(reduction: Reduction, ruler: Ruler) -> _SortedOut:
    """Look once at every row: which point is it of, and how is that placed?"""
    solution, read = ruler.solution, ruler.chainages
    stations, solved = set(solution.names[: solution.stations]), solution.index
    index: dict[str, int] = {}
    rows: list[tuple[int, ...]] = []
    first: list[int] = []
    names = map(attrgetter("booked.name"), reduction.rows)
    for number, (name, held) in enumerate(zip(names, read.held[read.first].tolist(), strict=True)):
        if name in index:
            rows[index[name]] += (number,)
        elif (held or name in solved) and name not in stations:
            index[name] = len(rows)
            rows.append((number,))
            first.append(number)
    for name in solution.names[solution.stations :]:
        if name not in index:
            index[name] = len(rows)
            rows.append(())
            first.append(-1)
    in_network = np.fromiter(map(solved.__contains__, index), bool, len(index))
    by_arms = (np.bincount(read.rows, minlength=len(reduction.rows) + 1) > 1)[np.array(first, np.int64)]
    ways = in_network, ~in_network & ~by_arms, ~in_network & by_arms
    return _SortedOut(index, rows, np.array(first, np.int64), *map(np.flatnonzero, ways))


def _taken_over(names: Sequence[str], ruler: Ruler) -> _Tied:
    """Return the points of the network: each is its own parent."""
    rows = np.array([ruler.solution.index[name] for name in names], dtype=np.int64)
    own = coordinates(rows[:, None])
    parents = np.column_stack((own, own, own[:, :1]))
    jacobian = np.zeros((len(rows), 2, 5))
    jacobian[:, 0, 0] = jacobian[:, 1, 1] = 1.0
    return _Tied(ruler.solution.positions[rows], parents, jacobian, np.zeros((len(rows), 2, 2)))


def _upright(rows: ReducedRows, numbers_of_rows: Ints, ruler: Ruler) -> _Tied:
    """Place perpendicular offsets, and points on the line itself, whose offset is 0.

    With w from P to Q, u along it and n to its left, t the share of the piece and o the offset:

        X = P + t w + o n,   ∂X/∂Q = t - o u n' / |w|,   ∂X/∂P = 1 - ∂X/∂Q
    """
    chainages = ruler.chainages.first[numbers_of_rows]
    feet = ruler.feet.of(chainages)
    arms = ruler.arms([row.offsets[0] if row.offsets else ON_THE_LINE for row in rows])
    side = numbers(rows, "side")
    normal = left_of(feet.unit) * np.where(side == 0, 1.0, side)[:, None]
    turn = arms.lengths / feet.length
    by_end = feet.share[:, :, None] * np.eye(2) - turn[:, :, None] * outer(feet.unit, normal)
    jacobian = np.concatenate((np.eye(2) - by_end, by_end, (arms.by_scale * normal)[:, :, None]), axis=2)
    own = outer(feet.sd * feet.unit, feet.sd * feet.unit) + outer(arms.sd * normal, arms.sd * normal)
    parents = np.column_stack((coordinates(feet.ends), arms.scale))
    positions = feet.points + arms.lengths * normal
    return _Tied(positions, parents, jacobian, own, (ruler.scale * feet.unit,), (chainages,))


def _oblique(rows: ReducedRows, numbers: Ints, ruler: Ruler, small_length: Callable[[float], str]) -> _Tied:
    """Place points taped from two chainages, at the meeting on the side booked.

    With e₁ and e₂ the directions from the feet F₁ and F₂ to the point X, each arm asks

        eₖ · (dX - dFₖ) = drₖ,   so that dX = E⁻¹ (eₖ · dFₖ + drₖ),   E = (e₁, e₂)'

    Raises
    ------
    BookError
        Arms that do not meet.
    """
    chainages = ruler.chainages.first[numbers], ruler.chainages.first[numbers] + 1
    feet = ruler.feet.of(chainages[0]), ruler.feet.of(chainages[1])
    arms = tuple(ruler.arms([row.offsets[arm] for row in rows]) for arm in (0, 1))
    _refuse_gaps(rows, numbers, feet, arms, ruler.scale, small_length)
    # What lies left of the line lies right of the way from the higher chainage to the lower.
    side = np.array([row.side * np.sign(row.chainages[1] - row.chainages[0]) for row in rows])
    at = arcs_meet(feet[0].points, arms[0].lengths.ravel(), feet[1].points, arms[1].lengths.ravel(), side)
    towards = [(at - foot.points) / np.maximum(arm.lengths, 1e-9) for foot, arm in zip(feet, arms, strict=True)]
    jacobian, parents, own, by_chainage = [], [], np.zeros((len(rows), 2, 2)), []
    for foot, arm, e, effect in zip(feet, arms, towards, _inverse(*towards), strict=True):
        across = effect[:, :, None] * e[:, None, :]
        share = foot.share[:, :, None]
        jacobian += [(1 - share) * across, share * across, (arm.by_scale * effect)[:, :, None]]
        parents += [coordinates(foot.ends), arm.scale]
        sd = np.hypot(arm.sd, foot.sd * (e * foot.unit).sum(axis=1, keepdims=True))
        own += outer(sd * effect, sd * effect)
        by_chainage.append(ruler.scale * effect * (e * foot.unit).sum(axis=1, keepdims=True))
    return _Tied(at, np.column_stack(parents), np.concatenate(jacobian, axis=2), own, tuple(by_chainage), chainages)


def _inverse(e: Array, f: Array) -> tuple[Array, Array]:
    """Return the columns of the inverse of (e, f)': how a point moves when one arm grows by 1, the other kept."""
    sine = (e[:, 0] * f[:, 1] - e[:, 1] * f[:, 0])[:, None]
    sine = np.where(np.abs(sine) < MIN_CUT_SINE, np.copysign(MIN_CUT_SINE, sine), sine)
    return -left_of(f) / sine, left_of(e) / sine


def _refuse_gaps(
    rows: ReducedRows,
    numbers: Ints,
    feet: tuple[Feet, Feet],
    arms: tuple[Arms, ...],
    scale: float,
    small_length: Callable[[float], str],
) -> None:
    """Raise a finding for every point whose two arms do not meet."""
    apart = distance(feet[0].points, feet[1].points)
    gaps = arc_gap(apart, arms[0].lengths.ravel(), arms[1].lengths.ravel()) / scale
    findings = []
    for row, number, gap in zip(rows, numbers.tolist(), gaps.tolist(), strict=True):
        if gap > 0 or row.chainages[0] == row.chainages[1]:
            one, other = (reading.length.text for reading in row.booked.offsets[:2])
            text = (
                f"the two oblique offsets to {row.name} ({one} and {other} from {row.line}) do not meet:"
                f" {small_length(max(gap, 0.0))} between them; read them and their chainages again"
            )
            findings.append(Finding("arms-do-not-meet", text, row.booked.place, Missed(row.name, number, gap)))
    if findings:
        raise BookError(findings)


def _stack_tables(tables: Sequence[_Tied], solution: Solution) -> tuple[_Tied, Array, Array]:
    """Return tables one below the other with their covariances, narrow ones filled up with parents of no effect."""
    used = [table for table in tables if len(table.parents)] or [tables[0]]
    spread = [_variances(table, solution) for table in used]
    if len(used) == 1:
        return used[0], *spread[0]
    width = max(table.parents.shape[1] for table in used)
    wide = []
    for table in used:
        missing = width - table.parents.shape[1]
        parents = np.pad(table.parents, ((0, 0), (0, missing)), mode="edge")
        jacobian = np.pad(table.jacobian, ((0, 0), (0, 0), (0, missing)))
        wide.append(table._replace(parents=parents, jacobian=jacobian))
    tied = _Tied(
        positions=np.concatenate([table.positions for table in wide]),
        parents=np.concatenate([table.parents for table in wide]),
        jacobian=np.concatenate([table.jacobian for table in wide]),
        own=np.concatenate([table.own for table in wide]),
    )
    variances, local = (np.concatenate(parts) for parts in zip(*spread, strict=True))
    return tied, variances, local


def _variances(tied: _Tied, solution: Solution) -> tuple[Array, Array]:
    """Return the whole covariances (m, 2, 2) in the frame, and relative to the base line.

        C = J C_parents J' + C_own,   C_local = C + J C_pb H' + (J C_pb H')' + H C_base H'

    with H what holding the base line takes away, and C_pb between the parents and the line's ends.
    Points that follow each other on one piece share their parents' covariance, which is asked for once.
    """
    base = coordinates(np.array([solution.base]))
    among = solution.covariances.blocks(base)[0]
    one, which = runs(tied.parents)
    parents = solution.covariances.blocks(tied.parents[one])
    mixed = solution.covariances.blocks(tied.parents[one], base)
    variances, local = np.empty_like(tied.own), np.empty_like(tied.own)
    for begin in range(0, len(which), BATCH):
        part = slice(begin, begin + BATCH)
        free = tied.jacobian[part]
        held = base_holding(tied.positions[part], *solution.positions[list(solution.base)])
        variances[part] = free @ parents[which[part]] @ free.swapaxes(1, 2) + tied.own[part]
        both = free @ mixed[which[part]] @ held.swapaxes(1, 2)
        local[part] = variances[part] + both + both.swapaxes(1, 2) + held @ among @ held.swapaxes(1, 2)
    return variances, local
