"""Places further off for labels that find no clear one beside their symbol, each with a line that leads to it."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi
from typing import Any, Final

import numpy as np
import shapely

from pegline.plan.labels.boxes import Array, Boxes, box
from pegline.plan.labels.placement import Spot, discs_under, lines_under
from pegline.plan.labels.requests import LabelledSymbol, LabelRequest

__all__ = ["Leaders"]

#: Distances of a label from its symbol, millimetres, and the ways that it may go, the best first.
LEADER_REACHES_MM: Final = (2.5, 4.5, 7.0, 10.0, 14.0, 19.0, 25.0)
DIRECTIONS_OUT: Final = pi / 4 + np.array([0, 15, 8, 4, 12, 2, 14, 1, 6, 10, 3, 5, 7, 9, 11, 13]) * pi / 8
DOT: Final = 0.5  #: from the middle of an area to the end of a line that leads into it, mm
LEADER_CLEARANCE_MM: Final = 0.3  #: kept free around a label, mm
MAX_LEADER_STRUCK_MM: Final = 0.5  #: millimetres of line through a label that may stay
TOUCHED: Final = 0.2  #: square millimetres of a symbol under a label that may stay


class Leaders:
    """Finds places for labels one after the other, off all that is placed already."""

    def __init__(
        self,
        placed: Boxes,
        waiting: Sequence[LabelRequest],
        lines: Any,
        discs: Any,
        rooms: Sequence[Any],
        window: tuple[float, float, float, float] | None,
    ) -> None:
        """Look for places off some lines, symbols and rooms, in which a name would be taken for theirs."""
        self._tree = shapely.STRtree(box(*placed.shape.T))
        self._added = np.full(2 * len(waiting), None, dtype=object)  #: boxes and lines of this search
        self._count = 0  #: of them
        shapes = [_candidates(ask) for ask in waiting]
        count = len(LEADER_REACHES_MM) * len(DIRECTIONS_OUT)
        free = _free(np.concatenate(shapes), lines, discs, rooms, window) if shapes else np.zeros(0, dtype=bool)
        self._places = {
            id(ask): shape[free[i * count : (i + 1) * count]]
            for i, (ask, shape) in enumerate(zip(waiting, shapes, strict=True))
        }

    def place(self, ask: LabelRequest) -> tuple[Spot, tuple[tuple[float, float], tuple[float, float]]] | None:
        """Return a place for a level label and the ends of its line, from the label to the symbol; None without one."""
        for shape in self._places[id(ask)] if ask.anchor else ():
            ends = _ends(ask.anchor, shape)
            line = shapely.LineString(ends)
            if self._clear(shape, line):
                self._add(box(*_enlarged_box(shape)), line)
                return Spot(float(shape[0]), float(shape[1])), ends
        return None

    def keep(self, ask: LabelRequest, spot: Spot) -> bool:
        """Return whether a label may stay where it is, and keep others off it."""
        shape = np.array([spot.x, spot.y, spot.rotation, ask.wanted.width, ask.wanted.height])
        where = box(*shape)
        free = self._clear(shape, where.centroid)
        if free:
            self._add(where)
        return free

    def _clear(self, shape: Array, line: Any) -> bool:
        """Return whether a label and its line meet no other label and no other line."""
        grown = box(*_enlarged_box(shape))
        if len(self._tree.query(grown, predicate="intersects")) or len(self._tree.query(line, predicate="intersects")):
            return False
        others = self._added[: self._count]
        return not (shapely.intersects(others, grown).any() or shapely.intersects(others, line).any())

    def _add(self, *shapes: Any) -> None:
        self._added[self._count : self._count + len(shapes)] = shapes
        self._count += len(shapes)


def _candidates(ask: LabelRequest) -> Array:
    """Return the boxes (k, 5) where a label may be led to, the nearest first."""
    reach, way = np.repeat(LEADER_REACHES_MM, len(DIRECTIONS_OUT)), np.tile(DIRECTIONS_OUT, len(LEADER_REACHES_MM))
    across, up = np.cos(way), np.sin(way)
    anchor, width, height = ask.anchor or LabelledSymbol(0.0, 0.0, 0.0, ""), ask.wanted.width, ask.wanted.height
    x = anchor.x + across * (anchor.radius + reach) + np.sign(np.round(across, 6)) * width / 2
    y = anchor.y + up * (anchor.radius + reach) + np.sign(np.round(up, 6)) * height / 2
    return np.column_stack([x, y, np.zeros(len(x)), np.full(len(x), width), np.full(len(x), height)])


def _free(
    shape: Array, lines: Any, discs: Any, rooms: Sequence[Any], window: tuple[float, float, float, float] | None
) -> Any:
    """Return which boxes lie inside the map, on no line, on no symbol and in no room."""
    free = (lines_under(shape, lines) <= MAX_LEADER_STRUCK_MM) & (discs_under(shape, discs) <= TOUCHED)
    if rooms:
        within, _ = shapely.STRtree(rooms).query(shapely.points(shape[:, :2]), predicate="within")
        free[within] = False
    if window is not None:
        low, high = (
            shape[:, :2] - shape[:, 3:] / 2 - LEADER_CLEARANCE_MM,
            shape[:, :2] + shape[:, 3:] / 2 + LEADER_CLEARANCE_MM,
        )
        free &= (low > window[:2]).all(axis=1) & (high < window[2:]).all(axis=1)
    return free


def _enlarged_box(shape: Array) -> tuple[float, ...]:
    x, y, rotation, width, height = shape.tolist()
    return x, y, rotation, width + 2 * LEADER_CLEARANCE_MM, height + 2 * LEADER_CLEARANCE_MM


def _ends(anchor: LabelledSymbol | None, shape: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return where a line leaves a level label and where it meets the symbol's edge."""
    x, y, _, width, height = shape.tolist()
    anchor = anchor or LabelledSymbol(x, y, 0.0, "")
    start = np.clip([anchor.x, anchor.y], [x - width / 2, y - height / 2], [x + width / 2, y + height / 2])
    away = start - [anchor.x, anchor.y]
    distance = float(np.hypot(*away))
    reach = anchor.radius if anchor.inside is None else DOT
    end = np.array([anchor.x, anchor.y]) + away * (reach / distance if distance else 0.0)
    (x0, y0), (x1, y1) = start.tolist(), end.tolist()
    return (x0, y0), (x1, y1)
