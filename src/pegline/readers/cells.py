"""Functions for the cells of all kinds of tables: their extent, their texts and numbers, the sheets they make."""

from __future__ import annotations

from typing import Final, TypeAlias

from pegline.errors import BookError, Finding, Place, UsageError
from pegline.measures.source_tree import Text
from pegline.readers.book_tables import NAMING
from pegline.readers.cell_formats import what_to_write
from pegline.readers.zip_guard import CELLS

__all__ = [
    "CHOICES",
    "COLUMNS",
    "ROWS",
    "Rows",
    "check_extent",
    "clean_text",
    "filled_part",
    "names_things",
    "number_text",
    "put_sheet",
]

CHOICES: Final = "choices"  #: the sheet that holds the words of the drop-downs of a blank workbook
ROWS: Final = 100_000  #: rows of a sheet, at most
COLUMNS: Final = 200  #: columns of a sheet, at most
LARGEST: Final = 1e15  #: no number of a book is as large, and digits would be lost from here on

Rows: TypeAlias = list[list[Text]]


def put_sheet(sheets: dict[str, Rows], name: str, rows: Rows, file: str) -> None:
    """Add a sheet to those of a file, where none has its name yet."""
    if name in sheets:
        raise UsageError(f"{file}: a second sheet {name}; keep one of them")
    sheets[name] = rows


def check_extent(cells: int, place: Place) -> None:
    """Refuse sheets that span more cells than a book needs, before they are filled."""
    if place.line > ROWS or place.column > COLUMNS:
        text = f"cells stand beyond {ROWS} rows or {COLUMNS} columns; delete what lies out there"
        raise BookError([Finding("far", text, Place(place.file, min(place.line, ROWS), min(place.column, COLUMNS)))])
    if cells > CELLS:
        text = f"as far as here, the tables span more than {CELLS} cells; delete what lies out there, or split the file"
        raise BookError([Finding("far", text, place)])


def filled_part(cells: list[Text]) -> list[Text]:
    """Return a row as far as its last cell that is not blank."""
    while cells and not cells[-1].value:
        cells.pop()
    return cells


def clean_text(text: str) -> str:
    """Return the text of a cell without the spaces that spreadsheets bring along."""
    return text.replace("\u00a0", " ").strip()


def names_things(head: str) -> bool:
    """Return whether one cell of a column may stand for several rows."""
    return " ".join(head.split()).casefold() in NAMING


def number_text(value: float, beside: str, place: Place, faults: list[Finding]) -> str:
    """Return a number as a person would write it, unless it is shown as something else."""
    if not abs(value) < LARGEST:
        faults.append(Finding("number", "no book has a number as large as this; write the value as booked", place))
        return ""
    text = f"{value:.15g}"
    if beside:
        faults.append(Finding("number", what_to_write(text, beside), place))
    return text
