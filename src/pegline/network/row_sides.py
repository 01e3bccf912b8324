"""On which side of its line a point lies that is booked more than once, against the side of each of its rows.

A distance is as long to the one side as to the other, so a row that is booked left for right would agree with the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import sqrt

import numpy as np

from pegline.network.equations import offset_equation
from pegline.network.least_squares import Fit
from pegline.network.observation_types import Distance, Oblique, Observation
from pegline.network.quality import NetworkCovariances
from pegline.network.start import Hints

__all__ = ["on_other_sides"]


def on_other_sides(fit: Fit, numbers: Sequence[int], side_hints: Hints, critical: float) -> Iterator[int]:
    """Yield the shortest distance of each row that is booked on the other side of its line than its point lies.

    Parameters
    ----------
    numbers
        Of the observations that are looked at.
    critical
        By how many standard deviations a point lies on the other side at the least.
    """
    network = fit.network
    at = network.places(fit.parameters)
    covariances = NetworkCovariances(fit)
    seen = set()
    for number in sorted(numbers, key=lambda n: network.observations[n].booking.value):
        one = network.observations[number]
        names = _booked_on_left(one, side_hints)
        if names is None or not network.index.keys() >= set(names) or one.booking.group in seen:
            continue
        seen.add(one.booking.group)
        points = np.array([[network.index[name] for name in names]])
        (aside,), partials = offset_equation(at[points], np.ones((1, 1)))
        gradient = partials.ravel()
        (variances,) = covariances.blocks(np.stack((2 * points, 2 * points + 1), axis=2).reshape(1, -1))
        if aside < -critical * sqrt(gradient @ variances @ gradient):
            yield number


def _booked_on_left(one: Observation, side_hints: Hints) -> tuple[str, str, str] | None:
    """Return a point, and the start and end of a line that it is booked left of; None where no side is booked."""
    match one:
        case Oblique() if one.side:
            point, start, end, left = one.point, one.start, one.end, one.side == 1
        case Distance() if one.booking.part == "arc" and (side := side_hints.sides.get(one.end)):
            point, start, end, left = one.end, side.of.start, side.of.end, side.left
        case _:
            return None
    return (point, start, end) if left else (point, end, start)
