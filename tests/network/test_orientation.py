"""Which hand control and bearings tell, how the figure is laid among them, and what they leave to be held."""

from math import atan2, cos, hypot, pi, sin, sqrt

import pytest
from scipy.optimize import least_squares

from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.network.observation_types import Booking, ControlCoordinate, LineBearing
from pegline.network.orientation import (
    _misfit,
    control_at_one_place,
    crossing_control,
    figure_in_frame,
    fitting_hand,
    held_parameters,
)
from pegline.network.start import Start

HERE = Place("made.yaml", 1, 1)
AT = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (20.0, 30.0)}
FIRST = Start(AT, frozenset(), {}, (), (), handed=False)


def control(name, x, y, *, sd=0.05):
    booking = Booking(name, "control", "control", ("station", name), 0.0, sd, None, HERE)
    return [
        ControlCoordinate(Booking(booking.label, "control", "control", booking.group, v, sd, None, HERE), name, along)
        for v, along in ((x, (1.0, 0.0)), (y, (0.0, 1.0)))
    ]


def bearing(start, end, turn, *, sd=0.01):
    return LineBearing(
        Booking(f"{start}-{end}", "bearing", "bearing", ("bearing", ""), turn, sd, None, HERE), start, end
    )


def turn_stations(angle, *, flip=1):
    """Return where the stations stand when the figure is turned to the left, and mirrored with -1."""
    c, s = cos(angle), sin(angle)
    return {name: (c * x - s * flip * y, s * x + c * flip * y) for name, (x, y) in AT.items()}


@pytest.mark.parametrize("flip", [1, -1])
def test_three_control_points_tell_the_hand(flip):
    found = [one for name, at in turn_stations(0.7, flip=flip).items() for one in control(name, *at)]
    assert fitting_hand(found, FIRST) == flip


def test_two_control_points_tell_none():
    found = [one for name, at in list(turn_stations(0.7).items())[:2] for one in control(name, *at)]
    assert fitting_hand(found, FIRST) == 0


@pytest.mark.parametrize(("sd", "hand"), [(0.01, -1), (0.5, 0)])
def test_two_bearings_tell_the_hand_where_the_images_misfit_by_over_four_deviations(sd, hand):
    # Mirrored, the angle between A-B and A-C has the other sign: each bearing is off by its size, 0.98 radians, from
    # the mean turn of both; by 0.01 that is a hundred deviations, by 0.5 it is √2 · 0.98 / 0.5 = 2.8.
    at = turn_stations(0.4, flip=-1)
    found = [bearing("A", name, atan2(at[name][0], at[name][1]), sd=sd) for name in "BC"]
    assert fitting_hand(found, FIRST) == hand


@pytest.mark.parametrize("flip", [1, -1])
def test_a_figure_whose_hand_nothing_told_is_laid_as_the_bearings_say(flip):
    at = turn_stations(0.4, flip=flip)
    found = [bearing("A", name, atan2(at[name][0], at[name][1])) for name in "BC"]
    laid, numbers = figure_in_frame(Frame("north", "true", "", "n"), found, FIRST)
    assert numbers == {0}  # of two that are as sure the one of the longer line, which alone turns the figure
    assert all(laid[name] == pytest.approx(at[name]) for name in AT)


@pytest.mark.parametrize(
    ("known", "bearings", "held"), [("", 0, 3), ("A", 0, 1), ("", 1, 2), ("A", 1, 0), ("AB", 0, 0)]
)
def test_what_neither_control_nor_bearings_place_is_held(known, bearings, held):
    found = [one for name in known for one in control(name, *AT[name])]
    found += [bearing("A", "B", pi / 2)] * bearings
    # B is the start of the base line, C its end: both coordinates of the one, then the other's across.
    assert held_parameters(found, AT, (1, 2)) == {3: (2, 3, 5), 2: (2, 3), 1: (5,), 0: ()}[held]


