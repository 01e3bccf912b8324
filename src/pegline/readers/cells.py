"""Functions for the cells of all kinds of tables: their extent, their texts and numbers, the sheets they make."""

from __future__ import annotations

import re
import unicodedata
from typing import Final, TypeAlias

from pegline.errors import BookError, Finding, Place, UsageError
from pegline.measures.source_tree import Text
from pegline.readers.book_tables import NAMING
from pegline.readers.zip_guard import CELLS

__all__ = [
    "CHOICES",
    "MAX_SHEET_COLUMNS",
    "MAX_SHEET_ROWS",
    "Rows",
    "beside_digits",
    "beside_format",
    "check_extent",
    "clean_text",
    "filled_part",
    "names_things",
    "number_text",
    "put_sheet",
    "what_to_write",
]


_PLAIN: Final = " \u00a0\u202f-+().,"  #: signs that change no number
_PLACEHOLDERS: Final = f"{_PLAIN}0#?/eE@!"
#: What number formats of XLSX are made of: a text, a sign, a currency or language, a condition, a gap, another sign.
_TOKEN: Final = re.compile(
    r'"(?P<text>[^"]*)"?|\\(?P<sign>.)|\[\$(?P<money>[^\]-]*)[^\]]*\]|\[[^\]]*\]|[_*].|general|(?P<other>.)',
    re.IGNORECASE | re.DOTALL,
)
_POWER: Final = re.compile(r"(?<=\d)E(?=[-+]?\d)", re.IGNORECASE)
_APOSTROPHE: Final = re.compile(r"(?<=\d)['’](?=\d)")  # parts thousands in some countries


def beside_format(number_format: str) -> str:
    r"""Return what a number format of XLSX shows beside the digits; a plain one shows nothing.

    >>> beside_format('0.00" ft"'), beside_format(r"0.0\m"), beside_format("0%"), beside_format("[$€-407] #,##0.00")
    ('ft', 'm', '%', '€')
    >>> beside_format("General"), beside_format("#,##0.00_);[Red](0.00)"), beside_format("0.00E+00")
    ('', '', '')
    """
    beside = ""
    for token in _TOKEN.finditer(number_format):
        if token["other"] == ";" and beside:
            break  # the others say the same of negative numbers
        if token["other"] is None:
            beside += (token["text"] or token["sign"] or token["money"] or "").strip(_PLAIN)
        elif token["other"] not in f"{_PLACEHOLDERS};":
            beside += token["other"]
    return beside


def beside_digits(shown: str) -> str:
    """Return what stands beside the digits of a number as it is shown.

    >>> beside_digits("164.00 ft"), beside_digits("1'234,5"), beside_digits("1.2E+05"), beside_digits("12 1/2")
    ('ft', '', '', '')
    """
    bare = _APOSTROPHE.sub("", _POWER.sub("", shown))
    return "".join(sign for sign in bare if not sign.isdigit() and sign not in f"{_PLAIN}/\u2212")


def what_to_write(value: str, beside: str) -> str:
    """Return what to tell of a number that is shown with more than its digits."""
    if "%" in beside:
        return "this is a percentage; write the value as text, a slope as 1 in 12 or as an angle"
    if any(unicodedata.category(sign) == "Sc" for sign in beside):
        return "this is a currency; write the value as text"
    return f"{beside} is shown here and is no part of the number; write both as text, such as {value} {beside}"


CHOICES: Final = "choices"  #: the sheet that holds the words of the drop-downs of a blank workbook
MAX_SHEET_ROWS: Final = 100_000  #: rows of a sheet, at most
MAX_SHEET_COLUMNS: Final = 200  #: columns of a sheet, at most
MAX_NUMBER: Final = 1e15  #: no number of a book is as large, and digits would be lost from here on

Rows: TypeAlias = list[list[Text]]


def put_sheet(sheets: dict[str, Rows], name: str, rows: Rows, file: str) -> None:
    """Add a sheet to those of a file, where none has its name yet."""
    if name in sheets:
        raise UsageError(f"{file}: a second sheet {name}; keep one of them")
    sheets[name] = rows


def check_extent(cells: int, place: Place) -> None:
    """Refuse sheets that span more cells than a book needs, before they are filled."""
    if place.line > MAX_SHEET_ROWS or place.column > MAX_SHEET_COLUMNS:
        text = f"cells stand beyond {MAX_SHEET_ROWS} rows or {MAX_SHEET_COLUMNS} columns; delete what lies out there"
        raise BookError(
            [
                Finding(
                    "far",
                    text,
                    Place(place.file, min(place.line, MAX_SHEET_ROWS), min(place.column, MAX_SHEET_COLUMNS)),
                )
            ]
        )
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
    if not abs(value) < MAX_NUMBER:
        faults.append(Finding("number", "no book has a number as large as this; write the value as booked", place))
        return ""
    text = f"{value:.15g}"
    if beside:
        faults.append(Finding("number", what_to_write(text, beside), place))
    return text
