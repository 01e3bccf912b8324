"""Where labels go: each has candidate places, and a small search picks those that overlap least.

Everything here is in paper millimetres. The search is greedy in order of importance, then lets each
label move in turn while that helps; nothing is left to chance, so that a plan is the same every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, sin
from typing import Any, Final

import numpy as np
import shapely

__all__ = ["Spot", "Wanted", "along_piece", "around", "box", "inside", "outside", "overlap_share", "settle", "upright"]

CLEAR: Final = 0.35  #: kept free around a label, mm
OVER_LABEL: Final = 12.0  #: cost of a square millimetre over another label
OVER_SYMBOL: Final = 4.0  #: of a square millimetre over a symbol
OVER_LINE: Final = 1.2  #: of a millimetre of line under a label
ROUNDS: Final = 12


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where a label may go."""

    x: float  #: middle of the text's box
    y: float
    rotation: float = 0.0
    cost: float = 0.0  #: how much worse it is than the best place


@dataclass(frozen=True, slots=True)
class Wanted:
    """A label that wants a place."""

    text: str
    width: float
    height: float
    spots: tuple[Spot, ...]
    needed: bool  #: it stays even where it must overlap; else it is left out
    rank: int = 0  #: lower ones are placed first


def upright(angle: float) -> float:
    """Return an angle of text that can be read from below or from the right.

    >>> round(upright(pi), 6)
    0.0
    """
    angle = (angle + pi) % (2 * pi) - pi
    if angle > pi / 2 + 1e-9:
        return angle - pi
    return angle + pi if angle <= -pi / 2 + 1e-9 else angle


def around(x: float, y: float, radius: float, width: float, height: float) -> tuple[Spot, ...]:
    """Return places around a point, the best (above right) first, in two rings."""
    spots = []
    for ring, extra in ((0, 0.7), (1, 2.2), (2, 4.5)):
        gap = radius + extra
        dx, dy = gap + width / 2, gap + height / 2
        slant = gap * 0.75
        places = (
            (slant + width / 2, slant + height / 2, 0.0),
            (slant + width / 2, -slant - height / 2, 0.4),
            (-slant - width / 2, slant + height / 2, 0.6),
            (-slant - width / 2, -slant - height / 2, 0.8),
            (dx, 0.0, 0.3),
            (-dx, 0.0, 0.7),
            (0.0, dy, 0.9),
            (0.0, -dy, 1.0),
        )
        spots += [Spot(x + a, y + b, 0.0, cost + 2.0 * ring) for a, b, cost in places]
    return tuple(spots)


def along_piece(
    start: tuple[float, float], end: tuple[float, float], width: float, height: float, *, side: int = 0
) -> tuple[Spot, ...]:
    """Return places along a straight piece, beside it; ``side`` +1 prefers its left, -1 its right, 0 above."""
    length = hypot(end[0] - start[0], end[1] - start[1])
    if length == 0:
        return ()
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    rotation = upright(atan2(uy, ux))
    above = 1 if -sin(rotation) * -uy + cos(rotation) * ux > 0 else -1
    preferred = side or above
    spots = []
    for share in (0.5, 0.38, 0.62, 0.26, 0.74):
        for way in (preferred, -preferred):
            for out in (1.1, 2.2):
                gap = way * (height / 2 + out)
                along = length * share
                over = max(0.0, width / 2 - min(along, length - along))  # text that sticks out beyond the piece
                cost = abs(share - 0.5) * 2 + (1.5 if way != preferred else 0.0) + (out - 1.1) * 0.6 + over * 0.8
                spots.append(Spot(start[0] + ux * along - uy * gap, start[1] + uy * along + ux * gap, rotation, cost))
    return tuple(spots)


def inside(ring: Any, width: float, height: float) -> tuple[Spot, ...]:
    """Return places inside a polygon, nearest its middle first; places that stick out cost more."""
    middle = ring.representative_point() if not ring.contains(ring.centroid) else ring.centroid
    left, bottom, right, top = ring.bounds
    xs = np.concatenate([[middle.x], np.linspace(left, right, 9)[1:-1]])
    ys = np.concatenate([[middle.y], np.linspace(bottom, top, 9)[1:-1]])
    grid = np.array([(x, y) for x in xs for y in ys])
    grid = grid[shapely.contains_xy(ring, grid[:, 0], grid[:, 1])]
    if not len(grid):
        grid = np.array([(middle.x, middle.y)])
    boxes = box(grid[:, 0], grid[:, 1], np.zeros(len(grid)), width, height)
    out = shapely.area(boxes) - shapely.area(shapely.intersection(boxes, ring))
    far = np.hypot(grid[:, 0] - middle.x, grid[:, 1] - middle.y)
    cost = out * 1.5 + far * 0.08
    order = np.argsort(cost, kind="stable")[:24]
    return tuple(Spot(float(grid[i, 0]), float(grid[i, 1]), 0.0, float(cost[i])) for i in order)


def outside(ring: Any, width: float, height: float) -> tuple[Spot, ...]:
    """Return places around a polygon, for what it is too small to hold."""
    left, bottom, right, top = ring.bounds
    x, y = (left + right) / 2, (bottom + top) / 2
    spots = []
    for ring_number, gap in enumerate((1.0, 3.0)):
        dx, dy = (right - left) / 2 + gap + width / 2, (top - bottom) / 2 + gap + height / 2
        for a, b, cost in (
            (0.0, dy, 0.0),
            (0.0, -dy, 0.2),
            (dx, 0.0, 0.3),
            (-dx, 0.0, 0.4),
            (dx, dy, 1.0),
            (-dx, -dy, 1.2),
        ):
            spots.append(Spot(x + a, y + b, 0.0, 3.0 + cost + 2.0 * ring_number))
    return tuple(spots)


