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
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from pegline.errors import BookError, Finding, OpenError, Place, UsageError
from pegline.measures.source_tree import Text
from pegline.readers.book_tables import NAMING
from pegline.readers.cell_formats import beside_digits, beside_format, what_to_write
from pegline.readers.decoding import read_bytes, text_of_bytes
from pegline.readers.zip_guard import CELLS, check_archive

__all__ = ["OF_FILES", "cell_name", "sheets_in"]

ROWS: Final = 100_000
COLUMNS: Final = 200
LARGEST: Final = 1e15  #: no number of a book is as large, and digits would be lost from here on
#: Rules of findings that are of a whole file, and of no cell.
OF_FILES: Final = frozenset({"archive", "binary", "csv", "encoding", "ods", "xlsx"})

Rows = list[list[Text]]


def sheets_in(path: Path) -> dict[str, Rows]:
    """Return the sheets of a file, or of every CSV file of a folder, by name.

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
    return opened(read_bytes(path), str(path))


def _together(files: Iterable[Path]) -> dict[str, Rows]:
    sheets: dict[str, Rows] = {}
    for file in files:
        for name, rows in sheets_in(file).items():
            _put(sheets, name, rows, str(file))
    return sheets


def _put(sheets: dict[str, Rows], name: str, rows: Rows, file: str) -> None:
    if name in sheets:
        raise UsageError(f"{file}: a second sheet {name}; keep one of them")
    sheets[name] = rows


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


# -- what all of them share --------------------------------------------------------------------------


def _check_extent(cells: int, place: Place) -> None:
    """Refuse sheets that span more cells than a book needs, before they are filled."""
    if place.line > ROWS or place.column > COLUMNS:
        text = f"cells stand beyond {ROWS} rows or {COLUMNS} columns; delete what lies out there"
        raise BookError([Finding("far", text, Place(place.file, min(place.line, ROWS), min(place.column, COLUMNS)))])
    if cells > CELLS:
        text = f"as far as here, the tables span more than {CELLS} cells; delete what lies out there, or split the file"
        raise BookError([Finding("far", text, place)])


def _filled(cells: list[Text]) -> list[Text]:
    """Return a row as far as its last cell that is not blank."""
    while cells and not cells[-1].value:
        cells.pop()
    return cells


def _clean(text: str) -> str:
    """Return the text of a cell without the spaces that spreadsheets bring along."""
    return text.replace("\u00a0", " ").strip()


def _names_things(head: str) -> bool:
    """Return whether one cell of a column may stand for several rows."""
    return " ".join(head.split()).casefold() in NAMING


def _number(value: float, beside: str, place: Place, faults: list[Finding]) -> str:
    """Return a number as a person would write it, unless it is shown as something else."""
    if not abs(value) < LARGEST:
        faults.append(Finding("number", "no book has a number as large as this; write the value as booked", place))
        return ""
    text = f"{value:.15g}"
    if beside:
        faults.append(Finding("number", what_to_write(text, beside), place))
    return text


# -- CSV --------------------------------------------------------------------------------------------


def _csv(data: bytes, file: str) -> dict[str, Rows]:
    text = text_of_bytes(data, file).removeprefix("\ufeff")
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    rows: Rows = []
    number = cells = 0
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), 1):
            cells += len(row)
            _check_extent(cells, Place(file, number, max(len(row), 1)))
            filled = _filled([Text(_clean(cell), Place(file, number, column)) for column, cell in enumerate(row, 1)])
            if filled or number == 1:
                rows.append(filled)
    except csv.Error as error:
        place = Place(file, number + 1, 1)
        raise BookError([Finding("csv", f"this row is no CSV ({error}); check its quotes", place)]) from None
    return {Path(file).stem: rows}


# -- XLSX -------------------------------------------------------------------------------------------


def _xlsx(data: bytes, file: str) -> dict[str, Rows]:
    from openpyxl import load_workbook

    check_archive(data, file)
    try:
        book = load_workbook(io.BytesIO(data), keep_links=False, keep_vba=False, rich_text=False)
    except Exception as error:  # the library raises whatever its parts raise on a broken file
        why = re.split("[;\n]", str(error.__cause__ or error))[0]
        raise BookError(
            [Finding("xlsx", f"no workbook can be read here ({why}); save it anew", Place(file, 1, 1))]
        ) from None
    cells = 0
    for sheet in book.worksheets:
        cells += sheet.max_row * sheet.max_column
        _check_extent(cells, Place(f"{file}[{sheet.title}]", sheet.max_row, sheet.max_column))
    return {sheet.title: _xlsx_rows(sheet, f"{file}[{sheet.title}]") for sheet in book.worksheets}


def _xlsx_rows(sheet: Any, file: str) -> Rows:
    faults: list[Finding] = []
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
            cells.append(Text(_xlsx_text(standing.get((number, column), cell), place, faults), place))
        if _filled(cells) or number == 1:
            rows.append(cells)
    if faults:
        raise BookError(faults)
    return rows


def _stands_for_rows(cell: Any, sheet: Any) -> bool:
    names = _names_things(str(sheet.cell(1, cell.column).value))
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
        return _number(value, beside_format(cell.number_format), place, faults)
    return _clean(str(value))


# -- ODS --------------------------------------------------------------------------------------------

_TABLE: Final = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE: Final = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT: Final = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_ODS_SIGNS: Final = {f"{_TEXT}tab": "\t", f"{_TEXT}line-break": "\n"}


def _ods(data: bytes, file: str) -> dict[str, Rows]:
    from defusedxml.ElementTree import fromstring

    check_archive(data, file)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            root = fromstring(archive.read("content.xml"))
    except Exception as error:  # a broken archive, a broken or hostile XML
        raise BookError(
            [Finding("ods", f"no tables can be read here ({error}); save it anew", Place(file, 1, 1))]
        ) from None
    sheets: dict[str, Rows] = {}
    cells = 0
    for table in root.iter(f"{_TABLE}table"):
        name = table.get(f"{_TABLE}name", "")
        sheet = _OdsSheet(f"{file}[{name}]", cells)
        _put(sheets, name, list(_ods_rows(table, sheet)), file)
        cells = sheet.cells
        if sheet.faults:
            raise BookError(sheet.faults)
    return sheets


@dataclass(slots=True)
class _OdsSheet:
    """A sheet while it is read."""

    file: str
    cells: int  #: how many there are up to here, and in the sheets before
    heads: list[str] = field(default_factory=list)
    #: Texts that stand for several rows: the last of them and the text, by column.
    standing: dict[int, tuple[int, str]] = field(default_factory=dict)
    faults: list[Finding] = field(default_factory=list)

    def tell(self, rule: str, text: str, place: Place) -> None:
        self.faults.append(Finding(rule, text, place))


def _ods_rows(table: Any, sheet: _OdsSheet) -> Iterator[list[Text]]:
    number = 1
    for row in table.iter(f"{_TABLE}table-row"):
        begin = Place(sheet.file, number, 1)
        repeated = _ods_count(row, "number-rows-repeated", begin)
        cells = _ods_cells(row, begin, sheet)
        if number == 1:
            sheet.heads = [cell.value for cell in cells]
        if cells:
            sheet.cells += repeated * len(cells)
            _check_extent(sheet.cells, Place(sheet.file, number + repeated - 1, len(cells)))
            for offset in range(repeated):
                yield [Text(cell.value, Place(sheet.file, number + offset, cell.place.column)) for cell in cells]
        elif number == 1:
            yield cells
        number += repeated


def _ods_cells(row: Any, begin: Place, sheet: _OdsSheet) -> list[Text]:
    """Return the cells of a row as far as the last that is not blank."""
    cells: list[Text] = []
    first = 1
    for cell in row:
        if cell.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            continue
        place = Place(begin.file, begin.line, first)
        text = _ods_text(cell, place, sheet)
        _ods_merged(cell, text, place, sheet)
        after = first + _ods_count(cell, "number-columns-repeated", place)
        covered = cell.tag == f"{_TABLE}covered-table-cell"
        for column in range(first, min(after, max(first, COLUMNS) + 2)):
            last, shown = sheet.standing.get(column, (0, ""))
            shown = shown if covered and begin.line <= last else text
            if shown:
                _check_extent(0, Place(begin.file, begin.line, column))
                cells += [Text("", Place(begin.file, begin.line, blank)) for blank in range(len(cells) + 1, column)]
                cells.append(Text(shown, Place(begin.file, begin.line, column)))
        first = after
    return cells


def _ods_count(part: Any, name: str, place: Place) -> int:
    """Return how many rows or columns a part stands for."""
    written = part.get(f"{_TABLE}{name}", "1")
    if not re.fullmatch(r"0*[1-9][0-9]{0,8}", written):
        text = f"{name} is {written[:20]!r}, which is no count; save the file anew with a spreadsheet program"
        raise BookError([Finding("cell", text, place)])
    return int(written)


def _ods_merged(cell: Any, text: str, place: Place, sheet: _OdsSheet) -> None:
    """Keep a text that stands for several rows of its column; refuse other merged cells."""
    columns, rows = (_ods_count(cell, f"number-{way}-spanned", place) for way in ("columns", "rows"))
    if (columns, rows) == (1, 1):
        return
    head = sheet.heads[place.column - 1] if place.column <= len(sheet.heads) else ""
    if columns == 1 and place.line > 1 and (not text or _names_things(head)):
        sheet.standing[place.column] = (place.line + rows - 1, text)
        return
    sheet.tell("merged", "merged cells begin here; take them apart and write the value in each", place)


def _ods_text(cell: Any, place: Place, sheet: _OdsSheet) -> str:
    if cell.get(f"{_TABLE}formula"):
        sheet.tell("formula", "this is a formula; write the value itself", place)
    kind = cell.get(f"{_OFFICE}value-type")
    # Its own paragraphs only: a remark that hangs on the cell has paragraphs too.
    shown = _clean("\n".join(_ods_written(part) for part in cell.findall(f"{_TEXT}p")))
    if kind == "float":
        return _ods_number(cell.get(f"{_OFFICE}value", ""), shown, place, sheet)
    if kind == "date" and re.fullmatch(r"\d{4}-\d{2}-\d{2}", cell.get(f"{_OFFICE}date-value", "")):
        return str(cell.get(f"{_OFFICE}date-value"))
    if kind == "boolean":
        return str(cell.get(f"{_OFFICE}boolean-value"))
    if kind == "percentage":
        sheet.tell("cell", what_to_write(shown, "%"), place)
    elif kind not in (None, "string"):
        sheet.tell("cell", f"this is a {kind}; write the value as text", place)
    return _clean(cell.get(f"{_OFFICE}string-value") or shown)


def _ods_number(written: str, shown: str, place: Place, sheet: _OdsSheet) -> str:
    try:
        value = float(written)
    except ValueError:
        sheet.tell("cell", f"{written[:20]!r} is kept here as a number, and is none; write the value anew", place)
        return ""
    return _number(value, beside_digits(shown), place, sheet.faults)


def _ods_written(part: Any) -> str:
    """Return the text of a paragraph, with the spaces, tabs and line breaks that are elements in it."""
    text = _collapsed(part.text)
    for inner in part:
        if inner.tag == f"{_TEXT}s":
            count = inner.get(f"{_TEXT}c", "1")
            text += " " * (int(count) if re.fullmatch("[0-9]{1,3}", count) else 1)
        elif inner.tag in _ODS_SIGNS:
            text += _ODS_SIGNS[inner.tag]
        elif inner.tag != f"{_OFFICE}annotation":
            text += _ods_written(inner)
        text += _collapsed(inner.tail)
    return text


def _collapsed(text: str | None) -> str:
    return re.sub(r"[ \t\r\n]+", " ", text or "")


_OPENED: Final[Mapping[str, Callable[[bytes, str], dict[str, Rows]]]] = {".csv": _csv, ".xlsx": _xlsx, ".ods": _ods}
