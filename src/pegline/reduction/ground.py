"""From readings to one length on the ground: each corrected, then their mean, or the sum of a line's legs.

The χ² distribution stands here too: it says whether readings of one length lie too far apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product
from math import erfc, exp, fsum, gamma, sqrt
from statistics import NormalDist
from typing import Final

from pegline.measures.values import Accuracy, Reading
from pegline.reduction.model import Ground, TapeConstants
from pegline.reduction.tape import CORRECTIONS, PLAIN_CONDITIONS, Conditions, lays

__all__ = [
    "DOUBT",
    "chi2_exceeded",
    "correct_length",
    "mean_of_readings",
    "missing_constants",
    "reading_sd",
    "reduce_reading",
    "spread_limit",
    "spread_passes",
    "sum_of_legs",
]


def chi2_exceeded(value: float, freedom: int) -> float:
    """Return the probability that χ² of so many degrees of freedom exceeds a value.

    In closed form, with x the value and n the freedom:

        n even:  e^(-x/2) Σ (x/2)^i / i!,  i = 0 … n/2 - 1
        n odd:   erfc √(x/2) + e^(-x/2) Σ (x/2)^i / Γ(i + 1),  i = 1/2, 3/2 … n/2 - 1

    Beyond 300 degrees the cube root of x/n is taken as normal (within 1e-4).

    Parameters
    ----------
    value
        The sum of squares.
    freedom
        Degrees of freedom, one at least.

    References
    ----------
    M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 26.4.4 and 26.4.5, and 26.4.14 for the cube root
    (from memory).

    Examples
    --------
    >>> round(chi2_exceeded(3.841458820694124, 1), 6), round(chi2_exceeded(5.991464547107979, 2), 6)
    (0.05, 0.05)
    """
    half = value / 2
    if freedom > 300:
        mean, sd = 1 - 2 / (9 * freedom), sqrt(2 / (9 * freedom))
        return erfc(((value / freedom) ** (1 / 3) - mean) / sd / sqrt(2)) / 2
    if freedom % 2:
        total = erfc(sqrt(half))
        term = exp(-half) * sqrt(half) / gamma(1.5) if half else 0.0
        first = 1.5
    else:
        total, term, first = 0.0, exp(-half), 1.0
    for step in range((freedom - freedom % 2) // 2):
        total += term
        term *= half / (first + step)
    return min(1.0, total)


#: Standard deviation of the finest reading of a tape, metres. Common practice.
FINEST_SD = 1e-4
#: By how much a doubtful reading (``~``) is weaker than another.
DOUBT = 3.0
#: What was added to a reading that nothing is to be added to: one for the many of a book.
_NOTHING: Final[Mapping[str, float]] = {}


def correct_length(length: float, conditions: Conditions, tape: TapeConstants) -> tuple[float, Mapping[str, float]]:
    """Return a reading as a level length on the ground, with what each correction added, metres."""
    if conditions is PLAIN_CONDITIONS:
        return length, _NOTHING
    ledger: dict[str, float] = {}
    for correction in CORRECTIONS:
        if correction.asked(conditions) and all(
            getattr(tape, name) is not None for name in correction.needs(conditions)
        ):
            ledger[correction.name] = amount = correction.amount(length, conditions, tape)
            length += amount
    return length, ledger


def missing_constants(conditions: Conditions, tape: TapeConstants) -> list[tuple[str, list[str]]]:
    """Return each correction that was asked for but cannot be made, with the constants that the tape lacks."""
    if conditions is PLAIN_CONDITIONS:
        return []
    asked = (
        (c.name, c.needs(conditions)) for c in CORRECTIONS if c.asked(conditions) and not c.nought(conditions, tape)
    )
    lacking = ((name, [need for need in needs if getattr(tape, need) is None]) for name, needs in asked)
    return [(name, needs) for name, needs in lacking if needs]


def reading_sd(length: float, tape: TapeConstants, accuracy: Accuracy | None, unit: str) -> float:
    """Return the standard deviation of one reading without the tape's scale, metres.

    By the tape, or as the book tells for one reading as a whole:

        σ = a √⌈L / tape⌉,   σ = √(fixed² + (per_length L)²)

    Where the book tells only a part that grows with the length, a reading of nought keeps the finest that a tape shows.
    """
    if accuracy is None:
        if abs(length) <= tape.nominal:
            return tape.lay_sd
        return tape.lay_sd * sqrt(lays(length, tape.nominal))
    return sqrt(accuracy.fixed.metres(unit) ** 2 + (accuracy.per_length * length) ** 2) or FINEST_SD


def reduce_reading(
    reading: Reading, unit: str, conditions: Conditions, tape: TapeConstants, accuracy: Accuracy | None = None
) -> Ground:
    """Return one reading on the ground."""
    read = reading.length.metres(unit)
    length, ledger = correct_length(read, conditions, tape)
    sd = reading_sd(read, tape, accuracy, unit)
    if reading.doubtful:
        sd *= DOUBT
    either: tuple[float, ...] = ()
    if reading.either:
        either = tuple(correct_length(option.metres(unit), conditions, tape)[0] for option in reading.either)
    return Ground(read, length, sd, tape.name, reading.place, ledger, 1, either, reading.doubtful)


def mean_of_readings(grounds: Sequence[Ground], scales: Mapping[str, float]) -> Ground:
    """Return the mean of several readings of one length.

    It shares the scale of the tape that taped most of it; the scale of any other tape in it goes
    into its own standard deviation.

    Parameters
    ----------
    grounds
        The readings, one at least.
    scales
        Standard deviation of each tape's scale, metres a metre.
    """
    if len(grounds) == 1:
        return grounds[0]
    return replace(_weighted_mean(grounds, scales, 1 / len(grounds)), count=len(grounds))


def sum_of_legs(legs: Sequence[Ground], scales: Mapping[str, float]) -> Ground:
    """Return a line that was taped in legs: their sum, its scale shared as that of a `mean`."""
    return legs[0] if len(legs) == 1 else _weighted_mean(legs, scales, 1.0)


def _weighted_mean(grounds: Sequence[Ground], scales: Mapping[str, float], weight: float) -> Ground:
    taped: dict[str, float] = {}
    for ground in grounds:
        taped[ground.tape] = taped.get(ground.tape, 0.0) + weight * ground.length
    main = max(taped, key=lambda name: taped[name])
    variance = weight**2 * fsum(g.sd**2 for g in grounds) + fsum(
        (scales[name] * length) ** 2 for name, length in taped.items() if name != main
    )
    names = dict.fromkeys(name for g in grounds for name in g.corrections)
    options: set[float] = set()
    if any(g.either for g in grounds):
        options = {weight * fsum(choice) for choice in product(*(g.either or (g.length,) for g in grounds))}
    return Ground(
        reading=weight * fsum(g.reading for g in grounds),
        length=weight * fsum(g.length for g in grounds),
        sd=sqrt(variance),
        tape=main,
        place=grounds[0].place,
        corrections={name: weight * fsum(g.corrections.get(name, 0.0) for g in grounds) for name in names},
        either=tuple(sorted(options)),
        doubtful=any(g.doubtful for g in grounds),
    )


def spread_limit(sds: Sequence[float], significance: float) -> float:
    """Return how far two readings with the mean of these standard deviations may differ, metres.

        z(1 - α/2) √2 σ

    >>> round(spread_limit([0.005, 0.005], 0.001), 4)
    0.0233
    """
    return NormalDist().inv_cdf(1 - significance / 2) * sqrt(2 * fsum(sd**2 for sd in sds) / len(sds))


def spread_passes(lengths: Sequence[float], sds: Sequence[float], significance: float) -> bool:
    """Return whether readings of one length spread no more than their standard deviations allow.

    Their weighted sum of squares about the weighted mean is χ² with one degree of freedom less than readings.

    >>> spread_passes([52.31, 52.33], [0.005, 0.005], 0.001)
    True
    >>> spread_passes([52.31, 52.34], [0.005, 0.005], 0.001)
    False
    """
    weights = [1 / sd**2 for sd in sds]
    centre = fsum(w * x for w, x in zip(weights, lengths, strict=True)) / fsum(weights)
    square = fsum(w * (x - centre) ** 2 for w, x in zip(weights, lengths, strict=True))
    # The limit grows with the number of readings: what passes as a pair always passes.
    if square <= NormalDist().inv_cdf(1 - significance / 2) ** 2:
        return True
    return chi2_exceeded(square, len(lengths) - 1) >= significance
