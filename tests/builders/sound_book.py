"""A small book that closes and that no rule of thumb has anything to say about."""

__all__ = ["ON_A_GRID", "SOUND"]

#: A book that no rule has anything to say about; stations A 0, 0; B 60, 0; C 25, 28; D 30, -26.
SOUND = """\
book: 1
unit: m
scale: 100
tapes:
  steel: {material: steel, length: 50}
  tape: {material: fibreglass, length: 30}
default_tape: {lines: steel, offsets: tape}
default_method: optical square
stations:
  C: {left_of: A-B}
  D: {right_of: A-B}
lines:
  A-B:
    use: base
    taped: [60.00, 60.01]
    details:
      - {at: 10.00, left: 3.00, point: h1}
      - {at: 18.00, left: 3.00, point: h2}
      - {at: [22.00, 28.00], left: [5.00, 5.00], kind: tree, point: oak}
      - {at: 30.00, right: 2.00, feature: lane}
      - {at: 36.00, right: 2.05, feature: lane}
      - {at: 42.00, right: 2.10, feature: lane}
      - {at: 48.00, right: 2.10, feature: lane}
  A-C: {use: side, taped: [37.54, 37.54]}
  C-B: {use: side, taped: [44.82, 44.82]}
  A-D: {use: side, taped: [39.70, 39.70]}
  D-B: {use: side, taped: [39.70, 39.70]}
  C-D: {use: check, taped: 54.23}
dimensions:
  h1-h2: 8.00
arcs:
  - {point: pump, from: {h1: 5.00, h2: 6.00}, left_of: h1-h2}
features:
  cottage: {kind: building, ring: [h1, h2, pump]}
  lane: {kind: road edge, curve: booked}
witnesses:
  A: {gate post: 4.12, kerb: 3.15, ash: 7.02}
  B: {gate post: 4.12, kerb: 3.15, ash: 7.02}
  C: {gate post: 4.12, kerb: 3.15, ash: 7.02}
  D: {gate post: 4.12, kerb: 3.15, ash: 7.02}
north:
  from: true
  bearings: {A-B: 90°, B-A: 270°}
"""

#: The same with control for its two ends, so that it stands on a grid.
ON_A_GRID = (
    SOUND
    + """\
control:
  crs: EPSG:25830
  points:
    A: {easting: 500000.0, northing: 4600000.0, accuracy: 0.05}
    B: {easting: 500060.0, northing: 4600000.0, accuracy: 0.05}
"""
).replace("from: true", "from: grid")
