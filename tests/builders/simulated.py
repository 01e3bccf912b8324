"""Simulated surveys of a plot's framework as observations of the network: no book, so that thousands are quick."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil, dist, sqrt

import numpy as np

from builders.networks import RANGING
from builders.plot import Plot
from pegline.diagnosis.effects import Effects, Explained, jacobian
from pegline.diagnosis.suspects.booked_reading import BookedReading
from pegline.errors import Place
from pegline.measures.values import Length
from pegline.network.least_squares import Fit, solve_network
from pegline.network.linear_equations import Network, build_network, with_observations
from pegline.network.observation_types import Booking, Distance, Observation, Ranging, TieChainage, with_value

__all__ = ["Framework"]


@dataclass(frozen=True)
class Framework:
    """The lines and tie stations of a plot, measured as often as wanted."""

    plot: Plot

    @cached_property
    def tape(self):
        """Return the tape that the lines are measured with."""
        return self.plot.tapes[self.plot.line_tape]

    def lay_sd(self, length: float) -> float:
        """Return the standard deviation of one reading."""
        return self.tape.a * sqrt(max(1, ceil(length / self.tape.length)))

    @cached_property
    def true(self) -> tuple[Observation, ...]:
        """Return every observation without error."""
        at = self.plot.stations
        found: list[Observation] = []
        for number, line in enumerate(self.plot.lines):
            start, end = line.ends
            length = dist(at[start], at[end])
            place = Place("simulated", number + 1, 1)
            tape = self.tape.material
            group = ("line", line.name)
            booking = Booking(
                line.name, "length", line.use, group, length, self.lay_sd(length), tape, place, line=line.name
            )
            found.append(Distance(booking, start, end))
        for number, line in enumerate(self.plot.lines):
            start, end = line.ends
            for row in line.rows:
                along = dist(at[start], at[row.point])
                length = dist(at[start], at[end])
                place = Place("simulated", number + 1, 10)
                label, group, number = f"{line.name} at {along:.2f}", ("row", len(found)), len(found)
                chainage = Booking(
                    label, "chainage", "station", group, along, self.lay_sd(along), tape, place, line.name, number
                )
                ranging = replace(chainage, kind="ranging", value=0.0, sd=RANGING, tape=None)
                found.append(TieChainage(chainage, row.point, start, end, length))
                found.append(Ranging(ranging, row.point, start, end))
        return tuple(found)

    @cached_property
    def network(self) -> Network:
        """Return the network without errors, the base line's start and direction held."""
        names = list(self.plot.stations)
        local = self.plot.local()
        start, end = (names.index(name) for name in self.plot.base.ends)
        positions = np.array([local[name] for name in names])
        held = (2 * start, 2 * start + 1, 2 * end + 1)
        return build_network(names, len(names), self.true, {self.tape.material: self.tape.b}, positions, held=held)

    @cached_property
    def fit(self) -> Fit:
        """Return the solution of the measurements without error."""
        return solve_network(self.network)

    @cached_property
    def effects(self) -> Effects:
        """Return its redundancy numbers and the like."""
        return Effects(self.fit)

    @cached_property
    def correlations(self) -> np.ndarray:
        """Return how strongly the tests of any two measurements correlate, 0 with itself."""
        shared = np.abs(self.explanation.correlations)
        np.fill_diagonal(shared, 0.0)
        return shared

    @cached_property
    def explanation(self) -> Explained:
        """Return what an error in each observation does."""
        return self.effects.explain(np.arange(len(self.true)))

    @cached_property
    def power(self) -> np.ndarray:
        """Return √r of each observation: its standard deviation over that of its correction."""
        sds = np.array([one.booking.sd for one in self.true])
        return sds / np.where(self.explanation.sd > 0, self.explanation.sd, np.inf)

    @cached_property
    def critical(self) -> float:
        """Return the value that the largest test exceeds in 5 % of honest surveys, never below that of 0.1 %."""
        rows = np.arange(len(self.true))
        mine = jacobian(self.fit, rows)
        shape = np.eye(len(rows)) - mine @ self.fit.factor.solve(mine.T)
        values, vectors = np.linalg.eigh(shape)
        draws = np.random.default_rng(5).standard_normal((40_000, len(rows)))
        spread = self.effects.spread
        sound = spread > 1e-6
        tests = (draws * np.sqrt(np.clip(values, 0, None))) @ vectors.T[:, sound] / np.sqrt(spread[sound])
        return max(3.2905, float(np.quantile(np.abs(tests).max(axis=1), 0.95)))

    def measure(
        self,
        random: np.random.Generator,
        errors: Mapping[int, float] | None = None,
        *,
        before: Network | None = None,
        scale: float | None = None,
    ) -> Network:
        """Return one survey: the tape's scale drawn once, each reading with its error, and further errors.

        What ``before`` holds already keeps its readings, whose tape had the ``scale``.
        """
        if scale is None:
            scale = 1 + random.normal(0, self.tape.b)
        earlier = [one.booking for one in before.observations] if before else []
        kept = {(booking.label, booking.kind): booking.value for booking in earlier}
        read = []
        for number, one in enumerate(self.true):
            factor = 1.0 if isinstance(one, Ranging) else scale
            booking = one.booking
            value = booking.value * factor + random.normal(0, booking.sd) + (errors or {}).get(number, 0.0)
            read.append(kept.get((booking.label, booking.kind), value))
        return with_observations(
            self.network, [with_value(one, value) for one, value in zip(self.true, read, strict=True)]
        )

    def readings(self, network: Network) -> dict[int, tuple[BookedReading, ...]]:
        """Return what would be booked of a survey, to the centimetre, by the number of the observation."""
        found = {}
        for number, one in enumerate(network.observations):
            if isinstance(one, Ranging) or one.booking.value <= 0:
                continue
            text = f"{one.booking.value:.2f}"
            whole = one.length if isinstance(one, TieChainage) else None
            reading = BookedReading(Length(float(text), None, text), "m", (self.tape.length,), whole=whole)
            found[number] = (reading,)
        return found
