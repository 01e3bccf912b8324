"""Files of spreadsheets become sheets of cells: CSV, XLSX and ODS, each cell with its row and column.

A cell that only a spreadsheet understands (a formula, a time of day, a number whose unit is only shown) is refused by
name, and so are merged cells, but for one below the head in a column that names things, as the name of a line does on
paper for several rows.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from pegline.errors import BookError, Finding, OpenError, Place
from pegline.measures.source_tree import Text
from pegline.readers.cell_marks import CellMarks, Tell, hidden_sheet_finding, with_marks
from pegline.readers.cells import (
    CHOICES,
    Rows,
    beside_format,
    check_extent,
    clean_text,
    filled_part,
    names_things,
    number_text,
    put_sheet,
)
from pegline.readers.file_text import read_bytes, text_of_bytes
from pegline.readers.open_document import read_ods
from pegline.readers.zip_guard import check_archive

__all__ = ["CHOICES", "OF_FILES", "cell_name", "sheets_in"]

#: Rules of findings that are of a whole file, and of no cell.
OF_FILES: Final = frozenset({"archive", "binary", "csv", "encoding", "ods", "xlsx"})


def sheets_in(path: Path, tell: Tell = lambda finding: None) -> dict[str, Rows]:
    """Return the sheets of a file, or of every CSV file of a folder, by name.

    Parameters
    ----------
    tell
        Takes what is read and may not be meant so: hidden rows and sheets, comments and struck text without a place.

    Raises
    ------
    OpenError
        The file cannot be opened, or is of another kind.
    BookError
        A cell cannot be read as it stands.
    UsageError
        Two sheets go by one name.
    """
    if path.is_dir():
        return _together(file for file in sorted(path.iterdir()) if file.suffix.lower() == ".csv")
    opened = _OPENED.get(path.suffix.lower())
    if opened is None:
        raise OpenError(f"{path}: no table by its name; give {', '.join(_OPENED)} files, or a folder of CSV files")
    return opened(read_bytes(path), str(path), tell)


def _together(files: Iterable[Path]) -> dict[str, Rows]:
    sheets: dict[str, Rows] = {}
    for file in files:
        for name, rows in sheets_in(file).items():
            put_sheet(sheets, name, rows, str(file))
    return sheets


def cell_name(place: Place) -> str:
    """Return a cell's name as spreadsheets show it.

    >>> cell_name(Place("b.xlsx", 12, 28))
    'AB12'
    """
    letters, column = "", place.column
    while column > 0:
        column, letter = divmod(column - 1, 26)
        letters = chr(65 + letter) + letters
    return f"{letters}{place.line}"


# -- CSV --------------------------------------------------------------------------------------------


def _csv(data: bytes, file: str, tell: Tell) -> dict[str, Rows]:
    text = text_of_bytes(data, file).removeprefix("\ufeff")
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    rows: Rows = []
    number = cells = 0
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), 1):
            cells += len(row)
            check_extent(cells, Place(file, number, max(len(row), 1)))
            filled = filled_part(
                [Text(clean_text(cell), Place(file, number, column)) for column, cell in enumerate(row, 1)]
            )
            if filled or number == 1:
                rows.append(filled)
    except csv.Error as error:
        place = Place(file, number + 1, 1)
        raise BookError([Finding("csv", f"this row is no CSV ({error}); check its quotes", place)]) from None
    return {Path(file).stem: rows}


# -- XLSX -------------------------------------------------------------------------------------------


def _xlsx(data: bytes, file: str, tell: Tell) -> dict[str, Rows]:
    from openpyxl import load_workbook

    check_archive(data, file)
    try:
        book = load_workbook(io.BytesIO(data), keep_links=False, rich_text=True)
    except Exception as error:  # the library raises whatever its parts raise on a broken file
        why = re.split("[;\n]", str(error.__cause__ or error))[0]
        raise BookError(
            [Finding("xlsx", f"no workbook can be read here ({why}); save it anew", Place(file, 1, 1))]
        ) from None
    cells = 0
    for sheet in book.worksheets:
        cells += sheet.max_row * sheet.max_column
        check_extent(cells, Place(f"{file}[{sheet.title}]", sheet.max_row, sheet.max_column))
    return {
        sheet.title: _xlsx_rows(sheet, f"{file}[{sheet.title}]", tell)
        for sheet in book.worksheets
        if sheet.title != CHOICES
    }


def _xlsx_rows(sheet: Any, file: str, tell: Tell) -> Rows:
    faults: list[Finding] = []
    marks = CellMarks(hidden=[number for number, each in sheet.row_dimensions.items() if each.hidden])
    standing: dict[tuple[int, int], Any] = {}  # the cell that a merged one shows
    for merged in sheet.merged_cells.ranges:
        first = sheet.cell(merged.min_row, merged.min_col)
        if merged.min_col == merged.max_col and merged.min_row > 1 and _stands_for_rows(first, sheet):
            standing |= {(row, merged.min_col): first for row in range(merged.min_row, merged.max_row + 1)}
        else:
            text = f"{merged.coord} are merged; take them apart and write the value in each"
            faults.append(Finding("merged", text, Place(file, merged.min_row, merged.min_col)))
    rows: Rows = []
    for number, row in enumerate(sheet.iter_rows(), 1):
        cells = []
        for column, cell in enumerate(row, 1):
            place = Place(file, number, column)
            shown = standing.get((number, column), cell)
            cells.append(Text(_xlsx_text(_unstruck(shown, (number, column), marks), place, faults), place))
            if cell.comment and cell.comment.text.strip():
                author, said = f"{cell.comment.author}:", " ".join(cell.comment.text.split())
                marks.comments[number, column] = said.removeprefix(author).strip()
        if filled_part(cells) or number == 1:
            rows.append(cells)
    if faults:
        raise BookError(faults)
    if sheet.sheet_state != "visible" and any(cell.value for row in rows for cell in row):
        tell(hidden_sheet_finding(file))
    return with_marks(rows, marks, sheet.title, file, tell)


def _unstruck(cell: Any, spot: tuple[int, int], marks: CellMarks) -> Any:
    """Return a cell, or the part of its text that is not struck through; what is struck is kept among the marks."""
    if cell.font.strike and cell.value is not None:
        marks.struck[spot] = clean_text(str(cell.value))
        return _Plain(None)
    parts = cell.value if isinstance(cell.value, list) else []  # text whose parts look different
    struck = [part for part in parts if getattr(getattr(part, "font", None), "strike", False)]
    if not struck:
        return cell
    marks.struck[spot] = clean_text("".join(map(str, struck)))
    return _Plain(clean_text("".join(str(part) for part in parts if not any(part is each for each in struck))) or None)


class _Plain(NamedTuple):
    """A cell of which only a text is left."""

    value: str | None
    data_type: str = "s"
    number_format: str = "General"


def _stands_for_rows(cell: Any, sheet: Any) -> bool:
    names = names_things(str(sheet.cell(1, cell.column).value))
    return cell.value is None or (names and cell.data_type not in "fe")


def _xlsx_text(cell: Any, place: Place, faults: list[Finding]) -> str:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type in "fe":
        what = "a formula" if cell.data_type == "f" else f"the error {value}"
        faults.append(Finding("formula", f"{what} is in this cell; write the value itself", place))
        return ""
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return str(value.date())
    if isinstance(value, datetime.datetime | datetime.time | datetime.timedelta):
        faults.append(Finding("time", f"this is a time ({value}); write the value as text", place))
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return number_text(value, beside_format(cell.number_format), place, faults)
    return clean_text(str(value))


_OPENED: Final[Mapping[str, Callable[[bytes, str, Tell], dict[str, Rows]]]] = {
    ".csv": _csv,
    ".xlsx": _xlsx,
    ".ods": read_ods,
}
