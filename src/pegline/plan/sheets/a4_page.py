"""What the further sheets share: their paper, text cut to a width."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pegline.book.settings import PAPERS
from pegline.plan.display import Item
from pegline.plan.scripts import text_width
from pegline.plan.sheets.papers import MARGIN

__all__ = ["BODY", "HEIGHT", "WIDTH", "Drawn", "shorten"]

WIDTH, HEIGHT = PAPERS["A4"]  # all of them are A4, upright: they go into a folder
HEAD: Final = 12.0
FOOT: Final = 12.0
#: Left, bottom, right, top of what a further sheet may draw on, millimetres.
BODY: Final = (MARGIN, MARGIN + FOOT, WIDTH - MARGIN, HEIGHT - MARGIN - HEAD)

Drawn = Iterator[list[Item]]  #: the bodies of the pages, one after the other


def shorten(text: str, width: float, height: float) -> str:
    """Return a text cut to a width, millimetres.

    >>> shorten("a long name of a thing", 15.0, 1.8)
    'a long nam…'
    """
    if text_width(text, height) <= width:
        return text
    while text and text_width(text + "…", height) > width:
        text = text[:-1]
    return text + "…"
