"""Rows into a table of SQLite, many with one statement."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from sqlite3 import Connection

__all__ = ["insert_rows"]

#: Values that one statement of every SQLite takes (``SQLITE_MAX_VARIABLE_NUMBER`` before its version 3.32).
MAX_VALUES: Final = 999


def insert_rows(database: Connection, table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows, as many at a time as one statement takes.

    SQLite begins and ends each statement, and writes down the number of a layer's last row with each, which took as
    long as the rows themselves.
    """
    names, marks = ", ".join(f'"{name}"' for name in columns), f"({', '.join('?' * len(columns))})"
    left, at_once = iter(rows), max(1, MAX_VALUES // len(columns))
    while part := list(islice(left, at_once)):
        statement = f'INSERT INTO "{table}" ({names}) VALUES {", ".join([marks] * len(part))}'
        database.execute(statement, list(chain.from_iterable(part)))
