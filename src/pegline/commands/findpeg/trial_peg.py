"""A trial peg: how far it stands from where the peg was, by distances from things that both were measured from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np

from pegline.commands.findpeg.model import Move, WitnessResult
from pegline.commands.positions import Positions
from pegline.commands.taping import OutlierTest, TapeInHand, outlier_tests, position_by, units_towards
from pegline.network.critical_value import sidak
from pegline.plane import Array, bearing, distance, wrap_angle

__all__ = ["Trial", "try_peg"]

ENOUGH_DISTANCES: Final = 3  #: distances that check one another
ANYWHERE: Final = 100.0  #: how far off a trial peg may stand, metres: large beside any tape's error
MIN_DISTANCE: Final = 1.0  #: nothing nearer to the peg than this shows a way, metres


class Trial(NamedTuple):
    """What the distances from a trial peg say."""

    move: Move | None  #: None where they say nothing of the way, or disagree and it is not clear which is wrong
    differences: dict[str, float]  #: what each should be less what was measured, metres
    blamed: tuple[str, ...]  #: those that do not agree with the others
    unclear: tuple[str, ...]  #: those of which one does not agree, and nothing tells which


class _Distances(NamedTuple):
    """Distances that should be and that were found, from the same anchors."""

    near: Array  #: (2,) where the peg is about
    anchors: Array  #: (n, 2)
    should: Array  #: (n,) in the frame, metres
    found: Array  #: (n,)

    def of(self, numbers: Sequence[int]) -> _Distances:
        """Return some of them."""
        rows = list(numbers)
        return _Distances(self.near, self.anchors[rows], self.should[rows], self.found[rows])

    def ends(self) -> tuple[Array, Array]:
        """Return where the peg was and where the trial peg stands."""
        ones = np.ones(len(self.anchors))
        return position_by(self.anchors, self.should, ones, self.near), position_by(
            self.anchors, self.found, ones, self.near
        )

    def move(self) -> Array:
        """Return the way (2,) from the trial peg to where the peg was; along the tape where there is one distance."""
        if len(self.anchors) == 1:
            return np.asarray((self.should - self.found) @ units_towards(self.near, self.anchors))
        peg, trial = self.ends()
        return np.asarray(peg - trial)


def try_peg(
    positions: Positions,
    peg: str,
    tape: TapeInHand,
    witnesses: Sequence[WitnessResult],
    measured: Mapping[str, float],
) -> Trial:
    """Return what distances measured at a trial peg say.

    Parameters
    ----------
    measured
        On the ground, metres, by what they were measured from.
    """
    by_name = {witness.object: witness for witness in witnesses}
    expected = {
        name: by_name[name].distance if name in by_name else _computed_value(positions, name, peg) for name in measured
    }
    differences = {name: expected[name] - there for name, there in measured.items()}
    names = [
        name
        for name in measured
        if positions.point_behind(name) and (name not in by_name or by_name[name].agrees is not False)
    ]
    if not names:
        return Trial(None, differences, (), ())
    distances = _Distances(
        positions.of(peg),
        positions.all([positions.require(name) for name in names]),
        *(np.array([values[name] for name in names]) * positions.scale for values in (expected, measured)),
    )
    if len(names) < ENOUGH_DISTANCES:
        return Trial(_round_move(positions, peg, distances.move()), differences, (), ())
    outliers = _outliers(positions, tape, distances)
    if outliers.blamed and len(outliers.together) > 1:
        return Trial(None, differences, (), tuple(names[i] for i in outliers.together))
    sound = distances.of([i for i in range(len(names)) if i not in outliers.blamed])
    blamed = tuple(names[i] for i in outliers.blamed)
    return Trial(_round_move(positions, peg, sound.move()), differences, blamed, ())


def _computed_value(positions: Positions, name: str, peg: str) -> float:
    there = positions.of(positions.require(name))
    return float(distance(there, positions.of(peg))) / positions.scale


def _outliers(positions: Positions, tape: TapeInHand, distances: _Distances) -> OutlierTest:
    """Test the distances of a trial peg against one another, wherever it stands."""
    peg, trial = distances.ends()
    left_over = (distances.should - distance(distances.anchors, peg)) - (
        distances.found - distance(distances.anchors, trial)
    )
    units = units_towards(peg, distances.anchors)
    spread = 2 * tape.covariance(distances.should) + ANYWHERE**2 * units @ units.T
    significance = positions.survey.book.limits.significance
    critical = max(NormalDist().inv_cdf(1 - significance / 2), sidak(len(units)))
    return outlier_tests(left_over, np.asarray(spread), critical)


def _round_move(positions: Positions, peg: str, vector: Array) -> Move:
    """Return a move on the ground with what it leads to most nearly."""
    at, way = positions.of(peg), float(bearing(np.zeros(2), vector))
    named = [name for name in positions.names if distance(positions.of(name), at) > MIN_DISTANCE]
    aside = {name: float(wrap_angle(way - bearing(at, positions.of(name)))) for name in named}
    toward = min(aside, key=lambda name: abs(aside[name]), default=None)
    return Move(float(np.hypot(*vector)) / positions.scale, way, toward, aside[toward] if toward else 0.0)
