"""Variants solved side by side are what the network's own adjustment gives one by one."""

from dataclasses import replace

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.simulated import Framework

from pegline.diagnosis.suspects.variants import Variant, Variants
from pegline.errors import BookError
from pegline.network.dependents import Rate, change_of, with_reading_changed
from pegline.network.least_squares import solve, with_observations
from pegline.network.observation_types import with_value

SOLVED = 1e-4  # metres: steps that lower χ² by less than a thousandth are not made
NAMES = ["quad with pegs", "farm", "two hubs", "fixed by ties"]


def survey(name, seed=3):
    """Return a simulated survey, and where its solution begins."""
    network = Framework(NETWORKS[name]()).measure(np.random.default_rng(seed))
    return network, solve(network)


def all_solved(network, variants, begin, amounts=None):
    many = Variants(network, variants)
    given = many.given_amounts if amounts is None else np.array(amounts)
    return many.solve(np.tile(begin, (len(variants), 1)), given)


@pytest.mark.parametrize("name", NAMES)
def test_a_reading_replaced_is_solved_as_the_network_solves_it(name):
    network, fit = survey(name)
    ones = network.observations
    others = {n: with_value(ones[n], ones[n].booking.value + 0.4) for n in range(0, len(ones), 2)}

    solved = all_solved(network, [Variant({n: one}) for n, one in others.items()], fit.parameters)

    for v, (n, one) in enumerate(others.items()):
        expected = solve(with_observations(network, [one if m == n else old for m, old in enumerate(ones)]))
        assert solved.squares[v] == pytest.approx(expected.square_sum, abs=0.01)
        assert solved.parameters[v] == pytest.approx(expected.parameters, abs=SOLVED)


@pytest.mark.parametrize("name", NAMES)
def test_an_amount_to_be_found_is_what_leaving_the_reading_out_gives(name):
    network, fit = survey(name)
    ones = network.observations
    for n in range(len(ones)):
        if len(change_of(ones, n)) > 1:
            continue
        keep = np.arange(len(ones)) != n
        try:
            without = solve(network, keep, fit.parameters)
        except BookError:  # what nothing else holds cannot be left out
            continue
        spoilt = with_observations(network, with_reading_changed(ones, n, 0.3))
        solved = all_solved(spoilt, [Variant(amounts=({n: Rate(1.0)},))], fit.parameters, [[0.0]])
        assert solved.amounts[0, 0] == pytest.approx(-0.3 - without.residuals[n], abs=2 * SOLVED)
        assert solved.squares[0] == pytest.approx(without.square_sum, abs=0.01)


@pytest.mark.parametrize("name", ["quad with pegs", "farm", "fixed by ties"])
def test_what_hangs_on_a_reading_follows_its_amount(name):
    # The base line and the chainages on it, with 12 m dropped: given the amount, all is as it was.
    network, fit = survey(name)
    ones = network.observations
    for n in range(len(ones)):
        amount = change_of(ones, n)
        if len(amount) < 2:
            continue
        spoilt = with_observations(network, with_reading_changed(ones, n, -2.0))
        solved = all_solved(spoilt, [Variant(amounts=(amount,), fixed=(2.0,))], fit.parameters)
        assert solved.squares[0] == pytest.approx(fit.square_sum, abs=0.01)


def test_an_observation_between_other_points():
    network, fit = survey("two hubs")
    ones = network.observations
    n = next(n for n, one in enumerate(ones) if one.booking.label == "P-A")
    wrong = replace(ones[n], start="Q")
    spoilt = with_observations(network, [wrong if m == n else old for m, old in enumerate(ones)])

    solved = all_solved(spoilt, [Variant(), Variant({n: ones[n]})], fit.parameters)

    assert solved.squares[0] > 1000
    assert solved.squares[1] == pytest.approx(fit.square_sum, abs=0.01)


def test_tests_that_are_left_are_those_of_the_network():
    from pegline.diagnosis.effects import Effects

    network, fit = survey("six stations, all lines")
    solved = all_solved(network, [Variant()], fit.parameters)
    assert solved.worst[0] == pytest.approx(Effects(fit).worst(), rel=1e-3)
