"""A solver of our own for a few taped lengths, chainages and pegs in line: plain formulae, scipy, numeric derivatives.

It shares nothing with the adjustment but what was observed, so that what a hypothesis leaves can be reckoned again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import dist, hypot

import numpy as np
from scipy.optimize import approx_fprime, least_squares

from pegline.network.linear_equations import Network
from pegline.network.observation_types import Distance, Ranging, TieChainage

__all__ = ["OwnSolution", "solve_again"]

STEP = 1e-6  #: of numeric derivatives, metres


@dataclass(frozen=True)
class OwnSolution:
    """A network solved again with some readings wrong by amounts to be found."""

    square: float  #: χ² that is left
    amounts: np.ndarray  #: (k,)
    covariances: np.ndarray  #: (k, k) of the amounts
    log_volume: float  #: logarithm of √((2π)^u / det N) without the 2π, of positions, scales and amounts together
    worst: float  #: the largest residual over its own standard deviation
    unknowns: np.ndarray  #: what is not held, then the amounts
    slopes: np.ndarray  #: (m, u) derivatives of the observations to the unknowns, over their deviations


def solve_again(
    network: Network,
    begin: np.ndarray,
    wrong: Sequence[int] = (),
    values: Mapping[int, float] | None = None,
    sds: Mapping[int, float] | None = None,
) -> OwnSolution:
    """Return a network of distances and pegs on lines solved again.

    Parameters
    ----------
    begin
        (2 n + s,) parameters to begin with.
    wrong
        Numbers of the observations each of which is wrong by an amount.
    values
        Values in the place of those booked, by the number of the observation.
    sds
        Deviations of tapes in the place of the network's.
    """
    held, count = network.held, len(network.names)
    booked = [(values or {}).get(n, one.booking.value) for n, one in enumerate(network.observations)]
    tape_sds = [(sds or {}).get(t, float(sd)) for t, sd in enumerate(network.shared_sds)]

    def misfits(unknowns: np.ndarray) -> np.ndarray:
        parameters = begin.copy()
        parameters[~held] = unknowns[: len(unknowns) - len(wrong)]
        amounts = dict(zip(wrong, unknowns[len(unknowns) - len(wrong) :], strict=True))
        at = {name: tuple(parameters[2 * n : 2 * n + 2]) for n, name in enumerate(network.names)}
        scales = parameters[2 * count :]
        left = []
        for n, one in enumerate(network.observations):
            scale = 1.0 if one.booking.tape is None else 1 + scales[network.tapes.index(one.booking.tape)]
            left.append((booked[n] + amounts.get(n, 0.0) - _computed(one, at) * scale) / one.booking.sd)
        return np.array([*left, *(-scale / sd for scale, sd in zip(scales, tape_sds, strict=True))])

    first = np.concatenate((begin[~held], np.zeros(len(wrong))))
    found = least_squares(misfits, first, xtol=1e-14, ftol=1e-14, gtol=1e-14, x_scale="jac")
    slopes = approx_fprime(found.x, misfits, STEP)
    normal = slopes.T @ slopes
    inverse = np.linalg.inv(normal)
    share = np.sqrt(np.maximum(1 - np.einsum("mu,uv,mv->m", slopes, inverse, slopes), 0.0))
    tests = np.abs(found.fun) / np.where(share > 1e-3, share, np.inf)
    amounts = found.x[len(found.x) - len(wrong) :]
    among = inverse[len(found.x) - len(wrong) :, len(found.x) - len(wrong) :]
    worst = float(tests[: len(booked)].max())
    return OwnSolution(
        float(found.fun @ found.fun),
        amounts,
        among,
        -float(np.linalg.slogdet(normal)[1]) / 2,
        worst,
        found.x,
        slopes,
    )


def _computed(one: object, at: Mapping[str, tuple[float, float]]) -> float:
    """Return a length, a chainage of a foot, or how far a peg stands to the left of its line."""
    if isinstance(one, Distance):
        return dist(at[one.start], at[one.end])
    if not isinstance(one, TieChainage | Ranging):
        raise TypeError(f"no formula here of {type(one).__name__}")
    (x, y), (px, py), (qx, qy) = at[one.point], at[one.start], at[one.end]
    length = hypot(qx - px, qy - py)
    if isinstance(one, TieChainage):
        return ((x - px) * (qx - px) + (y - py) * (qy - py)) / length
    return ((qx - px) * (y - py) - (qy - py) * (x - px)) / length
