"""Which hand control and bearings tell, how the figure is laid among them, and what they leave to be held."""

from math import atan2, cos, pi, sin

import pytest

from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.network.observation_types import Booking, ControlCoordinate, LineBearing
from pegline.network.orientation import (
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
    assert len(held_parameters(found, AT, (0, 1))) == held


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
    assert across.along[0] * away[0] + across.along[1] * away[1] == pytest.approx(0.0, abs=1e-9)


def test_control_points_at_one_place_are_told_by_name():
    found = [*control("A", 3.0, 4.0), *control("B", 3.0, 4.0004), *control("C", 3.0, 4.01)]
    assert [finding.data for finding in control_at_one_place(found)] == [("A", "B")]
