"""The equations that rectangles and right-angled rounds give to the network."""

from math import pi, radians

import pytest
from builders.solved import HERE, feature, given_book, ground, reduction_of

from pegline.book.model import Rectangle, TapedRound
from pegline.measures.distance import Wall
from pegline.measures.values import Pair
from pegline.network.observation_types import Distance, Square
from pegline.network.walls import wall_observations

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


def test_walls_that_are_not_all_booked_give_no_equations():
    assert walls_of(around("ll", ["c1", "c2"]), 6.0) == ()


def test_a_wall_carries_the_tape_and_the_deviation_of_its_readings():
    (_, wall, *_) = walls_of(Rectangle(EDGE, True, Wall(True, (), HERE), ("far", "near")), 6.4)
    assert isinstance(wall, Distance)
    assert (wall.booking.tape, wall.booking.sd, wall.booking.place) == ("linen", 0.0, HERE)
