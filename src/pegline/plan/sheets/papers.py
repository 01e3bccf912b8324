"""Paper: the smallest ISO 216 sheet that holds a plan whole, sheets that join, and the map's window on a sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import atan2, ceil, pi
from typing import Any, Final

import numpy as np
import shapely

from pegline.book.settings import PAPERS
from pegline.plan.display import turning_matrix
from pegline.plane import Array
from pegline.records import record

__all__ = [
    "LAP",
    "MARGIN",
    "MAX_TILES",
    "PLAN_AIR_MM",
    "SHEET_FOOT_MM",
    "Paper",
    "RoomOf",
    "SheetLayout",
    "Tile",
    "TooManySheetsError",
    "is_large",
    "joined_sheets",
    "letter_factor",
    "one_sheet",
    "with_more_room",
]

#: From a paper, its direction (landscape: true), the place of its tables (beside the map: true, under it: false) and
#: whether it has all of them, to the width or height in millimetres that they need; None where they do not fit.
RoomOf = Callable[[str, bool, bool, bool], float | None]

MARGIN: Final = 10.0  #: from the edge of the paper to the frame
SHEET_FOOT_MM: Final = 17.0  #: strip with the bars under the map
PLAN_AIR_MM: Final = 9.0  #: kept free around what is drawn, for its labels
CRAMPED: Final = 0.25  #: of the long side, for tables that do not fit
LAP: Final = 12.0  #: that joined sheets show beyond their match lines
LARGE_TEXT_FACTOR: Final = 1.4  #: texts of a large sheet over those of others: the next height of ISO 3098
STRIP_RATIO: Final = 2.5  #: length over breadth from which a plot is a strip, which may be turned to fit a sheet
MIN_MAP_WIDTH_MM: Final = 183.0  #: of a map: under it stand the bar to check the printer by and a scale bar of 50 mm
LEAST_TURN: Final = 0.02  #: radians; a strip that lies so is not turned
MAX_TILES: Final = 50  #: sheets that join; more are a mistake in the book or in the scale


class TooManySheetsError(Exception):
    """A plan needs ``count`` sheets that join, more than anybody wants."""

    def __init__(self, count: int) -> None:
        self.count = count
        super().__init__(f"{count} sheets")


def is_large(paper: str) -> bool:
    """Return whether a sheet is read standing at a table, and so is lettered larger."""
    return paper in ("A1", "A0")


def letter_factor(paper: str) -> float:
    """Return how much larger than usual a sheet is lettered."""
    return LARGE_TEXT_FACTOR if is_large(paper) else 1.0


@record(frozen=True, slots=True)
class Tile:
    """The part of the plan that one sheet shows."""

    column: int  #: from the west
    row: int  #: from the north
    centre: tuple[float, float]  #: metres


@record(frozen=True, slots=True)
class SheetLayout:
    """The sheets of a plan: all of one size."""

    scale: int
    paper: str
    landscape: bool
    beside: bool  #: the tables stand in a column beside the map; otherwise in a band under it
    strip: float  #: width of that column or height of that band, mm
    complete: bool  #: it holds all tables; otherwise they have sheets of their own
    turn: float = 0.0  #: of the map on the paper, anticlockwise, radians
    tiles: tuple[Tile, ...] = ()
    joined: bool = False  #: several sheets that join

    @property
    def size(self) -> tuple[float, float]:
        """Return width and height of the paper, millimetres."""
        short, long = PAPERS[self.paper]
        return (long, short) if self.landscape else (short, long)

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Return left, bottom, right, top of the map on the paper, millimetres."""
        width, height = self.size
        right = width - MARGIN - (self.strip if self.beside else 0.0)
        bottom = MARGIN + SHEET_FOOT_MM + (0.0 if self.beside else self.strip)
        return MARGIN, bottom, right, height - MARGIN


class Paper:
    """One sheet's window on the map: from metres of the frame to millimetres on the paper."""

    def __init__(
        self, window: tuple[float, float, float, float], centre: tuple[float, float], scale: int, turn: float = 0.0
    ) -> None:
        left, bottom, right, top = window
        self._middle = np.array([(left + right) / 2, (bottom + top) / 2])
        self._half = np.array([right - left, top - bottom]) / 2
        self.centre = np.array(centre)
        self._mm = 1000 / scale
        self._turning = turning_matrix(turn)

    def points(self, metres: Any) -> Array:
        """Return points on the paper."""
        return np.asarray((metres - self.centre) @ self._turning.T * self._mm + self._middle)

    def metres(self, points: Any) -> Array:
        """Return where points of the paper are in the frame."""
        return np.asarray((points - self._middle) / self._mm @ self._turning + self.centre)

    def length(self, metres: float) -> float:
        """Return a length on the paper."""
        return metres * self._mm

    def shows(self, low: Array, high: Array, beyond: float = 0.0) -> Any:
        """Return which of some boxes, given by corners in metres, reach into the window or ``beyond`` mm from it."""
        middle = ((low + high) / 2 - self.centre) @ self._turning.T
        reach = (high - low) / 2 @ np.abs(self._turning).T
        return (np.abs(middle) <= (self._half + beyond) / self._mm + reach).all(axis=1)


