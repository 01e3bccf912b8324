"""The equations that rectangles and right-angled rounds give to the network."""

from dataclasses import replace
from math import atan2, cos, degrees, hypot, pi, radians, sin, sqrt, tan

import numpy as np
import pytest
from builders.little_book import head
from builders.solved import HERE, feature, given_book, ground, reduction_of

from pegline import reduce
from pegline.book.model import NamedPoint, Rectangle, TapedRound
from pegline.errors import BookError, Place
from pegline.measures.distance import Wall
from pegline.measures.values import Pair
from pegline.network.observation_types import Booking, Distance, Produced, Square
from pegline.network.walls import (
    FLATTEST_MEETING,
    PRODUCED_SD,
    meeting_faults,
    meeting_point,
    meeting_sine,
    wall_observations,
    with_produced_sds,
)
from pegline.readers import parse_book

EDGE = Pair("P", "Q", HERE)


def texts_of(observations):
    """Return observations as short texts: squares with their turn, walls with their length."""
    return [
        f"{one.before}>{one.corner}>{one.after} {'left' if one.booking.value > 0 else 'right'}"
        if isinstance(one, Square)
        else f"{one.start}-{one.end} {one.booking.value:g}"
        for one in observations
    ]


def walls_of(geometry, *lengths):
    book = given_book(feature("house", "building", geometry))
    return wall_observations(book, reduction_of({"P-Q": 8.0}, walls={"house": tuple(map(ground, lengths))}))


def around(turns, corners, *, closing=False):
    return TapedRound(EDGE, tuple(Wall(turn == "l", (), HERE) for turn in turns), tuple(corners), closing)


def test_a_rectangle_has_one_wall_and_three_squares():
    rectangle = Rectangle(EDGE, True, Wall(True, (), HERE), ("far", "near"))
    found = walls_of(rectangle, 6.4)
    assert texts_of(found) == ["P>Q>far left", "Q-far 6.4", "Q>far>near left", "near>P>Q left"]
    squares = [one for one in found if isinstance(one, Square)]
    assert [one.booking.label for one in squares] == [f"house square at {name}" for name in ("Q", "far", "P")]
    assert {round(abs(one.booking.value) - pi / 2, 12) for one in squares} == {0.0}
    assert {one.booking.kind for one in found} == {one.booking.part for one in found} == {"wall"}
    # Built corners are square within 0.2° (common practice): 3.5 mm in a metre.
    assert [one.booking.sd for one in squares] == pytest.approx([radians(0.2)] * 3)
    assert {one.booking.group for one in found} == {("feature", "house")}


def test_a_rectangle_on_the_right_turns_right():
    rectangle = Rectangle(EDGE, False, Wall(False, (), HERE), ("far", "near"))
    assert texts_of(walls_of(rectangle, 6.4))[0] == "P>Q>far right"


def test_a_round_with_its_last_wall_comes_back_to_its_start():
    found = texts_of(walls_of(around("lll", ["c1", "c2"], closing=True), 6.0, 8.0, 6.0))
    assert found == ["P>Q>c1 left", "Q-c1 6", "Q>c1>c2 left", "c1-c2 8", "c1>c2>P left", "c2-P 6"]


@pytest.mark.parametrize(
    ("turns", "lengths", "back"),
    [
        # An oblong: the way back turns left again.
        ("ll", (6.0, 8.0), "left"),
        # An L on the left: east 8, north 3, west 4, north 3, west 4: then left, south, to the start.
        ("llrl", (3.0, 4.0, 3.0, 4.0), "left"),
        # A T whose stem hangs below the edge's end: it comes back from the right, upward.
        ("rr", (3.0, 8.0), "right"),
        # A step up that goes on along the edge, then down again past it, and back: the start lies above.
        ("lrrr", (3.0, 4.0, 6.0, 12.0), "right"),
    ],
)
def test_a_wall_left_out_is_square_to_the_one_before(turns, lengths, back):
    corners = [f"c{i}" for i in range(1, len(turns) + 1)]
    last = texts_of(walls_of(around(turns, corners), *lengths))[-1]
    assert last == f"{['Q', *corners][-2]}>{corners[-1]}>P {back}"


def test_each_square_is_told_where_its_wall_is_booked_and_the_last_one_at_the_last_wall():
    walls = tuple(Wall(turn == "l", (), Place("plot.yaml", line, 9)) for line, turn in enumerate("lrrr", start=20))
    found = walls_of(TapedRound(EDGE, walls, ("c1", "c2", "c3", "c4"), False), 3.0, 4.0, 6.0, 12.0)

    assert [one.booking.place.line for one in found if isinstance(one, Square)] == [20, 21, 22, 23, 23]


def test_a_wall_left_out_that_runs_back_alongside_the_last_one_is_not_square_to_it():
    # Three walls without the way back: left, right, left ends beside the edge, going up.
    found = texts_of(walls_of(around("lrl", ["c1", "c2", "c3"]), 3.0, 4.0, 3.0))
    assert found[-2:] == ["c1>c2>c3 left", "c2-c3 3"]


