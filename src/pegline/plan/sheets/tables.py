"""The tables of a sheet: which blocks stand in which column of it, and on sheets of their own what finds no room."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import count
from typing import Final

import numpy as np

from pegline.plan.display import Item, Stroke
from pegline.plan.map.features import Content
from pegline.plan.model import DrawnFeature
from pegline.plan.sheets.blocks import NEEDED_BLOCKS, SHEET_BLOCKS, SLIM, TABLE_BLOCKS, title_block
from pegline.plan.sheets.column import A4_BODY, Pencil, shift_items
from pegline.plan.sheets.papers import MARGIN, RoomOf, SheetLayout, letter_factor
from pegline.plan.sheets.row_tables import Block, HeightLimitedPart, RowTable, TableOf, schedule_table
from pegline.records import record

__all__ = ["FEW", "MORE", "PAD", "room_for_tables", "schedule_pages", "sheet_tables", "table_pages"]

COLUMN: Final = 57.0  #: narrowest column of tables, mm
PAD: Final = 3.0  #: between a column and its edges
FEW: Final = 10  #: stations that the table shows before a larger paper is taken
MORE: Final = (None, 80, 40, 20)  #: stations that it shows where the paper has room for them; None: all
MOST_OF_WIDTH: Final = 0.45  #: of a sheet that its columns of tables may take
MOST_OF_HEIGHT: Final = 0.6  #: of a sheet that its band of tables may take
PAGE_COLUMNS: Final = 3  #: of a page of tables


@record(frozen=True, slots=True)
class _Placed:
    """A block where it stands."""

    column: int
    down: float  #: from the top of its column
    pencil: Pencil


Piece = Pencil | RowTable


def room_for_tables(content: Content, rows: int | None = FEW) -> RoomOf:
    """Return what tells how much of a sheet its tables need, that of the stations with so many rows, None with all."""

    @cache
    def room(paper: str, across: bool, beside: bool, complete: bool) -> float | None:
        draft = replace(content, paper=paper)
        layout = SheetLayout(content.scale, paper, across, beside, 0.0, complete)
        width, height = layout.size
        blocks, large = SHEET_BLOCKS if complete else SLIM, letter_factor(paper)
        columns, each = (1, _column_width(paper)) if beside else _band_columns(paper, width)
        inner = (each - 2 * PAD) / large
        pieces, title = _draw_blocks(blocks, draft, inner, rows), _title(draft, inner)
        if beside:
            for count in (1, 2):
                fits = _flow(pieces, title, count, (height - 2 * MARGIN - PAD) / large)
                if count * each < MOST_OF_WIDTH * width and fits:
                    return count * each
            return None
        for tall in range(32, int(height * MOST_OF_HEIGHT), 4):
            if _flow(pieces, title, columns, (tall - PAD) / large):
                return float(tall)
        return None

    return room


def _column_width(paper: str) -> float:
    return COLUMN * letter_factor(paper) + 2 * PAD + (0.0 if paper == "A4" else 7.0)


def _band_columns(paper: str, width: float) -> tuple[int, float]:
    """Return how many columns a band under the map has, and how wide each is."""
    columns = int((width - 2 * MARGIN) // (COLUMN * letter_factor(paper)))
    return columns, (width - 2 * MARGIN) / columns


def _draw_blocks(blocks: Sequence[Block | TableOf], content: Content, width: float, rows: int | None) -> list[Piece]:
    """Return the blocks drawn in a column so wide, the table of stations with so many rows."""
    pieces: list[Piece] = []
    for block in blocks:
        if isinstance(block, TableOf):
            if table := block.make(content):
                pieces.append(replace(table, width=width))
            continue
        pencil = Pencil(width)
        block(pencil, content)
        if pencil.items:
            pieces.append(pencil)
    return _limit_rows(pieces, rows)


def _limit_rows(pieces: Sequence[Piece], rows: int | None) -> list[Piece]:
    """Return the pieces with so many rows in the table that may be cut."""
    return [
        replace(piece, limit=rows) if isinstance(piece, RowTable) and piece.may_be_cut else piece for piece in pieces
    ]


def _title(content: Content, width: float) -> Pencil:
    pencil = Pencil(width)
    title_block(pencil, content)
    return pencil


def _flow(pieces: Sequence[Piece], title: Pencil | None, columns: int, height: float) -> list[_Placed] | None:
    """Return the pieces in columns, one after the other, and the title at the foot of the last column.

    A table goes on in the next column only where there is no other way. None where the pieces do not fit.
    """
    whole = [next(piece.parts(split=False)) if isinstance(piece, RowTable) else piece for piece in pieces]
    return _fill_columns(whole, title, columns, height) or _fill_columns(pieces, title, columns, height)


def _fill_columns(
    pieces: Sequence[Piece | HeightLimitedPart], title: Pencil | None, columns: int, height: float
) -> list[_Placed] | None:
    """Return the pieces in columns, tables parted where a column ends."""
    foot = 0.0 if title is None else -title.y + PAD
    placed: list[_Placed] = []
    column, down = 0, 0.0
    for piece in pieces:
        parts = piece.parts() if isinstance(piece, RowTable) else _whole(piece)
        part = next(parts, None)
        while part is not None:
            pencil = part(height - down - (foot if column == columns - 1 else 0.0))
            if pencil is None:
                column, down, empty = column + 1, 0.0, down == 0.0
                if column >= columns or empty:
                    return None
                continue
            placed.append(_Placed(column, down, pencil))
            down -= pencil.y
            part = next(parts, None)
    if title is None:
        return placed
    return None if -title.y > height else [*placed, _Placed(columns - 1, height + title.y, title)]


def _whole(piece: Pencil | HeightLimitedPart) -> Iterator[HeightLimitedPart]:
    """Yield one part that stays together."""
    yield (lambda free: piece if -piece.y <= free else None) if isinstance(piece, Pencil) else piece


def sheet_tables(content: Content, layout: SheetLayout) -> list[Item]:
    """Return the blocks on a sheet, with as many rows of stations as there is room for."""
    width, height = layout.size
    columns, each, tall = _columns(layout)
    left, top = (width - MARGIN - layout.strip, height - MARGIN) if layout.beside else (MARGIN, MARGIN + layout.strip)
    large = letter_factor(layout.paper)
    flow = _fullest(content, layout, (each - 2 * PAD) / large, columns, (tall - PAD) / large)
    items: list[Item] = []
    for block in flow:
        items += shift_items(block.pencil.items, left + block.column * each + PAD, top - block.down * large, large)
    edge = ((left, MARGIN), (left, top)) if layout.beside else ((MARGIN, top), (width - MARGIN, top))
    title_top, last = top - flow[-1].down * large + 0.5, left + (columns - 1) * each
    lines = [edge, ((last, title_top), (last + each, title_top))]
    lines += [((left + i * each, top - tall), (left + i * each, top)) for i in range(1, columns)]
    return items + [Stroke("SHEET", np.array(line)) for line in lines]


def _fullest(content: Content, layout: SheetLayout, width: float, columns: int, height: float) -> list[_Placed]:
    """Return the blocks placed with as many rows of stations as fit, or as many blocks as fit without any."""
    title = _title(content, width)
    blocks = _chosen_blocks(content, layout, title, width, columns, height)
    pieces = _draw_blocks(blocks, content, width, None)
    if flow := _flow(pieces, title, columns, height):
        return flow
    best = _flow(_limit_rows(pieces, 0), title, columns, height)
    fewest, most = 0, len(content.solved.stations)
    while best is not None and most - fewest > 1:
        rows = (fewest + most) // 2
        flow = _flow(_limit_rows(pieces, rows), title, columns, height)
        best, fewest, most = (flow, rows, most) if flow else (best, fewest, rows)
    return best or _place_most_needed(content, width, columns, height)


def _chosen_blocks(
    content: Content, layout: SheetLayout, title: Pencil, width: float, columns: int, height: float
) -> tuple[Block | TableOf, ...]:
    """Return the blocks that stand on a plan's sheet: all, or those that must and what else finds room."""
    if layout.complete:
        return SHEET_BLOCKS
    chosen = SLIM
    for block in () if layout.joined else TABLE_BLOCKS:
        more = tuple(each for each in SHEET_BLOCKS if each in chosen or each is block)
        if block not in chosen and _flow(_draw_blocks(more, content, width, None), title, columns, height):
            chosen = more
    return chosen