def one_sheet(
    outline: Array, room_of: RoomOf, scale: int, papers: Sequence[str], landscape: bool | None
) -> SheetLayout | None:
    """Return the smallest sheet that holds a plan whole, None where none of the papers does.

    On one paper a sheet with all of the tables goes before one that leaves them to sheets of their own, and north up
    before a plan that is turned, as only a long strip may be. Of what is left the sheet with most room to spare.

    Parameters
    ----------
    outline
        Points (k, 2) that all that is drawn lies within, metres.
    room_of
        What the tables need.
    scale, papers, landscape
        n of 1:n; the papers in order of size; the one direction that is allowed, None for both.
    """
    ways = (True, False) if landscape is None else (landscape,)
    turns = {across: _strip_turn(outline, across=across) for across in ways}
    for paper in papers:
        for turned in (False, True):
            for complete in (True, False):
                layouts = [
                    layout
                    for across in ways
                    for turn in (turns[across] if turned else 0.0,)
                    if turn is not None
                    for beside in (True, False)
                    if (layout := _layout_if_it_fits(outline, room_of, scale, paper, across, beside, complete, turn))
                ]
                if layouts:
                    return max(layouts, key=lambda layout: _spare(outline, layout))
    return None


def with_more_room(outline: Array, layout: SheetLayout, room_of: RoomOf) -> SheetLayout | None:
    """Return a layout with as much room for its tables as they need; None where the plan leaves them less."""
    scale, paper, across = layout.scale, layout.paper, layout.landscape
    return _layout_if_it_fits(outline, room_of, scale, paper, across, layout.beside, layout.complete, layout.turn)


def _strip_turn(outline: Array, *, across: bool) -> float | None:
    """Return the turn that lays a strip along the longer side of a paper; None for what is no strip."""
    box = shapely.minimum_rotated_rectangle(shapely.MultiPoint(outline))
    if box.geom_type != "Polygon":
        return None
    corners = np.array(box.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(*sides.T)
    if lengths.max() < STRIP_RATIO * lengths.min():
        return None
    dx, dy = sides[lengths.argmax()]
    turn = (0.0 if across else pi / 2) - atan2(dy, dx)
    turn = (turn + pi / 2) % pi - pi / 2  # a strip has no head: north stays in the upper half
    return None if abs(turn) < LEAST_TURN else turn


def _layout_if_it_fits(
    outline: Array, room_of: RoomOf, scale: int, paper: str, across: bool, beside: bool, complete: bool, turn: float
) -> SheetLayout | None:
    """Return one way to lay out a plan where it holds it, its tile in the middle."""
    bare = SheetLayout(scale, paper, across, beside, 0.0, complete, turn)
    if _spare(outline, bare) < 0:
        return None  # without even drawing its tables
    strip = room_of(paper, across, beside, complete)
    if strip is None or _spare(outline, layout := replace(bare, strip=strip)) < 0:
        return None
    left, _, right, _ = layout.window
    if right - left < MIN_MAP_WIDTH_MM * letter_factor(paper):
        return None
    west, south, east, north = _bounds(outline, turn)
    x, y = turning_matrix(-turn) @ np.array([(west + east) / 2, (south + north) / 2])
    return replace(layout, tiles=(Tile(0, 0, (float(x), float(y))),))


def _bounds(outline: Array, turn: float) -> tuple[float, float, float, float]:
    """Return left, bottom, right, top of a turned outline, metres."""
    points = outline @ turning_matrix(turn).T
    (left, bottom), (right, top) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, bottom, right, top


def _spare(outline: Array, layout: SheetLayout) -> float:
    """Return how much of the window is left over in its scarcer direction, millimetres."""
    west, south, east, north = _bounds(outline, layout.turn)
    left, bottom, right, top = layout.window
    wide, high = (east - west) * 1000 / layout.scale, (north - south) * 1000 / layout.scale
    return min(right - left - wide, top - bottom - high) - 2 * PLAN_AIR_MM


def joined_sheets(outline: Array, room_of: RoomOf, scale: int, paper: str, landscape: bool | None) -> SheetLayout:
    """Return the fewest sheets of a paper that show everything between them."""
    west, south, east, north = _bounds(outline, 0.0)
    choices: list[SheetLayout] = []
    for across in (True, False) if landscape is None else (landscape,):
        room = room_of(paper, across, across, False)
        strip = PAPERS[paper][1] * CRAMPED if room is None else room
        layout = SheetLayout(scale, paper, across, across, strip, complete=False, joined=True)
        left, bottom, right, top = layout.window
        wide, high = (right - left - 2 * LAP) * scale / 1000, (top - bottom - 2 * LAP) * scale / 1000
        columns, rows = max(1, ceil((east - west) / wide)), max(1, ceil((north - south) / high))
        if columns * rows > MAX_TILES:
            raise TooManySheetsError(columns * rows)
        x0, y0 = (west + east) / 2 - wide * columns / 2, (south + north) / 2 + high * rows / 2
        tiles = tuple(
            Tile(column, row, (x0 + wide * (column + 0.5), y0 - high * (row + 0.5)))
            for row in range(rows)
            for column in range(columns)
        )
        choices.append(replace(layout, tiles=tiles))
    return min(choices, key=lambda layout: len(layout.tiles))
