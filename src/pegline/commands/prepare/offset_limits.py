"""How long an offset may be before its errors show on the plan."""

from __future__ import annotations

from math import sin, sqrt

__all__ = ["longest_offset", "longest_offset_by_both"]


def longest_offset(shown: float, angle: float) -> float:
    """Return the longest offset whose right angle, off by an angle, displaces its point by no more than is shown.

        L = e S / sin a

    Parameters
    ----------
    shown
        What the plan can show on the ground, metres: the plotting limit times the scale, e S.
    angle
        By how much the right angle may be off, radians.

    References
    ----------
    B. C. Punmia, Surveying, chapter on chain surveying (the formula, from memory).

    Examples
    --------
    >>> from math import radians
    >>> round(longest_offset(0.025 * 100, radians(2.0)), 2)
    71.63
    """
    return shown / sin(angle)


def longest_offset_by_both(shown: float, ratio: float) -> float:
    """Return the longest offset where its length, known to 1 in ``ratio``, errs as much as its right angle.

        L = e S r / √2

    Parameters
    ----------
    shown
        What the plan can show on the ground, metres.
    ratio
        r of the accuracy 1 in r of the length.

    Examples
    --------
    >>> round(longest_offset_by_both(0.05 * 20, 40.0), 2)
    28.28
    """
    return shown * ratio / sqrt(2)
