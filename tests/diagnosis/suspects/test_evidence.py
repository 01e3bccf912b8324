"""Densities of mistakes are densities, and something else is no likelier than what it stands for."""

from math import exp, gamma, log, pi, sqrt

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.simulated import Framework
from scipy.integrate import quad

from pegline.diagnosis.suspects.evidence import (
    LEAST_MISTAKE_METRES,
    LOOSEST,
    MOST_MISTAKE_METRES,
    PEG_ASTRAY,
    SOMETHING_ELSE_SHARE,
    WeighedHypothesis,
    any_size,
    integrate_amount,
    limit_loose,
    second_of_any_size,
    share_within,
    something_else,
    two_of_any_size,
    weighed_hypothesis,
)
from pegline.diagnosis.suspects.hypotheses import Hypothesis
from pegline.diagnosis.suspects.variants import SolvedVariant, Variant
from pegline.network.dependents import Rate
from pegline.network.equations import EQUATIONS
from pegline.network.observation_types import AngleAtStation, ControlCoordinate, Distance, LineBearing, Ranging


def test_mistakes_of_any_size_between_the_limits_make_a_whole():
    # On a logarithmic grid, both signs: ∫ p(δ) dδ = 2 ∫ p δ d ln δ.
    steps = np.linspace(log(LEAST_MISTAKE_METRES), log(MOST_MISTAKE_METRES), 2001)
    sizes = np.exp(steps)
    density = np.array([any_size(float(size), 0.0, Distance) for size in sizes])
    assert 2 * np.trapezoid(density * sizes, steps) == pytest.approx(1.0, rel=1e-3)


def test_a_peg_stands_out_of_line_by_any_distance_alike():
    assert any_size(0.1, 0.0, Ranging) == pytest.approx(any_size(0.9, 0.0, Ranging))
    assert any_size(0.5, 0.0, Ranging) * 2 * PEG_ASTRAY == pytest.approx(1.0)
    assert any_size(1.5, 0.0, Ranging) < 1e-9


def test_mistakes_in_all_that_is_read_in_angles_lie_between_a_fifth_of_a_degree_and_half_a_turn():
    angles = [kind for kind, row in EQUATIONS.items() if row.angle]
    assert {LineBearing, AngleAtStation} <= {*angles}
    steps = np.linspace(log(0.2 * pi / 180), log(pi), 2001)
    sizes = np.exp(steps)
    for kind in angles:
        density = np.array([any_size(float(size), 0.0, kind) for size in sizes])
        assert 2 * np.trapezoid(density * sizes, steps) == pytest.approx(1.0, rel=1e-3)


def test_a_mistake_that_is_hardly_known_has_the_mean_density_of_what_it_may_be():
    draws = np.random.default_rng(1).normal(2.0, 0.5, 20_000)
    mean = np.mean([any_size(float(draw), 0.0, Distance) for draw in draws[:4000]])
    assert any_size(2.0, 0.5, Distance) == pytest.approx(mean, rel=0.03)


@pytest.mark.parametrize(
    ("amounts", "among"),
    [
        ((2.0, -1.0), ((0.0009, 0.0), (0.0, 0.0004))),  # each well known
        ((0.4, 3.0), ((0.04, -0.05), (-0.05, 0.09))),  # hardly, and bound together
        ((0.0, 2.0), ((25.0, -24.99), (-24.99, 25.0))),  # only their sum is known
    ],
)
def test_the_density_of_two_mistakes_is_the_mean_over_what_they_may_be(amounts, among):
    # By many draws, a second mistake below the least counted as none.
    draws = np.abs(np.random.default_rng(3).multivariate_normal(amounts, among, 200_000))
    sizes = np.maximum(draws, LEAST_MISTAKE_METRES)
    density = (
        np.minimum(MOST_MISTAKE_METRES / sizes, 1.0) ** 4
        / (2 * sizes * log(MOST_MISTAKE_METRES / LEAST_MISTAKE_METRES))
        * (draws >= LEAST_MISTAKE_METRES)
    )
    mean = float(np.mean(density[:, 0] * density[:, 1]))
    found = two_of_any_size(np.array(amounts), np.array(among), (Distance, Distance))
    assert found == pytest.approx(mean, rel=0.05)


