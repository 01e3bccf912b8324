"""The texts, lists and tables of a book's file, each with its place, before they have a meaning.

Every reader (YAML, spreadsheet tables) makes these; every grammar reads them.
"""

from __future__ import annotations

from pegline.errors import Place
from pegline.records import record

__all__ = ["Items", "Table", "Text", "Written", "open_places"]


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
    closed: bool = False  #: written in brackets, which say where it ends


@record(frozen=True, slots=True)
class Table:
    """A mapping: each key (itself a text with a place) with its value, in the order written."""

    entries: dict[str, tuple[Text, Written]]
    place: Place
    closed: bool = False  #: written in brackets, which say where it ends


Written = Text | Items | Table


def open_places(root: Written) -> frozenset[Place]:
    """Return the places of all that a book ends in the midst of: more of it may follow when the book goes on."""
    places = [root.place]
    part = root
    while not isinstance(part, Text) and not part.closed:
        if isinstance(part, Table) and part.entries:
            key, part = next(reversed(part.entries.values()))
            places.append(key.place)
        elif isinstance(part, Items) and part.items:
            part = part.items[-1]
        else:
            break
        if isinstance(part, Text) or not part.closed:
            places.append(part.place)
        else:
            places.pop()
    return frozenset(places)
