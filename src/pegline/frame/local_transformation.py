"""A transformation that follows the local distortion of an old map, and says at each point how well it knows it.

A similarity carries the whole; what is left at the points is taken for a smooth field of which neighbouring points
share much and distant ones little. How large it is and how far it reaches is told by the points themselves.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pegline.frame.transformation import (
    Transformation,
    carry_points,
    centring_matrix,
    matrix_of_parameters,
    parameter_derivatives,
)
from pegline.plane import Array
from pegline.records import record

__all__ = ["MIN_POINTS", "LocalTransformation", "fit_local"]


#: Points that it needs: fewer say too little of how far a distortion reaches.
MIN_POINTS: Final = 8
#: Sizes of the field that are weighed, as shares of what a similarity leaves, and reaches, as shares of the figure.
FIELD_SIZES: Final = np.geomspace(0.02, 5.0, 16)
FIELD_REACHES: Final = np.geomspace(0.1, 4.0, 14)
#: What is less likely than this share of the likeliest is left out.
UNLIKELY: Final = 1e-3
#: Points carried at once.
POINTS_AT_ONCE: Final = 2000
#: Step by which derivatives are taken, as a share of the figure.
STEP_SHARE: Final = 1e-4


class _Field(NamedTuple):
    """One size and reach of the field, with the solution that belongs to them."""

    weight: float  #: how likely it is beside the others
    variance: float  #: of the field in one axis, about the middle
    reach: float
    parameters: Array  #: of the similarity
    covariance: Array  #: of those
    solved: Array  #: (2n,) the inverse of the points' covariance by what the similarity leaves
    inverse: Array  #: (2n, 2n) the inverse of the points' covariance
    projection: Array  #: (2n, 2n) the same, with the similarity taken out


@record(frozen=True, slots=False)
class LocalTransformation(Transformation):
    """A similarity and a field, weighed over all sizes and reaches of it that the points leave likely."""

    fields: tuple[_Field, ...] = ()

    def carry(self, points: ArrayLike) -> Array:
        """Return points of the source on the target."""
        return self._places_and_covariance(points)[0]

    def spread_at(self, points: ArrayLike) -> Array:
        """Return (m, 2, 2) covariance of where points are carried, what is left of the distortion in it."""
        return self._places_and_covariance(points)[1]

    def derivatives_at(self, points: ArrayLike) -> Array:
        """Return (m, 2, 2) the derivatives of the target's coordinates by the source's at points."""
        p = np.asarray(points, dtype=float).reshape(-1, 2)
        step = STEP_SHARE / float(self.centre[0, 0])
        columns = [(self.carry(p + off) - self.carry(p - off)) / (2 * step) for off in np.eye(2) * step]
        return np.stack(columns, axis=-1)

    def carry_back(self, points: ArrayLike) -> Array:
        """Return points of the target in the source, by nearing them with the similarity."""
        targets = np.asarray(points, dtype=float).reshape(-1, 2)
        back = np.linalg.inv(self.matrix)
        sources = carry_points(back, targets)
        for _ in range(20):
            sources = sources + carry_points(back, 2 * targets - self.carry(sources)) - carry_points(back, targets)
        return np.asarray(sources)

    @property
    def residuals(self) -> Array:
        """Return (n, 2) target minus what the transformation makes of the source."""
        return self.target - self.carry(self.source)

    @property
    def variance_factor(self) -> float | None:
        """Return the mean square of what a similarity alone would leave, over what the points' accuracies say."""
        likeliest = max(self.fields, key=lambda field: field.weight)
        left = (self.target - carry_points(self.matrix, self.source)) / self.sds[:, None]
        return float(np.sum(left**2)) / (2 * len(self.source) - len(likeliest.parameters))

    @cached_property
    def tests(self) -> Array:
        """Return (n,) the square of what the other points make of each, over its expectation."""
        return np.array([off @ np.linalg.solve(spread, off) for off, spread in self._others()])

    def left_out(self) -> Array:
        """Return (n, 2) target minus what the other pairs make of each point."""
        lengths = float(self.back[0, 0])
        return np.array([off for off, _ in self._others()]) * lengths

    def _others(self) -> list[tuple[Array, Array]]:
        """Return for each point where it is off where the others put it, and the covariance of that."""
        likeliest = max(self.fields, key=lambda field: field.weight)
        values = likeliest.projection @ carry_points(np.linalg.inv(self.back), self.target).ravel()
        found = []
        for n in range(len(self.source)):
            own = slice(2 * n, 2 * n + 2)
            spread: Array = np.asarray(np.linalg.inv(likeliest.projection[own, own]), dtype=float)
            found.append((spread @ values[own], spread))
        return found

    def _places_and_covariance(self, points: ArrayLike) -> tuple[Array, Array]:
        """Return where points are carried, and the covariance of that."""
        p = np.asarray(points, dtype=float).reshape(-1, 2)
        if not len(p):
            return np.empty((0, 2)), np.empty((0, 2, 2))
        parts = [self._places_of_some(p[start : start + POINTS_AT_ONCE]) for start in range(0, len(p), POINTS_AT_ONCE)]
        return np.concatenate([place for place, _ in parts]), np.concatenate([spread for _, spread in parts])

    def _places_of_some(self, points: Array) -> tuple[Array, Array]:
        u, known = carry_points(self.centre, points), carry_points(self.centre, self.source)
        rows = _rows(u)
        means, spreads = [], []
        for field in self.fields:
            shared = np.kron(field.variance * _correlation(u, known, field.reach), np.eye(2))
            shared = shared.reshape(len(u), 2, known.size)
            by_points = shared @ field.inverse
            rest = rows - by_points @ _rows(known).reshape(known.size, 4)
            means.append(rows @ field.parameters + shared @ field.solved)
            spreads.append(
                field.variance * np.eye(2)
                - by_points @ shared.transpose(0, 2, 1)
                + rest @ field.covariance @ rest.transpose(0, 2, 1)
            )
        weights = np.array([field.weight for field in self.fields])
        mean = np.tensordot(weights, np.array(means), 1)
        off = np.array(means) - mean
        between = np.einsum("f,fni,fnj->nij", weights, off, off)
        spread = np.tensordot(weights, np.array(spreads), 1) + between
        return carry_points(self.back, mean), spread * float(self.back[0, 0]) ** 2


