"""Which labels a plan wants, and the labels as placed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any, Final

import numpy as np
import shapely

from pegline import plane
from pegline.detail.model import Path
from pegline.plan.display import close_ring
from pegline.plan.labels.paper import LabelPaper
from pegline.plan.labels.placement import Spot, Wanted, along, around, inside, outside, settle, upright
from pegline.plan.labels.unplotted import unplotted_labels
from pegline.plan.map.content import Content
from pegline.plan.map.symbols import SYMBOLS
from pegline.plan.model import Feature, Label, Tuft
from pegline.plan.scripts import text_width
from pegline.plan.style import plots

__all__ = ["letter", "symbol_radius"]

CIRCLE: Final = tuple(2 * pi * i / 24 for i in range(25))
UNDER: Final = 1.1  #: gap between a name and the figure under it
DIMENSIONED: Final = ("building", "outbuilding", "porch")
MEASURED: Final = ("building", "outbuilding", "pond", "boundary", "bed", "paving")  #: areas that are printed


@dataclass(frozen=True, slots=True)
class _Asked:
    """A label asked for, with where it belongs."""

    layer: str
    wanted: Wanted
    owner: str
    source: str
    under: str | None = None  #: an area's figure, which stands under its name


def letter(content: Content, tufts: Sequence[Tuft], paper: LabelPaper) -> tuple[Label, ...]:
    """Return every label of a plan, placed; figures that find no room are left out."""
    features = content.features
    asked = list(_asked(content, paper))
    lines, symbols = _obstacles(features, tufts, paper)
    spots = settle([ask.wanted for ask in asked], lines, symbols)
    placed = [
        label for ask, spot in zip(asked, spots, strict=True) if spot is not None for label in _labels(ask, spot, paper)
    ]
    return (*placed, *unplotted_labels(features, placed, paper))


def symbol_radius(feature: Feature, metres_per_mm: float) -> float:
    """Return how far a feature's symbol reaches, paper millimetres."""
    radius = SYMBOLS[feature.symbol or "mark"].radius
    return radius if feature.size is None else radius * feature.size / metres_per_mm


def _labels(ask: _Asked, spot: Spot, paper: LabelPaper) -> Iterator[Label]:
    """Yield a label where it was put; a name with a figure under it shares its place with that."""
    text, height = ask.wanted.text, ask.wanted.height
    if ask.under is None:
        yield _label(ask.layer, text, height, spot, ask, paper)
        return
    small = paper.name_height
    height -= UNDER + small
    yield _label(ask.layer, text, height, spot._replace(y=spot.y + (UNDER + small) / 2), ask, paper)
    yield _label("AREAS", ask.under, small, spot._replace(y=spot.y - (height + UNDER) / 2), ask, paper)


def _label(layer: str, text: str, height: float, spot: Spot, ask: _Asked, paper: LabelPaper) -> Label:
    centre = paper.position(spot.x, spot.y)
    return Label(
        layer, text, centre, spot.rotation - paper.turn, height, text_width(text, height), ask.source, ask.owner
    )


def _asked(content: Content, paper: LabelPaper) -> Iterator[_Asked]:
    features, detail = content.features, content.solved.detail
    for feature in features:
        if feature.layer == "STATIONS":
            yield _at_point(feature, "STATION-NAMES", feature.name, paper.strong_height, paper, rank=0, needed=True)
    drawn = {(feature.name, feature.kind): feature for feature in reversed(features)}
    for name, shape in detail.shapes.items():
        feature = drawn[name, shape.kind]
        text = shape.booked.label or name
        if isinstance(feature.geometry, tuple):
            yield _at_point(feature, "NAMES", text, paper.name_height, paper, rank=2, needed=True)
        elif isinstance(feature.geometry, Path):
            outline = paper.path(feature.geometry)
            closed = feature.geometry.closed
            area = content.notation.area(shape.area) if shape.area is not None and shape.kind in MEASURED else None
            yield from (_in_area if closed else _on_line)(feature, text, outline, area, paper)
            yield from _figures(feature, feature.geometry, content, paper)


def _at_point(
    feature: Feature, layer: str, text: str, height: float, paper: LabelPaper, *, rank: int, needed: bool
) -> _Asked:
    if not isinstance(feature.geometry, tuple):
        raise TypeError(feature.geometry)
    x, y = paper.at(feature.geometry)
    width = text_width(text, height)
    radius = symbol_radius(feature, paper.metres_per_mm)
    spots = around(x, y, radius, width, height)
    if feature.size is not None and width < 1.6 * radius:
        stem = 0.1 * radius
        spots = np.vstack([Spot(x, y - stem - height, 0.0, -0.5), spots])  # inside a wide crown, under the stem
    return _Asked(layer, Wanted(text, width, height, spots, needed, rank), feature.name, feature.source)


