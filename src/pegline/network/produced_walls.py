"""Walls produced: a point in the line of a wall, on a chain line or where two walls meet, and how well it is known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import asin, degrees, dist, hypot, radians
from typing import Final

from pegline.book.model import Book
from pegline.errors import Finding
from pegline.measures.values import Pair
from pegline.network.arc_intersection import XY
from pegline.network.observation_types import Booking, Group, Observation, Produced
from pegline.reduction.model import Reduction

__all__ = [
    "FLATTEST_MEETING",
    "PRODUCED_SD",
    "meeting_faults",
    "meeting_point",
    "meeting_sine",
    "produced_observations",
    "with_produced_sds",
]

#: How well a wall is sighted along where it is as long as it is produced, metres. Common practice.
PRODUCED_SD: Final = 0.020
#: Lines that meet at less than this fix no point, radians. Common practice.
FLATTEST_MEETING: Final = radians(15.0)


def produced_observations(book: Book, reduction: Reduction) -> Iterator[Observation]:
    """Yield that the point of a row lies in the line of a wall, and that a corner lies in those of two."""
    for number, row in enumerate(reduction.rows):
        if (wall := row.booked.produced) is not None:
            yield _in_line_with(wall, row.name, to=row.walked, group=("produced", number))
    for point in book.points.values():
        for wall in point.meet:
            yield _in_line_with(wall, point.name, to=point.name, group=("meet", point.name))


def _in_line_with(wall: Pair, point: str, *, to: str, group: Group) -> Produced:
    """Return that a point lies in the line of a wall; its deviation waits until it is known how far that is."""
    booking = Booking(
        label=f"{wall} produced to {to}",
        kind="produced",
        part="row",
        group=group,
        value=0.0,
        sd=PRODUCED_SD,
        tape=None,
        place=wall.place,
    )
    return Produced(booking, point, wall.start, wall.end)


def with_produced_sds(observations: Sequence[Observation], at: Mapping[str, XY]) -> tuple[Observation, ...]:
    """Return the observations, those of produced walls with a deviation that grows with how far they are produced.

        σ = 20 mm max(1, d / w)

    d from the nearer end of the wall to the point, w the length of the wall, by where the points roughly are.
    """
    return tuple(
        replace(one, booking=replace(one.booking, sd=PRODUCED_SD * max(1.0, _times_produced(one, at))))
        if isinstance(one, Produced) and all(name in at for name in one.points)
        else one
        for one in observations
    )


def _times_produced(one: Produced, at: Mapping[str, XY]) -> float:
    point, start, end = (at[name] for name in one.points)
    return min(dist(point, start), dist(point, end)) / max(dist(start, end), 1e-6)


def meeting_point(first: tuple[XY, XY], second: tuple[XY, XY]) -> XY | None:
    """Return where two lines through two points each meet; None where they run alongside.

    >>> meeting_point(((0.0, 0.0), (1.0, 0.0)), ((3.0, 1.0), (3.0, 2.0)))
    (3.0, 0.0)
    """
    if abs(meeting_sine(first, second)) < 1e-6:
        return None
    (p, q), (r, s) = first, second
    across = (q[0] - p[0]) * (s[1] - r[1]) - (q[1] - p[1]) * (s[0] - r[0])
    along = ((r[0] - p[0]) * (s[1] - r[1]) - (r[1] - p[1]) * (s[0] - r[0])) / across
    return p[0] + along * (q[0] - p[0]), p[1] + along * (q[1] - p[1])


def meeting_sine(first: tuple[XY, XY], second: tuple[XY, XY]) -> float:
    """Return the sine of the angle from one line to another, each through two points; 0 where two points are one."""
    (p, q), (r, s) = first, second
    across = (q[0] - p[0]) * (s[1] - r[1]) - (q[1] - p[1]) * (s[0] - r[0])
    sizes = hypot(q[0] - p[0], q[1] - p[1]) * hypot(s[0] - r[0], s[1] - r[1])
    return across / sizes if sizes else 0.0


def meeting_faults(book: Book, at: Mapping[str, XY]) -> Iterator[Finding]:
    """Tell each point where two lines should meet that run too much alongside to fix it."""
    for point in book.points.values():
        if len(point.meet) != 2 or any(end not in at for pair in point.meet for end in (pair.start, pair.end)):
            continue
        angle = asin(min(1.0, abs(meeting_sine(*(_ends(pair, at) for pair in point.meet)))))
        if angle < FLATTEST_MEETING:
            text = (
                f"{point.meet[0]} and {point.meet[1]} meet at {degrees(angle):.0f}°, which does not fix {point.name};"
                " under 15° book it from another line"
            )
            yield Finding("meet-flat", text, point.place)


def _ends(pair: Pair, at: Mapping[str, XY]) -> tuple[XY, XY]:
    return at[pair.start], at[pair.end]
