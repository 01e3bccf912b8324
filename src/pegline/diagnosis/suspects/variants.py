"""Many variants of one network solved at once: some observations replaced, some amounts left to be found.

A variant is the same survey booked otherwise. All of them have the same points and the same equations, so
they are linearised and solved side by side: positions (v, n, 2), residuals (v, m), derivatives (v, m, u).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Final, NamedTuple

import numpy as np

from pegline.network.dependents import Change
from pegline.network.equations import EQUATIONS
from pegline.network.linear_equations import Batch, Network
from pegline.network.observation_types import Observation
from pegline.plane import Array, Ints, wrap_angle
from pegline.records import record

__all__ = ["SolvedVariant", "Variant", "Variants"]


MAX_VARIANT_STEPS: Final = 25  #: steps after which a variant is taken as it stands,
MORE_ROUNDS: Final = 40  #: and one that comes near the best
SETTLED_CHI2: Final = 1e-3  #: a step that lowers χ² by less ends the rounds
LOOSE_SD: Final = 1e3  #: of an amount about which nothing is known, metres or radians
LOOSE_TAPE_SD: Final = 0.02  #: of a tape that may be of any length, metres a metre
SHORTEST_LINE: Final = 1e-6  #: metres
AMOUNT_STEP: Final = 1e-4  #: of an amount, for its derivative, metres
LEAST_DIAGONAL: Final = 1e-12  #: of the normal matrix, where nothing holds an unknown
HUGE: Final = 1e6  #: a misclosure where an equation has no value, in σ
RIDGE: Final = 1e-10  #: share of the diagonal that keeps what nothing holds from being singular
HOPELESS_VARIANT: Final = 200.0  #: a variant whose χ² lies by more above the best is none
WEAKEST_DAMPING: Final = 1e-3
STRONGEST_DAMPING: Final = 1e5


@record(frozen=True, slots=True)
class Variant:
    """A survey booked otherwise."""

    instead: Mapping[int, Observation] = field(default_factory=dict)  #: by the number of the observation
    amounts: tuple[Change, ...] = ()  #: what is to be found
    fixed: tuple[float, ...] | None = None  #: what the amounts are, where that is known
    loose_tape: int | None = None  #: a tape about whose length nothing is known but ``tape_sd``
    tape_sd: float = LOOSE_TAPE_SD  #: metres a metre


@record(frozen=True, slots=False)
class SolvedVariant:
    """Variants, solved."""

    parameters: Array  #: (v, 2 n + s) as those of the network
    amounts: Array  #: (v, k), 0 beyond a variant's own
    amount_covariances: Array  #: (v, k, k)
    squares: Array  #: (v,) χ² that is left
    log_volumes: Array  #: (v,) logarithm of the volume that the likelihood fills, up to a constant
    worst: Array  #: (v,) largest test that is left


class _Look(NamedTuple):
    residuals: Array  #: (v, m) over their standard deviations
    slopes: Array  #: (v, m, u + k) over the standard deviations
    cost: Array  #: (v,)


class _Batch(NamedTuple):
    """The observations of one type in every variant."""

    kind: type
    rows: Ints  #: (m,)
    points: Ints  #: (v, m, k)
    above: Array  #: (v, m, j) numerators of the constants
    below: Array  #: (v, m, j) denominators
    above_rates: Array  #: (v, k, m, j)
    below_rates: Array  #: (v, k, m, j)
    tapes: Ints  #: (m,)
    shared: Ints  #: (m, w)
    shares: Array  #: (m, w)
    columns: Ints  #: (v, m, p) number of each derivative's unknown

    def hangs(self, which: Ints) -> bool:
        """Return whether an amount changes a constant of some variants."""
        return bool(self.above_rates[which].any() or self.below_rates[which].any())


class _Places(NamedTuple):
    """Where some variants are looked at."""

    points: Array  #: (v, n, 2)
    shared: Array  #: (v, s + 1) what readings share, the last for the scale of what no tape measured
    amounts: Array  #: (v, k)
    which: Ints  #: (v,) numbers of the variants


class Variants:
    """Variants of one network."""

    def __init__(self, network: Network, variants: Sequence[Variant]) -> None:
        self.network, self.variants = network, tuple(variants)
        count, rows = len(variants), len(network.values)
        self.size = max((len(one.amounts) for one in variants), default=0)
        self.values = np.tile(network.values, (count, 1))
        self.value_rates = np.zeros((count, self.size, rows))
        self.shared_sds = np.tile(network.shared_sds, (count, 1))
        for v, variant in enumerate(variants):
            for number, one in variant.instead.items():
                self.values[v, number] = one.booking.value
            for k, amount in enumerate(variant.amounts):
                for number, rate in amount.items():
                    self.value_rates[v, k, number] = rate.value
            if variant.loose_tape is not None:
                self.shared_sds[v, variant.loose_tape] = variant.tape_sd
        #: (v, k) which amounts are to be found
        self.found = np.array(
            [[k < len(one.amounts) and one.fixed is None for k in range(self.size)] for one in self.variants], bool
        ).reshape(count, self.size)
        self.unknowns = int((~network.held).sum())
        self.batches = [self._batch(batch) for batch in network.batches]

    @property
    def given_amounts(self) -> Array:
        """Return the amounts (v, k) that are known, 0 for the others."""
        amounts = np.zeros((len(self.variants), self.size))
        for v, variant in enumerate(self.variants):
            amounts[v, : len(variant.fixed or ())] = variant.fixed or ()
        return amounts

    def _batch(self, of: Batch) -> _Batch:
        network, count, rows = self.network, len(self.variants), of.rows
        ones = [network.observations[row] for row in rows.tolist()]
        kind = type(ones[0])
        piece = EQUATIONS[kind].piece
        points = np.tile(_points(network, ones), (count, 1, 1))
        above, below = (np.tile(part, (count, 1, 1)) for part in _constants(ones))
        rates = np.zeros((2, count, self.size, *above.shape[1:]))
        place = {row: at for at, row in enumerate(rows.tolist())}
        for v, variant in enumerate(self.variants):
            for number, one in variant.instead.items():
                if number in place:
                    at = place[number]
                    points[v, at] = _points(network, [one])[0]
                    above[v, at], below[v, at] = (part[0] for part in _constants([one]))
            if piece:
                for k, amount in enumerate(variant.amounts):
                    for number in amount.keys() & place.keys():
                        parts = [getattr(amount[number], name) for name in piece.fields]
                        rates[: len(parts), v, k, place[number], 0] = parts
        columns = self._columns(points, of)
        return _Batch(kind, rows, points, above, below, rates[0], rates[1], of.tapes, of.shared, of.shares, columns)

    def _place(self, number: int) -> tuple[_Batch, int]:
        batch = next(batch for batch in self.batches if number in batch.rows)
        return batch, int(np.flatnonzero(batch.rows == number)[0])

    def points_of(self, number: int) -> Ints:
        """Return the points (v, k) of an observation."""
        batch, at = self._place(number)
        return np.asarray(batch.points[:, at])

    def value_of(self, number: int, amounts: Array) -> Array:
        """Return the observed value (v,) of an observation."""
        return np.asarray(self.values[:, number] + np.einsum("vk,vk->v", amounts, self.value_rates[:, :, number]))

    def share_of(self, number: int, amounts: Array, line: Array) -> Array:
        """Return how much (v,) of its line (v, 2) lies before a tie station's chainage."""
        value = self.value_of(number, amounts)
        batch, at = self._place(number)
        if EQUATIONS[batch.kind].piece is None:  # a chainage as it is read, in proportion to nothing
            return value * self.network.scale / np.maximum(np.hypot(line[:, 0], line[:, 1]), SHORTEST_LINE)
        length = batch.above[:, at, 0] + np.einsum("vk,vk->v", amounts, batch.above_rates[:, :, at, 0])
        return np.asarray(value / length)

    def _columns(self, points: Ints, of: Batch) -> Ints:
        """Return the number of the unknown of each derivative; what is held has the last."""
        columns = np.append(np.where(self.network.held, self.unknowns, self.network.columns), self.unknowns)
        numbers = np.stack((2 * points, 2 * points + 1), axis=3).reshape(*points.shape[:2], -1)
        of_tapes = np.where(of.tapes >= 0, 2 * len(self.network.names) + of.tapes, -1)
        shared = np.column_stack((of_tapes, 2 * len(self.network.names) + of.shared))
        numbers = np.concatenate((numbers, np.broadcast_to(shared, (*points.shape[:2], shared.shape[1]))), axis=2)
        return np.asarray(columns[numbers])

    # -- one look ----------------------------------------------------------------------------------------------------

    def misclosures(self, parameters: Array, amounts: Array | None = None) -> Array:
        """Return the residuals (v, m) over their standard deviations where the points stand."""
        amounts = np.zeros((len(parameters), self.size)) if amounts is None else amounts
        return self._residuals(parameters, amounts, np.arange(len(parameters)))[0]

    def _look(self, parameters: Array, amounts: Array, which: Ints) -> _Look:
        """Return residuals, their derivatives and χ² of some variants."""
        residuals, partials = self._residuals(parameters, amounts, which)
        slopes = np.zeros((*residuals.shape, self.unknowns + 1 + self.size))
        every = np.arange(len(which))[:, None, None]
        for batch, (by_unknowns, by_amounts) in zip(self.batches, partials, strict=True):
            slopes[every, batch.rows[None, :, None], batch.columns[which]] = by_unknowns
            if by_amounts is not None:
                slopes[:, batch.rows, self.unknowns + 1 :] = by_amounts
        if self.size:
            slopes[:, :, self.unknowns + 1 :] -= self.value_rates[which].transpose(0, 2, 1)
            slopes[:, :, self.unknowns + 1 :] *= self.found[which][:, None, :]
        slopes /= self.network.sds[None, :, None]
        slopes[:, :, self.unknowns] = 0.0
        shared = parameters[:, 2 * len(self.network.names) :] / self.shared_sds[which]
        cost = np.sum(residuals**2, axis=1) + np.sum(shared**2, axis=1) + np.sum((amounts / LOOSE_SD) ** 2, axis=1)
        return _Look(residuals, slopes, cost)

    def _residuals(
        self, parameters: Array, amounts: Array, which: Ints
    ) -> tuple[Array, list[tuple[Array, Array | None]]]:
        """Return residuals (v, m) over their standard deviations, and each batch's derivatives of what is computed."""
        places = _Places(
            parameters[:, : 2 * len(self.network.names)].reshape(len(parameters), -1, 2),
            np.pad(parameters[:, 2 * len(self.network.names) :], ((0, 0), (0, 1))),
            amounts,
            which,
        )
        residuals = self.values[which] + np.einsum("vk,vkm->vm", amounts, self.value_rates[which])
        partials = []
        # Points may fall on each other where a variant is far from what was measured.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for batch in self.batches:
                value, by_unknowns, by_amounts = self._compute(batch, places)
                residuals[:, batch.rows] -= value
                if EQUATIONS[batch.kind].angle:
                    residuals[:, batch.rows] = wrap_angle(residuals[:, batch.rows])
                partials.append((np.nan_to_num(by_unknowns, posinf=0.0, neginf=0.0), by_amounts))
        residuals = np.nan_to_num(residuals / self.network.sds, nan=HUGE, posinf=HUGE, neginf=-HUGE)
        return residuals, partials

    def _compute(self, batch: _Batch, places: _Places) -> tuple[Array, Array, Array | None]:
        """Return computed values (v, m), derivatives (v, m, p), and those to the amounts (v, m, k)."""
        equation = EQUATIONS[batch.kind]
        where = places.points[np.arange(len(places.points))[:, None, None], batch.points[places.which]]
        shape = where.shape[:2]
        flat = where.reshape(-1, *where.shape[2:])
        value, jacobian = equation.function(flat, self._constants(batch, places, places.amounts))
        by_amounts = None
        if self.size and batch.hangs(places.which):
            moved = (
                equation.function(flat, self._constants(batch, places, places.amounts + AMOUNT_STEP * unit))[0]
                for unit in np.eye(self.size)[:, None]
            )
            by_amounts = np.stack([(other - value).reshape(shape) / AMOUNT_STEP for other in moved], axis=2)
        value, partials = value.reshape(shape), jacobian.reshape(*shape, -1)
        by_tape = np.zeros((*shape, 1))
        if equation.taped:
            factor = (1 + places.shared[:, batch.tapes]) / self.network.scale
            by_tape = np.where(batch.tapes >= 0, value / self.network.scale, 0.0)[:, :, None]
            value, partials = value * factor, partials * factor[:, :, None]
            by_amounts = None if by_amounts is None else by_amounts * factor[:, :, None]
        if batch.shares.size:
            value = value + np.sum(places.shared[:, batch.shared] * batch.shares, axis=2)
        by_shared = np.broadcast_to(batch.shares, (*shape, batch.shares.shape[1]))
        return value, np.concatenate((partials, by_tape, by_shared), axis=2), by_amounts

    def _constants(self, batch: _Batch, places: _Places, amounts: Array) -> Array:
        """Return the constants (v m, j) of a batch's equations."""
        above, below = batch.above[places.which], batch.below[places.which]
        if self.size and EQUATIONS[batch.kind].piece:
            above = above + np.einsum("vk,vkmj->vmj", amounts, batch.above_rates[places.which])
            below = below + np.einsum("vk,vkmj->vmj", amounts, batch.below_rates[places.which])
        return np.asarray((above / below).reshape(above.shape[0] * above.shape[1], -1))

    def foretold_squares(self, parameters: Array, amounts: Array) -> Array:
        """Return the χ² (v,) that should be left where each variant is adjusted from there, by one linear step."""
        every = np.arange(len(parameters))
        look = self._look(parameters, amounts, every)
        _, gains = self._steps(look, every, parameters, amounts, np.zeros(len(parameters)))
        return np.asarray(look.cost - gains)

    # -- the solution ------------------------------------------------------------------------------------------------

    def solve(self, begin: Array, amounts: Array) -> SolvedVariant:
        """Adjust every variant; each step is damped where it does not lower χ² (Levenberg and Marquardt).

        Parameters
        ----------
        begin
            (v, 2 n + s) parameters to begin with.
        amounts
            (v, k) amounts to begin with.
        """
        parameters, amounts = begin.copy(), amounts.copy()
        look = self._look(parameters, amounts, np.arange(len(parameters)))
        damping = np.zeros(len(parameters))
        going = np.arange(len(parameters))
        for rounds in range(MORE_ROUNDS):
            if rounds >= MAX_VARIANT_STEPS:
                going = going[look.cost[going] <= look.cost.min() + HOPELESS_VARIANT]
            if not len(going):
                break
            steps, gains = self._steps(look, going, parameters, amounts, damping)
            there, more = self._step_from(parameters[going], amounts[going], steps)
            new = self._look(there, more, going)
            better = new.cost <= look.cost[going] + 1e-9
            better_variants = going[better]
            parameters[better_variants], amounts[better_variants] = there[better], more[better]
            for old, fresh in zip(look, new, strict=True):
                old[better_variants] = fresh[better]
            damping[better_variants] = np.where(
                damping[better_variants] <= WEAKEST_DAMPING, 0.0, damping[better_variants] / 30
            )
            failed = going[~better]
            damping[failed] = np.maximum(10 * damping[failed], WEAKEST_DAMPING)
            done = (better & (gains < SETTLED_CHI2 * np.maximum(look.cost[going] / 10, 1.0))) | (
                damping[going] > STRONGEST_DAMPING
            )
            going = going[~done]
        return self._solution(look, parameters, amounts)

    def _normal(self, look: _Look, going: Ints, parameters: Array, amounts: Array) -> tuple[Array, Array]:
        """Return the normal matrices (v, u, u) and right-hand sides (v, u), what is held left out."""
        slopes = np.delete(look.slopes[going], self.unknowns, axis=2)
        matrix = slopes.transpose(0, 2, 1) @ slopes
        right = np.einsum("vmu,vm->vu", slopes, look.residuals[going])
        place = self.network.columns[2 * len(self.network.names) :]
        priors = self.shared_sds[going] ** -2.0
        matrix[:, place, place] += priors
        right[:, place] -= priors * parameters[going][:, 2 * len(self.network.names) :]
        last = np.arange(self.unknowns, self.unknowns + self.size)
        found = self.found[going]
        matrix[:, last, last] += np.where(found, LOOSE_SD**-2.0, 1.0)
        right[:, self.unknowns :] -= np.where(found, LOOSE_SD**-2.0 * amounts[going], 0.0)
        return matrix, right

    def _steps(
        self, look: _Look, going: Ints, parameters: Array, amounts: Array, damping: Array
    ) -> tuple[Array, Array]:
        """Return the steps (v, u + k), and by how much χ² should fall (v,)."""
        matrix, right = self._normal(look, going, parameters, amounts)
        diagonal = np.einsum("vii->vi", matrix)
        root = np.sqrt(np.maximum(diagonal, LEAST_DIAGONAL))
        scaled = matrix / root[:, :, None] / root[:, None, :]
        np.einsum("vii->vi", scaled)[:] += RIDGE + damping[going][:, None]
        steps = np.linalg.solve(scaled, (right / root)[:, :, None])[:, :, 0] / root
        return steps, np.einsum("vu,vu->v", steps, right)

    def _step_from(self, parameters: Array, amounts: Array, steps: Array) -> tuple[Array, Array]:
        there = parameters.copy()
        there[:, ~self.network.held] += steps[:, : self.unknowns]
        return there, amounts + steps[:, self.unknowns :]

    def _solution(self, look: _Look, parameters: Array, amounts: Array) -> SolvedVariant:
        """Return the solution; volumes and tests of those alone that come near the best."""
        count = len(parameters)
        near = np.flatnonzero(look.cost <= look.cost.min(initial=np.inf) + HOPELESS_VARIANT)
        matrix, _ = self._normal(look, near, parameters, amounts)
        root = np.sqrt(np.maximum(np.einsum("vii->vi", matrix), LEAST_DIAGONAL))
        scaled = matrix / root[:, :, None] / root[:, None, :]
        np.einsum("vii->vi", scaled)[:] += RIDGE
        inverse = np.linalg.inv(scaled) / root[:, :, None] / root[:, None, :]
        log_volumes, worst = np.full(count, -np.inf), np.full(count, np.inf)
        among = np.zeros((count, self.size, self.size))
        log_volumes[near] = -0.5 * (np.linalg.slogdet(scaled)[1] + 2 * np.log(root).sum(axis=1))
        slopes = np.delete(look.slopes[near], self.unknowns, axis=2)
        known = np.einsum("vmu,vmu->vm", slopes @ inverse, slopes)
        left = np.maximum(1 - known, 0.0)
        tests = np.where(left > 1e-6, np.abs(look.residuals[near]) / np.sqrt(np.maximum(left, 1e-6)), 0.0)
        worst[near] = tests.max(axis=1, initial=0.0)
        among[near] = inverse[:, self.unknowns :, self.unknowns :]
        return SolvedVariant(parameters, amounts, among, look.cost, log_volumes, worst)


def _points(network: Network, ones: Sequence[Observation]) -> Ints:
    return np.array([[network.index[name] for name in one.points] for one in ones], np.int64)


def _constants(ones: Sequence[Observation]) -> tuple[Array, Array]:
    """Return the constants (m, j) of observations of one type, as numerators and denominators."""
    equation = EQUATIONS[type(ones[0])]
    if equation.piece:
        parts = np.array([[getattr(one, name) for name in equation.piece.fields] for one in ones], float)
        return parts[:, :1], parts[:, 1:] if parts.shape[1] > 1 else np.ones_like(parts)
    numbers = np.array([equation.numbers(one) for one in ones], float).reshape(len(ones), -1)
    return numbers, np.ones_like(numbers)
