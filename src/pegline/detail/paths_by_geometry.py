"""How the path of each geometry is made from positions and lengths, and what it measures.

A making is a function of the positions of its named points and of its own lengths (a radius, the
distance of an offset copy), all of which may be off: the standard deviations of area and perimeter
come from moving each a little.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import pi
from typing import Final, NamedTuple

import numpy as np

from pegline.book.model import (
    Book,
    Circle,
    Curve,
    Feature,
    Parallel,
    Rectangle,
    Ring,
    TapedRound,
    Through,
)
from pegline.detail.curves import circle, curve, curve_vertices, exact_copy, parallel, through_three
from pegline.detail.model import Path
from pegline.detail.path import (
    Vertices,
    area,
    cut,
    length,
    locate,
    path_areas,
    path_lengths,
    straight,
    without_repeats,
)
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.model import Ground, Reduction

__all__ = ["Gradients", "Made", "Making", "gradients", "making_of"]

#: How far a vertex is moved to see what changes, metres.
VERTEX_STEP: Final = 1e-4

#: What area and perimeter of a path without lengths of its own change by with them.
NO_LENGTHS: Final = np.zeros((0, 2))

#: From positions (n, 2) and lengths (l,), metres in the frame, to the path.
Make = Callable[[Array, Array], Path]


@record(frozen=True, slots=True)
class Making:
    """How one path is made."""

    names: tuple[str, ...]  #: the points that it hangs on, each once
    make: Make
    grounds: tuple[Ground, ...] = ()  #: its own lengths
    smooth: tuple[tuple[int, ...], bool] | None = None  #: of a curve: the numbers of its points, and whether it closes
    vertices: tuple[int, ...] | None = None  #: of straight pieces: the numbers of the points, in order
    nudge: Callable[[Array, Array], Path | None] | None = None  #: quicker than ``make``, where the outcome is the same
    shown: tuple[str, ...] = ()  #: the points that the path goes through, in order


class Made(NamedTuple):
    """A path with what it was made from."""

    making: Making
    path: Path
    positions: Array  #: (n, 2) of its points
    lengths: Array  #: (l,) its own


class Gradients(NamedTuple):
    """What area and perimeter of a path change by when what it was made from does."""

    by_point: Array  #: (n, 2, 2) by x and y of each point: of the area, of the perimeter
    by_length: Array  #: (l, 2) by each of its own lengths


def making_of(feature: Feature, book: Book, reduction: Reduction, above: tuple[str, ...] = ()) -> Making | None:
    """Return how the path of a feature is made; None for a point, and while lengths are missing.

    Parameters
    ----------
    above
        The offset copies that this feature is the original of.

    Raises
    ------
    ValueError
        An offset copy that is its own original.
    """
    if feature.name in above:
        raise ValueError(f"it is a copy of {' of '.join((*above[1:], above[0]))}")
    match feature.geometry:
        case Through(points=points):
            return _straight(points, closed=False)
        case Ring(points=points):
            return _straight(points, closed=True)
        case Rectangle(edge=edge, corners=corners) | TapedRound(edge=edge, corners=corners):
            return _straight((edge.start, edge.end, *corners), closed=True)
        case Curve(points=points, closed=closed):
            return _curve(points, closed=closed)
        case Circle() as geometry:
            return _circle(feature, geometry, book, reduction)
        case Parallel() as geometry:
            return _parallel(geometry, book, reduction, (*above, feature.name))
        case _:
            return None


def _number_names(points: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """Return the different names, and for each of ``points`` its number among them."""
    names = tuple(dict.fromkeys(points))
    if len(names) == len(points):
        return names, tuple(range(len(names)))
    number = {name: i for i, name in enumerate(names)}
    return names, tuple(number[name] for name in points)


def _straight(points: tuple[str, ...], *, closed: bool) -> Making:
    names, numbers = _number_names(points)
    in_order = len(names) == len(points)

    def make(positions: Array, _: Array) -> Path:
        return straight(positions[: len(names)] if in_order else positions[list(numbers)], closed=closed)

    return Making(names, make, vertices=numbers, shown=points)


def _curve(points: tuple[str, ...], *, closed: bool) -> Making:
    names, numbers = _number_names(points)

    def make(positions: Array, _: Array) -> Path:
        return curve(positions[list(numbers)], closed=closed)

    return Making(names, make, smooth=(numbers, closed and len(points) > 2), shown=points)


def _circle(feature: Feature, geometry: Circle, book: Book, reduction: Reduction) -> Making:
    if geometry.centre is None:
        names, numbers = _number_names(geometry.through)
        return Making(names, lambda positions, _: through_three(*positions[list(numbers)]), shown=geometry.through)
    sizes = ((geometry.radius, 1.0), (geometry.girth, 1 / (2 * pi)))
    booked, share = next((size, share) for size, share in sizes if size is not None)
    named = reduction.tapes.get(book.offset_tape or next(iter(book.tapes), ""))
    tape = named or next(iter(reduction.tapes.values()))
    radius = booked.metres(book.unit) * share
    ground = Ground(radius, radius, tape.lay_sd * share, tape.name, feature.place)
    return Making((geometry.centre,), lambda positions, own: circle(positions[0], own[0]), (ground,))


def _parallel(geometry: Parallel, book: Book, reduction: Reduction, above: tuple[str, ...]) -> Making | None:
    """Return the making of an offset copy: that of its original, cut to its limits, moved aside."""
    original = book.features.get(geometry.to)
    source = making_of(original, book, reduction, above) if original else None
    grounds = reduction.walls.get(above[-1], ())
    if source is None or not grounds:
        return None
    limits = [limit for limit in (geometry.start, geometry.until) if limit is not None]
    names, numbers = _number_names((*source.names, *limits))
    at_limits = dict(zip(limits, numbers[len(source.names) :], strict=True))
    start, until = (None if limit is None else at_limits[limit] for limit in (geometry.start, geometry.until))
    sign = 1.0 if geometry.left else -1.0

    def original_of(positions: Array, own: Array) -> Path:
        return _part_between(source.make(positions, own[:-1]), positions, start, until)

    def make(positions: Array, own: Array) -> Path:
        return parallel(original_of(positions, own), sign * own[-1])

    def nudge(positions: Array, own: Array) -> Path | None:
        return exact_copy(without_repeats(original_of(positions, own)), sign * own[-1])

    return Making(names, make, (*source.grounds, *grounds), nudge=nudge)


def _part_between(path: Path, positions: Array, start: int | None, until: int | None) -> Path:
    """Return the part of a path between the places nearest to two points."""
    if start is None and until is None:
        return path
    path = without_repeats(path)
    last = len(path.vertices) - (1 if path.closed else 2)
    begin = (0, 0.0) if start is None else locate(path, positions[start])
    end = (last, 1.0) if until is None else locate(path, positions[until])
    return cut(path, begin, end)


def gradients(made: Sequence[Made]) -> list[Gradients]:
    """Return what area and perimeter of each path change by when its points, and its own lengths, do.

    The sign of the area is that of the path: positive anticlockwise.
    """
    straight = [one for one in made if one.making.vertices is not None]
    by_vertex = iter(_by_vertices(straight))
    return [_by_points(one, next(by_vertex)) if one.making.vertices is not None else _by_moving(one) for one in made]


def _by_moving(one: Made) -> Gradients:
    """Return the gradients of a path by moving every coordinate and length a little, up and down."""
    made, path, positions, own = one
    count = positions.size
    values = np.concatenate((positions.ravel(), own))
    moved = np.concatenate((values + VERTEX_STEP * np.eye(len(values)), values - VERTEX_STEP * np.eye(len(values))))
    if made.smooth is not None and _all_apart(made, path):
        numbers, closed = made.smooth
        vertices, bulges = curve_vertices(
            moved[:, :count].reshape(-1, len(positions), 2)[:, list(numbers)], closed=closed
        )
        measures = np.array([path_areas(vertices, bulges), path_lengths(vertices, bulges, closed=closed)])
    else:
        make = _quickest(made, path, positions, own)
        paths = [make(one[:count].reshape(-1, 2), one[count:]) or path for one in moved]
        measures = np.array([(area(p) if p.closed else 0.0, length(p)) for p in paths]).T
    up, down = np.split(measures.T, 2)
    slopes = (up - down) / (2 * VERTEX_STEP)
    return Gradients(slopes[:count].reshape(-1, 2, 2).swapaxes(1, 2), slopes[count:])


def _all_apart(made: Making, path: Path) -> bool:
    """Return whether no two points of a curve fell together: every other vertex is one."""
    return made.smooth is not None and (len(path.vertices) + 1) // 2 == len(made.smooth[0])


def _quickest(made: Making, path: Path, positions: Array, own: Array) -> Callable[[Array, Array], Path | None]:
    """Return the quick way to make a path, where it makes the same."""
    quick = made.nudge(positions, own) if made.nudge else None
    if made.nudge and quick is not None and np.array_equal(quick.vertices, path.vertices):
        return made.nudge
    return made.make


def _by_vertices(made: Sequence[Made]) -> list[Array]:
    """Return the gradients (k, 2, 2) of some paths of straight pieces to their vertices.

        ∂A/∂xᵢ = (yᵢ₊₁ - yᵢ₋₁) / 2,   ∂A/∂yᵢ = (xᵢ₋₁ - xᵢ₊₁) / 2

    and the length grows by the unit vectors of the pieces that end at a vertex, less those that start there.
    """
    if not made:
        return []
    vertices = Vertices.of([one.path for one in made])
    steps = vertices.positions[vertices.after] - vertices.positions
    sizes = np.hypot(steps[:, 0], steps[:, 1])
    sizes[sizes == 0] = np.inf
    sizes[vertices.ending] = np.inf
    unit = steps / sizes[:, None]
    across = (steps + steps[vertices.before]) / 2
    by_area = np.column_stack((across[:, 1], -across[:, 0]))
    by_vertex = np.stack((by_area, unit[vertices.before] - unit), axis=1)
    bounds = [*vertices.first.tolist(), len(by_vertex)]
    return [by_vertex[begin:end] for begin, end in pairwise(bounds)]


def _by_points(one: Made, by_vertex: Array) -> Gradients:
    """Return the gradients of a path to its points, some of which may be several of its vertices."""
    count = len(one.positions)
    if len(by_vertex) == count:
        return Gradients(by_vertex, NO_LENGTHS)
    by_point = np.zeros((count, 2, 2))
    np.add.at(by_point, np.array(one.making.vertices), by_vertex)
    return Gradients(by_point, NO_LENGTHS)
