"""What can hardly be: houses across paths, lines through houses, two names of one point.

Nothing of this shows in a check; each is a mistake more often than it is true.
"""

from __future__ import annotations

import datetime
from collections.abc import Container, Iterator
from itertools import combinations, pairwise
from typing import Final

import numpy as np

from pegline.book.model import Book
from pegline.detail.model import Shape
from pegline.diagnosis.rules.phrases import list_names
from pegline.diagnosis.rules.thumb import Remarks
from pegline.errors import Finding, Place
from pegline.kinds import HOUSES, OBSTACLES, UNBUILT
from pegline.plane import Array, depth_inside
from pegline.solved import Solved

__all__ = [
    "buildings_overlap",
    "future_dates",
    "house_in_the_way",
    "line_through_house",
    "runs_clear",
]

DEEP: Final = 0.25  #: so far inside a house is no error of measuring, metres
CUTS: Final = 0.5  #: so far inside a house a chain line does not cut a corner by an error of measuring, metres
INSIDE_STEP: Final = 0.2  #: along a line, at which it is looked whether it is inside, metres
AT_ONCE: Final = 100_000  #: pairs of points that are looked at at one time, about


def house_in_the_way(solved: Solved, limit: None) -> Remarks:
    """Houses drawn across a path, a road or a fence."""
    ways = [shape for shape in solved.detail.shapes.values() if shape.kind in UNBUILT and shape.path is not None]
    for house in _houses(solved):
        for way in ways:
            if way.path is not None and _reaches_into(_points_along(way.path.vertices, closed=way.path.closed), house):
                text = f"{house.name} stands across {way.name}"
                yield f"{text}; look at the rows of both: a side, a chainage or a name may be wrong", house.place


def buildings_overlap(solved: Solved, limit: None) -> Remarks:
    """Two buildings in one place."""
    for one, other in combinations(_houses(solved), 2):
        if one.path is None or other.path is None:
            continue
        walls = _points_along(one.path.vertices, closed=True), _points_along(other.path.vertices, closed=True)
        if _reaches_into(walls[0], other) or _reaches_into(walls[1], one):
            text = f"{one.name} and {other.name} overlap"
            yield f"{text}; look at the rows of both: a side, a chainage or a name may be wrong", one.place


def line_through_house(solved: Solved, limit: None) -> Remarks:
    """Chain lines that run through a building or a pond, or what the book calls an obstacle, where no tape lies."""
    shapes = list(_obstacles(solved))
    if not shapes:
        return
    for line in solved.reduction.lines.values():
        ends = [solved.positions.get(name) for name in (line.start, line.end)]
        if None in ends or any(taped.passage for taped in (*line.booked.taped, *line.booked.legs)):
            continue
        walked = _points_along(np.array(ends), closed=False)
        for shape in shapes:
            if _reaches_into(walked, shape, CUTS):
                text = f"the line {line.name} runs through {shape.name}"
                yield f"{text}; look at the side and the rows of {shape.name}, and at the line", line.booked.place


def _obstacles(solved: Solved) -> Iterator[Shape]:
    """Yield the areas that no line can cross: of the kinds, or by the names, that the book gives."""
    kinds_and_names = {*(solved.book.obstacles or OBSTACLES)}
    for shape in solved.detail.shapes.values():
        closed = shape.path is not None and shape.path.closed and len(shape.path.vertices) > 2
        if closed and not kinds_and_names.isdisjoint((shape.kind, shape.name)):
            yield shape


def runs_clear(solved: Solved, *stations: str) -> bool:
    """Return whether nothing that no line can cross lies on the straight ways from amid stations or points to each.

    Of two it is the line between them, of more what a peg set amid them sees.
    """
    obstacles = list(_obstacles(solved))
    if not obstacles:
        return True
    ends = np.array([solved.positions[name] for name in stations])
    middle = ends.mean(axis=0)
    walked = np.concatenate([_points_along(np.array([middle, end]), closed=False) for end in ends])
    return not any(_reaches_into(walked, obstacle, CUTS) for obstacle in obstacles)


