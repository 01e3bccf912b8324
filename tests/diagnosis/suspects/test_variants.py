"""Variants solved side by side are what the network's own adjustment gives one by one."""

from dataclasses import replace

import numpy as np
import pytest
from builders.little_book import stations_on_a_line
from builders.networks import NETWORKS
from builders.records import LOCAL, measure
from builders.simulated import Framework

from pegline import reduce
from pegline.diagnosis.suspects.variants import Variant, Variants
from pegline.errors import BookError
from pegline.network.adjust import adjust
from pegline.network.dependents import Rate, change_of, with_reading_changed
from pegline.network.least_squares import solve_network
from pegline.network.linear_equations import with_observations
from pegline.network.observation_types import with_value
from pegline.readers import parse_book

SOLVED = 1e-4  # metres: steps that lower χ² by less than a thousandth are not made
NAMES = ["quad with pegs", "farm", "two hubs", "fixed by ties"]


def survey(name, seed=3):
    """Return a simulated survey, and where its solution begins."""
    network = Framework(NETWORKS[name]()).measure(np.random.default_rng(seed))
    return network, solve_network(network)


def test_readings_that_share_lays_are_solved_as_the_network_solves_them():
    fit = reduce(
        parse_book(stations_on_a_line("140.00", {"S": "61.03", "T": "118.02"}).encode(), "lays.yaml")
    ).adjustment.fit
    network, ones = fit.network, fit.network.observations
    assert list(network.shared) == ["A-B lays 1 to 2", "A-B lays 3 to 3"]
    others = {n: with_value(one, one.booking.value + 0.04) for n, one in enumerate(ones)}

    solved = all_solved(network, [Variant({n: one}) for n, one in others.items()], fit.parameters)

    for v, (n, one) in enumerate(others.items()):
        alone = solve_network(with_observations(network, [*ones[:n], one, *ones[n + 1 :]]), None, fit.parameters)
        assert solved.parameters[v][:-3] == pytest.approx(alone.parameters[:-3], abs=SOLVED)
        assert solved.squares[v] == pytest.approx(alone.square_sum, rel=1e-3)


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
        expected = solve_network(with_observations(network, [one if m == n else old for m, old in enumerate(ones)]))
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
            without = solve_network(network, keep, fit.parameters)
        except BookError:  # what nothing else holds cannot be left out
            continue
        spoilt = with_observations(network, with_reading_changed(ones, n, 0.3))
        solved = all_solved(spoilt, [Variant(amounts=({n: Rate(1.0)},))], fit.parameters, [[0.0]])
        assert solved.amounts[0, 0] == pytest.approx(-0.3 - without.residuals[n], abs=2 * SOLVED)
        assert solved.squares[0] == pytest.approx(without.square_sum, abs=0.01)


def test_what_hangs_on_a_reading_follows_its_amount():
    # A line and a tie station on it, with 2 m dropped, and the chainages that count on them: given the amount, all is
    # as it was.
    lines = {"A-B": ("base", 60.0), "A-C": ("side", 50.0), "C-B": ("side", 46.0)}
    rows = [("T", "A-B", 30.0, "station"), ("h", "A-B", 12.0, 5.0), ("k", "A-B", 40.0, -4.0)]
    book, reduction = measure(lines, sides={"C": "left A-B"}, rows=rows, dimensions={"C-h": 38.71, "h-k": 29.41})
    fit = adjust(book, reduction, LOCAL).fit
    network = fit.network
    ones = network.observations
    carrying = [(n, amount) for n in range(len(ones)) if len(amount := change_of(ones, n)) > 1]
    assert [ones[n].booking.label for n, _ in carrying] == ["A-B", "A-B at 30.00"]
    for n, amount in carrying:
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
