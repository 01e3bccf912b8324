"""A card for every station, so that its peg can be found again: sketch, arms from lasting objects, mark."""

from __future__ import annotations

from math import degrees, hypot
from typing import Any, Final

import numpy as np

from pegline import plane
from pegline.diagnosis.report import headline, verdict
from pegline.frame.model import Frame
from pegline.measures.distance import Witness
from pegline.plan.display import Item, Stroke, Words
from pegline.plan.extra_sheets.peg_sketch import SKETCH, Ground, sketch
from pegline.plan.map.boundaries import bearing_no_finer_than, north_sd
from pegline.plan.map.content import Content
from pegline.plan.scripts import wrap
from pegline.plan.sheets.a4_page import BODY, Drawn, shorten
from pegline.plan.sheets.blocks import NEEDLE_SD, magnetic_bearing
from pegline.plan.sheets.column import SMALL

__all__ = ["peg_pages"]

NO_WITNESSES: Final = "No witnesses were booked. Measure to three lasting objects and add them to the book."
LEAST: Final = 0.1  #: metres that two stations are taken to be apart
ACROSS: Final = 2
DOWN: Final = 3


def peg_pages(content: Content) -> Drawn:
    """Yield pages of six cards."""
    solution = content.solved.adjustment.solution
    names = solution.names[: solution.stations]
    ground = Ground.of(content)
    left, bottom, right, top = BODY
    wide, high = (right - left) / ACROSS, (top - bottom) / DOWN
    for first in range(0, len(names), ACROSS * DOWN):
        items: list[Item] = []
        for i, name in enumerate(names[first : first + ACROSS * DOWN]):
            x, y = left + i % ACROSS * wide, top - i // ACROSS * high
            items += _card(content, ground, name, x, y, wide, high)
        yield items


def _card(content: Content, ground: Ground, name: str, x: float, y: float, wide: float, high: float) -> list[Item]:
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
        items.append(Words("SHEET-TEXT", headline(content.solved), x + 3, y - 11.0, SMALL, bold=True))
    facts = [
        f"{east + 0.0:.3f} m  {north + 0.0:.3f} m",
        f"on the line {on}" if on else None,
        entry.mark if entry else None,
        entry.note if entry else None,
    ]
    for i, text in enumerate(filter(None, facts)):
        line = shorten(text, wide - 40, SMALL)
        items.append(Words("SHEET-TEXT", line, x + wide - 3, y - 5.0 - 3.2 * i, SMALL, "right"))
    peg = np.array(content.where.position(name))
    arms = [(w, length, at) for w, length in _witnesses(content, name) if (at := _place(content, w.object)) is not None]
    items += sketch(content, ground, peg, arms, x + 3, y - 14.0 - SKETCH)
    items += _witness_list(content, name, x + 3 + SKETCH + 2.5, y - 18.0, wide - SKETCH - 8)
    return items + _lines_from(content, name, x + 3, y - 14.0 - SKETCH - 4.0, wide - 6, y - high + 1.5)


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
        lines = wrap(NO_WITNESSES, wide, SMALL)
        return [Words("SHEET-TEXT", line, x, y - 3.2 * i, SMALL) for i, line in enumerate(lines)]
    for witness, length in witnesses[:7]:
        items.append(Words("SHEET-TEXT", content.notation.length(length), x, y, SMALL, bold=True))
        items.append(Words("SHEET-TEXT", shorten(witness.object, wide, SMALL), x, y - 2.8, SMALL))
        y -= 2.8
        if witness.note:
            items.append(Words("SHEET-TEXT", shorten(witness.note, wide, SMALL), x, y - 2.8, SMALL))
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
    items: list[Item] = [Words("SHEET-TEXT", _heading_of_lines(solved.frame), x, y, SMALL)]
    for i, line in enumerate(lines):
        other = line.end if line.start == name else line.start
        there = np.array(content.where.position(other))
        length = float(plane.distance(here, there))
        text = f"{other}: {notation.length(length / solved.frame.scale)}"
        if solved.frame.north:
            bearing = float(plane.bearing(here, there))
            sd = degrees(hypot(hypot(content.where.sd(name), content.where.sd(other)) / max(length, LEAST), of_north))
            text += _bearings(content, bearing, sd)
        down = y - 3.2 * (1 + i // 2)
        if down < lowest:
            break
        items.append(Words("SHEET-TEXT", shorten(text, wide / 2 - 1, SMALL), x + i % 2 * wide / 2, down, SMALL))
    return items


def _bearings(content: Content, bearing: float, sd: float) -> str:
    """Return a bearing, and what a compass reads along it, both no finer than they are known (degrees)."""
    frame, notation = content.solved.frame, content.notation
    told = bearing_no_finer_than(notation, bearing, sd)
    text = f", {told}" if told else ""
    magnetic = magnetic_bearing(frame, bearing)
    if magnetic is not None and frame.north != "magnetic":
        told = bearing_no_finer_than(notation, magnetic, hypot(sd, NEEDLE_SD))
        text += f", mag. {told}" if told else ""
    return text


def _heading_of_lines(frame: Frame) -> str:
    """Return what the figures to other stations are."""
    if frame.north is None:
        return "To other stations:"
    magnetic = frame.north != "magnetic" and magnetic_bearing(frame, 0.0) is not None
    return f"To other stations, bearings from {frame.north} north{'; mag.: magnetic' if magnetic else ''}:"
