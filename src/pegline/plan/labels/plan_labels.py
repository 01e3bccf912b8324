"""The labels of a plan as placed: off one another, each nearer to its own symbol than to another, or led to it.

Where many symbols of one sort stand in a crowd their names give way to numbers, and a schedule tells what they are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
import shapely

from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import Array, Boxes, LabelPaper, box
from pegline.plan.labels.leaders import Leaders
from pegline.plan.labels.placement import PLACES_AT_ONCE, Spot, lines_under, settle_labels
from pegline.plan.labels.requests import (
    GAP_MM,
    DimensionLine,
    LabelRequest,
    label_requests,
    obstacles,
    point_label,
    room_outlines,
    way_labels,
)
from pegline.plan.labels.unplotted_labels import unplotted_labels
from pegline.plan.map.features import Content
from pegline.plan.model import DrawnFeature, Label, Tuft
from pegline.records import record

__all__ = ["PlacedLabels", "place_labels"]

CROWD: Final = 12  #: names of one layer that find no clear place, from which its things bear numbers
MAX_STRUCK_MM: Final = 1.0  #: millimetres of line through a label that may stay
AMBIGUOUS: Final = 25.0  #: how much worse a place is that is nearer to another symbol of its sort
LINE_PLACES_COMPARED: Final = 32  #: best places of a line's label, which are held against other lines
NEAR_SYMBOLS_MM: Final = 30.0  #: symbols within so many millimetres of each are those that its label is held against
DISTANCE_ROUNDING_MM: Final = 1e-9


@record(frozen=True, slots=True)
class PlacedLabels:
    """The labels of a plan, and what they leave to other places."""

    labels: tuple[Label, ...]
    numbered: tuple[tuple[int, DrawnFeature], ...]  #: things in a crowd, by the number that stands for their name
    left_out: int  #: names and numbers without room


def place_labels(
    content: Content, tufts: Sequence[Tuft], paper: LabelPaper, ways: Sequence[DimensionLine] = ()
) -> PlacedLabels:
    """Return every label of a plan, placed; ``ways`` are lines with their lengths that it has beside its features."""
    placed = _plotted_labels(content, tufts, paper, ways)
    return replace(placed, labels=(*placed.labels, *unplotted_labels(content.features, placed.labels, paper)))


def _plotted_labels(
    content: Content, tufts: Sequence[Tuft], paper: LabelPaper, ways: Sequence[DimensionLine]
) -> PlacedLabels:
    """Return the labels that plot, placed: what is needed for that is not kept while the others are."""
    requests = [_within(ask, paper) for ask in (*label_requests(content, paper), *way_labels(ways, paper))]
    lines, discs = obstacles(content.features, tufts, paper)
    lines += [paper.points(np.array([way.start, way.end])) for way in ways]
    rooms = room_outlines(content.features, paper)
    spots, unclear = _settle_all(requests, lines, discs)
    crowds = Counter(requests[i].feature.layer for i in unclear if requests[i].kind == "point")
    numbered: list[tuple[int, DrawnFeature]] = []
    if crowded := {layer for layer, count in crowds.items() if count >= CROWD}:
        requests = list(_number_crowds(requests, crowded, numbered, paper))
        spots, unclear = _settle_all(requests, lines, discs)
    leaders = Leaders(
        _placed_boxes(requests, spots, unclear), [requests[i] for i in unclear], lines, discs, rooms, paper.window
    )
    labels, left_out = _lead_unclear(requests, spots, unclear, leaders, paper)
    return PlacedLabels(labels, tuple(numbered), left_out)


def _within(ask: LabelRequest, paper: LabelPaper) -> LabelRequest:
    """Return a label with its places moved into the map, those that move further being worse."""
    if paper.window is None:
        return ask
    spots = ask.wanted.spots
    c, s = np.abs(np.cos(spots[:, 2])), np.abs(np.sin(spots[:, 2]))
    half = np.stack([ask.wanted.width * c + ask.wanted.height * s, ask.wanted.width * s + ask.wanted.height * c], 1) / 2
    left, bottom, right, top = paper.window
    low, high = np.array([left, bottom]) + half + 1.0, np.array([right, top]) - half - 1.0
    inside = np.minimum(np.maximum(spots[:, :2], low), np.maximum(high, low))
    moved = np.hypot(*(inside - spots[:, :2]).T)
    spots = np.column_stack([inside, spots[:, 2], spots[:, 3] + moved])
    return replace(ask, wanted=replace(ask.wanted, spots=spots))


def _settle_all(requests: list[LabelRequest], lines: Any, discs: Any) -> tuple[list[Spot | None], dict[int, bool]]:
    """Return the place of each label and the unclear ones.

    Places that belong to another symbol are made worse in the list itself, which so holds them once.
    """
    near = _Neighbours(requests)
    nearer = near.nearer_to_another({i: ask.wanted.spots for i, ask in enumerate(requests)})
    for i, ask in enumerate(requests):
        if nearer[i].any():
            spots = ask.wanted.spots.copy()
            spots[:, 3] += AMBIGUOUS * nearer[i]
            requests[i] = replace(ask, wanted=replace(ask.wanted, spots=spots))
    placed = list(settle_labels([ask.wanted for ask in requests], lines, discs))
    return placed, _unclear(requests, placed, lines, near)


class _Neighbours:
    """Which symbols of the same sort stand near each labelled one, and which lines near each labelled line."""

    def __init__(self, requests: Sequence[LabelRequest]) -> None:
        self._asked = requests
        self._others: dict[int, Array] = {}
        groups: dict[str, list[int]] = {}
        for i, ask in enumerate(requests):
            if ask.anchor is not None:
                groups.setdefault(ask.anchor.group, []).append(i)
        for members in groups.values():
            if len(members) == 1:
                continue
            places = np.array([(requests[i].anchor.x, requests[i].anchor.y) for i in members])  # type: ignore[union-attr]
            points = shapely.points(places)
            own, other = shapely.STRtree(points).query(points, predicate="dwithin", distance=NEAR_SYMBOLS_MM)
            own, other = own[own != other], other[own != other]
            order = np.argsort(own, kind="stable")
            starts = np.searchsorted(own[order], np.arange(len(members) + 1))
            for row, i in enumerate(members):
                if starts[row] < starts[row + 1]:
                    self._others[i] = places[other[order][starts[row] : starts[row + 1]]]
        #: the labelled lines of each sort
        self._lines = [
            {i: ask.anchor.line for i, ask in enumerate(requests) if ask.kind == kind and ask.anchor is not None}
            for kind in ("line", "way")
        ]

    def nearer_to_another(self, spots: Mapping[int, Array]) -> dict[int, Any]:
        """Return which places of some labels are nearer to another symbol or line of its sort than to its own."""
        nearer = {i: self._nearer_to_another_symbol(i, places) for i, places in spots.items()}
        for lines in self._lines:
            asked = {i: spots[i] for i in lines if i in spots}
            if asked and len(lines) > 1:
                nearer |= self._nearer_to_another_line(lines, asked)
        return nearer

    def _nearer_to_another_symbol(self, i: int, spots: Array) -> Any:
        anchor, others, label = self._asked[i].anchor, self._others.get(i), self._asked[i].wanted
        if anchor is None or others is None:
            return np.zeros(len(spots), dtype=bool)
        half = np.array([label.width, label.height]) / 2
        own = _distance(spots, half, np.array([[anchor.x, anchor.y]]))[:, 0]
        return _distance(spots, half, others).min(axis=1) < own - DISTANCE_ROUNDING_MM

    def _nearer_to_another_line(self, lines: Mapping[int, Any], spots: Mapping[int, Array]) -> Mapping[int, Any]:
        """Return which places of some lines' labels are nearer to another line, those not looked at among them."""
        points = [*lines.values()]
        shapes = shapely.linestrings(
            np.concatenate(points), indices=np.repeat(np.arange(len(lines)), [*map(len, points)])
        )
        numbers = {i: number for number, i in enumerate(lines)}
        best = {i: np.argsort(places[:, 3], kind="stable")[:LINE_PLACES_COMPARED] for i, places in spots.items()}
        counts = list(map(len, best.values()))
        x, y, rotation = np.concatenate([spots[i][some, :3] for i, some in best.items()]).T
        own = np.repeat([numbers[i] for i in best], counts)
        sizes = np.repeat([(self._asked[i].wanted.width, self._asked[i].wanted.height) for i in best], counts, axis=0)
        tree, closer = shapely.STRtree(shapes), np.zeros(len(x), dtype=bool)
        for start in range(0, len(x), PLACES_AT_ONCE):
            some = np.arange(start, min(start + PLACES_AT_ONCE, len(x)))
            # A box reaches half its diagonal from its middle: no line so much further from there is nearer to it.
            middles = shapely.points(x[some], y[some])
            reach = shapely.distance(middles, shapes[own[some]]) + np.hypot(*sizes[some].T) / 2
            place, line = tree.query(middles, predicate="dwithin", distance=reach)
            place = some[place]
            place, line = place[line != own[place]], line[line != own[place]]
            boxes = box(x[place], y[place], rotation[place], *sizes[place].T)
            least = shapely.distance(boxes, shapes[own[place]]) - DISTANCE_ROUNDING_MM
            closer[place[shapely.distance(boxes, shapes[line]) < least]] = True
        nearer = {i: np.ones(len(places), dtype=bool) for i, places in spots.items()}
        for (i, some), those in zip(best.items(), np.split(closer, np.cumsum(counts)[:-1]), strict=True):
            nearer[i][some] = those
        return nearer


