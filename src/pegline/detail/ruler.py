"""What turns the chainages and lengths of a reduction into the frame, with all that they owe to the solution."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from itertools import chain
from operator import attrgetter
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.network.model import Solution
from pegline.network.observations import RANGING_SD, Stops, stops_by_line
from pegline.plane import Array, Ints, distance
from pegline.reduction.model import Ground, Reduction

__all__ = ["ON_THE_LINE", "Arms", "Chainages", "Feet", "Ruler", "coordinates", "numbers", "runs"]

Bools = NDArray[np.bool_]


class Chainages(NamedTuple):
    """The chainages of the rows on some lines, in the book's order: one of each row, or one for each oblique arm."""

    rows: Ints  #: (k,) of each: its row in ``Reduction.rows``
    arms: Ints  #: (k,) which of the row's chainages it is
    first: Ints  #: (r,) the number here of the first chainage of each row of the reduction
    lines: Ints  #: (k,) number of the line among those of the reduction
    lengths: Array  #: (k,) on the ground from the line's start, metres
    sds: Array  #: (k,) metres
    foot_sds: Array  #: (k,) along the line, from setting out the right angle, metres
    with_offsets: Bools  #: (k,) whether an offset, or an arm, was taped from there
    at_stations: Mapping[int, str]  #: the stations that stand for chainages, by their number here


class Feet(NamedTuple):
    """Chainages on the pieces of their lines, in the frame."""

    ends: Ints  #: (m, 2) rows of the solution at the two ends of the piece
    share: Array  #: (m, 1) of the piece that lies before the chainage
    unit: Array  #: (m, 2) along the piece
    length: Array  #: (m, 1) of the piece
    points: Array  #: (m, 2)
    sd: Array  #: (m, 1) of the chainage and of setting out the right angle

    def of(self, numbers: Ints) -> Feet:
        """Return those of some chainages."""
        return Feet._make(each[numbers] for each in self)


class Arms(NamedTuple):
    """Offsets of rows in the frame; 0 on the line itself."""

    lengths: Array  #: (m, 1), never negative
    sd: Array  #: (m, 1)
    scale: Ints  #: (m,) the parameter of the tape's scale
    by_scale: Array  #: (m, 1) what the length changes by when the tape reads longer by 1

    def of(self, begin: int, end: int) -> Arms:
        """Return those of some rows."""
        return Arms(self.lengths[begin:end], self.sd[begin:end], self.scale[begin:end], self.by_scale[begin:end])


#: The offset of a point on the line itself, which no tape measured.
ON_THE_LINE: Final = Ground(0.0, 0.0, RANGING_SD, "", Place("", 0, 0))


class _Marks(NamedTuple):
    """The stations along all lines, line after line in the order of their chainage."""

    first: Ints  #: (l,) of each line: its first station, where its first piece begins
    last: Ints  #: (l,) where its last piece begins
    stations: Ints  #: (s,) rows of the solution, -1 for what is not solved
    chainages: Array  #: (s,) on the ground from the line's start


