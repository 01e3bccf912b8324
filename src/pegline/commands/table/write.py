"""Tables as files: a folder of CSV, or a workbook."""

from __future__ import annotations

import csv
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from pegline.writers.publish import held, placed
from pegline.writers.write_faults import told

__all__ = ["WRITTEN", "csv_files"]

Tables = Mapping[str, Sequence[Sequence[str]]]


def csv_files(tables: Tables, folder: Path, stale: Iterable[Path]) -> None:
    """Write each table as a CSV file of its name, and take the stale ones of another book away.

    Spreadsheets know by the mark at its start that a file is UTF-8.
    """
    with held(folder):
        for name, rows in tables.items():
            with (
                placed(folder / f"{name}.csv") as path,
                path.open("w", encoding="utf-8-sig", newline="") as file,
            ):
                csv.writer(file).writerows(rows)
        for path in stale:
            with told(path):
                path.unlink(missing_ok=True)


def _xlsx(tables: Tables, path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        for row in rows:
            sheet.append(list(row))
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
        SubElement(cell, _tag("text", "p")).text = text


#: How a file is written, by the end of its name.
WRITTEN: Final[Mapping[str, Callable[[Tables, Path], None]]] = {".xlsx": _xlsx, ".ods": _ods}
