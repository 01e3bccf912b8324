"""Two sets of points that are the same on the ground, and the transformation that carries one onto the other.

By weighted least squares, with what each pair disagrees, whether that is more than it should, and
what the transformation would have said of each point had it not known it.
"""

from __future__ import annotations

from functools import cached_property
from itertools import combinations
from math import atan2
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from pegline.plane import Array
from pegline.records import record

__all__ = [
    "FALSE_ALARM",
    "POINTS_NEEDED",
    "TRANSFORMATIONS",
    "MixUp",
    "Transformation",
    "TransformationKind",
    "carry_points",
    "centring_matrix",
    "find_mix_up",
    "fit",
    "matrix_of_parameters",
    "parameter_derivatives",
]

TransformationKind = Literal["similarity", "affine", "projective", "local"]

#: Every kind.
TRANSFORMATIONS: Final[tuple[TransformationKind, ...]] = ("similarity", "affine", "projective", "local")
#: Points that each kind needs at least, of those that `fit` knows.
POINTS_NEEDED: Final[dict[TransformationKind, int]] = {"similarity": 2, "affine": 3, "projective": 4}
#: Probability of accusing any pair where all are sound.
FALSE_ALARM: Final = 0.01
#: A projective transformation is settled when a step changes no point by more than this share of the figure.
SETTLED_SHARE: Final = 1e-13
MAX_PROJECTIVE_STEPS: Final = 300
HALVINGS: Final = 40  #: of a step that makes the misfit larger, as a list of mixed-up points has them
ROUNDING: Final = 1e-9  #: share of the misfit's square that may be rounding


def carry_points(matrix: ArrayLike, points: ArrayLike) -> Array:
    """Return points carried by a homogeneous matrix.

    >>> carry_points([[0, -1, 10], [1, 0, 20], [0, 0, 1]], [[1.0, 2.0]]).tolist()
    [[8.0, 21.0]]
    """
    m = np.asarray(matrix, dtype=float)
    p = np.asarray(points, dtype=float)
    carried = p @ m[:, :2].T + m[:, 2]
    return np.asarray(carried[..., :2] / carried[..., 2:])


@record(frozen=True, slots=False)
class Transformation:
    """A transformation and how well it fits."""

    kind: TransformationKind
    matrix: Array  #: (3, 3) homogeneous, source to target
    source: Array  #: (n, 2)
    target: Array  #: (n, 2)
    sds: Array  #: (n,) standard deviation of each axis of each pair, in the target's unit
    covariance: Array  #: (u, u) of the parameters in the centred figure
    centre: Array  #: (3, 3) source to the centred figure
    back: Array  #: (3, 3) centred figure to target
    sheets: int = 1  #: fitted together with this one, itself among them

    def carry(self, points: ArrayLike) -> Array:
        """Return where points of the source are on the target."""
        return carry_points(self.matrix, points)

    @property
    def residuals(self) -> Array:
        """Return (n, 2) target minus what the transformation makes of the source."""
        return self.target - carry_points(self.matrix, self.source)

    @property
    def freedom(self) -> int:
        """Return the number of redundant coordinates."""
        return 2 * len(self.source) - len(self.covariance)

    @property
    def variance_factor(self) -> float | None:
        """Return the mean square of the residuals over their expected size; None where nothing is redundant."""
        return float(np.sum((self.residuals / self.sds[:, None]) ** 2)) / self.freedom if self.freedom else None

    @cached_property
    def tests(self) -> Array:
        """Return (n,) the square of each pair's misfit over its expectation: χ² with two degrees of freedom.

        Zero where nothing checks a pair.
        """
        figures = np.zeros(len(self.source))
        for n, (residual, spread) in enumerate(zip(self.residuals, self.spread_at(self.source), strict=True)):
            left = np.eye(2) * self.sds[n] ** 2 - spread
            values, vectors = np.linalg.eigh(left)
            sure = values > 1e-6 * self.sds[n] ** 2
            figures[n] = np.sum((vectors.T @ residual)[sure] ** 2 / values[sure])
        return figures

    @property
    def critical(self) -> float:
        """Return the largest test that passes: each pair at its share of the false alarms."""
        return float(-2 * np.log(FALSE_ALARM / len(self.source)))

    @property
    def wrong(self) -> int | None:
        """Return the pair that fits worst, where it fits worse than it should."""
        worst = int(np.argmax(self.tests))
        return worst if self.tests[worst] > self.critical else None

    def spread_at(self, points: ArrayLike) -> Array:
        """Return (m, 2, 2) covariance of where the transformation carries points, square units of the target."""
        parameters = _parameters(self.kind, self._points_about_origin)
        rows = parameter_derivatives(self.kind, carry_points(self.centre, points), parameters)
        lengths = np.asarray(self.back)[0, 0]
        return np.asarray(np.einsum("nij,jk,nlk->nil", rows, self.covariance, rows) * lengths**2)

    def derivatives_at(self, points: ArrayLike) -> Array:
        """Return (m, 2, 2) the derivatives of the target's coordinates by the source's at points."""
        p = np.asarray(points, dtype=float).reshape(-1, 2)
        w = p @ self.matrix[2, :2] + self.matrix[2, 2]
        bent = carry_points(self.matrix, p)[:, :, None] * self.matrix[2, :2]
        return np.asarray((self.matrix[:2, :2] - bent) / w[:, None, None])

    @property
    def _points_about_origin(self) -> Array:
        middle = np.linalg.inv(self.back) @ self.matrix @ np.linalg.inv(self.centre)
        return np.asarray(middle / middle[2, 2])

    @property
    def scale(self) -> float:
        """Return target units for one unit of the source, at the middle of the points."""
        return float(np.sqrt(abs(np.linalg.det(self._slope))))

    @property
    def rotation(self) -> float:
        """Return by how much bearings turn, clockwise, radians."""
        slope = self._slope
        return atan2(slope[0, 1] - slope[1, 0], slope[0, 0] + slope[1, 1])

    @property
    def _slope(self) -> Array:
        """Return (2, 2) the derivatives of the target by the source at the middle of the points."""
        return np.asarray(self.derivatives_at(self.source.mean(axis=0))[0])

    def left_out(self) -> Array:
        """Return (n, 2) target minus what the other pairs make of each point; NaN where they are too few."""
        residuals = np.full(self.source.shape, np.nan)
        for n in range(len(self.source)):
            keep = np.arange(len(self.source)) != n
            try:
                other = fit(self.kind, self.source[keep], self.target[keep], self.sds[keep])
            except ValueError:
                continue
            residuals[n] = self.target[n] - carry_points(other.matrix, self.source[n])
        return residuals


