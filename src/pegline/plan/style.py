"""How a layer looks: one row a layer, its line types by pattern in paper millimetres; marks of the kinds; symbols."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from math import cos, pi, sin, tan
from typing import Final

from pegline.book.model import OwnKind
from pegline.kinds import KINDS
from pegline.records import record

__all__ = [
    "KIND_LOOKS",
    "LAYERS",
    "LINE_TYPES",
    "SYMBOLS",
    "KindLook",
    "Layer",
    "Pen",
    "Symbol",
    "layer_of",
    "plain_name",
    "plots",
]


@record(frozen=True, slots=True)
class Layer:
    """One layer of the drawing."""

    name: str  #: ASCII capitals and hyphens
    about: str  #: for whoever opens the drawing
    line_type: str  #: a name of ``LINE_TYPES``
    weight: int  #: of its lines, hundredths of a millimetre; one that drawings know
    rgb: tuple[int, int, int]  #: on paper
    index: int  #: colour number in drawings; 7 is black on white and white on black
    plots: bool = True
    text: bool = False  #: holds labels
    fill: float | None = None  #: grey of its areas on paper, 0 black to 1 white; None: not filled


#: Dash (+), gap (-) and dot (0) lengths in paper millimetres.
LINE_TYPES: Final[Mapping[str, tuple[float, ...]]] = {
    "CONTINUOUS": (),
    "LONG-DASH": (5.0, -1.5),
    "SHORT-DASH": (2.0, -1.0),
    "DOTS": (0.0, -1.0),
    "DASH-DOT": (5.0, -1.2, 0.0, -1.2),
    "DASH-TWO-DOTS": (5.0, -1.0, 0.0, -1.0, 0.0, -1.0),
    "LONG-SHORT": (7.0, -1.2, 2.0, -1.2),
    "BOUNDARY": (8.0, -1.2, 1.6, -1.2, 1.6, -1.2),
    "WIDE-DASH": (8.0, -2.5),
}

_BLACK: Final = ((0, 0, 0), 7)
_GREY: Final = ((105, 105, 105), 8)
_PALE: Final = ((150, 150, 150), 9)
_GREEN: Final = ((30, 100, 50), 104)
_BLUE: Final = ((20, 80, 150), 154)
_BROWN: Final = ((120, 75, 30), 34)
_RED: Final = ((165, 35, 35), 14)


def _row(
    name: str,
    about: str,
    line_type: str,
    weight: int,
    colour: tuple[tuple[int, int, int], int],
    *,
    plots: bool = True,
    text: bool = False,
    fill: float | None = None,
) -> Layer:
    return Layer(name, about, line_type, weight, *colour, plots=plots, text=text, fill=fill)


#: Every layer that ships, in drawing order.
LAYERS: Final[Mapping[str, Layer]] = {
    layer.name: layer
    for layer in (
        _row("GRID", "grid ticks and their coordinates", "CONTINUOUS", 13, _PALE),
        _row("FILLS", "fills of buildings and water, on request", "CONTINUOUS", 9, ((225, 225, 225), 254)),
        _row("PAVING", "paved areas", "CONTINUOUS", 18, _GREY, fill=0.96),
        _row("PLANTING", "beds and shrubs", "SHORT-DASH", 18, _GREEN),
        _row("WATER", "ponds, wells and edges of water", "CONTINUOUS", 25, _BLUE, fill=0.94),
        _row("PATHS", "paths", "SHORT-DASH", 18, _GREY),
        _row("ROADS", "edges of roads and kerbs", "CONTINUOUS", 25, _GREY),
        _row("STEPS", "steps", "CONTINUOUS", 18, _GREY),
        _row("DRAINAGE", "drains and ditches", "DASH-DOT", 18, _BLUE),
        _row("BANKS", "tops and feet of banks", "DASH-TWO-DOTS", 18, _BROWN),
        _row("OVERHEAD", "wires overhead", "DASH-TWO-DOTS", 13, _GREY),
        _row("HEDGES", "hedges", "CONTINUOUS", 25, _GREEN),
        _row("FENCES", "fences and gates", "LONG-DASH", 25, _BROWN),
        _row("WALLS", "free-standing and retaining walls", "CONTINUOUS", 30, _BLACK),
        _row("BUILDINGS", "buildings, outbuildings and porches", "CONTINUOUS", 50, _BLACK, fill=0.88),
        _row("BOUNDARIES", "boundaries as pointed out, and their marks", "BOUNDARY", 35, _RED),
        _row("TREES", "trees at their spread, and stumps", "CONTINUOUS", 18, _GREEN),
        _row("POSTS", "poles, posts and gate posts", "CONTINUOUS", 25, _BLACK),
        _row("COVERS", "covers in the ground", "CONTINUOUS", 18, _BLACK),
        _row("SPOTS", "spots that were fixed", "CONTINUOUS", 18, _BLACK),
        _row("OTHER", "kinds of the book's own", "CONTINUOUS", 25, _BLACK),
        _row("STATIONS", "stations and tie stations", "CONTINUOUS", 25, _BLACK),
        _row("NAMES", "names of features", "CONTINUOUS", 18, _BLACK, text=True),
        _row("LEADERS", "lines from names to what they name", "CONTINUOUS", 9, _BLACK),
        _row("DIMENSIONS", "lengths of walls", "CONTINUOUS", 13, _GREY, text=True),
        _row("AREAS", "areas", "CONTINUOUS", 18, _BLACK, text=True),
        _row("STATION-NAMES", "names of stations", "CONTINUOUS", 18, _BLACK, text=True),
        _row("BOUNDARY-FIGURES", "lengths and bearings along boundaries", "CONTINUOUS", 18, _RED, text=True),
        _row("CHAIN-LINES", "chain lines that make the framework", "LONG-SHORT", 13, _GREY, plots=False),
        _row("CHECK-LINES", "check lines", "WIDE-DASH", 13, _GREY, plots=False),
        _row("OFFSETS", "offsets, from the line to the point", "CONTINUOUS", 9, _PALE, plots=False),
        _row("OFFSET-FIGURES", "offsets as booked", "CONTINUOUS", 9, _PALE, plots=False, text=True),
        _row("POINTS", "every point that was fixed", "CONTINUOUS", 13, _GREY, plots=False),
        _row("POINT-NAMES", "names of points", "CONTINUOUS", 9, _GREY, plots=False, text=True),
        _row("ELLIPSES", "ellipses of 95 % of stations and points", "CONTINUOUS", 9, _RED, plots=False),
        _row("WITNESSES", "distances from lasting objects to pegs", "SHORT-DASH", 9, _BROWN, plots=False),
        _row("MATCH-LINES", "where the next sheet goes on", "WIDE-DASH", 35, _BLACK),
        _row("SHEET-FRAME", "frame of a sheet", "CONTINUOUS", 50, _BLACK),
        _row("SHEET", "lines of the sheet's tables, scale bar and north point", "CONTINUOUS", 18, _BLACK),
        _row("SHEET-TEXT", "text of the sheet", "CONTINUOUS", 18, _BLACK, text=True),
        _row("KEY", "samples of the key", "CONTINUOUS", 18, _BLACK),
        _row("SKETCHES", "sketches of pegs and other small maps", "CONTINUOUS", 18, _BLACK),
        _row("NOTES", "result of the checks, unit and frame of the drawing", "CONTINUOUS", 25, _BLACK, text=True),
        _row("SHEET-WINDOW", "edge of the map on a sheet", "CONTINUOUS", 13, _PALE, plots=False),
    )
}


@record(frozen=True, slots=True)
class KindLook:
    """Where a kind differs from its layer."""

    symbol: str | None = None  #: for points
    sized_symbol: str | None = None  #: for points drawn at their true size; None: the same
    line_type: str | None = None
    tuft: str | None = None  #: symbol repeated along a line
    every: float = 0.0  #: paper millimetres between two of them


KIND_LOOKS: Final[Mapping[str, KindLook]] = {
    "outbuilding": KindLook(line_type="LONG-DASH"),
    "porch": KindLook(line_type="SHORT-DASH"),
    "gate": KindLook(line_type="SHORT-DASH", tuft="gate-bar"),
    "hedge": KindLook(tuft="leaf", every=4.0),
    "fence": KindLook(tuft="fence-cross", every=13.0),
    "retaining wall": KindLook(tuft="wall-tooth", every=6.0),
    "kerb": KindLook(line_type="CONTINUOUS"),
    "road edge": KindLook(line_type="CONTINUOUS"),
    "ditch": KindLook(line_type="LONG-SHORT"),
    "bank top": KindLook(tuft="bank-tick", every=4.0),
    "bank foot": KindLook(line_type="DOTS"),
    "overhead line": KindLook(tuft="wire-loop", every=18.0),
    "tree": KindLook(symbol="tree-unsized", sized_symbol="tree"),
    "shrub": KindLook(symbol="shrub", sized_symbol="shrub-sized"),
    "stump": KindLook(symbol="stump"),
    "well": KindLook(symbol="well"),
    "pole": KindLook(symbol="pole"),
    "post": KindLook(symbol="post"),
    "gate post": KindLook(symbol="gate-post"),
    "cover": KindLook(symbol="cover"),
    "boundary mark": KindLook(symbol="boundary-mark"),
    "spot": KindLook(symbol="spot"),
}


def plain_name(text: str) -> str:
    """Return a name that every drawing program takes: ASCII capitals, digits, hyphens, at most 31.

    >>> plain_name("Clôture électrique")
    'CLOTURE-ELECTRIQUE'
    """
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Z0-9_]+", "-", ascii_text.upper()).strip("-")[:31].strip("-")


def plots(layer: str) -> bool:
    """Return whether what is on a layer plots; layers of a book's own do."""
    return layer not in LAYERS or LAYERS[layer].plots


