"""Variants solved side by side are what the network's own adjustment gives one by one."""

from dataclasses import replace
from math import log

import numpy as np
import pytest
from builders.little_book import stations_on_a_line
from builders.networks import NETWORKS
from builders.records import KITE, KITE_SIDES, LOCAL, measure
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


# -- against numeric derivatives ---------------------------------------------------------------------------------------


def rich_network():
    """Return a network with readings of most types, and its solution: rows on pieces of a line, arms, a dimension."""
    lines = KITE | {"C-D": ("check", 72.19), "T-C": ("check", 39.65)}
    rows = [("T", "A-B", 20.0, "station"), ("h", "A-B", 12.0, 5.0), ("k", "A-B", 40.0, -4.0)]
    rows += [("oak", "A-B", [30.0, 36.0, 42.0], [8.49, 6.01, 8.48]), ("u", "A-C", 15.0, 3.0)]
    book, reduction = measure(
        lines, sides=KITE_SIDES, rows=rows, dimensions={"C-h": 38.71, "h-k": 29.41, "u-h": 9.26, "oak-k": 10.77}
    )
    fit = adjust(book, reduction, LOCAL).fit
    assert len({type(one) for one in fit.network.observations}) == 6
    return fit.network, fit


def hanging(network, *labels):
    """Return variants of which one reading each is wrong by any amount, with all that hangs on it; and of both."""
    ones = network.observations
    numbers = [next(n for n, one in enumerate(ones) if one.booking.label == label) for label in labels]
    changes = [change_of(ones, n) for n in numbers]
    return [*(Variant(amounts=(change,)) for change in changes), Variant(amounts=tuple(changes))], numbers


STEP = 1e-6  # metres, of numeric derivatives


def numeric_slopes(many, parameters, amounts, v, found):
    """Return how all residuals of a variant fall (m, u + k) for each unknown and each amount that is to be found."""

    def residuals(place, size):
        places, sizes = np.tile(parameters[v], (len(parameters), 1)), np.tile(amounts[v], (len(parameters), 1))
        places[v], sizes[v] = place, size
        return many.misclosures(places, sizes)[v]

    columns = []
    for parameter in np.flatnonzero(~many.network.held):
        step = np.eye(len(parameters[v]))[parameter] * STEP
        apart = residuals(parameters[v] + step, amounts[v]) - residuals(parameters[v] - step, amounts[v])
        columns.append(-apart / (2 * STEP))
    for k in range(amounts.shape[1]):
        step = np.eye(amounts.shape[1])[k] * STEP * found[k]
        apart = residuals(parameters[v], amounts[v] + step) - residuals(parameters[v], amounts[v] - step)
        columns.append(-apart / (2 * STEP))
    return np.stack(columns, axis=1)


def test_volumes_covariances_and_tests_are_those_of_numeric_derivatives():
    network, fit = rich_network()
    variants, _ = hanging(network, "A-B", "A-B at 20.00", "A-C")
    variants = [
        variants[0],
        variants[1],
        variants[2],
        Variant(amounts=(variants[0].amounts[0], variants[2].amounts[0])),
    ]
    many = Variants(network, variants)
    begin = np.tile(fit.parameters, (len(variants), 1))

    solved = many.solve(begin, many.given_amounts)

    priors = np.zeros(int((~network.held).sum()))
    priors[-len(network.shared_sds) :] = network.shared_sds**-2.0
    for v, variant in enumerate(variants):
        count = len(variant.amounts)
        found = [k < count for k in range(many.size)]
        slopes = numeric_slopes(many, solved.parameters, solved.amounts, v, found)[:, : len(priors) + count]
        normal = slopes.T @ slopes
        normal[: len(priors), : len(priors)] += np.diag(priors)
        inverse = np.linalg.inv(normal)
        residuals = many.misclosures(solved.parameters, solved.amounts)[v]
        shared = solved.parameters[v, 2 * len(network.names) :] / network.shared_sds
        assert solved.squares[v] == pytest.approx(residuals @ residuals + shared @ shared, abs=1e-4)
        assert solved.log_volumes[v] == pytest.approx(-np.linalg.slogdet(normal)[1] / 2, abs=1e-3)
        among = solved.amount_covariances[v][:count, :count]
        assert np.ravel(among) == pytest.approx(np.ravel(inverse[-count:, -count:]), rel=1e-3)
        left = 1 - np.einsum("mu,uv,mv->m", slopes, inverse, slopes)
        tests = np.where(left > 1e-5, np.abs(residuals) / np.sqrt(np.maximum(left, 1e-5)), 0.0)
        assert solved.worst[v] == pytest.approx(tests.max(), rel=0.01, abs=1e-3)
        # A solution: no step lowers χ² any more.
        gradient = slopes[:, : len(priors)].T @ residuals - priors * solved.parameters[v][~network.held]
        assert gradient @ inverse[: len(priors), : len(priors)] @ gradient < 1e-3


def test_what_one_straight_step_should_leave_is_foretold():
    network, fit = rich_network()
    (longer, *_), (number, *_) = hanging(network, "C-D")
    spoilt = with_observations(network, with_reading_changed(network.observations, number, 0.02))
    many = Variants(spoilt, [Variant(), longer])
    begin = np.tile(fit.parameters, (2, 1))

    foretold = many.foretold_squares(begin, np.zeros((2, 1)))

    solved = many.solve(begin, np.zeros((2, 1)))
    assert foretold == pytest.approx(solved.squares, abs=0.01)
    assert foretold[0] > foretold[1] + 1.0


def test_a_variant_tells_the_points_the_value_and_the_share_of_its_own_readings():
    network, _ = rich_network()
    ones = network.observations
    index = network.index
    line, tie = (
        next(n for n, one in enumerate(ones) if one.booking.label == label) for label in ("A-B", "A-B at 20.00")
    )
    turned = replace(ones[line], start="B", end="A")
    many = Variants(
        network, [Variant(), Variant({line: turned}), Variant(amounts=(change_of(ones, line),), fixed=(3.0,))]
    )
    assert many.points_of(line).tolist() == [
        [index["A"], index["B"]],
        [index["B"], index["A"]],
        [index["A"], index["B"]],
    ]
    booked = ones[line].booking.value
    assert many.value_of(line, many.given_amounts).tolist() == pytest.approx([booked, booked, booked + 3.0])
    # A tie station's chainage is read along the line: its share is of the line as it lies.
    lies = np.array([[30.0, 40.0]] * 3)
    assert many.share_of(tie, many.given_amounts, lies).tolist() == pytest.approx([20.0 / 50.0] * 3)
    row = next(
        n for n, one in enumerate(ones) if one.booking.label == "A-C at 15.00" and one.booking.kind == "chainage"
    )
    assert many.share_of(row, many.given_amounts, lies).tolist() == pytest.approx([15.0 / 50.0] * 3)  # of A-C, 50 m


def test_a_tape_that_may_be_of_any_length_takes_up_as_much_more_room_where_nothing_tells_of_it():
    # Every length is taped with it and none is known: the figure may be of any size.
    network, fit = rich_network()
    many = Variants(network, [Variant(), Variant(loose_tape=0, tape_sd=0.01)])
    solved = many.solve(np.tile(fit.parameters, (2, 1)), many.given_amounts)
    assert solved.squares[1] == pytest.approx(solved.squares[0], abs=1e-3)
    assert solved.log_volumes[1] - solved.log_volumes[0] == pytest.approx(log(0.01 / network.shared_sds[0]), abs=1e-3)
