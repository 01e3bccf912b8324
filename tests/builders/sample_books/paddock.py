"""A paddock in feet with one reading booked wrongly."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from builders.book import fill
from builders.party import REALISTIC, UNITS, Party
from builders.plot import TAPES, XY, Line, Plot, Row

__all__ = ["PLOT", "SLIPS", "right", "text"]

FOOT: Final = UNITS["ft"]


def feet(x: float, y: float) -> XY:
    """Return a place given in feet."""
    return x * FOOT, y * FOOT


STATIONS: Final[dict[str, XY]] = {
    "A": feet(0, 0),
    "B": feet(246.3, 0),
    "C": feet(195.4, 140.2),
    "D": feet(52.7, 138.9),
    "S": feet(118.0, 0),
}

POINTS: Final[dict[str, XY]] = {
    **{f"f{n}": feet(x, y) for n, (x, y) in enumerate(((-4, -6), (60, -9), (131, -11), (190, -8), (252, -5)), 1)},
    "t1": feet(84.0, 76.0),
    "t2": feet(150.5, 88.0),
    "trough": feet(228.0, 24.0),
}

PLOT: Final = Plot(
    STATIONS,
    (
        Line("A-B", "base", (Row("S", "station"),)),
        Line("A-D"),
        Line("B-C"),
        Line("D-C"),
        Line("A-C", "tie"),
        Line("B-D", "tie"),
        Line("S-D", "tie"),
        Line("S-C", "check"),
    ),
    points=POINTS,
    tapes={
        "steel": replace(TAPES["steel"], length=100 * FOOT),
        "cloth": replace(TAPES["fibreglass"], length=100 * FOOT),
    },
    offset_tape="cloth",
    method="swing",
)

#: what is booked wrongly
SLIPS: Final = {"B-C": "6 and 9"}

TEMPLATE: Final = """\
# A paddock in decimal feet whose lines do not agree: one reading is wrong. The place is invented.
#
# What this book shows
#   - lines enough that the program can say which reading is the likely slip, and what it was probably meant to be;
#   - what is delivered when a check fails: the plotting solution, marked as such on every output.
# The slip: the side B-C was booked with a 6 for a 9.
book: 1
title: Paddock behind the chapel
place: Marle End
date: 2024-06-03
unit: ft
scale: 500
surveyor: Ines Harrowgate
party: [Ines Harrowgate, Bo Tamm]
weather: showers; figures called through the rain
purpose: a new fence
note: the computation says what must be taped again before the fence is ordered
near: {latitude: 52.9, longitude: -1.4}       # rough; only to find the place

tapes:
  steel: {material: steel, length: 100}
  cloth: {material: fibreglass, length: 100 ft}
default_tape: {lines: steel, offsets: cloth}
default_method: swing

stations:                                     # placed roughly, off the sketch in the front of the book
  A: {mark: iron pin, sketch: [0, 0]}
  B: {mark: iron pin, sketch: [25, 0]}
  C: {mark: iron pin, sketch: [20, 14]}
  D: {mark: iron pin, sketch: [5, 14]}

lines:
  A-B:
    use: base
    taped: <A-B>
    details:
      - {<f1 on A-B>, feature: old fence}
      - {<f2 on A-B>, feature: old fence}
      - {<S along A-B>, station: S}
      - {<f3 on A-B>, feature: old fence}
      - {<f4 on A-B>, feature: old fence}
      - {<trough on A-B from 210 240>, point: trough}
      - {<f5 on A-B>, feature: old fence}
  A-D: {use: side, taped: <A-D>}
  B-C: {use: side, taped: <B-C>}
  D-C: {use: side, taped: <D-C>}
  A-C:
    use: tie
    taped: <A-C>
    details:
      - {<t1 on A-C by set square>, point: t1, kind: tree, method: set square, girth: 4 ft 1 in}
      - {<t2 on A-C by optical square>, point: t2, kind: stump, method: optical square}
  B-D: {use: tie, taped: <B-D>}
  S-D: {use: tie, taped: <S-D>}
  S-C: {use: check, taped: <S-C>}

features:
  old fence: {kind: fence, through: booked}
  trough: {kind: well, at: trough}

north:
  from: true                                  # by the sun at noon
  bearings: {A-B: <bearing A-B spaced>, B-A: <bearing B-A dashed>}
  accuracy: 0.5

sheet: {paper: A4, orientation: portrait, prepared_by: Ines Harrowgate, areas: [square feet]}
limits: {check: 0.5 ft, angle: [25°, 125°]}
"""


def text() -> str:
    """Return the book."""
    return fill(TEMPLATE, Party(PLOT, "ft", REALISTIC, seed=3, slips=SLIPS), turn_deg=-16.0)


def right() -> str:
    """Return what was read where the book has the slip."""
    return fill("<B-C>", Party(PLOT, "ft", REALISTIC, seed=3))