def layer_of(kind: str, own: Mapping[str, OwnKind]) -> Layer:
    """Return the layer that a kind of feature is drawn on; a book's own kind may make one."""
    if kind in KINDS:
        return LAYERS[KINDS[kind].layer]
    booked = own.get(kind)
    name = plain_name(booked.layer or "") if booked else ""
    if not name:
        return LAYERS["OTHER"]
    if name in LAYERS:
        return LAYERS[name]
    return _row(name, f"a layer of the book's own: {booked.layer if booked else ''}", "CONTINUOUS", 25, _BLACK)


# -- symbols -----------------------------------------------------------------------------------------
# Each is described once in paper millimetres about its own middle; drawings and sheets use the same strokes. Those
# drawn at a true size (a tree's spread) are one unit wide. Along a line, +x runs on and +y is its left.


@record(frozen=True, slots=True)
class Pen:
    """One stroke of a symbol: vertices (x, y, bulge of the piece that follows)."""

    vertices: tuple[tuple[float, float, float], ...]
    closed: bool = False
    filled: bool = False


@record(frozen=True, slots=True)
class Symbol:
    """A symbol."""

    about: str
    pens: tuple[Pen, ...]
    radius: float  #: that labels keep clear of


def _ring(radius: float, x: float = 0.0, y: float = 0.0, *, filled: bool = False) -> Pen:
    return Pen(((x - radius, y, 1.0), (x + radius, y, 1.0)), closed=True, filled=filled)


