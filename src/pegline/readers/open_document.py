"""OpenDocument spreadsheets become sheets of cells, each with its row and column."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from pegline.errors import BookError, Finding, Place
from pegline.measures.source_tree import Text
from pegline.readers.cell_marks import CellMarks, Tell, hidden_sheet_finding, with_marks
from pegline.readers.cells import (
    CHOICES,
    MAX_SHEET_ROWS,
    Rows,
    beside_digits,
    check_extent,
    clean_text,
    names_things,
    number_text,
    put_sheet,
    what_to_write,
)
from pegline.readers.zip_guard import check_archive

__all__ = ["read_ods"]

_TABLE: Final = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE: Final = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT: Final = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE: Final = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_ODS_SIGNS: Final = {f"{_TEXT}tab": "\t", f"{_TEXT}line-break": "\n"}


def read_ods(data: bytes, file: str, tell: Tell) -> dict[str, Rows]:
    """Return the sheets of an ODS file by name.

    Raises
    ------
    BookError
        The file or a cell cannot be read as it is.
    """
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
    struck, hidden = _ods_styles(root)
    for table in root.iter(f"{_TABLE}table"):
        name = table.get(f"{_TABLE}name", "")
        if name == CHOICES:
            continue
        sheet = _OdsSheet(f"{file}[{name}]", cells, struck)
        rows = list(_ods_rows(table, sheet))
        if table.get(f"{_TABLE}style-name") in hidden and any(cell.value for row in rows for cell in row):
            tell(hidden_sheet_finding(sheet.file))
        put_sheet(sheets, name, with_marks(rows, sheet.marks, name, sheet.file, tell), file)
        cells = sheet.cells
        if sheet.faults:
            raise BookError(sheet.faults)
    return sheets


def _ods_styles(root: Any) -> tuple[frozenset[str], frozenset[str]]:
    """Return the names of the styles that strike text through, and of those that hide a sheet."""
    struck, hidden = set(), set()
    for style in root.iter(f"{_STYLE}style"):
        name = style.get(f"{_STYLE}name", "")
        for part in style.iter(f"{_STYLE}text-properties"):
            line = (part.get(f"{_STYLE}text-line-through-{way}") for way in ("style", "type"))
            if any(each not in (None, "none") for each in line):
                struck.add(name)
        if any(part.get(f"{_TABLE}display") == "false" for part in style.iter(f"{_STYLE}table-properties")):
            hidden.add(name)
    return frozenset(struck), frozenset(hidden)


@dataclass(slots=True)
class _OdsSheet:
    """A sheet while it is read."""

    file: str
    cells: int  #: how many there are up to here, and in the sheets before
    struck: frozenset[str] = frozenset()  #: names of the styles that strike text through
    marks: CellMarks = field(default_factory=CellMarks)
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
        if row.get(f"{_TABLE}visibility") in ("collapse", "filter"):
            sheet.marks.hidden += range(number, number + min(repeated, MAX_SHEET_ROWS))
        if number == 1:
            sheet.heads = [cell.value for cell in cells]
        if cells:
            sheet.cells += repeated * len(cells)
            check_extent(sheet.cells, Place(sheet.file, number + repeated - 1, len(cells)))
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
        covered = cell.tag == f"{_TABLE}covered-table-cell"
        if not covered and cell.tag != f"{_TABLE}table-cell":
            continue
        place = Place(begin.file, begin.line, first)
        text = _ods_text(cell, place, sheet)
        _note_merged_cells(cell, text, place, sheet)
        after = first + _ods_count(cell, "number-columns-repeated", place)
        above = {each: shown for each, (last, shown) in sheet.standing.items() if covered and begin.line <= last}
        for column in range(first, after) if text else sorted(each for each in above if first <= each < after):
            if shown := above.get(column, text):
                check_extent(sheet.cells, Place(begin.file, begin.line, column))
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


def _note_merged_cells(cell: Any, text: str, place: Place, sheet: _OdsSheet) -> None:
    """Keep a text that stands for several rows of its column; refuse other merged cells."""
    columns, rows = (_ods_count(cell, f"number-{way}-spanned", place) for way in ("columns", "rows"))
    if (columns, rows) == (1, 1):
        return
    head = sheet.heads[place.column - 1] if place.column <= len(sheet.heads) else ""
    if columns == 1 and place.line > 1 and (not text or names_things(head)):
        sheet.standing[place.column] = (place.line + rows - 1, text)
        return
    sheet.tell("merged", "merged cells begin here; take them apart and write the value in each", place)


def _ods_text(cell: Any, place: Place, sheet: _OdsSheet) -> str:
    if cell.get(f"{_TABLE}formula"):
        sheet.tell("formula", "this is a formula; write the value itself", place)
    kind = cell.get(f"{_OFFICE}value-type")
    # Its own paragraphs only: a remark that hangs on the cell has paragraphs too.
    shown = clean_text("\n".join(_ods_written(part) for part in cell.findall(f"{_TEXT}p")))
    remark = " ".join("".join(part.itertext()) for part in cell.iterfind(f"{_OFFICE}annotation/{_TEXT}p")).strip()
    if remark:
        sheet.marks.comments[place.line, place.column] = remark
    spans = [span for span in cell.iter(f"{_TEXT}span") if span.get(f"{_TEXT}style-name") in sheet.struck]
    if shown and cell.get(f"{_TABLE}style-name") in sheet.struck:
        sheet.marks.struck[place.line, place.column] = shown
        return ""
    if spans:
        sheet.marks.struck[place.line, place.column] = clean_text("".join("".join(span.itertext()) for span in spans))
        for span in spans:
            tail = span.tail
            span.clear()
            span.tail = tail
        return clean_text("\n".join(_ods_written(part) for part in cell.findall(f"{_TEXT}p")))
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
    return clean_text(cell.get(f"{_OFFICE}string-value") or shown)


def _ods_number(written: str, shown: str, place: Place, sheet: _OdsSheet) -> str:
    try:
        value = float(written)
    except ValueError:
        sheet.tell("cell", f"{written[:20]!r} is kept here as a number, and is none; write the value anew", place)
        return ""
    return number_text(value, beside_digits(shown), place, sheet.faults)


def _ods_written(part: Any) -> str:
    """Return the text of a paragraph, with the spaces, tabs and line breaks that are elements in it."""
    text = _collapse_spaces(part.text)
    for inner in part:
        if inner.tag == f"{_TEXT}s":
            count = inner.get(f"{_TEXT}c", "1")
            text += " " * (int(count) if re.fullmatch("[0-9]{1,3}", count) else 1)
        elif inner.tag in _ODS_SIGNS:
            text += _ODS_SIGNS[inner.tag]
        elif inner.tag != f"{_OFFICE}annotation":
            text += _ods_written(inner)
        text += _collapse_spaces(inner.tail)
    return text


def _collapse_spaces(text: str | None) -> str:
    return re.sub(r"[ \t\r\n]+", " ", text or "")
