"""A plain plan for the person whose land it is: large, black on white, with distances from the house to the marks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from math import hypot
from typing import Any, Final

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.kinds import HOUSES, LAND_EDGES, MAIN_HOUSES
from pegline.measures.notation import area_text
from pegline.plan.display import Item, Stroke, Words, close_ring, flatten
from pegline.plan.labels.boxes import LabelPaper
from pegline.plan.labels.plan_labels import place_labels
from pegline.plan.labels.requests import DimensionLine
from pegline.plan.map.boundaries import no_finer_than
from pegline.plan.map.features import Content, outline_points
from pegline.plan.model import DrawnFeature, Label
from pegline.plan.sheets.blocks import area_name, north_point
from pegline.plan.sheets.column import A4_BODY, Bodies, Pencil, repeat_symbol, shift_items, shorten
from pegline.plan.sheets.layout import check_bar, scale_bar
from pegline.plan.sheets.papers import Paper
from pegline.plan.style import plots
from pegline.solved import PLAN_SCALES

__all__ = ["owner_pages"]

LARGE_TEXT_MM: Final = 2.5  #: height of capitals, mm
MAP_FOOT: Final = 62.0  #: under the map, for north, areas and bars, mm
OWNER_AIR_MM: Final = 8.0  #: kept free around what is drawn, mm
AREA_ROWS: Final = 5  #: of areas that are named, in two columns
BAR: Final = 100.0  #: longest scale bar, mm
HIDDEN_LAYERS: Final = frozenset({"STATIONS", "SPOTS", "COVERS"})  #: layers that an owner has no use for
#: What lines look like in black: the layer whose weight they have, and their line type.
LOOKS: Final = {
    "BUILDINGS": ("BUILDINGS", None),
    "BOUNDARIES": ("SHEET-FRAME", "BOUNDARY"),
    "WALLS": ("WALLS", "CONTINUOUS"),
    "FENCES": ("SHEET", "LONG-DASH"),
    "HEDGES": ("WALLS", "DOTS"),
    "PATHS": ("SHEET", "SHORT-DASH"),
    "PLANTING": ("SHEET", "SHORT-DASH"),
}
BLACK: Final = ("SHEET", "CONTINUOUS")


def owner_pages(content: Content) -> Bodies:
    """Yield the one page of the owner's plan."""
    left, bottom, right, top = A4_BODY
    features = tuple(
        feature for feature in content.features if plots(feature.layer) and feature.layer not in HIDDEN_LAYERS
    )
    window = (left, bottom + MAP_FOOT, right, top)
    if not features:
        x, y = (left + right) / 2, (bottom + MAP_FOOT + top) / 2
        yield [Words("SHEET-TEXT", "Nothing but stations was measured.", x, y, LARGE_TEXT_MM, "middle")]
        return
    paper, label_paper, scale = _paper(features, window)
    content = replace(content, features=features, turn=0.0)
    ways = list(_ways_to_boundary(content))
    lettering = place_labels(content, (), label_paper, ways)
    items: list[Item] = [
        *_map(content, paper),
        *_arrows(ways, paper),
        *_labels(lettering.labels, paper),
        Stroke("SHEET", np.array([(left, bottom + MAP_FOOT), (right, bottom + MAP_FOOT)])),
        *_foot(replace(content, left_out=lettering.left_out), scale),
    ]
    yield items


def _paper(
    features: tuple[DrawnFeature, ...], window: tuple[float, float, float, float]
) -> tuple[Paper, LabelPaper, int]:
    """Return the largest usual scale at which everything fits a window, and the papers that draw so."""
    points = np.concatenate([outline_points(feature) for feature in features])
    low, high = points.min(axis=0), points.max(axis=0)
    left, bottom, right, top = window
    room = np.array([right - left, top - bottom]) - 2 * OWNER_AIR_MM
    fitting = (n for n in PLAN_SCALES if ((high - low) * 1000 / n <= room).all())
    scale = next(fitting, PLAN_SCALES[-1])
    middle = ((low + high) / 2).tolist()
    centre = (float(middle[0]), float(middle[1]))
    mm = scale / 1000
    half = np.array([right - left, top - bottom]) / 2
    x, y = centre[0] / mm, centre[1] / mm
    around = (x - half[0], y - half[1], x + half[0], y + half[1])
    return Paper(window, centre, scale), LabelPaper(mm, large=True, window=around), scale


def _map(content: Content, paper: Paper) -> Iterator[Item]:
    """Yield what is drawn, fills first, all of it black."""
    areas = [feature for feature in content.features if isinstance(feature.geometry, Path) and feature.geometry.closed]
    for feature in areas:
        if feature.layer == "BUILDINGS":
            yield Stroke("SKETCHES", _points(feature.geometry, paper), True, 0.9, drawn=False)
    for feature in content.features:
        look, line_type = LOOKS.get(feature.layer, BLACK)
        line_type = line_type or feature.line_type
        if isinstance(feature.geometry, Path):
            points = _points(feature.geometry, paper)
            yield Stroke("SKETCHES", points, feature.geometry.closed, line_type=line_type, looks_like=look)
        elif isinstance(feature.geometry, tuple):
            size = 1.0 if feature.size is None else paper.length(feature.size)
            place = paper.points(np.array([feature.geometry]))
            yield from repeat_symbol(feature.symbol or "mark", place, "SKETCHES", size=size, look="SHEET")


def _points(path: Any, paper: Paper) -> Any:
    return flatten(paper.points(path.vertices), path.bulges, path.closed, 0.02)


