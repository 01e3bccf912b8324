"""Books from, and to, the tables of spreadsheets."""

from __future__ import annotations

import argparse
import csv
import re
import zipfile
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from pegline.book.canonical_layout import book_text
from pegline.book.formats import NEWEST
from pegline.book.read import read_book
from pegline.commands.command_line import Tell
from pegline.errors import BookError, Finding, OpenError, UsageError
from pegline.measures.source_tree import Table, Text
from pegline.readers import parse_book
from pegline.readers.book_tables import TABLE_SHEETS, TableSheet, choices, columns_of, sheets_of, table_of
from pegline.readers.cells import CHOICES
from pegline.readers.file_text import read_bytes, text_of_bytes
from pegline.readers.workbooks import OF_FILES, cell_name, sheets_in
from pegline.readers.yaml import comments, parse
from pegline.writers.disk_faults import faults_as_output_errors
from pegline.writers.publish import hold_folder, write_aside

__all__ = ["WRITTEN", "arguments", "run"]


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
    from openpyxl.utils import get_column_letter

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
                sheet.add_data_validation(_drop_down(letter, get_column_letter(lists[head]), len(words[head])))
    last = book.create_sheet(CHOICES)
    for column, number in lists.items():
        for line, word in enumerate((column, *words[column]), 1):
            last.cell(line, number, word)
    book.save(path)


def _drop_down(letter: str, where: str, words: int) -> Any:
    """Return the choice for a column, from so many words in a column of the sheet of choices."""
    from openpyxl.utils import quote_sheetname
    from openpyxl.worksheet.datavalidation import DataValidation

    area = f"{quote_sheetname(CHOICES)}!${where}$2:${where}${words + 1}"
    choice = DataValidation("list", formula1=area, allow_blank=True, showErrorMessage=False)
    choice.add(f"{letter}2:{letter}{BLANK_ROWS + 1}")
    return choice


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
BOOKS = (".yaml", ".yml")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument(
        "files",
        nargs="*",
        metavar="FILE",
        help="a book; or CSV, XLSX and ODS files that make one; none: blank tables to fill in",
    )
    parser.add_argument(
        "--to", required=True, metavar="PATH", help="a folder for CSV files, a .xlsx or .ods file; or a .yaml book"
    )


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Write tables of a book, or a book of tables."""
    files, to = [Path(file) for file in args.files], Path(args.to)
    if any(file.resolve() == to.resolve() for file in files):
        raise UsageError(f"{to}: would be written over what it is made of; give another name")
    if not files:
        return _blank_tables(to, tell)
    if to.suffix.lower() in BOOKS:
        _to_book(files, to, complain)
        tell(f"{to}: a book of {len(files)} file{'s' * (len(files) != 1)}")
        return 0
    if len(files) != 1 or files[0].suffix.lower() not in BOOKS:
        raise UsageError("one book makes tables; to make a book of tables, end --to with .yaml")
    count = _to_tables(files[0], to, complain)
    tell(f"{to}: {count} tables of {files[0]}")
    return 0


def _blank_tables(to: Path, tell: Tell) -> int:
    """Write tables to fill in: every sheet with all of its columns."""
    if to.suffix.lower() in BOOKS:
        raise UsageError(f"{to}: a book is made of tables; name them, or write a blank book with: pegline new {to}")
    if to.exists():
        raise UsageError(f"{to}: exists already; give another name")
    columns = {name: columns_of(sheet) for name, sheet in TABLE_SHEETS.items()}
    blank = {name: [heads] for name, heads in columns.items()}
    head = columns["head"]
    blank["head"].append([{"book": str(NEWEST), "unit": "m"}.get(column, "") for column in head])
    if not to.suffix:
        csv_files(blank, to, ())
    elif to.suffix.lower() not in WRITTEN:
        raise UsageError(_no_such_tables(to))
    else:
        with hold_folder(to.parent), write_aside(to) as path:
            if to.suffix.lower() == ".xlsx":
                blank_xlsx(blank, choices(), path)
            else:
                WRITTEN[to.suffix.lower()](blank, path)
    tell(f"{to}: {len(columns)} tables to fill in")
    return 0


def _no_such_tables(to: Path) -> str:
    return f"{to}: no tables by that name; give a folder, or a file that ends with {' or '.join(WRITTEN)}"


def _to_tables(book: Path, to: Path, complain: Tell) -> int:
    data = read_bytes(book)
    parse_book(data, str(book))  # a wrong book is told, and makes no tables
    text = text_of_bytes(data, str(book))
    written = parse(text, str(book))
    sheets = sheets_of(written) if isinstance(written, Table) else {}
    write = WRITTEN.get(to.suffix.lower())
    if write is None and to.suffix:
        raise UsageError(_no_such_tables(to))
    if write is None:
        stale = _stale(to, sheets)
        csv_files(sheets, to, stale)
        for path in stale:
            complain(f"{path}: taken away; it was a table of another book, and would have been read with these")
    else:
        with hold_folder(to.parent), write_aside(to) as path:
            write(sheets, path)
    comment_count = len(list(comments(text)))
    if comment_count:
        complain(
            f"{book}: {comment_count} comment{'s' * (comment_count != 1)} (# …) cannot be kept in tables; keep the book"
        )
    return len(sheets)


def _stale(folder: Path, sheets: Collection[str]) -> list[Path]:
    """Return the tables in a folder that a book does not have, by their names and by what their columns are."""
    files = sorted(folder.iterdir()) if folder.is_dir() else []
    names = {f"{name}.csv": sheet for name, sheet in TABLE_SHEETS.items() if name not in sheets}
    return [file for file in files if file.is_file() and _is_table(file, names.get(file.name.lower()))]


def _is_table(file: Path, sheet: TableSheet | None) -> bool:
    if sheet is None:
        return False
    try:
        (rows,) = sheets_in(file).values()
    except (BookError, OpenError):  # somebody's own, which is left alone
        return False
    heads = {cell.value for cell in rows[0]} if rows else set()
    return bool(heads) and heads <= set(columns_of(sheet))


def _to_book(files: Sequence[Path], to: Path, complain: Tell) -> None:
    try:
        table = table_of(_sheets(files, lambda finding: complain(str(_by_cell(finding)))))
        read_book(table, file=to.name, path=str(to), sha256="")
    except BookError as error:
        raise BookError(map(_by_cell, error.findings)) from None
    with hold_folder(to.parent), write_aside(to) as path:
        path.write_text(book_text(table), encoding="utf-8", newline="\n")


def _sheets(files: Sequence[Path], tell: Callable[[Finding], None]) -> dict[str, list[list[Text]]]:
    """Return the sheets of all files by their names in the format."""
    sheets: dict[str, list[list[Text]]] = {}
    for file in files:
        for name, rows in sheets_in(file, tell).items():
            sheet_name = next((sheet for sheet in TABLE_SHEETS if sheet == name.strip().casefold()), name)
            if sheet_name in sheets:
                raise UsageError(f"{file}: a second sheet {sheet_name}; keep one of them")
            sheets[sheet_name] = rows
    if not sheets:
        raise OpenError(f"{files[0]}: no tables here; give CSV, XLSX or ODS files with sheets such as head and lines")
    return sheets


def _by_cell(finding: Finding) -> Finding:
    """Return a finding that names its cell too."""
    if finding.place is None or finding.rule in OF_FILES:
        return finding
    return replace(finding, text=f"cell {cell_name(finding.place)}: {finding.text}")
