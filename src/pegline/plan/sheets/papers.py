"""Scale and paper: the largest usual scale that fits, the smallest ISO 216 sheet that holds it, sheets that join."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import count
from math import ceil, isfinite
from typing import Any, Final

import numpy as np

from pegline.plan.display import Array

#: From a paper and its direction (landscape: true) to the room that its tables need.
StripOf = Callable[[str, bool], float | None]

__all__ = ["FOOT", "MARGIN", "PAPERS", "Layout", "Paper", "Tile", "choose_layout", "scales"]

#: ISO 216, A series: short and long side, millimetres.
PAPERS: Final[Mapping[str, tuple[int, int]]] = {
    "A4": (210, 297),
    "A3": (297, 420),
    "A2": (420, 594),
    "A1": (594, 841),
    "A0": (841, 1189),
}
USUAL: Final = "A3"  #: that a scale is chosen for
JOINED: Final = "A1"  #: several sheets are of this size by default
MARGIN: Final = 10.0  #: from the edge of the paper to the frame
FOOT: Final = 17.0  #: strip with the bars under the map
AIR: Final = 9.0  #: kept free around what is drawn, for its labels
CRAMPED: Final = 0.25  #: of the long side, for tables that do not fit
LAP: Final = 12.0  #: that joined sheets show beyond their match lines


def scales() -> Iterator[int]:
    """Yield the usual scales from the largest on.

    >>> from itertools import islice
    >>> list(islice(scales(), 8))
    [50, 100, 200, 250, 500, 1000, 2000, 2500]
    """
    yield from (50, 100, 200, 250)
    for power in count(2):
        yield from (5 * 10**power, 10 * 10**power, 20 * 10**power, 25 * 10**power)


@dataclass(frozen=True, slots=True)
class Tile:
    """The part of the plan that one sheet shows."""

    column: int  #: from the west
    row: int  #: from the north
    centre: tuple[float, float]  #: metres


@dataclass(frozen=True, slots=True)
class Layout:
    """The sheets of a plan: all of one size."""

    scale: int
    paper: str
    landscape: bool
    strip: float  #: width of the column (landscape) or height of the band (portrait) with the tables, mm
    tiles: tuple[Tile, ...]
    joined: bool = False  #: several sheets that join; the tables have a sheet of their own

    @property
    def size(self) -> tuple[float, float]:
        """Return width and height of the paper, millimetres."""
        short, long = PAPERS[self.paper]
        return (long, short) if self.landscape else (short, long)

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Return left, bottom, right, top of the map on the paper, millimetres."""
        width, height = self.size
        right = width - MARGIN - (self.strip if self.landscape else 0.0)
        bottom = MARGIN + FOOT + (0.0 if self.landscape else self.strip)
        return MARGIN, bottom, right, height - MARGIN


class Paper:
    """One sheet's window on the map: from metres of the frame to millimetres on the paper."""

    def __init__(self, window: tuple[float, float, float, float], centre: tuple[float, float], scale: int) -> None:
        left, bottom, right, top = window
        self._middle = np.array([(left + right) / 2, (bottom + top) / 2])
        self._half = np.array([right - left, top - bottom]) / 2
        self._centre = np.array(centre)
        self._mm = 1000 / scale

    def points(self, metres: Any) -> Array:
        """Return points on the paper."""
        return np.asarray((metres - self._centre) * self._mm + self._middle)

    def length(self, metres: float) -> float:
        """Return a length on the paper."""
        return metres * self._mm

    def shows(self, low: Array, high: Array, beyond: float = 0.0) -> Any:
        """Return which of some boxes, given by corners in metres, reach into the window or ``beyond`` mm from it."""
        half = (self._half + beyond) / self._mm
        return ((low <= self._centre + half) & (high >= self._centre - half)).all(axis=1)


