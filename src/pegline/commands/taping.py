"""Taping on the ground now: how well the tape in hand measures, and a point by distances from others."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from pegline.book.model import Book
from pegline.errors import UsageError
from pegline.measures.spelling import suggest
from pegline.network.quality import MAX_CORRELATION
from pegline.plane import Array, distance
from pegline.records import record
from pegline.reduction.ground import correct_length, reading_sd
from pegline.reduction.model import TapeConstants
from pegline.reduction.tape import Conditions
from pegline.reduction.tape_rack import Rack

__all__ = ["OutlierTest", "TapeInHand", "fixed_by", "outlier_tests", "position_by", "tape_in_hand", "units_towards"]


# -- the tape in hand --------------------------------------------------------------------------------

#: Steps by which a reading is found from a length: each divides the error by thousands.
READING_STEPS = 6


@record(frozen=True, slots=True)
class TapeInHand:
    """A tape with the conditions that it is used under."""

    constants: TapeConstants
    conditions: Conditions

    @property
    def length(self) -> float:
        """Return the whole tape's nominal length, metres."""
        return self.constants.nominal

    @property
    def scale_sd(self) -> float:
        """Return the standard deviation of its scale, metres a metre."""
        return self.constants.scale_sd

    def sd(self, length: float) -> float:
        """Return the standard deviation of one taped length, its scale left out, metres."""
        return reading_sd(length, self.constants, None, "m")

    def reads(self, length: float) -> float:
        """Return what the tape should read for a length on the ground, metres: its corrections undone."""
        reading = length
        for _ in range(READING_STEPS):
            reading -= correct_length(reading, self.conditions, self.constants)[0] - length
        return reading

    def covariance(self, lengths: Array) -> Array:
        """Return the covariance (n, n) of lengths (n,) taped with it, what they share by its scale included."""
        spread: Array = np.diag([self.sd(float(each)) ** 2 for each in lengths]) + self.scale_sd**2 * np.outer(
            lengths, lengths
        )
        return spread


def tape_in_hand(
    book: Book,
    name: str | None = None,
    *,
    used_for: str = "offsets",
    day: datetime.date | None = None,
    temperature: float | None = None,
    pull: float | None = None,
) -> TapeInHand:
    """Return a tape of the book: the one named, else the one that the book uses.

    Raises
    ------
    UsageError
        The book has no such tape, or it lacks what a correction needs.
    """
    if name is not None and name not in book.tapes:
        raise UsageError(f"no tape {name!r} in the book{suggest(name, list(book.tapes))}")
    rack = Rack(book)
    constants = rack.tape(name or (book.offset_tape if used_for == "offsets" else book.line_tape), used_for)
    conditions = rack.standard(constants, day or book.date)
    if temperature is not None or pull is not None:
        conditions = replace(conditions, temperature=temperature, pull=pull)
    return TapeInHand(constants, conditions)


# -- a point by distances from others ----------------------------------------------------------------

#: Gauss-Newton steps from a first position some metres off.
MAX_FIX_STEPS: Final = 25

#: A determinant of the normal matrix below this share of its largest entry squared fixes nothing.
FLAT_SHARE: Final = 1e-9


class OutlierTest(NamedTuple):
    """Differences tested one by one, each against all the others."""

    tests: Array  #: (n,) difference over its standard deviation; nan where it was left out
    blamed: tuple[int, ...]  #: those that do not agree, the worst first
    together: tuple[int, ...]  #: those that cannot be told from the first of them, itself included


def units_towards(point: Array, anchors: Array) -> Array:
    """Return the unit vectors (n, 2) from anchors (n, 2) to a point."""
    away = point - anchors
    vectors: Array = away / np.maximum(distance(anchors, point), 1e-9)[:, None]
    return vectors


def fixed_by(units: Array, covariance: Array) -> Array | None:
    """Return the covariance (2, 2) of a point that is fixed by distances along unit vectors (n, 2).

    With A the unit vectors, P the inverse of the variances and Σ the whole covariance of the distances:

        N = A' P A,   C = N⁻¹ A' P Σ P A N⁻¹

    The distances are weighed by their own variances, as somebody does who takes the middle of the figure that
    three arcs make; what they have in common, such as the scale of a tape, is in Σ all the same. None where they
    fix no point.

    Examples
    --------
    >>> fixed_by(np.array([[1.0, 0.0], [0.0, 1.0]]), np.diag([4.0, 9.0])).tolist()
    [[4.0, 0.0], [0.0, 9.0]]
    """
    weights = 1 / np.diag(covariance)
    normal = units.T @ (weights[:, None] * units)
    if np.linalg.det(normal) <= FLAT_SHARE * normal.max() ** 2:
        return None
    gain = np.linalg.solve(normal, units.T * weights)
    spread: Array = gain @ covariance @ gain.T
    return spread


def position_by(anchors: Array, distances: Array, variances: Array, near: Array) -> Array:
    """Return the point (2,) that fits distances from anchors best, near a first position.

    Two distances are met exactly where their arcs meet, and as nearly as can be where they do not.

    >>> ends = np.array([[0.0, 0.0], [50.0, 0.0]])
    >>> position_by(ends, np.array([40.0, 30.0]), np.ones(2), np.array([30.0, 30.0])).round(9).tolist()
    [32.0, 24.0]
    """
    point = np.array(near, dtype=float)
    for _ in range(MAX_FIX_STEPS):
        units = units_towards(point, anchors)
        missing = distances - distance(anchors, point)
        normal = units.T @ (units / variances[:, None])
        move = np.linalg.lstsq(normal, units.T @ (missing / variances), rcond=1e-12)[0]
        point = point + move
        if np.hypot(*move) < 1e-10:
            break
    return point


def outlier_tests(differences: Array, covariance: Array, critical: float) -> OutlierTest:
    """Test each of n differences against all the others, and name those that do not agree.

    Were only the i-th wrong, its error would be found best from all of them together, with W the covariance:

        T = (W⁻¹ d)ᵢ / √(W⁻¹)ᵢᵢ

    which is a standard normal where nothing is wrong. The worst beyond the critical value is left out and the
    others are tested again, until they agree.

    References
    ----------
    W. Baarda, A testing procedure for use in geodetic networks, 1968 (the w-test, from memory).
    """
    tests = np.full(len(differences), np.nan)
    remaining = list(range(len(differences)))
    blamed: list[int] = []
    together: tuple[int, ...] = ()
    while remaining:
        inverse = np.linalg.inv(covariance[np.ix_(remaining, remaining)])
        statistics = inverse @ differences[remaining] / np.sqrt(np.diag(inverse))
        tests[remaining] = statistics
        worst = int(np.argmax(np.abs(statistics)))
        if abs(statistics[worst]) <= critical:
            break
        if not blamed:
            together = _together(np.asarray(inverse), worst, remaining)
        blamed.append(remaining.pop(worst))
    return OutlierTest(tests, tuple(blamed), together)


def _together(inverse: Array, worst: int, numbers: Sequence[int]) -> tuple[int, ...]:
    """Return which tests correlate with the worst so closely that they cannot be told from it."""
    sizes = np.sqrt(np.diag(inverse))
    correlations = np.abs(inverse[worst] / sizes / sizes[worst])
    return tuple(number for number, r in zip(numbers, correlations, strict=True) if r > MAX_CORRELATION)
