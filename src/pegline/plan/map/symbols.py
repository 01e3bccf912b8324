"""Symbols, each described once in paper millimetres about its own middle; drawings and sheets use the same strokes.

Those drawn at a true size (a tree's spread) are one unit wide. Along a line, +x runs on and +y is its left.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, pi, sin, tan
from typing import Final

from pegline.records import record

__all__ = ["SYMBOLS", "Pen", "Symbol"]


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


def _line(*points: tuple[float, float]) -> Pen:
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


def _row(about: str, radius: float, *pens: Pen) -> Symbol:
    return Symbol(about, pens, radius)


SYMBOLS: Final[Mapping[str, Symbol]] = {
    "station": _row("station", 1.3, _ring(1.2), _ring(0.3, filled=True)),
    "tie-station": _row("tie station", 0.9, _ring(0.75), _ring(0.2, filled=True)),
    "known-station": _row(
        "station known on the grid",
        2.0,
        _loop((-1.9, -1.2), (1.9, -1.2), (0.0, 2.1)),
        _ring(0.9),
        _ring(0.3, filled=True),
    ),
    "point": _row("point that was fixed", 0.5, _line((-0.5, 0.0), (0.5, 0.0)), _line((0.0, -0.5), (0.0, 0.5))),
    "tree": _row("tree at its spread", 0.5, _lobes(9, 0.5), _ring(0.05, filled=True)),
    "tree-unsized": _row("tree, spread not booked", 1.9, _lobes(9, 1.8), _ring(0.3, filled=True)),
    "shrub": _row("shrub", 1.3, _lobes(5, 1.2)),
    "shrub-sized": _row("shrub at its spread", 0.5, _lobes(7, 0.5)),
    "stump": _row("stump", 1.0, _ring(0.9), _line((-0.55, -0.55), (0.55, 0.55)), _line((-0.55, 0.55), (0.55, -0.55))),
    "well": _row("well", 1.5, _ring(1.4), _ring(0.8)),
    "pole": _row("pole", 1.1, _ring(0.5, filled=True), _line((-1.1, 0.0), (1.1, 0.0))),
    "post": _row("post", 0.6, _square(0.5, filled=True)),
    "gate-post": _row("gate post", 0.7, _square(0.6), _ring(0.2, filled=True)),
    "cover": _row(
        "cover in the ground", 1.3, _square(1.0), _line((-1.0, 0.0), (1.0, 0.0)), _line((0.0, -1.0), (0.0, 1.0))
    ),
    "boundary-mark": _row(
        "boundary mark", 1.3, _loop((-1.2, 0.0), (0.0, -1.2), (1.2, 0.0), (0.0, 1.2)), _ring(0.25, filled=True)
    ),
    "spot": _row("spot", 0.8, _line((-0.7, -0.7), (0.7, 0.7)), _line((-0.7, 0.7), (0.7, -0.7))),
    "mark": _row("other point", 0.9, _ring(0.8), _line((0.0, -0.8), (0.0, 0.8))),
    "gate-bar": _row("bar across a gate", 1.2, _line((0.0, -1.1), (0.0, 1.1))),
    "leaf": _row("leaf of a hedge", 1.0, Pen(((-1.1, 0.0, -0.7), (0.0, 0.0, 0.7), (1.1, 0.0, 0.0)))),
    "fence-cross": _row("cross on a fence", 0.7, _line((-0.6, -0.6), (0.6, 0.6)), _line((-0.6, 0.6), (0.6, -0.6))),
    "wall-tooth": _row("tooth of a retaining wall", 1.0, _loop((-0.7, 0.0), (0.7, 0.0), (0.0, 1.1), filled=True)),
    "bank-tick": _row("tick along the top of a bank", 0.9, _line((0.0, -0.9), (0.0, 0.9))),
    "wire-loop": _row("loop on a wire", 0.8, _ring(0.6)),
}
