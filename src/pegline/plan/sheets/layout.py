"""The sheets of a plan: frame, tables, bars, grid ticks and match lines around the map."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from math import ceil, floor, log10
from typing import Any

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import Item, Page, Stroke, Words, flatten
from pegline.plan.map.content import Content
from pegline.plan.model import Label, Options, Sheet
from pegline.plan.number_text import UNIT_WORDS
from pegline.plan.scripts import text_width
from pegline.plan.sheets.a4_page import BODY
from pegline.plan.sheets.blocks import BLOCKS, NEEDED, SLIM, Block, station_block, title_block
from pegline.plan.sheets.column import SMALL, Pencil, shift_items
from pegline.plan.sheets.match_lines import MapObstacles, join_items, map_obstacles
from pegline.plan.sheets.papers import FOOT, LAP, MARGIN, PAPERS, Layout, Tile, choose_layout
from pegline.plan.style import plots
from pegline.units import METRES_PER

__all__ = ["index_body", "lay_out", "make_sheets"]

Placed = list[tuple[int, float, Pencil]]  #: column, distance from the top, what stands there

COLUMN = 57.0  #: narrowest column of tables, mm
PAD = 3.0  #: between a column and its edges
FEW = 10  #: stations that the table shows before a larger paper is taken
CHECK_BAR = 100.0  #: mm
LONGEST_BAR = 150.0  #: mm


def lay_out(bounds: tuple[float, float, float, float], content: Content, options: Options) -> Layout:
    """Return scale, paper and tiles for what is drawn."""
    sheet = content.solved.book.sheet
    landscape = None if sheet.orientation is None else sheet.orientation == "landscape"
    strip_of, slim_of = (
        cache(lambda name, across, b=blocks: _strip(content, name, across, b)) for blocks in (BLOCKS, SLIM)
    )
    paper = options.paper or sheet.paper
    return choose_layout(bounds, strip_of, slim_of, scale=content.solved.book.scale, paper=paper, landscape=landscape)


def _size(paper: str, across: bool) -> tuple[float, float]:
    short, long = PAPERS[paper]
    return (long, short) if across else (short, long)


def _strip(content: Content, paper: str, across: bool, blocks: Sequence[Block]) -> float | None:
    """Return the width (landscape) or height (portrait) that the tables need; None where they do not fit."""
    width, height = _size(paper, across)
    if across:
        drawn = _drawn(blocks, content, _column(paper) - 2 * PAD, FEW)
        for columns in (1, 2):
            if columns * _column(paper) < 0.45 * width and _flow(drawn, columns, height - 2 * MARGIN - PAD) is not None:
                return columns * _column(paper)
        return None
    columns = int((width - 2 * MARGIN) // COLUMN)
    each = (width - 2 * MARGIN) / columns - 2 * PAD
    drawn = _drawn(blocks, content, each, FEW)
    for tall in range(40, int(height * 0.6), 4):
        if _flow(drawn, columns, tall - PAD) is not None:
            return float(tall)
    return None


def _column(paper: str) -> float:
    return COLUMN + 2 * PAD if paper == "A4" else COLUMN + 2 * PAD + 7.0


def _drawn(blocks: Sequence[Block], content: Content, width: float, rows: int) -> dict[Block, Pencil]:
    """Return the blocks drawn in a column so wide, with so many rows of stations."""
    drawn = {}
    for block in blocks:
        drawn[block] = Pencil(width)
        if block is station_block:
            station_block(drawn[block], content, rows)
        else:
            block(drawn[block], content)
    return drawn


def _flow(drawn: Mapping[Block, Pencil], columns: int, height: float) -> Placed | None:
    """Return column and top of each block, the title in the last corner; None where they do not fit."""
    placed = []
    column, y = 0, 0.0
    for block, pencil in drawn.items():
        if block is title_block:
            continue
        if y - pencil.y > height:
            column, y = column + 1, 0.0
        if column >= columns or -pencil.y > height:
            return None
        placed.append((column, y, pencil))
        y -= pencil.y
    if title_block not in drawn:
        return placed
    title = drawn[title_block]
    if -title.y + (y + PAD if column == columns - 1 else 0.0) > height:
        return None
    return [*placed, (columns - 1, height + title.y, title)]


def _tables(content: Content, layout: Layout) -> list[Item]:
    """Return the blocks on the paper, with as many rows of stations as there is room for."""
    width, height = layout.size
    if layout.landscape:
        columns = max(1, round(layout.strip / _column(layout.paper)))
        each, tall = layout.strip / columns, height - 2 * MARGIN
        left, top = width - MARGIN - layout.strip, height - MARGIN
    else:
        columns = int((width - 2 * MARGIN) // COLUMN)
        each, tall = (width - 2 * MARGIN) / columns, layout.strip
        left, top = MARGIN, MARGIN + layout.strip
    blocks = SLIM if layout.joined else BLOCKS
    flow = _fullest(blocks, content, each - 2 * PAD, columns, tall - PAD)
    items: list[Item] = []
    for column, y, pencil in flow:
        items += shift_items(pencil.items, left + column * each + PAD, top - y)
    edge = ((left, MARGIN), (left, top)) if layout.landscape else ((MARGIN, top), (width - MARGIN, top))
    items.append(_line(*edge))
    last = left + (columns - 1) * each
    _, y, pencil = flow[-1]
    items.append(_line((last, top - y + 0.5), (last + each, top - y + 0.5)))
    items += [_line((left + i * each, top - tall), (left + i * each, top)) for i in range(1, columns)]
    return items


def _fullest(blocks: Sequence[Block], content: Content, width: float, columns: int, height: float) -> Placed:
    """Return the blocks placed with as many rows of stations as fit, or as many blocks as fit without any."""
    stations = content.solved.adjustment.solution.stations
    choices = (stations, *range(min(stations - 1, 60), -1, -2))
    drawn = _drawn(blocks, content, width, 0)
    if station_block not in drawn:
        return _flow(drawn, columns, height) or _cramped(drawn, columns, height)
    tables = (_drawn((station_block,), content, width, rows) for rows in choices)
    flows = (_flow({**drawn, **table}, columns, height) for table in tables)
    return next((flow for flow in flows if flow is not None), None) or _cramped(drawn, columns, height)


def _cramped(drawn: Mapping[Block, Pencil], columns: int, height: float) -> Placed:
    """Return what fits on a paper that was asked for though it is too small: title, caution and verdict first."""
    room = [height] * columns
    title = drawn[title_block]
    room[-1] += title.y - PAD
    placed = []
    for block in NEEDED:
        pencil = drawn.get(block)
        column = next((c for c in range(columns) if pencil is not None and room[c] >= -pencil.y), None)
        if pencil is not None and column is not None:
            used = height + (title.y - PAD if column == columns - 1 else 0.0) - room[column]
            placed.append((column, used, pencil))
            room[column] += pencil.y
    return [*placed, (columns - 1, height + title.y, title)]


def index_body(layout: Layout, tiles: Sequence[Tile], content: Content) -> list[Item]:
    """Return what the sheet beside joined ones shows: key, tables, and which part of the plan each of them has."""
    left, bottom, right, top = BODY
    middle = bottom + (top - bottom) * 0.42
    columns = 3
    each = (right - left) / columns
    blocks = [block for block in BLOCKS if block is not title_block]
    content = replace(content, scale=layout.scale, paper=layout.paper)
    items: list[Item] = [_line((left, middle), (right, middle))]
    flow = _flow(_drawn(blocks, content, each - 2 * PAD, FEW), columns, top - middle - PAD)
    for column, y, pencil in flow or []:
        items += shift_items(pencil.items, left + column * each + PAD, top - y)
    return [*items, *_index_map(layout, tiles, content, (left + PAD, bottom + PAD, right - PAD, middle - PAD))]


def _index_map(
    layout: Layout, tiles: Sequence[Tile], content: Content, box: tuple[float, float, float, float]
) -> Iterator[Item]:
    left, bottom, right, top = layout.window
    half = np.array([right - left - 2 * LAP, top - bottom - 2 * LAP]) / 2 * layout.scale / 1000
    centres = np.array([tile.centre for tile in tiles])
    low, high = (centres - half).min(axis=0), (centres + half).max(axis=0)
    mm = min((box[2] - box[0]) / (high - low)[0], (box[3] - box[1]) / (high - low)[1])
    middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])

    def on_paper(metres: Any) -> Any:
        return (metres - (low + high) / 2) * mm + middle

    for feature in content.features:
        if isinstance(feature.geometry, Path) and plots(feature.layer):
            path = feature.geometry
            points = flatten(on_paper(path.vertices), path.bulges, path.closed, 0.05)
            yield Stroke("SKETCHES", points, path.closed, line_type=feature.line_type, looks_like=feature.layer)
    for number, centre in enumerate(centres, 1):
        (west, south), (east, north) = on_paper(centre - half), on_paper(centre + half)
        yield _box(west, south, east, north, "SHEET")
        yield Words("SHEET-TEXT", str(number), float(west) + 1.5, float(north) - 4.0, 2.5, bold=True)


def _line(*points: tuple[float, float], layer: str = "SHEET", line_type: str | None = None) -> Stroke:
    return Stroke(layer, np.array(points, dtype=float), line_type=line_type)


def _box(left: float, bottom: float, right: float, top: float, layer: str, fill: float | None = None) -> Stroke:
    return Stroke(layer, np.array([(left, bottom), (right, bottom), (right, top), (left, top)]), True, fill)


def make_sheets(
    layout: Layout, tiles: Sequence[Tile], content: Content, labels: Sequence[Label], further: int
) -> tuple[Sheet, ...]:
    """Return the sheets of some tiles of a layout; ``further`` sheets come after them."""
    content = replace(content, scale=layout.scale, paper=layout.paper, sheets=len(tiles) + further)
    there = map_obstacles(content, labels) if len(tiles) > 1 else None
    return tuple(_sheet(layout, tile, tiles, replace(content, sheet=i), there) for i, tile in enumerate(tiles, 1))


def _sheet(layout: Layout, tile: Tile, tiles: Sequence[Tile], content: Content, there: MapObstacles | None) -> Sheet:
    width, height = layout.size
    left, bottom, right, _ = layout.window
    grid = _grid(layout, tile, content)
    items: list[Item] = [
        _box(MARGIN, MARGIN, width - MARGIN, height - MARGIN, "SHEET-FRAME"),
        _line((left, bottom), (right, bottom)),
        *_bars(layout, content),
        *_tables(content, layout),
        *grid,
    ]
    if there is not None:
        items += join_items(layout, tile, tiles, there, [item for item in grid if isinstance(item, Words)])
    name = "Plan" if len(tiles) == 1 else f"Plan {content.sheet}"
    return Sheet(name, layout.paper, layout.landscape, Page(width, height, tuple(items)), layout.window, tile.centre)


def _bars(layout: Layout, content: Content) -> list[Item]:
    """Return the bar to check the printer by, and the scale bar: metres above, the book's unit below."""
    left, bottom, right, _ = layout.window
    y = bottom - FOOT + 7.0
    x = left + 6.0
    check: list[Item] = [
        _box(x, y, x + CHECK_BAR, y + 1.6, "SHEET"),
        *(_line((x + at, y), (x + at, y + 1.6)) for at in range(10, 100, 10)),
        Words("SHEET-TEXT", "This bar is 100 mm long. Where it is not, the print is not to scale.", x, y - 3.6, SMALL),
    ]
    unit = content.solved.book.unit
    rows = [("m", 1)] if unit == "m" else [("m", 1), (unit, -1)]
    start = x + CHECK_BAR + 12.0
    room = right - start - max(text_width(UNIT_WORDS[name], SMALL) for name, _ in rows) - 6.0
    room = min(room, LONGEST_BAR)
    items: list[Item] = []
    for name, way in rows:
        items += _bar(start, y, room, layout.scale, name, way, alone=len(rows) == 1)
    return [*check, *items]