def _houses(solved: Solved) -> Iterator[Shape]:
    for shape in solved.detail.shapes.values():
        if shape.kind in HOUSES and shape.path is not None and shape.path.closed and len(shape.path.vertices) > 2:
            yield shape


def _points_along(vertices: Array, *, closed: bool) -> Array:
    """Return points (k, 2) along a line, a step apart."""
    ends = np.concatenate((vertices, vertices[:1])) if closed else vertices
    parts = []
    for start, end in pairwise(ends):
        count = min(max(int(np.hypot(*(end - start)) / INSIDE_STEP), 1), 1000)
        parts.append(start + np.linspace(0, 1, count, endpoint=False)[:, None] * (end - start))
    return np.concatenate((*parts, ends[-1:]))


def _reaches_into(points: Array, house: Shape, least: float = DEEP) -> bool:
    return house.path is not None and bool((depth_inside(points, house.path.vertices) > least).any())


def same_point(solved: Solved, limit: float) -> Remarks:
    """Points of different names so near each other that they may be one, whose second booking would check the first."""
    names = list(solved.positions)
    at = np.array(list(solved.positions.values())).reshape(-1, 2)
    near = list(_near_pairs(at, limit))
    places = _places(solved, {names[number] for one, other, _ in near for number in (one, other)})
    for one, other, apart in near:
        pair = [names[number] for number in sorted((one, other))]
        text = f"{list_names(pair)} lie {solved.notation.small(apart)} apart and may be one point"
        yield (
            f"{text}; if so, give both one name: it is then checked",
            places.get(pair[1]) or places.get(pair[0]),
        )


def _near_pairs(at: Array, limit: float) -> Iterator[tuple[int, int, float]]:
    """Yield the pairs of points (n, 2) that are no further apart than a limit, from left to right, and how far."""
    order = np.argsort(at[:, 0], kind="stable")
    from_left = at[order]
    others = np.searchsorted(from_left[:, 0], from_left[:, 0] + limit, side="right") - np.arange(1, len(order) + 1)
    first_pairs = np.cumsum(others) - others
    parts = np.searchsorted(first_pairs, np.arange(AT_ONCE, others.sum(), AT_ONCE))
    for numbers in np.split(np.arange(len(order)), parts):
        count = others[numbers]
        one = np.repeat(numbers, count)
        other = one + 1 + np.arange(len(one)) - np.repeat(np.cumsum(count) - count, count)
        apart = np.hypot(*(from_left[other] - from_left[one]).T)
        near = apart <= limit
        yield from zip(order[one[near]].tolist(), order[other[near]].tolist(), apart[near].tolist(), strict=True)


def _places(solved: Solved, names: Container[str]) -> dict[str, Place]:
    """Return where points of some names are booked first."""
    shapes, rows = solved.detail.shapes.values(), reversed(solved.reduction.rows)
    places = {name: shape.place for shape in shapes for name in shape.points if name in names}
    return places | {row.name: row.booked.place for row in rows if row.name in names}


def nothing_in_files(solved: Solved, limit: None) -> Remarks:
    """Dates later than today are told on screen alone (``future_dates``): files stay the same from day to day."""
    yield from ()


def future_dates(book: Book, today: datetime.date) -> Iterator[Finding]:
    """Yield the dates of a book that are later than today, unless it silences that."""
    if "future-date" in book.limits.silence:
        return
    dated = [(book.date, None), *((line.date, line.place) for line in book.lines.values())]
    dated += [(taped.date, taped.place) for line in book.lines.values() for taped in (*line.taped, *line.legs)]
    for date, place in dated:
        if date is not None and date > today:
            yield Finding("future-date", f"the date {date} is later than today; look at the year", place)
