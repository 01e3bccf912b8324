"""How far a mistake that nobody would notice could have put each station and point.

A mistake is made in one reading and is followed through every equation that holds it. It is noticed when a check
fails: its smallest noticed size is the one at which some check fails in 80 of 100 cases. Linear theory, with the base
line's first station and direction held, so that what only places the whole moves nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from math import inf, radians
from typing import Final, NamedTuple

import numpy as np

from pegline.book.model import Book
from pegline.network.adjust import hints
from pegline.network.dependents import Readings, by_rows, derivative_matrix, full_matrix, pulls_on_unknowns, take_away
from pegline.network.equations import EQUATIONS
from pegline.network.growing_figure import Hints
from pegline.network.kinds import CHECKS
from pegline.network.least_squares import Fit
from pegline.network.model import Adjustment
from pegline.network.observation_types import Booking, Observation, tie_chainages
from pegline.network.quality import POWER, base_holding
from pegline.network.second_crossings import second_crossings
from pegline.plane import Array, Ints
from pegline.records import record
from pegline.reduction.model import Reduction

__all__ = [
    "MAX_MISTAKE",
    "MAX_TURN",
    "Compared",
    "Unnoticed",
    "find_unnoticed",
    "moved_points",
    "noticed_mistakes",
    "smallest_noticed",
]


MAX_MISTAKE: Final = 20.0  #: metres: a larger mistake counts as any; people do not make many
MAX_TURN: Final = radians(20)  #: the same of bearings and angles
STILL: Final = 0.02  #: metres: what the largest mistake moves by less than this is not held by the reading
LEAST_LIMIT: Final = 0.3  #: metres: a plan of any size is checked when its points are right within this
LIMIT_RATIO: Final = 1 / 100  #: of the stations' extent: what counts as checked unless the book states it
COLUMNS: Final = 128  #: coordinates, or checks, that are followed at one time
DIRECTIONS: Final = 360  #: in which an extent is looked for; it misses less than 1 in 100,000


@record(frozen=True, slots=True)
class Unnoticed:
    """What no check of a survey would notice. A point that is not named here may be anywhere."""

    movements: Mapping[str, float]  #: by station and point, metres on the ground; infinite: any distance
    causes: Mapping[str, Booking]  #: the reading behind it; none where nothing moves the point
    smallest_noticed: Mapping[
        Booking, float
    ]  #: by reading, metres or radians; readings that none would notice have none
    limit: float  #: metres: up to here a point counts as checked
    counted: tuple[str, ...]  #: main stations, and tie stations that carry details or a side
    noticed_by: Mapping[Booking, Booking] = field(
        default_factory=dict
    )  #: by reading, the check that notices a mistake in it first
    hidden: Mapping[Booking, float] = field(
        default_factory=dict
    )  #: by chainage of a tie station, a larger mistake in it that no check notices after all, metres

    def distance(self, name: str) -> float | None:
        """Return how far an unnoticed mistake could have put a station or point, metres; None: any distance."""
        movement = self.movements.get(name, inf)
        return None if movement == inf else movement

    def is_checked(self, name: str) -> bool:
        """Return whether the checks reach a station or point, whether or not they passed."""
        return self.movements.get(name, inf) <= self.limit

    @property
    def unchecked(self) -> tuple[str, ...]:
        """Return the stations that count and that nothing checks, in the book's order."""
        return tuple(name for name in self.counted if not self.is_checked(name))


def find_unnoticed(book: Book, reduction: Reduction, adjustment: Adjustment) -> Unnoticed:
    """Follow a mistake in each reading of a solved survey to the checks and to the points.

    Parameters
    ----------
    book
        For its own limit.
    reduction
        For which stations carry something.
    adjustment
        The solved network. A check that agrees by choice notices nothing but mistakes in its own reading.
    """
    plotting, adjusted = adjustment.plotting_fit, adjustment.fit
    observations, scale = adjusted.network.observations, adjusted.network.scale
    compared = _comparisons(adjustment)
    mistakes, first_checks = noticed_mistakes(plotting, len(observations), compared, adjustment.critical)
    movements, causes = moved_points(adjusted, adjustment.adjusted.base, mistakes)
    names = adjusted.network.names
    counted = _stations_that_count(reduction, names[: adjusted.network.stations])
    positions = adjustment.adjusted.positions[: adjusted.network.stations] / scale
    unnoticed = Unnoticed(
        dict(zip(names, (movements / scale).tolist(), strict=True)),
        {name: observations[cause].booking for name, cause in zip(names, causes.tolist(), strict=True) if cause >= 0},
        _by_reading(adjustment, observations, mistakes),
        _limit(book, positions),
        counted,
        {
            one.booking: plotting.network.observations[compared[check].number].booking
            for one, mistake, check in zip(observations, mistakes, first_checks, strict=False)
            if mistake <= _largest(one)
        },
    )
    tied = {one.point for _, one in tie_chainages(observations)}
    bound = [name for name in counted if name in tied and unnoticed.movements.get(name, inf) < inf]
    return _with_second_crossings(unnoticed, adjustment, hints(book, reduction), bound) if bound else unnoticed


