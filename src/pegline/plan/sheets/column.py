"""A column of a sheet, written and drawn downward, and the A4 page of the further sheets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import cos, sin
from typing import Final

import numpy as np

from pegline.book.settings import PAPERS
from pegline.plan.display import Anchor, Item, Stroke, Words, flatten
from pegline.plan.fonts import fitting_signs, text_width, wrap
from pegline.plan.labels.placement import Spot
from pegline.plan.sheets.papers import MARGIN
from pegline.plan.style import SYMBOLS
from pegline.plane import Array

__all__ = [
    "A4_BODY",
    "A4_HEIGHT",
    "A4_WIDTH",
    "SMALL_TEXT_MM",
    "Bodies",
    "Pencil",
    "centred_words",
    "repeat_symbol",
    "shift_items",
    "shorten",
    "symbol_strokes",
]

A4_WIDTH, A4_HEIGHT = PAPERS["A4"]  # all of them are A4, upright: they go into a folder
A4_HEAD_MM: Final = 12.0
A4_FOOT_MM: Final = 12.0
#: Left, bottom, right, top of what a further sheet may draw on, millimetres.
A4_BODY: Final = (MARGIN, MARGIN + A4_FOOT_MM, A4_WIDTH - MARGIN, A4_HEIGHT - MARGIN - A4_HEAD_MM)

Bodies = Iterator[list[Item]]  #: the bodies of the pages, one after the other


def shorten(text: str, width: float, height: float) -> str:
    """Return a text cut to a width, millimetres.

    >>> shorten("a long name of a thing", 15.0, 1.8)
    'a long nam…'
    """
    if text_width(text, height) <= width:
        return text
    return text[: fitting_signs(text, width, height, end="…")] + "…"


SMALL_TEXT_MM = 1.8  #: height of capitals of ordinary text
COLUMN_LEADING = 1.85  #: from baseline to baseline, in heights of capitals


@dataclass(slots=True)
class Pencil:
    """Draws from the top left corner, 0, 0, downward."""

    width: float
    y: float = 0.0
    items: list[Item] = field(default_factory=list)

    def text(
        self,
        text: str,
        *,
        height: float = SMALL_TEXT_MM,
        bold: bool = False,
        x: float = 0.0,
        anchor: Anchor = "left",
        down: bool = True,
    ) -> None:
        """Write one line; ``down`` False stays on the line before."""
        if down:
            self.y -= height * COLUMN_LEADING
        self.items.append(Words("SHEET-TEXT", text, x, self.y, height, anchor, bold=bold))

    def paragraph(self, text: str, *, height: float = SMALL_TEXT_MM, bold: bool = False, indent: float = 0.0) -> None:
        """Write a text over as many lines as it needs."""
        for line in wrap(text, self.width - indent, height, bold=bold):
            self.text(line, height=height, bold=bold, x=indent)

    def gap(self, height: float) -> None:
        """Leave room."""
        self.y -= height

    def rule(self) -> None:
        """Draw a line across."""
        self.stroke([(0.0, self.y), (self.width, self.y)])

    def stroke(
        self,
        points: Sequence[tuple[float, float]],
        *,
        layer: str = "SHEET",
        closed: bool = False,
        fill: float | None = None,
    ) -> None:
        """Draw a line at once; the pencil stays where it is."""
        self.items.append(Stroke(layer, np.array(points, dtype=float), closed, fill))

    def symbol(self, name: str, x: float, y: float, look: str) -> None:
        """Draw a symbol of the key at once, as those of a layer look."""
        self.items += symbol_strokes(name, x, y, "KEY", look)


def centred_words(text: str, spot: Spot, height: float, *, bold: bool = False) -> Words:
    """Return words whose box has its middle at a place, turned with it."""
    half = height / 2  # down to the baseline
    x, y = spot.x + half * sin(spot.rotation), spot.y - half * cos(spot.rotation)
    return Words("SHEET-TEXT", text, x, y, height, "middle", spot.rotation, bold)


def symbol_strokes(name: str, x: float, y: float, layer: str, look: str | None = None) -> list[Stroke]:
    """Return a symbol's strokes on paper, on a layer, as those of another look."""
    return list(repeat_symbol(name, np.array([(x, y)]), layer, look=look))


def repeat_symbol(
    name: str,
    places: Array,
    layer: str,
    *,
    size: float = 1.0,
    rotations: Array | float = 0.0,
    sources: Sequence[str] | None = None,
    look: str | None = None,
) -> Iterator[Stroke]:
    """Yield the strokes of one symbol at many places (n, 2), turned by so much at each, place by place."""
    c, s = np.broadcast_arrays(np.cos(rotations), np.sin(rotations), places[:, 0])[:2]
    turns = np.stack([np.stack([c, s], axis=-1), np.stack([-s, c], axis=-1)], axis=-2)
    pens = [(pen, np.array(pen.vertices)) for pen in SYMBOLS[name].pens]
    shapes = [flatten(vertices[:, :2] * size, vertices[:, 2], pen.closed, 0.02) for pen, vertices in pens]
    strokes = [shape @ turns + places[:, None] for shape in shapes]
    for source, *each in zip(sources or [""] * len(places), *strokes, strict=True):
        for (pen, _), points in zip(pens, each, strict=True):
            fill = 0.0 if pen.filled else None
            yield Stroke(layer, points, pen.closed, fill, line_type="CONTINUOUS", source=source, looks_like=look)


def shift_items(items: Sequence[Item], x: float, y: float, larger: float = 1.0) -> list[Item]:
    """Return items ``larger`` times their size and moved on the paper."""
    return [
        replace(item, points=item.points * larger + np.array([x, y]))
        if isinstance(item, Stroke)
        else replace(item, x=item.x * larger + x, y=item.y * larger + y, height=item.height * larger)
        for item in items
    ]
