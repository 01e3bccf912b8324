"""Sheets of paper for the field: A4, upright, black on white, 11 points at least; written as PDF, SVG or PNG."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import cos, pi, sin
from pathlib import Path
from typing import Final

import numpy as np
from shapely import LineString, Polygon, box

from pegline.book.settings import PAPERS
from pegline.plan.display import Anchor, Item, Page, Stroke, Words
from pegline.plan.fonts import text_width, wrap
from pegline.plan.model import Options, Plan, Sheet
from pegline.plan.sheets.column import shorten
from pegline.plan.sheets.papers import MARGIN
from pegline.plan.style import LAYERS
from pegline.plane import Array
from pegline.survey import Survey

__all__ = ["SHEET_BODY", "TEXT_MM", "Flow", "SmallMap", "field_sheets", "write_sheets"]

WIDTH, HEIGHT = PAPERS["A4"]
TEXT_MM: Final = 2.9  #: height of capitals of 11 points and a little, millimetres
FLOW_LEADING: Final = 1.75  #: from baseline to baseline, in heights of capitals
HEAD_MM: Final = 13.0
FOOT_MM: Final = 21.0
#: Left, bottom, right, top of what a sheet's body may draw on, millimetres.
SHEET_BODY: Final = (MARGIN + 4, MARGIN + FOOT_MM, WIDTH - MARGIN - 4, HEIGHT - MARGIN - HEAD_MM - 3)
SMALL_MAP_AIR_MM: Final = 11.0  #: kept free inside a small map for names, mm
STROKE_TOLERANCE: Final = 0.02  #: how finely arcs are stroked on small maps, metres
SHEET_FORMATS: Final = ("pdf", "svg", "png")

Body = list[Item]


def field_sheets(survey: Survey, title: str, bodies: Sequence[tuple[str, Body]], *, caution: str) -> Plan:
    """Return sheets with a frame, a heading, and the caution at the foot of each.

    Parameters
    ----------
    bodies
        The heading and the items of each sheet.
    """
    total = len(bodies)
    sheets = tuple(
        Sheet(
            f"Sheet {number}",
            "A4",
            False,
            Page(WIDTH, HEIGHT, (*body, *_around(title, heading, caution, number, total))),
            None,
            (0.0, 0.0),
        )
        for number, (heading, body) in enumerate(bodies, 1)
    )
    return Plan(
        survey,
        Options(),
        title=title,
        scale=survey.scale,
        turn=0.0,
        ellipse_scale=1,
        layers=LAYERS,
        features=(),
        tufts=(),
        labels=(),
        sheets=sheets,
    )


def _around(title: str, heading: str, caution: str, number: int, total: int) -> Iterator[Item]:
    """Yield what stands about the body of a sheet."""
    left, right, upper = MARGIN, WIDTH - MARGIN, HEIGHT - MARGIN
    yield Stroke("SHEET-FRAME", np.array([(left, MARGIN), (right, MARGIN), (right, upper), (left, upper)]), True)
    yield Stroke("SHEET", np.array([(left, upper - HEAD_MM), (right, upper - HEAD_MM)]))
    yield Stroke("SHEET", np.array([(left, MARGIN + FOOT_MM - 2), (right, MARGIN + FOOT_MM - 2)]))
    room = right - left - 8
    short_heading = shorten(heading, room * 0.55, TEXT_MM)
    yield Words("SHEET-TEXT", short_heading, right - 4, upper - 8.5, TEXT_MM, "right")
    yield Words(
        "SHEET-TEXT",
        shorten(title, room - text_width(short_heading, TEXT_MM) - 5, 3.4),
        left + 4,
        upper - 8.5,
        3.4,
        bold=True,
    )
    lines = wrap(f"This is not a boundary survey. {caution}", room, TEXT_MM)[:3]
    for row, line in enumerate(lines):
        yield Words("SHEET-TEXT", line, left + 4, MARGIN + FOOT_MM - 7.2 - row * TEXT_MM * FLOW_LEADING, TEXT_MM)
    page = f"{number} of {total}"
    if len(lines) < 3 or text_width(lines[-1], TEXT_MM) + text_width(page, TEXT_MM) + 6 < room:
        yield Words("SHEET-TEXT", page, right - 4, MARGIN + 2.2, TEXT_MM, "right", bold=True)


def write_sheets(
    plan: Plan, directory: Path, stem: str, formats: str, more: Mapping[str, Callable[[Plan, Path], None]] | None = None
) -> tuple[Path, ...]:
    """Write sheets into a folder, whole or not at all, and return their paths.

    Parameters
    ----------
    more
        What writes formats beside those of all sheets.

    Raises
    ------
    UsageError
        A format is unknown.
    OutputError
        A file cannot be written.
    """
    from pegline.writers import WRITERS, known_formats
    from pegline.writers.publish import publish

    writers = {name: WRITERS[name] for name in SHEET_FORMATS} | dict(more or {})
    return publish(plan, directory, stem, known_formats(formats, writers), writers)


# -- running text and tables -----------------------------------------------------------------------------------------


@dataclass(slots=True)
class Flow:
    """Writes down one sheet after the other."""

    heading: str
    pages: list[tuple[str, Body]] = field(default_factory=list)
    y: float = SHEET_BODY[3]

    def __post_init__(self) -> None:
        self.turn()

    @property
    def items(self) -> Body:
        """Return what is drawn on the sheet at hand."""
        return self.pages[-1][1]

    def turn(self) -> None:
        """Begin another sheet."""
        self.pages.append((self.heading, []))
        self.y = SHEET_BODY[3]

    def room(self, height: float) -> None:
        """Begin another sheet where so much room, millimetres, is not left on this one."""
        if self.y - height < SHEET_BODY[1] and self.items:
            self.turn()

    def text(self, text: str, *, bold: bool = False, height: float = TEXT_MM, indent: float = 0.0) -> None:
        """Write a paragraph."""
        lines = wrap(text, SHEET_BODY[2] - SHEET_BODY[0] - indent, height, bold=bold)
        for line in lines:
            self.room(height * FLOW_LEADING)
            self.y -= height * FLOW_LEADING
            self.items.append(Words("SHEET-TEXT", line, SHEET_BODY[0] + indent, self.y, height, bold=bold))

    def gap(self, height: float = TEXT_MM) -> None:
        """Leave some room."""
        self.y -= height

    def step(self, number: int, text: str) -> None:
        """Write a numbered step, its lines under one another."""
        lines = wrap(text, SHEET_BODY[2] - SHEET_BODY[0] - 10, TEXT_MM)
        self.room(len(lines) * TEXT_MM * FLOW_LEADING)
        self.items.append(
            Words(
                "SHEET-TEXT",
                f"{number}",
                SHEET_BODY[0] + 6,
                self.y - TEXT_MM * FLOW_LEADING,
                TEXT_MM,
                "right",
                bold=True,
            )
        )
        self.text(text, indent=10)
        self.gap(1.2)

    def row(self, cells: Sequence[str], widths: Sequence[float], *, bold: bool = False, ruled: bool = True) -> None:
        """Write a row of a table; cells that are too long go on below, those of figures are on the right."""
        wrapped = [
            wrap(cell, width - 2.5, TEXT_MM, bold=bold) or [""] for cell, width in zip(cells, widths, strict=True)
        ]
        height = max(len(lines) for lines in wrapped) * TEXT_MM * FLOW_LEADING + 1.6
        self.room(height)
        x = SHEET_BODY[0]
        for lines, width in zip(wrapped, widths, strict=True):
            for number, line in enumerate(lines):
                y = self.y - TEXT_MM * FLOW_LEADING * (number + 1)
                self.items.append(Words("SHEET-TEXT", line, x + 1, y, TEXT_MM, bold=bold))
            x += width
        self.y -= height
        if ruled:
            self.items.append(Stroke("SHEET", np.array([(SHEET_BODY[0], self.y), (x, self.y)])))

    def picture(self, height: float, draw: Callable[[tuple[float, float, float, float]], Iterator[Item]]) -> None:
        """Draw something into a box of the sheet's breadth and so much height."""
        self.room(height)
        self.items.extend(draw((SHEET_BODY[0], self.y - height, SHEET_BODY[2], self.y)))
        self.y -= height + 2


