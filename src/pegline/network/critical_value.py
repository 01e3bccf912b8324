"""All tests of a network together: their critical value."""

from __future__ import annotations

from statistics import NormalDist
from typing import Final

import numpy as np

from pegline.network.dependents import derivative_matrix, full_matrix
from pegline.network.least_squares import Fit
from pegline.network.quality import MIN_REDUNDANCY
from pegline.plane import Array, Ints

__all__ = ["FAMILY_SIGNIFICANCE", "critical_value", "sidak"]


#: At most this share of sound surveys is called wrong, by all their tests together.
FAMILY_SIGNIFICANCE: Final = 0.05
#: For more tests the bound for independent ones lies within 0.05 of what would be simulated.
MANY_TESTS: Final = 300
#: Rounds until the critical value of correlated tests stands: each takes an error to a twentieth or less.
CRITICAL_ROUNDS: Final = 8
#: Steps of an integral: good to six digits.
INTEGRAL_STEPS: Final = 100


def critical_value(plotting: Fit, adjusted: Fit, shares: Array, significance: float) -> float:
    """Return a |test| that the largest of a sound survey's tests stays under in at least 95 of 100 surveys.

    The tests are those of every measurement in the adjusted solution and of every one that was left out
    of the plotting solution. Where the bound for independent tests is not under the two-sided quantile of
    ``significance`` anyway, what the tests have in common lowers it, as far as ``MANY_TESTS`` tests.

    Parameters
    ----------
    plotting, adjusted
        The two solutions.
    shares
        Redundancy numbers of the adjusted one.
    significance
        Of a single test.
    """
    floor = NormalDist().inv_cdf(1 - significance / 2)
    left_out = np.flatnonzero(~plotting.keep[: len(adjusted.keep)])
    count = int((shares > MIN_REDUNDANCY).sum()) + len(left_out)
    bound = sidak(count)
    if bound <= floor or count > MANY_TESTS:
        return max(floor, bound)
    own, others = _own_tests(adjusted, shares), _check_tests(plotting, left_out)
    # What only places the plotting solution comes last and is no error of the adjusted one.
    tests = np.concatenate((np.pad(own, ((0, 0), (0, others.shape[1] - own.shape[1]))), others))
    return max(floor, min(bound, _for_correlated(tests @ tests.T)))


def _for_correlated(correlations: Array) -> float:
    """Return the critical value for tests with given correlations.

    An alarm that two tests raise together counts once: with c the value, p = P(|x| > c) and the pairs
    those of the tree of strongest correlations,

        P(any) <= n p - Σ P(|x| > c and |y| > c) = 0.05

    D. Hunter, An upper bound for the probability of a union, 1976 (from memory).
    """
    ties = _strongest_tree(np.abs(correlations))
    alone = float(len(correlations))
    for _ in range(CRITICAL_ROUNDS):
        critical = NormalDist().inv_cdf(1 - FAMILY_SIGNIFICANCE / alone / 2)
        alone = len(correlations) - float(_both(critical, ties).sum()) / (2 - 2 * NormalDist().cdf(critical))
    return critical


def _strongest_tree(correlations: Array) -> Array:
    """Return the correlations (n - 1,) along the tree that joins all tests by the strongest ones."""
    strengths = np.zeros(len(correlations) - 1)
    nearest = correlations[0].copy()
    nearest[0] = -np.inf
    for step in range(len(strengths)):
        chosen = int(nearest.argmax())
        strengths[step] = nearest[chosen]
        nearest = np.where(nearest < 0, nearest, np.maximum(nearest, correlations[chosen]))
        nearest[chosen] = -np.inf
    return np.clip(strengths, 0.0, 1.0)


def _both(critical: float, correlations: Array) -> Array:
    """Return P(|x| > c and |y| > c) of pairs of tests with given correlations.

    R. L. Plackett, A reduction formula for normal multivariate integrals, 1954 (from memory): with ρ = sin θ,

        p² + ∫ (exp(-c² / (1 + sin t)) - exp(-c² / (1 - sin t))) dt / π   from 0 to θ

    >>> _both(1.96, np.array([0.0, 1.0])).round(4).tolist()
    [0.0025, 0.05]
    """
    angles = np.arcsin(correlations)
    sines = np.sin(angles[:, None] * (np.arange(INTEGRAL_STEPS) + 0.5) / INTEGRAL_STEPS)
    mean = np.mean(np.exp(-(critical**2) / (1 + sines)) - np.exp(-(critical**2) / (1 - sines)), axis=1)
    return np.asarray((2 - 2 * NormalDist().cdf(critical)) ** 2 + mean * angles / np.pi)


def sidak(tests: int) -> float:
    """Return the critical value for so many independent tests; correlated ones need no larger one.

    Z. Šidák, Rectangular confidence regions for the means of multivariate normal distributions, 1967
    (from memory): each at 1 - (1 - 0.05)^(1/n).

    >>> round(sidak(1), 3), round(sidak(1000), 3)
    (1.96, 4.05)
    """
    return NormalDist().inv_cdf(1 - (1 - (1 - FAMILY_SIGNIFICANCE) ** (1 / max(tests, 1))) / 2)


def _scaled_derivatives(fit: Fit) -> Array:
    """Return the derivatives (s + m, u) over their standard deviations, what readings share first."""
    network = fit.network
    numbers = np.arange(len(network.shared_sds))
    shared = np.zeros((len(numbers), int((~network.held).sum())))
    shared[numbers, network.columns[2 * len(network.names) + numbers]] = 1 / network.shared_sds
    return np.concatenate((shared, full_matrix(derivative_matrix(fit)) / network.sds[:, None]))


def _flags_of_use(fit: Fit) -> Array:
    """Return 1 for what the solution used, what readings share included, 0 for the rest."""
    return np.concatenate((np.ones(len(fit.network.shared_sds)), fit.keep)).astype(float)


def _own_tests(fit: Fit, shares: Array) -> Array:
    """Return the tests (k, s + m) of a solution as they follow from errors of unit size."""
    rows = np.flatnonzero(shares > MIN_REDUNDANCY) + len(fit.network.shared_sds)
    scaled = _scaled_derivatives(fit)
    hat = scaled[rows] @ fit.factor.solve((scaled * _flags_of_use(fit)[:, None]).T)
    return np.asarray((np.eye(len(scaled))[rows] - hat) / np.sqrt(shares[shares > MIN_REDUNDANCY][:, None]))


def _check_tests(fit: Fit, rows: Ints) -> Array:
    """Return the tests (k, s + m) of what a solution left out, as they follow from errors of unit size."""
    scaled = _scaled_derivatives(fit)
    rows = rows + len(fit.network.shared_sds)
    hat = scaled[rows] @ fit.factor.solve((scaled * _flags_of_use(fit)[:, None]).T)
    tests = np.eye(len(scaled))[rows] - hat
    return np.asarray(tests / np.linalg.norm(tests, axis=1)[:, None])