def test_the_second_control_point_turns_the_plotting_solution_by_its_coordinate_across():
    at = turn_stations(0.7)
    (across,) = crossing_control([one for name in "AB" for one in control(name, *at[name])], AT)
    assert across.station == "B"
    assert across.along == pytest.approx((-sin(0.7), cos(0.7)))
    assert across.booking.value == pytest.approx(0.0)  # A is the origin: B lies nothing across A-B


@pytest.mark.parametrize(
    ("places", "held", "turned_by"),
    [
        ({"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (20.0, 30.0)}, "A", "B"),  # 50, 36 and 42 m apart
        ({"A": (0.0, 0.0), "B": (0.0, 50.0), "C": (30.0, 20.0)}, "A", "B"),
        ({"A": (0.0, 0.0), "B": (10.0, 0.0), "C": (20.0, 30.0)}, "A", "C"),
        ({"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (-20.0, 1.0)}, "C", "B"),
    ],
)
def test_the_two_control_points_farthest_apart_place_the_figure(places, held, turned_by):
    found = [one for name in places for one in control(name, 4e5 + places[name][0], 5e5 + places[name][1])]
    (across,) = crossing_control(found, places)

    assert across.station == turned_by
    away = [places[turned_by][axis] - places[held][axis] for axis in (0, 1)]
    size = hypot(*away)
    assert across.along == pytest.approx((-away[1] / size, away[0] / size))  # to the left of the way there
    x, y = places[turned_by]
    assert across.booking.value == pytest.approx(across.along[0] * (4e5 + x) + across.along[1] * (5e5 + y))
    assert across.booking.sd == 0.05


def test_of_two_control_points_as_far_from_the_start_of_the_base_line_the_first_booked_holds_the_figure():
    places = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (30.0, 40.0)}
    (across,) = crossing_control([one for name in "BC" for one in control(name, *places[name])], places)

    assert across.station == "C"


def test_one_control_point_turns_nothing():
    assert list(crossing_control(control("A", 3.0, 4.0), AT)) == []


def test_control_points_at_one_place_are_told_by_name():
    found = [*control("A", 3.0, 4.0), *control("B", 3.0, 4.0009), *control("C", 3.0011, 4.0), *control("D", 9.0, 4.0)]
    (told,) = control_at_one_place(found)

    assert told.data == ("A", "B")
    assert told.text.startswith("A and B have the same control coordinates")
    assert told.place == HERE


def test_a_misfit_is_that_of_control_to_the_figure_laid_on_it_and_of_bearings_to_their_mean():
    # Control 0.3 m out on one of three points, for a figure that may turn and move: by a general optimiser.
    places = {"A": (100.0, 200.0), "B": (140.0, 230.0), "C": (98.0, 236.3)}  # A, B and C turned by 36.87°, C off
    sds = {"A": 0.05, "B": 0.1, "C": 0.2}
    found = [(n, one) for n, name in enumerate(AT) for one in control(name, *places[name], sd=sds[name])]

    def away(x):
        laid = {
            name: (cos(x[0]) * u - sin(x[0]) * v + x[1], sin(x[0]) * u + cos(x[0]) * v + x[2])
            for name, (u, v) in AT.items()
        }
        return [laid[name][axis] - places[name][axis] for name in AT for axis in (0, 1)]

    left = least_squares(away, [0.6, 100.0, 200.0], xtol=1e-15, ftol=1e-15).fun
    by_control = sum((left[2 * n + axis] / sds[name]) ** 2 for n, name in enumerate(AT) for axis in (0, 1))
    assert _misfit(AT, found, []) == pytest.approx(sqrt(by_control), rel=1e-6)

    # Bearings 0.03 to either side of a turn of 0.4: three and one and a half deviations.
    turned = [
        (0, bearing("A", "C", atan2(20.0, 30.0) + 0.43, sd=0.01)),
        (1, bearing("C", "B", atan2(30.0, -30.0) + 0.37, sd=0.02)),
    ]
    assert _misfit(AT, [], turned) == pytest.approx(sqrt(9 + 2.25), rel=1e-6)
    assert _misfit(AT, found, turned) == pytest.approx(sqrt(by_control + 11.25), rel=1e-6)


def test_two_control_points_and_one_bearing_misfit_nothing():
    found = [(0, one) for name, x in (("A", 0.0), ("B", 60.0)) for one in control(name, x, 0.0)]

    assert _misfit(AT, found, [(0, bearing("A", "B", 1.0))]) == 0.0


NORTH = Frame("grid", "grid", "", "n", scale=0.5)


def test_a_bearing_turns_the_figure_and_a_control_point_moves_it_there():
    # Halved by the frame's scale, turned so that C-B, which runs south-east, runs south; C is known.
    found = [*control("C", 7.0, 9.0), bearing("C", "B", pi)]
    laid, numbers = figure_in_frame(NORTH, found, FIRST)

    root = sqrt(0.5)  # C-B is 30 √2 long and A-C has (10, 15), turned to the right by 45°
    assert numbers == {0, 1, 2}
    assert laid["C"] == pytest.approx((7.0, 9.0))
    assert laid["B"] == pytest.approx((7.0, 9.0 - 15 * sqrt(2)))
    assert laid["A"] == pytest.approx((7.0 - root * 25.0, 9.0 - root * 5.0))


def test_a_figure_whose_hand_the_book_told_or_nothing_tells_is_not_mirrored():
    at = turn_stations(0.4, flip=-1)
    mirrored = [bearing("A", name, atan2(*at[name])) for name in "BC"]
    told = Start(AT, frozenset(), {}, (), (), handed=True)

    for start, found in ((told, mirrored), (FIRST, mirrored[:1])):
        laid, _ = figure_in_frame(Frame("north", "true", "", "n"), found, start)
        assert laid["B"] == pytest.approx(at["B"])
        assert laid["C"] == pytest.approx(turn_stations(0.4)["C"])


def test_control_lays_the_figure_by_all_of_it_and_the_point_nearest_the_start_holds_it():
    at = {name: (300.0 + x, 500.0 + y) for name, (x, y) in turn_stations(0.7).items()}
    found = [one for name in "BCA" for one in control(name, *at[name])]
    laid, numbers = figure_in_frame(Frame("grid", "grid", "", "n"), found, FIRST)

    assert numbers == {4, 5}  # A's
    for name in AT:
        assert laid[name] == pytest.approx(at[name])


@pytest.mark.parametrize(
    ("sds", "longer", "chosen"),
    [
        ((0.02, 0.01), 9.0, 1),  # the surer one
        ((0.01, 0.01), 9.0, 0),  # the longer one of two as sure
        ((0.01, 0.01), 0.000004, 0),
        ((0.01, 0.01), 0.0000004, 1),  # of two lines as long to a micrometre the smaller bearing
    ],
)
def test_the_surest_bearing_turns_the_figure_the_longest_of_those_as_sure(sds, longer, chosen):
    at = {"A": (10.0, 5.0), "B": (60.0 + longer, 5.0), "C": (10.0, 55.0)}
    found = [bearing("A", "B", 2.0, sd=sds[0]), bearing("A", "C", 0.3, sd=sds[1])]
    laid, numbers = figure_in_frame(
        Frame("north", "true", "", "n"), found, Start(at, frozenset(), {}, (), (), handed=True)
    )

    assert numbers == {chosen}
    end, turn = (("B", 2.0), ("C", 0.3))[chosen]
    assert atan2(laid[end][0] - laid["A"][0], laid[end][1] - laid["A"][1]) == pytest.approx(turn)


def test_a_bearing_of_a_line_that_is_all_there_is_counts():
    start = Start({"A": (0.0, 0.0), "B": (50.0, 0.0)}, frozenset(), {}, (), (), handed=True)
    found = [bearing("A", "C", 1.0), bearing("A", "B", 0.0)]

    assert figure_in_frame(Frame("north", "true", "", "n"), found, start)[1] == {1}
    assert held_parameters(found, start.positions, (0, 1)) == (0, 1)
    assert held_parameters(found[:1], start.positions, (0, 1)) == (0, 1, 3)
