"""All tests of a network together: their critical value, and which of them cannot be told apart."""

from __future__ import annotations

from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.network.common import Array
from pegline.network.quality import NetworkCovariances, redundancies, spread
from pegline.network.solve import Fit

__all__ = ["FAMILY", "TOGETHER", "correlated_tests", "critical_value", "sidak"]

Ints = NDArray[np.int64]

#: At most this share of sound surveys is called wrong, by all their tests together.
FAMILY: Final = 0.05
#: Tests that correlate more than this cannot be told apart.
TOGETHER: Final = 0.95
#: A redundancy number below this is none.
NONE: Final = 1e-6
#: Up to so many observations all pairs of tests are looked at, and the critical value may be simulated.
SMALL: Final = 600
DRAWS: Final = 5_000
#: In larger networks, tests are compared where so many observations or fewer meet in a point.
FEW: Final = 4


def critical_value(plotting: Fit, adjusted: Fit, significance: float) -> float:
    """Return the |test| that the largest of a sound survey's tests stays under in 95 of 100 surveys.

    The tests are those of every measurement in the adjusted solution and of every one that was left out
    of the plotting solution. Where the bound for independent tests is not under the two-sided quantile of
    ``significance`` anyway, the largest of the correlated tests is simulated for small networks (seeded).
    """
    floor = NormalDist().inv_cdf(1 - significance / 2)
    shares = redundancies(adjusted, spread(adjusted, NetworkCovariances(adjusted)))
    left_out = ~plotting.keep[: len(adjusted.keep)]
    bound = sidak(int((shares > NONE).sum() + left_out.sum()))
    if bound <= floor or len(adjusted.keep) > SMALL:
        return max(floor, bound)
    largest = np.zeros(DRAWS)
    for tests in (_own_tests(adjusted, shares), _check_tests(plotting, np.flatnonzero(left_out))):
        # The same errors for both: tapes first, then observations, then what only places the plotting solution.
        draws = np.random.default_rng(20).standard_normal((tests.shape[1], DRAWS))
        for some in np.array_split(tests, 1 + len(tests) // 100):
            np.maximum(largest, np.abs(some @ draws).max(axis=0, initial=0.0), out=largest)
    return max(floor, min(bound, float(np.quantile(largest, 1 - FAMILY))))


def sidak(tests: int) -> float:
    """Return the critical value for so many independent tests; correlated ones need no larger one.

    Z. Šidák, Rectangular confidence regions for the means of multivariate normal distributions, 1967
    (from memory): each at 1 - (1 - 0.05)^(1/n).

    >>> round(sidak(1), 3), round(sidak(1000), 3)
    (1.96, 4.05)
    """
    return NormalDist().inv_cdf(1 - (1 - (1 - FAMILY) ** (1 / max(tests, 1))) / 2)


def _scaled(fit: Fit) -> Array:
    """Return the derivatives (t + m, u) over their standard deviations, the scales of the tapes first."""
    network = fit.network
    columns = np.append(network.columns, -1)
    tapes = len(network.tapes)
    found = np.zeros((tapes + len(network.values), int((~network.held).sum()) + 1))
    for tape in range(tapes):
        found[tape, columns[2 * len(network.names) + tape]] = 1 / network.tape_sds[tape]
    for batch, numbers, partials in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        np.add.at(found, (tapes + batch.rows[:, None], columns[numbers]), partials / network.sds[batch.rows, None])
    return np.asarray(found[:, :-1])


def _used(fit: Fit) -> Array:
    """Return 1 for what the solution used, the tapes' scales included, 0 for the rest."""
    return np.concatenate((np.ones(len(fit.network.tapes)), fit.keep)).astype(float)


def _own_tests(fit: Fit, shares: Array) -> Array:
    """Return the tests (k, t + m) of a solution as they follow from errors of unit size."""
    rows = np.flatnonzero(shares > NONE) + len(fit.network.tapes)
    scaled = _scaled(fit)
    hat = scaled[rows] @ fit.factor.solve((scaled * _used(fit)[:, None]).T)
    return np.asarray((np.eye(len(scaled))[rows] - hat) / np.sqrt(shares[shares > NONE][:, None]))


def _check_tests(fit: Fit, rows: Ints) -> Array:
    """Return the tests (k, t + m) of what a solution left out, as they follow from errors of unit size."""
    scaled = _scaled(fit)
    rows = rows + len(fit.network.tapes)
    hat = scaled[rows] @ fit.factor.solve((scaled * _used(fit)[:, None]).T)
    tests = np.eye(len(scaled))[rows] - hat
    size = np.sqrt(np.einsum("ij,ij->i", tests, tests))
    return np.asarray(tests / np.where(size > 0, size, 1.0)[:, None])


def correlated_tests(fit: Fit) -> tuple[tuple[int, int, float], ...]:
    """Return the pairs of measurements that cannot be told apart, by number among those kept, with their correlation.

    Tests of residuals v = (I - H) e correlate by -H_ij / √(r_i r_j) in units of the standard deviations. In large
    networks only pairs that meet in a point with four observations or fewer are looked at: more tell them apart.
    """
    shares = redundancies(fit, spread(fit, NetworkCovariances(fit)))
    kept = np.flatnonzero(fit.keep)
    number = np.cumsum(fit.keep) - 1
    rows = kept[shares[kept] > NONE]
    if len(rows) < 2:
        return ()
    if len(kept) > SMALL:
        return _correlated_nearby(fit, shares, rows, number)
    scaled = _scaled(fit)[rows + len(fit.network.tapes)]
    hat = scaled @ fit.factor.solve(scaled.T)
    root = np.sqrt(shares[rows])
    found = -hat / root[:, None] / root
    first, second = np.nonzero(np.triu(np.abs(found) > TOGETHER, 1))
    return tuple(
        (int(number[rows[i]]), int(number[rows[j]]), float(np.clip(found[i, j], -1, 1)))
        for i, j in zip(first, second, strict=True)
    )


def _correlated_nearby(fit: Fit, shares: Array, rows: Ints, number: Ints) -> tuple[tuple[int, int, float], ...]:
    network = fit.network
    at: list[list[int]] = [[] for _ in network.names]
    parameters = np.full((len(network.values), 7), -1)
    partials = np.zeros((len(network.values), 7))
    for batch, numbers, slopes in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        parameters[batch.rows, : numbers.shape[1]] = numbers
        partials[batch.rows, : numbers.shape[1]] = slopes / network.sds[batch.rows, None]
        for row, points in zip(batch.rows.tolist(), batch.points.tolist(), strict=True):
            if fit.keep[row]:
                for point in points:
                    at[point].append(row)
    tested = set(rows.tolist())
    pairs = {
        (i, j)
        for meeting in at
        if len(meeting) <= FEW
        for i in meeting
        for j in meeting
        if i < j and i in tested and j in tested
    }
    if not pairs:
        return ()
    first, second = np.array(sorted(pairs)).T
    both = NetworkCovariances(fit).blocks(np.concatenate((parameters[first], parameters[second]), axis=1))
    shared = np.einsum("mi,mij,mj->m", partials[first], both[:, :7, 7:], partials[second])
    found = -shared / np.sqrt(shares[first] * shares[second])
    return tuple(
        (int(number[i]), int(number[j]), float(np.clip(value, -1, 1)))
        for i, j, value in zip(first, second, found, strict=True)
        if abs(value) > TOGETHER
    )
