"""A small house plot in metres, on a grid in the south."""

from __future__ import annotations

import datetime
from dataclasses import replace
from math import dist

from builders.grid import Grid
from builders.party import REALISTIC, Party
from builders.plot import TAPES, XY, Line, Plot, Row
from builders.sample_books.shapes import outline, rectangle

__all__ = ["GRID", "PLOT", "text"]

STATIONS: dict[str, XY] = {
    "A": (0.0, 0.0),
    "B": (52.372, 0.0),
    "C": (18.45, 24.12),
    "D": (30.91, -22.75),
    "T": (24.6, 0.0),
}

HOUSE_FRONT: tuple[XY, XY] = ((9.8, 3.9), (20.4, 4.55))
SHED_SIDE: tuple[XY, XY] = ((34.904, -15.599), (39.366, -10.873))

POINTS: dict[str, XY] = {
    "h1": HOUSE_FRONT[0],
    "h2": HOUSE_FRONT[1],
    **dict(zip(("h3", "h4"), rectangle(*HOUSE_FRONT, 6.42), strict=True)),
    "s1": SHED_SIDE[0],
    "s2": SHED_SIDE[1],
    **dict(zip(("s3", "s4", "s5", "s6"), outline(*SHED_SIDE, (4.2, 3.0, 1.5, 3.0 - dist(*SHED_SIDE))), strict=True)),
    "apple": (30.2, 9.4),
    "pear": (34.6, 6.2),
    "quince": (16.2, -5.9),
    "post": (12.4, -8.2),
    "tank": (26.1, 8.0),
    "f1": (41.8, 0.0),
    "f2": (41.1, 4.4),
    "f3": (40.2, 8.655),
    "wall end": (14.9, 0.0),
    "g1": (-1.6, 0.0),
    "n1": (-3.1, -1.2),
    "n2": (-2.2, 4.9),
    "n3": (-0.4, 9.8),
    "e1": (54.0, 0.0),
    "b1": (19.2, 27.0),
    "b2": (55.6, 1.9),
    "b3": (31.3, -24.9),
    "b4": (-2.4, -1.3),
    "lilac": (25.6, 1.4),
    "bed 1": (28.1, -3.3),
    "bed 2": (33.0, -3.6),
    "bed 3": (32.6, -6.9),
    "bed 4": (27.7, -6.4),
    "path 1": (21.9, 4.64),
    "path 2": (23.2, 1.7),
    "path 3": (24.9, -2.3),
    "path 4": (26.4, -7.0),
    "meter": (10.9, 10.35),
}

PLOT = Plot(
    STATIONS,
    (
        Line("A-B", "base", (Row("T", "station"),)),
        Line("A-C"),
        Line("C-B"),
        Line("A-D"),
        Line("D-B"),
        Line("T-C", "tie"),
        Line("C-D", "check"),
    ),
    points=POINTS,
    tapes={"steel": replace(TAPES["steel"], a=0.004, b=10.3e-3 / 50 / 3**0.5), "fibre": TAPES["fibreglass"]},
    line_tape="steel",
    offset_tape="fibre",
)

GRID = Grid(
    "EPSG:32755", 466920.0, 5339040.0, turn_deg=-27.4, height=212.0, date=datetime.date(2025, 10, 11), control_sd=0.03
)

