"""Walls produced: their equation, the corner where two of them meet, and how well both are known."""

from math import atan2, degrees, hypot, sqrt, tan

import numpy as np
import pytest

from pegline import reduce
from pegline.errors import BookError
from pegline.network.produced_walls import FLATTEST_MEETING, PRODUCED_SD
from pegline.readers import parse_book

MILLIMETRE = 1e-3
HEAD = """\
book: 1
unit: m
tapes: {steel: {material: steel, length: 50}}
default_tape: {lines: steel, offsets: steel}
default_method: optical square
stations: {C: {left_of: A-B}}
lines:
  A-C: {use: side, taped: 50}
  C-B: {use: side, taped: 50}
  A-B:
    use: base
    taped: 60
    details:
"""
WALL = [("h1", 10.0, 4.0), ("h2", 16.0, 7.0)]  # y = 4 + (x - 10) / 2, which cuts the line at x = 2
OTHER = [("g1", 40.0, 4.0), ("g2", 38.0, 8.0)]  # x = 42 - y / 2


def survey(*rows, points=""):
    offsets = [f"{{at: {x:.5f}, left: {y:.5f}, point: {name}}}" for name, x, y in (*WALL, *OTHER)]
    text = HEAD + "".join(f"      - {row}\n" for row in (*offsets, *rows)) + points
    return reduce(parse_book(text.encode(), "b.yaml"))


def position(found, name):
    return found.adjustment.solution.position(name)


def test_a_wall_that_cuts_the_line_where_it_should_is_a_check_that_passes():
    found = survey("{at: 2.00, produced: h1-h2, point: x}")
    check = next(check for check in found.adjustment.checks if check.kind == "point")

    assert check.what == "h1-h2 produced to A-B"
    assert check.passed
    assert abs(check.difference) < MILLIMETRE
    assert position(found, "x") == pytest.approx([2, 0], abs=MILLIMETRE)
    kinds = [one.kind for one in found.adjustment.measurements]
    assert kinds.count("produced") == 1


def test_the_difference_is_that_across_the_wall():
    # 0.3 m further along the line lies 0.3 sin(angle of the wall) beside the wall.
    found = survey("{at: 2.30, produced: h1-h2}")
    check = next(check for check in found.adjustment.checks if check.kind == "point")

    assert abs(check.difference) == pytest.approx(0.3 / sqrt(5), abs=5 * MILLIMETRE)


def test_the_further_a_wall_is_produced_the_less_it_is_worth():
    found = survey("{at: 2.00, produced: h1-h2, point: x}", "{at: 42.00, produced: g1-g2, point: y}")
    sds = {one.what: one.sd for one in found.adjustment.measurements if one.kind == "produced"}

    # 8.94 m from h1, of a wall of 6.71 m; 4.47 m from g1, of a wall of 4.47 m.
    assert sds["h1-h2 produced to A-B"] == pytest.approx(PRODUCED_SD * hypot(8, 4) / hypot(6, 3), rel=1e-3)
    assert sorted(sds.values())[0] == pytest.approx(PRODUCED_SD, rel=1e-3)


def test_a_corner_lies_where_two_walls_meet():
    found = survey(points="points: {k: {meet: [h1-h2, g1-g2]}}\n")

    # y = x / 2 - 1 and y = 84 - 2 x: x = 34, y = 16.
    assert position(found, "k") == pytest.approx([34, 16], abs=MILLIMETRE)
    assert found.book.points["k"].place.line == found.book.points["k"].meet[0].place.line


def test_its_standard_deviation_is_that_of_simulated_walls():
    found = survey(points="points: {k: {meet: [h1-h2, g1-g2]}}\n")
    row = found.adjustment.solution.index["k"]
    solution = found.adjustment.solution
    told = np.sqrt(np.diag(solution.local_variances[row]))

    # Each end of each wall anew by chainage (5 mm, and the square) and offset; then each wall beside k by its own σ.
    draw = np.random.default_rng(4)
    square = 0.2 * np.pi / 180
    corners = []
    for _ in range(4000):
        ends = {}
        for name, x, y in (*WALL, *OTHER):
            along = x + draw.normal(0, 0.005) + y * tan(draw.normal(0, square))
            ends[name] = np.array([along, y + draw.normal(0, 0.005)])
        rows, rights = [], []
        for one, other in (("h1", "h2"), ("g1", "g2")):
            wall = ends[other] - ends[one]
            length = hypot(*wall)
            normal = np.array([-wall[1], wall[0]]) / length
            beyond = min(hypot(34 - x, 16 - y) for name, x, y in (*WALL, *OTHER) if name in (one, other))
            sd = PRODUCED_SD * max(1.0, beyond / length)
            rows.append(normal)
            rights.append(normal @ ends[one] + draw.normal(0, sd))
        corners.append(np.linalg.solve(rows, rights))

    assert told == pytest.approx(np.std(corners, axis=0), rel=0.05)


def test_walls_that_run_alongside_are_refused():
    # The walls lie at 26.6° and 23.3° to the line.
    angle = degrees(atan2(3, 6) - atan2(4.3, 10))

    with pytest.raises(BookError, match=f"h1-h2 and g1-f1 meet at {angle:.0f}°, which does not fix k") as caught:
        survey("{at: 50, left: 8.3, point: f1}", points="points: {k: {meet: [h1-h2, g1-f1]}}\n")

    assert angle < degrees(FLATTEST_MEETING)
    assert caught.value.findings[0].place is not None


def test_walls_that_meet_flatly_are_told():
    found = survey("{at: 50, left: 5.5, point: f1}", points="points: {k: {meet: [h1-h2, g1-f1]}}\n")

    assert any("the walls to k meet at 18°" in finding.text for finding in found.diagnosis.warnings)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("{at: 2, left: 3, produced: h1-h2}", "produced says where a wall cuts the line itself"),
        ("{at: 2, produced: h1-z}", "there is no point or station 'z'"),
        ("{at: 2, produced: h1-h2, station: S}", "produced is given beside station"),
    ],
)
def test_a_row_that_cannot_be_is_refused(row, says):
    with pytest.raises(BookError) as caught:
        survey(row)

    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("meet", "says"),
    [
        ("[h1-h2, h2-g1]", "both lines go through one point already"),
        ("[h1-h2]", "the two lines wants 2"),
        ("[h1-h2, g1-z]", "there is no point or station 'z'"),
    ],
)
def test_a_corner_that_cannot_be_is_refused(meet, says):
    with pytest.raises(BookError) as caught:
        survey(points=f"points: {{k: {{meet: {meet}}}}}\n")

    assert says in str(caught.value)
