"""Plane geometry on arrays: bearings, feet of perpendiculars, arcs that meet.

Points are arrays whose last axis is (x, y); everything else broadcasts. Bearings run clockwise
from +y, radians; left is left of somebody who walks from start to end, and positive.
"""

from __future__ import annotations

from math import pi, tau

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Array",
    "Ints",
    "along",
    "arc_gap",
    "arcs_meet",
    "bearing",
    "circle_through",
    "depth_inside",
    "direction",
    "distance",
    "foot",
    "left_of",
    "mean_angle",
    "outer",
    "turn_points",
    "wrap_angle",
]

#: Numbers in an array of any shape: what every room above means by one.
Array = NDArray[np.float64]
#: Whole numbers in an array, such as the numbers of rows.
Ints = NDArray[np.int64]


def wrap_angle(angle: ArrayLike) -> Array:
    """Return an angle brought into -pi (excluded) to +pi (included), radians.

    >>> round(float(wrap_angle(3 * pi / 2)), 6)
    -1.570796
    """
    return pi - np.mod(pi - np.asarray(angle, dtype=float), tau)


def mean_angle(angles: ArrayLike) -> float:
    """Return the mean of angles that lie near one another, radians in 0 to 2 pi.

    The differences from the first are averaged, so that 359° and 1° give 0° and not 180°.

    >>> round(mean_angle([6.2, 0.1]), 4)
    0.0084
    """
    values = np.asarray(angles, dtype=float)
    return float(np.mod(values[0] + np.mean(wrap_angle(values - values[0])), tau))


def distance(start: ArrayLike, end: ArrayLike) -> Array:
    """Return the distance between points.

    >>> float(distance([0, 0], [3, 4]))
    5.0
    """
    difference = np.subtract(end, start, dtype=float)
    return np.asarray(np.hypot(difference[..., 0], difference[..., 1]))


def bearing(start: ArrayLike, end: ArrayLike) -> Array:
    """Return the bearing from start to end, radians in 0 to 2 pi.

    >>> float(np.degrees(bearing([0, 0], [1, 0])))
    90.0
    """
    difference = np.subtract(end, start, dtype=float)
    return np.asarray(np.mod(np.arctan2(difference[..., 0], difference[..., 1]), tau))


def direction(bearing: ArrayLike) -> Array:
    """Return the unit vector of a bearing: (sin, cos).

    >>> direction(0.0).tolist()
    [0.0, 1.0]
    """
    return np.stack([np.sin(bearing), np.cos(bearing)], axis=-1)


def left_of(vectors: ArrayLike) -> Array:
    """Return vectors turned a quarter to the left: (-y, x).

    >>> left_of([0.0, 2.0]).tolist()
    [-2.0, 0.0]
    """
    rows = np.asarray(vectors, dtype=float)
    return np.stack([-rows[..., 1], rows[..., 0]], axis=-1)


def outer(one: Array, other: Array) -> Array:
    """Return the products a b' (m, 2, 2) of vectors a and b (m, 2).

    >>> outer(np.array([[1.0, 2.0]]), np.array([[3.0, 4.0]])).tolist()
    [[[3.0, 4.0], [6.0, 8.0]]]
    """
    return np.asarray(one[:, :, None] * other[:, None, :])


def turn_points(points: ArrayLike, angle: ArrayLike) -> Array:
    """Return points turned clockwise about the origin by an angle, radians.

    Turning by ``angle`` adds ``angle`` to every bearing.

    >>> turn_points([0.0, 1.0], pi / 2).round(12).tolist()
    [1.0, 0.0]
    """
    x, y = np.moveaxis(np.asarray(points, dtype=float), -1, 0)
    c, s = np.cos(angle), np.sin(angle)
    return np.stack([x * c + y * s, y * c - x * s], axis=-1)


def along(start: ArrayLike, end: ArrayLike, chainage: ArrayLike, offset: ArrayLike = 0.0) -> Array:
    """Return the point at a chainage from start towards end, and an offset to the left.

        P + u c + n o,   u the unit vector from start to end, n = u turned left

    >>> along([0, 0], [0, 10], 4.0, 1.0).tolist()
    [-1.0, 4.0]
    """
    p = np.asarray(start, dtype=float)
    u = np.subtract(end, p) / np.asarray(distance(p, end))[..., None]
    return np.asarray(p + u * np.asarray(chainage)[..., None] + left_of(u) * np.asarray(offset)[..., None])


