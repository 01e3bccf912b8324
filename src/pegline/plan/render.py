"""From a plan to pages: everything that plots, in paper millimetres; one list feeds every format of the sheet."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import Item, Page, Stroke, Words, flatten
from pegline.plan.map.features import bounding_corners
from pegline.plan.model import DrawnFeature, Ellipse, Label, Plan, Tuft
from pegline.plan.sheets.column import repeat_symbol
from pegline.plan.sheets.papers import Paper
from pegline.plane import Array
from pegline.records import record

__all__ = ["plan_pages"]

ELLIPSE_PIECES = 48  #: straight pieces of an ellipse
SAGITTA = 0.02  #: largest distance between an arc and its strokes, mm
OVERHANG_MM = 5.0  #: how far strokes and symbols reach beyond their points at most, mm


def plan_pages(plan: Plan, *, also: Collection[str] = ()) -> Iterator[Page]:
    """Yield every page of a plan with its map on it; ``also``: layers that do not plot and are shown on a screen."""
    plotted = None
    for sheet in plan.sheets:
        if sheet.window is None:
            yield sheet.page
            continue
        plotted = plotted or _plottable_things(plan, also)
        paper = Paper(sheet.window, sheet.centre, plan.scale, sheet.turn)
        yield replace(sheet.page, map=tuple(_map(plan, plotted, paper)), clip=sheet.window)


@record(frozen=True, slots=True)
class _Plotted:
    """What is drawn, in the order that it is drawn in, and how far each thing reaches, metres."""

    features: Sequence[DrawnFeature]
    tufts: Sequence[Tuft]
    labels: Sequence[Label]
    low: Array  #: (n, 2) south-west corners of the features, then of tufts and labels
    high: Array


def _plottable_things(plan: Plan, also: Collection[str]) -> _Plotted:
    order = {name: i for i, name in enumerate(plan.layers)}
    layer_names = {name for name, layer in plan.layers.items() if layer.plots or name in also}
    features = [feature for feature in plan.features if feature.layer in layer_names]
    features.sort(key=lambda feature: order[feature.layer])
    tufts = [tuft for tuft in plan.tufts if tuft.layer in layer_names]
    tufts.sort(key=lambda tuft: (order[tuft.layer], tuft.symbol))
    labels = [label for label in plan.labels if label.layer in layer_names]
    least, most = bounding_corners(features)
    middles = np.array([*(tuft.position for tuft in tufts), *(label.centre for label in labels)]).reshape(-1, 2)
    half = np.array([*(0.0 for _ in tufts), *(label.width / 2 for label in labels)])[:, None] * plan.metres_per_mm
    low, high = np.vstack([least, middles - half]), np.vstack([most, middles + half])
    return _Plotted(features, tufts, labels, low, high)


def _map(plan: Plan, plotted: _Plotted, paper: Paper) -> Iterator[Item]:
    things: list[Any] = [*plotted.features, *plotted.tufts, *plotted.labels]
    things_on_sheet = [things[i] for i in np.flatnonzero(paper.shows(plotted.low, plotted.high, OVERHANG_MM))]
    yield from _fills(plan, paper, [thing for thing in things_on_sheet if isinstance(thing, DrawnFeature)])
    for how, alike in groupby(things_on_sheet, key=_how):
        yield from ITEMS_OF_GROUP[how[0]](plan, paper, list(alike))


def _how(thing: Any) -> tuple[Any, ...]:
    """Return how a thing is drawn and, for symbols, what makes two of them alike."""
    if isinstance(thing, Label):
        return ("label",)
    if isinstance(thing, Tuft):
        return "tuft", thing.layer, thing.symbol
    if isinstance(thing.geometry, Ellipse):
        return ("ellipse",)
    return ("path",) if isinstance(thing.geometry, Path) else ("symbol", thing.layer, thing.symbol, thing.size)


def _fills(plan: Plan, paper: Paper, features: Sequence[DrawnFeature]) -> Iterator[Item]:
    """Yield the fills of areas, before all lines: what stands inside a building or in water is seen."""
    for feature in features:
        path, fill = feature.geometry, plan.layers[feature.layer].fill
        if isinstance(path, Path) and path.closed and fill is not None:
            points = flatten(paper.points(path.vertices), path.bulges, path.closed, SAGITTA)
            yield Stroke(feature.layer, points, True, fill, drawn=False, source=feature.source)


def _paths(plan: Plan, paper: Paper, features: Sequence[Any]) -> Iterator[Item]:
    for feature in features:
        path = feature.geometry
        points = flatten(paper.points(path.vertices), path.bulges, path.closed, SAGITTA)
        yield Stroke(feature.layer, points, path.closed, line_type=feature.line_type, source=feature.source)


def _ellipses(plan: Plan, paper: Paper, features: Sequence[Any]) -> Iterator[Item]:
    """Yield ellipses so many times their size as the plan says."""
    turn = np.linspace(0, 2 * np.pi, ELLIPSE_PIECES, endpoint=False)
    for feature in features:
        ellipse = feature.geometry
        along, across = ellipse.semi_major * plan.ellipse_scale, ellipse.semi_minor * plan.ellipse_scale
        sine, cosine = np.sin(ellipse.bearing), np.cos(ellipse.bearing)
        arms = np.stack([along * np.cos(turn), across * np.sin(turn)], axis=1)
        points = arms @ np.array([[sine, cosine], [cosine, -sine]]) + np.array(ellipse.centre)
        yield Stroke(feature.layer, paper.points(points), closed=True, source=feature.source)


def _symbols(plan: Plan, paper: Paper, features: Sequence[Any]) -> Iterator[Item]:
    first = features[0]
    size = 1.0 if first.size is None else paper.length(first.size)
    places = paper.points(np.array([feature.geometry for feature in features]))
    sources = [feature.source for feature in features]
    return repeat_symbol(first.symbol or "mark", places, first.layer, size=size, sources=sources)


def _tufts(plan: Plan, paper: Paper, tufts: Sequence[Any]) -> Iterator[Item]:
    places = paper.points(np.array([tuft.position for tuft in tufts]))
    turns, sources = np.array([tuft.rotation for tuft in tufts]) + plan.turn, [tuft.source for tuft in tufts]
    return repeat_symbol(tufts[0].symbol, places, tufts[0].layer, rotations=turns, sources=sources)


def _labels(plan: Plan, paper: Paper, labels: Sequence[Any]) -> Iterator[Item]:
    turns = np.array([label.rotation for label in labels]) + plan.turn
    drop = np.array([label.height / 2 for label in labels])  # from the middle of the text to its baseline
    middles = paper.points(np.array([label.centre for label in labels]))
    starts = middles + np.stack([np.sin(turns) * drop, -np.cos(turns) * drop], axis=1)
    for label, (x, y), turn in zip(labels, starts.tolist(), turns.tolist(), strict=True):
        yield Words(label.layer, label.text, x, y, label.height, "middle", turn, source=label.source)
        if label.leader is not None:
            yield Stroke("LEADERS", paper.points(np.array(label.leader)), source=label.source)


ITEMS_OF_GROUP = {"path": _paths, "ellipse": _ellipses, "symbol": _symbols, "tuft": _tufts, "label": _labels}