def smallest_noticed(adjustment: Adjustment) -> Mapping[Booking, float]:
    """Return the smallest mistake in each reading that some check notices, metres or radians.

    It is that of ``find_unnoticed``, without what the mistakes move.
    """
    plotting, adjusted = adjustment.plotting_fit, adjustment.fit
    observations = adjusted.network.observations
    mistakes, _ = noticed_mistakes(plotting, len(observations), _comparisons(adjustment), adjustment.critical)
    return _by_reading(adjustment, observations, mistakes)


def _comparisons(adjustment: Adjustment) -> Sequence[Compared]:
    """Return the observations that are compared with the plotting solution."""
    return [
        # Of several observations that are compared together the worst decides, each by its own deviation.
        Compared(n, check.allowed if len(check.numbers) == 1 else None, check.chosen)
        for check in adjustment.checks
        for n in check.numbers
    ]


def _by_reading(
    adjustment: Adjustment, observations: Sequence[Observation], mistakes: Array
) -> Mapping[Booking, float]:
    """Return the smallest noticed mistakes that people may make, witnesses included."""
    adjusted = {
        one.booking: float(mistake)
        for one, mistake in zip(observations, mistakes, strict=False)
        if mistake <= _largest(one)
    }
    return adjusted | {
        check.booking: check.allowed + POWER * check.sd
        for check in adjustment.checks
        if not CHECKS[check.kind].adjusted
    }


def _with_second_crossings(
    unnoticed: Unnoticed, adjustment: Adjustment, told: Hints, names: Sequence[str]
) -> Unnoticed:
    """Return what no check would notice, with those of some tie stations that could stand at a second crossing."""
    movements, causes, hidden = dict(unnoticed.movements), dict(unnoticed.causes), {}
    for crossing in second_crossings(adjustment, told, names, unnoticed.limit, MAX_MISTAKE):
        hidden[crossing.booking] = crossing.mistake
        for name, moved in crossing.movements.items():
            if moved > max(movements.get(name, inf), unnoticed.limit):
                movements[name], causes[name] = moved, crossing.booking
    return replace(unnoticed, movements=movements, causes=causes, hidden=hidden) if hidden else unnoticed


def _limit(book: Book, positions: Array) -> float:
    """Return how far a point may have been moved unnoticed and still be called checked, metres."""
    extent = _extent(positions)
    if book.limits.unnoticed_length is not None:
        return book.limits.unnoticed_length.metres(book.unit)
    if book.limits.unnoticed_ratio is not None:
        return book.limits.unnoticed_ratio * extent
    return max(LEAST_LIMIT, LIMIT_RATIO * extent)


def _extent(positions: Array) -> float:
    """Return the greatest distance between points, metres.

    >>> round(_extent(np.array([[0.0, 0.0], [3.0, 4.0], [1.0, 1.0]])), 3)
    5.0
    """
    angles = np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    return float(np.ptp(positions @ np.array([np.cos(angles), np.sin(angles)]), axis=0).max())


def _stations_that_count(reduction: Reduction, stations: Sequence[str]) -> tuple[str, ...]:
    """Return the main stations, and the tie stations that carry details or a side."""
    tie_stations = {row.name for row in reduction.rows if row.is_tie_station}
    carrying = {
        end
        for line in reduction.lines.values()
        if line.use in ("base", "side") or line.booked.details
        for end in (line.start, line.end)
    }
    return tuple(name for name in stations if name not in tie_stations or name in carrying)


def _largest(one: Observation) -> float:
    """Return the largest mistake that is looked at in an observation, metres or radians."""
    return MAX_TURN if EQUATIONS[type(one)].angle else MAX_MISTAKE


class Compared(NamedTuple):
    """An observation that is compared with the plotting solution."""

    number: int
    allowed: float | None  #: the largest difference that passes; None where the critical value alone decides
    by_choice: bool  #: it agrees because its reading was chosen so