def _columns(layout: SheetLayout) -> tuple[int, float, float]:
    """Return how many columns the tables of a sheet have, and how wide and high each is, millimetres."""
    width, height = layout.size
    if layout.beside:
        columns = max(1, round(layout.strip / _column_width(layout.paper)))
        return columns, layout.strip / columns, height - 2 * MARGIN
    columns, each = _band_columns(layout.paper, width)
    return columns, each, layout.strip


def _place_most_needed(content: Content, width: float, columns: int, height: float) -> list[_Placed]:
    """Return what fits on a paper that was asked for though it is too small: title, caution and verdict first."""
    title = _title(content, width)
    placed: list[_Placed] = []
    heights = [0.0] * columns
    for block in NEEDED_BLOCKS:
        pencil = Pencil(width)
        block(pencil, content)
        room = [height - down for down in heights]
        room[-1] += title.y - PAD
        column = next((c for c in range(columns) if room[c] >= -pencil.y), None)
        if column is not None:
            placed.append(_Placed(column, heights[column], pencil))
            heights[column] -= pencil.y
    return [*placed, _Placed(columns - 1, height + title.y, title)]


def table_pages(content: Content, layout: SheetLayout, bottom: float = A4_BODY[1]) -> list[list[Item]]:
    """Return pages with the tables that the plan's own sheet has no room for."""
    columns, each, tall = _columns(layout)
    large = letter_factor(layout.paper)
    inner = (each - 2 * PAD) / large
    there = _chosen_blocks(content, layout, _title(content, inner), inner, columns, (tall - PAD) / large)
    left = [block for block in TABLE_BLOCKS if block not in there]
    return _pages(_draw_blocks(left, content, _page_column() - 2 * PAD, None), A4_BODY[3], bottom)


def schedule_pages(content: Content, numbered: tuple[tuple[int, DrawnFeature], ...]) -> list[list[Item]]:
    """Return pages with the schedule of what is numbered."""
    table = replace(schedule_table(content, numbered), width=_page_column() - 2 * PAD)
    return _pages([table], A4_BODY[3], A4_BODY[1])


def _page_column() -> float:
    return (A4_BODY[2] - A4_BODY[0]) / PAGE_COLUMNS


def _pages(pieces: Sequence[Piece], top: float, bottom: float) -> list[list[Item]]:
    """Return as many pages as some pieces need, the first of them from ``top`` down to ``bottom``."""
    flow = next(
        flow
        for pages in count(1)
        if (flow := _flow(pieces, None, PAGE_COLUMNS * pages, top - bottom - PAD)) is not None
    )
    pages: list[list[Item]] = [[] for _ in range(1 + max((block.column for block in flow), default=0) // PAGE_COLUMNS)]
    for block in flow:
        page, column = divmod(block.column, PAGE_COLUMNS)
        pages[page] += shift_items(block.pencil.items, A4_BODY[0] + column * _page_column() + PAD, top - block.down)
    return pages