# -- small maps ------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class SmallMap:
    """A map in a box of a sheet, as large as it fits; +y of its metres is up."""

    frame: tuple[float, float, float, float]  #: left, bottom, right, top, millimetres
    seen: Array  #: (n, 2) what it must show, metres
    items: Body = field(default_factory=list)
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)  #: boxes of the names so far
    drawn: list[Array] = field(default_factory=list)  #: lines so far, millimetres, which names keep off
    mm: float = field(init=False)  #: millimetres of paper for a metre
    middle: Array = field(init=False)  #: (2,) metres
    centre: Array = field(init=False)  #: (2,) where that is on the sheet

    def __post_init__(self) -> None:
        left, bottom, right, top = self.frame
        low, high = self.seen.min(axis=0), self.seen.max(axis=0)
        spans = np.maximum(high - low, 1.0)
        self.mm = float(
            min((right - left - 2 * SMALL_MAP_AIR_MM) / spans[0], (top - bottom - 2 * SMALL_MAP_AIR_MM) / spans[1])
        )
        self.middle = (low + high) / 2
        self.centre = np.array([(left + right) / 2, (bottom + top) / 2])

    def at(self, metres: Array) -> Array:
        """Return where something is on the sheet, millimetres."""
        return np.asarray((np.asarray(metres) - self.middle) * self.mm + self.centre)

    def line(self, points: Array, *, closed: bool = False, line_type: str | None = None, heavy: bool = False) -> None:
        """Draw a line through points, metres."""
        there = self.at(points)
        whole = np.vstack([there, there[:1]]) if closed else there
        look = "SHEET-FRAME" if heavy else "SHEET"
        window = box(*self.frame)
        if window.contains(LineString(whole)):
            self.drawn.append(whole)
            self.items.append(Stroke(look, there, closed, line_type=line_type or "CONTINUOUS"))
            return
        inside = LineString(whole).intersection(window)
        for part in getattr(inside, "geoms", [inside]):
            if part.geom_type == "LineString" and not part.is_empty:
                self.drawn.append(np.array(part.coords))
                self.items.append(Stroke(look, self.drawn[-1], line_type=line_type or "CONTINUOUS"))

    def station(self, at: Array, name: str) -> None:
        """Draw a station with its name."""
        x, y = self.at(at)
        ring = np.array([(x + 1.5 * cos(a), y + 1.5 * sin(a)) for a in np.linspace(0, 2 * pi, 25)[:-1]])
        self.items.append(Stroke("SHEET", ring, True, fill=1.0))
        self.name(at, name, bold=True)

    def mark(self, at: Array, name: str = "", *, bold: bool = False) -> None:
        """Draw a small cross with a name."""
        x, y = self.at(at)
        for dx, dy in ((1.1, 1.1), (1.1, -1.1)):
            self.items.append(Stroke("SHEET", np.array([(x - dx, y - dy), (x + dx, y + dy)])))
        if name:
            self.name(at, name, bold=bold)

    def name(self, at: Array, text: str, *, bold: bool = False, height: float = TEXT_MM) -> None:
        """Write a name beside a place, where no other name is."""
        x, y = self.at(at)
        width = text_width(text, height, bold=bold)
        spots: list[tuple[float, float, Anchor]] = [
            (x + 2.4, y + 0.8, "left"),
            (x - 2.4, y + 0.8, "right"),
            (x, y + 2.6, "middle"),
            (x, y - 2.4 - height, "middle"),
            (x + 2.4, y - height - 1.4, "left"),
            (x - 2.4, y - height - 1.4, "right"),
        ]
        left, bottom, right, top = self.frame
        best: tuple[float, float, float, Anchor, tuple[float, float, float, float]] | None = None
        for sx, sy, anchor in spots:
            begin = sx if anchor == "left" else sx - width if anchor == "right" else sx - width / 2
            where = (begin - 0.5, sy - 0.5, begin + width + 0.5, sy + height + 0.5)
            inside = where[0] > left and where[2] < right and where[1] > bottom and where[3] < top
            cost = self._cost(where) + (0 if inside else 1e3)
            if best is None or cost < best[0] - 1e-9:
                best = (cost, sx, sy, anchor, where)
            if cost == 0:
                break
        if best is not None:
            _, sx, sy, anchor, where = best
            self.taken.append(where)
            self.items.append(Words("SHEET-TEXT", text, sx, sy, height, anchor, bold=bold))

    def _cost(self, where: tuple[float, float, float, float]) -> float:
        """Return what a box covers of other names, and a little for every line that it is struck by."""
        struck = sum(1 for line in self.drawn if len(line) > 1 and box(*where).intersects(LineString(line)))
        return sum(_overlap(where, other) for other in self.taken) + 3.0 * struck

    def area_name(self, outline: Array, text: str, *, height: float = TEXT_MM) -> None:
        """Write a name within an outline (n, 2), metres, where it covers nothing, as near its middle as can be."""
        ring = Polygon(self.at(outline))
        low_x, low_y, high_x, high_y = ring.bounds
        middle = ring.representative_point()
        width = text_width(text, height)
        places = [(x, y) for x in np.linspace(low_x, high_x, 15) for y in np.linspace(low_y, high_y, 15)]
        places.sort(key=lambda at: (at[0] - middle.x) ** 2 + (at[1] - middle.y) ** 2)
        boxes = [
            (x - width / 2 - 1, y - 1, x + width / 2 + 1, y + height + 1) for x, y in [(middle.x, middle.y), *places]
        ]
        inside = [each for each in boxes if ring.contains(box(*each))]
        x, y = middle.x - width / 2, middle.y - height / 2
        beside = [
            (place[0] - 0.5, place[1] - 0.5, place[0] + width + 0.5, place[1] + height + 0.5)
            for place in ((high_x + 1, y), (low_x - width - 1, y), (x, high_y + 1), (x, low_y - height - 1))
        ]
        where = min(inside or beside, key=self._cost)
        self.taken.append(where)
        drop = (where[3] - where[1] - height) / 2
        self.items.append(Words("SHEET-TEXT", text, (where[0] + where[2]) / 2, where[1] + drop, height, "middle"))

    def along(self, start: Array, end: Array, text: str, *, share: float = 0.5) -> None:
        """Write a text along a line, its middle at a share of it, readable from below."""
        (x, y), (u, v) = self.at(start), self.at(end)
        turn = float(np.arctan2(v - y, u - x))
        turn = turn - pi if turn > pi / 2 else turn + pi if turn <= -pi / 2 else turn
        mx, my = x + share * (u - x) - sin(turn) * 1.2, y + share * (v - y) + cos(turn) * 1.2
        half = text_width(text, TEXT_MM) / 2
        reach_x, reach_y = abs(cos(turn)) * half + 1.5, abs(sin(turn)) * half + 1.5
        self.taken.append((mx - reach_x, my - reach_y, mx + reach_x, my + reach_y))
        self.items.append(Words("SHEET-TEXT", text, mx, my, TEXT_MM, "middle", rotation=turn))

    def north(self, bearing_of_up: float) -> None:
        """Draw an arrow to the north in the upper right corner; ``bearing_of_up`` is that of the map's +y, radians."""
        x, y = self.frame[2] - 7, self.frame[3] - 10
        way = np.array([sin(-bearing_of_up), cos(-bearing_of_up)])
        tip, tail = np.array([x, y]) + 6 * way, np.array([x, y]) - 6 * way
        side = np.array([-way[1], way[0]])
        self.items.append(Stroke("SHEET-FRAME", np.array([tail, tip])))
        self.items.append(
            Stroke("SHEET-FRAME", np.array([tip - 2.5 * way + 1.2 * side, tip, tip - 2.5 * way - 1.2 * side]))
        )
        self.items.append(Words("SHEET-TEXT", "N", float(tip[0]), float(tip[1]) + 0.8, TEXT_MM, "middle", bold=True))


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)
