"""Tables as files: a folder of CSV, or a workbook."""

from __future__ import annotations

import csv
import re
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from pegline.readers.cells import CHOICES
from pegline.writers.publish import hold_folder, write_aside
from pegline.writers.write_faults import faults_as_output_errors

__all__ = ["WRITTEN", "blank_xlsx", "csv_files"]

TEXT_FORMAT: Final = "@"  #: cells are text: a spreadsheet would make a date of 1-2
BLANK_ROWS: Final = 200  #: rows of a blank sheet that have drop-downs
Tables = Mapping[str, Sequence[Sequence[str]]]


def csv_files(tables: Tables, folder: Path, stale: Iterable[Path]) -> None:
    """Write each table as a CSV file of its name, and take the stale ones of another book away.

    Spreadsheets know by the mark at its start that a file is UTF-8.
    """
    with hold_folder(folder):
        for name, rows in tables.items():
            with (
                write_aside(folder / f"{name}.csv") as path,
                path.open("w", encoding="utf-8-sig", newline="") as file,
            ):
                csv.writer(file).writerows(rows)
        for path in stale:
            with faults_as_output_errors(path):
                path.unlink(missing_ok=True)


def _xlsx(tables: Tables, path: Path) -> None:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        for row in rows:
            cells = [WriteOnlyCell(sheet, value=text or None) for text in row]
            for cell in cells:
                cell.number_format = TEXT_FORMAT
            sheet.append(cells)
    book.save(path)


def blank_xlsx(tables: Tables, choices: Mapping[tuple[str, str], Sequence[str]], path: Path) -> None:
    """Write a workbook to fill in: a sheet for each part of a book, drop-downs where a few words are possible.

    Parameters
    ----------
    tables
        Each with its column names, and rows that are filled in already.
    choices
        The words for a column of a sheet.
    """
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter, quote_sheetname
    from openpyxl.worksheet.datavalidation import DataValidation

    book = Workbook()
    for sheet in book.worksheets:
        book.remove(sheet)
    words = {column: tuple(options) for (_, column), options in choices.items()}
    lists = {column: number for number, column in enumerate(words, 1)}
    for name, (heads, *rows) in tables.items():
        sheet = book.create_sheet(name)
        for row in (heads, *rows):
            sheet.append([text or None for text in row])
        sheet.freeze_panes = "A2"
        for number, head in enumerate(heads, 1):
            letter = get_column_letter(number)
            sheet.column_dimensions[letter].number_format = TEXT_FORMAT
            if (name, head) in choices:
                where = get_column_letter(lists[head])
                area = f"{quote_sheetname(CHOICES)}!${where}$2:${where}${len(words[head]) + 1}"
                validation = DataValidation("list", formula1=area, allow_blank=True, showErrorMessage=False)
                validation.add(f"{letter}2:{letter}{BLANK_ROWS + 1}")
                sheet.add_data_validation(validation)
    last = book.create_sheet(CHOICES)
    for column, number in lists.items():
        for line, word in enumerate((column, *words[column]), 1):
            last.cell(line, number, word)
    book.save(path)


_SPACES: Final = {
    name: f"urn:oasis:names:tc:opendocument:xmlns:{name}:1.0" for name in ("office", "table", "text", "manifest")
}
_KIND: Final = "application/vnd.oasis.opendocument.spreadsheet"


def _tag(prefix: str, name: str) -> str:
    return f"{{{_SPACES[prefix]}}}{name}"


def _ods(tables: Tables, path: Path) -> None:
    for prefix, space in _SPACES.items():
        register_namespace(prefix, space)
    content = Element(_tag("office", "document-content"), {_tag("office", "version"): "1.3"})
    sheets = SubElement(SubElement(content, _tag("office", "body")), _tag("office", "spreadsheet"))
    for name, rows in tables.items():
        table = SubElement(sheets, _tag("table", "table"), {_tag("table", "name"): name})
        for row in rows:
            line = SubElement(table, _tag("table", "table-row"))
            for text in row:
                _ods_cell(line, text)
    manifest = Element(_tag("manifest", "manifest"), {_tag("manifest", "version"): "1.3"})
    for part, kind in (("/", _KIND), ("content.xml", "text/xml")):
        entry = {_tag("manifest", "full-path"): part, _tag("manifest", "media-type"): kind}
        SubElement(manifest, _tag("manifest", "file-entry"), entry)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", _KIND, zipfile.ZIP_STORED)  # first and stored, as the format asks
        archive.writestr("content.xml", tostring(content, encoding="UTF-8", xml_declaration=True))
        archive.writestr("META-INF/manifest.xml", tostring(manifest, encoding="UTF-8", xml_declaration=True))


def _ods_cell(line: Element, text: str) -> None:
    cell = SubElement(line, _tag("table", "table-cell"))
    if text:
        cell.set(_tag("office", "value-type"), "string")
        _ods_paragraph(SubElement(cell, _tag("text", "p")), text)


def _ods_paragraph(paragraph: Element, text: str) -> None:
    """Write a text with its runs of spaces, of which a paragraph as such keeps one."""
    first, *runs = re.split("(?<= )( +)", text)
    paragraph.text = first
    for number in range(0, len(runs), 2):
        spaces = SubElement(paragraph, _tag("text", "s"), {_tag("text", "c"): str(len(runs[number]))})
        spaces.tail = runs[number + 1]


#: How a file is written, by the end of its name.
WRITTEN: Final[Mapping[str, Callable[[Tables, Path], None]]] = {".xlsx": _xlsx, ".ods": _ods}
