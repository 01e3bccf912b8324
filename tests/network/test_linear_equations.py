"""What is gathered of observations, and their equations at one place: readings by hand, derivatives by differences."""

from math import atan2, hypot, pi, sqrt

import numpy as np
import pytest
from builders.records import place

from pegline.network.linear_equations import build_network, linearise, misclosures, with_observations
from pegline.network.observation_types import (
    Booking,
    ControlCoordinate,
    Distance,
    LineBearing,
    Oblique,
    Offset,
    TieChainage,
)

AT = {"A": (1.0, 2.0), "B": (31.0, 42.0), "C": (-11.0, 37.0)}  # A-B is 50 long, A-C 37
SCALE = 0.9996  # of the frame
TAPES = {"linen": 1 / 1000, "steel": 1 / 5000}
LINEN, STEEL, LAYS, HEAT = 0.002, -0.0005, 1.5, -2.0  # what readings share, of these and two other errors


def booking(value=0.0, *, sd=0.01, tape=None, shared=()):
    return Booking("", "length", "side", ("line", ""), value, sd, tape, place(1), shared=shared)


OBSERVATIONS = (
    Distance(booking(50.0, tape="steel", shared=(("lays", 0.003), ("heat", 0.004))), "A", "B"),
    LineBearing(booking(atan2(30, 40) + 2 * pi - 0.001), "A", "B"),
    Distance(booking(37.1, sd=0.02, tape="linen"), "C", "A"),
    Distance(booking(37.2, sd=0.03), "A", "C"),
    TieChainage(booking(20.0, sd=0.005, tape="steel", shared=(("lays", 0.003),)), "C", "A", "B", 50.0),
    Offset(booking(30.6, tape="linen"), "C", "A", "B", 1),
    Oblique(booking(30.6, tape="linen"), "C", "A", "B", 10.0, 50.0, 1),
    ControlCoordinate(booking(2.5), "A", (0.0, 1.0)),
)


@pytest.fixture(scope="module")
def network():
    return build_network(
        "ABC",
        2,
        OBSERVATIONS,
        TAPES,
        np.array(list(AT.values())),
        scale=SCALE,
        held=(1, 4),
        together=[("A", "B"), ("B", "X"), ("X", "B"), ("C", "A")],
    )


@pytest.fixture(scope="module")
def parameters(network):
    return np.append(network.begin[:6], [LINEN, STEEL, LAYS, HEAT])


def test_parameters_are_places_then_scales_of_tapes_then_what_else_readings_share(network):
    assert network.begin.tolist() == [1.0, 2.0, 31.0, 42.0, -11.0, 37.0, 0.0, 0.0, 0.0, 0.0]
    assert network.shared_sds.tolist() == [1 / 1000, 1 / 5000, 1.0, 1.0]
    assert (network.tapes, dict(network.shared)) == (("linen", "steel"), {"lays": 2, "heat": 3})
    assert network.held.tolist() == [False, True, False, False, True, False, False, False, False, False]
    assert network.columns.tolist() == [0, -1, 1, 2, -1, 3, 4, 5, 6, 7]
    assert (network.names, dict(network.index), network.stations) == (("A", "B", "C"), {"A": 0, "B": 1, "C": 2}, 2)
    assert network.together.tolist() == [[0, 1], [2, 0]]


def test_the_extent_is_the_longer_side_of_a_rectangle_round_the_points(network):
    assert network.extent == 42.0
    assert build_network("A", 1, (), {}, np.array([[7.0, 8.0]])).extent == 1e-3
    assert build_network("", 0, (), {}, np.zeros((0, 2))).extent == 1.0


def test_what_readings_share_is_no_part_of_their_own_deviation(network):
    own = [sqrt(1e-4 - 9e-6 - 16e-6), 0.01, 0.02, 0.03, 0.004, 0.01, 0.01, 0.01]

    assert network.sds == pytest.approx(own)
    # Among other observations what no tape and no error of the network is known by stays in it.
    other = with_observations(
        network, [OBSERVATIONS[3], Distance(booking(50.0, shared=(("lays", 0.006), ("damp", 0.005))), "A", "B")]
    )
    assert other.sds == pytest.approx([0.03, 0.008])
    assert other.values.tolist() == [37.2, 50.0]
    assert linearise(other, np.append(network.begin[:6], [0.0, 0.0, 1.0, 5.0])).computed == pytest.approx(
        [37.0 / SCALE, 50.0 / SCALE + 0.006]
    )


def test_a_tape_that_is_long_reads_short_lengths_and_lengths_of_a_grid_are_longer_on_the_ground(network, parameters):
    unit = (0.6, 0.8)
    along, aside = -12 * unit[0] + 35 * unit[1], 12 * unit[1] + 35 * unit[0]
    foot = (AT["A"][0] + 0.2 * 30, AT["A"][1] + 0.2 * 40)
    arm = hypot(AT["C"][0] - foot[0], AT["C"][1] - foot[1])

    assert linearise(network, parameters).computed == pytest.approx(
        [
            50.0 * (1 + STEEL) / SCALE + 0.003 * LAYS + 0.004 * HEAT,
            atan2(30, 40),
            37.0 * (1 + LINEN) / SCALE,
            37.0 / SCALE,  # by no tape whose scale is in doubt
            along * (1 + STEEL) / SCALE + 0.003 * LAYS,
            aside * (1 + LINEN) / SCALE,
            arm * (1 + LINEN) / SCALE,
            2.0,
        ]
    )


def test_misclosures_are_observed_less_computed_and_of_angles_within_half_a_turn(network, parameters):
    found = misclosures(network, linearise(network, parameters))

    assert found[1] == pytest.approx(-0.001)
    assert found[3] == pytest.approx(37.2 - 37.0 / SCALE)
    assert found[7] == pytest.approx(0.5)


def test_derivatives_are_differences_of_what_is_computed(network, parameters):
    linear = linearise(network, parameters)
    found = np.zeros((len(OBSERVATIONS), len(parameters)))
    for batch, numbers, partials in zip(network.batches, linear.parameters, linear.partials, strict=True):
        for row, places, rates in zip(batch.rows, numbers, partials, strict=True):
            assert (rates[places < 0] == 0).all()
            found[row, places[places >= 0]] += rates[places >= 0]

    step = 1e-5
    for number in range(len(parameters)):
        moved, back = parameters.copy(), parameters.copy()
        moved[number] += step
        back[number] -= step
        rates = (linearise(network, moved).computed - linearise(network, back).computed) / (2 * step)
        assert found[:, number] == pytest.approx(rates, abs=1e-7)
