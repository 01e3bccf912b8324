"""Which labels a plan wants, and the labels as placed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import atan2, cos, pi, sin
from typing import Any, Final

import numpy as np
import shapely

from pegline import plane
from pegline.book.model import Book
from pegline.detail.model import Detail, Path
from pegline.frame.model import Frame
from pegline.plan.display import flattened
from pegline.plan.figures import area_text, bearing_text, length_text
from pegline.plan.labels import Spot, Wanted, along_piece, around, inside, outside, settle, upright
from pegline.plan.model import Feature, Label, Tuft
from pegline.plan.scripts import text_width
from pegline.plan.style import LAYERS
from pegline.plan.symbols import SYMBOLS

__all__ = ["letter", "symbol_radius"]

NAME: Final = 1.8  #: heights of capitals, paper millimetres, of the series 1.8, 2.5, 3.5
STRONG: Final = 2.5
CIRCLE: Final = tuple(2 * pi * i / 24 for i in range(25))
UNDER: Final = NAME + 1.1  #: that a figure under a name adds to its height
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


def letter(
    book: Book, frame: Frame, detail: Detail, features: Sequence[Feature], tufts: Sequence[Tuft], metres_per_mm: float
) -> tuple[Label, ...]:
    """Return every label of a plan, placed; figures that find no room are left out."""
    paper = _Paper(metres_per_mm)
    asked = list(_asked(book, frame, detail, features, paper))
    lines, symbols = _obstacles(features, tufts, paper)
    spots = settle([ask.wanted for ask in asked], lines, symbols)
    return (
        *(
            label
            for ask, spot in zip(asked, spots, strict=True)
            if spot is not None
            for label in _labels(ask, spot, metres_per_mm)
        ),
        *_beside_offsets(features, paper),
        *_beside_points(features, paper),
    )


@dataclass(frozen=True, slots=True)
class _Paper:
    """Turns metres into paper millimetres."""

    metres_per_mm: float

    def at(self, position: tuple[float, float]) -> tuple[float, float]:
        return position[0] / self.metres_per_mm, position[1] / self.metres_per_mm

    def path(self, path: Path) -> Any:
        return flattened(path.vertices / self.metres_per_mm, path.bulges, path.closed, 0.05)


def symbol_radius(feature: Feature, metres_per_mm: float) -> float:
    """Return how far a feature's symbol reaches, paper millimetres."""
    radius = SYMBOLS[feature.symbol or "mark"].radius
    return radius if feature.size is None else radius * feature.size / metres_per_mm


def _labels(ask: _Asked, spot: Spot, metres_per_mm: float) -> Iterator[Label]:
    """Yield a label where it was put; a name with a figure under it shares its place with that."""
    text, height = ask.wanted.text, ask.wanted.height
    if ask.under is None:
        yield _label(ask.layer, text, height, spot, ask, metres_per_mm)
        return
    height -= UNDER
    yield _label(ask.layer, text, height, replace(spot, y=spot.y + UNDER / 2), ask, metres_per_mm)
    below = replace(spot, y=spot.y - (height + UNDER - NAME) / 2)
    yield _label("AREAS", ask.under, NAME, below, ask, metres_per_mm)


def _label(layer: str, text: str, height: float, spot: Spot, ask: _Asked, metres_per_mm: float) -> Label:
    centre = (spot.x * metres_per_mm, spot.y * metres_per_mm)
    return Label(layer, text, centre, spot.rotation, height, text_width(text, height), ask.source, ask.owner)


def _asked(book: Book, frame: Frame, detail: Detail, features: Sequence[Feature], paper: _Paper) -> Iterator[_Asked]:
    for feature in features:
        if feature.layer == "STATIONS":
            yield _at_point(feature, "STATION-NAMES", feature.name, STRONG, paper, rank=0, needed=True)
    drawn = {(feature.name, feature.kind): feature for feature in reversed(features)}
    for name, shape in detail.shapes.items():
        feature = drawn[name, shape.kind]
        text = shape.booked.label or name
        if isinstance(feature.geometry, tuple):
            yield _at_point(feature, "NAMES", text, NAME, paper, rank=2, needed=True)
        elif isinstance(feature.geometry, Path):
            outline = paper.path(feature.geometry)
            closed = feature.geometry.closed
            area = area_text(shape.area) if shape.area is not None and shape.kind in MEASURED else None
            yield from (_in_area if closed else _on_line)(feature, text, outline, area)
            yield from _figures(feature, feature.geometry, book, frame, paper)


def _wanted(text: str, height: float, spots: Iterable[Spot], *, rank: int, needed: bool) -> Wanted:
    return Wanted(text, text_width(text, height), height, tuple(spots), needed, rank)


def _at_point(
    feature: Feature, layer: str, text: str, height: float, paper: _Paper, *, rank: int, needed: bool
) -> _Asked:
    if not isinstance(feature.geometry, tuple):
        raise TypeError(feature.geometry)
    x, y = paper.at(feature.geometry)
    width = text_width(text, height)
    radius = symbol_radius(feature, paper.metres_per_mm)
    spots = around(x, y, radius, width, height)
    if feature.size is not None and width < 1.6 * radius:
        stem = 0.1 * radius
        spots = (Spot(x, y - stem - height, 0.0, -0.5), *spots)  # inside a wide crown, under the stem
    return _Asked(layer, _wanted(text, height, spots, rank=rank, needed=needed), feature.name, feature.source)