def _bar(x: float, y: float, room: float, scale: int, unit: str, way: int, *, alone: bool) -> list[Item]:
    """Return one scale of the bar: up to eight steps of a round length."""
    mm_per_unit = METRES_PER[unit] * 1000 / scale
    step = _round_step(max(9.0, room / 8) / mm_per_unit)
    if step * mm_per_unit > room / 2:
        step = _round_step(room / 3 / mm_per_unit) / 2
    steps = max(1, int((room + 1e-9) // (step * mm_per_unit)))
    half = 1.6 if alone else 1.3
    y0, y1 = (y, y + half) if way > 0 else (y - half, y)
    items: list[Item] = []
    for i in range(steps):
        a, b = x + i * step * mm_per_unit, x + (i + 1) * step * mm_per_unit
        items.append(_box(a, y0, b, y1, "SHEET", fill=0.0 if i % 2 == 0 else None))
    base = y1 + 1.0 if way > 0 else y0 - 2.7
    for i in range(steps + 1):
        items.append(Words("SHEET-TEXT", f"{i * step:g}", x + i * step * mm_per_unit, base, SMALL, "middle"))
    end = x + steps * step * mm_per_unit
    shift = text_width(f"{steps * step:g}", SMALL) / 2 + 1.0
    items.append(Words("SHEET-TEXT", UNIT_WORDS[unit], end + shift, base, SMALL))
    return items


def _round_step(at_least: float) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that is not less."""
    power = 10.0 ** floor(log10(at_least))
    return next(f * power for f in (1, 2, 5, 10) if f * power >= at_least * (1 - 1e-9))


def _grid(layout: Layout, tile: Tile, content: Content) -> list[Item]:
    """Return ticks where grid lines cross, with their coordinates along the edges; nothing off the grid."""
    frame = content.solved.frame
    if frame.kind != "grid":
        return []
    left, bottom, right, top = layout.window
    unit = frame.metres_per_unit
    mm = 1000 / layout.scale * unit
    step = _round_step(45.0 / mm)
    centre = ((tile.centre[0] + frame.origin[0]) / unit, (tile.centre[1] + frame.origin[1]) / unit)
    middle = ((left + right) / 2, (bottom + top) / 2)

    def lines(axis: int, low: float, high: float) -> list[tuple[float, float]]:
        first = ceil((centre[axis] + (low - middle[axis]) / mm) / step)
        last = floor((centre[axis] + (high - middle[axis]) / mm) / step)
        return [(k * step, middle[axis] + (k * step - centre[axis]) * mm) for k in range(first, last + 1)]

    xs, ys = lines(0, left + 14, right - 10), lines(1, bottom + 14, top - 10)
    items: list[Item] = [_line((x - 1.5, y), (x + 1.5, y), layer="GRID") for _, x in xs for _, y in ys]
    items += [_line((x, y - 1.5), (x, y + 1.5), layer="GRID") for _, x in xs for _, y in ys]
    for east, x in xs:
        items.append(_line((x, bottom), (x, bottom + 2.0), layer="GRID"))
        items.append(Words("SHEET-TEXT", f"{east:.0f} E", x, bottom + 2.8, SMALL, "middle"))
    for north, y in ys:
        items.append(_line((left, y), (left + 2.0, y), layer="GRID"))
        items.append(Words("SHEET-TEXT", f"{north:.0f} N", left + 4.4, y, SMALL, "middle", rotation=np.pi / 2))
    return items
