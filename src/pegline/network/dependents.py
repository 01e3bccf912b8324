"""What hangs on a reading beside its own equation.

The chainages of a line are in proportion to its length, and a row between two stations on a line counts
from them: a line's length and a tie station's chainage stand in further equations, and a change of one
is followed through all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import hypot
from typing import NamedTuple

from pegline.network.observation_types import Chainage, Distance, Oblique, Observation, with_value

__all__ = [
    "Change",
    "Rate",
    "change_of",
    "changed_by",
    "dependents_of",
    "join_changes",
    "residual_rates",
    "with_reading_changed",
]


class Rate(NamedTuple):
    """What one unit of a change does to an observation: to its value, and to what its constants are made of."""

    value: float
    chainage: float = 0.0  #: of the foot of an oblique distance
    length: float = 0.0  #: of the piece of a line that a chainage, or an oblique distance, counts on


Change = Mapping[int, Rate]  #: by the number of the observation


def change_of(observations: Sequence[Observation], number: int) -> Change:
    """Return what one metre, or one radian, in the reading of an observation changes: itself and what hangs on it."""
    one = observations[number]
    changes: dict[int, Rate] = {number: Rate(1.0)}
    carried = _carrying_line(one)
    if carried is None:
        return changes
    line, mark = carried
    for n, other in enumerate(observations):
        if n == number or not isinstance(other, Chainage | Oblique) or other.booking.line != line:
            continue
        if other.end == mark:
            changes[n] = Rate(0.0, length=1.0)  # its piece of the line ends later
        elif other.start == mark:  # its piece starts later: it counts less, on a shorter one
            by_value = isinstance(other, Chainage)
            changes[n] = Rate(-1.0 if by_value else 0.0, 0.0 if by_value else -1.0, -1.0)
    return changes


def join_changes(changes: Iterable[Change]) -> Change:
    """Return several changes made together."""
    together: dict[int, Rate] = {}
    for change in changes:
        for number, rate in change.items():
            before = together.get(number, Rate(0.0))
            together[number] = Rate(*(a + b for a, b in zip(before, rate, strict=True)))
    return together


def changed_by(one: Observation, rate: Rate, amount: float) -> Observation:
    """Return an observation after a change; one whose piece of the line would be nothing stays as it is."""
    if not isinstance(one, Chainage | Oblique):
        return with_value(one, one.booking.value + rate.value * amount)
    length = one.length + rate.length * amount
    if length <= 0:
        return one
    if isinstance(one, Chainage):
        return replace(with_value(one, one.booking.value + rate.value * amount), length=length)
    changed = replace(one, chainage=one.chainage + rate.chainage * amount, length=length)
    return with_value(changed, one.booking.value + rate.value * amount)


def dependents_of(observations: Sequence[Observation], number: int) -> tuple[int, ...]:
    """Return the numbers of the observations whose equations hold the value of another."""
    return tuple(n for n in change_of(observations, number) if n != number)


def _carrying_line(one: Observation) -> tuple[str, str] | None:
    """Return the line whose rows hold an observation's value, and the station where it stands; None for most."""
    booking = one.booking
    if isinstance(one, Distance) and booking.measured_line is not None:
        return booking.measured_line, one.end
    if isinstance(one, Chainage) and booking.part == "station" and booking.line is not None:
        return booking.line, one.point
    return None


def with_reading_changed(observations: Sequence[Observation], number: int, by: float) -> tuple[Observation, ...]:
    """Return the observations with the value of one changed, and what hangs on it."""
    changed = list(observations)
    for n, rate in change_of(observations, number).items():
        changed[n] = changed_by(observations[n], rate, by)
    return tuple(changed)


def residual_rates(
    observations: Sequence[Observation], positions: Mapping[str, tuple[float, float]]
) -> Iterator[tuple[int, int | None, float]]:
    """Yield what a unit of each reading adds to the residuals of other observations: row, reading, rate.

    A chainage c on a piece of length L counts c - computed, where the computed one is in proportion to L; an
    oblique arm r starts at the share c / L of its piece. For the arm's own chainage the reading is None.

    Parameters
    ----------
    observations
        The observations.
    positions
        Where the points stand.
    """
    carriers = {key: number for number, one in enumerate(observations) if (key := _carrying_line(one))}
    for row, one in enumerate(observations):
        if not isinstance(one, Chainage | Oblique) or one.booking.line is None:
            continue
        by_chainage, by_length = _piece_rates(one, positions)
        if isinstance(one, Oblique):
            yield row, None, by_chainage
        end = carriers.get((one.booking.line, one.end))
        start = carriers.get((one.booking.line, one.start))
        if end is not None and end != row:
            yield row, end, by_length
        if start is not None and start != row:
            yield row, start, -by_chainage - by_length


def _piece_rates(one: Chainage | Oblique, positions: Mapping[str, tuple[float, float]]) -> tuple[float, float]:
    """Return what the residual changes by for each metre of the chainage, and of the piece's length."""
    (x, y), (px, py), (qx, qy) = (positions[name] for name in one.points)
    dx, dy = qx - px, qy - py
    if isinstance(one, Chainage):
        return 1.0, -((x - px) * dx + (y - py) * dy) / (dx * dx + dy * dy)
    ex, ey = x - px - one.share * dx, y - py - one.share * dy
    along = (ex * dx + ey * dy) / (hypot(ex, ey) * one.length)
    return along, -along * one.share
