"""Tables of rows that go on in the next column: stations, sides of boundaries, what is numbered in a crowd."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final, Literal

from pegline.plan.fonts import text_width
from pegline.plan.map.boundaries import boundary_sides
from pegline.plan.map.features import Content
from pegline.plan.model import DrawnFeature
from pegline.plan.sheets.column import COLUMN_LEADING, SMALL_TEXT_MM, Pencil, shorten
from pegline.records import record

__all__ = [
    "Block",
    "HeightLimitedPart",
    "RowTable",
    "TableOf",
    "boundary_table",
    "schedule_table",
    "station_table",
    "write_heading",
]

ROW_HEIGHT: Final = SMALL_TEXT_MM * COLUMN_LEADING  #: mm
LEAST_ROWS: Final = 3  #: that may stand in a column on their own
CELL_GAP_MM: Final = 1.5  #: between two cells, mm

#: Draws something in so much height; None where it does not fit.
HeightLimitedPart = Callable[[float], Pencil | None]
Block = Callable[[Pencil, Content], None]
Heads = tuple[tuple[str, float, Literal["left", "right"]], ...]


@record(frozen=True, slots=True)
class RowTable:
    """A table: its columns by their edge as a share of the width, and its rows."""

    title: str
    heads: Heads  #: text, edge, side of the edge that it stands on
    rows: tuple[tuple[str, ...], ...]
    foot: str = ""  #: a sentence under it
    width: float = 0.0  #: millimetres
    limit: int | None = None  #: rows that are shown; None: all
    may_be_cut: bool = False  #: another file has all of it

    def parts(self, *, split: bool = True) -> Iterator[HeightLimitedPart]:
        """Yield what draws the next part of the table; all of it is one part unless it may be split."""
        start, more = 0, True
        while more:
            next_start = [start]

            def part(free: float, first: int = start, next_start: list[int] = next_start) -> Pencil | None:
                head = self._part(first, first, closing=False)
                room, left = int((free + head.y) / ROW_HEIGHT), self._count - first
                if left <= room + 1:  # otherwise no need to draw it to see that it is too high
                    whole = self._part(first, self._count, closing=True)
                    if -whole.y <= free:
                        next_start[0] = self._count
                        return whole
                if not split:
                    return None
                rows = min(room, left - LEAST_ROWS)
                if rows < LEAST_ROWS:
                    return None
                next_start[0] = first + rows
                return self._part(first, first + rows, closing=False)

            yield part
            start = next_start[0]
            more = start < self._count

    @property
    def _count(self) -> int:
        return len(self.rows) if self.limit is None else min(self.limit, len(self.rows))

    def _part(self, start: int, end: int, *, closing: bool) -> Pencil:
        """Draw the rows from start to end, and after the last of the table its foot."""
        pencil = Pencil(self.width)
        write_heading(pencil, f"{self.title}, CONTINUED" if start else self.title)
        self._write_row(pencil, tuple(head for head, _, _ in self.heads))
        pencil.gap(0.9)
        pencil.rule()
        for row in self.rows[start:end]:
            self._write_row(pencil, row, bold_first=True)
        if closing:
            if left := len(self.rows) - end:
                pencil.paragraph(f"… and {left} more, in the table of points.")
            if self.foot:
                pencil.gap(0.6)
                pencil.paragraph(self.foot)
        return pencil

    def _write_row(self, pencil: Pencil, cells: tuple[str, ...], *, bold_first: bool = False) -> None:
        pencil.text("", height=SMALL_TEXT_MM)
        for i, ((_, edge, side), cell) in enumerate(zip(self.heads, cells, strict=True)):
            x, bold = edge * pencil.width, bold_first and i == 0
            text = shorten(cell, self._room(i, cells), SMALL_TEXT_MM) if side == "left" else cell
            pencil.text(text, x=x, anchor=side, down=False, bold=bold)

    def _room(self, i: int, cells: tuple[str, ...]) -> float:
        """Return how wide the text of a left column may be, millimetres."""
        start = self.heads[i][1] * self.width
        for (_, edge, side), cell in zip(self.heads[i + 1 :], cells[i + 1 :], strict=True):
            return (
                edge * self.width - (text_width(cell, SMALL_TEXT_MM) if side == "right" else 0.0) - CELL_GAP_MM - start
            )
        return self.width - start


@record(frozen=True, slots=True)
class TableOf:
    """A block that is a table, made of the content; nothing where there is none."""

    make: Callable[[Content], RowTable | None]


def write_heading(pencil: Pencil, text: str) -> None:
    """Write the heading of a block."""
    pencil.gap(1.2)
    pencil.text(text, bold=True)
    pencil.gap(1.0)


def _station_table(content: Content) -> RowTable:
    solved, where = content.solved, content.where
    frame, unit = solved.frame, solved.frame.metres_per_unit
    rows = []
    for name in solved.stations:
        x, y = where.position(name)
        east, north = (x + frame.origin[0]) / unit, (y + frame.origin[1]) / unit
        rows.append((name, f"{east + 0.0:.3f}", f"{north + 0.0:.3f}", f"{where.sd(name) * 1000:.0f}"))
    heads = ("east", "north") if frame.north else ("x", "y")
    in_frame = frame.crs_name if frame.kind == "grid" else "its own frame"
    coordinates = f"Metres, in {in_frame}" if unit == 1.0 else f"In the unit of {in_frame}"
    return RowTable(
        "STATIONS",
        (("", 0.0, "left"), (heads[0], 0.53, "right"), (heads[1], 0.85, "right"), ("± mm", 1.0, "right")),
        tuple(rows),
        f"{coordinates}; ± is one standard deviation, relative to the base line.",
        may_be_cut=True,
    )


def _boundary_table(content: Content) -> RowTable | None:
    """Tabulate the sides of boundaries, where the book asks for their figures."""
    solved = content.solved
    if not solved.book.sheet.boundary_figures:
        return None
    sides = list(boundary_sides(solved, content.where, content.notation))
    if not sides:
        return None
    north = f"bearing, {solved.frame.north}" if solved.frame.north else ""
    rows = tuple((side.name, side.length, side.bearing or "") for side in sides)
    foot = f"Between the marks as pointed out, in {content.notation.words} on the ground; no finer than they are known."
    return RowTable("BOUNDARY LINES", (("", 0.0, "left"), ("length", 0.5, "right"), (north, 1.0, "right")), rows, foot)


station_table: Final = TableOf(_station_table)
boundary_table: Final = TableOf(_boundary_table)


def schedule_table(content: Content, numbered: tuple[tuple[int, DrawnFeature], ...]) -> RowTable:
    """Return the table of the things whose names gave way to numbers: name, girth, spread, height as booked."""
    rows = []
    for number, feature in numbered:
        booked = content.solved.detail.shapes[feature.name].booked
        sizes = [value.text if value else "" for value in (booked.girth, booked.spread, booked.height)]
        rows.append((str(number), booked.label or feature.name, *sizes))
    heads: Heads = (
        ("", 0.0, "left"),
        ("name", 0.11, "left"),
        ("girth", 0.68, "right"),
        ("spread", 0.84, "right"),
        ("height", 1.0, "right"),
    )
    return RowTable(f"SCHEDULE ({content.notation.words})", heads, tuple(rows), "Sizes as booked.")
