"""The table of further sheets on request: the name that asks for each, its heading, and what draws its pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final

from pegline.plan.model import Heading

if TYPE_CHECKING:
    from pegline.plan.map.features import Content
    from pegline.plan.sheets.column import Bodies

__all__ = ["FURTHER_SHEETS"]


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


#: Each further sheet by the name that asks for it. What draws its pages is imported when they are asked for.
FURTHER_SHEETS: Final[Mapping[str, tuple[Heading, Callable[[Content], Bodies]]]] = {
    "owner": (Heading("Plan for the owner", "Owner"), _owner),
    "pegs": (Heading("Where the pegs are", "Pegs"), _pegs),
    "diagram": (Heading("The lines and their checks", "Lines"), _diagram),
    "pages": (Heading("The field book, drawn", "Field book"), _pages),
}
