"""Places of the corners that right-angled outlines make."""

from __future__ import annotations

from collections.abc import Sequence
from math import dist, hypot

from builders.plot import XY

__all__ = ["beside", "outline", "rectangle", "run"]


def outline(start: XY, end: XY, walls: Sequence[float]) -> list[XY]:
    """Return the far end of each wall that goes on from an edge: positive turns left, negative right.

    >>> outline((0.0, 0.0), (4.0, 0.0), [3.0, 4.0])
    [(4.0, 3.0), (0.0, 3.0)]
    """
    length = hypot(end[0] - start[0], end[1] - start[1])
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    corners, (x, y) = [], end
    for wall in walls:
        ux, uy = (-uy, ux) if wall > 0 else (uy, -ux)
        x, y = x + ux * abs(wall), y + uy * abs(wall)
        corners.append((x, y))
    return corners


def rectangle(start: XY, end: XY, depth: float) -> list[XY]:
    """Return the two further corners of a rectangle, from the edge's end onward; a positive depth is to the left."""
    across = dist(start, end)
    return outline(start, end, (depth, across if depth > 0 else -across))


def beside(start: XY, end: XY, along: float, off: float) -> XY:
    """Return the place at a chainage and an offset (left positive) of a line."""
    length = dist(start, end)
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    return start[0] + ux * along - uy * off, start[1] + uy * along + ux * off


def run(name: str, start: XY, end: XY, places: Sequence[tuple[float, float]]) -> dict[str, XY]:
    """Return numbered points at chainages and offsets (left positive) along a line."""
    return {f"{name}{number}": beside(start, end, *place) for number, place in enumerate(places, 1)}