def foot(start: ArrayLike, end: ArrayLike, point: ArrayLike) -> tuple[Array, Array]:
    """Return chainage and offset (left positive) of points from the line start to end: `along` undone.

    >>> [float(v) for v in foot([0, 0], [0, 10], [-1, 4])]
    [4.0, 1.0]
    """
    p = np.asarray(start, dtype=float)
    u = np.subtract(end, p) / np.asarray(distance(p, end))[..., None]
    v = np.subtract(point, p)
    return np.asarray(np.sum(u * v, axis=-1)), np.asarray(np.sum(left_of(u) * v, axis=-1))


def arc_gap(distance: ArrayLike, radius: ArrayLike, other: ArrayLike) -> Array:
    """Return by how much two arcs fail to meet; negative or zero where they do.

    Either they do not reach across, or one lies within the other:

        max(d - r1 - r2, |r1 - r2| - d)

    >>> float(arc_gap(10.0, 3.0, 4.0))
    3.0
    """
    d, r1, r2 = (np.asarray(value, dtype=float) for value in (distance, radius, other))
    return np.asarray(np.maximum(d - r1 - r2, np.abs(r1 - r2) - d))


def arcs_meet(start: ArrayLike, radius: ArrayLike, end: ArrayLike, other: ArrayLike, side: ArrayLike) -> Array:
    """Return where the arc about start meets the arc about end.

    The chainage of the foot and the height above it are

        c = (d² + r1² - r2²) / 2 d,   h² = r1² - c²

    Parameters
    ----------
    start, end
        Centres of the arcs.
    radius, other
        Their radii.
    side
        +1 for the meeting left of start to end, -1 for the one on the right.

    Returns
    -------
    Array
        The point; NaN where the arcs do not meet.

    Examples
    --------
    >>> arcs_meet([0, 0], 40.0, [0, 50], 30.0, 1).tolist()
    [-24.0, 32.0]
    """
    d, r1, r2 = (np.asarray(value, dtype=float) for value in (distance(start, end), radius, other))
    c = (d**2 + r1**2 - r2**2) / (2 * d)
    # (r1 - c)(r1 + c) keeps its digits where the arcs only just meet.
    squared = (r1 - c) * (r1 + c)
    height = np.sqrt(np.where(arc_gap(d, r1, r2) <= 0, np.maximum(squared, 0.0), np.nan))
    return along(start, end, c, side * height)


def circle_through(p: ArrayLike, q: ArrayLike, r: ArrayLike) -> tuple[Array, Array]:
    """Return centre and radius of the circle through three points; infinite where they stand in line.

    >>> centre, radius = circle_through([1, 0], [0, 1], [-1, 0])
    >>> centre.tolist(), float(radius)
    ([0.0, 0.0], 1.0)
    """
    origin = np.asarray(p, dtype=float)
    b, c = np.subtract(q, origin), np.subtract(r, origin)
    twice = 2 * (b[..., 0] * c[..., 1] - b[..., 1] * c[..., 0])
    bb, cc = np.sum(b * b, axis=-1), np.sum(c * c, axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (c[..., 1] * bb - b[..., 1] * cc) / twice
        y = (b[..., 0] * cc - c[..., 0] * bb) / twice
    radius = np.where(twice == 0, np.inf, np.hypot(x, y))
    return origin + np.stack([x, y], axis=-1), radius


def depth_inside(points: ArrayLike, ring: ArrayLike) -> Array:
    """Return how far points (n, 2) lie inside a ring (m, 2), negative outside: the distance to its nearest side.

    A point is inside when a ray from it crosses the ring an odd number of times (the even-odd rule).

    >>> depth_inside([[1.0, 2.0], [5.0, 2.0]], [[0, 0], [4, 0], [4, 4], [0, 4]]).tolist()
    [1.0, -1.0]
    """
    at, start = np.asarray(points, float)[:, None], np.asarray(ring, float)[None]
    end = np.roll(start, -1, axis=1)
    side, arm = end - start, at - start
    square = np.maximum(np.sum(side**2, axis=-1), 1e-300)
    share = np.clip(np.sum(arm * side, axis=-1) / square, 0.0, 1.0)
    away = np.hypot(*np.moveaxis(arm - share[..., None] * side, -1, 0)).min(axis=1)
    spans = (start[..., 1] > at[..., 1]) != (end[..., 1] > at[..., 1])
    slope = np.where(side[..., 1] == 0, 1.0, side[..., 1])
    crossed = spans & (arm[..., 0] < side[..., 0] * arm[..., 1] / slope)
    return np.asarray(np.where(crossed.sum(axis=1) % 2 == 1, away, -away))