def _on_line(feature: Feature, text: str, outline: Any, area: str | None) -> Iterator[_Asked]:
    width = text_width(text, NAME)
    pieces = sorted(pairwise(outline.tolist()), key=lambda p: -float(np.hypot(p[1][0] - p[0][0], p[1][1] - p[0][1])))
    spots = [spot for start, end in pieces[:6] for spot in along_piece(tuple(start), tuple(end), width, NAME)]
    spots += _along_curve(outline, width, NAME)
    yield _Asked("NAMES", _wanted(text, NAME, spots, rank=3, needed=True), feature.name, feature.source)


def _along_curve(outline: Any, width: float, height: float) -> list[Spot]:
    """Return places beside a curve made of many short pieces, in the direction of its chord there."""
    line = shapely.LineString(outline)
    spots = []
    for share in (0.5, 0.35, 0.65, 0.2, 0.8):
        start = line.interpolate(max(0.0, share * line.length - width / 2))
        middle = line.interpolate(share * line.length)
        end = line.interpolate(min(line.length, share * line.length + width / 2))
        rotation = upright(atan2(end.y - start.y, end.x - start.x))
        up = (-np.sin(rotation), np.cos(rotation))
        for way, out, extra in ((1, 1.2, 0.3), (-1, 1.2, 1.1), (1, 4.0, 1.5), (-1, 4.0, 2.3)):
            gap = way * (height / 2 + out)
            cost = abs(share - 0.5) * 2 + extra
            spots.append(Spot(middle.x + up[0] * gap, middle.y + up[1] * gap, rotation, cost))
    return spots


def _in_area(feature: Feature, text: str, outline: Any, area: str | None) -> Iterator[_Asked]:
    drawn = shapely.Polygon(outline)
    ring: Any = drawn if drawn.is_valid else shapely.make_valid(drawn)
    height = STRONG if feature.kind in ("building", "boundary") else NAME
    width, tall = text_width(text, height), height
    if area is not None:
        width, tall = max(width, text_width(area, NAME)), height + UNDER
    places = (*inside(ring, width, tall), *outside(ring, width, tall))
    yield _Asked("NAMES", Wanted(text, width, tall, places, True, 1), feature.name, feature.source, area)


def _figures(feature: Feature, path: Path, book: Book, frame: Frame, paper: _Paper) -> Iterator[_Asked]:
    """Ask for the lengths of walls, and the lengths and bearings of boundaries."""
    boundary = feature.kind == "boundary"
    if not boundary and feature.kind not in DIMENSIONED:
        return
    vertices = path.vertices
    count = len(vertices)
    turn = np.sign(_signed_area(vertices)) if path.closed else 0
    for i in range(count if path.closed else count - 1):
        start, end = vertices[i], vertices[(i + 1) % count]
        if path.bulges[i] != 0:
            continue
        length = float(plane.distance(start, end))
        text = length_text(length / frame.scale, book.unit)
        if boundary and frame.north is not None:
            text = f"{text}  {bearing_text(float(plane.bearing(start, end)))}"
        outside = int(-turn) if not boundary else int(turn)
        ends = (paper.at(tuple(start)), paper.at(tuple(end)))
        if length / paper.metres_per_mm < (8.0 if boundary else 4.0):
            continue
        yield _Asked(
            "BOUNDARY-FIGURES" if boundary else "DIMENSIONS",
            _wanted(
                text,
                NAME,
                along_piece(*ends, text_width(text, NAME), NAME, side=outside),
                rank=3 if boundary else 5,
                needed=False,
            ),
            feature.name,
            feature.source,
        )


def _signed_area(vertices: Any) -> float:
    x, y = vertices[:, 0], vertices[:, 1]
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def _obstacles(
    features: Sequence[Feature], tufts: Sequence[Tuft], paper: _Paper
) -> tuple[list[Any], list[tuple[float, float, float]]]:
    """Return the lines, and the symbols as discs, that plot and that labels keep off."""
    lines: list[Any] = []
    discs = []
    for feature in features:
        if feature.layer in LAYERS and not LAYERS[feature.layer].plots:
            continue
        if isinstance(feature.geometry, Path):
            outline = paper.path(feature.geometry)
            lines.append(np.vstack([outline, outline[:1]]) if feature.geometry.closed else outline)
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


def _beside_offsets(features: Sequence[Feature], paper: _Paper) -> Iterator[Label]:
    """Write each offset along its line, as it was booked; these do not plot and are not moved about."""
    height = 1.8
    for feature in features:
        text = feature.attributes.get("booked")
        if feature.layer != "OFFSETS" or not text or not isinstance(feature.geometry, Path):
            continue
        (start, end) = feature.geometry.vertices
        width = text_width(text, height)
        (x, y), rotation = (start + end) / 2, upright(atan2(end[1] - start[1], end[0] - start[0]))
        lift = 0.9 * height * paper.metres_per_mm
        centre = (float(x - np.sin(rotation) * lift), float(y + np.cos(rotation) * lift))
        yield Label("OFFSET-FIGURES", text, centre, rotation, height, width, feature.source, feature.name)


def _beside_points(features: Sequence[Feature], paper: _Paper) -> Iterator[Label]:
    """Write the name of each point to its upper right; these do not plot."""
    height = 1.8
    for feature in features:
        if feature.layer == "POINTS" and isinstance(feature.geometry, tuple):
            x, y = paper.at(feature.geometry)
            width = text_width(feature.name, height)
            centre = ((x + 0.8 + width / 2) * paper.metres_per_mm, (y + 0.8 + height / 2) * paper.metres_per_mm)
            yield Label("POINT-NAMES", feature.name, centre, 0.0, height, width, feature.source, feature.name)
