"""A field book as tables: one sheet for each part of it, a column for each key, and back without loss.

A cell holds a value as a book writes it. Lists and maps stand in it as in a line of a book, ``[12.4, 9.15]``;
``~`` is a value that is not booked yet; an empty cell is a key that is not there.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeAlias

from pegline.book.canonical_layout import flow_text
from pegline.book.reference import keys_of, words_of
from pegline.errors import BookError, Finding, Place, in_order
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.measures.spelling import suggest
from pegline.readers.yaml import MAX_SIGNS, parse

__all__ = ["NAMING", "TABLE_SHEETS", "Cells", "TableSheet", "choices", "columns_of", "sheets_of", "table_of"]

#: Rows of cells, the first with the names of the columns; each cell knows its row and column.
Cells: TypeAlias = Sequence[Sequence[Text]]
MAX_TITLE_ROWS: Final = 6  #: rows at the top that are looked through for the names of columns
Entry = dict[str, tuple[Text, Written]]


class TableSheet(NamedTuple):
    """The place of one part of a book in a sheet."""

    name: str
    record: str  #: name of its record's schema
    names: tuple[str, ...] = ()  #: columns before the keys: the names that the part goes by
    short: str = ""  #: the key whose value may stand alone
    children: str = ""  #: the key whose own entries follow, a row each
    child: str = ""  #: the record of those
    child_short: str = ""
    elsewhere: tuple[str, ...] = ()  #: keys that have sheets of their own
    other: str = ""  #: a second record that a row may be: a leg past an obstacle


_PARTS: Final = (
    TableSheet("tapes", "tape", ("name",)),
    TableSheet("stations", "station", ("name",)),
    TableSheet("lines", "line", ("name",), elsewhere=("legs", "details", "details_back")),
    TableSheet("legs", "taped", ("line",), short="reading", other="passage"),
    TableSheet("details", "row", ("line",)),
    TableSheet("details_back", "row", ("line",)),
    TableSheet("dimensions", "dimension", ("name",), short="taped"),
    TableSheet("arcs", "arc"),
    TableSheet("angles", "station_angle", ("name",), short="angle"),
    TableSheet("points", "named_point", ("name",)),
    TableSheet("kinds", "own_kind", ("name",)),
    TableSheet("features", "feature", ("name",)),
    TableSheet("witnesses", "witness", ("name", "object"), short="distance"),
    TableSheet("north", "north", children="bearings", child="bearings", child_short="bearing"),
    TableSheet("control", "control", children="points", child="control_point"),
    TableSheet("sheet", "sheet"),
    TableSheet("limits", "limits"),
)
#: Lists within a line that have sheets of their own.
_IN_LINES: Final = ("legs", "details", "details_back")
_HEAD: Final = TableSheet("head", "book", elsewhere=tuple(part.name for part in _PARTS))
#: Every sheet by name, in the order in which a workbook has them.
TABLE_SHEETS: Final[Mapping[str, TableSheet]] = {sheet.name: sheet for sheet in (_HEAD, *_PARTS)}
#: Columns whose cells are prose, taken as they are.
PROSE: Final = frozenset(
    {"title", "place", "surveyor", "weather", "purpose", "licence", "note", "mark", "label", "object", "prepared_for"}
    | {"prepared_by", "checked_by", "number", "revision", "past"}
)
_QUOTED: Final = re.compile(r'"(?:[^"\\]|\\.)*"', re.DOTALL)
#: Columns that name or class things, or remark on them: in these, one merged cell may stand for several rows.
NAMING: Final = frozenset(
    {"name", "line", "object", "use", "unit", "tape", "method", "mark", "material", "class"}
    | {"geometry", "layer", "feature", "kind", "page", "label", "note"}
)


def columns_of(sheet: TableSheet) -> list[str]:
    """Return the names of all columns that a sheet may have."""
    keys = [key for key in keys_of(sheet.record) if key not in sheet.elsewhere]
    for record in filter(None, (sheet.other, sheet.child)):
        keys += [key for key in keys_of(record) if key not in keys]
    return [*sheet.names, *keys]


def choices() -> dict[tuple[str, str], tuple[str, ...]]:
    """Return the words that a column of a sheet may have, where they are few, by sheet and column."""
    return {
        (name, column): words
        for name, sheet in TABLE_SHEETS.items()
        for column in columns_of(sheet)
        if (words := words_of(sheet.record, column))
    }


# -- a book becomes sheets --------------------------------------------------------------------------


def sheets_of(table: Table) -> dict[str, list[list[str]]]:
    """Return the sheets that a book fills, each with a row of column names first."""
    rows_by_sheet: dict[str, list[list[str]]] = {}
    for sheet in TABLE_SHEETS.values():
        rows = list(_rows(sheet, table))
        if not rows:
            continue
        used = {column for row in rows for column in row}
        columns = [column for column in columns_of(sheet) if column in used]
        rows_by_sheet[sheet.name] = [columns, *([row.get(column, "") for column in columns] for row in rows)]
    return rows_by_sheet


def _rows(sheet: TableSheet, table: Table) -> Iterator[dict[str, str]]:
    """Yield the rows of one sheet as columns with their cells."""
    if sheet is _HEAD:
        yield _cells(sheet, table)
    elif sheet.name in _IN_LINES:
        for line, value in _entries(table, "lines"):
            part = value.entries.get(sheet.name) if isinstance(value, Table) else None
            for row in part[1].items if part and isinstance(part[1], Items) else ():
                yield {"line": line, **_cells(sheet, row)}
    elif sheet.name == "arcs":
        part = table.entries.get("arcs")
        yield from (_cells(sheet, arc) for arc in (part[1].items if part and isinstance(part[1], Items) else ()))
    elif sheet.name == "witnesses":
        for peg, objects in _entries(table, "witnesses"):
            for word, (_, value) in objects.entries.items() if isinstance(objects, Table) else ():
                yield {"name": peg, "object": word, **_cells(sheet, value)}
    elif sheet.names:
        yield from ({"name": word, **_cells(sheet, value)} for word, value in _entries(table, sheet.name))
    elif sheet.name in table.entries:
        yield from _with_children(sheet, table.entries[sheet.name][1])


def _entries(table: Table, name: str) -> Iterator[tuple[str, Written]]:
    part = table.entries.get(name)
    if part and isinstance(part[1], Table):
        yield from ((word, value) for word, (_, value) in part[1].entries.items())


def _cells(sheet: TableSheet, value: Written) -> dict[str, str]:
    """Return the cells of one record."""
    if not isinstance(value, Table) or (sheet.short and "either" in value.entries):
        return {sheet.short: _cell(value)} if sheet.short else {}
    return {
        word: _cell(part)
        for word, (_, part) in value.entries.items()
        if word not in sheet.elsewhere and word != sheet.children
    }


def _with_children(sheet: TableSheet, value: Written) -> Iterator[dict[str, str]]:
    yield _cells(sheet, value)
    if not sheet.children or not isinstance(value, Table):
        return
    for word, part in _entries(value, sheet.children):
        child = TableSheet("", sheet.child, short=sheet.child_short)
        yield {sheet.children: word, **_cells(child, part)}


def _cell(value: Written) -> str:
    """Return the text of a cell; what a spreadsheet would take for a formula stands in quotes."""
    if not isinstance(value, Text):
        return flow_text(value)
    text = value.value
    if not text:
        return "~"
    numeric = text[0] in "+-" and text[1:2].isdigit()
    if text == "~" or text != text.strip() or "\n" in text or (text[0] in "[{\"'=+-@" and not numeric):
        return json.dumps(text, ensure_ascii=False)
    return text


# -- sheets become a book ---------------------------------------------------------------------------


@dataclass(slots=True)
class _BookInTheMaking:
    """A book while its sheets are read."""

    root: Entry = field(default_factory=dict)
    faults: list[Finding] = field(default_factory=list)
    lists: dict[tuple[str, str], list[Written]] = field(default_factory=dict)  #: rows by line and sheet

    def tell(self, rule: str, text: str, place: Place) -> None:
        self.faults.append(Finding(rule, text, place))

    def put(self, entries: Entry, name: Text, value: Written) -> None:
        """Add an entry to a map that must not have it yet."""
        if name.value in entries:
            first, _ = entries[name.value]
            said = f"{name.value!r} is in row {first.place.line} already; keep one of them"
            self.tell("duplicate-key", said, name.place)
        else:
            entries[name.value] = (name, value)


class _FilledRow(NamedTuple):
    """One row of a sheet."""

    sheet: TableSheet
    names: dict[str, Text]
    entries: Entry
    place: Place

    def record(self) -> Written:
        """Return its record, or the value alone where only that is filled."""
        short = self.sheet.child_short if self.sheet.children else self.sheet.short
        if short and self.entries.keys() == {short}:
            return self.entries[short][1]
        return Table(self.entries, self.place) if self.entries else Text("", self.place)


def table_of(sheets: Mapping[str, Cells]) -> Table:
    """Return the book that sheets hold.

    Raises
    ------
    BookError
        A sheet, a column or a cell cannot be part of a book.
    """
    book = _BookInTheMaking()
    for name, sheet in TABLE_SHEETS.items():
        if sheets.get(name):
            _read_sheet(sheet, sheets[name], book)
    for name, cells in sheets.items():
        first = next((cell for row in cells for cell in row if cell.value), None)
        if name not in TABLE_SHEETS and first:
            book.tell("unknown-sheet", f"unknown sheet {name!r}{suggest(name, TABLE_SHEETS)}", first.place)
    if book.faults:
        raise BookError(in_order(book.faults))
    for (line, name), rows in book.lists.items():
        place = rows[0].place
        home = _under(_under(book.root, "lines", place), line, place) if line else book.root
        home[name] = (Text(name, place), Items(tuple(rows), place))
    return Table(book.root, next((key.place for key, _ in book.root.values()), Place("", 1, 1)))


def _read_sheet(sheet: TableSheet, cells: Cells, book: _BookInTheMaking) -> None:
    known = columns_of(sheet)
    if number := _title_rows(known, cells):
        place = next(cell.place for row in cells for cell in row if cell.value)
        rows = "row 1 is" if number == 1 else f"rows 1 to {number} are"
        book.tell("title", f"{rows} above the names of the columns; delete what is above them", place)
        return
    columns = _header(known, cells[0], book)
    store = _STORES.get(sheet.name, _store_named if sheet.names else _store_record)
    nameless: set[int] = set()  # each is told once
    for cells_of_row in cells[1:]:
        row = _read_row(sheet, cells_of_row, columns, known, nameless, book)
        lacking = [name for name in sheet.names if name not in row.names]
        if lacking and (row.entries or row.names):
            book.tell("column", f"{lacking[0]} is blank; say what the row belongs to", row.place)
        elif row.entries or row.names:
            store(row, book)


def _read_row(
    sheet: TableSheet,
    cells: Sequence[Text],
    columns: Sequence[str],
    known: Sequence[str],
    nameless: set[int],
    book: _BookInTheMaking,
) -> _FilledRow:
    """Return what a row says, by its columns; a cell under no column name is told once for its column."""
    row = _FilledRow(sheet, {}, {}, cells[0].place)
    for number, cell in enumerate(cells):
        text = Text(cell.value.strip(), cell.place)
        column = columns[number] if number < len(columns) else ""
        if not text.value:
            continue
        if len(text.value) > MAX_SIGNS:
            said = f"this cell has {len(text.value)} signs, and a text of a book at most {MAX_SIGNS}; shorten it"
            book.tell("too-large", said, cell.place)
        elif not column:
            if number not in nameless:
                book.tell("column", "this cell is under no column name; name the column", cell.place)
            nameless.add(number)
        elif column in (*sheet.names, sheet.children):
            row.names[column] = text
        elif column in known:
            row.entries[column] = (Text(column, cell.place), _value(text, book, is_prose=column in PROSE))
    return row


def _title_rows(known: Sequence[str], cells: Cells) -> int:
    """Return how many rows, blank or with a title, are above the row that has the names of the columns."""
    for row in cells[:MAX_TITLE_ROWS]:
        heads = [" ".join(cell.value.split()).casefold() for cell in row if cell.value]
        names = sum(head in known for head in heads)
        if names:
            return row[0].place.line - 1 if names > 1 else 0
    return 0


def _header(known: Sequence[str], row: Sequence[Text], book: _BookInTheMaking) -> list[str]:
    """Return the names of the columns, which may stand in capitals and among stray spaces."""
    spelt = {name.casefold(): name for name in known}
    heads = [" ".join(cell.value.split()) for cell in row]
    columns = [spelt.get(head.casefold(), head) for head in heads]
    for number, cell in enumerate(row):
        column = columns[number]
        if column and column not in known:
            book.tell("unknown-column", f"unknown column {column!r}{suggest(column, known)}", cell.place)
        elif column and column in columns[:number]:
            book.tell("column", f"a second column {column}; keep one of them", cell.place)
    return columns


def _value(cell: Text, book: _BookInTheMaking, *, is_prose: bool) -> Written:
    """Return what a cell says; prose is taken as it is, even where it begins with a bracket or a quotation."""
    if cell.value == "~":
        return Text("", cell.place)
    if cell.value[0] not in '[{"' or (is_prose and not _QUOTED.fullmatch(cell.value)):
        return cell
    try:
        return _at(parse(cell.value, cell.place.file), cell.place)
    except BookError as error:
        if is_prose:
            return cell
        book.tell("cell", error.findings[0].text, cell.place)
        return cell


def _at(written: Written, place: Place) -> Written:
    """Return a value with all its places those of its cell."""
    if isinstance(written, Text):
        return Text(written.value, place)
    if isinstance(written, Items):
        return Items(tuple(_at(item, place) for item in written.items), place)
    return Table({word: (Text(word, place), _at(value, place)) for word, (_, value) in written.entries.items()}, place)


def _under(parent: Entry, word: str, place: Place) -> Entry:
    """Return the entries of a map, made where it is not there yet."""
    value = parent[word][1] if word in parent else None
    if not isinstance(value, Table):
        value = Table({}, place)
        parent[word] = (parent[word][0] if word in parent else Text(word, place), value)
    return value.entries


Store = Callable[[_FilledRow, _BookInTheMaking], None]


def _store_head(row: _FilledRow, book: _BookInTheMaking) -> None:
    for key, value in row.entries.values():
        book.put(book.root, key, value)


def _store_record(row: _FilledRow, book: _BookInTheMaking) -> None:
    record = _under(book.root, row.sheet.name, row.place)
    if row.names:
        book.put(_under(record, row.sheet.children, row.place), row.names[row.sheet.children], row.record())
        return
    for key, value in row.entries.values():
        book.put(record, key, value)


def _store_named(row: _FilledRow, book: _BookInTheMaking) -> None:
    book.put(_under(book.root, row.sheet.name, row.place), row.names["name"], row.record())


def _store_in_line(row: _FilledRow, book: _BookInTheMaking) -> None:
    lines = _under(book.root, "lines", row.place)
    name = row.names["line"]
    if name.value not in lines:
        text = f"there is no line {name.value!r} in the sheet lines{suggest(name.value, lines)}"
        book.tell("unknown-line", text, name.place)
        return
    book.lists.setdefault((name.value, row.sheet.name), []).append(row.record())


def _store_arc(row: _FilledRow, book: _BookInTheMaking) -> None:
    book.lists.setdefault(("", "arcs"), []).append(row.record())


def _store_witness(row: _FilledRow, book: _BookInTheMaking) -> None:
    pegs = _under(book.root, "witnesses", row.place)
    book.put(_under(pegs, row.names["name"].value, row.place), row.names["object"], row.record())


_STORES: Final[Mapping[str, Store]] = {
    "head": _store_head,
    **dict.fromkeys(_IN_LINES, _store_in_line),
    "arcs": _store_arc,
    "witnesses": _store_witness,
}
