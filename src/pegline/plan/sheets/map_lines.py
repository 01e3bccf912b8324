"""What a sheet lays over its map: the grid and match lines.

The grid has ticks where its lines cross, clear of what is drawn, and coordinates along the map's edges. Beside a match
line stands the sheet that goes on there, written where the map is clear.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from math import cos, floor, log10, pi, sin
from typing import Any, Final

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.plan.display import Item, Stroke, Words, close_ring, flatten
from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import box
from pegline.plan.labels.placement import PlaceableLabel, settle_labels
from pegline.plan.labels.requests import symbol_radius
from pegline.plan.map.features import Content, bounding_corners
from pegline.plan.model import Label
from pegline.plan.sheets.column import SMALL_TEXT_MM, centred_words
from pegline.plan.sheets.papers import LAP, Paper, SheetLayout, Tile, letter_factor
from pegline.plan.style import LAYERS, plots
from pegline.plane import Array
from pegline.records import record

__all__ = ["GridTicks", "MapObstacles", "join_items", "map_obstacles", "round_step"]

TICK: Final = 1.5  #: half of a tick's breadth, mm
TICK_CLEARANCE_MM: Final = 0.6  #: kept free around a tick, mm
GRID_LINES_APART_MM: Final = 45.0  #: between two lines of the grid at least, mm
CORNER_TO_COORDINATE_MM: Final = 14.0  #: from a corner of the map to the first coordinate along its edge, mm


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

    def items_on(self, layout: SheetLayout, tile: Tile) -> Iterator[Item]:
        """Yield the ticks and coordinates of one sheet; nothing off the grid."""
        frame = self._content.solved.frame
        if frame.kind != "grid":
            return
        paper = Paper(layout.window, tile.centre, layout.scale, layout.turn)
        unit, origin = frame.metres_per_unit, np.array(frame.origin)
        step = round_step(GRID_LINES_APART_MM * self._metres_per_mm / unit)
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
        for axis, lines in enumerate((eastings, northings)):
            for line in lines.tolist():
                through = np.zeros(2)
                through[axis] = line * unit - origin[axis]
                through[1 - axis] = paper.centre[1 - axis]
                yield from _coordinate(paper.points(through), f"{line:.0f} {'EN'[axis]}", axis, layout)

    def _free(self, crossings: Array) -> Any:
        half = (TICK + TICK_CLEARANCE_MM) * self._metres_per_mm
        x, y = crossings.T
        occupied = self._tree.query(shapely.box(x - half, y - half, x + half, y + half), predicate="intersects")[0]
        return ~np.isin(np.arange(len(crossings)), occupied)

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


def _coordinate(through: Array, text: str, axis: int, layout: SheetLayout) -> Iterator[Item]:
    """Yield the coordinate of a line of the grid through a place, where it meets the map's lower or left edge."""
    direction = layout.turn + (pi / 2 if axis == 0 else 0.0)
    lower = 0 if abs(cos(layout.turn)) >= abs(sin(layout.turn)) else 1  # the axis whose lines end at the lower edge
    edge_place = _at_lower_edge if axis == lower else _at_left_edge
    return edge_place(through, direction, text, SMALL_TEXT_MM * letter_factor(layout.paper), layout.window)


def _at_lower_edge(through: Array, direction: float, text: str, height: float, window: Window) -> Iterator[Item]:
    """Yield the coordinate of a grid line where it meets the map's lower edge."""
    left, bottom, right, _ = window
    way = np.array([cos(direction), sin(direction)])
    end, way = through + way * (bottom - through[1]) / way[1], way * np.sign(way[1])
    if left + CORNER_TO_COORDINATE_MM < end[0] < right - CORNER_TO_COORDINATE_MM:
        yield Stroke("GRID", np.array([end, end + 2.0 * way]))
        yield Words("SHEET-TEXT", text, float(end[0] + 2.4 * way[0]), bottom + 2.8, height, "middle")


def _at_left_edge(through: Array, direction: float, text: str, height: float, window: Window) -> Iterator[Item]:
    """Yield the coordinate of a grid line where it meets the map's left edge."""
    left, bottom, _, top = window
    way = np.array([cos(direction), sin(direction)])
    end, way = through + way * (left - through[0]) / way[0], way * np.sign(way[0])
    if bottom + CORNER_TO_COORDINATE_MM < end[1] < top - CORNER_TO_COORDINATE_MM:
        yield Stroke("GRID", np.array([end, end + 2.0 * way]))
        yield Words(
            "SHEET-TEXT", text, left + 2.6 + height, float(end[1] + 2.4 * way[1]), height, "middle", rotation=pi / 2
        )


# -- match lines -------------------------------------------------------------------------------------

#: Places beside a match line: at which share of it, how far beyond (+) or before it, and their cost.
PLACES_BESIDE_MATCH_LINE: Final = np.array(
    [
        (share, out, abs(share - 0.5) + extra)
        for share in np.linspace(0.08, 0.92, 43)
        for out, extra in ((2.3, 0.0), (5.2, 0.3), (8.1, 0.6), (-2.3, 0.9))
    ]
).T


