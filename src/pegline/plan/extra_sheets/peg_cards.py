"""A card for every station, so that its peg can be found again: sketch, arms from lasting objects, mark."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import degrees, hypot
from typing import Any, Final

import numpy as np
import shapely

from pegline import plane
from pegline.detail.model import Path
from pegline.diagnosis.report import headline, verdict
from pegline.frame.model import Frame
from pegline.measures.distance import Witness
from pegline.plan.display import Item, Stroke, Words, close_ring, flatten
from pegline.plan.fonts import text_width, wrap
from pegline.plan.labels.boxes import Array, box
from pegline.plan.labels.placement import PlaceableLabel, places_along, places_around, settle_labels
from pegline.plan.map.boundaries import bearing_no_finer_than, north_sd
from pegline.plan.map.features import Content
from pegline.plan.model import DrawnFeature
from pegline.plan.sheets.blocks import NEEDLE_SD, magnetic_bearing
from pegline.plan.sheets.column import A4_BODY, SMALL_TEXT_MM, Bodies, centred_words, shorten, symbol_strokes
from pegline.records import record
from pegline.solved import PLAN_SCALES

__all__ = ["SKETCH_SIDE_MM", "SketchGround", "peg_pages", "sketch"]

NO_WITNESSES: Final = "No witnesses were booked. Measure to three lasting objects and add them to the book."
LEAST_APART: Final = 0.1  #: metres that two stations are taken to be apart
ACROSS: Final = 2
DOWN: Final = 3


def peg_pages(content: Content) -> Bodies:
    """Yield pages of six cards."""
    solution = content.solved.adjustment.solution
    names = solution.names[: solution.stations]
    ground = SketchGround.of(content)
    left, bottom, right, top = A4_BODY
    wide, high = (right - left) / ACROSS, (top - bottom) / DOWN
    for first in range(0, len(names), ACROSS * DOWN):
        items: list[Item] = []
        for i, name in enumerate(names[first : first + ACROSS * DOWN]):
            x, y = left + i % ACROSS * wide, top - i // ACROSS * high
            items += _card(content, ground, name, x, y, wide, high)
        yield items


def _card(
    content: Content, ground: SketchGround, name: str, x: float, y: float, wide: float, high: float
) -> list[Item]:
    book = content.solved.book
    entry = book.stations.get(name)
    east, north = np.array(content.where.position(name)) + content.solved.frame.origin
    items: list[Item] = [
        Stroke("SHEET", np.array([(x, y), (x + wide, y), (x + wide, y - high), (x, y - high)]), True),
        Words("SHEET-TEXT", name, x + 3, y - 6.5, 3.5, bold=True),
    ]
    on = book.tie_stations.get(name)
    judged = verdict(content.solved)
    if judged.word != "PASSED" or content.solved.adjustment.unfinished:
        items.append(Words("SHEET-TEXT", headline(content.solved), x + 3, y - 11.0, SMALL_TEXT_MM, bold=True))
    facts = [
        f"{east + 0.0:.3f} m  {north + 0.0:.3f} m",
        f"on the line {on}" if on else None,
        entry.mark if entry else None,
        entry.note if entry else None,
    ]
    for i, text in enumerate(filter(None, facts)):
        line = shorten(text, wide - 40, SMALL_TEXT_MM)
        items.append(Words("SHEET-TEXT", line, x + wide - 3, y - 5.0 - 3.2 * i, SMALL_TEXT_MM, "right"))
    peg = np.array(content.where.position(name))
    arms = [(w, length, at) for w, length in _witnesses(content, name) if (at := _place(content, w.object)) is not None]
    items += sketch(content, ground, peg, arms, x + 3, y - 14.0 - SKETCH_SIDE_MM)
    items += _witness_list(content, name, x + 3 + SKETCH_SIDE_MM + 2.5, y - 18.0, wide - SKETCH_SIDE_MM - 8)
    return items + _lines_from(content, name, x + 3, y - 14.0 - SKETCH_SIDE_MM - 4.0, wide - 6, y - high + 1.5)


def _witnesses(content: Content, name: str) -> list[tuple[Witness, float]]:
    return [(each.booked, each.ground.length) for each in content.solved.reduction.witnesses.get(name, ())]


def _place(content: Content, words: str) -> Any:
    """Return where a witness stands; None where it is only words."""
    where, shape = content.where, content.solved.detail.shapes.get(words)
    if words in where:
        return np.array(where.position(words))
    return np.array(where.position(shape.points[0])) if shape is not None and shape.form == "point" else None


def _witness_list(content: Content, name: str, x: float, y: float, wide: float) -> list[Item]:
    items: list[Item] = []
    witnesses = _witnesses(content, name)
    if not witnesses:
        lines = wrap(NO_WITNESSES, wide, SMALL_TEXT_MM)
        return [Words("SHEET-TEXT", line, x, y - 3.2 * i, SMALL_TEXT_MM) for i, line in enumerate(lines)]
    for witness, length in witnesses[:7]:
        items.append(Words("SHEET-TEXT", content.notation.length(length), x, y, SMALL_TEXT_MM, bold=True))
        items.append(Words("SHEET-TEXT", shorten(witness.object, wide, SMALL_TEXT_MM), x, y - 2.8, SMALL_TEXT_MM))
        y -= 2.8
        if witness.note:
            items.append(Words("SHEET-TEXT", shorten(witness.note, wide, SMALL_TEXT_MM), x, y - 2.8, SMALL_TEXT_MM))
            y -= 2.8
        y -= 4.2
    return items


def _lines_from(content: Content, name: str, x: float, y: float, wide: float, lowest: float) -> list[Item]:
    """Return the distances, and bearings where there is a north, to the other ends of its lines."""
    solved, notation = content.solved, content.notation
    here = np.array(content.where.position(name))
    of_north = north_sd(solved)
    lines = [line for line in solved.lines_at.get(name, ()) if line.use != "detail"]
    if not lines:
        return []
    items: list[Item] = [Words("SHEET-TEXT", _heading_of_lines(solved.frame), x, y, SMALL_TEXT_MM)]
    for i, line in enumerate(lines):
        other = line.end if line.start == name else line.start
        there = np.array(content.where.position(other))
        length = float(plane.distance(here, there))
        text = f"{other}: {notation.length(length / solved.frame.scale)}"
        if solved.frame.north:
            bearing = float(plane.bearing(here, there))
            sd = degrees(
                hypot(hypot(content.where.sd(name), content.where.sd(other)) / max(length, LEAST_APART), of_north)
            )
            text += _bearings(content, bearing, sd)
        down = y - 3.2 * (1 + i // 2)
        if down < lowest:
            break
        items.append(
            Words("SHEET-TEXT", shorten(text, wide / 2 - 1, SMALL_TEXT_MM), x + i % 2 * wide / 2, down, SMALL_TEXT_MM)
        )
    return items


def _bearings(content: Content, bearing: float, sd: float) -> str:
    """Return a bearing, and what a compass reads along it, both no finer than they are known (degrees)."""
    frame, notation = content.solved.frame, content.notation
    bearing_text = bearing_no_finer_than(notation, bearing, sd)
    text = f", {bearing_text}" if bearing_text else ""
    magnetic = magnetic_bearing(frame, bearing)
    if magnetic is not None and frame.north != "magnetic":
        bearing_text = bearing_no_finer_than(notation, magnetic, hypot(sd, NEEDLE_SD))
        text += f", mag. {bearing_text}" if bearing_text else ""
    return text


def _heading_of_lines(frame: Frame) -> str:
    """Return what the figures to other stations are."""
    if frame.north is None:
        return "To other stations:"
    magnetic = frame.north != "magnetic" and magnetic_bearing(frame, 0.0) is not None
    return f"To other stations, bearings from {frame.north} north{'; mag.: magnetic' if magnetic else ''}:"


# -- sketch ------------------------------------------------------------------------------------------


SKETCH_SIDE_MM: Final = 52.0  #: side of the sketch, mm
SKETCH_AIR_MM: Final = 9.0  #: kept free inside its frame around peg and witnesses, for their names, mm
#: Scales of sketches, n of 1:n: the usual ones of plans and two larger.
SKETCH_SCALES: Final = (20, 25, *PLAN_SCALES)
LEAST_SPAN: Final = 5.0  #: that the peg and its witnesses are taken to be apart at least, metres
SKETCH_TOLERANCE: Final = 0.02  #: largest distance between an arc and its strokes, metres
NEEDLE: Final = (3.0, 6.5, 3.0, 9.0)  #: middle, from the frame's upper left corner right and down, and size, mm

Arm = tuple[Witness, float, Array]  #: a witness, its distance on the ground, where it is in metres


@record(frozen=True, slots=True)
class SketchGround:
    """What sketches show, found by where it is."""

    features: Sequence[DrawnFeature]
    outlines: Sequence[Array]  #: their points, metres
    tree: Any  #: index of them

    @classmethod
    def of(cls, content: Content) -> SketchGround:
        """Take the lines and areas of a survey."""
        shapes = content.solved.detail.shapes
        features, outlines = [], []
        for feature in content.features:
            path, shape = feature.geometry, shapes.get(feature.name)
            if isinstance(path, Path) and shape is not None and shape.kind == feature.kind and not feature.other_face:
                points = flatten(path.vertices, path.bulges, path.closed, SKETCH_TOLERANCE)
                features.append(feature)
                outlines.append(close_ring(points, closed=path.closed))
        return cls(features, outlines, shapely.STRtree([shapely.LineString(points) for points in outlines]))

    def within(self, west: float, south: float, east: float, north: float) -> Iterator[tuple[DrawnFeature, Array]]:
        """Yield what reaches into a box, in its order."""
        for i in sorted(self.tree.query(shapely.box(west, south, east, north)).tolist()):
            yield self.features[i], self.outlines[i]

    def nearest(self, peg: Array) -> Iterator[Array]:
        """Yield the nearest point of anything, which tells more of a peg without witnesses than empty ground."""
        if self.outlines:
            here = shapely.Point(peg)
            line = self.tree.geometries[self.tree.nearest(here)]
            yield np.array(line.interpolate(line.project(here)).coords[0])


def sketch(
    content: Content, ground: SketchGround, peg: Array, arms: Sequence[Arm], x: float, y: float
) -> Iterator[Item]:
    """Yield a peg's sketch, its lower left corner at x, y on the sheet; +y up, which may be north."""
    places = np.array([peg, *(at for *_, at in arms)] if arms else [peg, *ground.nearest(peg)])
    low, high = places.min(axis=0), places.max(axis=0)
    span = max(LEAST_SPAN, float((high - low).max()))
    scale = next(n for n in SKETCH_SCALES if span * 1000 / n <= SKETCH_SIDE_MM - 2 * SKETCH_AIR_MM)
    mm = 1000 / scale
    middle = np.array([x + SKETCH_SIDE_MM / 2, y + SKETCH_SIDE_MM / 2])
    frame = shapely.box(x, y, x + SKETCH_SIDE_MM, y + SKETCH_SIDE_MM)
    yield Stroke("SHEET", np.array(frame.exterior.coords)[:-1], True)
    yield Words("SHEET-TEXT", f"sketch 1:{scale}", x + SKETCH_SIDE_MM + 2.5, y + 0.5, SMALL_TEXT_MM)
    north = content.solved.frame.north is not None

    def on_paper(metres: Array) -> Array:
        return np.asarray((metres - (low + high) / 2) * mm + middle)

    lines = []
    half = SKETCH_SIDE_MM / 2 / mm
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
        yield from _needle(x, y + SKETCH_SIDE_MM)
    discs = [(float(start[0]), float(start[1]), 1.3), *((float(a), float(b), 0.8) for a, b in ends)]
    yield from _sketch_names([(w, length) for w, length, _ in arms], start, ends, lines, discs, (x, y), content)


