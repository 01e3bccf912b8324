"""Where labels go: each has candidate places, and a small search picks those that overlap least.

Everything here is in paper millimetres. Places are rows of arrays: x and y of the middle of the text's box, its
rotation, and how much worse the place is than the best. The search is greedy in order of importance, then lets
each label move in turn while that helps; nothing is left to chance, so that a plan is the same every time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import pi
from typing import Any, Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike

from pegline.plan.labels.boxes import TOUCHING, Array, common_area, level_diagonals
from pegline.records import record

__all__ = [
    "ALONG",
    "PLACES_AROUND",
    "PLACES_AT_ONCE",
    "PlaceableLabel",
    "Spot",
    "discs_under",
    "lines_under",
    "places_along",
    "places_around",
    "places_inside",
    "places_outside",
    "settle_labels",
    "upright",
]

LABEL_CLEARANCE_MM: Final = 0.35  #: kept free around a label, mm
OVER_LABEL: Final = 12.0  #: cost of a square millimetre over another label
OVER_SYMBOL: Final = 4.0  #: of a square millimetre over a symbol
OVER_LINE: Final = 1.2  #: of a millimetre of line under a label
MAX_PLACEMENT_ROUNDS: Final = 12
ANGLE_ROUNDING: Final = 1e-9
MAX_LABEL_PLACES: Final = 4000  #: places that are looked at in all, and
FEWEST: Final = 6  #: of each label at least
FIRST_LOOK_FACTOR: Final = 4  #: times as many are looked at to begin with
PLACES_AT_ONCE: Final = 4_000  #: places whose ground is looked at together, so that a large plan needs no more memory


class Spot(NamedTuple):
    """A place where a label may go."""

    x: float  #: middle of the text's box
    y: float
    rotation: float = 0.0
    cost: float = 0.0  #: how much worse it is than the best place


@record(frozen=True, slots=True)
class PlaceableLabel:
    """A label that wants a place."""

    text: str
    width: float
    height: float
    spots: Array  #: (k, 4) places, as the fields of ``Spot``
    needed: bool  #: it stays even where it must overlap; else it is left out
    rank: int = 0  #: lower ones are placed first


def upright(angle: ArrayLike) -> Array:
    """Return angles of text that can be read from below or from the right.

    >>> round(float(upright(pi)), 6)
    0.0
    """
    angles = (np.asarray(angle, dtype=float) + pi) % (2 * pi) - pi
    return np.where(
        angles > pi / 2 + ANGLE_ROUNDING, angles - pi, np.where(angles <= -pi / 2 + ANGLE_ROUNDING, angles + pi, angles)
    )


#: Places around a point: which way across and up, how much of the gap, cost; the corners are drawn in.
COMPASS: Final = (
    (1, 1, 0.75, 0.0),
    (1, -1, 0.75, 0.4),
    (-1, 1, 0.75, 0.6),
    (-1, -1, 0.75, 0.8),
    (1, 0, 1.0, 0.3),
    (-1, 0, 1.0, 0.7),
    (0, 1, 1.0, 0.9),
    (0, -1, 1.0, 1.0),
)
#: The same in three rings: across, up, share of the gap, gap, cost.
PLACES_AROUND: Final = np.array(
    [(*way, gap, cost + 2.0 * ring) for ring, gap in enumerate((0.7, 2.2, 4.5)) for *way, cost in COMPASS]
).T


def places_around(
    x: ArrayLike, y: ArrayLike, radius: float, width: ArrayLike, height: float, *, places: Array = PLACES_AROUND
) -> Array:
    """Return places (..., k, 4) around points, the best (above right) first, for columns ``places``."""
    across, up, share, extra, cost = places
    x, y, width = (np.asarray(each, dtype=float)[..., None] for each in (x, y, width))
    gap = (radius + extra) * share
    spots = (x + across * (gap + width / 2), y + up * (gap + height / 2), 0.0, cost)
    return np.stack(np.broadcast_arrays(*spots), axis=-1)


#: Places along a piece: at which share of it, +1 on the side preferred or -1, how far out; and their cost.
ALONG: Final = np.array(
    [
        (share, way, out, abs(share - 0.5) * 2 + (1.5 if way < 0 else 0.0) + (out - 1.1) * 0.6)
        for share in (0.5, 0.38, 0.62, 0.26, 0.74)
        for way in (1, -1)
        for out in (1.1, 2.2, 4.2)
    ]
).T


def places_along(
    start: ArrayLike, end: ArrayLike, width: ArrayLike, height: float, *, side: ArrayLike = 0, places: Array = ALONG
) -> Array:
    """Return places (..., k, 4) along straight pieces, beside them.

    ``side`` +1 prefers the left of a piece, -1 its right, 0 above. A piece without length counts as level.
    ``places`` are columns of ``ALONG``.
    """
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    x, y = start[..., :1], start[..., 1:]
    dx, dy = end[..., :1] - x, end[..., 1:] - y
    length, angle = np.hypot(dx, dy), np.arctan2(dy, dx)
    ux, uy, rotation = np.cos(angle), np.sin(angle), upright(angle)
    above = np.where(np.sin(rotation) * uy + np.cos(rotation) * ux > 0, 1, -1)
    sides = np.asarray(side)[..., None]
    share, way, out, cost = places
    gap = np.where(sides != 0, sides, above) * way * (height / 2 + out)
    at = length * share
    over = np.maximum(
        0.0, np.asarray(width)[..., None] / 2 - np.minimum(at, length - at)
    )  # sticks out beyond the piece
    spots = (x + ux * at - uy * gap, y + uy * at + ux * gap, rotation, cost + over * 0.8)
    return np.stack(np.broadcast_arrays(*spots), axis=-1)


def places_inside(ring: Any, width: float, height: float) -> Array:
    """Return places inside a polygon, nearest its middle first; places that stick out cost more."""
    middle = ring.representative_point() if not ring.contains(ring.centroid) else ring.centroid
    left, bottom, right, top = ring.bounds
    xs = np.concatenate([[middle.x], np.linspace(left, right, 9)[1:-1]])
    ys = np.concatenate([[middle.y], np.linspace(bottom, top, 9)[1:-1]])
    grid = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1).reshape(-1, 2)
    grid = grid[shapely.contains_xy(ring, grid[:, 0], grid[:, 1])]
    if not len(grid):
        grid = np.array([(middle.x, middle.y)])
    x, y = grid.T
    boxes = shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    out = shapely.area(boxes) - shapely.area(shapely.intersection(boxes, ring))
    cost = out * 1.5 + np.hypot(x - middle.x, y - middle.y) * 0.08
    order = np.argsort(cost, kind="stable")[:24]
    return np.stack([x, y, np.zeros(len(x)), cost], axis=-1)[order]


#: Places around a polygon: which way across and up, how far out, cost.
OUTSIDE: Final = np.array(
    [
        (across, up, gap, 3.0 + cost + 2.0 * ring)
        for ring, gap in enumerate((1.0, 3.0))
        for across, up, cost in ((0, 1, 0.0), (0, -1, 0.2), (1, 0, 0.3), (-1, 0, 0.4), (1, 1, 1.0), (-1, -1, 1.2))
    ]
).T


def places_outside(ring: Any, width: float, height: float, beside: float = 0.0) -> Array:
    """Return places around a polygon, for what it is too small to hold, beyond what else stands ``beside`` it."""
    left, bottom, right, top = ring.bounds
    across, up, gap, cost = OUTSIDE
    gap = gap + beside
    x = (left + right) / 2 + across * ((right - left) / 2 + gap + width / 2)
    y = (bottom + top) / 2 + up * ((top - bottom) / 2 + gap + height / 2)
    return np.stack([x, y, np.zeros(len(x)), cost], axis=-1)


def settle_labels(
    labels: Sequence[PlaceableLabel], lines: Sequence[Any], symbols: Sequence[tuple[float, float, float]]
) -> tuple[Spot | None, ...]:
    """Return a place for each label, None for one that is left out for want of room.

    Parameters
    ----------
    wanted
        The labels.
    lines, symbols
        What they should keep off: lines as points (k, 2); symbols as discs: x, y, radius.
    """
    owner = np.repeat(np.arange(len(labels)), [len(label.spots) for label in labels])
    if not len(owner):
        return (None,) * len(labels)
    spots = np.concatenate([label.spots for label in labels])
    sizes = np.array([(label.width, label.height) for label in labels]) + 2 * LABEL_CLEARANCE_MM
    best, cost = _best(owner, spots, sizes, max(FEWEST, MAX_LABEL_PLACES // len(labels)), lines, symbols)
    spots, owner = spots[best], owner[best]
    clashes = _clashes(_boxes(spots, sizes[owner]), owner)
    order = sorted(range(len(labels)), key=lambda i: (labels[i].rank, len(labels[i].spots), i))
    chosen = _drop_overlaps(labels, _search(order, owner, cost, clashes), clashes)
    return tuple(None if place is None else Spot(*spots[place].tolist()) for place in chosen)


def _boxes(spots: Any, sizes: Any) -> Any:
    """Return the boxes (n, 5) of labels at their places: x, y, rotation, width, height."""
    return np.concatenate([spots[:, :3], sizes], axis=1)


def _best(owner: Any, spots: Any, sizes: Any, most: int, lines: Any, symbols: Any) -> tuple[Any, Any]:
    """Return so many of the cheapest places of each label, in their order, and what each costs.

    What lies under a place only adds to its own cost. So first those are looked at that are cheap in themselves,
    and of the others only those that could still be among the best.
    """

    def cost_of(places: Any) -> Any:
        shape = _boxes(spots[places], sizes[owner[places]])
        return spots[places, 3] + (OVER_LINE * lines_under(shape, lines) + OVER_SYMBOL * discs_under(shape, symbols))

    is_cheap = _rank(owner, spots[:, 3]) < FIRST_LOOK_FACTOR * most
    places = np.flatnonzero(is_cheap)
    cost = cost_of(places)
    last = _rank(owner[places], cost) == most - 1
    limit = np.full(owner[-1] + 1, np.inf)
    limit[owner[places[last]]] = cost[last]
    others = np.flatnonzero(~is_cheap & (spots[:, 3] <= limit[owner]))
    places, cost = np.concatenate([places, others]), np.concatenate([cost, cost_of(others)])
    order = np.argsort(places)
    places, cost = places[order], cost[order]
    best = _rank(owner[places], cost) < most
    return places[best], cost[best]


def _rank(owner: Any, cost: Any) -> Any:
    """Return how many places of its label are cheaper than each; of places that cost the same the earlier is.

    They come label by label.
    """
    order = np.lexsort((cost, owner))
    rank = np.empty(len(order), dtype=int)
    rank[order] = np.arange(len(order)) - np.searchsorted(owner, owner)
    return rank


def _pairs(shape: Any, things: Any) -> Iterator[tuple[Any, Any]]:
    """Yield which boxes may meet which of some shapes, some boxes at a time."""
    tree = shapely.STRtree(things)
    for first in range(0, len(shape), PLACES_AT_ONCE):
        which, thing = tree.query(level_diagonals(shape[first : first + PLACES_AT_ONCE]))
        yield which + first, thing


def lines_under(shape: Any, lines: Sequence[Any]) -> Any:
    """Return the length of lines under each box.

    Each straight piece is seen from its box, level and about its middle, and cut to it: of the piece
    from t = 0 to 1 what lies between the edges is where t is within both pairs of edges.
    """
    total = np.zeros(len(shape))
    pieces = [np.stack([line[:-1], line[1:]], axis=1) for line in lines if len(line) > 1]
    if not pieces:
        return total
    ends = np.concatenate(pieces)
    lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    for which, piece in _pairs(shape, shapely.linestrings(ends)):
        x, y, rotation, width, height = shape[which].T
        c, s = np.cos(rotation)[:, None], np.sin(rotation)[:, None]
        away = ends[piece] - np.stack([x, y], axis=1)[:, None]
        across, up = away[..., 0] * c + away[..., 1] * s, away[..., 1] * c - away[..., 0] * s
        first, last = np.zeros(len(which)), np.ones(len(which))
        for at, half in ((across, width / 2), (up, height / 2)):
            step = at[:, 1] - at[:, 0]
            step = np.where(np.abs(step) < ANGLE_ROUNDING, ANGLE_ROUNDING, step)
            one, two = (-half - at[:, 0]) / step, (half - at[:, 0]) / step
            first, last = np.maximum(first, np.minimum(one, two)), np.minimum(last, np.maximum(one, two))
        np.add.at(total, which, np.clip(last - first, 0.0, None) * lengths[piece])
    return total


def discs_under(shape: Any, discs: Any) -> Any:
    """Return about how much of some discs (x, y, radius) lies under each box: the breadth of each times its depth."""
    total = np.zeros(len(shape))
    discs = np.asarray(discs, dtype=float).reshape(-1, 3)
    if not len(discs):
        return total
    x, y, radius = discs.T
    level = np.column_stack([x, y, np.zeros(len(x)), 2 * radius, 2 * radius])
    for which, disc in _pairs(shape, level_diagonals(level)):
        c, s = np.cos(shape[which, 2]), np.sin(shape[which, 2])
        east, north = x[disc] - shape[which, 0], y[disc] - shape[which, 1]
        across = np.abs(east * c + north * s) - shape[which, 3] / 2
        up = np.abs(north * c - east * s) - shape[which, 4] / 2
        away = np.hypot(np.clip(across, 0.0, None), np.clip(up, 0.0, None))
        np.add.at(total, which, np.clip(radius[disc] - away, 0.0, None) * 2 * radius[disc])
    return total


@record(frozen=True, slots=True)
class _Clashes:
    """Which places of different labels overlap, both ways, in order of the places."""

    place: Any  #: (m,) a place, and
    other: Any  #: (m,) one that it overlaps
    area: Any  #: (m,) by so much, square millimetres
    first: Any  #: (n + 1,) where the rows of each of n places begin


def _clashes(shape: Any, owner: Any) -> _Clashes:
    """Return the places of other labels that each place overlaps."""
    pairs = []
    for one, two in _pairs(shape, level_diagonals(shape)):
        apart = (owner[one] != owner[two]) & (one < two)
        one, two = one[apart], two[apart]
        area = common_area(shape[one], shape[two])
        over = area > TOUCHING
        pairs.append((one[over], two[over], area[over]))
    one, two, area = (np.concatenate(part) for part in zip(*pairs, strict=True))
    place, other, area = np.concatenate([one, two]), np.concatenate([two, one]), np.concatenate([area, area])
    order = np.lexsort((other, place))
    place = place[order]
    return _Clashes(place, other[order], area[order], np.searchsorted(place, np.arange(len(shape) + 1)))


def _search(order: Sequence[int], owner: Any, cost: Any, clashes: _Clashes) -> list[int | None]:
    """Return the place chosen for each label: the cheapest beside those of the others, until none moves any more."""
    places = np.searchsorted(owner, np.arange(len(order) + 1))
    chosen: list[int | None] = [None] * len(order)
    clash_cost = np.zeros(len(cost))
    stale = np.diff(places) > 0  # what is chosen is still the best until a neighbour has moved
    for _ in range(MAX_PLACEMENT_ROUNDS):
        if not stale.any():
            break
        for label in order:
            if not stale[label]:
                continue
            stale[label] = False
            start, end = places[label : label + 2]
            rows = slice(clashes.first[start], clashes.first[end])
            weights = clashes.area[rows] * clash_cost[clashes.other[rows]]
            over = np.bincount(clashes.place[rows] - start, weights, end - start)
            before, best = chosen[label], int(start + np.argmin(cost[start:end] + OVER_LABEL * over))
            if best == before:
                continue
            for place, now in ((before, 0.0), (best, 1.0)):
                if place is not None:
                    clash_cost[place] = now
                    stale[owner[clashes.other[clashes.first[place] : clashes.first[place + 1]]]] = True
            chosen[label] = best
    return chosen


def _drop_overlaps(
    labels: Sequence[PlaceableLabel], chosen: Sequence[int | None], clashes: _Clashes
) -> list[int | None]:
    """Return the places without those of labels that can be spared and would overlap another."""
    kept = list(chosen)
    is_placed = np.zeros(len(clashes.first), dtype=bool)
    is_placed[[place for place in kept if place is not None]] = True
    for label in sorted(range(len(kept)), key=lambda i: (-labels[i].rank, -i)):
        place = kept[label]
        if place is None or labels[label].needed:
            continue
        if is_placed[clashes.other[clashes.first[place] : clashes.first[place + 1]]].any():
            kept[label] = None
            is_placed[place] = False
    return kept
