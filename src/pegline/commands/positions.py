"""What the commands before and after the measuring ask of a survey: positions with their joint covariance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from pegline.detail.model import Points
from pegline.detail.ruler import Arms
from pegline.errors import UsageError
from pegline.measures.spelling import suggest
from pegline.network.model import Solution
from pegline.plane import Array
from pegline.records import record
from pegline.survey import Survey

__all__ = ["Positions", "difference_quotients"]


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


#: How far a coordinate or a length is moved to see what changes, metres.
DIFFERENCE_STEP: Final = 1e-4


def difference_quotients(of: Callable[[Array], Array], values: Array) -> Array:
    """Return the derivatives (k, m) of a function of m values, by central differences.

    >>> difference_quotients(lambda v: np.array([v[0] * v[1]]), np.array([2.0, 3.0])).round(6).tolist()
    [[3.0, 2.0]]
    """
    columns = []
    for number in range(len(values)):
        move = np.zeros(len(values))
        move[number] = DIFFERENCE_STEP
        columns.append((of(values + move) - of(values - move)) / (2 * DIFFERENCE_STEP))
    return np.array(columns).T


@record(frozen=True, slots=True)
class Positions:
    """The stations, points and point features of a survey, by their names."""

    survey: Survey

    @property
    def scale(self) -> float:
        """Return what a ground length is multiplied by to lie in the frame."""
        return self.survey.frame.scale

    @property
    def names(self) -> tuple[str, ...]:
        """Return every name that has a position: stations, then points."""
        solution = self.survey.adjustment.solution
        return tuple(dict.fromkeys((*solution.names, *self.survey.detail.points.names)))

    def point_behind(self, word: str) -> str | None:
        """Return the station or point that a word names, itself or as the point of a feature; None for mere words."""
        solution, detail = self.survey.adjustment.solution, self.survey.detail
        if word in solution.index or word in detail.points.index:
            return word
        shape = detail.shapes.get(word)
        return shape.points[0] if shape is not None and shape.form == "point" else None

    def require(self, word: str, wanted: str = "station or point") -> str:
        """Return the station or point that a word names.

        Raises
        ------
        UsageError
            There is none.
        """
        point = self.point_behind(word)
        if point is None:
            raise UsageError(f"no {wanted} {word!r} in the survey{suggest(word, self.names)}")
        return point

    def of(self, name: str) -> Array:
        """Return x and y of a station or point in the frame about its origin, metres."""
        return position_of(name, self.survey.adjustment.solution, self.survey.detail.points)

    def all(self, names: Sequence[str]) -> Array:
        """Return positions (n, 2) of stations and points."""
        return np.array([self.of(name) for name in names]).reshape(-1, 2)

    def covariance(self, names: Sequence[str], arms: Arms | None = None) -> Array:
        """Return the joint covariance (2 n + l, 2 n + l) of points, and of lengths that belong to a shape."""
        return joint_covariance(names, self.survey.adjustment.solution, self.survey.detail.points, arms)

    def in_frame(self, position: Array) -> list[float]:
        """Return x and y in the frame, its origin added, metres."""
        return [float(value) for value in np.asarray(position) + np.array(self.survey.frame.origin)]

    def propagate(self, of: Callable[[Array], Array], names: Sequence[str]) -> tuple[Array, Array]:
        """Return the values (k,) of a function of positions (n, 2), and their covariance (k, k)."""
        at = self.all(names).ravel()
        by = difference_quotients(lambda values: of(values.reshape(-1, 2)), at)
        return of(at.reshape(-1, 2)), by @ self.covariance(names) @ by.T