def _stroke(*points: tuple[float, float]) -> Pen:
    return Pen(tuple((x, y, 0.0) for x, y in points))


def _loop(*points: tuple[float, float], filled: bool = False) -> Pen:
    return Pen(tuple((x, y, 0.0) for x, y in points), closed=True, filled=filled)


def _square(half: float, *, filled: bool = False) -> Pen:
    return _loop((-half, -half), (half, -half), (half, half), (-half, half), filled=filled)


def _lobes(count: int, radius: float) -> Pen:
    """Return a wreath of arcs that bulge outward, within a radius."""
    arc = pi / 2  # each lobe turns so much more than the wreath itself does
    bulge = tan((2 * pi / count + arc) / 4)
    chord_half = sin(pi / count)
    inner = radius / (cos(pi / count) + bulge * chord_half)
    angles = [2 * pi * i / count for i in range(count)]
    return Pen(tuple((inner * cos(a), inner * sin(a), bulge) for a in angles), closed=True)


def _symbol(about: str, radius: float, *pens: Pen) -> Symbol:
    return Symbol(about, pens, radius)


SYMBOLS: Final[Mapping[str, Symbol]] = {
    "station": _symbol("station", 1.3, _ring(1.2), _ring(0.3, filled=True)),
    "tie-station": _symbol("tie station", 0.9, _ring(0.75), _ring(0.2, filled=True)),
    "known-station": _symbol(
        "station known on the grid",
        2.0,
        _loop((-1.9, -1.2), (1.9, -1.2), (0.0, 2.1)),
        _ring(0.9),
        _ring(0.3, filled=True),
    ),
    "point": _symbol("point that was fixed", 0.5, _stroke((-0.5, 0.0), (0.5, 0.0)), _stroke((0.0, -0.5), (0.0, 0.5))),
    "tree": _symbol("tree at its spread", 0.5, _lobes(9, 0.5), _ring(0.05, filled=True)),
    "tree-unsized": _symbol("tree, spread not booked", 1.9, _lobes(9, 1.8), _ring(0.3, filled=True)),
    "shrub": _symbol("shrub", 1.3, _lobes(5, 1.2)),
    "shrub-sized": _symbol("shrub at its spread", 0.5, _lobes(7, 0.5)),
    "stump": _symbol(
        "stump", 1.0, _ring(0.9), _stroke((-0.55, -0.55), (0.55, 0.55)), _stroke((-0.55, 0.55), (0.55, -0.55))
    ),
    "well": _symbol("well", 1.5, _ring(1.4), _ring(0.8)),
    "pole": _symbol("pole", 1.1, _ring(0.5, filled=True), _stroke((-1.1, 0.0), (1.1, 0.0))),
    "post": _symbol("post", 0.6, _square(0.5, filled=True)),
    "gate-post": _symbol("gate post", 0.7, _square(0.6), _ring(0.2, filled=True)),
    "cover": _symbol(
        "cover in the ground", 1.3, _square(1.0), _stroke((-1.0, 0.0), (1.0, 0.0)), _stroke((0.0, -1.0), (0.0, 1.0))
    ),
    "boundary-mark": _symbol(
        "boundary mark", 1.3, _loop((-1.2, 0.0), (0.0, -1.2), (1.2, 0.0), (0.0, 1.2)), _ring(0.25, filled=True)
    ),
    "spot": _symbol("spot", 0.8, _stroke((-0.7, -0.7), (0.7, 0.7)), _stroke((-0.7, 0.7), (0.7, -0.7))),
    "mark": _symbol("other point", 0.9, _ring(0.8), _stroke((0.0, -0.8), (0.0, 0.8))),
    "gate-bar": _symbol("bar across a gate", 1.2, _stroke((0.0, -1.1), (0.0, 1.1))),
    "leaf": _symbol("leaf of a hedge", 1.0, Pen(((-1.1, 0.0, -0.7), (0.0, 0.0, 0.7), (1.1, 0.0, 0.0)))),
    "fence-cross": _symbol(
        "cross on a fence", 0.7, _stroke((-0.6, -0.6), (0.6, 0.6)), _stroke((-0.6, 0.6), (0.6, -0.6))
    ),
    "wall-tooth": _symbol("tooth of a retaining wall", 1.0, _loop((-0.7, 0.0), (0.7, 0.0), (0.0, 1.1), filled=True)),
    "bank-tick": _symbol("tick along the top of a bank", 0.9, _stroke((0.0, -0.9), (0.0, 0.9))),
    "wire-loop": _symbol("loop on a wire", 0.8, _ring(0.6)),
}
