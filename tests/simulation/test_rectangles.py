"""Areas and perimeters of rectangles scatter by what is told: corners are square within 0.2°, as built."""

from __future__ import annotations

from math import ceil, cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from shapely.geometry import Polygon

from pegline import reduce
from pegline.readers import parse_book

STEEL, LINEN = (0.005, 1 / 5000, 30.0), (0.015, 1 / 1000, 20.0)  # a, b and length (common practice)
SET_SQUARE, BUILT = radians(0.5), radians(0.2)  # of a right angle set out, and of a built one (common practice)
AT, OFF = 10.0, 4.0  # chainage of the edge's start, and its offset, metres


def house(edge, depth, draw):
    """Return the corners of a house whose corners are as square as builders make them."""
    first, second, last = pi / 2 + BUILT * draw.normal(size=3)
    start, end = np.array([AT, OFF]), np.array([AT + edge, OFF])
    far = end + depth * np.array([cos(first), sin(first)])
    back, up = np.array([cos(first + second), sin(first + second)]), np.array([cos(last), sin(last)])
    along = np.linalg.solve(np.array([back, -up]).T, start - far)[0]
    return start, end, far, far + along * back


def off(edge, depth, draw):
    """Return by how many of their deviations area and perimeter of one survey are off."""
    corners = house(edge, depth, draw)
    true = Polygon(corners)
    scales = {tape: 1 + tape[1] * draw.normal() for tape in (STEEL, LINEN)}

    def read(length, tape):
        return f"{length * scales[tape] + tape[0] * sqrt(max(1, ceil(length / tape[2]))) * draw.normal():.6f}"

    rows = ""
    for name, (x, _) in zip(("h1", "h2"), corners[:2], strict=True):
        at = read(x + OFF * tan(SET_SQUARE * draw.normal()), STEEL)
        rows += f"      - {{at: {at}, left: {read(OFF, LINEN)}, point: {name}}}\n"
    book = (
        "book: 1\nunit: m\ntapes: {s: {material: steel, length: 30}, l: {material: linen, length: 20}}\n"
        "default_tape: {lines: s, offsets: l}\ndefault_method: set square\nstations: {C: {left_of: A-B}}\n"
        f"lines:\n  A-B:\n    use: base\n    taped: {read(50, STEEL)}\n    details:\n{rows}"
        f"  A-C: {{use: side, taped: {read(40, STEEL)}}}\n  C-B: {{use: side, taped: {read(30, STEEL)}}}\n"
        "features:\n  house: {kind: building, rectangle: {edge: h1-h2, left: "
        f"{read(float(np.hypot(*(corners[2] - corners[1]))), LINEN)}}}}}\n"
    )
    shape = reduce(parse_book(book.encode(), "house.yaml")).detail.shapes["house"]
    return (shape.area - true.area) / shape.area_sd, (shape.perimeter - true.length) / shape.perimeter_sd


@pytest.mark.parametrize("count", [80, pytest.param(2000, marks=pytest.mark.long)])
@pytest.mark.parametrize(("edge", "depth"), [(8.0, 6.0), (12.0, 4.0), (5.0, 9.0)])
def test_rectangles_scatter_by_what_is_told(edge, depth, count):
    draw = np.random.default_rng(7)
    found = np.array([off(edge, depth, draw) for _ in range(count)])
    print(f"{edge} x {depth}: deviations {found.std(axis=0).round(3)}, cover {(abs(found) < 1.96).mean(axis=0)}")
    # A deviation within 0.92 and 1.08 of what is told is covered by 93 to 97 %; and three of a sample's own, 1/√(2n).
    assert found.std(axis=0) == pytest.approx(1.0, abs=0.08 + 3 / sqrt(2 * count))