def _on_line(feature: Feature, text: str, outline: Any, area: str | None, paper: LabelPaper) -> Iterator[_Asked]:
    height = paper.name_height
    width = text_width(text, height)
    lengths = np.hypot(*np.diff(outline, axis=0).T)
    longest = np.argsort(-lengths, kind="stable")[:6]
    beside = along(outline[longest], outline[longest + 1], width, height).reshape(-1, 4)
    spots = np.vstack([beside, _along_curve(outline, lengths, width, height)])
    yield _Asked("NAMES", Wanted(text, width, height, spots, True, 3), feature.name, feature.source)


#: Places beside a curve: at which share of it, +1 above or -1, how far out; and their cost.
BESIDE: Final = np.array(
    [
        (share, way, out, abs(share - 0.5) * 2 + extra)
        for share in (0.5, 0.35, 0.65, 0.2, 0.8)
        for way, out, extra in ((1, 1.2, 0.3), (-1, 1.2, 1.1), (1, 4.0, 1.5), (-1, 4.0, 2.3))
    ]
).T


def _along_curve(outline: Any, lengths: Any, width: float, height: float) -> Any:
    """Return places beside a curve made of many short pieces, in the direction of its chord there."""
    share, way, out, cost = BESIDE
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    at = share * ends[-1] + np.array([[-width / 2], [0.0], [width / 2]])
    (x0, x, x1), (y0, y, y1) = (np.interp(at, ends, column) for column in outline.T)
    rotation = upright(np.arctan2(y1 - y0, x1 - x0))
    gap = way * (height / 2 + out)
    return np.stack([x - np.sin(rotation) * gap, y + np.cos(rotation) * gap, rotation, cost], axis=-1)


def _in_area(feature: Feature, text: str, outline: Any, area: str | None, paper: LabelPaper) -> Iterator[_Asked]:
    drawn = shapely.Polygon(outline)
    ring: Any = drawn if drawn.is_valid else shapely.make_valid(drawn)
    small = paper.name_height
    height = paper.strong_height if feature.kind in ("building", "boundary") else small
    width, tall = text_width(text, height), height
    if area is not None:
        width, tall = max(width, text_width(area, small)), height + UNDER + small
    places = np.vstack([inside(ring, width, tall), outside(ring, width, tall)])
    yield _Asked("NAMES", Wanted(text, width, tall, places, True, 1), feature.name, feature.source, area)


def _figures(feature: Feature, path: Path, content: Content, paper: LabelPaper) -> Iterator[_Asked]:
    """Ask for the lengths of walls, and the lengths and bearings of boundaries."""
    boundary, frame = feature.kind == "boundary", content.solved.frame
    if not boundary and feature.kind not in DIMENSIONED:
        return
    starts = path.vertices if path.closed else path.vertices[:-1]
    ends = np.roll(path.vertices, -1, axis=0)[: len(starts)]
    lengths = plane.distance(starts, ends)
    turn = int(np.sign(_signed_area(path.vertices))) if path.closed else 0
    layer, rank, side, least = ("BOUNDARY-FIGURES", 3, turn, 8.0) if boundary else ("DIMENSIONS", 5, -turn, 4.0)
    shown = np.flatnonzero((path.bulges[: len(starts)] == 0) & (lengths / paper.metres_per_mm >= least))
    texts = [content.notation.figure(length / frame.scale) for length in lengths[shown].tolist()]
    if boundary and frame.north is not None:
        bearings = plane.bearing(starts[shown], ends[shown]).tolist()
        texts = [f"{text}  {content.notation.bearing(bearing)}" for text, bearing in zip(texts, bearings, strict=True)]
    height = paper.name_height
    widths = [text_width(text, height) for text in texts]
    places = along(paper.points(starts[shown]), paper.points(ends[shown]), widths, height, side=side)
    for text, width, spots in zip(texts, widths, places, strict=True):
        yield _Asked(layer, Wanted(text, width, height, spots, False, rank), feature.name, feature.source)


def _signed_area(vertices: Any) -> float:
    x, y = vertices[:, 0], vertices[:, 1]
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def _obstacles(
    features: Sequence[Feature], tufts: Sequence[Tuft], paper: LabelPaper
) -> tuple[list[Any], list[tuple[float, float, float]]]:
    """Return the lines, and the symbols as discs, that plot and that labels keep off."""
    lines: list[Any] = []
    discs = []
    for feature in features:
        if not plots(feature.layer):
            continue
        if isinstance(feature.geometry, Path):
            outline = paper.path(feature.geometry)
            lines.append(close_ring(outline, closed=feature.geometry.closed))
        elif isinstance(feature.geometry, tuple):
            x, y = paper.at(feature.geometry)
            radius = symbol_radius(feature, paper.metres_per_mm)
            if feature.size is None:
                discs.append((x, y, radius))
            else:  # a wide crown may hold a name; its edge is a line, its stem a symbol
                lines.append(np.array([(x + radius * cos(a), y + radius * sin(a)) for a in CIRCLE]))
                discs.append((x, y, 0.1 * radius + 0.3))
    discs += [(*paper.at(tuft.position), SYMBOLS[tuft.symbol].radius) for tuft in tufts]
    return lines, discs
