"""The field book drawn as it is booked by hand: the chain up the middle, offsets to either side, from the foot up."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from pegline.measures.values import Name, Reading
from pegline.plan.display import Item, Stroke, Words
from pegline.plan.map.features import Content
from pegline.plan.sheets.column import A4_BODY, SMALL_TEXT_MM, Bodies, shorten
from pegline.records import record
from pegline.reduction.model import ReducedLine, ReducedRow

__all__ = ["field_pages"]

ENTRY_COLUMNS: Final = 2
HALF: Final = 8.0  #: half the breadth of the chain's column, mm
ENTRY_STEP_MM: Final = 6.2  #: from one entry to the next, mm
ENTRY_AIR_MM: Final = 12.0  #: that a line takes beside its entries, mm


@record(frozen=True, slots=True)
class _Entry:
    """One height of a page."""

    chainage: str
    left: str = ""
    right: str = ""
    ringed: bool = False  #: a station


def field_pages(content: Content) -> Bodies:
    """Yield pages of two columns, each filled from the foot up with one line after the other."""
    left, bottom, right, top = A4_BODY
    wide = (right - left) / ENTRY_COLUMNS
    pieces = list(_pieces(content, int((top - bottom - ENTRY_AIR_MM) / ENTRY_STEP_MM)))
    columns: list[list[Item]] = []
    height = top
    for heading, entries in pieces:
        deep = ENTRY_AIR_MM + ENTRY_STEP_MM * len(entries)
        if height + deep > top:
            columns.append([])
            height = bottom
        x = left + (len(columns) - 1) % ENTRY_COLUMNS * wide
        columns[-1] += _column(heading, entries, x, wide, height)
        height += deep
    for first in range(0, len(columns), ENTRY_COLUMNS):
        yield [item for column in columns[first : first + ENTRY_COLUMNS] for item in column]


def _pieces(content: Content, rows: int) -> Iterator[tuple[str, list[_Entry]]]:
    """Yield the lines, with what they are called, in pieces of so many entries at most."""
    rows_of: dict[str, list[ReducedRow]] = {}
    for row in content.solved.reduction.rows:
        rows_of.setdefault(row.line, []).append(row)
    for line in content.solved.reduction.lines.values():
        entries = list(_entries(line, rows_of.get(line.name, [])))
        heading = _on_page(f"Line {line.name}", line.booked.page)
        for i in range(0, len(entries), rows):
            yield heading if i == 0 else f"{heading}, continued", entries[i : i + rows]


def _entries(line: ReducedLine, rows: list[ReducedRow]) -> Iterator[_Entry]:
    """Yield what stands on a line's page from the foot up."""
    readings = line.booked.taped or line.booked.legs
    total = (
        " + ".join(t.reading.length.text for t in readings) if line.booked.legs else _texts(t.reading for t in readings)
    )
    placed = [
        (0.0, -1, _Entry(line.start, right=f"{line.use}, towards {line.end}", ringed=True)),
        *_of_rows(rows),
        (line.ground.length, len(rows), _Entry(line.end, left=f"total {total}", ringed=True)),
    ]
    yield from (entry for _, _, entry in sorted(placed, key=lambda each: each[:2]))


def _of_rows(rows: list[ReducedRow]) -> Iterator[tuple[float, int, _Entry]]:
    for number, row in enumerate(rows):
        booked = row.booked
        for i, (at, chainage) in enumerate(zip(booked.at, row.chainages, strict=True)):
            text = at.text if isinstance(at, Name) else _reading_text(at)
            if booked.back and not isinstance(at, Name):
                text = f"{text} from {row.line.partition('-')[2]}"
            if row.is_tie_station:
                heading = _on_page(f"station {row.name}", booked.page)
                yield chainage, number, _Entry(text, right=heading, ringed=True)
                continue
            if row.form == "on line":
                yield chainage, number, _Entry(text, right=_row_text(row))
                continue
            offset = _reading_text(booked.offsets[i]) if row.form == "oblique" else _texts(booked.offsets)
            to = _on_page(f"to {row.name}", booked.page) if row.form == "oblique" else _row_text(row)
            words = f"{offset}  {to}"
            yield chainage, number, _Entry(text, left=words) if row.side > 0 else _Entry(text, right=words)


def _row_text(row: ReducedRow) -> str:
    booked = row.booked
    produced = f"{booked.produced} produced" if booked.produced else ""
    parts = [booked.kind or "", row.name, produced, "to its face" if booked.to == "face" else "", booked.note or ""]
    if booked.struck:
        parts.append(f"(struck {_texts(booked.struck)})")
    return _on_page(", ".join(filter(None, parts)), booked.page)


def _on_page(text: str, page: str | None) -> str:
    """Return a text with the page of the paper book, where one is named."""
    return f"{text}, page {page}" if page else text


def _reading_text(reading: Reading) -> str:
    if reading.either:
        return " or ".join(length.text for length in reading.either)
    return ("~" if reading.doubtful else "") + reading.length.text


def _texts(readings: Iterator[Reading] | tuple[Reading, ...]) -> str:
    return ", ".join(_reading_text(reading) for reading in readings)


def _column(heading: str, entries: list[_Entry], x: float, wide: float, foot: float) -> Iterator[Item]:
    """Yield a line from its heading at the foot up."""
    middle = x + wide / 2
    side = wide / 2 - HALF - 3.0
    first = foot + 9.0
    for edge in (-HALF, HALF):
        ends = [(middle + edge, first - 4.5), (middle + edge, first + ENTRY_STEP_MM * (len(entries) - 0.6))]
        yield Stroke("SHEET", np.array(ends))
    yield Words("SHEET-TEXT", shorten(heading, wide - 6, 2.5), x + 3, foot + 2.5, 2.5, bold=True)
    for i, entry in enumerate(entries):
        y = first + ENTRY_STEP_MM * i
        text = shorten(entry.chainage, 2 * HALF - 1.5, SMALL_TEXT_MM)
        yield Words("SHEET-TEXT", text, middle, y, SMALL_TEXT_MM, "middle", bold=entry.ringed)
        if entry.ringed:
            ring = np.array(
                [(np.cos(a) * 6.6 + middle, np.sin(a) * 2.4 + y + 0.9) for a in np.linspace(0, 2 * np.pi, 41)[:-1]]
            )
            yield Stroke("SHEET", ring, True)
        if entry.left:
            yield Words(
                "SHEET-TEXT", shorten(entry.left, side, SMALL_TEXT_MM), middle - HALF - 2, y, SMALL_TEXT_MM, "right"
            )
        if entry.right:
            yield Words("SHEET-TEXT", shorten(entry.right, side, SMALL_TEXT_MM), middle + HALF + 2, y, SMALL_TEXT_MM)