def choose_layout(
    bounds: tuple[float, float, float, float],
    strip_of: StripOf,
    slim_of: StripOf,
    *,
    scale: int | None,
    paper: str | None,
    landscape: bool | None,
) -> Layout:
    """Return scale, sheet and what each sheet shows.

    Parameters
    ----------
    bounds
        West, south, east, north of what is drawn, metres.
    strip_of
        For each paper and direction (landscape: true) the width or height that its tables
        need, millimetres; None where they do not fit at all.
    slim_of
        The same for joined sheets, which leave the tables to a sheet of their own.
    scale, paper, landscape
        What the book or the run asks for; None leaves it open.
    """
    if not all(isfinite(edge) for edge in bounds):
        raise ValueError("what is drawn reaches to infinity")
    if scale is None:
        asked = paper or USUAL
        rooms = _at_least(strip_of, asked, landscape)
        scale = next(s for s in scales() if _fitting(bounds, rooms, s, asked, landscape))
    for name in [paper] if paper else PAPERS:
        # On a paper that is asked for the tables are cut to what fits; else a larger paper is taken.
        rooms = _at_least(strip_of, name, landscape) if paper else strip_of
        if found := _fitting(bounds, rooms, scale, name, landscape):
            return found
    name = paper or JOINED
    return _joined(bounds, _at_least(slim_of, name, landscape), scale, name, landscape)


def _at_least(room_of: StripOf, paper: str, landscape: bool | None) -> StripOf:
    """Return the room for tables, or where they fit a paper neither way what can be given them."""
    ways = (True, False) if landscape is None else (landscape,)
    if any(room_of(paper, across) is not None for across in ways):
        return room_of
    return lambda name, across: PAPERS[name][1] * CRAMPED


def _layouts(strip_of: StripOf, scale: int, paper: str, landscape: bool | None) -> Iterator[Layout]:
    for across in (True, False) if landscape is None else (landscape,):
        strip = strip_of(paper, across)
        if strip is not None:
            yield Layout(scale, paper, across, strip, ())


def _fitting(
    bounds: tuple[float, float, float, float],
    strip_of: StripOf,
    scale: int,
    paper: str,
    landscape: bool | None,
) -> Layout | None:
    """Return the layout on one sheet, of two the one that leaves the more room; None where neither holds it."""
    west, south, east, north = bounds
    wide, high = (east - west) * 1000 / scale, (north - south) * 1000 / scale

    def spare(layout: Layout) -> float:
        left, bottom, right, top = layout.window
        return min(right - left - wide, top - bottom - high) - 2 * AIR

    if all(spare(bare) < 0 for bare in _layouts(lambda *_: 0.0, scale, paper, landscape)):
        return None  # without even drawing its tables
    fitting = [layout for layout in _layouts(strip_of, scale, paper, landscape) if spare(layout) >= 0]
    if not fitting:
        return None
    tile = Tile(0, 0, ((west + east) / 2, (south + north) / 2))
    return replace(max(fitting, key=spare), tiles=(tile,))


def _joined(
    bounds: tuple[float, float, float, float],
    strip_of: StripOf,
    scale: int,
    paper: str,
    landscape: bool | None,
) -> Layout:
    """Return the fewest sheets that show everything between them."""
    west, south, east, north = bounds
    found: list[tuple[int, Layout]] = []
    for layout in _layouts(strip_of, scale, paper, landscape):
        left, bottom, right, top = layout.window
        wide, high = (right - left - 2 * LAP) * scale / 1000, (top - bottom - 2 * LAP) * scale / 1000
        columns, rows = max(1, ceil((east - west) / wide)), max(1, ceil((north - south) / high))
        x0, y0 = (west + east) / 2 - wide * columns / 2, (south + north) / 2 + high * rows / 2
        tiles = tuple(
            Tile(column, row, (x0 + wide * (column + 0.5), y0 - high * (row + 0.5)))
            for row in range(rows)
            for column in range(columns)
        )
        found.append((len(tiles), replace(layout, tiles=tiles, joined=True)))
    return min(found, key=lambda pair: pair[0])[1]
