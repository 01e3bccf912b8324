"""A larger estate, laid on the grid by two known stations."""

from __future__ import annotations

import datetime
from dataclasses import replace
from math import atan, cos, degrees, dist, pi, sin
from typing import Final

from builders.grid import Grid
from builders.networks import between
from builders.party import REALISTIC, Party
from builders.plot import TAPES, XY, Leg, Line, Plot, Row
from builders.sample_books.shapes import beside, outline, rectangle, run

__all__ = ["GRID", "PLOT", "text"]

STATIONS: Final[dict[str, XY]] = {
    "A": (0.0, 0.0),
    "B": (241.31, 0.0),
    "C": (62.42, 88.73),
    "D": (171.86, 96.24),
    "E": (58.93, -71.35),
    "F": (176.27, -80.41),
    "G": (118.64, 151.92),
    "T1": (96.05, 0.0),
    "T2": between((62.42, 88.73), (171.86, 96.24), 0.52),
}


def pond(number: int) -> XY:
    """Return one of ten places round the pond's edge."""
    angle = 2 * pi * number / 10
    return 138.0 + 9.6 * cos(angle) + 0.4 * sin(2 * angle), 50.0 + 7.2 * sin(angle)


A, B, C, D, E, F, G, T1, T2 = STATIONS.values()
GARDEN: Final = beside(T1, E, 20.0, 6.0), beside(T1, E, 44.0, 6.4)
STABLE: Final = beside(C, D, 18.0, -4.0), beside(C, D, 42.5, -4.3)
HOUSE: Final = beside(G, D, 22.0, -3.5), beside(G, D, 40.0, -3.1)

GLASS: Final = beside(*GARDEN, 5.0, 3.0), beside(*GARDEN, 15.0, 3.1)

POINTS: Final[dict[str, XY]] = {
    "g1": GARDEN[0],
    "g2": GARDEN[1],
    **dict(zip(("g3", "g4", "g5", "g6"), outline(*GARDEN, (30.0, 10.0, 4.0, 10.0 - dist(*GARDEN))), strict=True)),
    "glass 1": GLASS[0],
    "glass 2": GLASS[1],
    **dict(zip(("glass 3", "glass 4"), rectangle(*GLASS, 4.05), strict=True)),
    "s1": STABLE[0],
    "s2": STABLE[1],
    **dict(zip(("s3", "s4"), rectangle(*STABLE, -7.2), strict=True)),
    "h1": HOUSE[0],
    "h2": HOUSE[1],
    **dict(zip(("h3", "h4", "h5", "h6"), outline(*HOUSE, (-9.4, -6.2, 3.1, 6.2 - dist(*HOUSE))), strict=True)),
    **run("a", A, E, ((4, -4.4), (24, -4.8), (45, -5.1), (66, -5.1), (84, -5.0))),
    "bend": (57.23, -74.64),
    **run("e", E, F, ((9, -5.0), (30, -5.1), (54, -4.9), (80, -4.8), (106, -5.0))),
    **{f"p{n}": pond(n) for n in range(10)},
    **run("w", A, C, ((6, 3.1), (38, 4.2), (71, 2.6), (104, 3.3))),
    "knee": (66.0, 100.5),
    **run("c", C, G, ((16, 3.8), (44, 5.0), (76, 4.1))),
    "lime": beside(D, B, 40.0, 5.2),
    "cedar": beside(D, B, 71.0, -8.1),
    "hive 1": beside(D, B, 88.0, 3.0),
    "hive 2": beside(D, B, 92.0, 3.4),
    "k1": beside(B, F, 20.0, -3.0),
    "k2": beside(B, F, 52.0, -2.4),
    "k3": beside(B, F, 81.0, -3.3),
    "cover": beside(T1, D, 30.0, 6.5),
    "v1": beside(D, B, 12.0, -3.0),
    "v2": beside(D, B, 27.0, -3.2),
    "v3": beside(D, B, 26.6, -11.5),
    "v4": beside(D, B, 12.4, -11.0),
    "well": beside(T1, C, 50.0, 4.4),
}

STEEL: Final = replace(
    TAPES["steel"],
    length=50.0,
    true_length=50.004,
    b=8.3e-5,
    expansion=11.5e-6,
    standard_pull=50.0,
    stretch=1 / (3.2 * 205e3),
    mass=0.025,
)
ONE_IN_TWELVE: Final = degrees(atan(1 / 12))

