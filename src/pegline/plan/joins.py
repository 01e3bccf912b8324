"""Where sheets join: match lines, and beside each the sheet that goes on there, written where the map is clear."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import pi
from typing import Any, Final

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import Item, Stroke, Words, flattened
from pegline.plan.labels import Wanted, settle
from pegline.plan.model import Label
from pegline.plan.papers import LAP, Layout, Tile
from pegline.plan.pencil import SMALL, centred
from pegline.plan.scripts import text_width
from pegline.plan.style import LAYERS
from pegline.plan.told import Told

__all__ = ["join_items"]

#: Places beside a match line: at which share of it, how far beyond (+) or before it, and their cost.
BESIDE: Final = np.array(
    [
        (share, out, abs(share - 0.5) + extra)
        for share in np.linspace(0.08, 0.92, 43)
        for out, extra in ((2.3, 0.0), (5.2, 0.3), (8.1, 0.6), (-2.3, 0.9))
    ]
).T


def join_items(
    layout: Layout, tile: Tile, tiles: Sequence[Tile], told: Told, labels: Sequence[Label], words: Sequence[Words]
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
            asked.append(_asked(f"joins sheet {other}", (across, -down), start, end))
    if not asked:
        return items
    fixed = [*_labels_there(layout, tile, labels), *map(_words_there, words)]
    lines = [stroke.points for stroke in items if isinstance(stroke, Stroke)]
    spots = settle([*asked, *fixed], [*lines, *_lines_there(layout, tile, told)], [])
    return [*items, *(centred(ask.text, spot, SMALL) for ask, spot in zip(asked, spots, strict=False) if spot)]


def _asked(text: str, out: tuple[int, int], start: tuple[float, float], end: tuple[float, float]) -> Wanted:
    share, away, cost = BESIDE
    x, y = (a + share * (b - a) + away * way for a, b, way in zip(start, end, out, strict=True))
    spots = np.stack(np.broadcast_arrays(x, y, pi / 2 if out[0] else 0.0, cost), axis=-1)
    return Wanted(text, text_width(text, SMALL), SMALL, spots, True, 1)


def _there(text: str, x: float, y: float, rotation: float, width: float, height: float) -> Wanted:
    """Return what has its place already."""
    return Wanted(text, width, height, np.array([(x, y, rotation, 0.0)]), True)


def _on_paper(layout: Layout, tile: Tile, metres: Any) -> Any:
    left, bottom, right, top = layout.window
    middle = np.array([(left + right) / 2, (bottom + top) / 2])
    return (np.asarray(metres) - tile.centre) * 1000 / layout.scale + middle


def _labels_there(layout: Layout, tile: Tile, labels: Sequence[Label]) -> Iterator[Wanted]:
    left, bottom, right, top = layout.window
    for label in labels:
        if LAYERS[label.layer].plots:
            x, y = _on_paper(layout, tile, label.centre).tolist()
            reach = label.width / 2
            if left - reach < x < right + reach and bottom - reach < y < top + reach:
                yield _there(label.text, x, y, label.rotation, label.width, label.height)


def _words_there(words: Words) -> Wanted:
    """Return words of the sheet; those along the map's edges are level or upright, about their middle."""
    width, half = text_width(words.text, words.height), words.height / 2
    x, y = words.x - half * np.sin(words.rotation), words.y + half * np.cos(words.rotation)
    return _there(words.text, float(x), float(y), words.rotation, width, words.height)


def _lines_there(layout: Layout, tile: Tile, told: Told) -> Iterator[Any]:
    left, bottom, right, top = layout.window
    for feature in told.features:
        if isinstance(feature.geometry, Path) and LAYERS.get(feature.layer, LAYERS["OTHER"]).plots:
            path = feature.geometry
            points = flattened(_on_paper(layout, tile, path.vertices), path.bulges, path.closed, 0.05)
            low, high = points.min(axis=0), points.max(axis=0)
            if low[0] < right and high[0] > left and low[1] < top and high[1] > bottom:
                yield np.vstack([points, points[:1]]) if path.closed else points
