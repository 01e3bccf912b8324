"""The joint covariance of points and lengths of one survey, with what they owe to one another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pegline.detail.model import Points
from pegline.detail.ruler import Arms
from pegline.network.model import Solution
from pegline.plane import Array

__all__ = ["joint_covariance", "position_of"]


def position_of(name: str, solution: Solution, points: Points) -> Array:
    """Return x and y (2,) of a station or point in the frame about its origin, metres."""
    if name in solution.index:
        return solution.position(name)
    where: Array = points.positions[points.index[name]]
    return where


def joint_covariance(names: Sequence[str], solution: Solution, points: Points, arms: Arms | None = None) -> Array:
    """Return the covariance (2 n + l, 2 n + l) of points in the frame, x and y of each, then of lengths.

    With G what points and lengths change by when the solution's parameters do, and C their covariance:

        G C G' + what is each point's and each length's own

    Parameters
    ----------
    names
        n stations or points.
    arms
        l lengths that belong to a shape, such as a radius.
    """
    count = 2 * len(names)
    size = count + (len(arms.lengths) if arms else 0)
    gradients = np.zeros((size, 2 * len(solution.names) + len(solution.tapes)))
    own = np.zeros((size, size))
    for number, name in enumerate(names):
        rows = slice(2 * number, 2 * number + 2)
        if name in solution.index:
            column = 2 * solution.index[name]
            gradients[rows, column : column + 2] = np.eye(2)
        else:
            at = points.index[name]
            for parameter, by in zip(points.parents[at], points.jacobian[at].T, strict=True):
                gradients[rows, parameter] += by
            own[rows, rows] = points.own[at]
    if arms is not None and len(arms.lengths):
        for number in range(len(arms.lengths)):
            if arms.scale[number] < gradients.shape[1]:
                gradients[count + number, arms.scale[number]] += arms.by_scale[number, 0]
            own[count + number, count + number] = arms.sd[number, 0] ** 2
    covariance: Array = solution.covariances.of(gradients) + own
    return covariance
