"""The solution from everything that was measured, what fails included: where the search for what is wrong begins."""

from __future__ import annotations

import numpy as np

from pegline.errors import BookError
from pegline.network.kinds import CHECKS
from pegline.network.least_squares import Fit, solve
from pegline.network.model import Adjustment

__all__ = ["fit_of_everything", "something_fails"]


def something_fails(adjustment: Adjustment) -> bool:
    """Return whether something that was adjusted is wrong: a check, or a test of the adjusted solution."""
    checks = any(not check.passed and CHECKS[check.kind].adjusted for check in adjustment.checks)
    adjusted = (m for m in adjustment.measurements if m.redundancy is not None)
    return checks or any(abs(m.test) > adjustment.critical for m in adjusted)


def fit_of_everything(adjustment: Adjustment) -> Fit | None:
    """Return the solution from everything that was measured, what fails included.

    Where a gross error hinders that, what failed is left out; None where there is no network.
    """
    fit = adjustment.fit
    if fit is None or fit.keep.all():
        return fit
    network = fit.network
    begin = np.concatenate((adjustment.adjusted.positions.ravel(), adjustment.adjusted.scales))
    used = {m.booking for m in adjustment.measurements}
    sound = np.array([one.booking in used for one in network.observations])
    for keep in (np.ones(len(sound), bool), sound):
        try:
            return solve(network, keep, begin)
        except BookError:
            continue
    return None
