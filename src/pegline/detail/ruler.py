"""What turns the chainages and lengths of a reduction into the frame, with all that they owe to the solution."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.frame.model import Frame
from pegline.network.model import Array, Solution
from pegline.network.observe import RANGING_SD, Stops, stops
from pegline.plane import distance
from pegline.reduction.model import Ground, ReducedRow, Reduction

__all__ = ["Arms", "Feet", "Ruler", "coordinates"]


class Feet(NamedTuple):
    """Chainages of rows on the pieces of their lines, in the frame."""

    ends: NDArray[np.int64]  #: (m, 2) rows of the solution at the two ends of the piece
    share: Array  #: (m, 1) of the piece that lies before the chainage
    unit: Array  #: (m, 2) along the piece
    length: Array  #: (m, 1) of the piece
    points: Array  #: (m, 2)
    sd: Array  #: (m, 1) of the chainage and of setting out the right angle


class Arms(NamedTuple):
    """Offsets of rows in the frame; 0 on the line itself."""

    lengths: Array  #: (m, 1), never negative
    sd: Array  #: (m, 1)
    scale: NDArray[np.int64]  #: (m,) the parameter of the tape's scale
    by_scale: Array  #: (m, 1) what the length changes by when the tape reads longer by 1


NO_ARMS: Final = Arms(np.zeros((0, 1)), np.zeros((0, 1)), np.zeros(0, np.int64), np.zeros((0, 1)))


class Ruler:
    """What turns chainages and lengths on the ground into the frame."""

    def __init__(self, reduction: Reduction, frame: Frame, solution: Solution) -> None:
        self.frame, self.solution, self.scale = frame, solution, frame.scale
        self.along: Mapping[str, Stops] = stops(reduction)
        #: Lines whose stations are all solved.
        self.held = {line for line, found in self.along.items() if all(name in solution.index for name in found.names)}
        self.unknown = 2 * len(solution.names)
        self.tapes = {tape: i for i, tape in enumerate(solution.tapes)}
        self.priors = {name: tape.scale_sd for name, tape in reduction.tapes.items() if name not in self.tapes}

    def feet(self, rows: Sequence[ReducedRow], arm: int = 0) -> Feet:
        """Return where one chainage of each row lies."""
        index = self.solution.index
        found = []
        for row in rows:
            start, end, within, length = self.along[row.line].piece(row.chainages[arm])
            station, sd = row.at_stations[arm], hypot(row.chainage_sd, row.foot_sd)
            if station is not None:
                # The station itself was taped from: no chainage was read.
                start, end, within, sd = station, (start if station == end else end), 0.0, 0.0
            found.append((index[start], index[end], within, length, sd))
        table = np.array(found, dtype=float).reshape(-1, 5)
        ends = table[:, :2].astype(np.int64)
        p, q = self.solution.positions[ends[:, 0]], self.solution.positions[ends[:, 1]]
        apart = distance(p, q)[:, None]
        share, stretch = table[:, 2:3] / table[:, 3:4], apart / table[:, 3:4]
        return Feet(ends, share, (q - p) / apart, apart, p + share * (q - p), table[:, 4:5] * stretch)

    def arms(self, grounds: Sequence[Ground | None]) -> Arms:
        """Return offsets in the frame, with what they owe to the scale of their tapes.

        The scale of a tape that the solution does not know goes into the offset's own standard deviation.
        """
        if not grounds:
            return NO_ARMS
        scales = self.solution.scales.tolist()
        found = []
        for ground in grounds:
            if ground is None:
                found.append((0.0, RANGING_SD * self.scale, self.unknown, 0.0))
                continue
            tape = self.tapes.get(ground.tape)
            factor = self.scale if tape is None else self.scale / (1 + scales[tape])
            length, prior = ground.length * factor, self.priors.get(ground.tape, 0.0)
            sd = hypot(ground.sd * factor, prior * length)
            by_scale = 0.0 if tape is None else -length * factor / self.scale
            found.append((length, sd, self.unknown + (tape or 0), by_scale))
        table = np.array(found, dtype=float).reshape(-1, 4)
        # Without any tape the number points at nothing; its column of the jacobian is 0.
        scale = table[:, 2].astype(np.int64) if scales else np.zeros(len(table), dtype=np.int64)
        return Arms(table[:, 0:1], table[:, 1:2], scale, table[:, 3:4])


def coordinates(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the parameters (m, 2 k) of points given as rows (m, k) of a solution."""
    return np.stack((2 * rows, 2 * rows + 1), axis=-1).reshape(len(rows), 2 * rows.shape[1])
