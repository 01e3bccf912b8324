"""Which labels a plan wants, each with the places where it may go."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import cos, hypot, pi, sin
from typing import Any, Final, Literal

import numpy as np
import shapely

from pegline import plane
from pegline.detail.model import Path
from pegline.kinds import HOUSES, LAND_EDGES, MAIN_HOUSES, MEASURED
from pegline.plan.display import close_ring
from pegline.plan.fonts import text_width, wrap
from pegline.plan.labels.boxes import Array, LabelPaper
from pegline.plan.labels.placement import (
    ALONG,
    PlaceableLabel,
    Spot,
    places_along,
    places_around,
    places_inside,
    places_outside,
    upright,
)
from pegline.plan.map.boundaries import boundary_corners, boundary_sides
from pegline.plan.map.features import Content
from pegline.plan.model import DrawnFeature, Position, Tuft
from pegline.plan.style import SYMBOLS, plots
from pegline.records import record

__all__ = [
    "DimensionLine",
    "LabelRequest",
    "LabelledSymbol",
    "TextLine",
    "label_requests",
    "obstacles",
    "point_label",
    "room_outlines",
    "symbol_radius",
    "way_labels",
]

LINES_AT_ONCE: Final = 100  #: whose labels' places are looked for together
CIRCLE: Final = tuple(2 * pi * i / 24 for i in range(25))
GAP_MM: Final = 1.1  #: between two lines of a label, millimetres
MAX_LINE_MM: Final = 38.0  #: a name that is longer is written on several lines, millimetres
ROOMY: Final = 0.8  #: of the breadth and height of an area that its name may take
FAR_OUT: Final = 12.0  #: from the middle of an area to a name that is led to it, millimetres at least
MIN_WRAPPED_MM: Final = 12.0  #: a name that is shorter stays on one line, millimetres
SAME_WALL: Final = 0.02  #: metres, within which two walls are one that is figured once
INSIDE_COST: Final = 40.0  #: how much worse a place for a figure is inside the room that it measures
FIGURE_ROW: Final = 2.2  #: from the edge of a label to a wall, beside the height of a figure between them, millimetres

#: Places of a figure along a wall, those outside its room first.
OUTSIDE_FIRST: Final = ALONG + np.array([[0.0], [0.0], [0.0], [INSIDE_COST]]) * (ALONG[1] < 0)


@record(frozen=True, slots=True)
class TextLine:
    """One line of a label."""

    layer: str
    text: str
    height: float  #: of capitals, millimetres


@record(frozen=True, slots=True)
class LabelledSymbol:
    """The symbol that a label names."""

    x: float  #: middle, millimetres of the paper
    y: float
    radius: float  #: that labels keep off; of a crown that may hold its name, its stem's
    group: str  #: layer, within which a label must not be nearer to another symbol than to its own
    inside: Any = None  #: of an area: its polygon, into which a line leads
    line: Any = None  #: of a line: its points (k, 2)


@record(frozen=True, slots=True)
class LabelRequest:
    """A label asked for: its lines, where it may go, and what it belongs to."""

    kind: Literal["station", "point", "line", "area", "figure", "corner", "way"]
    lines: tuple[TextLine, ...]
    wanted: PlaceableLabel
    feature: DrawnFeature
    anchor: LabelledSymbol | None = None
    measures: tuple[Position, Position] | None = None  #: the ends of what a figure is the length of


def symbol_radius(feature: DrawnFeature, metres_per_mm: float) -> float:
    """Return how far a feature's symbol reaches, paper millimetres."""
    radius = SYMBOLS[feature.symbol or "mark"].radius
    return radius if feature.size is None else radius * feature.size / metres_per_mm