@record(frozen=True, slots=True)
class MapObstacles:
    """What of the map words beside a match line keep off: lines, then labels, and how far each reaches, metres."""

    paths: Sequence[Path]
    labels: Sequence[Label]
    low: Array  #: (n, 2) south-west corners
    high: Array

    def shown_on(self, paper: Paper) -> tuple[list[Path], list[Label]]:
        """Return the lines and the labels of one sheet."""
        at, count = np.flatnonzero(paper.shows(self.low, self.high)), len(self.paths)
        return [self.paths[i] for i in at[at < count]], [self.labels[i - count] for i in at[at >= count]]


def map_obstacles(content: Content, labels: Sequence[Label]) -> MapObstacles:
    """Return what plots of a map; the same for all its sheets."""
    lines = [feature for feature in content.features if isinstance(feature.geometry, Path) and plots(feature.layer)]
    plotted_labels = [label for label in labels if plots(label.layer)]
    least, most = bounding_corners(lines)
    middles = np.array([label.centre for label in plotted_labels]).reshape(-1, 2)
    half = np.array([label.width / 2 for label in plotted_labels]).reshape(-1, 1) * content.scale / 1000
    low, high = np.vstack([least, middles - half]), np.vstack([most, middles + half])
    return MapObstacles([feature.geometry for feature in lines], plotted_labels, low, high)  # type: ignore[misc]


def join_items(
    layout: SheetLayout, tile: Tile, tiles: Sequence[Tile], obstacles: MapObstacles, words: Sequence[Words]
) -> list[Item]:
    """Return the lines where neighbouring sheets go on, each with the other's number off labels, words and lines."""
    left, bottom, right, top = layout.window
    number = {(other.column, other.row): i for i, other in enumerate(tiles, 1)}
    edges = (
        (-1, 0, (left + LAP, bottom), (left + LAP, top)),
        (1, 0, (right - LAP, bottom), (right - LAP, top)),
        (0, -1, (left, top - LAP), (right, top - LAP)),
        (0, 1, (left, bottom + LAP), (right, bottom + LAP)),
    )
    items: list[Item] = []
    join_labels = []
    for across, down, start, end in edges:
        if other := number.get((tile.column + across, tile.row + down)):
            items.append(Stroke("MATCH-LINES", np.array([start, end])))
            join_labels.append(_join_label(f"joins sheet {other}", (across, -down), start, end))
    if not join_labels:
        return items
    paper = Paper(layout.window, tile.centre, layout.scale)
    paths, labels = obstacles.shown_on(paper)
    fixed = [*_fixed_labels(paper, labels), *map(_fixed_words, words)]
    lines = [stroke.points for stroke in items if isinstance(stroke, Stroke)]
    spots = settle_labels([*join_labels, *fixed], [*lines, *_fixed_lines(paper, paths)], [])
    return [
        *items,
        *(centred_words(ask.text, spot, SMALL_TEXT_MM) for ask, spot in zip(join_labels, spots, strict=False) if spot),
    ]


def _join_label(
    text: str, out: tuple[int, int], start: tuple[float, float], end: tuple[float, float]
) -> PlaceableLabel:
    share, away, cost = PLACES_BESIDE_MATCH_LINE
    x, y = (a + share * (b - a) + away * way for a, b, way in zip(start, end, out, strict=True))
    spots = np.stack(np.broadcast_arrays(x, y, pi / 2 if out[0] else 0.0, cost), axis=-1)
    return PlaceableLabel(text, text_width(text, SMALL_TEXT_MM), SMALL_TEXT_MM, spots, True, 1)


def _fixed_label(text: str, x: float, y: float, rotation: float, width: float, height: float) -> PlaceableLabel:
    """Return what has its place already."""
    return PlaceableLabel(text, width, height, np.array([(x, y, rotation, 0.0)]), True)


def _fixed_labels(paper: Paper, labels: Sequence[Label]) -> Iterator[PlaceableLabel]:
    for label in labels:
        x, y = paper.points(label.centre).tolist()
        yield _fixed_label(label.text, x, y, label.rotation, label.width, label.height)


def _fixed_words(words: Words) -> PlaceableLabel:
    """Return words of the sheet; those along the map's edges are level or upright, about their middle."""
    width, half = text_width(words.text, words.height), words.height / 2
    x, y = words.x - half * np.sin(words.rotation), words.y + half * np.cos(words.rotation)
    return _fixed_label(words.text, float(x), float(y), words.rotation, width, words.height)


def _fixed_lines(paper: Paper, paths: Sequence[Path]) -> Iterator[Any]:
    for path in paths:
        points = flatten(paper.points(path.vertices), path.bulges, path.closed, 0.05)
        yield close_ring(points, closed=path.closed)
