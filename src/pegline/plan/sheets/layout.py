"""The sheets of a plan: which paper they are, and the frame, tables, bars, ticks and match lines around the map."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import floor, hypot, log10
from typing import Any, Final

import numpy as np

from pegline.book.settings import PAPERS
from pegline.detail.model import Path
from pegline.errors import BookError, Finding, UsageError
from pegline.measures.notation import UNIT_WORDS
from pegline.plan.display import Item, Page, Stroke, Words, flatten
from pegline.plan.fonts import text_width
from pegline.plan.map.features import Content, outline_points
from pegline.plan.model import DrawnFeature, Heading, Label, Options, Sheet
from pegline.plan.sheets.column import A4_BODY, SMALL_TEXT_MM
from pegline.plan.sheets.map_lines import GridTicks, MapObstacles, join_items, map_obstacles
from pegline.plan.sheets.papers import (
    LAP,
    MARGIN,
    MAX_TILES,
    SHEET_FOOT_MM,
    RoomOf,
    SheetLayout,
    Tile,
    TooManySheetsError,
    joined_sheets,
    letter_factor,
    one_sheet,
    with_more_room,
)
from pegline.plan.sheets.tables import FEW, MORE, PAD, room_for_tables, sheet_tables, table_pages
from pegline.plan.style import plots
from pegline.plane import Array
from pegline.solved import PLAN_SCALES, USUAL_PAPER
from pegline.units import METRES_PER

__all__ = ["check_bar", "lay_out", "make_sheets", "scale_bar", "scale_bar_room", "tables_and_index"]

CHECK_BAR: Final = 100.0  #: mm
SHORT_CHECK_BAR: Final = 50.0  #: mm, under a map that is too narrow for the long one and the scale bar
LEAST_BAR: Final = 50.0  #: mm that the scale bar needs
CHECK_BARS: Final = (CHECK_BAR, SHORT_CHECK_BAR)
BAR_EDGE: Final = 6.0  #: from the edge of the map to the bars, mm
BAR_GAP: Final = 12.0  #: between the two bars
LONGEST_BAR: Final = 100.0  #: mm
STEP_WIDTHS: Final = (6.0, 25.0)  #: of a scale bar's steps, mm
BAR_STEPS: Final = (4, 8)  #: of a scale bar, fewest and most where two bars are equally long
JOINED: Final = "A1"  #: several sheets are of this size by default
BAR_ROUNDING_MM: Final = 1e-9
FAR_SHARE: Final = 0.5  #: a thing without which the plan takes less than this share of its sheets reaches too far
TABLES_HEADING: Final = Heading("Key and tables", "Tables")
INDEX_HEADING: Final = Heading("Key, tables and index", "Index")


def lay_out(outline: Array, content: Content, options: Options) -> tuple[SheetLayout, tuple[Finding, ...]]:
    """Return scale, paper and tiles for what lies within an outline (k, 2), and what to tell of them.

    A plan stays whole on one sheet: where the paper that the run asks for is too small for the book's scale, the scale
    gives way. Only where a scale is asked for with its paper, or holds no sheet at all, is the plan cut into sheets.

    Raises
    ------
    BookError, UsageError
        It would take more sheets than anybody wants: something in the book reaches too far, or the run's own
        paper and scale do it.
    """
    book = content.solved.book
    scale = options.scale if isinstance(options.scale, int) else book.scale if options.scale is None else None
    paper = options.paper or book.sheet.paper
    landscape = None if book.sheet.orientation is None else book.sheet.orientation == "landscape"
    room_of = room_for_tables(content)
    papers = (paper,) if paper else tuple(PAPERS)

    def whole(n: int) -> SheetLayout | None:
        return one_sheet(outline, room_of, n, papers, landscape)

    def with_tables(layout: SheetLayout) -> SheetLayout:
        return _with_more_stations(outline, layout, content)

    if scale is None:
        run_says_paper = options.paper is not None or options.scale == "fit"
        least = PLAN_SCALES[0] if run_says_paper else content.scale
        fitting = PAPERS_UP_TO_USUAL if paper is None and run_says_paper else papers
        if layout := _largest_scale(outline, room_of, least, fitting, landscape):
            return with_tables(layout), ()
        scale = PLAN_SCALES[-1]
    if layout := whole(scale):
        return with_tables(layout), ()
    smaller = next((layout for n in PLAN_SCALES if n > scale and (layout := whole(n))), None)
    if options.paper and options.scale is None and smaller is not None:
        text = f"at 1:{scale} the plan does not fit {paper}; drawn at 1:{smaller.scale} to stay whole"
        cure = f"{text}. --scale {scale} cuts it into sheets"
        return with_tables(smaller), (Finding("plan-scale", cure, book_place(content)),)
    try:
        layout = joined_sheets(outline, room_of, scale, paper or JOINED, landscape)
    except TooManySheetsError as error:
        raise _too_many(content, options, scale, paper or JOINED, landscape, error.count, room_of) from None
    text = f"at 1:{scale} the plan takes {len(layout.tiles)} sheets of {layout.paper} that join"
    cure = "" if smaller is None else f"; 1:{smaller.scale} would show it whole on one sheet of {smaller.paper}"
    return layout, (Finding("plan-scale", text + cure, book_place(content)),)


def _largest_scale(
    outline: Array, room_of: RoomOf, least: int, papers: Sequence[str], landscape: bool | None
) -> SheetLayout | None:
    """Return the one sheet of the largest usual scale that fits a paper, from 1:least on."""
    layouts = (one_sheet(outline, room_of, n, papers, landscape) for n in PLAN_SCALES if n >= least)
    return next((layout for layout in layouts if layout), None)


def _with_more_stations(outline: Array, layout: SheetLayout, content: Content) -> SheetLayout:
    """Return a layout with a larger table of stations where the plan leaves room for it."""
    if len(content.solved.stations) <= FEW or not layout.complete:
        return layout
    rooms = (room_for_tables(content, rows) for rows in MORE)
    return next((roomier for room in rooms if (roomier := with_more_room(outline, layout, room))), layout)


#: Papers that a plan is fitted to where none is named.
PAPERS_UP_TO_USUAL: Final = tuple(PAPERS)[: tuple(PAPERS).index(USUAL_PAPER) + 1]


def book_place(content: Content) -> Any:
    """Return where the book's base line is: the place of what concerns the whole plan."""
    return next((line.place for line in content.solved.book.lines.values() if line.use == "base"), None)