def fit(kind: TransformationKind, source: ArrayLike, target: ArrayLike, sds: ArrayLike) -> Transformation:
    """Return the transformation of a kind that carries source points best onto target points.

        similarity   E = a x - b y + e,  N = b x + a y + n
        affine       E = a x + b y + e,  N = c x + d y + n
        projective   E = (a x + b y + e) / w,  N = (c x + d y + n) / w,  w = g x + h y + 1

    Parameters
    ----------
    kind
        Which of them.
    source, target
        (n, 2) the same points in both systems.
    sds
        (n,) standard deviation of each axis of each pair, in the target's unit.

    Raises
    ------
    ValueError
        Too few points, or points too near a line (or one another) for this kind.
    """
    p, q, s = (np.array(values, dtype=float) for values in (source, target, sds))
    if len(p) < POINTS_NEEDED[kind]:
        raise ValueError(f"{kind} needs {POINTS_NEEDED[kind]} points and there are {len(p)}")
    centre, back = centring_matrix(p), np.asarray(np.linalg.inv(centring_matrix(q)), dtype=float)
    u, v = carry_points(centre, p), carry_points(np.linalg.inv(back), q)
    weights = np.repeat(back[0, 0] / s, 2)
    parameters = _parameters(kind, _first(kind, u, v, weights))
    rows = parameter_derivatives(kind, u, parameters).reshape(q.size, len(parameters)) * weights[:, None]
    for _ in range(MAX_PROJECTIVE_STEPS):
        misfit = (v - carry_points(matrix_of_parameters(kind, parameters), u)).ravel() * weights
        step, _, rank, singular = np.linalg.lstsq(rows, misfit, rcond=None)
        if rank < len(parameters) or singular.min() < 1e-7 * singular.max():
            raise ValueError(f"the points are too near one line for a {kind} transformation")
        parameters, size = _halved_step(kind, parameters, step, u, v, weights, misfit @ misfit)
        if kind != "projective" or size < SETTLED_SHARE:
            break
        rows = parameter_derivatives(kind, u, parameters).reshape(q.size, len(parameters)) * weights[:, None]
    matrix = back @ matrix_of_parameters(kind, parameters) @ centre
    return Transformation(kind, matrix / matrix[2, 2], p, q, s, np.asarray(np.linalg.inv(rows.T @ rows)), centre, back)