def _distance(spots: Array, half: Array, points: Array) -> Array:
    """Return how far points (m, 2) are from level boxes about places (k, 4), as (k, m)."""
    away = np.abs(spots[:, None, :2] - points[None]) - half
    return np.asarray(np.hypot(*np.clip(away, 0.0, None).transpose(2, 0, 1)))


def _boxes(requests: Sequence[LabelRequest], spots: Sequence[Spot | None]) -> tuple[list[int], Boxes]:
    """Return the numbers and the boxes of the labels that have a place."""
    placed = [i for i, spot in enumerate(spots) if spot is not None]
    rows = [
        (spot.x, spot.y, spot.rotation, requests[i].wanted.width, requests[i].wanted.height)
        for i in placed
        if (spot := spots[i]) is not None
    ]
    return placed, Boxes.of(np.array(rows, dtype=float).reshape(-1, 5))


def _unclear(
    requests: Sequence[LabelRequest], spots: Sequence[Spot | None], lines: Any, near: _Neighbours
) -> dict[int, bool]:
    """Return the labels that lie on another label or on a line, or nearer to another thing of their sort.

    Each with whether it could stay where it is: it is a line's or an area's, and only struck.
    """
    placed, boxes = _boxes(requests, spots)
    one, two = boxes.meet(boxes, shapely.STRtree(boxes.reach))
    over = {placed[i] for i in np.concatenate([one[one != two], two[one != two]]).tolist()}
    struck = {placed[i] for i in np.flatnonzero(lines_under(boxes.shape, lines) > MAX_STRUCK_MM).tolist()}
    anchored = {i: np.array([spots[i]], dtype=float) for i in placed if not _in_own_area(requests[i], spots[i])}
    nearer = near.nearer_to_another(anchored)
    unclear: dict[int, bool] = {}
    for i in anchored:
        wrong = i in over or bool(nearer[i][0])
        if wrong or i in struck:
            unclear[i] = not wrong and requests[i].kind in ("line", "area", "way")
    return unclear


