"""What hangs on a reading beside its own equation.

The chainages of a line are in proportion to its length, and a row between two stations on a line counts
from them: a line's length and a tie station's chainage stand in further equations, and a change of one
is followed through all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import hypot

from pegline.network.observation_types import Chainage, Distance, Oblique, Observation, with_value

__all__ = ["hangs_on", "moved", "residual_rates"]


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
    carriers = {key: number for number, one in enumerate(observations) if (key := _carried(one))}
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
