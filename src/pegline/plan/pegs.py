"""A card for every station, so that its peg can be found again: sketch, arms from lasting objects, mark."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, sin
from typing import Any, Final

import numpy as np
import shapely

from pegline import plane
from pegline.detail.model import Path
from pegline.measures.distance import Witness
from pegline.plan.display import Item, Stroke, Words, flattened
from pegline.plan.figures import bearing_text
from pegline.plan.labels import Wanted, along, around, settle
from pegline.plan.leaf import BODY, Drawn, shortened
from pegline.plan.pencil import SMALL, symbol_strokes
from pegline.plan.scripts import text_width
from pegline.plan.told import Told

__all__ = ["peg_pages"]

ACROSS: Final = 2
DOWN: Final = 3
SKETCH: Final = 52.0  #: side of the sketch, mm
LEAST: Final = 4.0  #: metres from the middle of a sketch to its edge, at least


def peg_pages(told: Told) -> Drawn:
    """Yield pages of six cards."""
    solution = told.adjustment.solution
    names = solution.names[: solution.stations]
    left, bottom, right, top = BODY
    wide, high = (right - left) / ACROSS, (top - bottom) / DOWN
    for first in range(0, len(names), ACROSS * DOWN):
        items: list[Item] = []
        for i, name in enumerate(names[first : first + ACROSS * DOWN]):
            x, y = left + i % ACROSS * wide, top - i // ACROSS * high
            items += _card(told, name, x, y, wide, high)
        yield items


def _card(told: Told, name: str, x: float, y: float, wide: float, high: float) -> list[Item]:
    book = told.book
    entry = book.stations.get(name)
    east, north = np.array(told.where.position(name)) + told.frame.origin
    items: list[Item] = [
        Stroke("SHEET", np.array([(x, y), (x + wide, y), (x + wide, y - high), (x, y - high)]), True),
        Words("SHEET-TEXT", name, x + 3, y - 6.5, 3.5, bold=True),
    ]
    on = book.tie_stations.get(name)
    facts = [
        f"{east + 0.0:.3f}  {north + 0.0:.3f}",
        f"on the line {on}" if on else None,
        entry.mark if entry else None,
        entry.note if entry else None,
    ]
    for i, text in enumerate(filter(None, facts)):
        line = shortened(text, wide - 40, SMALL)
        items.append(Words("SHEET-TEXT", line, x + wide - 3, y - 5.0 - 3.2 * i, SMALL, "right"))
    items += _sketch(told, name, x + 3, y - 14.0 - SKETCH)
    items += _witness_list(told, name, x + 3 + SKETCH + 2.5, y - 18.0, wide - SKETCH - 8)
    return items + _lines_from(told, name, x + 3, y - 14.0 - SKETCH - 4.0, wide - 6, y - high + 1.5)


def _witnesses(told: Told, name: str) -> list[tuple[Witness, float]]:
    booked = told.book.witnesses.get(name, ())
    return [(w, g.length) for w, g in zip(booked, told.reduction.witnesses.get(name, ()), strict=False)]


def _place(told: Told, words: str) -> Any:
    """Return where a witness stands; None where it is only words."""
    where, shape = told.where, told.detail.shapes.get(words)
    if words in where:
        return np.array(where.position(words))
    return np.array(where.position(shape.points[0])) if shape is not None and shape.form == "point" else None


def _sketch(told: Told, name: str, x: float, y: float) -> list[Item]:
    """Return what lies about a peg, north (or +y) up, with an arm to each witness that is on the plan."""
    peg = np.array(told.where.position(name))
    arms = [(w, length, at) for w, length in _witnesses(told, name) if (at := _place(told, w.object)) is not None]
    reach = max([LEAST, *(1.35 * float(np.hypot(*(at - peg))) for *_, at in arms)])
    mm = SKETCH / 2 / reach
    middle = np.array([x + SKETCH / 2, y + SKETCH / 2])
    frame = shapely.box(x, y, x + SKETCH, y + SKETCH)
    items: list[Item] = [Stroke("SHEET", np.array(frame.exterior.coords)[:-1], True)]
    for feature in told.features:
        shape = told.detail.shapes.get(feature.name)
        if isinstance(feature.geometry, Path) and shape is not None and shape.kind == feature.kind:
            path = feature.geometry
            points = flattened((path.vertices - peg) * mm + middle, path.bulges, path.closed, 0.05)
            items += _clipped(points, path.closed, frame, feature.layer, feature.line_type)
    ends = [(at - peg) * mm + middle for *_, at in arms]
    for end in ends:
        items.append(Stroke("SHEET", np.array([middle, end]), line_type="SHORT-DASH"))
        items += symbol_strokes("spot", float(end[0]), float(end[1]), "SHEET")
    items += _arm_labels([(w, length) for w, length, _ in arms], middle, ends)
    items += symbol_strokes("station", float(middle[0]), float(middle[1]), "STATIONS")
    if told.frame.north:
        items.append(Stroke("SHEET", np.array([(x + 3, y + SKETCH - 9), (x + 3, y + SKETCH - 3)])))
        items.append(Words("SHEET-TEXT", "N", x + 3, y + SKETCH - 2.5 + 0.3, SMALL, "middle"))
    return items


def _arm_labels(arms: list[tuple[Witness, float]], middle: Any, ends: list[Any]) -> Iterator[Words]:
    """Return the names of witnesses beside them and their distances along the arms, off one another."""
    wanted = []
    for (witness, length), end in zip(arms, ends, strict=True):
        name, figure = shortened(witness.object, 22.0, SMALL), f"{length:.2f}"
        width, room = text_width(name, SMALL), text_width(figure, SMALL, bold=True)
        wanted.append(Wanted(name, width, SMALL, around(float(end[0]), float(end[1]), 0.8, width, SMALL), True, 0))
        wanted.append(Wanted(figure, room, SMALL, along(middle, end, room, SMALL), True, 1))
    lines = [np.array([middle, end]) for end in ends]
    peg = (float(middle[0]), float(middle[1]), 1.5)
    for i, (label, spot) in enumerate(zip(wanted, settle(wanted, lines, [peg]), strict=True)):
        if spot is not None:
            drop = label.height / 2
            x, y = spot.x + drop * sin(spot.rotation), spot.y - drop * cos(spot.rotation)
            yield Words("SHEET-TEXT", label.text, x, y, SMALL, "middle", spot.rotation, bold=i % 2 == 1)


def _clipped(points: Any, closed: bool, frame: Any, layer: str, line_type: str | None) -> Iterator[Stroke]:
    line = shapely.LinearRing(points) if closed else shapely.LineString(points)
    inside = shapely.LineString(line.coords).intersection(frame)
    for part in getattr(inside, "geoms", [inside]):
        if part.geom_type == "LineString" and not part.is_empty:
            yield Stroke(layer, np.array(part.coords), line_type=line_type)


def _witness_list(told: Told, name: str, x: float, y: float, wide: float) -> list[Item]:
    items: list[Item] = []
    witnesses = _witnesses(told, name)
    if not witnesses:
        return [Words("SHEET-TEXT", "no witnesses booked", x, y, SMALL)]
    for witness, length in witnesses[:7]:
        items.append(Words("SHEET-TEXT", f"{length:.2f} m", x, y, SMALL, bold=True))
        items.append(Words("SHEET-TEXT", shortened(witness.object, wide, SMALL), x, y - 2.8, SMALL))
        y -= 2.8
        if witness.note:
            items.append(Words("SHEET-TEXT", shortened(witness.note, wide, SMALL), x, y - 2.8, SMALL))
            y -= 2.8
        y -= 4.2
    return items


def _lines_from(told: Told, name: str, x: float, y: float, wide: float, lowest: float) -> list[Item]:
    """Return the distances, and bearings where there is a north, to the other ends of its lines."""
    items: list[Item] = []
    here = np.array(told.where.position(name))
    column = 0
    for line in told.reduction.lines.values():
        if name not in (line.start, line.end) or line.use == "detail":
            continue
        other = line.end if line.start == name else line.start
        there = np.array(told.where.position(other))
        length = float(plane.distance(here, there)) / told.frame.scale
        text = f"to {other}: {length:.2f} m"
        if told.frame.north:
            text += f", {bearing_text(float(plane.bearing(here, there)))}"
        items.append(Words("SHEET-TEXT", shortened(text, wide / 2 - 1, SMALL), x + column * wide / 2, y, SMALL))
        column = 1 - column
        y -= 0.0 if column else 3.2
        if y < lowest:
            break
    return items
