"""A card for every station, so that its peg can be found again: sketch, arms from lasting objects, mark."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from pegline import plane
from pegline.measures.distance import Witness
from pegline.plan.display import Item, Stroke, Words
from pegline.plan.extra_sheets.peg_sketch import SKETCH, Ground, sketch
from pegline.plan.map.content import Content
from pegline.plan.number_text import bearing_text
from pegline.plan.sheets.a4_page import BODY, Drawn, shorten
from pegline.plan.sheets.column import SMALL

__all__ = ["peg_pages"]

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
    facts = [
        f"{east + 0.0:.3f}  {north + 0.0:.3f}",
        f"on the line {on}" if on else None,
        entry.mark if entry else None,
        entry.note if entry else None,
    ]
    for i, text in enumerate(filter(None, facts)):
        line = shorten(text, wide - 40, SMALL)
        items.append(Words("SHEET-TEXT", line, x + wide - 3, y - 5.0 - 3.2 * i, SMALL, "right"))
    peg = np.array(content.where.position(name))
    arms = [(w, length, at) for w, length in _witnesses(content, name) if (at := _place(content, w.object)) is not None]
    items += sketch(ground, peg, arms, content.solved.frame.north is not None, x + 3, y - 14.0 - SKETCH)
    items += _witness_list(content, name, x + 3 + SKETCH + 2.5, y - 18.0, wide - SKETCH - 8)
    return items + _lines_from(content, name, x + 3, y - 14.0 - SKETCH - 4.0, wide - 6, y - high + 1.5)


def _witnesses(content: Content, name: str) -> list[tuple[Witness, float]]:
    booked = content.solved.book.witnesses.get(name, ())
    return [(w, g.length) for w, g in zip(booked, content.solved.reduction.witnesses.get(name, ()), strict=False)]


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
        return [Words("SHEET-TEXT", "no witnesses booked", x, y, SMALL)]
    for witness, length in witnesses[:7]:
        items.append(Words("SHEET-TEXT", f"{length:.2f} m", x, y, SMALL, bold=True))
        items.append(Words("SHEET-TEXT", shorten(witness.object, wide, SMALL), x, y - 2.8, SMALL))
        y -= 2.8
        if witness.note:
            items.append(Words("SHEET-TEXT", shorten(witness.note, wide, SMALL), x, y - 2.8, SMALL))
            y -= 2.8
        y -= 4.2
    return items


def _lines_from(content: Content, name: str, x: float, y: float, wide: float, lowest: float) -> list[Item]:
    """Return the distances, and bearings where there is a north, to the other ends of its lines."""
    items: list[Item] = []
    here = np.array(content.where.position(name))
    column = 0
    for line in content.solved.reduction.lines.values():
        if name not in (line.start, line.end) or line.use == "detail":
            continue
        other = line.end if line.start == name else line.start
        there = np.array(content.where.position(other))
        length = float(plane.distance(here, there)) / content.solved.frame.scale
        text = f"to {other}: {length:.2f} m"
        if content.solved.frame.north:
            text += f", {bearing_text(float(plane.bearing(here, there)))}"
        items.append(Words("SHEET-TEXT", shorten(text, wide / 2 - 1, SMALL), x + column * wide / 2, y, SMALL))
        column = 1 - column
        y -= 0.0 if column else 3.2
        if y < lowest:
            break
    return items
