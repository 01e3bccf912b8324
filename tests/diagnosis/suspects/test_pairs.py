"""Two readings wrong at once: each pair as a solver of our own finds it, and none told that one reading explains."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, pi

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.own_solver import solve_again
from builders.simulated import Framework

from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Hypothesis, Situation
from pegline.diagnosis.suspects.pairs import Pairs, told_with_one
from pegline.diagnosis.suspects.posterior import reckon
from pegline.diagnosis.suspects.slips import SLIPS, Slip, slips
from pegline.diagnosis.suspects.variants import Variant, Variants
from pegline.network.dependents import change_of
from pegline.network.growing_figure import Hints

NO_HINTS = Hints({}, {}, dict)
DROPPED = Slip("1 m misread", "36.00", "37.00", None, 1.0, "misread-unit", 0.15)
CRITICAL = 3.0


def reckoned(name: str, errors: dict[int, float], seed: int = 4):
    """Return a simulated survey with mistakes, and its posterior."""
    framework = Framework(NETWORKS[name]())
    network = framework.measure(np.random.default_rng(seed), errors)
    situation = Situation(network, NO_HINTS, (framework.fit.parameters,))
    return framework, network, reckon(situation, None, framework.readings(network), CRITICAL)


@pytest.fixture(scope="module")
def two_slips():
    """Return a survey of six stations and all lines in which 1 m and 30 m were dropped."""
    return reckoned("six stations, all lines", {3: 1.0, 11: -30.0})


@pytest.mark.parametrize(("larger", "smaller"), [((3, 1.3), (11, -0.7)), ((13, -3.0), (1, 1.2))])
def test_the_larger_of_two_mistakes_does_not_hide_the_smaller(larger, smaller):
    # Of 20 lines the smaller explains least alone: it is found beside the larger one.
    _, _, found = reckoned("grid", dict([larger, smaller]))
    pairs = [one for one in found.hypotheses if {*one.hypothesis.numbers} == {larger[0], smaller[0]}]
    assert min(one.square for one in pairs) < 10.0
    amounts = dict(zip(pairs[0].hypothesis.numbers, pairs[0].amounts, strict=True))
    assert amounts == pytest.approx({larger[0]: -larger[1], smaller[0]: -smaller[1]}, abs=0.1)


def test_with_the_slips_of_one_and_of_both_a_pair_is_what_the_survey_so_booked_gives(two_slips):
    framework, network, found = two_slips
    booked = {n: network.observations[n].booking.value for n in (3, 11)}
    readings = framework.readings(network)
    of_one_kind = {
        (n, kind): sum(slip.kind == kind for slip in slips(readings[n], network.observations[n].booking.sd))
        for n in booked
        for kind in SLIPS
    }
    both = [one for one in found.hypotheses if any(one.hypothesis.both)]
    assert {sum(slip is not None for slip in one.hypothesis.both) for one in both} == {1, 2}
    loose = next(one for one in found.hypotheses if {*one.hypothesis.numbers} == {3, 11} and not one.hypothesis.both)
    whole = 1 / (0.5 + 0.05 + 0.5 + 0.5)  # sound, something else, one reading by any amount, one by a slip
    own_loose = solve_again(network, loose.parameters, loose.hypothesis.numbers)
    sizes = [1 / (2 * abs(amount) * log(30.0 / 0.05)) for amount in own_loose.amounts]
    sizes = [size * min(30.0 / abs(amount), 1.0) ** 4 for size, amount in zip(sizes, own_loose.amounts, strict=True)]
    weight_of_loose = log(whole * (0.5 / 15) ** 2 * 2 * pi * np.prod(sizes))
    weight_of_loose += own_loose.log_volume - own_loose.square / 2
    for one in both[:4]:
        numbers, made = one.hypothesis.numbers, one.hypothesis.both
        fixed = {n: booked[n] + slip.change for n, slip in zip(numbers, made, strict=True) if slip}
        free = [n for n in numbers if n not in fixed]
        own = solve_again(network, one.parameters, free, fixed)
        assert one.square == pytest.approx(own.square, abs=0.05)
        amounts = [fixed[n] - booked[n] if n in fixed else float(own.amounts[0]) for n in numbers]
        assert one.amounts == pytest.approx(amounts, abs=1e-3)
        weight = log(whole) + own.log_volume - own.square / 2
        for n, slip, amount in zip(numbers, made, amounts, strict=True):
            if slip:
                weight += log(SLIPS[slip.kind].share / of_one_kind[n, slip.kind] / 15)
            else:
                size = min(30.0 / abs(amount), 1.0) ** 4 / (2 * abs(amount) * log(30.0 / 0.05))
                weight += log(0.5 / 15 * size) + 0.5 * log(2 * pi)
        assert one.weight - loose.weight == pytest.approx(weight - weight_of_loose, abs=0.05)
        assert one.covariances[numbers.index(3), numbers.index(3)] == pytest.approx(
            float(own.covariances[0, 0]) if free == [3] else 0.0, rel=0.02, abs=1e-9
        )


def test_what_is_left_of_one_amount_follows_the_slip_that_the_other_is_told_by():
    # Of two lines that are tied to each other, what the slip leaves is taken up by the other one.
    _, network, found = reckoned("six stations, twelve lines", {3: 1.3, 7: -0.7}, seed=2)
    half = [one for one in found.hypotheses if sum(slip is not None for slip in one.hypothesis.both) == 1][:6]
    followed = 0
    for one in half:
        numbers, made = one.hypothesis.numbers, one.hypothesis.both
        fixed = {
            n: network.observations[n].booking.value + slip.change
            for n, slip in zip(numbers, made, strict=True)
            if slip
        }
        free = [n for n in numbers if n not in fixed]
        own = solve_again(network, one.parameters, free, fixed)
        k = numbers.index(free[0])
        assert one.amounts[k] == pytest.approx(float(own.amounts[0]), abs=0.05)  # followed by a straight line
        assert one.sd(k) == pytest.approx(float(own.covariances[0, 0] ** 0.5), rel=0.05)
        followed += abs(one.amounts[k]) > 0.2
    assert followed


def test_one_reading_alone_makes_no_pair():
    framework = Framework(NETWORKS["braced quad"]())
    network = framework.network
    single = [Hypothesis((2,), Variant(amounts=(change_of(network.observations, 2),)), kind="reading")]
    many = Variants(network, [single[0].variant])
    solved = many.solve(framework.fit.parameters[None], np.zeros((1, 1)))
    situation = Situation(network, NO_HINTS, (framework.fit.parameters,))
    assert Pairs(situation, single, solved, {}, 0.0, lambda *_: []).hypotheses() == []


def singles_of(name, errors):
    """Return what pairs are reckoned from: each reading of a simulated survey wrong by any amount, solved."""
    framework = Framework(NETWORKS[name]())
    network = framework.measure(np.random.default_rng(4), errors)
    ones = range(len(network.observations))
    single = [Hypothesis((n,), Variant(amounts=(change_of(network.observations, n),)), kind="reading") for n in ones]
    many = Variants(network, [one.variant for one in single])
    solved = many.solve(np.tile(framework.fit.parameters, (len(single), 1)), np.zeros((len(single), 1)))
    return Pairs(Situation(network, NO_HINTS, ()), single, solved, {}, 0.0, lambda *_: []), solved


def test_of_many_readings_fourteen_are_paired_the_likeliest_alone_and_beside_the_likeliest_in_turn():
    pairs, solved = singles_of("grid", {3: 1.3, 11: -0.7})
    order = np.argsort(solved.squares, kind="stable").tolist()
    # Of twenty readings the smaller mistake, and the two others that place its corner, explain next to nothing alone.
    assert {*order[-3:]} == {5, 11, 18}

    found = pairs._likeliest(pairs._best_of_each)

    assert (len(found), len({*found})) == (14, 14)
    assert found[:2] == order[:2]
    assert {5, 11, 18} <= {*found[:7]}
    assert {*order[:4]} <= {*found[:7]}


def test_few_readings_are_all_paired():
    pairs, solved = singles_of("braced quad", {3: 1.3})
    assert pairs._likeliest(pairs._best_of_each) == np.argsort(solved.squares, kind="stable").tolist()


# -- pairs that one reading explains -----------------------------------------------------------------------------------


def single(number: int, amount: float, *, weight: float, sd: float = 0.02, worst: float = 0.0) -> WeighedHypothesis:
    """Return one reading wrong by an amount, as if solved."""
    hypothesis = Hypothesis((number,), Variant(), kind="reading")
    return WeighedHypothesis(hypothesis, weight, weight, 0.0, worst, (amount,), np.array([[sd**2]]), np.zeros(0))


def pair(numbers: tuple[int, int], amounts: tuple[float, float], *, weight: float, sds=(0.02, 0.02), tied=0.0):
    """Return two readings wrong by amounts, as if solved."""
    hypothesis = Hypothesis(numbers, Variant(), kind="two-readings")
    across = tied * sds[0] * sds[1]
    among = np.array([[sds[0] ** 2, across], [across, sds[1] ** 2]])
    return WeighedHypothesis(hypothesis, weight, weight, 0.0, 0.0, amounts, among, np.zeros(0))


@pytest.fixture(scope="module")
def lines():
    """Return a survey that has lines to number."""
    framework = Framework(NETWORKS["six stations, all lines"]())
    return Situation(framework.network, NO_HINTS, ())


@pytest.mark.parametrize(("off", "told_with_it"), [(0.0, True), (0.0599, True), (-0.0599, True), (0.0601, False)])
def test_a_pair_that_leaves_a_reading_where_it_alone_lets_everything_pass_speaks_for_it(lines, off, told_with_it):
    # ± 3 σ of 2 cm: as far the reading may lie and every check passes.
    ones, apart = told_with_one(
        [single(3, 1.0, weight=-5.0)], [pair((3, 8), (1.0 + off, 0.4), weight=-6.0)], CRITICAL, lines
    )
    assert (not apart) == told_with_it
    assert exp(ones[0].weight) == pytest.approx(exp(-5.0) + told_with_it * exp(-6.0))


@pytest.mark.parametrize(
    "one",
    [
        replace(single(3, 1.0, weight=-5.0), worst=3.01),  # something fails with it
        single(4, 1.0, weight=-5.0),  # another reading
        replace(single(3, 1.0, weight=-5.0), hypothesis=Hypothesis((3,), Variant(), slip=DROPPED, kind="reading")),
    ],
)
def test_only_a_reading_wrong_by_any_amount_after_which_all_passes_speaks_for_a_pair(lines, one):
    told = pair((3, 8), (1.0, 0.4), weight=-6.0)
    ones, apart = told_with_one([one], [told], CRITICAL, lines)
    assert [left.weight for left in apart] == [told.weight]
    assert ones[0].weight == one.weight


def test_of_a_pair_that_is_hardly_known_each_reading_takes_its_part_and_none_is_lost(lines):
    # Only the sum of the two is known: where one of them is next to nothing, the other alone explains everything.
    told = pair((3, 8), (0.5, 0.5), weight=-6.0, sds=(3.0, 3.0), tied=-0.99999)
    ones = [single(3, 1.0, weight=-8.0), single(8, 1.0, weight=-9.0)]
    with_it, apart = told_with_one(ones, [told], CRITICAL, lines)

    before = sum(exp(one.weight) for one in (*ones, told))
    assert sum(exp(one.weight) for one in (*with_it, *apart)) == pytest.approx(before)
    gained = [exp(new.weight) - exp(old.weight) for new, old in zip(with_it, ones, strict=True)]
    assert gained == pytest.approx([gained[0]] * 2, rel=1e-6)
    assert 0 < gained[0] < exp(told.weight) / 2


def test_of_two_roots_of_one_reading_the_likelier_that_the_pair_leaves_it_at_takes_it(lines):
    roots = [single(3, 1.0, weight=-9.0), single(3, 1.01, weight=-5.0), single(3, 4.0, weight=-4.0)]
    ones, apart = told_with_one(roots, [pair((8, 3), (0.4, 1.0), weight=-6.0)], CRITICAL, lines)
    assert apart == []
    assert [one.weight for one in ones] == [-9.0, pytest.approx(log(exp(-5.0) + exp(-6.0))), -4.0]


@pytest.mark.parametrize(("amount", "apart_from_it"), [(1.05, False), (1.07, True)])
def test_a_pair_of_which_a_slip_is_told_is_taken_at_its_amounts(lines, amount, apart_from_it):
    told = pair((3, 8), (amount, 1.0), weight=-6.0, sds=(0.0, 3.0))
    told = replace(told, hypothesis=replace(told.hypothesis, both=(DROPPED, None)))
    _, apart = told_with_one([single(3, 1.0, weight=-5.0)], [told], CRITICAL, lines)
    assert bool(apart) == apart_from_it
