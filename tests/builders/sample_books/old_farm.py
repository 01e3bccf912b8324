"""A farm of long ago, by Gunter's chain."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from builders.book import fill
from builders.party import REALISTIC, UNITS, Party
from builders.plot import TAPES, XY, Leg, Line, Plot, Row
from builders.sample_books.shapes import rectangle, run

__all__ = ["PLOT", "text"]

LINK: Final = UNITS["lk"]


def links(x: float, y: float) -> XY:
    """Return a place given in links."""
    return x * LINK, y * LINK


def in_links(*places: XY) -> list[XY]:
    """Return chainages and offsets given in links."""
    return [links(*place) for place in places]


KITCHEN: Final = (links(702.0, 118.0), links(733.0, 176.0))
BARN: Final = (links(846.0, -44.0), links(935.0, -38.0))

STATIONS: Final[dict[str, XY]] = {
    "A": links(0, 0),
    "B": links(1420, 0),
    "C": links(560, 880),
    "D": links(960, -430),
    "X": links(640, 0),
    "Y": links(560 * 0.58, 880 * 0.58),
}

A, B, C, D, X, Y = STATIONS.values()
POINTS: Final[dict[str, XY]] = {
    "k1": KITCHEN[0],
    "k2": KITCHEN[1],
    **dict(zip(("k3", "k4"), rectangle(*KITCHEN, -37.0 * LINK), strict=True)),
    "b1": BARN[0],
    "b2": BARN[1],
    **dict(zip(("b3", "b4"), rectangle(*BARN, -34.0 * LINK), strict=True)),
    "pump": links(668.0, 140.0),
    "p1": links(430.0, -20.0),
    "p2": links(470.0, -38.0),
    "p3": links(506.0, -14.0),
    **run("s", A, B, in_links((0, 18), (180, 24), (355, 9), (520, 15), (610, 21))),
    **run("m", A, B, in_links((905, 22), (1120, 31), (1290, 26), (1431, 8))),
    **run("w", A, C, in_links((1, 15), (232, 17), (465, 16), (643, 18), (869, 14), (1052, 17))),
    **run("e", C, B, in_links((143, 16), (377, 18), (629, 17), (886, 13), (1107, 15))),
    **run("r", A, D, in_links((115, -20), (302, -24), (506, -29), (694, -27), (877, -23), (1049, -20))),
    "oak": links(330.0, 340.0),
    "stile": links(1188.0, -186.0),
    "stone": links(975.0, -452.0),
}

CHAIN: Final = replace(
    TAPES["chain"], length=100 * LINK, true_length=100.2 * LINK, expansion=12e-6, standard_temperature=16.7
)
TAPE: Final = replace(TAPES["linen"], length=66 * UNITS["ft"], true_length=65.9 * UNITS["ft"])
LATER: Final = "chain later"

PLOT: Final = Plot(
    STATIONS,
    (
        Line("A-B", "base", (Row("X", "station"),)),
        Line("A-C", "side", (Row("Y", "station"),), (Leg(temperature=19.0),)),
        Line("C-B", "side", legs=(Leg(temperature=19.0),)),
        Line("X-C", "tie"),
        Line("Y-X", "tie"),
        Line("A-D", "side", legs=(Leg(tape=LATER),)),
        Line("D-B", "side", legs=(Leg(tape=LATER),)),
        Line("X-D", "tie", legs=(Leg(tape=LATER),)),
        Line("C-D", "check", legs=(Leg(tape=LATER),)),
    ),
    points=POINTS,
    tapes={"chain": CHAIN, LATER: replace(CHAIN, true_length=100.5 * LINK), "tape": TAPE},
    line_tape="chain",
    offset_tape="tape",
    method="set square",
)

TEMPLATE: Final = """\
# An old farm by Gunter's chain, booked in links; house and barn in feet and inches. The place is invented.
#
# What this book shows
#   - links as the unit of the book, chains and links, feet and inches wherever they were written so;
#   - a chain that stretched: it was laid against the standard twice, and each line knows its day;
#   - two tie stations, ties between them, and a check line across the whole farm;
#   - a reading struck out and one that is doubtful, kept as they stand on the page;
#   - quadrant bearings by a compass of the time, with the declination that the party knew.
book: 1
title: Thornybank Farm
place: parish of Little Ashcombe
date: 1868-09-14
unit: lk
scale: 2000
surveyor: Silas Wetherby
party:
  - Silas Wetherby
  - Amos Tull
  - a boy
weather: stubble dry, hot on the first day
purpose: an exchange of land with the neighbour
note: copied from the leather book; page numbers are those of the scans
pages: {14: scans/thornybank-14.jpg, 15: scans/thornybank-15.jpg}

tapes:
  chain:
    material: chain
    length: 1 ch
    true_length:                              # laid against the marks at the town hall
      - {from: 1868-09-01, value: 100.2 lk}
      - {from: 1868-09-12, value: 100.5 lk}
    standard_temperature: 16.7                # 62 °F
    expansion: 0.000012
  tape: {material: linen, length: 66 ft, true_length: 65.9 ft}
default_tape: {lines: chain, offsets: tape}
default_method: set square                    # the cross staff

stations:
  A: {mark: stake by the north gate}
  B: {mark: stake}
  C: {mark: stake in the headland, left_of: A-B}
  D: {mark: stake by the brook, right_of: A-B}
  X: {mark: whites in the stubble}

