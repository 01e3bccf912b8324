"""Where sheets join: match lines, and beside each the sheet that goes on there, written where the map is clear."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import pi
from typing import Any, Final

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import Array, Item, Stroke, Words, close_ring, flatten
from pegline.plan.labels.placement import Wanted, settle
from pegline.plan.map.content import Content
from pegline.plan.map.features import corners
from pegline.plan.model import Label
from pegline.plan.scripts import text_width
from pegline.plan.sheets.column import SMALL, centred_words
from pegline.plan.sheets.papers import LAP, Layout, Paper, Tile
from pegline.plan.style import plots
from pegline.records import record

__all__ = ["MapObstacles", "join_items", "map_obstacles"]

#: Places beside a match line: at which share of it, how far beyond (+) or before it, and their cost.
BESIDE: Final = np.array(
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

    def on(self, paper: Paper) -> tuple[list[Path], list[Label]]:
        """Return the lines and the labels of one sheet."""
        at, count = np.flatnonzero(paper.shows(self.low, self.high)), len(self.paths)
        return [self.paths[i] for i in at[at < count]], [self.labels[i - count] for i in at[at >= count]]


def map_obstacles(content: Content, labels: Sequence[Label]) -> MapObstacles:
    """Return what plots of a map; the same for all its sheets."""
    drawn = [feature for feature in content.features if isinstance(feature.geometry, Path) and plots(feature.layer)]
    shown = [label for label in labels if plots(label.layer)]
    least, most = corners(drawn)
    middles = np.array([label.centre for label in shown]).reshape(-1, 2)
    half = np.array([label.width / 2 for label in shown]).reshape(-1, 1) * content.scale / 1000
    low, high = np.vstack([least, middles - half]), np.vstack([most, middles + half])
    return MapObstacles([feature.geometry for feature in drawn], shown, low, high)  # type: ignore[misc]


def join_items(
    layout: Layout, tile: Tile, tiles: Sequence[Tile], obstacles: MapObstacles, words: Sequence[Words]
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
    asked = []
    for across, down, start, end in edges:
        if other := number.get((tile.column + across, tile.row + down)):
            items.append(Stroke("MATCH-LINES", np.array([start, end])))
            asked.append(_join_label(f"joins sheet {other}", (across, -down), start, end))
    if not asked:
        return items
    paper = Paper(layout.window, tile.centre, layout.scale)
    paths, labels = obstacles.on(paper)
    fixed = [*_fixed_labels(paper, labels), *map(_fixed_words, words)]
    lines = [stroke.points for stroke in items if isinstance(stroke, Stroke)]
    spots = settle([*asked, *fixed], [*lines, *_fixed_lines(paper, paths)], [])
    return [*items, *(centred_words(ask.text, spot, SMALL) for ask, spot in zip(asked, spots, strict=False) if spot)]


def _join_label(text: str, out: tuple[int, int], start: tuple[float, float], end: tuple[float, float]) -> Wanted:
    share, away, cost = BESIDE
    x, y = (a + share * (b - a) + away * way for a, b, way in zip(start, end, out, strict=True))
    spots = np.stack(np.broadcast_arrays(x, y, pi / 2 if out[0] else 0.0, cost), axis=-1)
    return Wanted(text, text_width(text, SMALL), SMALL, spots, True, 1)


def _fixed_label(text: str, x: float, y: float, rotation: float, width: float, height: float) -> Wanted:
    """Return what has its place already."""
    return Wanted(text, width, height, np.array([(x, y, rotation, 0.0)]), True)


def _fixed_labels(paper: Paper, labels: Sequence[Label]) -> Iterator[Wanted]:
    for label in labels:
        x, y = paper.points(label.centre).tolist()
        yield _fixed_label(label.text, x, y, label.rotation, label.width, label.height)


def _fixed_words(words: Words) -> Wanted:
    """Return words of the sheet; those along the map's edges are level or upright, about their middle."""
    width, half = text_width(words.text, words.height), words.height / 2
    x, y = words.x - half * np.sin(words.rotation), words.y + half * np.cos(words.rotation)
    return _fixed_label(words.text, float(x), float(y), words.rotation, width, words.height)


def _fixed_lines(paper: Paper, paths: Sequence[Path]) -> Iterator[Any]:
    for path in paths:
        points = flatten(paper.points(path.vertices), path.bulges, path.closed, 0.05)
        yield close_ring(points, closed=path.closed)