def _too_many(
    content: Content, options: Options, scale: int, paper: str, landscape: bool | None, count: int, room_of: RoomOf
) -> BookError | UsageError:
    """Return why so many sheets would be needed, with the row of the book that reaches furthest from all others."""
    plotted = [feature for feature in content.features if plots(feature.layer)]
    far = _furthest(plotted)
    others = np.concatenate([outline_points(feature) for feature in plotted if feature.name != far.name])
    what = f"at 1:{scale} the plan would take {count} sheets of {paper}, more than {MAX_TILES}"
    by_run = options.scale is not None or options.paper is not None
    try:
        remaining = len(joined_sheets(others, room_of, scale, paper, landscape).tiles)
    except TooManySheetsError as error:
        remaining = error.count
    if by_run and remaining >= FAR_SHARE * count:
        return UsageError(f"{what}; take a smaller scale or a larger paper, or --scale fit")
    reach = np.ptp(np.concatenate([outline_points(feature) for feature in plotted]), axis=0)
    text = f"{far.name} reaches furthest: the plan is {reach[0]:.0f} m by {reach[1]:.0f} m, and {what}; "
    text += "look for a lost decimal point there" if remaining < FAR_SHARE * count else "give a smaller scale"
    return BookError([Finding("plan-too-large", text, _place_of(content, far))])


def _furthest(features: Sequence[DrawnFeature]) -> DrawnFeature:
    """Return the thing whose farthest point is farthest from the middle of all points."""
    middle = np.median(np.concatenate([outline_points(feature) for feature in features]), axis=0)
    return max(features, key=lambda feature: float(np.hypot(*(outline_points(feature) - middle).T).max()))