TEMPLATE = """\
# A small house plot, taped in an afternoon by two people. The place is invented.
#
# What this book shows
#   - the base line A-B on the diagonal, a triangle on either side of it, and one check line, C-D, across both;
#   - every way to book a point: at right angles, by two oblique distances or by three, on the line itself,
#     on the line prolonged (before 0 and past the end), from a tie station;
#   - a rectangle from its front wall, a shed taped round, trees with their spread, a bed, a path, a boundary;
#   - one station known on the grid and the compass: enough to lay the plan on the map.
book: 1
title: Wattle Cottage and its garden
place: Pelham Rise
date: 2025-10-11
unit: m
scale: 200
surveyor: R. Okonjo-Vance
party: [R. Okonjo-Vance, T. Lindqvist]
weather: dry, light wind, 14 °C
purpose: garden plan before planting
licence: CC0-1.0
note: one check line over two triangles; every figure booked on the spot
instruments: {square: two-mirror optical square, compass: hand compass read to a quarter of a degree}

tapes:
  steel: {material: steel, length: 50, class: II, accuracy: 0.004}
  fibre: {material: fibreglass, length: 30}
default_tape: {lines: steel, offsets: fibre}
default_method: optical square

stations:
  A: {mark: hardwood peg with nail}
  B: {mark: hardwood peg with nail, note: under the hedge; clear the leaves}
  C: {mark: wooden peg, left_of: A-B}
  D: {mark: nail in kerb, right_of: A-B}
  T: {mark: arrow only}

lines:
  A-B:
    use: base
    taped: [<A-B>, <B-A>]                     # forward and back
    details:
      - {<g1 along A-B>, feature: gate}                           # the line prolonged, behind the peg
      - {<n1 on A-B from -2 1.5>, point: n1, kind: boundary mark}
      - {<h1 on A-B>, point: h1}
      - {<post on A-B from 8 16>, point: post, kind: post}
      - {<wall end along A-B>, point: wall end}                   # a low wall begins on the line
      - {<quince on A-B from 12 20 face 0.09>, point: quince, kind: tree, girth: 0.565, to: face, spread: 3.2}
      - {<h2 on A-B twice>, point: h2}
      - {<lilac on A-B by eye>, point: lilac, kind: shrub, spread: 1.8, method: eye}
      - {<T along A-B>, station: T}
      - {<path 3 on A-B>, point: path 3}
      - {<bed 1 on A-B>, point: bed 1}
      - {<bed 2 on A-B>, point: bed 2}
      - {<tank on A-B from 20 T 32>, point: tank}                 # three arms, one of them from the tie station
      - {<apple on A-B from T 36>, kind: tree, point: apple, girth: 0.95, spread: 5.5, height: 4, label: Apple}
      - {<pear on A-B>, kind: tree, point: pear, width: 0.22, spread: 4, note: leans east}
      - {<f1 along A-B>, feature: fence}                          # the fence crosses the line
      - {<f2 on A-B by swing>, feature: fence, method: swing}
      - {<f3 on A-B>, feature: fence}
      - {<e1 along A-B>, point: e1, note: hedge foot; 1.6 past the peg}
      - {<b2 on A-B>, point: b2}
      - {<b4 on A-B>, point: b4}
  A-C:
    use: side
    taped: <A-C>
    details:
      - {<n2 on A-C>, point: n2}
      - {<n3 on A-C>, point: n3}
      - {<h4 on A-C>, point: h4}
      - {<meter on A-C>, point: meter, kind: cover}
      - {<b1 on A-C>, point: b1}
  C-B: {use: side, taped: <C-B>}
  A-D:
    use: side
    taped: <A-D>
    details:
      - {<b3 on A-D>, point: b3}
  D-B:
    use: side
    taped: <D-B>
    details:
      - {<s1 on D-B>, point: s1}
      - {<s2 on D-B>, point: s2}
  T-C:
    use: tie
    taped: <T-C>
    details:
      - {<path 2 on T-C>, point: path 2}
      - {<h3 on T-C>, point: h3}              # a corner of the house, seen from here too
  C-D: {use: check, taped: <C-D>}

dimensions:
  h1-h2: <h1-h2>
  h1-h3: <h1-h3>                              # the diagonal of the house
  s1-s2: <s1-s2>
  bed 3-bed 4: <bed 3-bed 4>

arcs:
  - {point: bed 3, from: {bed 1: <bed 1-bed 3>, bed 2: <bed 2-bed 3>}, right_of: bed 1-bed 2}
  - {point: bed 4, from: {bed 1: <bed 1-bed 4>, bed 2: <bed 2-bed 4>, T: <T-bed 4>}}
  - {point: path 1, from: {h2: <h2-path 1>, h3: <h3-path 1>}, right_of: h2-h3}
  - {point: path 4, from: {bed 4: <bed 4-path 4>, T: <T-path 4>}, left_of: bed 4-T}

features:
  cottage: {kind: building, rectangle: {edge: h1-h2, left: <h2-h3>}, corners: [h3, h4], label: Wattle Cottage}
  shed:
    kind: outbuilding
    taped_round:
      edge: s1-s2
      walls: [left <s2-s3>, left <s3-s4>, left <s4-s5>, right <s5-s6>, left <s6-s1>]
    corners: [s3, s4, s5, s6]
  water tank: {kind: well, circle: {centre: tank, radius: 0.9}}
  front boundary: {kind: boundary, ring: [b4, b3, b2, b1]}
  gate: {kind: gate, through: [booked, b4]}
  fence: {kind: fence, through: booked}
  west hedge: {kind: hedge, through: [n1, n2, n3], thickness: 0.8, face: middle, height: 1.5}
  low wall: {kind: wall, through: [wall end, post], thickness: 0.23, face: left}
  rose bed: {kind: bed, ring: [bed 1, bed 2, bed 3, bed 4], data: {soil: clay, planted: 2019}}
  garden path: {kind: path, curve: [path 1, path 2, path 3, path 4]}
  path edge: {kind: kerb, parallel: {to: garden path, left: 0.9}}
  corner spot: {kind: spot, at: e1}

witnesses:
  A: {h1: <h1-A>, post: <post-A>, wall end: <wall end-A>}
  B: {fence.1: <f1-B>, pear: <pear-B>, letter box: {distance: <b2-B>, note: to the hinge of its door}}
  C: {h3: <h3-C>, h4: <h4-C>, meter: <meter-C>}
  D: {s1: <s1-D>, s2: <s2-D>, b3: <b3-D>}

north:
  from: magnetic                              # the declination comes from the model for the day and the place
  bearings: {A-B: [<bearing A-B>, <bearing A-B>], B-A: <bearing B-A>, A-C: <bearing A-C>}
  accuracy: 0.5°

control:
  crs: EPSG:32755
  ground_height: 212
  points:
    A: {easting: <easting A>, northing: <northing A>, accuracy: 0.03}

sheet:
  orientation: landscape
  prepared_for: the owners
  prepared_by: R. Okonjo-Vance
  number: PR-1
  revision: a
  areas: [m2]
"""


def text() -> str:
    """Return the book."""
    return GRID.fill(TEMPLATE, Party(PLOT, "m", REALISTIC, seed=1))
