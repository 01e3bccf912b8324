"""The numbers of the format, and how a book of an older one becomes one of the next.

When the format grows so that a book of today would be read otherwise, NEWEST becomes the next number and UPGRADES
gets a row. There has been one format so far.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Final

from pegline.measures.source_tree import Table, Text

__all__ = ["NEWEST", "UPGRADES", "trouble", "upgrade"]

#: The number of the format that books are read in.
NEWEST: Final = 1
#: What turns a book of a number into one of the next. What it keeps, it keeps with its places: by them each remark
#: of the book finds what it stood beside. The number itself is rewritten for it.
UPGRADES: Final[Mapping[int, Callable[[Table], Table]]] = {}


def trouble(text: str) -> str | None:
    """Return why a book of the format with this number cannot be read, and what to do; None where it can."""
    if text == str(NEWEST):
        return None
    number = _number(text)
    if number in UPGRADES:
        return f"is an older format; run 'pegline tidy BOOK --out NEW', and go on with NEW in format {NEWEST}"
    if number is not None and number > NEWEST:
        return f"is a newer format than the {NEWEST} that this pegline reads; install a newer pegline"
    return f"is no format that is known; write {NEWEST}"


def upgrade(table: Table) -> Table:
    """Return a book brought up to the newest format, step by step; one that is of no older format as it is."""
    while "book" in table.entries:
        key, value = table.entries["book"]
        number = _number(value.value) if isinstance(value, Text) else None
        if number is None or number not in UPGRADES:
            break
        entries = UPGRADES[number](table).entries
        table = Table({**entries, "book": (key, Text(str(number + 1), value.place))}, table.place)
    return table


def _number(text: str) -> int | None:
    return int(text) if re.fullmatch("[1-9][0-9]{0,3}", text) else None