class Ruler:
    """What turns chainages and lengths on the ground into the frame."""

    def __init__(self, reduction: Reduction, frame: Frame, solution: Solution) -> None:
        self.frame, self.solution, self.scale = frame, solution, frame.scale
        self._reduction = reduction
        along = stops_by_line(reduction)
        self._marks = _marks(along, solution)
        solved = np.logical_and.reduceat(self._marks.stations >= 0, self._marks.first) if along else ()
        #: Lines whose stations are all solved.
        self.held = {line for line, all_solved in zip(along, solved, strict=True) if all_solved}
        self.unknown = 2 * len(solution.names)
        self.tapes = {tape: i for i, tape in enumerate(solution.tapes)}
        self.priors = {name: tape.scale_sd for name, tape in reduction.tapes.items() if name not in self.tapes}

    @cached_property
    def chainages(self) -> Chainages:
        """Return the chainages of all rows whose line has its stations solved."""
        number = {line: n for n, line in enumerate(self._reduction.lines)}
        held = [n for n, row in enumerate(self._reduction.rows) if row.line in self.held]
        rows = [self._reduction.rows[n] for n in held]
        counts = np.fromiter(map(len, map(attrgetter("chainages"), rows)), np.int64, len(rows))
        of = np.repeat(np.arange(len(rows)), counts)
        first = np.full(len(self._reduction.rows), -1)
        first[held] = np.cumsum(counts) - counts
        read_at = enumerate(chain.from_iterable(map(attrgetter("at_stations"), rows)))
        row_of = np.array(held, np.int64)[of]
        return Chainages(
            rows=row_of,
            arms=np.arange(len(of)) - first[row_of],
            first=first,
            lines=np.fromiter(map(number.__getitem__, map(attrgetter("line"), rows)), np.int64, len(rows))[of],
            lengths=np.fromiter(chain.from_iterable(map(attrgetter("chainages"), rows)), float, len(of)),
            sds=numbers(rows, "chainage_sd")[of],
            foot_sds=numbers(rows, "foot_sd")[of],
            with_offsets=np.fromiter(map(bool, map(attrgetter("offsets"), rows)), bool, len(rows))[of],
            at_stations={n: station for n, station in read_at if station is not None},
        )

    @cached_property
    def feet(self) -> Feet:
        """Return where those chainages lie."""
        marks, read = self._marks, self.chainages
        piece = _pieces(marks, read.lines, read.lengths)
        ends = np.stack((marks.stations[piece], marks.stations[piece + 1]), axis=1)
        begin, length = marks.chainages[piece], marks.chainages[piece + 1] - marks.chainages[piece]
        within = read.lengths - begin
        sd = np.hypot(read.sds, read.foot_sds)
        for place, station in read.at_stations.items():
            # The station itself was taped from: no chainage was read.
            here = self.solution.index[station]
            ends[place] = here, (ends[place, 0] if here == ends[place, 1] else ends[place, 1])
            within[place] = sd[place] = 0.0
        p, q = self.solution.positions[ends[:, 0]], self.solution.positions[ends[:, 1]]
        apart = distance(p, q)
        share = (within / length)[:, None]
        return Feet(
            ends, share, (q - p) / apart[:, None], apart[:, None], p + share * (q - p), (sd * apart / length)[:, None]
        )

    def arms(self, grounds: Sequence[Ground]) -> Arms:
        """Return offsets in the frame, with what they owe to the scale of their tapes.

        The scale of a tape that the solution does not know goes into the offset's own standard deviation.
        """
        count, names = len(grounds), list(map(attrgetter("tape"), grounds))
        number = {name: i for i, name in enumerate(dict.fromkeys(names))}
        of = np.fromiter(map(number.__getitem__, names), np.int64, count)
        tapes = np.array([self.tapes.get(name, -1) for name in number], np.int64)
        priors = np.array([self.priors.get(name, 0.0) for name in number])
        factors = self.scale / (1 + np.append(self.solution.scales, 0.0)[tapes])
        length, own = numbers(grounds, "length") * factors[of], numbers(grounds, "sd")
        by_scale = np.where(tapes[of] < 0, 0.0, -length * factors[of] / self.scale)
        # Without any tape the number points at nothing; its column of the jacobian is 0.
        scale = np.maximum(tapes, 0)[of] + (self.unknown if self.tapes else 0)
        sd = np.hypot(own * factors[of], priors[of] * length)
        return Arms(length[:, None], sd[:, None], scale, by_scale[:, None])


def numbers(records: Sequence[Any], name: str) -> Array:
    """Return one number of each of some records."""
    return np.fromiter(map(attrgetter(name), records), float, len(records))


def _marks(along: Mapping[str, Stops], solution: Solution) -> _Marks:
    counts = np.array([len(stops.names) for stops in along.values()], np.int64)
    ends = np.cumsum(counts)
    return _Marks(
        ends - counts,
        ends - 2,
        np.array([solution.index.get(name, -1) for stops in along.values() for name in stops.names], np.int64),
        np.array([chainage for stops in along.values() for chainage in stops.chainages]),
    )


def _pieces(marks: _Marks, lines: Ints, chainages: Array) -> Ints:
    """Return where the pieces (m,) that chainages count on begin, as ``Stops.piece`` tells for one.

    All walk along their lines together, from station to station, until they stand before their chainage.
    """
    piece, last = marks.first[lines], marks.last[lines]
    walking = np.arange(len(lines))
    while len(walking):
        at = piece[walking]
        walking = walking[(at < last[walking]) & (marks.chainages[at + 1] < chainages[walking])]
        piece[walking] += 1
    return piece


def coordinates(rows: Ints) -> Ints:
    """Return the parameters (m, 2 k) of points given as rows (m, k) of a solution."""
    return np.stack((2 * rows, 2 * rows + 1), axis=-1).reshape(len(rows), 2 * rows.shape[1])


def runs(table: Ints) -> tuple[Ints, Ints]:
    """Return the first row of each run of equal rows of a table (m, k), and in which run each row (m,) is.

    >>> first, which = runs(np.array([[4, 1], [4, 1], [7, 1], [4, 1]]))
    >>> first.tolist(), which.tolist()
    ([0, 2, 3], [0, 0, 1, 2])
    """
    new = np.ones(len(table), bool)
    new[1:] = (table[1:] != table[:-1]).any(axis=1)
    return np.flatnonzero(new), np.cumsum(new) - 1