lines:
  A-B:
    use: base
    date: 1868-09-09
    page: 14
    taped: <A-B as ch lk>
    details:
      - {<s1 on A-B>, feature: south hedge}
      - {<s2 on A-B>, feature: south hedge}
      - {<s3 on A-B by three-four-five>, feature: south hedge, method: three-four-five}
      - {<p1 on A-B>, point: p1}
      - {<p2 on A-B>, point: p2}
      - {<p3 on A-B>, point: p3, struck: 25.1}
      - {<s4 on A-B>, feature: south hedge}
      - {<s5 on A-B>, feature: south hedge, page: 15}
      - {<X along A-B>, station: X}
      - {<b1 on A-B>, point: b1}
      - {<m1 on A-B>, feature: south hedge}
      - {<b2 on A-B>, point: b2}
      - {<m2 on A-B>, feature: south hedge}
      - {<m3 on A-B>, feature: south hedge}
      - {<m4 on A-B>, feature: south hedge}   # past the stake
  A-C:
    use: side
    date: 1868-09-09
    temperature: 19
    taped: <A-C>
    details:
      - {<w1 on A-C>, feature: west hedge}
      - {<w2 on A-C>, feature: west hedge}
      - {<oak on A-C from 400 530 in lk>, point: oak, kind: tree, girth: 11 ft 2 in, spread: 60 ft}
      - {<w3 on A-C>, feature: west hedge}
      - {<Y along A-C>, station: Y}
      - {<w4 on A-C>, feature: west hedge}
      - {<w5 on A-C>, feature: west hedge}
      - {<w6 on A-C>, feature: west hedge}
  C-B:
    use: side
    date: 1868-09-09
    temperature: 19
    taped: <C-B>
    details:
      - {<e1 on C-B>, feature: east hedge}
      - {<e2 on C-B>, feature: east hedge}
      - {<e3 on C-B>, feature: east hedge}
      - {<e4 on C-B>, feature: east hedge}
      - {<e5 on C-B>, feature: east hedge}
  X-C:
    use: tie
    date: 1868-09-10
    page: 15
    taped: <X-C as ch lk>
    details:
      - {<k1 on X-C from 95 150 as ft in>, point: k1}
      - {<pump on X-C by eye as feet>, point: pump, method: eye}
      - {<k2 on X-C from 120 215 as ft in>, point: k2}
  Y-X:
    use: tie
    date: 1868-09-10
    unit: ft
    taped: <Y-X in ft>                        # with the chain, but counted in feet
  A-D:
    use: side
    date: 1868-09-12
    taped: <A-D>
    details:
      - {<r1 on A-D>, feature: brook}
      - {<r2 on A-D>, feature: brook}
      - {<r3 on A-D>, feature: brook}
      - {<r4 on A-D>, feature: brook}
      - {<r5 on A-D>, feature: brook}
      - {<r6 on A-D>, feature: brook}
      - {<stone on A-D>, point: stone, kind: boundary mark}
  D-B:
    use: side
    date: 1868-09-12
    taped: ~<D-B>                             # an arrow was found lying; counted again in the head
    details:
      - {<stile on D-B>, point: stile, kind: steps post}
  X-D: {use: tie, date: 1868-09-12, taped: <X-D>}
  C-D: {use: check, date: 1868-09-14, taped: <C-D>}

dimensions:
  k1-k2: <k1-k2 as ft in>
  k1-k3: <k1-k3 as ft in>
  b1-b2: <b1-b2 as ft in>

arcs:
  - {point: pump, from: {k1: <k1-pump as ft in>, k2: <k2-pump as ft in>}, left_of: k1-k2}

kinds:
  steps post: {geometry: point, layer: PATHS}

features:
  farmhouse: {kind: building, rectangle: {edge: k1-k2, right: <k2-k3 as ft in>}, corners: [k3, k4], label: Thornybank}
  barn: {kind: outbuilding, rectangle: {edge: b1-b2, right: <b2-b3 as ft in>}, corners: [b3, b4]}
  south hedge: {kind: hedge, through: booked, thickness: 4 ft, face: right}
  west hedge: {kind: hedge, through: booked}
  east hedge: {kind: hedge, through: booked}
  brook: {kind: water edge, curve: booked, note: "the middle of the stream, from the bridge down"}
  duck pond: {kind: pond, circle: {through: [p1, p2, p3]}}
  pump well: {kind: well, circle: {centre: pump, girth: 9 ft 5 in}}

witnesses:
  A: {gate post: 21.4, stone trough: {distance: 33.0, note: to the near corner}, ash stump: 17.8}
  B: {south hedge.8: <m3-B>, south hedge.9: <m4-B>, east hedge.5: <e5-B>}
  X: {p3: <p3-X>, k1: <k1-X>, south hedge.5: <s5-X>}
  Y: {white stone: 12.4, hollow willow: {distance: 61.5, note: to the middle}, gate of the lane: 88.0}

north:
  from: magnetic
  declination: 21.5° W
  bearings: {A-B: <bearing A-B quadrant>, A-C: <bearing A-C quadrant>, D-B: <bearing D-B quadrant>}

sheet: {areas: [acre-rood-perch, square chains]}
limits: {offset: 60 lk, oblique: 66 ft, check: 1/500, silence: [long-oblique]}
"""


def text() -> str:
    """Return the book."""
    # The plot's +y points 12° east of true north; the needle, 21.5° west of it.
    return fill(TEMPLATE, Party(PLOT, "lk", REALISTIC, seed=1868), turn_deg=12.0 + 21.5)
