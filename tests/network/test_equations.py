"""Each equation's derivatives are those of its own value, and its value is what a tape or compass reads."""

from math import atan2, hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline.errors import Place
from pegline.network.equations import EQUATIONS
from pegline.network.observation_types import (
    AngleAtStation,
    Booking,
    Chainage,
    ControlCoordinate,
    Distance,
    LineBearing,
    Oblique,
    Offset,
    Produced,
    Ranging,
    Square,
    TieChainage,
)

BOOKING = Booking("", "length", "side", ("line", ""), 0.0, 0.01, None, Place("made.yaml", 1, 1))
STEP = 1e-6  # metres: of the differences
AGREE = 1e-6  # of a derivative: the difference's own error
NUMBERS = {
    Chainage: [50.0],
    Ranging: [1.0],
    Produced: [1.0],
    Offset: [-1.0],
    Oblique: [0.3],
    ControlCoordinate: [0.6, 0.8],
}
POINTS = {Distance: 2, LineBearing: 2, ControlCoordinate: 1}
coordinate = st.floats(-100, 100)


def value(kind, points, numbers):
    return EQUATIONS[kind].function(points[None], numbers[None])[0][0]


@pytest.mark.parametrize("kind", EQUATIONS, ids=lambda kind: kind.__name__)
@given(places=st.lists(st.tuples(coordinate, coordinate), min_size=3, max_size=3))
def test_derivatives_are_those_of_the_value(kind, places):
    points = np.array(places)[: POINTS.get(kind, 3)]
    numbers = np.array(NUMBERS.get(kind, []))
    gaps = [np.hypot(*(a - b)) for i, a in enumerate(points) for b in points[:i]]
    if gaps and min(gaps) < 5:
        return
    if kind is Oblique and value(kind, points, numbers) < 5:
        return
    _, partials = EQUATIONS[kind].function(points[None], numbers[None])
    for point in range(len(points)):
        for axis in range(2):
            moved, back = points.copy(), points.copy()
            moved[point, axis] += STEP
            back[point, axis] -= STEP
            difference = value(kind, moved, numbers) - value(kind, back, numbers)
            if EQUATIONS[kind].angle:
                difference = (difference + pi) % (2 * pi) - pi
            assert partials[0, point, axis] == pytest.approx(difference / (2 * STEP), abs=AGREE, rel=AGREE)


A, B, LEFT = (2.0, 1.0), (8.0, 9.0), (1.0, 8.0)  # A to B is 10 long; LEFT lies 5 along it and 5 to its left


@pytest.mark.parametrize(
    ("kind", "points", "numbers", "reads"),
    [
        (Distance, (A, B), [], 10.0),
        (Chainage, (LEFT, A, B), [20.0], 10.0),  # half of a line that was read as 20
        (TieChainage, (LEFT, A, B), [], 5.0),
        (Ranging, (LEFT, A, B), [1.0], 5.0),
        (Produced, (LEFT, A, B), [1.0], 5.0),
        (Offset, (LEFT, A, B), [1.0], 5.0),
        (Offset, (LEFT, A, B), [-1.0], -5.0),
        (Oblique, (LEFT, A, B), [0.5], 5.0),
        (Oblique, (LEFT, A, B), [0.0], hypot(1, 7)),
        (LineBearing, (A, B), [], atan2(6, 8)),
        (LineBearing, (B, A), [], atan2(-6, -8)),
        (ControlCoordinate, (B,), [1.0, 0.0], 8.0),
        (Square, (A, B, (0.0, 15.0)), [], pi / 2),  # a turn to the left
        (Square, (A, B, (16.0, 3.0)), [], -pi / 2),
        (
            AngleAtStation,
            (A, B, (16.0, 3.0)),
            [],
            3 * pi / 2,
        ),  # A lies south-west of B, the other south-east: 270° clockwise
        (AngleAtStation, ((16.0, 3.0), B, A), [], -3 * pi / 2),  # 90°, the whole circle left out
    ],
)
def test_what_is_read(kind, points, numbers, reads):
    # By hand: A-B has the direction (0.6, 0.8), its left the direction (-0.8, 0.6).
    assert value(kind, np.array(points), np.array(numbers)) == pytest.approx(reads, abs=1e-12)


@pytest.mark.parametrize("pair", [(0, 1), (1, 2), (0, 2)])
@pytest.mark.parametrize("kind", EQUATIONS, ids=lambda kind: kind.__name__)
def test_only_points_that_give_a_direction_must_not_lie_at_one_place(kind, pair):
    points = np.array([LEFT, A, B])[: POINTS.get(kind, 3)]
    if pair[1] >= len(points):
        return
    points[pair[1]] = points[pair[0]]
    with np.errstate(divide="ignore", invalid="ignore"):
        computed, partials = EQUATIONS[kind].function(points[None], np.array(NUMBERS.get(kind, []))[None])

    assert (np.isfinite(computed).all() and np.isfinite(partials).all()) == (pair not in EQUATIONS[kind].apart)


def test_lengths_are_taped_and_directions_are_angles():
    taped = {Distance, TieChainage, Ranging, Produced, Offset, Oblique}
    assert {kind for kind, equation in EQUATIONS.items() if equation.taped} == taped
    # A coordinate and a share of a line's own length are neither.
    angles = {LineBearing, AngleAtStation, Square}
    assert {kind for kind, equation in EQUATIONS.items() if equation.angle} == angles
    assert set(EQUATIONS) - taped - angles == {Chainage, ControlCoordinate}


def test_the_constants_of_an_equation_are_those_of_its_observation():
    three = ("p", "A", "B")
    observed = {
        Chainage: (Chainage(BOOKING, *three, 50.0), (50.0,)),
        Ranging: (Ranging(BOOKING, *three), (1.0,)),
        Produced: (Produced(BOOKING, *three), (1.0,)),
        Offset: (Offset(BOOKING, *three, -1), (-1,)),
        Oblique: (Oblique(BOOKING, *three, 10.0, 50.0, 1), (0.2,)),
        ControlCoordinate: (ControlCoordinate(BOOKING, "A", (0.6, 0.8)), (0.6, 0.8)),
        Distance: (Distance(BOOKING, "A", "B"), ()),
        TieChainage: (TieChainage(BOOKING, *three, 50.0), ()),
    }
    for kind, (one, numbers) in observed.items():
        assert EQUATIONS[kind].numbers(one) == numbers