def _halved_step(
    kind: TransformationKind, parameters: Array, step: Array, u: Array, v: Array, weights: Array, square: float
) -> tuple[Array, float]:
    """Return parameters a step on, halved until the misfit is no larger, and the largest change of one of them."""
    for _ in range(HALVINGS if kind == "projective" else 1):
        moved = parameters + step
        misfit = (v - carry_points(matrix_of_parameters(kind, moved), u)).ravel() * weights
        if misfit @ misfit <= square * (1 + ROUNDING):
            break
        step = step / 2
    return moved, float(np.abs(step).max())


def centring_matrix(points: Array) -> Array:
    """Return the matrix that brings points about 0, 0 and to a size of about 1."""
    middle = points.mean(axis=0)
    size = float(np.hypot(*(points - middle).T).max())
    if size == 0:
        raise ValueError("all points are one")
    return np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])


def _first(kind: TransformationKind, u: Array, v: Array, weights: Array) -> Array:
    """Return a first matrix: for the projective kind by its equations multiplied out."""
    if kind != "projective":
        return np.eye(3)
    rows = _projective_rows(u, v).reshape(v.size, 8)
    parameters, _, rank, _ = np.linalg.lstsq(rows * weights[:, None], v.ravel() * weights, rcond=None)
    if rank < 8:
        raise ValueError("the points are too near one line for a projective transformation")
    return np.append(parameters, 1.0).reshape(3, 3)


def _parameters(kind: TransformationKind, matrix: Array) -> Array:
    if kind == "similarity":
        return np.array([matrix[0, 0], matrix[1, 0], matrix[0, 2], matrix[1, 2]])
    if kind == "affine":
        return np.asarray(matrix[:2].ravel())
    return np.asarray(matrix.ravel()[:8])


def matrix_of_parameters(kind: TransformationKind, parameters: Array) -> Array:
    """Return the (3, 3) homogeneous matrix of a transformation, as `fit` writes its parameters in a row."""
    if kind == "similarity":
        a, b, e, n = parameters
        return np.array([[a, -b, e], [b, a, n], [0, 0, 1]])
    if kind == "affine":
        return np.vstack([parameters.reshape(2, 3), [0, 0, 1]])
    return np.append(parameters, 1.0).reshape(3, 3)


def parameter_derivatives(kind: TransformationKind, points: Array, parameters: Array) -> Array:
    """Return (n, 2, u) the derivatives of where points are carried by the parameters."""
    if kind == "projective":
        w = parameters[6] * points[:, 0] + parameters[7] * points[:, 1] + 1
        carried = carry_points(matrix_of_parameters(kind, parameters), points)
        return np.asarray(_projective_rows(points, carried) / w[:, None, None])
    x, y = points.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    if kind == "similarity":
        east, north = [x, -y, one, zero], [y, x, zero, one]
    else:
        east, north = [x, y, one, zero, zero, zero], [zero, zero, zero, x, y, one]
    return np.stack([np.column_stack(east), np.column_stack(north)], axis=1)


def _projective_rows(points: Array, carried: Array) -> Array:
    """Return (n, 2, 8) the rows of points and of where they are carried, in equations multiplied out."""
    x, y = points.T
    e, n = carried.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    east = np.column_stack([x, y, one, zero, zero, zero, -x * e, -y * e])
    north = np.column_stack([zero, zero, zero, x, y, one, -x * n, -y * n])
    return np.stack([east, north], axis=1)


@record(frozen=True, slots=False)
class MixUp:
    """Something wrong with the list of pairs as a whole."""

    words: str
    exchanged: tuple[int, int] | None = None  #: the two pairs whose names were exchanged, where it is that


def find_mix_up(fitted: Transformation) -> MixUp | None:
    """Return what was mixed up in the pairs, where undoing it makes everything fit and nothing else does.

    Two points' names exchanged, eastings for northings, or a source whose y runs downwards.
    """
    if fitted.wrong is None:
        return None
    order = np.arange(len(fitted.source))
    # A figure seen from behind comes right by either: which it was cannot be told.
    mirrored = "eastings and northings are exchanged, or y of the source runs downwards"
    trials: list[tuple[str, tuple[int, int] | None, Array]] = [(mirrored, None, fitted.target[:, ::-1])]
    for one, other in combinations(range(len(order)), 2):
        swapped = order.copy()
        swapped[[one, other]] = other, one
        trials.append(("two points are exchanged", (one, other), fitted.target[swapped]))
    mix_ups = [MixUp(words, pair) for words, pair, target in trials if _fits(fitted, target)]
    return mix_ups[0] if len(mix_ups) == 1 else None


def _fits(fitted: Transformation, target: Array) -> bool:
    """Return whether all pairs fit when their targets are others."""
    try:
        other = fit(fitted.kind, fitted.source, target, fitted.sds)
    except ValueError:
        return False
    return other.wrong is None
