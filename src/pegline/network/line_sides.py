"""On which side of a line a place lies, and whether a book's side is contradicted there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import dist
from typing import Final

from pegline.measures.values import Side
from pegline.network.arc_intersection import XY

__all__ = ["IN_LINE", "is_on_booked_side", "is_on_side", "metres_left"]

#: A place no farther from a line than this stands in it: whoever looks along a line books nearer ones on either
#: side, and no booked side is contradicted there, metres. Two other limits have a reason: of two mirror images the
#: one on the booked side is taken, however near the line (0); and where several rows measured how far a point is from
#: a line, that distance is held against its own standard deviation.
IN_LINE: Final = 0.1


def metres_left(start: Sequence[float], end: Sequence[float], place: Sequence[float]) -> float:
    """Return how far a place lies left of the line from start to end, negative to the right of it, metres.

    >>> metres_left((0.0, 0.0), (10.0, 0.0), (3.0, 2.0))
    2.0
    """
    twice_area = (end[0] - start[0]) * (place[1] - start[1]) - (end[1] - start[1]) * (place[0] - start[0])
    return twice_area / (dist(start, end) or 1.0)


def is_on_side(
    start: Sequence[float], end: Sequence[float], place: Sequence[float], *, left: bool, in_line: float = 0.0
) -> bool:
    """Return whether a place lies on one side of a line; what is no farther from it than ``in_line`` lies on either.

    >>> is_on_side((0.0, 0.0), (10.0, 0.0), (3.0, -0.05), left=True, in_line=IN_LINE)
    True
    """
    aside = metres_left(start, end, place)
    return (aside if left else -aside) >= -in_line


def is_on_booked_side(at: Mapping[str, XY], name: str, side: Side, in_line: float = 0.0) -> bool | None:
    """Return whether a point lies on the side of a line that is booked; None where one of the three has no place."""
    if not {name, side.of.start, side.of.end} <= at.keys():
        return None
    return is_on_side(at[side.of.start], at[side.of.end], at[name], left=side.left, in_line=in_line)
