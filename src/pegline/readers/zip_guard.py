"""Archives of spreadsheets are looked through before anything in them is kept: a small one may ask for very much."""

from __future__ import annotations

import io
import posixpath
import zipfile
import zlib
from collections.abc import Mapping
from math import inf
from typing import Final
from xml.etree.ElementTree import ParseError

from pegline.errors import BookError, Finding, Place

__all__ = ["CELLS", "check_archive"]

CELLS: Final = 500_000  #: cells that a file's tables may span
UNZIPPED: Final = 50_000_000  #: bytes that an archive may grow to
RATIO: Final = 100  #: times that it may grow
#: What the elements of cells weigh, about as long as each takes to be read, and what any other does.
ELEMENT_WEIGHTS: Final = {
    **dict.fromkeys(("row", "c", "table-row", "table-cell", "covered-table-cell"), 6),
    **dict.fromkeys(("v", "is", "t"), 1),
    **dict.fromkeys(("si", "p"), 4),
}
OTHER: Final = 60
HEAVIEST: Final = 12 * CELLS  #: what all its parts may weigh: each cell with a text of its own
RANGED: Final = 50_000  #: cells that its merged and linked ranges may span
MAX_XML_DEPTH: Final = 200  #: elements inside each other
#: Elements of XLSX whose range is filled with cells when it is read.
_FILLED: Final = ("}mergeCell", "}hyperlink")
_RELATION: Final = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def check_archive(data: bytes, file: str) -> None:
    """Refuse an archive that would grow out of bounds, in bytes, in elements or in the cells that its ranges span.

    Raises
    ------
    BookError
        It is no archive, or too much for a book's tables.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_size(archive, len(data), file)
            look = _Look(file)
            for part in archive.namelist():
                _look_through(archive, part, look)
            _check_ranges(archive, look)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, UnicodeDecodeError, zlib.error):
        raise BookError([Finding("archive", "this is no workbook; save it anew", Place(file, 1, 1))]) from None


def _check_size(archive: zipfile.ZipFile, packed: int, file: str) -> None:
    size = sum(part.file_size for part in archive.infolist())
    if size > UNZIPPED or size > RATIO * packed:
        text = f"unpacked it would be {size} bytes, more than a book's tables can have; split it"
        raise BookError([Finding("archive", text, Place(file, 1, 1))])


class _Look:
    """A look through the parts of an archive: elements are weighed, and only ranges are kept."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.ranges: list[tuple[str, str]] = []  #: part and range, as A2:A4
        self._weight = 0
        self.begin("")

    def begin(self, part: str) -> None:
        """Turn to a part, whether the last one ended or broke off."""
        self.part, self._depth = part, 0

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """Weigh an element that begins."""
        self._weight += ELEMENT_WEIGHTS.get(tag.rpartition("}")[2], OTHER)
        self._depth += 1
        if self._weight > HEAVIEST or self._depth > MAX_XML_DEPTH:
            text = f"it holds more than the {CELLS} cells that a book's tables may have; split it"
            raise BookError([Finding("archive", text, Place(self.file, 1, 1))])
        if tag.endswith(_FILLED):
            self.ranges.append((self.part, attributes.get("ref", "")))

    def end(self, tag: str) -> None:
        """Leave an element."""
        self._depth -= 1


def _look_through(archive: zipfile.ZipFile, part: str, look: _Look) -> None:
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser

    look.begin(part)
    parser = DefusedXMLParser(target=look)
    try:
        parser.feed(archive.read(part))
    except (ParseError, DefusedXmlException, LookupError, ValueError):  # a picture, or what its reader refuses as well
        return


def _check_ranges(archive: zipfile.ZipFile, look: _Look) -> None:
    from openpyxl.utils import range_boundaries

    cells = 0.0
    for part, text in look.ranges:
        try:
            left, top, right, bottom = range_boundaries(text)
        except ValueError:  # its reader refuses it
            continue
        left, top = left or 1, top or 1  # of whole rows or columns
        cells += ((right or inf) - left + 1) * ((bottom or inf) - top + 1)
        if cells > RANGED:
            text_of_fault = f"merged or linked cells as far as {text} are more than {RANGED}; take them apart"
            place = Place(f"{look.file}[{_titles(archive).get(part, part)}]", top, left)
            raise BookError([Finding("far", text_of_fault, place)])


def _titles(archive: zipfile.ZipFile) -> dict[str, str]:
    """Return the names of an XLSX file's sheets by their parts of the archive."""
    from defusedxml.ElementTree import fromstring

    try:
        relations = fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        sheets = fromstring(archive.read("xl/workbook.xml"))
    except (KeyError, ParseError, ValueError):  # without them, the parts go by their own names
        return {}
    names = {sheet.get(_RELATION): sheet.get("name", "") for sheet in sheets.iter() if sheet.get(_RELATION)}
    parts = {relation.get("Id"): posixpath.join("/xl", relation.get("Target", "")) for relation in relations}
    return {part.removeprefix("/"): names[key] for key, part in parts.items() if key in names}
