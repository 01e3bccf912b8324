"""What a network solved from everything measured says about each observation, and what a change of one does to others.

Everything is in standard deviations: residuals v/σ, derivatives a/σ. With S = A Q A' (Q the covariance of the
unknowns) the redundancy number of observation i is 1 - S_ii, and two tests correlate by
-S_ij / √(1 - S_ii) √(1 - S_jj). An error may reach further than its own observation: it has a direction g,
and its size is estimated as g'v / g'Rg.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from pegline.errors import BookError
from pegline.network.dependents import dependents_of, with_reading_changed
from pegline.network.kinds import CHECKS
from pegline.network.least_squares import Fit, solve_network
from pegline.network.linear_equations import linearise, misclosures, with_observations
from pegline.network.model import Adjustment
from pegline.network.quality import MAX_CORRELATION, MIN_REDUNDANCY, NetworkCovariances, computed_variances, derivatives
from pegline.plane import Array, Ints
from pegline.records import record

__all__ = ["LOOSE", "TIED", "Effects", "Explained", "fit_of_everything", "jacobian", "something_fails"]


def something_fails(adjustment: Adjustment) -> bool:
    """Return whether something that was adjusted is wrong: a check, or a test of the adjusted solution."""
    checks = any(not check.passed and CHECKS[check.kind].adjusted for check in adjustment.checks)
    adjusted = (m for m in adjustment.measurements if m.redundancy is not None)
    return checks or any(abs(m.test) > adjustment.critical for m in adjusted)


def fit_of_everything(adjustment: Adjustment) -> Fit | None:
    """Return the solution from everything that was measured, what fails included.

    Where a gross error hinders that, what failed is left out; None where that hinders it too.
    """
    fit = adjustment.fit
    if fit.keep.all():
        return fit
    network = fit.network
    begin = np.concatenate((adjustment.adjusted.positions.ravel(), adjustment.adjusted.scales))
    bookings = {m.booking for m in adjustment.measurements}
    sound = np.array([one.booking in bookings for one in network.observations])
    for keep in (np.ones(len(sound), bool), sound):
        try:
            return solve_network(network, keep, begin)
        except BookError:
            continue
    return None


LOOSE = MIN_REDUNDANCY
TIED = MAX_CORRELATION


def jacobian(fit: Fit, rows: Ints) -> Array:
    """Return the derivatives (k, u) of some observations to the unknowns, over their standard deviations."""
    return np.asarray(derivatives(fit, rows) / fit.network.sds[rows, None])


@record(frozen=True, slots=False)
class Effects:
    """A solved network, looked at observation by observation."""

    fit: Fit

    @cached_property
    def leverage(self) -> Array:
        """Return S_ii (m,) of every observation, also of those left out."""
        return np.asarray(computed_variances(self.fit, NetworkCovariances(self.fit)) / self.fit.network.sds**2)

    @cached_property
    def spread(self) -> Array:
        """Return the variance (m,) of v/σ: 1 - S_ii of what was used, 1 + S_ii of what was left out."""
        left_in = np.maximum(1 - self.leverage, 0.0)
        return np.where(self.fit.keep, left_in, 1 + self.leverage)

    @cached_property
    def tests(self) -> Array:
        """Return each residual over its standard deviation (m,), 0 where nothing checks it."""
        checked = self.spread > LOOSE
        size = self.fit.residuals / self.fit.network.sds
        return np.where(checked, size / np.sqrt(np.where(checked, self.spread, 1.0)), 0.0)

    def worst(self) -> float:
        """Return the largest test among what was used."""
        return float(np.abs(self.tests[self.fit.keep]).max(initial=0.0))

    def residual_effects(self, directions: Array) -> Array:
        """Return R G (m, k): what errors in given directions G (m, k) do to the residuals, all over σ.

        R = I - S; a row of G is 0 where the observation was left out.
        """
        columns = np.append(self.fit.network.columns, -1)
        moved = np.append(
            self.fit.factor.solve(self.parameter_effects(directions)), np.zeros((1, directions.shape[1])), axis=0
        )
        effects = directions.copy()
        for rows, numbers, partials in self._pairs():
            effects[rows] -= np.einsum("mp,mpk->mk", partials, moved[columns[numbers]])
        return effects

    def parameter_effects(self, directions: Array) -> Array:
        """Return A' G (u, k), all over σ."""
        network = self.fit.network
        columns = np.append(network.columns, -1)
        effects = np.zeros((int((~network.held).sum()) + 1, directions.shape[1]))
        for rows, numbers, partials in self._pairs():
            np.add.at(effects, columns[numbers], partials[:, :, None] * directions[rows][:, None, :])
        return np.asarray(effects[:-1])

    def _pairs(self) -> list[tuple[Ints, Ints, Array]]:
        """Return for each batch: observations, parameters, and derivatives over σ."""
        network, linear = self.fit.network, self.fit.linear
        return [
            (batch.rows, numbers, partials / network.sds[batch.rows, None])
            for batch, numbers, partials in zip(network.batches, linear.parameters, linear.partials, strict=True)
        ]

    def directions(self, rows: Ints) -> Array:
        """Return what an error of one unit in each of some observations does to all misclosures (m, k), over σ.

        That is the observation itself, and the chainages that are in proportion to it.
        """
        network = self.fit.network
        matrix = np.zeros((len(network.values), len(rows)))
        matrix[rows, np.arange(len(rows))] = 1.0
        for column, number in enumerate(rows):
            if dependents_of(network.observations, int(number)):
                step = 0.01 * network.sds[number]
                other = with_observations(network, with_reading_changed(network.observations, int(number), step))
                now = misclosures(other, linearise(other, self.fit.parameters))
                matrix[:, column] = (now - self.fit.residuals) / step
        matrix[~self.fit.keep] = 0.0
        return np.asarray(matrix / network.sds[:, None])

    def explain(self, rows: Ints) -> Explained:
        """Return how well an error in each of some observations would explain all residuals."""
        directions = self.directions(rows)
        effects = self.residual_effects(directions)
        power = np.sum(directions * effects, axis=0)
        has_power = power > LOOSE * np.sum(directions**2, axis=0)
        power = np.where(has_power, power, np.inf)
        residuals = np.where(self.fit.keep, self.fit.residuals / self.fit.network.sds, 0.0)
        error = directions.T @ residuals / power
        tests = error * np.sqrt(np.where(has_power, power, 0.0))
        shared = np.clip(directions.T @ effects / np.sqrt(power) / np.sqrt(power)[:, None], -1, 1)
        to_all = np.clip(effects / np.sqrt(np.maximum(self.spread, LOOSE))[:, None] / np.sqrt(power), -1, 1)
        left = np.abs(self.tests[:, None] - to_all * tests) / np.sqrt(np.maximum(1 - to_all**2, 1e-9))
        # What always moves with the observation says nothing once that is gone.
        left[np.abs(to_all) > 1 - 1e-6] = 0.0
        left[~self.fit.keep] = 0.0
        return Explained(1 / np.sqrt(power), tests, shared, left.max(axis=0, initial=0.0))


@record(frozen=True, slots=True)
class Explained:
    """How an error in each of k observations would explain the residuals of all."""

    sd: Array  #: (k,) its standard deviation; 0 where nothing checks it
    tests: Array  #: (k,) the error over its standard deviation
    correlations: Array  #: (k, k) between the tests
    worst: Array  #: (k,) largest test that is left among the others
