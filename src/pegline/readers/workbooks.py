"""Files of spreadsheets become sheets of cells: CSV, XLSX and ODS, each cell with its row and column.

A cell that only a spreadsheet understands (a formula, a time of day) is refused by name, and so are merged cells,
but for a text in one column that stands for several rows below the head, as the name of a line does on paper.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from pegline.errors import BookError, Finding, OpenError, Place
from pegline.measures.written import Text
from pegline.readers.text import read_bytes, text_of_bytes

__all__ = ["OF_FILES", "cell_name", "sheets_in"]

UNZIPPED: Final = 50_000_000  #: bytes that an archive may grow to
RATIO: Final = 100  #: times that it may grow
ROWS: Final = 100_000
COLUMNS: Final = 200
#: Rules of findings that are of a whole file, and of no cell.
OF_FILES: Final = frozenset({"archive", "binary", "csv", "encoding", "ods", "xlsx"})

#: A reading does not stand for several rows, even where it is a text.
_NUMBER: Final = re.compile(r"[-+~]?\d+(?:[.,]\d*)?")

Rows = list[list[Text]]


def sheets_in(path: Path) -> dict[str, Rows]:
    """Return the sheets of a file, or of every CSV file of a folder, by name.

    Raises
    ------
    OpenError
        The file cannot be opened, or is of another kind.
    BookError
        A cell cannot be read as it stands.
    """
    if path.is_dir():
        return {name: rows for file in sorted(path.glob("*.csv")) for name, rows in sheets_in(file).items()}
    opened = _OPENED.get(path.suffix.lower())
    if opened is None:
        raise OpenError(f"{path}: no table by its name; give {', '.join(_OPENED)} files, or a folder of CSV files")
    return opened(read_bytes(path), str(path))


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


def _csv(data: bytes, file: str) -> dict[str, Rows]:
    text = text_of_bytes(data, file).removeprefix("\ufeff")
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    rows: Rows = []
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), 1):
            rows.append([Text(_clean(cell), Place(file, number, column)) for column, cell in enumerate(row, 1)])
    except csv.Error as error:
        place = Place(file, len(rows) + 1, 1)
        raise BookError([Finding("csv", f"this row is no CSV ({error}); check its quotes", place)]) from None
    return {Path(file).stem: [row for number, row in enumerate(rows) if row or number == 0]}


def _clean(text: str) -> str:
    """Return the text of a cell without the spaces that spreadsheets bring along."""
    return text.replace("\u00a0", " ").strip()


# -- XLSX -------------------------------------------------------------------------------------------


def _xlsx(data: bytes, file: str) -> dict[str, Rows]:
    from openpyxl import load_workbook

    _check_archive(data, file)
    try:
        book = load_workbook(io.BytesIO(data), keep_links=False, keep_vba=False, rich_text=False)
    except Exception as error:  # the library raises whatever its parts raise on a broken file
        raise BookError(
            [Finding("xlsx", f"no workbook can be read here ({error}); save it anew", Place(file, 1, 1))]
        ) from None
    return {sheet.title: _xlsx_rows(sheet, f"{file}[{sheet.title}]") for sheet in book.worksheets}


def _xlsx_rows(sheet: Any, file: str) -> Rows:
    faults = []
    if sheet.max_row > ROWS or sheet.max_column > COLUMNS:
        text = f"cells stand beyond {ROWS} rows or {COLUMNS} columns; delete what lies out there"
        raise BookError([Finding("far", text, Place(file, min(sheet.max_row, ROWS), min(sheet.max_column, COLUMNS)))])
    standing: dict[tuple[int, int], Any] = {}  # the cell that a merged one shows
    for merged in sheet.merged_cells.ranges:
        first = sheet.cell(merged.min_row, merged.min_col)
        if merged.min_col == merged.max_col and merged.min_row > 1 and _stands_for_rows(first):
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
        rows.append(cells)
    if faults:
        raise BookError(faults)
    return rows


def _stands_for_rows(cell: Any) -> bool:
    return cell.value is None or (cell.data_type == "s" and not _NUMBER.fullmatch(_clean(cell.value)))


def _xlsx_text(cell: Any, place: Place, faults: list[Finding]) -> str:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type in "fe":
        what = "a formula" if cell.data_type == "f" else f"the error {value}"
        faults.append(Finding("formula", f"{what} stands here; write the value itself", place))
        return ""
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return str(value.date())
    if isinstance(value, datetime.datetime | datetime.time | datetime.timedelta):
        faults.append(Finding("time", f"a time ({value}) stands here; write the value as text", place))
        return ""
    return _plain(value)


def _plain(value: Any) -> str:
    """Return a number as a person would write it, and a text without stray spaces."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:.15g}"
    return _clean(str(value))


