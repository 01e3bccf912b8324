"""A book in which every station, point and feature has an awkward name."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from pegline.book.model import Book
from pegline.kinds import KINDS

__all__ = ["awkward", "rename"]

#: what names may hold beside letters: the words that labels are made of, dots, digits, quotes, other scripts
SHAPES = (
    "pin at {0}",
    "peg to {0}",
    "{0}.{0}",
    "7{1}",
    "«{0}» “{1}”",
    "точка {0}",
    "井戸{1}",
    "{0}'s",
    '{0} "x"',
    "{0} and {1}",
)


def awkward(book: Book) -> dict[str, str]:
    """Return an awkward name for each station, point and feature of a book, and for each line of its two ends."""
    names: dict[str, None] = dict.fromkeys((*book.stations, *book.station_names, *book.witnesses, *book.features))
    for line in book.lines.values():
        names.update(dict.fromkeys((line.start, line.end, *(row.name for row in line.details))))
    names.update(dict.fromkeys(arc.point for arc in book.arcs))
    for feature in book.features.values():
        names.update(dict.fromkeys(getattr(feature.geometry, "corners", ())))
    plain = [name for name in names if name and name not in KINDS]
    found = {name: SHAPES[n % len(SHAPES)].format(name, n) for n, name in enumerate(plain)}
    found |= {
        line: f"{found.get(one.start, one.start)}-{found.get(one.end, one.end)}" for line, one in book.lines.items()
    }
    return found


def rename(record: Any, names: Mapping[str, str]) -> Any:
    """Return a record in which every text that is a name is another."""
    if isinstance(record, str):
        return names.get(record, record)
    if isinstance(record, tuple):
        return tuple(rename(item, names) for item in record)
    if isinstance(record, dict):
        return {rename(key, names): rename(value, names) for key, value in record.items()}
    if dataclasses.is_dataclass(record) and not isinstance(record, type):
        values = {field.name: getattr(record, field.name) for field in dataclasses.fields(record) if field.init}
        kept = {"kind", "text", "label", "note", "mark", "unit", "file", "path", "title"} - (
            {"text"} if type(record).__name__ == "Name" else set()
        )
        return dataclasses.replace(
            record, **{key: value if key in kept else rename(value, names) for key, value in values.items()}
        )
    return record