def _place_of(content: Content, feature: DrawnFeature) -> Any:
    """Return where a thing's farthest point is booked."""
    middle = np.median([content.where.position(name) for name in content.where.names], axis=0)
    shape = content.solved.detail.shapes.get(feature.name)
    names = shape.points if shape is not None else (feature.name,)
    spread = shape is not None and shape.booked.spread is not None
    rows = [row for row in content.solved.reduction.rows if row.name in names and row.name in content.where]
    if rows and not spread:
        return max(rows, key=lambda row: hypot(*(np.array(content.where.position(row.name)) - middle))).booked.place
    return shape.place if shape is not None else book_place(content)


def tables_and_index(layout: SheetLayout, tiles: Sequence[Tile], content: Content) -> list[tuple[Heading, list[Item]]]:
    """Return heading and body of the pages that hold what the plan's own sheet has no room for."""
    if layout.complete:
        return []
    content = replace(content, scale=layout.scale, paper=layout.paper)
    left, bottom, right, top = A4_BODY
    if not layout.joined:
        return [(TABLES_HEADING, page) for page in table_pages(content, layout) if page]
    middle = bottom + (top - bottom) * 0.42
    first, *others = table_pages(content, layout, middle)
    index: list[Item] = [_line((left, middle), (right, middle))]
    index += _index_map(layout, tiles, content, (left + PAD, bottom + PAD, right - PAD, middle - PAD))
    return [(INDEX_HEADING, [*first, *index]), *((TABLES_HEADING, page) for page in others)]


