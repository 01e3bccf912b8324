"""The land between a chain line and a crooked side: by coordinates, by the trapezoidal rule and by Simpson's."""

from __future__ import annotations

from itertools import pairwise
from math import ceil
from typing import Final

import numpy as np

from pegline.plane import Array

__all__ = ["ordinates_at_equal_intervals", "simpson", "trapezoidal"]

#: Intervals that differ by less than this share of their length are equal: chainages are adjusted by a little.
EQUAL: Final = 0.005


def trapezoidal(chainages: Array, ordinates: Array) -> float:
    """Return the area between a line and a side of straight pieces.

        A = Σ (cᵢ₊₁ - cᵢ) (oᵢ + oᵢ₊₁) / 2

    Ordinates on the other side of the line are negative, and so is the land there.

    Parameters
    ----------
    chainages, ordinates
        (n,) of the side's points, in their order along it, metres.

    Examples
    --------
    >>> trapezoidal(np.array([0.0, 10.0, 30.0]), np.array([2.0, 4.0, 0.0]))
    70.0
    """
    return float((np.diff(chainages) * (ordinates[1:] + ordinates[:-1])).sum() / 2)


def simpson(chainages: Array, ordinates: Array) -> tuple[float, int] | None:
    """Return the area by Simpson's rule, and how many intervals had no equal beside them.

        A = (h / 3) (o₀ + 4 o₁ + o₂)   for every two equal intervals h

    Along each run of equal intervals they are taken in pairs; the interval left over where their number
    is odd is taken as a trapezoid, and no ordinate is made up. None where no two neighbours are equal, or
    where the side turns back along the line.

    Examples
    --------
    >>> simpson(np.array([0.0, 10.0, 20.0, 26.0]), np.array([0.0, 3.0, 3.0, 2.0]))
    (65.0, 1)
    """
    steps = np.diff(chainages)
    if len(steps) < 2 or (steps <= 0).any():
        return None
    total, odd, at = 0.0, 0, 0
    while at < len(steps):
        if at + 1 < len(steps) and abs(steps[at + 1] - steps[at]) <= EQUAL * steps[at]:
            first, middle, last = ordinates[at : at + 3]
            total += (steps[at] + steps[at + 1]) * (first + 4 * middle + last) / 6
            at += 2
        else:
            total += trapezoidal(chainages[at : at + 2], ordinates[at : at + 2])
            odd += 1
            at += 1
    return (float(total), odd) if odd < len(steps) else None


def ordinates_at_equal_intervals(chainages: Array, ordinates: Array, every: float) -> tuple[Array, Array]:
    """Return ordinates at equal intervals, an even number of them and none longer than ``every``.

    Between the measured ordinates the side is taken as straight.

    >>> ordinates_at_equal_intervals(np.array([0.0, 10.0]), np.array([1.0, 2.0]), 5.0)[1].tolist()
    [1.0, 1.5, 2.0]
    """
    if not all(one < other for one, other in pairwise(chainages.tolist())):
        raise ValueError("the side turns back along the line")
    count = 2 * ceil((chainages[-1] - chainages[0]) / every / 2 - 1e-9)
    at = np.linspace(chainages[0], chainages[-1], count + 1)
    return at, np.interp(at, chainages, ordinates)
