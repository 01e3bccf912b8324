"""What hangs on an observation beside itself: the chainages of a line are in proportion to its length,
and a row between two stations on a line counts from them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from pegline.network.equations import Chainage, Distance, Oblique, Observation

__all__ = ["hangs_on", "moved"]


def hangs_on(observations: Sequence[Observation], number: int) -> tuple[int, ...]:
    """Return the numbers of the observations whose equations hold the value of another."""
    one = observations[number]
    if isinstance(one, Distance) and one.kind in ("length", "dimension"):
        line, ends = one.what, {one.end}
    elif isinstance(one, Chainage) and one.part == "station":
        line, ends = _line(one), {one.point}
    else:
        return ()
    return tuple(
        n
        for n, other in enumerate(observations)
        if n != number
        and isinstance(other, Chainage | Oblique)
        and _line(other) == line
        and ({other.start, other.end} & ends)
    )


def _line(one: Observation) -> str:
    return one.what.partition(" at ")[0]


def moved(observations: Sequence[Observation], number: int, by: float) -> tuple[Observation, ...]:
    """Return the observations with the value of one changed, and what hangs on it."""
    changed = list(observations)
    one = observations[number]
    changed[number] = replace(one, value=one.value + by)
    point = one.point if isinstance(one, Chainage) else ""
    for n in hangs_on(observations, number):
        other = observations[n]
        if isinstance(other, Chainage):
            # A row after the station counts from it; the line's other stations count from its start.
            after = other.start == point
            length = other.length - by if after else other.length + by
            changed[n] = replace(other, value=other.value - by if after else other.value, length=length)
        elif isinstance(other, Oblique):
            changed[n] = _oblique(observations, other, point, by)
    return tuple(changed)


def _oblique(observations: Sequence[Observation], one: Oblique, point: str, by: float) -> Oblique:
    length = _piece(observations, one)
    if length is None or length + by <= 0:
        return one
    if one.start == point:
        return replace(one, share=(one.share * length - by) / (length - by))
    return replace(one, share=one.share * length / (length + by))


def _piece(observations: Sequence[Observation], one: Oblique) -> float | None:
    """Return the length of the piece that a row counts on, metres as booked."""
    line = _line(one)
    whole = next((o for o in observations if isinstance(o, Distance) and o.what == line), None)
    if whole is None:
        return None
    standing = {whole.start: 0.0, whole.end: whole.value, **dict(_standing(observations, line))}
    if one.start not in standing or one.end not in standing:
        return None
    return standing[one.end] - standing[one.start]


def _standing(observations: Sequence[Observation], line: str) -> Iterator[tuple[str, float]]:
    for other in observations:
        if isinstance(other, Chainage) and other.part == "station" and _line(other) == line:
            yield other.point, other.value
