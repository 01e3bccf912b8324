"""Densities of mistakes are densities, and something else is no likelier than what it stands for."""

from math import exp, log, pi, sqrt

import numpy as np
import pytest

from pegline.diagnosis.suspects.evidence import (
    LEAST_MISTAKE_METRES,
    LOOSEST,
    MOST_MISTAKE_METRES,
    PEG_ASTRAY,
    SOMETHING_ELSE_SHARE,
    any_size,
    limit_loose,
    share_within,
    something_else,
    two_of_any_size,
)
from pegline.network.equations import EQUATIONS
from pegline.network.observation_types import AngleAtStation, Distance, LineBearing, Ranging


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
