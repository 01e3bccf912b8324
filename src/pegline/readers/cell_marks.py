"""Marks that a spreadsheet keeps beside a cell's value: comments, struck text, hidden rows.

A comment becomes the note of its row, and a struck offset the row's ``struck``; what finds no place in a book is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from pegline.errors import Finding, Place
from pegline.measures.source_tree import Text
from pegline.readers.book_tables import TABLE_SHEETS, columns_of

__all__ = ["CellMarks", "Tell", "hidden_rows_finding", "hidden_sheet_finding", "with_marks"]

Tell = Callable[[Finding], None]  #: takes what is read, and may not be what was meant
Spot = tuple[int, int]  #: row and column, from 1


@dataclass(slots=True)
class CellMarks:
    """The marks of one sheet, by the cell that they are on."""

    comments: dict[Spot, str] = field(default_factory=dict)
    struck: dict[Spot, str] = field(default_factory=dict)  #: the text that is struck through
    hidden: list[int] = field(default_factory=list)  #: rows


def hidden_rows_finding(rows: Iterable[int], file: str) -> Finding:
    """Return that rows are hidden, and read all the same."""
    numbers = sorted(rows)
    shown = ", ".join(map(str, numbers[:5])) + (" and more" if len(numbers) > 5 else "")
    what = f"row {shown} is hidden and is" if len(numbers) == 1 else f"rows {shown} are hidden and are"
    return Finding("hidden", f"{what} read all the same; delete what should not count", Place(file, numbers[0], 1))


def hidden_sheet_finding(file: str) -> Finding:
    """Return that a sheet is hidden, and read all the same."""
    text = "this sheet is hidden and is read all the same; delete it where it should not count"
    return Finding("hidden", text, Place(file, 1, 1))


def with_marks(rows: list[list[Text]], marks: CellMarks, sheet: str, file: str, tell: Tell) -> list[list[Text]]:
    """Return the rows of a sheet with comments as notes and struck offsets as such; the rest is told."""
    filled = {cell.place.line for row in rows for cell in row if cell.value}
    if hidden := [number for number in marks.hidden if number in filled]:
        tell(hidden_rows_finding(hidden, file))
    table = _Rows(rows, sheet, file)
    for (line, column), text in marks.struck.items():
        head = table.head(column)
        if line > 1 and head in ("left", "right") and table.put(line, "struck", text):
            table.leave_blank(line, column)
            continue
        said = f"{text!r} is struck through and is left out; write what counts in a cell of its own"
        tell(Finding("struck", said, table.place(line, column)))
    for (line, column), text in marks.comments.items():
        if line == 1 or not table.put(line, "note", text):
            said = f"the comment {text!r} on this cell has no place in the book; it is left out"
            tell(Finding("comment", said, table.place(line, column)))
    return table.rows


class _Rows:
    """Rows that gain cells in columns that their sheet may have."""

    def __init__(self, rows: list[list[Text]], sheet: str, file: str) -> None:
        self.rows = rows
        self.file = file
        known = TABLE_SHEETS.get(sheet.strip().casefold())
        self.columns = columns_of(known) if known else []
        self.by_line = {cell.place.line: row for row in rows for cell in row}

    def heads(self) -> list[str]:
        return [" ".join(cell.value.split()).casefold() for cell in self.rows[0]]

    def head(self, column: int) -> str:
        return "".join(self.heads()[column - 1 : column])  # nothing beyond them

    def place(self, line: int, column: int) -> Place:
        return Place(self.file, line, column)

    def leave_blank(self, line: int, column: int) -> None:
        """Mark a value that nothing replaced as one that is still to be booked."""
        row = self.by_line[line]
        if not row[column - 1].value:
            row[column - 1] = Text("~", row[column - 1].place)

    def put(self, line: int, name: str, text: str) -> bool:
        """Add a text to a column of a row; tell whether the sheet can have that column and the row is there."""
        row = self.by_line.get(line)
        if row is None or name not in self.columns:
            return False
        heads = self.heads()
        if name not in heads:
            heads.append(name)
            self.rows[0].append(Text(name, self.place(1, len(heads))))
        column = heads.index(name) + 1
        while len(row) < column:
            row.append(Text("", self.place(line, len(row) + 1)))
        before = row[column - 1].value
        row[column - 1] = Text(f"{before}; {text}" if before else text, row[column - 1].place)
        return True