def _in_own_area(ask: LabelRequest, spot: Spot | None) -> bool:
    """Return whether a label may lie across what is there: it belongs to no place, or stands in its own area."""
    if ask.anchor is None or spot is None:
        return True
    return ask.anchor.inside is not None and bool(shapely.Point(spot.x, spot.y).within(ask.anchor.inside))


def _number_crowds(
    requests: Sequence[LabelRequest], crowded: set[str], numbered: list[tuple[int, DrawnFeature]], paper: LabelPaper
) -> Iterator[LabelRequest]:
    """Yield the labels, numbers in the place of names on layers that are crowded."""
    for ask in requests:
        if ask.kind != "point" or ask.feature.layer not in crowded:
            yield ask
            continue
        numbered.append((len(numbered) + 1, ask.feature))
        label = point_label("point", "NAMES", ask.feature, str(len(numbered)), paper.name_height, paper, rank=2)
        yield _within(label, paper)


def _placed_boxes(requests: Sequence[LabelRequest], spots: Sequence[Spot | None], unclear: Mapping[int, bool]) -> Boxes:
    """Return the boxes of the labels that stay where they are."""
    return _boxes(requests, [spot if i not in unclear else None for i, spot in enumerate(spots)])[1]


def _lead_unclear(
    requests: Sequence[LabelRequest],
    spots: list[Spot | None],
    unclear: Mapping[int, bool],
    leaders: Leaders,
    paper: LabelPaper,
) -> tuple[tuple[Label, ...], int]:
    """Return the labels; unclear ones are led further off by a line, or stay struck, or are left out."""
    kept = [spot if i not in unclear else None for i, spot in enumerate(spots)]
    labels: list[Label] = []
    left_out = 0
    for i, ask in enumerate(requests):
        spot = kept[i]
        if spot is not None:
            labels += _labels(ask, spot, paper)
        elif i in unclear and ask.anchor is not None:
            lines = _led_or_struck(ask, spots[i], leaders, paper, may_be_struck=unclear[i])
            labels += lines
            left_out += not lines
        elif ask.kind != "figure":
            left_out += 1
    return tuple(labels), left_out


def _led_or_struck(
    ask: LabelRequest, here: Spot | None, leaders: Leaders, paper: LabelPaper, *, may_be_struck: bool
) -> list[Label]:
    """Return the lines of an unclear label, with a line that leads to it or where it is struck; none left out."""
    led = leaders.place(ask)
    if led is None:
        stays = here is not None and may_be_struck and leaders.keep(ask, here)
        return [*_labels(ask, here, paper)] if here is not None and stays else []
    spot, ends = led
    first, *others = _labels(ask, spot, paper)
    return [replace(first, leader=(paper.position(*ends[0]), paper.position(*ends[1]))), *others]


def _labels(ask: LabelRequest, spot: Spot, paper: LabelPaper) -> Iterator[Label]:
    """Yield the lines of a label where it was put, from the top."""
    down = ask.wanted.height / 2
    for line in ask.lines:
        middle = down - line.height / 2
        x, y = spot.x - np.sin(spot.rotation) * middle, spot.y + np.cos(spot.rotation) * middle
        yield Label(
            line.layer,
            line.text,
            paper.position(float(x), float(y)),
            spot.rotation - paper.turn,
            line.height,
            text_width(line.text, line.height),
            ask.feature.source,
            ask.feature.name,
            ask.measures,
        )
        down -= line.height + GAP_MM
