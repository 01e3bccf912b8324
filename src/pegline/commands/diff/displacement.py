"""Which pegs have moved between two measurings of one place, and by how much: laid over each other and tested."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import log, sqrt
from statistics import NormalDist
from typing import Final, Literal

import numpy as np

from pegline.plane import Array, left_of, turn_points
from pegline.records import record

__all__ = [
    "Comparison",
    "Measured",
    "Movement",
    "Peg",
    "Stretch",
    "compare_distances",
    "compare_pegs",
    "lay_on_old",
    "limit",
]

#: Two pegs either of which may have moved are told apart when the odds are better than this.
ODDS: Final = 20.0
#: Readings to the hundredth of a millimetre are as good as any, metres.
FINEST_READING: Final = 1e-5
#: A test value below this says that nothing differs.
NOTHING: Final = 1e-9
#: A direction of so much less weight than another has none.
LIGHTEST: Final = 1e-10

#: ``may have moved``: it or another one; ``open``: too few agree to say it of any peg.
Movement = Literal["unmoved", "moved", "may have moved", "open"]


@record(frozen=True, slots=True)
class Measured:
    """Stations as one survey gives them, on the ground."""

    names: tuple[str, ...]  #: n stations
    positions: Array  #: (n, 2) about any origin, in any direction, metres
    covariance: Array  #: (2 n, 2 n) square metres

    def only(self, names: Sequence[str]) -> Measured:
        """Return some of the stations, in the order given."""
        index = {name: i for i, name in enumerate(self.names)}
        rows = [index[name] for name in names]
        both = _rows(rows)
        return Measured(tuple(names), self.positions[rows], self.covariance[np.ix_(both, both)])


@record(frozen=True, slots=True)
class Peg:
    """A station of both surveys."""

    name: str
    #: New less old along the old survey's x and y, relative to the other pegs that stand, metres.
    difference: tuple[float, float]
    limit: float  #: what measuring alone may bring in that direction, metres
    movement: Movement
    partner: str | None = None  #: the only other peg that stands, where the distance to it is all that can be tested

    @property
    def distance(self) -> float:
        """Return how far the peg lies from where it was, metres."""
        return sqrt(self.difference[0] ** 2 + self.difference[1] ** 2)


@record(frozen=True, slots=True)
class Stretch:
    """A distance between two pegs that has changed by more than measuring explains."""

    start: str
    end: str
    longer: float  #: new less old, metres
    limit: float  #: what measuring alone may bring, metres


@record(frozen=True, slots=True)
class Comparison:
    """Two surveys laid over each other."""

    pegs: tuple[Peg, ...]
    shift: tuple[float, float]  #: of the new survey to lie on the old one, metres
    turn: float  #: and the angle it is turned by, clockwise, radians
    centre: tuple[float, float]  #: of the new survey's pegs, about which it is turned, metres
    stretches: tuple[Stretch, ...] = ()  #: where nothing can be told of single pegs, worst first

    def over(self, points: Array) -> Array:
        """Return points of the new survey (n, 2) laid over the old one."""
        centre, shift = np.array(self.centre), np.array(self.shift)
        return np.asarray(turn_points(points - centre, self.turn) + centre + shift)

    @property
    def tells_pegs(self) -> bool:
        """Return whether enough pegs agree to tell of each whether it moved."""
        return all(peg.movement != "open" for peg in self.pegs)


@record(frozen=True, slots=True)
class _Found:
    """One peg against others."""

    difference: Array  #: (2,)
    widest: float  #: standard deviation in the worst direction, metres
    test: float
    highest: float  #: what the test value of a peg that stands stays under

    @property
    def fails(self) -> bool:
        return self.test > self.highest

    @property
    def limit(self) -> float:
        """Return what measuring alone may bring in the direction of the difference, metres."""
        if self.test <= NOTHING:
            return self.widest * sqrt(self.highest)
        return float(np.hypot(*self.difference)) * sqrt(self.highest / self.test)


def limit(count: int, significance: float, freedom: Literal[1, 2] = 2) -> float:
    """Return what the test value of a peg that stands stays under.

    A test value of two degrees of freedom is above t by chance with probability exp(-t / 2), one of a
    single degree is the square of a normal deviate; 5 % for all pegs together, and never more than the
    significance for one.

    >>> round(limit(5, 0.001), 2), round(limit(5, 0.001, 1), 2)
    (13.82, 10.83)
    """
    chance = min(significance, 0.05 / max(count, 1))
    return -2 * log(chance) if freedom == 2 else NormalDist().inv_cdf(chance / 2) ** 2


def lay_on_old(old: Array, new: Array, stable: Sequence[int]) -> tuple[Array, Comparison]:
    """Return the new positions shifted and turned onto the old ones by the stable pegs, and how they were moved.

    The turn is that of least squares: tan φ = Σ a × b / Σ a · b about the centres.
    """
    here, there = new[list(stable)].mean(axis=0), old[list(stable)].mean(axis=0)
    a, b = new[list(stable)] - here, old[list(stable)] - there
    angle = np.arctan2((a[:, 1] * b[:, 0] - a[:, 0] * b[:, 1]).sum(), (a * b).sum())
    shift = there - here
    laid_on_old = turn_points(new - here, angle) + there
    comparison = Comparison((), (float(shift[0]), float(shift[1])), float(angle), (float(here[0]), float(here[1])))
    return laid_on_old, comparison


def compare_pegs(old: Measured, new: Measured, *, significance: float = 0.001) -> Comparison | None:
    """Return what became of the pegs that both surveys have; None for fewer than two.

    All pegs are taken to stand at first. The one that fits the others least is taken out as long as its
    test fails. Where the odds between it and others are under 20 to 1, each is tried alone against the
    rest: those that do not fit it have moved; where each of them fits, they do not fit one another, and
    all are named. What one survey's frame holds is no matter: each may be shifted and turned as a whole.

    Only more pegs than have gone are witnesses enough: where half or fewer would stand, nothing is
    told, only which distances between pegs have changed.

    References
    ----------
    The test of single points of a deformation network, one after another: from memory.
    """
    old, new = _common_stations(old, new)
    names = old.names
    if len(names) < 2:
        return None
    stable = _stable_pegs(old, new, significance)
    if not stable:
        return _untold(old, new, significance)
    _, over = lay_on_old(old.positions, new.positions, stable)
    tests = _test_pegs(old, new, stable, range(len(names)), significance)
    pegs = []
    for i, each in tests.items():
        movement: Movement = "unmoved" if i in stable else "moved" if each.fails else "may have moved"
        partner = next(names[j] for j in stable if j != i) if i in stable and len(stable) == 2 else None
        pegs.append(Peg(names[i], _pair(each.difference), each.limit, movement, partner))
    return Comparison(tuple(pegs), over.shift, over.turn, over.centre)


def compare_distances(old: Measured, new: Measured, *, significance: float = 0.001) -> Comparison | None:
    """Return which distances differ between pegs that both surveys have; None for fewer than two pegs."""
    old, new = _common_stations(old, new)
    return _untold(old, new, significance) if len(old.names) > 1 else None


def _common_stations(old: Measured, new: Measured) -> tuple[Measured, Measured]:
    """Return the stations that both have, in the order of the old ones."""
    new_names = set(new.names)
    names = [name for name in old.names if name in new_names]
    return old.only(names), new.only(names)


def _stable_pegs(old: Measured, new: Measured, significance: float) -> list[int]:
    """Return the rows of the pegs that stand; none where it cannot be told."""
    stable = list(range(len(old.names)))
    while True:
        tests = _test_pegs(old, new, stable, stable, significance)
        worst = max(tests[i].test for i in stable)
        if not any(tests[i].fails for i in stable):
            return stable
        group = [i for i in stable if worst - tests[i].test < 2 * log(ODDS)]
        rest = [i for i in stable if i not in group]
        alone = _test_pegs(old, new, rest, group, significance) if len(rest) > 1 else {}
        gone = [i for i, each in alone.items() if each.fails] or group
        stable = [i for i in stable if i not in gone]
        if 2 * len(stable) <= len(old.names):
            return []


def _test_pegs(
    old: Measured, new: Measured, stable: Sequence[int], numbers: Iterable[int], significance: float
) -> dict[int, _Found]:
    """Return for each peg asked for how it lies to the other pegs that stand.

    With d the differences of the stable pegs and the one in question, Q their covariance and H what
    shifts and turns them as a whole, the weights that leave shift and turn free are

        P = Q⁻¹ - Q⁻¹ H (H' Q⁻¹ H)⁻¹ H' Q⁻¹

    and the peg differs from where the others put it by Pᵢᵢ⁻¹ (P d)ᵢ, of variance Pᵢᵢ⁻¹. One peg alone puts
    another nowhere: only their distance can be tested, which has a single degree of freedom.
    """
    over, comparison = lay_on_old(old.positions, new.positions, stable)
    difference = (over - old.positions).ravel()
    covariance = _covariance(old, new, comparison.turn)
    if len(stable) == 2:
        only = _distance(old, difference, covariance, stable, limit(len(old.names), significance, 1))
    highest = limit(len(old.names), significance)
    among = _weights(old.positions, covariance, stable) if len(stable) > 2 else None
    tests = {}
    for i in numbers:
        if i in stable and len(stable) == 2:
            tests[i] = only
            continue
        group = list(stable) if i in stable else [*stable, i]
        weights = among if i in stable and among is not None else _weights(old.positions, covariance, group)
        own = _rows([group.index(i)])
        # Where others put it in one direction only, the other direction has no weight, and is not tested.
        variance = np.linalg.pinv(weights[np.ix_(own, own)], rcond=LIGHTEST, hermitian=True)
        left = variance @ (weights[own] @ difference[_rows(group)])
        test = max(float(left @ weights[np.ix_(own, own)] @ left), 0.0)
        tests[i] = _Found(left, sqrt(float(np.linalg.eigvalsh(variance)[-1])), test, highest)
    return tests


def _distance(old: Measured, difference: Array, covariance: Array, two: Sequence[int], highest: float) -> _Found:
    """Return how two pegs lie to each other: by their distance, the only thing that shift and turn leave."""
    one, other = two
    away = _direction(old.positions[other] - old.positions[one])
    gradient = np.concatenate([-away, away])
    rows = _rows([one, other])
    longer = float(gradient @ difference[rows])
    variance = float(gradient @ covariance[np.ix_(rows, rows)] @ gradient)
    return _Found(longer * away, sqrt(variance), longer**2 / variance, highest)


def _untold(old: Measured, new: Measured, significance: float) -> Comparison:
    """Return a comparison of distances alone: those that have changed need no peg that stands."""
    every = list(range(len(old.names)))
    over, comparison = lay_on_old(old.positions, new.positions, every)
    pegs = tuple(
        Peg(name, _pair(difference), 0.0, "open")
        for name, difference in zip(old.names, over - old.positions, strict=True)
    )
    return Comparison(
        pegs, comparison.shift, comparison.turn, comparison.centre, _stretches(old, new, comparison.turn, significance)
    )


def _stretches(old: Measured, new: Measured, turn: float, significance: float) -> tuple[Stretch, ...]:
    one, other = np.triu_indices(len(old.names), 1)
    was, now = (each.positions[other] - each.positions[one] for each in (old, new))
    longer = np.hypot(*now.T) - np.hypot(*was.T)
    away = _direction(was)
    rows = np.stack([2 * one, 2 * one + 1, 2 * other, 2 * other + 1], axis=1)
    gradients = np.concatenate([-away, away], axis=1)
    blocks = _covariance(old, new, turn)[rows[:, :, None], rows[:, None, :]]
    variances = np.einsum("ni,nij,nj->n", gradients, blocks, gradients)
    limits = np.sqrt(variances * limit(len(longer), significance, 1))
    order = np.argsort(-np.abs(longer) / limits, kind="stable")
    return tuple(
        Stretch(old.names[one[n]], old.names[other[n]], float(longer[n]), float(limits[n]))
        for n in order
        if abs(longer[n]) > limits[n]
    )


def _weights(positions: Array, covariance: Array, group: Sequence[int]) -> Array:
    """Return the weights of the differences of some pegs, which may be shifted and turned as a whole."""
    away = positions[group] - positions[group].mean(axis=0)
    around = left_of(away / max(float(np.hypot(*away.T).max()), NOTHING)).ravel()
    count, rows = len(group), _rows(group)
    free = np.stack((np.tile([1.0, 0.0], count), np.tile([0.0, 1.0], count), around), axis=1)
    inverse = np.linalg.inv(covariance[np.ix_(rows, rows)])
    part = inverse @ free
    return np.asarray(inverse - part @ np.linalg.solve(free.T @ part, part.T))


def _covariance(old: Measured, new: Measured, turn: float) -> Array:
    """Return the covariance of the differences, with the new survey turned."""
    count = len(old.names)
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.kron(np.eye(count), np.array([[c, s], [-s, c]]))
    return np.asarray(old.covariance + rotation @ new.covariance @ rotation.T + FINEST_READING**2 * np.eye(2 * count))


def _direction(away: Array) -> Array:
    """Return unit vectors; along x where two pegs are one, since any will do there."""
    length = np.hypot(away[..., 0], away[..., 1])[..., None]
    return np.where(length > NOTHING, away / np.maximum(length, NOTHING), (1.0, 0.0))


def _rows(numbers: Sequence[int]) -> Array:
    """Return the rows of x and y of stations."""
    own = np.array(numbers, dtype=np.int64)
    return np.asarray(np.stack((2 * own, 2 * own + 1), axis=1).ravel())


def _pair(difference: Array) -> tuple[float, float]:
    return float(difference[0]), float(difference[1])