def _labels(labels: Sequence[Label], paper: Paper) -> Iterator[Item]:
    """Yield names, areas and distances, without the lengths of walls."""
    for label in labels:
        distance = label.measures is not None and label.layer == "BOUNDARY-FIGURES"
        if distance or label.layer in ("NAMES", "AREAS"):
            x, y = paper.points(np.array(label.centre)).tolist()
            drop, turn = label.height / 2, label.rotation
            at = (float(x + np.sin(turn) * drop), float(y - np.cos(turn) * drop))
            yield Words("SHEET-TEXT", label.text, *at, label.height, "middle", turn, bold=distance)
            if label.leader is not None:
                yield Stroke("SHEET", paper.points(np.array(label.leader)))


def _arrows(ways: Sequence[DimensionLine], paper: Paper) -> Iterator[Item]:
    """Yield lines with arrow heads at both ends."""
    for way in ways:
        ends = paper.points(np.array([way.start, way.end]))
        along = (ends[1] - ends[0]) / hypot(*(ends[1] - ends[0]))
        yield Stroke("SHEET", ends)
        for tip, back in ((ends[1], -along), (ends[0], along)):
            wings = [tip + 1.8 * (back + side * 0.3 * np.array([-back[1], back[0]])) for side in (1, -1)]
            yield Stroke("SHEET", np.array([wings[0], tip, wings[1]]), True, fill=0.0)


def _ways_to_boundary(content: Content) -> Iterator[DimensionLine]:
    """Yield the shortest way from the largest building to each side of a boundary.

    A way that another side crosses is none.
    """
    shapes = content.solved.detail.shapes
    houses = [shape for shape in shapes.values() if shape.kind in MAIN_HOUSES and shape.area and shape.path is not None]
    if not houses:
        return
    house = max(houses, key=lambda shape: shape.area or 0.0)
    house_feature = next(feature for feature in content.features if feature.name == house.name)
    outline = shapely.Polygon(_flat(house.path))
    sd = max((content.where.sd(name) for name in house.points if name in content.where), default=0.0)
    for boundary in (shape for shape in shapes.values() if shape.kind in LAND_EDGES and shape.path is not None):
        corners = close_ring(_flat(boundary.path), closed=bool(boundary.path and boundary.path.closed))
        sides = [shapely.LineString(pair) for pair in pairwise(corners)]
        other = max((content.where.sd(name) for name in boundary.points if name in content.where), default=0.0)
        for side in sides:
            way = shapely.shortest_line(outline, side)
            crossed = [s for s in sides if s is not side and s.distance(way) == 0 and not s.touches(way)]
            if way.length > 0 and not crossed and not way.crosses(outline):
                notation = no_finer_than(content.notation, hypot(sd, other))
                (x0, y0), (x1, y1) = way.coords
                figure = notation.length(way.length / content.solved.frame.scale)
                yield DimensionLine((x0, y0), (x1, y1), figure, house_feature)


def _flat(path: Any) -> Any:
    return flatten(path.vertices, path.bulges, path.closed, 0.01)


def _foot(content: Content, scale: int) -> Iterator[Item]:
    """Yield what stands under the map: north, scale, areas, bars."""
    left, bottom, right, _ = A4_BODY
    top = bottom + MAP_FOOT
    pencil = Pencil(26.0)
    north_point(pencil, content)
    yield from shift_items(pencil.items, left + 3, top - 3)
    x, y = left + 36.0, top - 7.0
    yield Words("SHEET-TEXT", f"Scale 1:{scale} on A4", x, y, 3.5, bold=True)
    wide = (right - x - 4) / 2
    for text in _heads(content):
        y -= 4.8
        yield Words("SHEET-TEXT", shorten(text, 2 * wide, LARGE_TEXT_MM), x, y, LARGE_TEXT_MM)
    for i, text in enumerate(_areas(content, 2 * (AREA_ROWS - len(list(_heads(content)))))):
        down, across = divmod(i, 2)
        yield Words(
            "SHEET-TEXT", shorten(text, wide - 2, LARGE_TEXT_MM), x + across * wide, y - 4.8 * (down + 1), LARGE_TEXT_MM
        )
    unit = content.solved.book.unit
    yield from check_bar(left + 6.0, bottom + 6.5)
    rows = [("m", 1)] if unit == "m" else [("m", 1), (unit, -1)]
    for name, way in rows:
        yield from scale_bar(left + 36.0, bottom + 19.0, BAR, scale, name, way, alone=len(rows) == 1)


def _heads(content: Content) -> Iterator[str]:
    """Yield what an owner would look for in vain, and the heading of the areas."""
    shapes = content.solved.detail.shapes.values()
    if content.left_out:
        yield f"{content.left_out} {'name has' if content.left_out == 1 else 'names have'} no room on this plan."
    if not any(shape.kind in LAND_EDGES for shape in shapes):
        yield "No boundary was measured."
    if any(shape.area for shape in shapes):
        yield "Areas as measured on the ground, not legal areas:"


def _areas(content: Content, room: int) -> list[str]:
    """Return the areas, of the land first and then of buildings, the largest first, and how many have no room."""
    shapes = [shape for shape in content.solved.detail.shapes.values() if shape.area]
    order = (LAND_EDGES, MAIN_HOUSES, HOUSES)
    shapes.sort(key=lambda shape: (*(shape.kind not in kinds for kinds in order), -(shape.area or 0.0)))
    shapes_with_room = shapes if len(shapes) <= room else shapes[: room - 1]
    lines = [
        f"{area_name(shape)}: {area_text(shape.area or 0.0, content.notation.areas[0])}" for shape in shapes_with_room
    ]
    left = len(shapes) - len(shapes_with_room)
    return lines + ([f"and {left} more on the first sheet"] if left else [])