@pytest.mark.parametrize(
    ("amounts", "among", "limits"),
    [
        ((2.0, -1.0), ((0.04, 0.0), (0.0, 0.04)), (1.9, 2.2)),  # each known by itself
        ((3.0, 0.0), ((9.0, -8.999), (-8.999, 9.0)), (2.7, 3.3)),  # only their sum is known
    ],
)
def test_the_share_of_a_pair_within_limits_is_that_of_what_it_may_be(amounts, among, limits):
    draws = np.random.default_rng(4).multivariate_normal(amounts, among, 300_000)
    sizes = np.maximum(np.abs(draws), LEAST_MISTAKE_METRES)
    density = np.prod(
        np.minimum(MOST_MISTAKE_METRES / sizes, 1.0) ** 4 / sizes * (np.abs(draws) >= LEAST_MISTAKE_METRES), axis=1
    )
    inside = (draws[:, 0] >= limits[0]) & (draws[:, 0] <= limits[1])
    found = share_within(np.array(amounts), np.array(among), (Distance, Distance), 0, limits)
    assert found == pytest.approx(float(density[inside].sum() / density.sum()), abs=0.02)


def test_an_amount_of_which_an_arc_that_is_touched_seems_to_tell_nothing_is_told_within_the_loosest():
    tied = np.array([[10_000.0, 9_999.99], [9_999.99, 10_000.0]])  # each known once the other is
    assert limit_loose(tied) == pytest.approx(tied)
    touched = np.array([[0.0004, 0.0], [0.0, 80_000.0]])
    assert limit_loose(touched) == pytest.approx(np.array([[0.0004, 0.0], [0.0, LOOSEST**2]]))


@pytest.mark.parametrize("sigmas", [5.0, 20.0, 200.0])
def test_with_one_check_something_else_is_one_mistake_of_any_size_of_the_check_itself(sigmas):
    # A misclosure of so many σ, every order of magnitude alike: √(2π) / (2 ρ ln(most / least)).
    expected = SOMETHING_ELSE_SHARE * sqrt(2 * pi) / (2 * sigmas * log(MOST_MISTAKE_METRES / LEAST_MISTAKE_METRES))
    assert exp(something_else(sigmas**2, 1)) == pytest.approx(expected)


# -- weights by quadrature ---------------------------------------------------------------------------------------------


def wrong_by(amount, sd, *, square=4.0, evidence=-7.0, prior=-2.0):
    """Return one reading wrong by an amount, as if solved."""
    hypothesis = Hypothesis((0,), Variant(), log_prior=prior)
    return WeighedHypothesis(hypothesis, 0.0, evidence, square, 0.0, (amount,), np.array([[sd**2]]), np.zeros(0))


def density(size):
    """Return that of a mistake between 5 cm and 30 m, beyond which there are few."""
    size = max(abs(size), 0.05)
    return min(30.0 / size, 1.0) ** 4 / (2 * size * log(30.0 / 0.05))


CURVES = {
    "a parabola": lambda step: 4.0 + ((step - 2.0) / 0.4) ** 2,
    "two arcs that touch": lambda step: 4.0 + ((step - 2.0) / 0.5) ** 4,
    "far below the linear estimate": lambda step: ((step - 2.6) / 0.3) ** 2,
}


@pytest.mark.parametrize("curve", CURVES)
def test_a_weakly_known_amount_is_integrated_over_as_quadrature_does(curve):
    square = CURVES[curve]
    steps = np.linspace(-1.0, 6.0, 4001)
    one = wrong_by(2.0, 0.4)

    found = integrate_amount(one, steps, square(steps), Distance)

    def moment(power, about=0.0):
        return quad(lambda d: (d - about) ** power * exp(-square(d) / 2), -1.0, 6.0, points=[2.0, 2.6])[0]

    mean = moment(1) / moment(0)
    variance = moment(2, mean) / moment(0)
    assert found.covariances == pytest.approx(np.array([[variance]]), rel=1e-3)
    # What it says of the positions, without the amount: its evidence less χ² and less the amount's own deviation.
    of_places = one.evidence + one.square / 2 - log(0.4)
    whole = quad(lambda d: density(d) * exp(-square(d) / 2), -1.0, 6.0, points=[2.0, 2.6])[0]
    assert found.weight == pytest.approx(-2.0 + of_places + log(whole), abs=1e-3)
    assert found.evidence == pytest.approx(one.evidence - log(0.4) + 0.5 * log(variance), abs=1e-3)


@pytest.mark.parametrize(("size", "sd"), [(2.0, 0.3), (29.0, 2.0), (60.0, 1.0), (0.3, 0.03)])
def test_the_density_of_one_mistake_is_its_mean_by_quadrature(size, sd):
    def normal(d):
        return exp(-(((d - size) / sd) ** 2) / 2) / (sd * sqrt(2 * pi))

    edges = [edge for edge in (-30.0, -0.05, 0.05, 30.0) if abs(edge - size) < 8 * sd]
    mean = quad(lambda d: density(d) * normal(d), size - 8 * sd, size + 8 * sd, points=edges, limit=200)[0]
    assert any_size(size, sd, Distance) == pytest.approx(mean, rel=0.01)


