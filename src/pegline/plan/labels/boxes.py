"""Boxes of texts, level or turned: where they are on paper, which overlap, and by how much."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.plan.display import flatten, turning_matrix
from pegline.plane import Array
from pegline.records import record

__all__ = ["TOUCHING", "Array", "Boxes", "LabelPaper", "box", "common_area", "level_diagonals"]


#: Heights of capitals, paper millimetres, of the series of ISO 3098: of names and figures, and of what is prominent.
HEIGHTS: Final = (1.8, 2.5)
LARGE_HEIGHTS: Final = (2.5, 3.5)  #: on sheets that are read standing


@record(frozen=True, slots=True)
class LabelPaper:
    """The paper that labels are placed on: scale, turn of the map, heights of texts."""

    metres_per_mm: float
    turn: float = 0.0  #: of the map on the paper, anticlockwise, radians
    large: bool = False  #: it is read standing
    window: tuple[float, float, float, float] | None = None  #: left, bottom, right, top of the map, millimetres

    @property
    def name_height(self) -> float:
        """Return the height of names and figures, millimetres."""
        return (LARGE_HEIGHTS if self.large else HEIGHTS)[0]

    @property
    def strong_height(self) -> float:
        """Return the height of what is prominent, millimetres."""
        return (LARGE_HEIGHTS if self.large else HEIGHTS)[1]

    def points(self, positions: Any) -> Any:
        """Return where positions (..., 2) of the frame are, millimetres."""
        return np.asarray(positions) @ turning_matrix(self.turn).T / self.metres_per_mm

    def position(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point of the paper is in the frame, metres."""
        east, north = self.positions(np.array([x, y])).tolist()
        return east, north

    def positions(self, points: Any) -> Any:
        """Return where points (..., 2) of the paper are in the frame, metres."""
        return points @ turning_matrix(-self.turn).T * self.metres_per_mm

    def at(self, position: tuple[float, float]) -> tuple[float, float]:
        """Return where one position of the frame is, millimetres."""
        x, y = self.points(position).tolist()
        return x, y

    def path(self, path: Path) -> Any:
        """Return a line's points, millimetres."""
        return flatten(self.points(path.vertices), path.bulges, path.closed, 0.05)


TOUCHING: Final = 1e-6  #: square millimetres that are no overlap


def box(x: Any, y: Any, rotation: Any, width: Any, height: Any) -> Any:
    """Return the boxes of texts as polygons; arrays broadcast."""
    x, y, rotation, width, height = (np.asarray(a, dtype=float)[..., None] for a in (x, y, rotation, width, height))
    c, s = np.cos(rotation), np.sin(rotation)
    along, up = np.array([(-0.5, 0.5, 0.5, -0.5), (-0.5, -0.5, 0.5, 0.5)])  # of the corners, in turn
    corners = [x + along * width * c - up * height * s, y + along * width * s + up * height * c]
    return shapely.polygons(np.stack(corners, axis=-1))


def level_diagonals(shape: Any) -> Any:
    """Return diagonals of the level boxes about turned ones (n, 5): x, y, rotation, width, height.

    An index looks at no more of a shape than its level box, and a diagonal is made sooner than a polygon.
    """
    x, y, rotation, width, height = shape.T
    c, s = np.abs(np.cos(rotation)) / 2, np.abs(np.sin(rotation)) / 2
    across, up = width * c + height * s, width * s + height * c
    return shapely.linestrings(np.stack([x - across, y - up, x + across, y + up], axis=-1).reshape(-1, 2, 2))


@record(frozen=True, slots=True)
class Boxes:
    """Boxes of texts, with what an index needs of them."""

    shape: Array  #: (n, 5) x, y, rotation, width, height
    reach: Any  #: (n,) their diagonals when level

    @classmethod
    def of(cls, shape: Array) -> Boxes:
        """Return boxes by their rows."""
        return cls(shape, level_diagonals(shape))

    def __getitem__(self, which: Any) -> Boxes:
        return Boxes(self.shape[which], self.reach[which])

    def __add__(self, others: Boxes) -> Boxes:
        return Boxes(*(np.concatenate(pair) for pair in ((self.shape, others.shape), (self.reach, others.reach))))

    def __len__(self) -> int:
        return len(self.shape)

    def meet(self, others: Boxes, tree: Any) -> tuple[Any, Any]:
        """Return the pairs of these that overlap others, which are in an index."""
        one, two = tree.query(self.reach)
        over = _overlap(self.shape[one], others.shape[two])
        return one[over], two[over]


def _overlap(one: Any, two: Any) -> Any:
    """Return which pairs of boxes (n, 5) overlap: not those that a side of either holds apart, or that only touch."""
    over = np.ones(len(one), dtype=bool)
    for this, other in ((one, two), (two, one)):
        east, north, turn = (other - this)[:, :3].T
        c, s = np.cos(this[:, 2]), np.sin(this[:, 2])
        along, up = np.abs(np.cos(turn)), np.abs(np.sin(turn))
        wide = this[:, 3] + other[:, 3] * along + other[:, 4] * up
        high = this[:, 4] + other[:, 3] * up + other[:, 4] * along
        over &= 2 * np.abs(east * c + north * s) < wide - TOUCHING
        over &= 2 * np.abs(north * c - east * s) < high - TOUCHING
    return over


def common_area(one: Any, two: Any) -> Any:
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