def test_walls_that_are_not_all_booked_give_no_equations():
    assert walls_of(around("ll", ["c1", "c2"]), 6.0) == ()


def test_a_wall_carries_the_tape_and_the_deviation_of_its_readings():
    (_, wall, *_) = walls_of(Rectangle(EDGE, True, Wall(True, (), HERE), ("far", "near")), 6.4)
    assert isinstance(wall, Distance)
    assert (wall.booking.tape, wall.booking.sd, wall.booking.place) == ("linen", 0.0, HERE)


MILLIMETRE = 1e-3
HEAD = (
    head(method="optical square")
    + """\
lines:
  A-C: {use: side, taped: 50}
  C-B: {use: side, taped: 50}
  A-B:
    use: base
    taped: 60
    details:
"""
)
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


@pytest.mark.parametrize("crossed", [False, True])
@pytest.mark.parametrize(("turn", "refused"), [(14.9, True), (15.1, False), (164.9, False), (165.1, True)])
def test_lines_that_meet_under_15_degrees_fix_no_point(turn, refused, crossed):
    at = {"p": (5.0, 5.0), "q": (25.0, 5.0), "r": (10.0, 20.0)}
    at["s"] = (10.0 + 8.0 * cos(radians(turn)), 20.0 + 8.0 * sin(radians(turn)))
    meet = (Pair("p", "q", HERE), Pair("r", "s", HERE))
    book = given_book(points={"k": NamedPoint("k", HERE, meet=meet[::-1] if crossed else meet)})

    faults = list(meeting_faults(book, at))

    assert [fault.rule for fault in faults] == ["meet-flat"] * refused
    assert not refused or "meet at 15°, which does not fix k; under 15° book it" in faults[0].text


def test_a_point_that_only_has_a_note_meets_nothing():
    found = survey(points="points: {h1: {note: corner of the barn}}")
    assert not found.adjustment.warnings


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


# -- by places alone ---------------------------------------------------------------------------------


def ends_at(angle, size=2.0):
    """Return walls h1-h2 along x and g1-g2 at an angle to it, which meet in (0, 0)."""
    far, near = 10.0 * size, 5.0 * size
    return {
        "h1": (-far, 0.0),
        "h2": (-near, 0.0),
        "g1": (near * cos(angle), near * sin(angle)),
        "g2": (far * cos(angle), far * sin(angle)),
    }


@pytest.mark.parametrize(
    ("degree", "fixes"), [(14.9, False), (15.1, True), (90.0, True), (164.9, True), (165.1, False)]
)
@pytest.mark.parametrize("turn", [1, -1])
def test_lines_fix_a_point_that_meet_at_15_degrees_or_more(degree, fixes, turn):
    corner = NamedPoint("k", HERE, (Pair("h1", "h2", HERE), Pair("g1", "g2", HERE)))
    book = given_book(points={"k": corner, "m": replace(corner, meet=())})
    found = list(meeting_faults(book, ends_at(turn * radians(degree))))

    assert [finding.rule for finding in found] == ([] if fixes else ["meet-flat"])
    assert list(meeting_faults(book, {"h1": (0.0, 0.0), "h2": (1.0, 0.0), "g1": (3.0, 0.0)})) == []


def test_two_lines_meet_where_both_are():
    at = ends_at(radians(40.0))
    lines = (at["h1"], at["h2"]), (at["g2"], at["g1"])

    assert meeting_point(*lines) == pytest.approx((0.0, 0.0), abs=1e-12)
    assert meeting_sine(*lines) == pytest.approx(-sin(radians(40.0)))
    moved = tuple(tuple((x + 3.0, y - 7.0) for x, y in line) for line in lines)
    assert meeting_point(*moved) == pytest.approx((3.0, -7.0))
    assert meeting_point(lines[0], ((1.0, 2.0), (9.0, 2.0))) is None
    assert meeting_sine(lines[0], ((1.0, 2.0), (1.0, 2.0))) == 0.0


@pytest.mark.parametrize(
    ("wall", "times"),
    [(((-3.0, 0.0), (-1.0, 0.0)), 1.0), (((-1.5, 0.0), (-1.0, 0.0)), 2.0), (((2.0, 0.0), (2.4, 0.3)), 4.0)],
)
def test_a_wall_is_sighted_along_the_worse_the_farther_it_is_produced(wall, times):
    # To (0, 0): 1 m from a wall of 2 m, 1 m from one of half a metre, 2 m from one of half a metre.
    booking = Booking("", "produced", "row", ("meet", "k"), 0.0, 0.5, None, HERE)
    ones = [Produced(booking, "k", "h1", "h2"), Produced(booking, "k", "h1", "lost"), Distance(booking, "k", "h1")]
    at = {"k": (0.0, 0.0), "h1": wall[0], "h2": wall[1]}

    assert [one.booking.sd for one in with_produced_sds(ones, at)] == [pytest.approx(0.02 * times), 0.5, 0.5]
