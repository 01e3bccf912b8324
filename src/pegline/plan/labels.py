"""Where labels go: each has candidate places, and a small search picks those that overlap least.

Everything here is in paper millimetres. The search is greedy in order of importance, then lets each
label move in turn while that helps; nothing is left to chance, so that a plan is the same every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, cos, hypot, pi, sin
from typing import Any, Final

import numpy as np
import shapely

__all__ = ["Spot", "Wanted", "along_piece", "around", "box", "inside", "outside", "overlap_share", "settle", "upright"]

CLEAR: Final = 0.35  #: kept free around a label, mm
OVER_LABEL: Final = 12.0  #: cost of a square millimetre over another label
OVER_SYMBOL: Final = 4.0  #: of a square millimetre over a symbol
OVER_LINE: Final = 1.2  #: of a millimetre of line under a label
TOUCHING: Final = 1e-6  #: square millimetres that are no overlap
ROUNDS: Final = 12
TINY: Final = 1e-9
MOST: Final = 4000  #: places that are looked at in all, and
FEWEST: Final = 6  #: of each label at least


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
            for out in (1.1, 2.2, 4.2):
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


def settle(
    wanted: Sequence[Wanted], lines: Sequence[Any], symbols: Sequence[tuple[float, float, float]]
) -> tuple[Spot | None, ...]:
    """Return a place for each label, None for one that is left out for want of room.

    Parameters
    ----------
    wanted
        The labels.
    lines, symbols
        What they should keep off: lines as points (k, 2); symbols as discs: x, y, radius.
    """
    spots = [(i, spot) for i, label in enumerate(wanted) for spot in label.spots]
    if not spots:
        return (None,) * len(wanted)
    owner, shape = _tabled(wanted, spots)
    boxes = box(*shape.T)
    cost = np.array([spot.cost for _, spot in spots])
    cost = cost + OVER_LINE * _lines_under(boxes, shape, lines) + OVER_SYMBOL * _discs_under(boxes, shape, symbols)
    best = _best(owner, cost, max(FEWEST, MOST // len(wanted)))
    spots = [spots[i] for i in best]
    owner, shape, boxes, cost = owner[best], shape[best], boxes[best], cost[best]
    clashes = _clashes(boxes, shape, owner)
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i].rank, len(wanted[i].spots), i))
    chosen = _search(order, owner, cost, clashes)
    kept = _thinned(wanted, chosen, clashes)
    return tuple(spots[kept[i]][1] if i in kept else None for i in range(len(wanted)))


def _tabled(wanted: Sequence[Wanted], spots: Sequence[tuple[int, Spot]]) -> tuple[Any, Any]:
    """Return for each place its label, and x, y, rotation, width and height of its box with the air about it."""
    rows = [(s.x, s.y, s.rotation, wanted[i].width + 2 * CLEAR, wanted[i].height + 2 * CLEAR) for i, s in spots]
    return np.array([i for i, _ in spots]), np.array(rows)


def _best(owner: Any, cost: Any, most: int) -> Any:
    """Return so many of the cheapest places of each label, in their order."""
    order = np.lexsort((np.arange(len(cost)), cost, owner))
    first = np.searchsorted(owner[order], owner[order])
    return np.sort(order[np.arange(len(order)) - first < most])


def _lines_under(boxes: Any, shape: Any, lines: Sequence[Any]) -> Any:
    """Return the length of lines under each box.

    Each straight piece is seen from its box, level and about its middle, and cut to it: of the piece
    from t = 0 to 1 what lies between the edges is where t is within both pairs of edges.
    """
    total = np.zeros(len(boxes))
    pieces = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    if not pieces:
        return total
    ends = np.concatenate(pieces)
    tree = shapely.STRtree(np.asarray(shapely.linestrings(ends)))
    which, piece = tree.query(boxes)
    x, y, rotation, width, height = shape[which].T
    c, s = np.cos(rotation)[:, None], np.sin(rotation)[:, None]
    away = ends[piece] - np.stack([x, y], axis=1)[:, None]
    along, up = away[..., 0] * c + away[..., 1] * s, away[..., 1] * c - away[..., 0] * s
    first, last = np.zeros(len(which)), np.ones(len(which))
    for at, half in ((along, width / 2), (up, height / 2)):
        step = at[:, 1] - at[:, 0]
        step = np.where(np.abs(step) < TINY, TINY, step)
        one, two = (-half - at[:, 0]) / step, (half - at[:, 0]) / step
        first, last = np.maximum(first, np.minimum(one, two)), np.minimum(last, np.maximum(one, two))
    lengths = np.hypot(*(ends[piece, 1] - ends[piece, 0]).T)
    np.add.at(total, which, np.clip(last - first, 0.0, None) * lengths)
    return total


def _discs_under(boxes: Any, shape: Any, discs: Any) -> Any:
    """Return about how much of some discs (x, y, radius) lies under each box: the breadth of each times its depth."""
    total = np.zeros(len(boxes))
    discs = np.asarray(discs, dtype=float).reshape(-1, 3)
    if not len(discs):
        return total
    x, y, radius = discs.T
    which, disc = shapely.STRtree(shapely.box(x - radius, y - radius, x + radius, y + radius)).query(boxes)
    c, s = np.cos(shape[which, 2]), np.sin(shape[which, 2])
    east, north = x[disc] - shape[which, 0], y[disc] - shape[which, 1]
    along = np.abs(east * c + north * s) - shape[which, 3] / 2
    up = np.abs(north * c - east * s) - shape[which, 4] / 2
    away = np.hypot(np.clip(along, 0.0, None), np.clip(up, 0.0, None))
    np.add.at(total, which, np.clip(radius[disc] - away, 0.0, None) * 2 * radius[disc])
    return total


def _clashes(boxes: Any, shape: Any, owner: Any) -> list[list[tuple[int, float]]]:
    """Return for each place the places of other labels that it overlaps, with how much."""
    one, two = shapely.STRtree(boxes).query(boxes)
    apart = (owner[one] != owner[two]) & (one < two)
    one, two = one[apart], two[apart]
    common = _common(shape[one], shape[two])
    over = common > TOUCHING
    clashes: list[list[tuple[int, float]]] = [[] for _ in boxes]
    for i, j, area in zip(one[over].tolist(), two[over].tolist(), common[over].tolist(), strict=True):
        clashes[i].append((j, area))
        clashes[j].append((i, area))
    return clashes


def _common(one: Any, two: Any) -> Any:
    """Return the areas that pairs of boxes (n, 5) share: x, y, rotation, width, height.

    Seen from the first's lower left corner, w wide and h high, the second's edges, followed anticlockwise, sweep

        A = -Σ ∫ min(max(y, 0), h) dx    over the part of each edge with 0 <= x <= w
    """
    w, h = one[:, 3], one[:, 4]
    c, s = np.cos(one[:, 2]), np.sin(one[:, 2])
    east, north = (two[:, :2] - one[:, :2]).T
    middle_x, middle_y = east * c + north * s + w / 2, north * c - east * s + h / 2
    c, s = np.cos(two[:, 2] - one[:, 2]), np.sin(two[:, 2] - one[:, 2])
    across, up = two[:, 3] / 2, two[:, 4] / 2
    around = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    corners = [(middle_x + i * across * c - j * up * s, middle_y + i * across * s + j * up * c) for i, j in around]
    areas = np.zeros(len(one))
    for (x, y), (to_x, to_y) in pairwise(corners):
        run = to_x - x
        slope = np.divide(to_y - y, run, out=np.zeros_like(run), where=run != 0)
        start, end = np.clip(x, 0.0, w), np.clip(to_x, 0.0, w)
        areas -= (end - start) * _mean_between(y + slope * (start - x), y + slope * (end - x), h)
    return areas


def _mean_between(first: Any, last: Any, high: Any) -> Any:
    """Return the means of ``min(max(y, 0), high)`` while y runs evenly from first to last."""
    swept = [np.clip(y, 0.0, high) ** 2 / 2 + high * np.clip(y - high, 0.0, None) for y in (first, last)]
    run = last - first
    level = np.abs(run) < 1e-6
    return np.where(level, np.clip((first + last) / 2, 0.0, high), (swept[1] - swept[0]) / np.where(level, 1.0, run))


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
    wanted: Sequence[Wanted], chosen: dict[int, int], clashes: list[list[tuple[int, float]]]
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
