"""The sketch on a peg's card: what lies about the peg and its witnesses, an arm to each, all names inside its frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.measures.distance import Witness
from pegline.plan.display import Item, Stroke, Words, close_ring, flatten
from pegline.plan.labels.boxes import Array, box
from pegline.plan.labels.placement import Wanted, along, around, settle
from pegline.plan.map.content import Content
from pegline.plan.model import Feature
from pegline.plan.scripts import text_width
from pegline.plan.sheets.a4_page import shorten
from pegline.plan.sheets.column import SMALL, centred_words, symbol_strokes
from pegline.records import record
from pegline.solved import PLAN_SCALES

__all__ = ["SKETCH", "Ground", "sketch"]

SKETCH: Final = 52.0  #: side of the sketch, mm
AIR: Final = 9.0  #: kept free inside its frame around peg and witnesses, for their names, mm
#: Scales of sketches, n of 1:n: the usual ones of plans and two larger.
SKETCH_SCALES: Final = (20, 25, *PLAN_SCALES)
LEAST: Final = 5.0  #: that the peg and its witnesses are taken to be apart at least, metres
FINE: Final = 0.02  #: largest distance between an arc and its strokes, metres
NEEDLE: Final = (3.0, 6.5, 3.0, 9.0)  #: middle, from the frame's upper left corner right and down, and size, mm

Arm = tuple[Witness, float, Array]  #: a witness, its distance on the ground, where it is in metres


@record(frozen=True, slots=True)
class Ground:
    """What sketches show, found by where it is."""

    features: Sequence[Feature]
    outlines: Sequence[Array]  #: their points, metres
    tree: Any  #: index of them

    @classmethod
    def of(cls, content: Content) -> Ground:
        """Take the lines and areas of a survey."""
        shapes = content.solved.detail.shapes
        features, outlines = [], []
        for feature in content.features:
            path = feature.geometry
            if isinstance(path, Path) and feature.name in shapes and shapes[feature.name].kind == feature.kind:
                points = flatten(path.vertices, path.bulges, path.closed, FINE)
                features.append(feature)
                outlines.append(close_ring(points, closed=path.closed))
        return cls(features, outlines, shapely.STRtree([shapely.LineString(points) for points in outlines]))

    def within(self, west: float, south: float, east: float, north: float) -> Iterator[tuple[Feature, Array]]:
        """Yield what reaches into a box, in its order."""
        for i in sorted(self.tree.query(shapely.box(west, south, east, north)).tolist()):
            yield self.features[i], self.outlines[i]

    def nearest(self, peg: Array) -> Iterator[Array]:
        """Yield the nearest point of anything, which tells more of a peg without witnesses than empty ground."""
        if self.outlines:
            here = shapely.Point(peg)
            line = self.tree.geometries[self.tree.nearest(here)]
            yield np.array(line.interpolate(line.project(here)).coords[0])


def sketch(content: Content, ground: Ground, peg: Array, arms: Sequence[Arm], x: float, y: float) -> Iterator[Item]:
    """Yield a peg's sketch, its lower left corner at x, y on the sheet; +y up, which may be north."""
    seen = np.array([peg, *(at for *_, at in arms)] if arms else [peg, *ground.nearest(peg)])
    low, high = seen.min(axis=0), seen.max(axis=0)
    span = max(LEAST, float((high - low).max()))
    scale = next(n for n in SKETCH_SCALES if span * 1000 / n <= SKETCH - 2 * AIR)
    mm = 1000 / scale
    middle = np.array([x + SKETCH / 2, y + SKETCH / 2])
    frame = shapely.box(x, y, x + SKETCH, y + SKETCH)
    yield Stroke("SHEET", np.array(frame.exterior.coords)[:-1], True)
    yield Words("SHEET-TEXT", f"sketch 1:{scale}", x + SKETCH + 2.5, y + 0.5, SMALL)
    north = content.solved.frame.north is not None

    def on_paper(metres: Array) -> Array:
        return np.asarray((metres - (low + high) / 2) * mm + middle)

    lines = []
    half = SKETCH / 2 / mm
    for feature, points in ground.within(*((low + high) / 2 - half), *((low + high) / 2 + half)):
        for stroke in _clip(on_paper(points), frame, feature):
            lines.append(stroke.points)
            yield stroke
    start, ends = on_paper(peg), [on_paper(at) for *_, at in arms]
    for end in ends:
        lines.append(np.array([start, end]))
        yield Stroke("SHEET", lines[-1], line_type="SHORT-DASH")
        yield from symbol_strokes("spot", float(end[0]), float(end[1]), "SHEET")
    yield from symbol_strokes("station", float(start[0]), float(start[1]), "SKETCHES", "STATIONS")
    if north:
        yield from _needle(x, y + SKETCH)
    discs = [(float(start[0]), float(start[1]), 1.3), *((float(a), float(b), 0.8) for a, b in ends)]
    yield from _names([(w, length) for w, length, _ in arms], start, ends, lines, discs, (x, y), content)


def _clip(points: Array, frame: Any, feature: Feature) -> Iterator[Stroke]:
    inside = shapely.LineString(points).intersection(frame)
    for part in getattr(inside, "geoms", [inside]):
        if part.geom_type == "LineString" and not part.is_empty:
            yield Stroke("SKETCHES", np.array(part.coords), line_type=feature.line_type, looks_like=feature.layer)


def _needle(x: float, top: float) -> Iterator[Item]:
    yield Stroke("SHEET", np.array([(x + 3, top - 9), (x + 3, top - 5)]))
    yield Words("SHEET-TEXT", "N", x + 3, top - 4, SMALL, "middle")


def _names(
    arms: Sequence[tuple[Witness, float]],
    start: Array,
    ends: Sequence[Array],
    lines: Sequence[Array],
    discs: Sequence[tuple[float, float, float]],
    corner: tuple[float, float],
    content: Content,
) -> Iterator[Words]:
    """Yield the names of witnesses beside them and their distances along the arms, off one another and off lines."""
    wanted = []
    for (witness, length), end in zip(arms, ends, strict=True):
        name, figure = shorten(witness.object, 22.0, SMALL), content.notation.figure(length)
        width, room = text_width(name, SMALL), text_width(figure, SMALL, bold=True)
        beside = _inside(around(end[0], end[1], 0.8, width, SMALL), width, corner)
        wanted.append(Wanted(name, width, SMALL, beside, True, 0))
        wanted.append(Wanted(figure, room, SMALL, _inside(along(start, end, room, SMALL), room, corner), True, 1))
    count = len(wanted)
    if content.solved.frame.north is not None:
        right, down, wide, high = NEEDLE
        place = np.array([(corner[0] + right, corner[1] + SKETCH - down, 0.0, 0.0)])
        wanted.append(Wanted("N", wide, high, place, True, -1))
    for i, (label, spot) in enumerate(zip(wanted[:count], settle(wanted, lines, discs), strict=False)):
        if spot is not None:
            yield centred_words(label.text, spot, SMALL, bold=i % 2 == 1)


def _inside(spots: Array, width: float, corner: tuple[float, float]) -> Array:
    """Return the places that lie inside the frame, 1 mm from its edge."""
    x, y = corner
    frame = shapely.box(x + 1, y + 1, x + SKETCH - 1, y + SKETCH - 1)
    boxes = box(spots[:, 0], spots[:, 1], spots[:, 2], width, SMALL)
    return np.asarray(spots[shapely.covers(frame, boxes)])
