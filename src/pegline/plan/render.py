"""From a plan to pages: everything that plots, in paper millimetres; one list feeds every format of the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pegline.detail.model import Path
from pegline.plan.display import Item, Page, Stroke, Words, flattened
from pegline.plan.model import Feature, Plan, Position, Sheet
from pegline.plan.pencil import symbol_strokes

__all__ = ["pages"]

SAGITTA = 0.02  #: largest distance between an arc and its strokes, mm


def pages(plan: Plan) -> tuple[Page, ...]:
    """Return every page of a plan with its map on it."""
    return tuple(_page(plan, sheet) for sheet in plan.sheets)


def _page(plan: Plan, sheet: Sheet) -> Page:
    if sheet.window is None:
        return sheet.page
    paper = _Paper(plan, sheet)
    return replace(sheet.page, map=tuple(_map(plan, paper)), clip=sheet.window)


class _Paper:
    """Turns metres of the frame into millimetres on one sheet."""

    def __init__(self, plan: Plan, sheet: Sheet) -> None:
        left, bottom, right, top = sheet.window or (0.0, 0.0, 0.0, 0.0)
        self._middle = np.array([(left + right) / 2, (bottom + top) / 2])
        self._centre = np.array(sheet.centre)
        self._mm = 1000 / plan.scale

    def points(self, metres: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return points on the paper."""
        return np.asarray((metres - self._centre) * self._mm + self._middle)

    def point(self, position: Position) -> tuple[float, float]:
        """Return one point on the paper."""
        x, y = self.points(np.array(position))
        return float(x), float(y)

    def length(self, metres: float) -> float:
        """Return a length on the paper."""
        return metres * self._mm


def _map(plan: Plan, paper: _Paper) -> Iterator[Item]:
    order = {name: i for i, name in enumerate(plan.layers)}
    plotted = [f for f in plan.features if plan.layers[f.layer].plots]
    for feature in sorted(plotted, key=lambda f: order[f.layer]):
        yield from _feature(plan, feature, paper)
    for tuft in plan.tufts:
        if plan.layers[tuft.layer].plots:
            yield from symbol_strokes(tuft.symbol, *paper.point(tuft.position), tuft.layer, rotation=tuft.rotation)
    for label in plan.labels:
        if plan.layers[label.layer].plots:
            x, y = paper.point(label.centre)
            drop = label.height / 2  # from the middle of the text to its baseline
            x, y = x + np.sin(label.rotation) * drop, y - np.cos(label.rotation) * drop
            yield Words(label.layer, label.text, float(x), float(y), label.height, "middle", label.rotation)


def _feature(plan: Plan, feature: Feature, paper: _Paper) -> Iterator[Item]:
    if isinstance(feature.geometry, Path):
        path = feature.geometry
        points = flattened(paper.points(path.vertices), path.bulges, path.closed, SAGITTA)
        fill = plan.layers[feature.layer].fill if path.closed else None
        yield Stroke(feature.layer, points, path.closed, fill, line_type=feature.line_type)
    elif isinstance(feature.geometry, tuple):
        size = 1.0 if feature.size is None else paper.length(feature.size)
        yield from symbol_strokes(feature.symbol or "mark", *paper.point(feature.geometry), feature.layer, size=size)
