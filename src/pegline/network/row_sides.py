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
    at = fit.parameters[: 2 * len(network.names)].reshape(-1, 2)
    covariances = NetworkCovariances(fit)
    seen = set()
    for number in sorted(numbers, key=lambda n: network.observations[n].booking.value):
        one = network.observations[number]
        side = _booked_side(one, side_hints)
        if side is None or not network.index.keys() >= set(side[0]) or one.booking.group in seen:
            continue
        seen.add(one.booking.group)
        points = np.array([network.index[name] for name in side[0]])
        aside, partials = offset_equation(at[points][None], np.array([[side[1]]]))
        if aside[0] < 0:
            gradient = np.zeros((1, at.size))
            gradient[0, (2 * points[:, None] + [0, 1]).ravel()] = partials.ravel()
            if aside[0] < -critical * sqrt(covariances.of(gradient).item()):
                yield number


def _booked_side(one: Observation, side_hints: Hints) -> tuple[tuple[str, str, str], float] | None:
    """Return point, start and end of a line, with +1 for left and -1 for right; None where no side is booked."""
    match one:
        case Oblique() if one.side:
            return (one.point, one.start, one.end), float(one.side)
        case Distance() if one.booking.part == "arc" and (side := side_hints.sides.get(one.end)):
            return (one.end, side.of.start, side.of.end), 1.0 if side.left else -1.0
    return None