def fit_local(source: ArrayLike, target: ArrayLike, sds: ArrayLike) -> LocalTransformation:
    """Return the transformation that carries source points onto target points and follows what a similarity leaves.

    With A the similarity's derivatives, K = v R + S the covariance of the points in one axis, R of their correlation
    (1 + √3 d / L) exp(-√3 d / L) over the distance d, and S of their own variances, the parameters are those of
    generalized least squares, and a point x is carried to

        a(x) β + k(x)' K⁻¹ (y - A β).

    Size v and reach L are not known: every pair of a grid of them is weighed by its likelihood, restricted to what
    the similarity does not explain, and the spread between their answers is part of what is told.

    Parameters
    ----------
    source, target
        (n, 2) the same points in both systems.
    sds
        (n,) standard deviation of each axis of each pair, in the target's unit.

    Raises
    ------
    ValueError
        Too few points, or all of them one.

    Notes
    -----
    Least-squares collocation with the field's covariance weighed by restricted maximum likelihood (H. Moritz, Advanced
    Physical Geodesy, 1980; M. L. Stein, Interpolation of Spatial Data, 1999; both from memory).
    """
    p, q, s = (np.array(values, dtype=float) for values in (source, target, sds))
    if len(p) < MIN_POINTS:
        raise ValueError(f"local needs {MIN_POINTS} points and there are {len(p)}")
    centre, back = centring_matrix(p), np.asarray(np.linalg.inv(centring_matrix(q)), dtype=float)
    u, y = carry_points(centre, p), carry_points(np.linalg.inv(back), q).ravel()
    rows, own = _rows(u).reshape(y.size, 4), np.repeat((s / back[0, 0]) ** 2, 2)
    plain = np.linalg.lstsq(rows / np.sqrt(own)[:, None], y / np.sqrt(own), rcond=None)[0]
    left = float(np.mean((y - rows @ plain) ** 2)) + float(np.mean(own)) / 100
    every = [
        _solve(rows, y, own, size * left, reach, _correlation(u, u, reach))
        for reach in FIELD_REACHES
        for size in FIELD_SIZES
    ]
    likely = np.array([likelihood for likelihood, _ in every])
    weights = np.exp(likely - likely.max())
    kept = [(weight, field) for weight, (_, field) in zip(weights, every, strict=True) if weight > UNLIKELY]
    whole = sum(weight for weight, _ in kept)
    fields = tuple(field._replace(weight=float(weight / whole)) for weight, field in kept)
    parameters = np.sum([field.weight * field.parameters for field in fields], axis=0)
    covariance = np.sum([field.weight * field.covariance for field in fields], axis=0)
    matrix = back @ matrix_of_parameters("similarity", parameters) @ centre
    return LocalTransformation("local", matrix, p, q, s, covariance, centre, back, fields=fields)


def _rows(u: Array) -> Array:
    """Return (n, 2, 4) the derivatives of where a similarity carries points."""
    return parameter_derivatives("similarity", u, np.zeros(4))


def _correlation(u: Array, v: Array, reach: float) -> Array:
    """Return how much of the field points share."""
    ratio = np.sqrt(3) * np.hypot(*(u[:, None] - v[None]).transpose(2, 0, 1)) / reach
    return np.asarray((1 + ratio) * np.exp(-ratio))


def _solve(
    rows: Array, y: Array, own: Array, variance: float, reach: float, correlation: Array
) -> tuple[float, _Field]:
    """Return the logarithm of the restricted likelihood of a size and reach, and the solution with them."""
    covariance = np.kron(variance * correlation, np.eye(2)) + np.diag(own)
    inverse = np.linalg.inv(covariance)
    normal = rows.T @ inverse @ rows
    of_parameters: Array = np.asarray(np.linalg.inv(normal), dtype=float)
    parameters = of_parameters @ rows.T @ inverse @ y
    left = y - rows @ parameters
    projection = inverse - inverse @ rows @ of_parameters @ rows.T @ inverse
    likelihood = -0.5 * (np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1] + left @ inverse @ left)
    return float(likelihood), _Field(
        1.0, variance, reach, parameters, of_parameters, inverse @ left, inverse, projection
    )