def label_requests(content: Content, paper: LabelPaper) -> Iterator[LabelRequest]:
    """Yield every label that a plan wants."""
    features, detail = content.features, content.solved.detail
    for each in features:
        if each.layer == "STATIONS":
            yield point_label("station", "STATION-NAMES", each, each.name, paper.strong_height, paper, rank=0)
    features_by_name = {(each.name, each.kind): each for each in reversed(features)}
    figured: set[tuple[int, ...]] = set()
    on_lines = _on_lines(
        [
            (feature, line, shape.booked.label or name)
            for name, shape in detail.shapes.items()
            if (feature := features_by_name.get((name, shape.kind))) and (line := _named_line(feature))
        ],
        paper,
    )
    for name, shape in detail.shapes.items():
        feature = features_by_name.get((name, shape.kind))
        if feature is None:  # not of this map
            continue
        text = shape.booked.label or name
        if isinstance(feature.geometry, tuple):
            yield point_label("point", "NAMES", feature, text, paper.name_height, paper, rank=2)
        elif isinstance(feature.geometry, Path):
            if _named_line(feature):
                yield next(on_lines)
            else:
                words = "area within the marks" if shape.kind in LAND_EDGES else text
                area = content.notation.area(shape.area) if shape.area is not None and shape.kind in MEASURED else None
                yield _in_area(feature, words, paper.path(feature.geometry), area, paper)
            if feature.kind in HOUSES:
                yield from _wall_figures(feature, feature.geometry, content, paper, figured)
    if content.solved.book.sheet.boundary_figures:
        yield from _boundary_labels(content, features_by_name, paper)


@record(frozen=True, slots=True)
class DimensionLine:
    """A line that is drawn for its length, with its figure."""

    start: Position
    end: Position
    figure: str
    feature: DrawnFeature  #: that it belongs to


def way_labels(ways: Sequence[DimensionLine], paper: LabelPaper) -> Iterator[LabelRequest]:
    """Yield the figures of ways, along them."""
    height = paper.name_height
    for way in ways:
        width = text_width(way.figure, height, bold=True)
        start, end = paper.points(way.start), paper.points(way.end)
        spots = places_along(start, end, width, height)
        label = PlaceableLabel(way.figure, width, height, spots, True, 0)
        line = TextLine("BOUNDARY-FIGURES", way.figure, height)
        x, y = ((start + end) / 2).tolist()
        anchor = LabelledSymbol(x, y, 0.0, f"way {x} {y}", line=np.array([start, end]))
        yield LabelRequest("way", (line,), label, way.feature, anchor, measures=(way.start, way.end))


def _lines(layer: str, text: str, height: float, longest: float = MAX_LINE_MM) -> tuple[TextLine, ...]:
    """Return a name on as many lines as its length needs, none of them much shorter than the others."""
    width = text_width(text, height)
    if width <= longest:
        return (TextLine(layer, text, height),)
    even = width / (int(width / longest) + 1)
    longest_word = max((text_width(word, height) for word in text.split()), default=width)
    room = min(max(even * 1.15, longest_word), MAX_LINE_MM)
    return tuple(TextLine(layer, line, height) for line in wrap(text, room, height))


def _size(lines: Sequence[TextLine]) -> tuple[float, float]:
    """Return width and height of the box of some lines."""
    width = max(text_width(line.text, line.height) for line in lines)
    return width, sum(line.height for line in lines) + GAP_MM * (len(lines) - 1)


def point_label(
    kind: Literal["station", "point"],
    layer: str,
    feature: DrawnFeature,
    text: str,
    height: float,
    paper: LabelPaper,
    *,
    rank: int,
) -> LabelRequest:
    """Return the label of a symbol, with its places around it."""
    if not isinstance(feature.geometry, tuple):
        raise TypeError(feature.geometry)
    x, y = paper.at(feature.geometry)
    lines = _lines(layer, text, height)
    width, tall = _size(lines)
    radius = symbol_radius(feature, paper.metres_per_mm)
    spots = places_around(x, y, radius, width, tall)
    core = radius
    if feature.size is not None:
        core = 0.1 * radius + 0.3
        if hypot(width, tall) < 1.6 * radius:  # inside a wide crown, under the stem
            spots = np.vstack([Spot(x, y - core - 0.4 - tall / 2, 0.0, -0.5), spots])
        else:  # or beside its stem, over the crown's edge
            spots = np.vstack([spots, places_around(x, y, core, width, tall)[:8] + np.array([0.0, 0.0, 0.0, 1.0])])
    label = PlaceableLabel(text, width, tall, spots, True, rank)
    return LabelRequest(kind, lines, label, feature, LabelledSymbol(x, y, core, feature.layer))


def _named_line(feature: DrawnFeature) -> Path | None:
    """Return the line that a feature's name stands beside: its own, or of a wall the line as booked."""
    line = feature.spine or feature.geometry
    return line if isinstance(line, Path) and (feature.spine is not None or not line.closed) else None