PLOT: Final = Plot(
    STATIONS,
    (
        Line("A-B", "base", (Row("T1", "station"),), (Leg(temperature=9.0, pull=50.0),)),
        Line("A-C", legs=(Leg(temperature=9.0),)),
        Line("C-B"),
        Line("C-D", rows=(Row("T2", "station"),)),
        Line("D-B", legs=(Leg(slope=3.0),)),
        Line("A-E", legs=(Leg(0.4, slope=ONE_IN_TWELVE), Leg(0.6, slope=2.5, temperature=11.0))),
        Line("E-B"),
        Line("E-F", legs=(Leg(temperature=12.0, pull=80.0, spans=3, rise=0.6), Leg(tape="fibre", rise=0.6))),
        Line("B-F", legs=(Leg(rise=2.4),)),
        Line("C-G", legs=(Leg(rise=5.2),)),
        Line("G-D", legs=(Leg(slope=ONE_IN_TWELVE),)),
        Line("T1-C", "tie"),
        Line("T1-D", "tie"),
        Line("T1-E", "tie"),
        Line("T1-F", "tie"),
        Line("T2-G", "tie", legs=(Leg(pull=60.0, spans=2, rise=4.9),)),
        Line("A-D", "tie"),
        Line("C-E", "check"),
        Line("T2-F", "check"),
        Line("g1-g2", "detail", legs=(Leg(tape="fibre"),)),
    ),
    points=POINTS,
    tapes={"steel": STEEL, "fibre": replace(TAPES["fibreglass"], a=0.008, b=1 / 2500), "linen": TAPES["linen"]},
    offset_tape="fibre",
)

GRID: Final = Grid(
    "EPSG:25830",
    524720.0,
    6019190.0,
    turn_deg=33.2,
    height=140.0,
    date=datetime.date(2026, 3, 21),
    control_sd=0.03,
    geographic_sd=0.3,
)

