"""What holds a place in 95 of 100 cases: its ellipse, and the radius of a circle round it."""

from __future__ import annotations

from math import log
from typing import Final

import numpy as np

from pegline.plane import Array

__all__ = ["CHI2_95", "CONFIDENCE", "confidence_radii", "ellipses", "variances_of"]

#: How often a place is to lie within what is told of it.
CONFIDENCE: Final = 0.95
#: Square of the radius that holds 95 % of a two-dimensional normal distribution: the chi-square
#: quantile with two degrees of freedom is -2 ln(1 - p), exactly.
CHI2_95: Final = -2 * log(1 - CONFIDENCE)

#: Directions in which the distribution is added up over a quarter of a turn. The integrand is smooth and periodic: a
#: million directions give the same radius to 1e-13 of it.
DIRECTIONS_SUMMED: Final = 32
#: Newton's steps for a radius; it gains twice the digits with each, and starts within an eighth.
RADIUS_STEPS: Final = 6
AT_ONCE: Final = 2048  #: positions whose radii are found at one time


def ellipses(variances: Array) -> Array:
    """Return the 95 % ellipses of positions: semi-axes a and b, metres, and the bearing of a, degrees.

    With t = (sxx + syy) / 2 and d = hypot((sxx - syy) / 2, sxy):

        a² = k (t + d)    b² = k (t - d)    tan 2β = 2 sxy / (syy - sxx)

    k = -2 ln 0.05 is the 95 % point of chi-square with two degrees of freedom.

    Parameters
    ----------
    variances
        (n, 2, 2) covariances of x and y, square metres.

    Returns
    -------
    Array
        (n, 3): a, b, and the bearing of a clockwise from +y, 0 to 180 degrees.

    Examples
    --------
    >>> ellipses(np.array([[[4.0, 0.0], [0.0, 1.0]]])).round(3).tolist()
    [[4.895, 2.448, 90.0]]
    """
    xx, yy, xy = variances[:, 0, 0], variances[:, 1, 1], variances[:, 0, 1]
    half, spread = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    axes = np.sqrt(CHI2_95 * np.maximum(np.stack([half + spread, half - spread], 1), 0.0))
    bearing = np.degrees(np.arctan2(2 * xy, yy - xx) / 2) % 180
    return np.column_stack([axes, bearing])


def variances_of(figures: Array) -> Array:
    """Return the covariances (n, 2, 2) that 95 % ellipses (n, 3) are of, square metres: `ellipses` undone.

    >>> variances_of(ellipses(np.array([[[4.0, 1.0], [1.0, 2.0]]]))).round(9).tolist()
    [[[4.0, 1.0], [1.0, 2.0]]]
    """
    a, b = figures[:, 0] ** 2 / CHI2_95, figures[:, 1] ** 2 / CHI2_95
    east, north = np.sin(np.radians(figures[:, 2])), np.cos(np.radians(figures[:, 2]))
    xx, yy, xy = a * east**2 + b * north**2, a * north**2 + b * east**2, (a - b) * east * north
    return np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -2)


def confidence_radii(variances: Array) -> Array:
    """Return the radii (n,) of circles that hold positions in 95 of 100 cases, metres.

    A position off by (a t cos φ, b t sin φ), a and b its standard deviations along the axes of its ellipse, has φ
    evenly spread and t² / 2 with the exponential distribution, so that within r it lies with probability

        P(r) = 1 - mean over φ of exp(-r² / 2v),  v = a² cos² φ + b² sin² φ

    The radius is between 1.960 a (b = 0, a line) and 2.448 a (b = a, a circle).

    Parameters
    ----------
    variances
        (n, 2, 2) covariances of x and y, square metres.

    Examples
    --------
    >>> confidence_radii(np.array([[[4.0, 0.0], [0.0, 4.0]], [[0.0, 0.0], [0.0, 1.0]]])).round(4).tolist()
    [4.8955, 1.96]
    """
    axes = ellipses(variances)[:, :2]
    a, b = axes.T / np.sqrt(CHI2_95)
    flat = np.divide(b, a, out=np.ones_like(a), where=a > 0)  # at b = a only the size is unknown
    parts = np.split(flat, range(AT_ONCE, len(flat), AT_ONCE))
    return np.asarray(a * np.concatenate([_relative_radii(some) for some in parts]))


def _relative_radii(flat: Array) -> Array:
    """Return the radii (n,) for ellipses whose longer axis is 1 and whose shorter one is ``flat``."""
    angle = (np.arange(DIRECTIONS_SUMMED) + 0.5) * np.pi / (2 * DIRECTIONS_SUMMED)
    v = np.cos(angle) ** 2 + (flat[:, None] * np.sin(angle)) ** 2
    r = np.full(len(flat), 2.2)
    for _ in range(RADIUS_STEPS):
        outside = np.exp(-(r[:, None] ** 2) / (2 * v))
        r += (outside.mean(axis=1) - (1 - CONFIDENCE)) / (outside * r[:, None] / v).mean(axis=1)
    return np.asarray(r)