def _index_map(
    layout: SheetLayout, tiles: Sequence[Tile], content: Content, box: tuple[float, float, float, float]
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


def _line(*points: tuple[float, float], layer: str = "SHEET") -> Stroke:
    return Stroke(layer, np.array(points, dtype=float))


def _box(left: float, bottom: float, right: float, top: float, layer: str, fill: float | None = None) -> Stroke:
    return Stroke(layer, np.array([(left, bottom), (right, bottom), (right, top), (left, top)]), True, fill)


def make_sheets(
    layout: SheetLayout, tiles: Sequence[Tile], content: Content, labels: Sequence[Label], further: int
) -> tuple[Sheet, ...]:
    """Return the sheets of some tiles of a layout; ``further`` sheets come after them."""
    content = replace(content, scale=layout.scale, paper=layout.paper, turn=layout.turn, sheets=len(tiles) + further)
    obstacles = map_obstacles(content, labels) if len(tiles) > 1 else None
    ticks = GridTicks(content, labels)
    return tuple(
        _sheet(layout, tile, tiles, replace(content, sheet=i), obstacles, ticks) for i, tile in enumerate(tiles, 1)
    )


def _sheet(
    layout: SheetLayout,
    tile: Tile,
    tiles: Sequence[Tile],
    content: Content,
    obstacles: MapObstacles | None,
    ticks: GridTicks,
) -> Sheet:
    width, height = layout.size
    left, bottom, right, _ = layout.window
    grid = list(ticks.items_on(layout, tile))
    items: list[Item] = [
        _box(MARGIN, MARGIN, width - MARGIN, height - MARGIN, "SHEET-FRAME"),
        _line((left, bottom), (right, bottom)),
        *_bars(layout, content),
        *sheet_tables(content, layout),
        *grid,
    ]
    if obstacles is not None:
        items += join_items(layout, tile, tiles, obstacles, [item for item in grid if isinstance(item, Words)])
    name = "Plan" if len(tiles) == 1 else f"Plan {content.sheet}"
    page = Page(width, height, tuple(items))
    return Sheet(name, layout.paper, layout.landscape, page, layout.window, tile.centre, layout.turn)


def _bars(layout: SheetLayout, content: Content) -> list[Item]:
    """Return the bar to check the printer by, and the scale bar: metres above, the book's unit below."""
    left, bottom, _, _ = layout.window
    y = bottom - SHEET_FOOT_MM + 7.0
    x = left + BAR_EDGE
    height = SMALL_TEXT_MM * letter_factor(layout.paper)
    items: list[Item] = []
    if content.left_out:
        names = "1 name has" if content.left_out == 1 else f"{content.left_out} names have"
        text = f"{names} no room on this plan; the drawing has every name in its data."
        items.append(Words("SHEET-TEXT", text, x, bottom - 2.0 - height, height))
    unit = content.solved.book.unit
    rows = [("m", 1)] if unit == "m" else [("m", 1), (unit, -1)]
    rooms = {length: min(scale_bar_room(layout, name, length) for name, _ in rows) for length in CHECK_BARS}
    length = next((length for length, room in rooms.items() if room >= LEAST_BAR), SHORT_CHECK_BAR)
    items += check_bar(x, y, height, length)
    for name, way in rows:
        items += scale_bar(
            x + length + BAR_GAP, y, rooms[length], layout.scale, name, way, alone=len(rows) == 1, height=height
        )
    return items


def scale_bar_room(layout: SheetLayout, unit: str, check: float = CHECK_BAR) -> float:
    """Return how long a scale bar may be beside the bar to check the printer by, millimetres."""
    left, _, right, _ = layout.window
    words = text_width(UNIT_WORDS[unit], SMALL_TEXT_MM * letter_factor(layout.paper))
    return min(right - left - 2 * BAR_EDGE - check - BAR_GAP - words, LONGEST_BAR)


def check_bar(x: float, y: float, height: float = SMALL_TEXT_MM, length: float = CHECK_BAR) -> list[Item]:
    """Return the bar that shows whether a print is to scale."""
    words = f"This bar is {length:.0f} mm long"
    words += ". Where it is not, the print is not to scale." if length == CHECK_BAR else " on a print to scale."
    return [
        _box(x, y, x + length, y + 1.6, "SHEET"),
        *(_line((x + at, y), (x + at, y + 1.6)) for at in range(10, round(length), 10)),
        Words("SHEET-TEXT", words, x, y - 1.8 - height, height),
    ]


def scale_bar(
    x: float, y: float, room: float, scale: int, unit: str, way: int, *, alone: bool, height: float = SMALL_TEXT_MM
) -> list[Item]:
    """Return one scale of the bar: steps of a round length."""
    mm_per_unit = METRES_PER[unit] * 1000 / scale
    step, steps = _bar_steps(room, mm_per_unit)
    half = 1.6 if alone else 1.3
    y0, y1 = (y, y + half) if way > 0 else (y - half, y)
    items: list[Item] = []
    for i in range(steps):
        a, b = x + i * step * mm_per_unit, x + (i + 1) * step * mm_per_unit
        items.append(_box(a, y0, b, y1, "SHEET", fill=0.0 if i % 2 == 0 else None))
    base = y1 + 1.0 if way > 0 else y0 - 0.9 - height
    for i in range(steps + 1):
        items.append(Words("SHEET-TEXT", f"{i * step:g}", x + i * step * mm_per_unit, base, height, "middle"))
    end = x + steps * step * mm_per_unit
    shift = text_width(f"{steps * step:g}", height) / 2 + 1.0
    items.append(Words("SHEET-TEXT", UNIT_WORDS[unit], end + shift, base, height))
    return items


def _bar_steps(room: float, mm_per_unit: float) -> tuple[float, int]:
    """Return the step of a scale bar in its unit and how many there are: the longest bar that fits.

    >>> _bar_steps(100.0, 5.0)  # metres at 1:200
    (5.0, 4)
    >>> _bar_steps(57.0, 4.0)  # metres at 1:250
    (2.0, 7)
    """
    narrowest, widest = (width / mm_per_unit for width in STEP_WIDTHS)
    power = 10.0 ** floor(log10(narrowest))
    steps = [s for s in (n * power * p for p in (1.0, 10.0) for n in (1.0, 2.0, 5.0)) if narrowest <= s <= widest]
    bars = [(step, int((room + BAR_ROUNDING_MM) // (step * mm_per_unit))) for step in steps]
    fewest, most = BAR_STEPS
    return max(bars, key=lambda bar: (round(bar[0] * bar[1], 9), fewest <= bar[1] <= most, bar[0]))