TEMPLATE: Final = """\
# A small estate, three days' work for a party of three. The place is invented.
#
# What this book shows
#   - a base line with triangles on both sides, ties from two tie stations, two check lines;
#   - lines over slopes, in legs, under a known pull and temperature, hung in spans, taped with two tapes;
#   - a curved lane booked along two lines with its far edge as an offset copy, and a pond all round;
#   - right-angled walls: a walled garden with a step in it, a stable, a house taped round;
#   - a line along a wall with its own detail, a fence that goes on from one line to the next;
#   - two stations known on the grid, one of them by a satellite receiver in latitude and longitude;
#   - one reading that may be either of two figures; kinds of the book's own.
book: 1
title: Holm Sike House and grounds
place: Upper Sallowdale
date: 2026-03-21
unit: m
scale: 1000
surveyor: M. Quill-Adeyemi
party: [M. Quill-Adeyemi, J. Sorrel, P. Vaszary]
weather: cold, still; ground hard
instruments:
  steel: 50 m band, compared in January
  balance: spring balance to 1 N
  clinometer: to half a degree
purpose: record plan of the grounds
licence: CC-BY-4.0
note: the lane was muddy; its far edge is taken as parallel
pages: {1: scans/holm-1.jpg, 2: scans/holm-2.jpg}

tapes:
  steel:
    material: steel
    length: 50
    class: I
    true_length: 50.004
    standard_temperature: 20
    standard_pull: 50
    mass: 0.025
    section: 3.2
    modulus: 205
    expansion: 0.0000115
    accuracy: {fixed: 0.005, per_length: 0.000083}
  fibre: {material: fibreglass, length: 30, accuracy: {fixed: 0.008, per_length: 0.0004}}
  linen: {material: linen, length: 20}
default_tape: {lines: steel, offsets: fibre}
default_method: optical square

stations:
  A: {mark: bolt in rock}
  B: {mark: oak peg}
  C: {mark: oak peg, left_of: A-B}
  D: {mark: oak peg, left_of: A-B}
  E: {mark: oak peg, right_of: A-B}
  F: {mark: oak peg, right_of: A-B}
  G: {mark: oak peg, left_of: C-D, note: by the north gate}

lines:
  A-B:
    use: base
    temperature: 9
    pull: 50
    page: 1
    taped: [<A-B>, <B-A>]
    accuracy: {fixed: 0.008, per_length: 0.00003}
    details:
      - {<T1 along A-B>, station: T1}
  A-C:
    use: side
    temperature: 9
    taped: <A-C>
    details:
      - {<w1 on A-C>, feature: west fence}
      - {<w2 on A-C>, feature: west fence}
      - {<w3 on A-C>, feature: west fence}
      - {<w4 on A-C>, feature: west fence}
  C-B: {use: side, taped: <C-B>}
  C-D:
    use: side
    taped: <C-D>
    details:
      - {<s1 on C-D>, point: s1}
      - {<s2 on C-D>, point: s2}
      - {<T2 along C-D>, station: T2}
  D-B:
    use: side
    slope: 3°
    slope_accuracy: 0.25°
    method: set square
    taped: <D-B>
    details:
      - {<v1 on D-B by set square>, point: v1}
      - {<v2 on D-B by set square>, point: v2, accuracy: 0.03, note: nettles}
      - {<lime on D-B by set square face 0.25>, point: lime, kind: tree, width: 0.5, to: face, spread: 9, height: 16}
      - {<cedar on D-B by optical square>, point: cedar, kind: tree, girth: 3.1, to: centre, method: optical square}
      - {<hive 1 on D-B by set square>, point: hive 1, kind: beehive}
      - {<hive 2 on D-B by set square>, point: hive 2, kind: beehive}
  A-E:
    use: side
    legs:
      - {reading: <A-E leg 1>, slope: 1 in 12}
      - {reading: <A-E leg 2>, slope: 2.5, temperature: 11, date: 2026-03-20}
    slope_accuracy: 0°15'
    details:
      - {<a1 on A-E>, feature: lane}
      - {<a2 on A-E>, feature: lane}
      - {<a3 on A-E>, feature: lane}
      - {<a4 on A-E>, feature: lane}
      - {<a5 on A-E>, feature: lane}
  E-B: {use: side, taped: <E-B>}
  E-F:
    use: side
    rise: 0.6
    rise_accuracy: 0.1
    taped:
      - {reading: <E-F leg 1>, temperature: 12, pull: 80, spans: 3, date: 2026-03-20}
      - {reading: <E-F leg 2>, tape: fibre, rise: 0.6}
    details:
      - {<e1 on E-F>, feature: lane}
      - {<e2 on E-F>, feature: lane}
      - {<e3 on E-F>, feature: lane}
      - {<e4 on E-F>, feature: lane}
      - {<e5 on E-F>, feature: lane}
  B-F:
    use: side
    rise: 2.4
    taped: <B-F>
    details:
      - {<k1 on B-F>, feature: sunk fence}
      - {<k2 on B-F>, feature: sunk fence}
      - {<k3 on B-F>, feature: sunk fence, point: k3}
  C-G:
    use: side
    rise: 5.2
    rise_accuracy: 0.1
    taped: <C-G>
    details:
      - {<c1 on C-G>, feature: west fence}
      - {<c2 on C-G>, feature: west fence}
      - {<c3 on C-G>, feature: west fence}
  G-D:
    use: side
    slope: 1 in 12
    taped: <G-D>
    page: 2
    details:
      - {<h1 on G-D>, point: h1, page: 2}
      - {<h2 on G-D>, point: h2}
  T1-C:
    use: tie
    taped: <T1-C>
    details:
      - {<well on T1-C>, point: well}
  T1-D:
    use: tie
    tape: steel
    taped: <T1-D>
    details:
      - {<cover on T1-D>, point: cover, kind: cover, label: drain}
      - {<p5 on T1-D>, feature: pond}
      - {<p6 on T1-D>, feature: pond}
      - {<p7 on T1-D from 45 60>, feature: pond}
      - {<p8 on T1-D from 50 66>, feature: pond}
      - {<p9 on T1-D from 54 70>, feature: pond}
      - {<p0 on T1-D>, feature: pond}
      - {<p1 on T1-D>, feature: pond}
      - {<p2 on T1-D>, feature: pond}
      - {<p3 on T1-D>, feature: pond}
      - {<p4 on T1-D>, feature: pond}
  T1-E:
    use: tie
    taped: <T1-E>
    details:
      - {<g1 on T1-E>, point: g1}
      - {<g2 on T1-E>, point: g2}
  T1-F: {use: tie, taped: <T1-F>}
  T2-G: {use: tie, rise: 4.9, pull: 60, spans: 2, taped: <T2-G>, note: over the drive}
  A-D: {use: tie, taped: {either: [<A-D but ten units more>, <A-D>]}, note: the tens were smudged by rain}
  C-E: {use: check, taped: <C-E>}
  T2-F: {use: check, taped: <T2-F>}
  g1-g2:
    use: detail                               # along the garden wall
    tape: fibre
    taped: <g1-g2>
    details:
      - {<glass 1 on g1-g2>, point: glass 1}
      - {<glass 2 on g1-g2>, point: glass 2}

dimensions:
  s1-s3: <s1-s3>
  g2-g3: {taped: <g2-g3 again>, accuracy: 0.02, note: over the gate, page: 2}
  h1-h3: <h1-h3>
  v1-v3: <v1-v3>

arcs:
  - point: bend
    from: {E: <E-bend>, lane.5: <a5-bend>}
    right_of: lane.5-E
    accuracy: 0.03
    note: where the lane turns
    page: 1
  - {point: v3, from: {v1: <v1-v3 again>, v2: <v2-v3>}, right_of: v1-v2}
  - {point: v4, from: {v1: <v1-v4>, v2: {taped: <v2-v4>}}, right_of: v1-v2}
  - {point: knee, from: {C: <C-knee>, s1: <s1-knee>}, left_of: C-s1}

kinds:
  beehive: {geometry: point, layer: GARDEN}
  sunk fence: {geometry: line, layer: WALLS}
  greenhouse: {geometry: area}

features:
  house:
    kind: building
    taped_round: {edge: h1-h2, walls: [right <h2-h3>, right <h3-h4>, left <h4-h5>, right <h5-h6>]}
    corners: [h3, h4, h5, h6]
    label: Holm Sike House
  stable: {kind: outbuilding, rectangle: {edge: s1-s2, right: <s2-s3>}, corners: [s3, s4]}
  walled garden:
    kind: bed
    taped_round:
      edge: g1-g2
      walls: [left <g2-g3>, left <g3-g4>, left <g4-g5>, right <g5-g6>, left <g6-g1>]
    corners: [g3, g4, g5, g6]
    data: {wall: brick on stone footings}
  glasshouse:
    kind: greenhouse
    rectangle: {edge: glass 1-glass 2, left: <glass 2-glass 3>}
    corners: [glass 3, glass 4]
  terrace: {kind: paving, ring: [v1, v2, v3, v4]}
  lane: {kind: road edge, curve: [booked A-E, bend, booked E-F], page: 1}
  lane far edge: {kind: road edge, parallel: {to: lane, right: 4.2, from: lane.1, until: lane.9}}
  lane middle: {kind: path, parallel: {to: lane, right: 2.1}}
  pond: {kind: pond, curve: booked, closed: true, note: low water}
  west fence: {kind: fence, through: [booked A-C, knee, booked C-G], height: 1.2}
  garden wall: {kind: wall, through: [g1, g2], thickness: 0.45, face: right}
  sunk fence: {kind: sunk fence, through: booked}
  draw well: {kind: well, circle: {centre: well, radius: 0.75}}
  lone post: {kind: post, at: k3}
  thorn: {kind: tree, at: knee, girth: 0.8, spread: 4.5}

witnesses:
  A: {lane.1: <a1-A>, west fence.1: <w1-A>, cross cut in the rock: 1.52}
  G: {h1: <h1-G>, west fence.7: <c3-G>, gate pier: {distance: 3.77, note: to its north-east corner}}

north:
  from: grid                                  # read off the map between two steeples seen along the line
  bearings: {A-B: <bearing A-B decimal>, T1-D: [<bearing T1-D seconds>]}
  accuracy: 0.3°

control:
  crs: EPSG:25830
  ground_height: 140
  allow_shift: 1.5
  points:
    A: {easting: <easting A>, northing: <northing A>, accuracy: 0.03}
    G: {latitude: <latitude G>, longitude: <longitude G>, crs: EPSG:4326, accuracy: 0.3}

sheet:
  orientation: landscape
  prepared_for: the trustees
  prepared_by: M. Quill-Adeyemi
  number: HS-7
  revision: b
  areas: [hectare, m2]
limits:
  offset: 12
  oblique: 30
  check: 1/1000
  significance: 0.001
  angle: [30°, 120°]
  silence: [coarse-detail]
"""


def text() -> str:
    """Return the book."""
    return GRID.fill(TEMPLATE, Party(PLOT, "m", REALISTIC, seed=21), north="grid")
