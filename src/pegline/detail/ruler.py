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
    """The chainages of all rows of a reduction, in their order: one of each row, or one for each oblique arm."""

    rows: Ints  #: (k,) of each: its row
    first: Ints  #: (r,) of each row: the number here of its first chainage
    lines: Ints  #: (k,) number of its line in the reduction
    lengths: Array  #: (k,) on the ground from the line's start, metres
    held: Bools  #: (k,) whether all stations of its line are solved
    sds: Array  #: (k,) metres
    foot_sds: Array  #: (k,) along the line, from setting out the right angle, metres
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
    held: Bools  #: (l,) whether all stations of the line are solved


class Ruler:
    """What turns chainages and lengths on the ground into the frame."""

    def __init__(self, reduction: Reduction, frame: Frame, solution: Solution) -> None:
        self.frame, self.solution, self.scale = frame, solution, frame.scale
        self._reduction = reduction
        self._marks = _marks(stops_by_line(reduction), solution)
        self.unknown = 2 * len(solution.names)
        self.tapes = {tape: i for i, tape in enumerate(solution.tapes)}
        self.priors = {name: tape.scale_sd for name, tape in reduction.tapes.items() if name not in self.tapes}

    @cached_property
    def chainages(self) -> Chainages:
        """Return the chainages of all rows."""
        number = {line: n for n, line in enumerate(self._reduction.lines)}
        rows = self._reduction.rows
        every, at_stations = (list(map(attrgetter(name), rows)) for name in ("chainages", "at_stations"))
        counts = np.fromiter(map(len, every), np.int64, len(rows))
        of = np.repeat(np.arange(len(rows)), counts)
        lines = np.fromiter(map(number.__getitem__, map(attrgetter("line"), rows)), np.int64, len(rows))[of]
        return Chainages(
            rows=of,
            first=np.cumsum(counts) - counts,
            lines=lines,
            held=self._marks.held[lines],
            lengths=np.fromiter(chain.from_iterable(every), float, len(of)),
            sds=numbers(rows, "chainage_sd")[of],
            foot_sds=numbers(rows, "foot_sd")[of],
            at_stations={n: name for n, name in enumerate(chain.from_iterable(at_stations)) if name is not None},
        )

    @cached_property
    def feet(self) -> Feet:
        """Return where those chainages lie; nowhere (NaN) on a piece whose ends are not solved."""
        marks, read, index = self._marks, self.chainages, self.solution.index
        positions = np.vstack((self.solution.positions, [np.nan, np.nan]))
        piece = _pieces(marks, read.lines, read.lengths)
        ends = np.stack((marks.stations[piece], marks.stations[piece + 1]), axis=1)
        begin, length = marks.chainages[piece], marks.chainages[piece + 1] - marks.chainages[piece]
        within = read.lengths - begin
        sd = np.hypot(read.sds, read.foot_sds)
        for place, station in read.at_stations.items():
            # The station itself was taped from: no chainage was read.
            here = index.get(station, -1)
            ends[place] = here, (ends[place, 0] if here == ends[place, 1] else ends[place, 1])
            within[place] = sd[place] = 0.0
        p, q = positions[ends[:, 0]], positions[ends[:, 1]]
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
    names = chain.from_iterable(stops.names for stops in along.values())
    stations = np.array([solution.index.get(name, -1) for name in names], np.int64)
    chainages = np.array(list(chain.from_iterable(stops.chainages for stops in along.values())), float)
    unsolved = np.bincount(np.repeat(np.arange(len(along)), counts), stations < 0, len(along))
    return _Marks(ends - counts, ends - 2, stations, chainages, unsolved == 0)


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