def _on_lines(named: Sequence[tuple[DrawnFeature, Path, str]], paper: LabelPaper) -> Iterator[LabelRequest]:
    """Yield the labels of lines, whose places are looked for together, some at a time."""
    for start in range(0, len(named), LINES_AT_ONCE):
        yield from _on_some_lines(named[start : start + LINES_AT_ONCE], paper)


def _on_some_lines(named: Sequence[tuple[DrawnFeature, Path, str]], paper: LabelPaper) -> Iterator[LabelRequest]:
    height = paper.name_height
    outlines = [paper.path(line) for _, line, _ in named]
    widths = np.array([text_width(text, height) for *_, text in named])
    lengths = [np.hypot(*(outline[1:] - outline[:-1]).T) for outline in outlines]
    longest = [np.argsort(-each, kind="stable")[:6] for each in lengths]
    beside = _beside_pieces(outlines, longest, widths, height)
    rows = zip(named, outlines, lengths, widths.tolist(), beside, strict=True)
    for (feature, _, text), outline, each, width, spots in rows:
        (x, y), along = _along_curve(outline, each, width, height)
        anchor = LabelledSymbol(x, y, 0.0, f"line {feature.name}", line=outline)
        label = PlaceableLabel(text, width, height, np.vstack([spots, along]), True, 3)
        yield LabelRequest("line", (TextLine("NAMES", text, height),), label, feature, anchor)


def _beside_pieces(outlines: Sequence[Array], pieces: Sequence[Any], widths: Array, height: float) -> list[Array]:
    """Return the places of each line's label beside some of its pieces."""
    counts = [*map(len, pieces)]
    starts, ends = (
        np.concatenate([outline[some + end] for outline, some in zip(outlines, pieces, strict=True)]) for end in (0, 1)
    )
    spots = places_along(starts, ends, np.repeat(widths, counts), height)
    return [each.reshape(-1, 4) for each in np.split(spots, np.cumsum(counts)[:-1])]


#: Places beside a curve: at which share of it, +1 above or -1, how far out; and their cost.
PLACES_BESIDE_CURVE: Final = np.array(
    [
        (share, way, out, abs(share - 0.5) * 2 + extra)
        for share in (0.5, 0.35, 0.65, 0.2, 0.8)
        for way, out, extra in ((1, 1.2, 0.3), (-1, 1.2, 1.1), (1, 4.0, 1.5), (-1, 4.0, 2.3))
    ]
).T


def _along_curve(outline: Array, lengths: Array, width: float, height: float) -> tuple[list[float], Array]:
    """Return the middle of a curve, along it, and places beside it in the direction of its chord there."""
    share, way, out, cost = PLACES_BESIDE_CURVE
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    at = share * ends[-1] + np.array([[-width / 2], [0.0], [width / 2]])
    (x0, x, x1), (y0, y, y1) = (np.interp(at, ends, column) for column in outline.T)
    rotation = upright(np.arctan2(y1 - y0, x1 - x0))
    gap = way * (height / 2 + out)
    middle = [float(np.interp(ends[-1] / 2, ends, column)) for column in outline.T]
    return middle, np.stack([x - np.sin(rotation) * gap, y + np.cos(rotation) * gap, rotation, cost], axis=-1)


def _in_area(feature: DrawnFeature, text: str, outline: Any, area: str | None, paper: LabelPaper) -> LabelRequest:
    polygon = shapely.Polygon(outline)
    ring: Any = polygon if polygon.is_valid else shapely.make_valid(polygon)
    small = paper.name_height
    height = paper.strong_height if feature.kind in MAIN_HOUSES else small
    figure = () if area is None else (TextLine("AREAS", area, small),)
    left, bottom, right, top = ring.bounds
    lines = (*_lines("NAMES", text, height), *figure)
    narrow = (*_lines("NAMES", text, height, max(ROOMY * (right - left), MIN_WRAPPED_MM)), *figure)
    if _size(lines)[0] > ROOMY * (right - left) and _size(narrow)[1] < ROOMY * (top - bottom):
        lines = narrow  # which finds room inside
    width, tall = _size(lines)
    beside = small + FIGURE_ROW if feature.kind in HOUSES else 0.0
    places = np.vstack([places_inside(ring, width, tall), places_outside(ring, width, tall, beside)])
    middle = ring.representative_point()
    reach = float(shapely.minimum_bounding_radius(ring))
    anchor = LabelledSymbol(middle.x, middle.y, min(reach, FAR_OUT), f"area {feature.name}", inside=ring)
    return LabelRequest("area", lines, PlaceableLabel(text, width, tall, places, True, 1), feature, anchor)