def noticed_mistakes(plotting: Fit, count: int, compared: Sequence[Compared], critical: float) -> tuple[Array, Ints]:
    """Return the smallest mistake in each reading that some check notices, and which check that is.

    With q the allowed difference of a check, σ its standard deviation and e what it changes by for each unit of
    the reading, a mistake is noticed in 80 of 100 cases from

        (q + 0.84 σ) / |e|

    Parameters
    ----------
    plotting
        The plotting solution; from observation ``count`` on it has what only places it.
    count
        Observations of the survey.
    compared
        The observations that are compared.
    critical
        Largest test that passes.

    Returns
    -------
    mistakes
        (r,) of each observation, then of the chainages of oblique arms, metres or radians; infinite where no check
        notices any.
    first_checks
        (r,) number of the check among those compared.
    """
    derivatives, readings = derivative_matrix(plotting), Readings.of(plotting, count)
    pulls = by_rows(pulls_on_unknowns(plotting, readings.rates, derivatives).T)
    seen, first_checks = np.zeros(len(readings.owners)), np.zeros(len(readings.owners), np.int64)
    for begin in range(0, len(compared), COLUMNS):
        some = compared[begin : begin + COLUMNS]
        numbers = np.array([one.number for one in some], np.int64)
        gradients = full_matrix(derivatives[numbers].T)
        solved = plotting.factor.solve(gradients)
        sds = np.sqrt(plotting.network.sds[numbers] ** 2 + np.einsum("uc,uc->c", gradients, solved))
        effects = pulls @ solved
        take_away(effects, readings.rates[:, numbers])
        chosen = np.flatnonzero([one.by_choice for one in some])
        effects[:, chosen] *= readings.owners[:, None] == numbers[chosen]
        allowed = np.array([np.nan if one.allowed is None else one.allowed for one in some])
        effects /= np.where(np.isnan(allowed), critical * sds, allowed) + POWER * sds
        np.abs(effects, out=effects)
        best = effects.argmax(axis=1)
        most = effects[np.arange(len(effects)), best]
        more = most > seen
        seen[more], first_checks[more] = most[more], begin + best[more]
    with np.errstate(divide="ignore"):
        return 1 / seen, first_checks


def moved_points(adjusted: Fit, base: tuple[int, int], mistakes: Array) -> tuple[Array, Ints]:
    """Return how far unnoticed mistakes could have put each point, and the observation behind it.

    The largest, over all readings, of the point's movement times the mistake, relative to the base line.

    Parameters
    ----------
    adjusted
        The adjusted solution.
    base
        Rows of the base line's ends.
    mistakes
        (r,) the smallest noticed mistake in each reading.

    Returns
    -------
    movements
        (n,) metres of the frame; infinite for any distance.
    causes
        (n,) number of the observation, -1 where nothing moves the point.
    """
    network = adjusted.network
    count, observations = len(network.names), network.observations
    readings = Readings.of(adjusted, len(observations))
    pulls = by_rows(pulls_on_unknowns(adjusted, readings.rates, derivative_matrix(adjusted)).T)
    largest = np.array([_largest(observations[owner]) for owner in readings.owners])
    largest[len(observations) :] = MAX_MISTAKE
    any_size = np.flatnonzero(mistakes > largest)
    limits = np.minimum(mistakes, largest)
    movements, causes = np.zeros(count), np.full(count, -1, np.int64)
    for begin in range(0, count, COLUMNS // 2):
        points = np.arange(begin, min(begin + COLUMNS // 2, count))
        moves = pulls @ adjusted.factor.solve(_local_gradients(adjusted, base, points))
        np.square(moves, out=moves)
        sizes = moves[:, : len(points)] + moves[:, len(points) :]
        # Of mistakes of any size the one that moves the point most is behind it.
        free = sizes[any_size] * limits[any_size, None] ** 2 > STILL**2
        loose = free.any(axis=0)
        own_sizes = np.where(free, sizes[any_size], -1.0) if len(any_size) else sizes[:1]
        sizes *= limits[:, None] ** 2
        worst = np.where(loose, any_size[own_sizes.argmax(axis=0)] if len(any_size) else 0, sizes.argmax(axis=0))
        movements[points] = np.where(loose, inf, np.sqrt(sizes[worst, np.arange(len(points))]))
        causes[points] = np.where(movements[points] > 0, readings.owners[worst], -1)
    return movements, causes


def _local_gradients(fit: Fit, base: tuple[int, int], points: Ints) -> Array:
    """Return the derivatives (u, 2 k) of x of k points, then of y, relative to the base line, to the unknowns."""
    network = fit.network
    positions = network.places(fit.parameters)
    held = base_holding(positions[points], positions[base[0]], positions[base[1]])
    gradients = np.zeros((len(network.held), 2, len(points)))
    ends = [2 * end + axis for end in base for axis in (0, 1)]
    for axis in (0, 1):
        gradients[ends, axis] = held[:, axis].T
        gradients[2 * points + axis, axis, np.arange(len(points))] += 1.0
    return gradients[~network.held].reshape(-1, 2 * len(points))
