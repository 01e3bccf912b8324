"""The sides of boundaries as measured between the marks that were pointed out: letters, lengths and bearings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from math import degrees, hypot, inf
from typing import Final

import numpy as np

from pegline import plane
from pegline.detail.model import Shape
from pegline.kinds import LAND_EDGES
from pegline.measures.notation import Notation
from pegline.plan.map.features import Where
from pegline.plan.model import Position
from pegline.records import record
from pegline.solved import Solved

__all__ = [
    "BoundaryCorner",
    "BoundarySide",
    "bearing_no_finer_than",
    "boundary_corners",
    "boundary_sides",
    "letters",
    "no_finer_than",
    "north_sd",
]

MINUTE: Final = 1 / 60  #: degrees
COARSEST_BEARING: Final = 5.0  #: degrees; a bearing known worse than this is left out


@record(frozen=True, slots=True)
class BoundaryCorner:
    """A corner of a boundary."""

    letters: str
    position: Position
    owner: str  #: name of the boundary


@record(frozen=True, slots=True)
class BoundarySide:
    """A straight side of a boundary."""

    name: str  #: 'a-b'
    start: Position
    end: Position
    length: str  #: on the ground, no finer than it is known
    bearing: str | None  #: from the frame's north; None where there is none, or it is known too badly
    owner: str


def letters(number: int) -> str:
    """Return the letters of a corner by its number from 0.

    >>> letters(0), letters(25), letters(26)
    ('a', 'z', 'aa')
    """
    first, last = divmod(number, 26)
    return (letters(first - 1) if first else "") + chr(ord("a") + last)


def _boundaries(solved: Solved) -> Iterator[tuple[Shape, list[str]]]:
    """Yield each boundary with the letters of its corners, which go on from one to the next."""
    number = 0
    for shape in solved.detail.shapes.values():
        if shape.kind in LAND_EDGES and shape.path is not None:
            count = len(shape.path.vertices)
            yield shape, [letters(number + i) for i in range(count)]
            number += count


def boundary_corners(solved: Solved) -> Iterator[BoundaryCorner]:
    """Yield the corners of all boundaries."""
    for shape, names in _boundaries(solved):
        if shape.path is not None:
            for name, (x, y) in zip(names, shape.path.vertices.tolist(), strict=True):
                yield BoundaryCorner(name, (x, y), shape.name)


def boundary_sides(solved: Solved, where: Where, notation: Notation) -> Iterator[BoundarySide]:
    """Yield the straight sides of all boundaries, their figures no finer than their accuracy."""
    frame = solved.frame
    of_north = north_sd(solved)
    for shape, names in _boundaries(solved):
        path = shape.path
        if path is None:
            continue
        count = len(path.vertices)
        for i in range(count if path.closed else count - 1):
            if path.bulges[i] != 0:
                continue
            j = (i + 1) % count
            start, end = path.vertices[i], path.vertices[j]
            length = hypot(*(end - start))
            if length == 0:
                continue
            along, across = _sds(shape, where, (i, j), (end - start) / length)
            bearing_sd = degrees(hypot(across / length, of_north))
            bearing = None
            if frame.north is not None:
                bearing = bearing_no_finer_than(notation, float(plane.bearing(start, end)), bearing_sd)
            figure = no_finer_than(notation, along).figure(length / frame.scale)
            ends = [(float(x), float(y)) for x, y in (start, end)]
            yield BoundarySide(f"{names[i]}-{names[j]}", ends[0], ends[1], figure, bearing, shape.name)


def _sds(shape: Shape, where: Where, ends: tuple[int, int], way: np.ndarray) -> tuple[float, float]:
    """Return the standard deviations along and across a side, metres, its ends taken as independent."""
    if shape.path is None or len(shape.points) != len(shape.path.vertices):
        return 0.0, 0.0  # corners that the shape made follow from others; its points are not its vertices
    variance = sum(where.variances[where.rows[shape.points[i]]] for i in ends if shape.points[i] in where)
    if isinstance(variance, int):
        return 0.0, 0.0
    normal = np.array([-way[1], way[0]])
    along, across = (max(float(axis @ variance @ axis), 0.0) ** 0.5 for axis in (way, normal))
    return along, across


def north_sd(solved: Solved) -> float:
    """Return how well the frame's north is known, radians: from the bearings, else from the control points."""
    frame = solved.frame
    if frame.bearings:
        return float(sum(bearing.sd**-2 for bearing in frame.bearings) ** -0.5)
    points = [solved.positions[control.station] for control in frame.control if control.station in solved.positions]
    if len(points) < 2:
        return 0.0
    apart = max(hypot(a[0] - b[0], a[1] - b[1]) for a in points for b in points)
    return float(max(control.sd for control in frame.control) * 2**0.5 / apart) if apart else inf


def no_finer_than(notation: Notation, sd: float) -> Notation:
    """Return a notation whose finest step is no finer than a standard deviation, metres."""
    from pegline.units import METRES_PER

    deviation = sd / METRES_PER[notation.units[-1]]
    step = notation.step
    for wider in (Fraction(1, 100), Fraction(1, 20), Fraction(1, 10), Fraction(1, 4), Fraction(1, 2), Fraction(1)):
        if step >= deviation:
            break
        plain = len(notation.units) > 1 or str(wider.denominator).strip("0") == "1"
        if wider > step and plain:
            step = wider
    return replace(notation, step=step)


def bearing_no_finer_than(notation: Notation, bearing: float, sd_deg: float) -> str | None:
    """Return a bearing to minutes, tenths of a degree or degrees; None where it is known worse than all of them."""
    if sd_deg > COARSEST_BEARING:
        return None
    if sd_deg <= MINUTE:
        return notation.bearing(bearing)
    return replace(notation, minutes=False, bearing_decimals=1 if sd_deg <= 0.1 else 0).bearing(bearing)
