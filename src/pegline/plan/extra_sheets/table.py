"""Further sheets on request: which there are, and what stands around each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np

from pegline.diagnosis.report import headline
from pegline.plan.display import Item, Page, Stroke, Words
from pegline.plan.map.features import Content
from pegline.plan.model import Options, Sheet
from pegline.plan.sheets.column import A4_HEIGHT, A4_WIDTH, BODY, SMALL, Bodies, Heading, shorten
from pegline.plan.sheets.papers import MARGIN

__all__ = ["further_sheets"]


def _pegs(content: Content) -> Bodies:
    from pegline.plan.extra_sheets.peg_cards import peg_pages

    return peg_pages(content)


def _diagram(content: Content) -> Bodies:
    from pegline.plan.extra_sheets.line_diagram import diagram_pages

    return diagram_pages(content)


def _pages(content: Content) -> Bodies:
    from pegline.plan.extra_sheets.field_pages import field_pages

    return field_pages(content)


def _owner(content: Content) -> Bodies:
    from pegline.plan.extra_sheets.owner_plan import owner_pages

    return owner_pages(content)


#: Each further sheet by its name, with its heading and what draws its pages.
FURTHER: Final[Mapping[str, tuple[Heading, Callable[[Content], Bodies]]]] = {
    "owner": (Heading("Plan for the owner", "Owner"), _owner),
    "pegs": (Heading("Where the pegs are", "Pegs"), _pegs),
    "diagram": (Heading("The lines and their checks", "Lines"), _diagram),
    "pages": (Heading("The field book, drawn", "Field book"), _pages),
}


def further_sheets(
    content: Content, options: Options, before: int, tables: Sequence[tuple[Heading, list[Item]]] = ()
) -> tuple[Sheet, ...]:
    """Return the sheets asked for; ``before`` is how many come before them, ``tables`` what the plan's
    own sheet has no room for.
    """
    bodies = list(tables)
    bodies += [(FURTHER[name][0], body) for name in options.sheets for body in FURTHER[name][1](content)]
    total = before + len(bodies)
    pages = Counter(heading for heading, _ in bodies)
    there: Counter[Heading] = Counter()
    sheets = []
    for number, (heading, body) in enumerate(bodies, before + 1):
        there[heading] += 1
        name = f"{heading.short} {there[heading]}" if pages[heading] > 1 else heading.short
        sheets.append(_sheet(content, name, heading.text, body, number, total))
    return tuple(sheets)


def _sheet(content: Content, name: str, heading: str, body: list[Item], number: int, total: int) -> Sheet:
    book = content.solved.book
    left, bottom, right, top = BODY
    title = book.title or book.file.rsplit(".", 1)[0]
    day = f", measured {book.date.isoformat()}" if book.date else ""
    upper = A4_HEIGHT - MARGIN
    edge = np.array([(left, MARGIN), (right, MARGIN), (right, upper), (left, upper)])
    origin = shorten(f"From {book.file}{day}. This is not a boundary survey.", 140.0, SMALL)
    items: list[Item] = [
        *body,
        Stroke("SHEET-FRAME", edge, True),
        Stroke("SHEET", np.array([(left, top), (right, top)])),
        Stroke("SHEET", np.array([(left, bottom), (right, bottom)])),
        Words("SHEET-TEXT", shorten(title, 110.0, 2.5), left + 3, top + 4.5, 2.5, bold=True),
        Words("SHEET-TEXT", heading, right - 3, top + 4.5, 2.5, "right"),
        Words("SHEET-TEXT", headline(content.solved), left + 3, bottom - 5, 2.5, bold=True),
        Words("SHEET-TEXT", origin, left + 3, bottom - 9.5, SMALL),
        Words("SHEET-TEXT", f"Sheet {number} of {total}", right - 3, bottom - 9.5, SMALL, "right", bold=True),
    ]
    return Sheet(name, "A4", False, Page(A4_WIDTH, A4_HEIGHT, tuple(items)), None, (0.0, 0.0))