def _check_archive(data: bytes, file: str) -> None:
    """Refuse an archive that would grow out of bounds, before anything is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            size = sum(part.file_size for part in archive.infolist())
    except zipfile.BadZipFile:
        raise BookError([Finding("archive", "this is no workbook; save it anew", Place(file, 1, 1))]) from None
    if size > UNZIPPED or size > RATIO * max(len(data), 1):
        text = f"unpacked it would be {size} bytes, more than a book's tables can have; split it"
        raise BookError([Finding("archive", text, Place(file, 1, 1))])


# -- ODS --------------------------------------------------------------------------------------------

_TABLE: Final = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE: Final = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT: Final = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


def _ods(data: bytes, file: str) -> dict[str, Rows]:
    from defusedxml.ElementTree import fromstring

    _check_archive(data, file)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            root = fromstring(archive.read("content.xml"))
    except Exception as error:  # a broken archive, a broken or hostile XML
        raise BookError(
            [Finding("ods", f"no tables can be read here ({error}); save it anew", Place(file, 1, 1))]
        ) from None
    sheets = {}
    for table in root.iter(f"{_TABLE}table"):
        name = table.get(f"{_TABLE}name", "")
        faults: list[Finding] = []
        sheets[name] = list(_ods_rows(table, f"{file}[{name}]", faults))
        if faults:
            raise BookError(faults)
    return sheets


#: Texts that stand for several rows: the last of them and the text, by column.
_Standing = dict[int, tuple[int, str]]


def _ods_rows(table: Any, file: str, faults: list[Finding]) -> Iterator[list[Text]]:
    number = 1
    standing: _Standing = {}
    for row in table.iter(f"{_TABLE}table-row"):
        repeated = int(row.get(f"{_TABLE}number-rows-repeated", "1"))
        cells = _ods_cells(row, Place(file, number, 1), standing, faults)
        if any(cell.value for cell in cells) and number + repeated > ROWS:
            text = f"cells stand beyond {ROWS} rows; delete what lies out there"
            raise BookError([Finding("far", text, Place(file, number, 1))])
        if any(cell.value for cell in cells):
            for offset in range(repeated):
                yield [Text(cell.value, Place(file, number + offset, cell.place.column)) for cell in cells]
        elif number == 1:
            yield cells
        number += repeated


def _ods_cells(row: Any, begin: Place, standing: _Standing, faults: list[Finding]) -> list[Text]:
    cells: list[Text] = []
    file, number = begin.file, begin.line
    for cell in row:
        if cell.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            continue
        place = Place(file, number, len(cells) + 1)
        text = _ods_text(cell, place, faults)
        _ods_merged(cell, text, place, standing, faults)
        repeated = int(cell.get(f"{_TABLE}number-columns-repeated", "1"))
        covered = cell.tag == f"{_TABLE}covered-table-cell"
        if not text and not covered:
            repeated = min(repeated, COLUMNS)
        if len(cells) + repeated > 2 * COLUMNS:
            raise BookError([Finding("far", f"cells stand beyond {COLUMNS} columns; delete them", place)])
        for column in range(place.column, place.column + repeated):
            last, shown = standing.get(column, (0, ""))
            cells.append(Text(shown if covered and number <= last else text, Place(file, number, column)))
    return cells


def _ods_merged(cell: Any, text: str, place: Place, standing: _Standing, faults: list[Finding]) -> None:
    """Keep a text that stands for several rows of its column; refuse other merged cells."""
    columns, rows = (int(cell.get(f"{_TABLE}number-{way}-spanned", "1")) for way in ("columns", "rows"))
    if (columns, rows) == (1, 1):
        return
    typed = cell.get(f"{_OFFICE}value-type") not in (None, "string")
    if columns == 1 and place.line > 1 and not typed and not _NUMBER.fullmatch(text):
        standing[place.column] = (place.line + rows - 1, text)
        return
    faults.append(Finding("merged", "merged cells begin here; take them apart and write the value in each", place))


def _ods_text(cell: Any, place: Place, faults: list[Finding]) -> str:
    if cell.get(f"{_TABLE}formula"):
        faults.append(Finding("formula", "a formula stands here; write the value itself", place))
    kind = cell.get(f"{_OFFICE}value-type")
    if kind == "float":
        return _plain(float(cell.get(f"{_OFFICE}value", "nan")))
    if kind == "date" and re.fullmatch(r"\d{4}-\d{2}-\d{2}", cell.get(f"{_OFFICE}date-value", "")):
        return str(cell.get(f"{_OFFICE}date-value"))
    if kind == "boolean":
        return str(cell.get(f"{_OFFICE}boolean-value"))
    if kind not in (None, "string"):
        faults.append(Finding("cell", f"a {kind} stands here; write the value as text", place))
    return _clean("\n".join("".join(part.itertext()) for part in cell.iter(f"{_TEXT}p")))


_OPENED: Final[Mapping[str, Callable[[bytes, str], dict[str, Rows]]]] = {".csv": _csv, ".xlsx": _xlsx, ".ods": _ods}