def test_a_mistake_beside_another_that_is_smaller_than_the_least_is_none():
    told = second_of_any_size(np.array([0.049, 0.051, -0.051, 1.0, 60.0]), 0.0, Distance)
    assert told.tolist() == pytest.approx([1e-300, density(0.051), density(0.051), density(1.0), density(60.0)])


@pytest.mark.parametrize(("kind", "least", "most"), [(ControlCoordinate, 0.05, 1e6), (LineBearing, 0.2 * pi / 180, pi)])
def test_between_which_sizes_mistakes_lie_depends_on_what_is_read(kind, least, most):
    assert any_size(least, 0.0, kind) == pytest.approx(1 / (2 * least * log(most / least)))
    assert any_size(least / 2, 0.0, kind) == any_size(least, 0.0, kind)
    assert any_size(most, 0.0, kind) == pytest.approx(1 / (2 * most * log(most / least)))
    assert any_size(2 * most, 0.0, kind) == pytest.approx(any_size(most, 0.0, kind) / 2**5)


@pytest.mark.parametrize(("square", "freedom"), [(60.0, 1), (90.0, 2), (200.0, 3), (200.0, 7), (2.0, 7)])
def test_something_else_is_a_disturbance_of_at_most_three_dimensions(square, freedom):
    # In d dimensions at the distance ρ, of the normal density the same along every way: χ of d degrees of freedom.
    d = min(freedom, 3)
    distance = sqrt(max(square - (freedom - d), 1.0))
    sphere = 2 * pi ** (d / 2) / gamma(d / 2) * distance ** (d - 1)
    density_there = 1 / (distance * log(MOST_MISTAKE_METRES / LEAST_MISTAKE_METRES)) / sphere
    none_disturbed = (2 * pi) ** (-d / 2)  # what the normal density is where nothing is disturbed
    expected = SOMETHING_ELSE_SHARE * density_there / none_disturbed * exp(-(freedom - d) / 2)
    assert exp(something_else(square, freedom)) == pytest.approx(expected)


# -- hypotheses weighed ------------------------------------------------------------------------------------------------


def weighed(*, amounts=(), covariances=(), fixed=None, volume=0.0, booked=0.0, square=6.0, **variant):
    """Return a hypothesis of some lines, weighed with a solution that is given."""
    network = Framework(NETWORKS["braced quad"]()).network
    changes = tuple({n: Rate(1.0)} for n in range(len(amounts)))
    one = Hypothesis((), Variant(amounts=changes, fixed=fixed, **variant), log_prior=-3.0)
    size = len(amounts)
    solved = SolvedVariant(
        np.zeros((1, 3)),
        np.array(amounts, float).reshape(1, size),
        np.array(covariances, float).reshape(1, size, size),
        np.array([square]),
        np.array([volume]),
        np.array([2.5]),
    )
    return weighed_hypothesis(one, solved, 0, network, booked)


@pytest.mark.parametrize(("volume", "counted"), [(-0.7, -0.7), (1.4, 1.4), (1.6, 1.5), (-9.0, -1.5)])
def test_positions_count_for_no_more_and_no_less_than_some_volume_of_those_as_booked(volume, counted):
    one = weighed(volume=2.0 + volume, booked=2.0)
    assert one.evidence == pytest.approx(2.0 + counted - 3.0)
    assert one.weight == pytest.approx(one.evidence - 3.0)
    assert (one.square, one.worst, one.closes(2.5), one.closes(2.49)) == (6.0, 2.5, True, False)


def test_the_volume_of_an_amount_is_its_own_and_its_density_comes_with_it():
    one = weighed(amounts=[1.5], covariances=[[0.01**2]], volume=log(0.01) + 0.4)
    assert one.evidence == pytest.approx(0.4 + log(0.01) - 3.0)
    assert one.weight == pytest.approx(one.evidence - 3.0 + 0.5 * log(2 * pi) + log(density(1.5)), abs=1e-3)
    assert one.sd() == pytest.approx(0.01)


def test_two_amounts_have_the_density_of_both():
    one = weighed(amounts=[1.5, -0.4], covariances=[[1e-4, 0.0], [0.0, 4e-4]], volume=log(0.01 * 0.02))
    assert one.weight == pytest.approx(log(0.01 * 0.02) - 6.0 + log(2 * pi * density(1.5) * density(0.4)), abs=0.02)


def test_an_amount_that_is_given_has_no_volume_and_no_density():
    one = weighed(amounts=[1.5], covariances=[[0.0]], fixed=(1.5,))
    assert one.weight == pytest.approx(-3.0 - 3.0)


def test_a_tape_of_any_length_is_as_much_less_likely_as_it_may_differ_more():
    # Beforehand its scale was known to 1 in 5000; loose to 2 in a hundred, the same length has a hundredth of it.
    assert weighed(loose_tape=0).weight - weighed().weight == pytest.approx(log(1 / 5000 / 0.02))