def _clip(points: Array, frame: Any, feature: DrawnFeature) -> Iterator[Stroke]:
    inside = shapely.LineString(points).intersection(frame)
    for part in getattr(inside, "geoms", [inside]):
        if part.geom_type == "LineString" and not part.is_empty:
            yield Stroke("SKETCHES", np.array(part.coords), line_type=feature.line_type, looks_like=feature.layer)


def _needle(x: float, top: float) -> Iterator[Item]:
    yield Stroke("SHEET", np.array([(x + 3, top - 9), (x + 3, top - 5)]))
    yield Words("SHEET-TEXT", "N", x + 3, top - 4, SMALL_TEXT_MM, "middle")


def _sketch_names(
    arms: Sequence[tuple[Witness, float]],
    start: Array,
    ends: Sequence[Array],
    lines: Sequence[Array],
    discs: Sequence[tuple[float, float, float]],
    corner: tuple[float, float],
    content: Content,
) -> Iterator[Words]:
    """Yield the names of witnesses beside them and their distances along the arms, off one another and off lines."""
    labels = []
    for (witness, length), end in zip(arms, ends, strict=True):
        name, figure = shorten(witness.object, 22.0, SMALL_TEXT_MM), content.notation.figure(length)
        width, room = text_width(name, SMALL_TEXT_MM), text_width(figure, SMALL_TEXT_MM, bold=True)
        beside = _spots_inside(places_around(end[0], end[1], 0.8, width, SMALL_TEXT_MM), width, corner)
        labels.append(PlaceableLabel(name, width, SMALL_TEXT_MM, beside, True, 0))
        labels.append(
            PlaceableLabel(
                figure,
                room,
                SMALL_TEXT_MM,
                _spots_inside(places_along(start, end, room, SMALL_TEXT_MM), room, corner),
                True,
                1,
            )
        )
    count = len(labels)
    if content.solved.frame.north is not None:
        right, down, wide, high = NEEDLE
        place = np.array([(corner[0] + right, corner[1] + SKETCH_SIDE_MM - down, 0.0, 0.0)])
        labels.append(PlaceableLabel("N", wide, high, place, True, -1))
    for i, (label, spot) in enumerate(zip(labels[:count], settle_labels(labels, lines, discs), strict=False)):
        if spot is not None:
            yield centred_words(label.text, spot, SMALL_TEXT_MM, bold=i % 2 == 1)


def _spots_inside(spots: Array, width: float, corner: tuple[float, float]) -> Array:
    """Return the places that lie inside the frame, 1 mm from its edge."""
    x, y = corner
    frame = shapely.box(x + 1, y + 1, x + SKETCH_SIDE_MM - 1, y + SKETCH_SIDE_MM - 1)
    boxes = box(spots[:, 0], spots[:, 1], spots[:, 2], width, SMALL_TEXT_MM)
    return np.asarray(spots[shapely.covers(frame, boxes)])
