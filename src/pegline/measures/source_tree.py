"""What a book's file says before it has a meaning: texts, lists and tables, each with its place.

Every reader (YAML, spreadsheet tables) makes these; every grammar reads them.
"""

from __future__ import annotations

from pegline.errors import Place
from pegline.records import record

__all__ = ["Items", "Table", "Text", "Written"]


@record(frozen=True, slots=True)
class Text:
    """A scalar, as text; an empty value is an empty text."""

    value: str
    place: Place


@record(frozen=True, slots=True)
class Items:
    """A list."""

    items: tuple[Written, ...]
    place: Place


@record(frozen=True, slots=True)
class Table:
    """A mapping: each key (itself a text with a place) with its value, in the order written."""

    entries: dict[str, tuple[Text, Written]]
    place: Place


Written = Text | Items | Table
