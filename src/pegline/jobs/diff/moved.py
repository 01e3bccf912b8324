"""Which pegs have moved between two measurings of one place, and by how much: laid over each other and tested."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt
from typing import Final

import numpy as np

from pegline.network.model import Array
from pegline.plane import left_of, turned

__all__ = ["Comparison", "Measured", "Peg", "compared", "laid", "limit"]

#: Two pegs either of which may have moved are told apart when the odds are better than this.
ODDS: Final = 20.0
#: Readings to the hundredth of a millimetre are as good as any, metres.
FINEST: Final = 1e-5
#: How freely one survey may be laid over the other, in its own standard deviations.
FREE: Final = 1e4


@dataclass(frozen=True, slots=True)
class Measured:
    """Stations as one survey gives them, on the ground."""

    names: tuple[str, ...]  #: n stations
    positions: Array  #: (n, 2) about any origin, in any direction, metres
    covariance: Array  #: (2 n, 2 n) square metres

    def only(self, names: Sequence[str]) -> Measured:
        """Return some of the stations, in the order given."""
        index = {name: i for i, name in enumerate(self.names)}
        rows = np.array([index[name] for name in names], dtype=np.int64)
        both = np.stack((2 * rows, 2 * rows + 1), axis=1).ravel()
        return Measured(tuple(names), self.positions[rows], self.covariance[np.ix_(both, both)])


@dataclass(frozen=True, slots=True)
class Peg:
    """A station of both surveys."""

    name: str
    difference: tuple[
        float, float
    ]  #: new less old along the old survey's x and y, relative to the pegs that stand, metres
    limit: float  #: what measuring alone may bring in the worst direction, metres
    test: float  #: squared difference over its variance: of two degrees of freedom
    verdict: str  #: ``stands``, ``moved``, or ``may have moved``: it or another, which cannot be told

    @property
    def distance(self) -> float:
        """Return how far the peg lies from where it was, metres."""
        return sqrt(self.difference[0] ** 2 + self.difference[1] ** 2)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two surveys laid over each other."""

    pegs: tuple[Peg, ...]
    shift: tuple[float, float]  #: of the new survey to lie on the old one, metres
    turn: float  #: and the angle it is turned by, clockwise, radians
    centre: tuple[float, float]  #: of the new survey's pegs, about which it is turned, metres


def limit(count: int, significance: float) -> float:
    """Return what the test value of a peg that stands stays under.

    A test value of two degrees of freedom is above t by chance with probability exp(-t / 2); 5 % for
    all pegs together, and never more than the significance for one.

    >>> round(limit(5, 0.001), 2)
    13.82
    """
    return -2 * log(min(significance, 0.05 / max(count, 1)))


def laid(old: Array, new: Array, stable: Sequence[int]) -> tuple[Array, Comparison]:
    """Return the new positions shifted and turned onto the old ones by the stable pegs, and how they were moved.

    The turn is that of least squares: tan φ = Σ a × b / Σ a · b about the centres.
    """
    here, there = new[list(stable)].mean(axis=0), old[list(stable)].mean(axis=0)
    a, b = new[list(stable)] - here, old[list(stable)] - there
    angle = np.arctan2((a[:, 1] * b[:, 0] - a[:, 0] * b[:, 1]).sum(), (a * b).sum())
    shift = there - here
    moved = turned(new - here, angle) + there
    told = Comparison((), (float(shift[0]), float(shift[1])), float(angle), (float(here[0]), float(here[1])))
    return moved, told


def compared(old: Measured, new: Measured, *, significance: float = 0.001) -> Comparison | None:
    """Return what became of the pegs that both surveys have; None for fewer than two.

    All pegs are taken to stand at first. The one that fits least is taken out as long as its test
    fails; where the odds between it and others are under 20 to 1, they are all named. What one
    survey's frame holds is no matter: each may be shifted and turned as a whole.

    References
    ----------
    The test of single points of a deformation network, one after another: from memory.
    """
    names = tuple(name for name in old.names if name in set(new.names))
    if len(names) < 2:
        return None
    old, new = old.only(names), new.only(names)
    stable, moved, doubtful = list(range(len(names))), set[int](), set[int]()
    highest = limit(len(names), significance)
    while len(stable) > 1:
        tests = {i: found[2] for i, found in _pegs(old, new, stable).items() if i in stable}
        worst = max(tests.values())
        if worst <= highest:
            break
        group = {i for i, test in tests.items() if worst - test < 2 * log(ODDS)}
        (moved if len(group) == 1 else doubtful).update(group)
        stable = [i for i in stable if i not in group]
    held = stable if len(stable) > 1 else list(range(len(names)))
    _, told = laid(old.positions, new.positions, held)
    verdicts = {**dict.fromkeys(moved, "moved"), **dict.fromkeys(doubtful, "may have moved")}
    pegs = tuple(
        Peg(
            names[i],
            (float(difference[0]), float(difference[1])),
            sqrt(highest * float(np.linalg.eigvalsh(variance)[-1])),
            test,
            verdicts.get(i, "stands"),
        )
        for i, (difference, variance, test) in sorted(_pegs(old, new, held).items())
    )
    return Comparison(pegs, told.shift, told.turn, told.centre)


def _pegs(old: Measured, new: Measured, stable: Sequence[int]) -> dict[int, tuple[Array, Array, float]]:
    """Return for each peg its difference against the other stable pegs, the variance of that, and its test value.

    With d the differences of all and Q their covariance, what the others S foretell of peg i is

        d̂ᵢ = Qᵢₛ Qₛₛ⁻¹ dₛ,   of variance Qᵢᵢ - Qᵢₛ Qₛₛ⁻¹ Qₛᵢ
    """
    over, told = laid(old.positions, new.positions, stable)
    difference = (over - old.positions).ravel()
    covariance = _covariance(old, new, told.turn)
    found = {}
    for i in range(len(old.names)):
        own = [2 * i, 2 * i + 1]
        others = [row for j in stable if j != i for row in (2 * j, 2 * j + 1)]
        # Solved with the whole matrix where only one peg is left beside this one: it still gives the distance.
        weights = np.linalg.solve(covariance[np.ix_(others, others)], covariance[np.ix_(others, own)])
        left = difference[own] - weights.T @ difference[others]
        variance = covariance[np.ix_(own, own)] - weights.T @ covariance[np.ix_(others, own)]
        variance = (variance + variance.T) / 2
        found[i] = (left, variance, float(left @ np.linalg.solve(variance, left)))
    return found


def _covariance(old: Measured, new: Measured, turn: float) -> Array:
    """Return the covariance of the differences, with the new survey turned and both free to shift and turn."""
    count = len(old.names)
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.kron(np.eye(count), np.array([[c, s], [-s, c]]))
    covariance = old.covariance + rotation @ new.covariance @ rotation.T + FINEST**2 * np.eye(2 * count)
    away = old.positions - old.positions.mean(axis=0)
    around = left_of(away / max(float(np.hypot(away[:, 0], away[:, 1]).max()), 1e-9)).ravel()
    freely = FREE**2 * float(np.diag(covariance).mean())
    free = np.stack((np.tile([1.0, 0.0], count), np.tile([0.0, 1.0], count), around))
    return np.asarray(covariance + freely * free.T @ free)
