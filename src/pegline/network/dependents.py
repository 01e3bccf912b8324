"""What hangs on a reading beside its own equation.

The chainages of a line are in proportion to its length, and a row between two stations on a line counts
from them: a line's length and a tie station's chainage stand in further equations, and a change of one
is followed through all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pegline.network.observation_types import Chainage, Distance, Oblique, Observation, with_value

__all__ = ["hangs_on", "moved"]


def hangs_on(observations: Sequence[Observation], number: int) -> tuple[int, ...]:
    """Return the numbers of the observations whose equations hold the value of another."""
    carried = _carried(observations[number])
    if carried is None:
        return ()
    line, mark = carried
    return tuple(
        n
        for n, other in enumerate(observations)
        if n != number
        and isinstance(other, Chainage | Oblique)
        and other.booking.line == line
        and mark in (other.start, other.end)
    )


def _carried(one: Observation) -> tuple[str, str] | None:
    """Return the line whose rows hold an observation's value, and the station where it stands; None for most."""
    booking = one.booking
    if isinstance(one, Distance) and booking.measured_line is not None:
        return booking.measured_line, one.end
    if isinstance(one, Chainage) and booking.part == "station" and booking.line is not None:
        return booking.line, one.point
    return None


def moved(observations: Sequence[Observation], number: int, by: float) -> tuple[Observation, ...]:
    """Return the observations with the value of one changed, and what hangs on it."""
    changed = list(observations)
    one = observations[number]
    changed[number] = with_value(one, one.booking.value + by)
    mark = one.point if isinstance(one, Chainage) else None
    for n in hangs_on(observations, number):
        other = observations[n]
        if isinstance(other, Chainage | Oblique):
            changed[n] = _on_longer_piece(other, by) if other.start != mark else _from_later_start(other, by)
    return tuple(changed)


def _on_longer_piece(one: Chainage | Oblique, by: float) -> Chainage | Oblique:
    """Return a row whose piece of the line ends later by so much."""
    return replace(one, length=one.length + by) if one.length + by > 0 else one


def _from_later_start(one: Chainage | Oblique, by: float) -> Chainage | Oblique:
    """Return a row whose piece of the line starts later by so much: it counts less, on a shorter piece."""
    if one.length - by <= 0:
        return one
    if isinstance(one, Chainage):
        return replace(with_value(one, one.booking.value - by), length=one.length - by)
    return replace(one, chainage=one.chainage - by, length=one.length - by)
