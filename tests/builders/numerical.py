"""Derivatives and covariances of a solved network by differences and whole matrices, as a reference."""

from __future__ import annotations

import numpy as np

from pegline.network.least_squares import Fit
from pegline.network.linear_equations import linearise, misclosures

__all__ = ["numerical_derivatives", "whole_covariance"]

STEP = 1e-4  #: metres; of scales and of other errors the same in their own unit


def numerical_derivatives(fit: Fit) -> np.ndarray:
    """Return the derivatives (m, p) of all that is computed to all parameters, by central differences."""
    columns = []
    for number in range(len(fit.parameters)):
        step = np.zeros(len(fit.parameters))
        step[number] = STEP
        there, back = (misclosures(fit.network, linearise(fit.network, fit.parameters + s)) for s in (step, -step))
        columns.append((back - there) / (2 * STEP))
    return np.array(columns).T


def whole_covariance(fit: Fit) -> np.ndarray:
    """Return the covariances (p, p) of all parameters; what is held has none.

    The inverse of J' W J with the priors of what readings share, of what is not held.
    """
    network, derivatives = fit.network, numerical_derivatives(fit)
    normal = derivatives.T @ (derivatives * (fit.keep / network.sds**2)[:, None])
    shared = np.arange(2 * len(network.names), len(fit.parameters))
    normal[shared, shared] += network.shared_sds**-2.0
    free = np.flatnonzero(~network.held)
    covariance = np.zeros_like(normal)
    covariance[free[:, None], free] = np.linalg.inv(normal[free[:, None], free])
    return covariance