def box(x: Any, y: Any, rotation: Any, width: Any, height: Any) -> Any:
    """Return the boxes of texts as polygons; arrays broadcast."""
    x, y, rotation, width, height = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (x, y, rotation, width, height))
    )
    c, s = np.cos(rotation), np.sin(rotation)
    corners = [
        np.stack([x + a * width * c - b * height * s, y + a * width * s + b * height * c], axis=-1)
        for a, b in ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))
    ]
    return shapely.polygons(np.stack(corners, axis=-2))


def settle(wanted: Sequence[Wanted], lines: Sequence[Any], symbols: Sequence[Any]) -> tuple[Spot | None, ...]:
    """Return a place for each label, None for one that is left out for want of room.

    Parameters
    ----------
    wanted
        The labels.
    lines, symbols
        What they should keep off: shapely lines and polygons.
    """
    spots = [(i, spot) for i, label in enumerate(wanted) for spot in label.spots]
    if not spots:
        return (None,) * len(wanted)
    owner = np.array([i for i, _ in spots])
    boxes = _boxes(wanted, spots)
    cost = np.array([spot.cost for _, spot in spots])
    cost = cost + OVER_LINE * _under(boxes, lines, shapely.length) + OVER_SYMBOL * _under(boxes, symbols, shapely.area)
    clashes = _clashes(boxes, owner)
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i].rank, len(wanted[i].spots), i))
    chosen = _search(order, owner, cost, clashes)
    kept = _thinned(wanted, chosen, boxes, clashes)
    return tuple(spots[kept[i]][1] if i in kept else None for i in range(len(wanted)))


def _boxes(wanted: Sequence[Wanted], spots: Sequence[tuple[int, Spot]]) -> Any:
    return box(
        [s.x for _, s in spots],
        [s.y for _, s in spots],
        [s.rotation for _, s in spots],
        [wanted[i].width + 2 * CLEAR for i, _ in spots],
        [wanted[i].height + 2 * CLEAR for i, _ in spots],
    )


def _under(boxes: Any, obstacles: Sequence[Any], measure: Any) -> Any:
    """Return how much of the obstacles lies under each box."""
    total = np.zeros(len(boxes))
    if len(obstacles):
        things = np.array(obstacles, dtype=object)
        which, thing = shapely.STRtree(things).query(boxes, predicate="intersects")
        np.add.at(total, which, measure(shapely.intersection(boxes[which], things[thing])))
    return total


def _clashes(boxes: Any, owner: Any) -> list[list[tuple[int, float]]]:
    """Return for each place the places of other labels that it overlaps, with the area."""
    one, two = shapely.STRtree(boxes).query(boxes)
    apart = (owner[one] != owner[two]) & (one < two)
    one, two = one[apart], two[apart]
    clashes: list[list[tuple[int, float]]] = [[] for _ in boxes]
    for i, j, area in zip(one.tolist(), two.tolist(), _common(boxes, one, two).tolist(), strict=True):
        if area > 0:
            clashes[i].append((j, area))
            clashes[j].append((i, area))
    return clashes


def _common(boxes: Any, one: Any, two: Any) -> Any:
    """Return the areas that pairs of boxes share; by bounds alone where both lie level, which most do."""
    bounds = shapely.bounds(boxes)
    level = np.isclose((bounds[:, 2] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 1]), shapely.area(boxes))
    a, b = bounds[one], bounds[two]
    sides = np.minimum(a[:, 2:], b[:, 2:]) - np.maximum(a[:, :2], b[:, :2])
    areas = np.prod(np.clip(sides, 0.0, None), axis=1)
    slanted = ~(level[one] & level[two]) & (areas > 0)
    areas[slanted] = shapely.area(shapely.intersection(boxes[one[slanted]], boxes[two[slanted]]))
    return areas


def _search(order: Sequence[int], owner: Any, cost: Any, clashes: list[list[tuple[int, float]]]) -> dict[int, int]:
    """Return the place chosen for each label."""
    places: dict[int, list[int]] = {}
    for place, label in enumerate(owner.tolist()):
        places.setdefault(label, []).append(place)
    chosen: dict[int, int] = {}
    taken = np.zeros(len(cost), dtype=bool)

    def price(place: int) -> float:
        return float(cost[place]) + OVER_LABEL * sum(area for other, area in clashes[place] if taken[other])

    for _ in range(ROUNDS):
        moved = False
        for label in order:
            if label not in places:
                continue
            before = chosen.get(label)
            if before is not None:
                taken[before] = False
            best = min(places[label], key=lambda place: (price(place), place))
            moved |= best != before
            chosen[label] = best
            taken[best] = True
        if not moved:
            break
    return chosen


def _thinned(
    wanted: Sequence[Wanted], chosen: dict[int, int], boxes: Any, clashes: list[list[tuple[int, float]]]
) -> dict[int, int]:
    """Return the places without those of labels that can be spared and would overlap another."""
    kept = dict(chosen)
    taken = set(kept.values())
    for label in sorted(kept, key=lambda i: (-wanted[i].rank, -i)):
        place = kept[label]
        over = sum(area for other, area in clashes[place] if other in taken)
        if over > 0 and not wanted[label].needed:
            del kept[label]
            taken.discard(place)
    return kept


def overlap_share(boxes: Any) -> float:
    """Return the area where labels overlap over the area of all labels.

    >>> overlap_share(box([0.0, 1.0], [0.0, 0.0], 0.0, 2.0, 1.0))
    0.25
    """
    if not len(boxes):
        return 0.0
    one, two = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    pair = one < two
    over = shapely.area(shapely.intersection(boxes[one[pair]], boxes[two[pair]])).sum()
    return float(over / shapely.area(boxes).sum())
