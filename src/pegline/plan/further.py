"""Further sheets on request: what they have in common, and which there are."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.frame.model import Frame
from pegline.network.model import Adjustment
from pegline.plan.display import Item, Page, Stroke, Words
from pegline.plan.features import Where
from pegline.plan.model import Feature, Options, Sheet
from pegline.plan.papers import MARGIN, PAPERS
from pegline.plan.pencil import SMALL
from pegline.plan.scripts import text_width
from pegline.reduction.model import Reduction

__all__ = ["BODY", "Drawn", "Survey", "further_sheets", "shortened"]

WIDTH, HEIGHT = PAPERS["A4"]  # all of them are A4, upright: they go into a folder
HEAD: Final = 12.0
FOOT: Final = 8.0
#: Left, bottom, right, top of what a further sheet may draw on, millimetres.
BODY: Final = (MARGIN, MARGIN + FOOT, WIDTH - MARGIN, HEIGHT - MARGIN - HEAD)

Drawn = Iterator[list[Item]]  #: the bodies of the pages, one after the other


@dataclass(frozen=True, slots=True)
class Survey:
    """What further sheets are drawn from."""

    book: Book
    reduction: Reduction
    frame: Frame
    adjustment: Adjustment
    detail: Detail
    features: tuple[Feature, ...]

    @property
    def where(self) -> Where:
        """Return the positions."""
        return Where(self.detail, self.adjustment)


def further_sheets(survey: Survey, options: Options, before: int) -> tuple[Sheet, ...]:
    """Return the sheets asked for; ``before`` is how many come before them."""
    from pegline.plan.diagram import diagram_pages
    from pegline.plan.field_pages import field_pages
    from pegline.plan.pegs import peg_pages

    kinds: Mapping[str, tuple[str, Callable[[Survey], Drawn]]] = {
        "pegs": ("Where the pegs are", peg_pages),
        "diagram": ("The lines and their checks", diagram_pages),
        "pages": ("The field book, drawn", field_pages),
    }
    bodies = [(kinds[name][0], body) for name in options.sheets for body in kinds[name][1](survey)]
    total = before + len(bodies)
    return tuple(_sheet(survey, what, body, number, total) for number, (what, body) in enumerate(bodies, before + 1))


def _sheet(survey: Survey, what: str, body: list[Item], number: int, total: int) -> Sheet:
    book = survey.book
    left, bottom, right, top = BODY
    title = book.title or book.file.rsplit(".", 1)[0]
    day = f", measured {book.date.isoformat()}" if book.date else ""
    upper = HEIGHT - MARGIN
    edge = np.array([(left, MARGIN), (right, MARGIN), (right, upper), (left, upper)])
    origin = shortened(f"From {book.file}{day}. Not a boundary survey.", 140.0, SMALL)
    items: list[Item] = [
        *body,
        Stroke("SHEET-FRAME", edge, True),
        Stroke("SHEET", np.array([(left, top), (right, top)])),
        Stroke("SHEET", np.array([(left, bottom), (right, bottom)])),
        Words("SHEET-TEXT", shortened(title, 110.0, 2.5), left + 3, top + 4.5, 2.5, bold=True),
        Words("SHEET-TEXT", what, right - 3, top + 4.5, 2.5, "right"),
        Words("SHEET-TEXT", origin, left + 3, bottom - 5, SMALL),
        Words("SHEET-TEXT", f"Sheet {number} of {total}", right - 3, bottom - 5, SMALL, "right", bold=True),
    ]
    return Sheet(f"Sheet {number}", "A4", False, Page(WIDTH, HEIGHT, tuple(items)), None, (0.0, 0.0))


def shortened(text: str, width: float, height: float) -> str:
    """Return a text cut to a width, millimetres.

    >>> shortened("a long name of a thing", 15.0, 1.8)
    'a long nam…'
    """
    if text_width(text, height) <= width:
        return text
    while text and text_width(text + "…", height) > width:
        text = text[:-1]
    return text + "…"
