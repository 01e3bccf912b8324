"""What can be wrong with the labels of a plan, found by geometry alone."""

from __future__ import annotations

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.plan.labels.boxes import LabelPaper, box
from pegline.plan.labels.requests import symbol_radius
from pegline.plan.model import Label, Plan

__all__ = ["boxes", "nearer_to_another", "nearer_to_another_line", "overlaps", "plotted_labels", "struck", "texts_cut"]

STRUCK = 1.0  #: millimetres of line that may run through the corner of a label


def plotted_labels(plan: Plan) -> list[Label]:
    return [label for label in plan.labels if plan.layers[label.layer].plots]


def boxes(plan: Plan, labels: list[Label]):
    """Return labels as level boxes on the sheet, millimetres."""
    paper = LabelPaper(plan.metres_per_mm, plan.turn)
    places = paper.points(np.array([label.centre for label in labels]))
    turns = [label.rotation + plan.turn for label in labels]
    return box(places[:, 0], places[:, 1], turns, [label.width for label in labels], [label.height for label in labels])


def overlaps(plan: Plan) -> list[tuple[str, str]]:
    """Return the pairs of labels that lie on one another, without the edges that touch."""
    labels = plotted_labels(plan)
    shapes = boxes(plan, labels)
    one, two = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    return [
        (labels[i].text, labels[j].text)
        for i, j in zip(one.tolist(), two.tolist(), strict=True)
        if i < j and shapes[i].intersection(shapes[j]).area > 0.01
    ]


def nearer_to_another(plan: Plan) -> list[str]:
    """Return the names of symbols, without a leader, that stand nearer to another symbol of the layer."""
    paper = LabelPaper(plan.metres_per_mm, plan.turn)
    symbols = [f for f in plan.features if isinstance(f.geometry, tuple) and plan.layers[f.layer].plots]
    places = {f.name: (f.layer, shapely.Point(paper.at(f.geometry))) for f in symbols}
    wrong = []
    for label, shape in zip(plotted_labels(plan), boxes(plan, plotted_labels(plan)), strict=True):
        if label.layer not in ("NAMES", "STATION-NAMES") or label.owner not in places or label.leader is not None:
            continue
        layer, own = places[label.owner]
        others = [point for name, (other, point) in places.items() if other == layer and name != label.owner]
        if others and min(shape.distance(point) for point in others) < shape.distance(own) - 1e-6:
            wrong.append(label.text)
    return wrong


def nearer_to_another_line(plan: Plan) -> list[str]:
    """Return the names of lines, without a leader, that stand nearer to another named line."""
    paper = LabelPaper(plan.metres_per_mm, plan.turn)
    named = {label.owner for label in plotted_labels(plan) if label.layer == "NAMES"}
    lines = {
        f.name: shapely.LineString(paper.path(f.spine or f.geometry))
        for f in plan.features
        if f.name in named and isinstance(f.geometry, Path) and (f.spine or not f.geometry.closed)
        if plan.layers[f.layer].plots
    }
    wrong = []
    for label, shape in zip(plotted_labels(plan), boxes(plan, plotted_labels(plan)), strict=True):
        if label.layer == "NAMES" and label.owner in lines and label.leader is None:
            own = lines[label.owner].distance(shape)
            others = [line.distance(shape) for name, line in lines.items() if name != label.owner]
            if others and min(others) < own - 1e-6:
                wrong.append(label.text)
    return wrong


def struck(plan: Plan) -> list[str]:
    """Return the names of symbols that a line runs through."""
    paper = LabelPaper(plan.metres_per_mm, plan.turn)
    lines = []
    for feature in plan.features:
        if not plan.layers[feature.layer].plots:
            continue
        if isinstance(feature.geometry, tuple):
            if feature.size is not None:
                circle = shapely.Point(paper.at(feature.geometry)).buffer(symbol_radius(feature, plan.metres_per_mm))
                lines.append(circle.exterior)
        else:
            lines.append(shapely.LineString(paper.path(feature.geometry)))
    tree = shapely.STRtree(lines)
    names = {feature.name for feature in plan.features if isinstance(feature.geometry, tuple)}
    through = []
    for label, shape in zip(plotted_labels(plan), boxes(plan, plotted_labels(plan)), strict=True):
        if label.layer in ("NAMES", "STATION-NAMES") and label.owner in names:
            length = sum(lines[i].intersection(shape).length for i in tree.query(shape).tolist())
            if length > STRUCK + 0.5:  # a crown is drawn of arcs here, of strokes there
                through.append(label.text)
    return through


def texts_cut(plan: Plan) -> list[str]:
    """Return the texts that the map's edge cuts, of a plan on one sheet."""
    first = plan.sheets[0]
    middle = LabelPaper(plan.metres_per_mm, plan.turn).points(np.array(first.centre))
    left, bottom, right, top = first.window
    half = np.array([right - left, top - bottom]) / 2
    window = shapely.box(*(middle - half), *(middle + half))
    labels = plotted_labels(plan)
    return [label.text for label, shape in zip(labels, boxes(plan, labels), strict=True) if not window.covers(shape)]
