"""The grid on a sheet: ticks where its lines cross, clear of what is drawn, and coordinates along the map's edges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from math import cos, floor, log10, pi, sin
from typing import Any, Final

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.plan.display import Array, Item, Stroke, Words, close_ring, flatten
from pegline.plan.labels.boxes import box
from pegline.plan.labels.wanted import symbol_radius
from pegline.plan.map.content import Content
from pegline.plan.model import Label
from pegline.plan.sheets.column import SMALL
from pegline.plan.sheets.papers import Layout, Paper, Tile, letter_factor
from pegline.plan.style import LAYERS, plots

__all__ = ["GridTicks", "round_step"]

TICK: Final = 1.5  #: half of a tick's breadth, mm
CLEAR: Final = 0.6  #: kept free around a tick, mm
APART: Final = 45.0  #: between two lines of the grid at least, mm
CORNER: Final = 14.0  #: from a corner of the map to the first coordinate along its edge, mm


def round_step(at_least: float) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that is not less."""
    power = 10.0 ** floor(log10(at_least))
    return next(f * power for f in (1, 2, 5, 10) if f * power >= at_least * (1 - 1e-9))


class GridTicks:
    """The ticks of a plan's grid; what they keep off is looked through once for all sheets."""

    def __init__(self, content: Content, labels: Sequence[Label]) -> None:
        self._content, self._labels = content, labels
        self._metres_per_mm = content.scale / 1000

    @cached_property
    def _tree(self) -> Any:
        return shapely.STRtree([*self._feature_shapes(), *self._label_boxes()])

    def on(self, layout: Layout, tile: Tile) -> Iterator[Item]:
        """Yield the ticks and coordinates of one sheet; nothing off the grid."""
        frame = self._content.solved.frame
        if frame.kind != "grid":
            return
        paper = Paper(layout.window, tile.centre, layout.scale, layout.turn)
        unit, origin = frame.metres_per_unit, np.array(frame.origin)
        step = round_step(APART * self._metres_per_mm / unit)
        left, bottom, right, top = layout.window
        edge = np.array([(left, bottom), (right, bottom), (right, top), (left, top)])
        reach = (paper.metres(edge) + origin) / unit / step
        (west, south), (east, north) = np.ceil(reach.min(axis=0)), np.floor(reach.max(axis=0))
        eastings, northings = np.arange(west, east + 1) * step, np.arange(south, north + 1) * step
        crossings = np.stack(np.meshgrid(eastings, northings, indexing="ij"), axis=-1).reshape(-1, 2) * unit - origin
        places = paper.points(crossings)
        inside = ((places > (left + 10, bottom + 10)) & (places < (right - 10, top - 10))).all(axis=1)
        for place in places[inside & self._free(crossings)]:
            yield from _cross(place, layout.turn)
        lower = 0 if abs(cos(layout.turn)) >= abs(sin(layout.turn)) else 1  # the lines that end at the lower edge
        for axis, lines in enumerate((eastings, northings)):
            direction = layout.turn + (pi / 2 if axis == 0 else 0.0)
            for line in lines.tolist():
                through = np.zeros(2)
                through[axis] = line * unit - origin[axis]
                through[1 - axis] = paper.centre[1 - axis]
                text = f"{line:.0f} {'EN'[axis]}"
                edge_place = _at_lower_edge if axis == lower else _at_left_edge
                height = SMALL * letter_factor(layout.paper)
                yield from edge_place(paper.points(through), direction, text, height, layout.window)

    def _free(self, crossings: Array) -> Any:
        half = (TICK + CLEAR) * self._metres_per_mm
        x, y = crossings.T
        taken = self._tree.query(shapely.box(x - half, y - half, x + half, y + half), predicate="intersects")[0]
        return ~np.isin(np.arange(len(crossings)), taken)

    def _feature_shapes(self) -> Iterator[Any]:
        for feature in self._content.features:
            if not plots(feature.layer):
                continue
            if isinstance(feature.geometry, Path):
                path = feature.geometry
                points = flatten(path.vertices, path.bulges, path.closed, 0.05 * self._metres_per_mm)
                filled = path.closed and feature.layer in LAYERS and LAYERS[feature.layer].fill is not None
                yield shapely.Polygon(points) if filled else shapely.LineString(close_ring(points, closed=path.closed))
            elif isinstance(feature.geometry, tuple):
                radius = symbol_radius(feature, self._metres_per_mm) * self._metres_per_mm
                yield shapely.Point(feature.geometry).buffer(radius)

    def _label_boxes(self) -> Iterator[Any]:
        mm = self._metres_per_mm
        for label in self._labels:
            if plots(label.layer):
                yield box(*label.centre, label.rotation, label.width * mm, label.height * mm)


def _cross(place: Array, turn: float) -> Iterator[Item]:
    for angle in (turn, turn + pi / 2):
        arm = TICK * np.array([cos(angle), sin(angle)])
        yield Stroke("GRID", np.array([place - arm, place + arm]))


Window = tuple[float, float, float, float]  #: left, bottom, right, top


def _at_lower_edge(through: Array, direction: float, text: str, height: float, window: Window) -> Iterator[Item]:
    """Yield the coordinate of a grid line where it meets the map's lower edge."""
    left, bottom, right, _ = window
    way = np.array([cos(direction), sin(direction)])
    end, way = through + way * (bottom - through[1]) / way[1], way * np.sign(way[1])
    if left + CORNER < end[0] < right - CORNER:
        yield Stroke("GRID", np.array([end, end + 2.0 * way]))
        yield Words("SHEET-TEXT", text, float(end[0] + 2.4 * way[0]), bottom + 2.8, height, "middle")


def _at_left_edge(through: Array, direction: float, text: str, height: float, window: Window) -> Iterator[Item]:
    """Yield the coordinate of a grid line where it meets the map's left edge."""
    left, bottom, _, top = window
    way = np.array([cos(direction), sin(direction)])
    end, way = through + way * (left - through[0]) / way[0], way * np.sign(way[0])
    if bottom + CORNER < end[1] < top - CORNER:
        yield Stroke("GRID", np.array([end, end + 2.0 * way]))
        yield Words(
            "SHEET-TEXT", text, left + 2.6 + height, float(end[1] + 2.4 * way[1]), height, "middle", rotation=pi / 2
        )
