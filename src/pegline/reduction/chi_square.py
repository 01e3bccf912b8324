"""The χ² distribution: how likely a sum of squares is by chance. To load scipy's costs more than a small survey."""

from __future__ import annotations

from math import erfc, exp, gamma, sqrt

__all__ = ["chi2_exceeded"]


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
