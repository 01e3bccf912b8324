"""The cells of tables that spreadsheets open: what stands in them stays what it is."""

from __future__ import annotations

from typing import Final

__all__ = ["text_cell"]

#: A spreadsheet takes a cell that begins with one of these for a formula.
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


def text_cell(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    >>> text_cell("=1+1"), text_cell("A-B")
    ("'=1+1", 'A-B')
    """
    return f"'{text}" if text.startswith(FORMULA) else text