def _wall_figures(
    feature: DrawnFeature, path: Path, content: Content, paper: LabelPaper, figured: set[tuple[int, ...]]
) -> Iterator[LabelRequest]:
    """Ask for the lengths of walls, those of a wall that two rooms share once."""
    starts = path.vertices if path.closed else path.vertices[:-1]
    ends = np.roll(path.vertices, -1, axis=0)[: len(starts)]
    lengths = plane.distance(starts, ends)
    outer = -int(np.sign(_signed_area(path.vertices))) if path.closed else 0
    height = paper.name_height
    for i in np.flatnonzero((path.bulges[: len(starts)] == 0) & (lengths / paper.metres_per_mm >= 4.0)).tolist():
        wall = tuple(np.round(np.sort(np.array([starts[i], ends[i]]), axis=0) / SAME_WALL).astype(int).ravel().tolist())
        if wall in figured:
            continue
        figured.add(wall)
        text = content.notation.figure(float(lengths[i]) / content.solved.frame.scale)
        width = text_width(text, height)
        spots = places_along(
            paper.points(starts[i]), paper.points(ends[i]), width, height, side=outer, places=OUTSIDE_FIRST
        )
        label = PlaceableLabel(text, width, height, spots, False, 5)
        (x0, y0), (x1, y1) = starts[i].tolist(), ends[i].tolist()
        figure = (TextLine("DIMENSIONS", text, height),)
        yield LabelRequest("figure", figure, label, feature, measures=((x0, y0), (x1, y1)))


def _boundary_labels(content: Content, features_by_name: Any, paper: LabelPaper) -> Iterator[LabelRequest]:
    """Ask for the letters of boundary corners, and the lengths and bearings between them."""
    shapes = content.solved.detail.shapes
    height = paper.name_height
    for corner in boundary_corners(content.solved):
        feature = features_by_name[corner.owner, shapes[corner.owner].kind]
        width = text_width(corner.letters, height)
        x, y = paper.at(corner.position)
        label = PlaceableLabel(corner.letters, width, height, places_around(x, y, 0.8, width, height), True, 1)
        lines = (TextLine("BOUNDARY-FIGURES", corner.letters, height),)
        yield LabelRequest("corner", lines, label, feature, LabelledSymbol(x, y, 0.5, "corners"))
    for side in boundary_sides(content.solved, content.where, content.notation):
        feature = features_by_name[side.owner, shapes[side.owner].kind]
        text = f"{side.length}  {side.bearing}" if side.bearing else side.length
        width = text_width(text, height)
        if hypot(*(np.array(side.end) - side.start)) / paper.metres_per_mm < max(8.0, width):
            continue  # the table has it
        turn = int(np.sign(_signed_area(feature.geometry.vertices))) if feature.geometry.closed else 0
        spots = places_along(paper.points(side.start), paper.points(side.end), width, height, side=turn)
        label = PlaceableLabel(text, width, height, spots, False, 3)
        yield LabelRequest("figure", (TextLine("BOUNDARY-FIGURES", text, height),), label, feature)


def _signed_area(vertices: Any) -> float:
    x, y = vertices[:, 0], vertices[:, 1]
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def room_outlines(features: Sequence[DrawnFeature], paper: LabelPaper) -> list[Any]:
    """Return the outlines of buildings as polygons, on the paper."""
    rooms = (
        shapely.Polygon(paper.path(feature.geometry))
        for feature in features
        if feature.kind in HOUSES and isinstance(feature.geometry, Path) and feature.geometry.closed
    )
    return [room for room in rooms if room.is_valid]


def obstacles(
    features: Sequence[DrawnFeature], tufts: Sequence[Tuft], paper: LabelPaper
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
    centres = paper.points(np.array([tuft.position for tuft in tufts]).reshape(-1, 2)).tolist()
    discs += [(x, y, SYMBOLS[tuft.symbol].radius) for (x, y), tuft in zip(centres, tufts, strict=True)]
    return lines, discs
