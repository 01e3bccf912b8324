"""The posterior is Bayes' rule: every hypothesis solved again by a solver of our own, its share reckoned by hand."""

from __future__ import annotations

from collections import Counter
from math import exp, gamma, log, pi, sqrt

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.own_solver import solve_again
from builders.simulated import Framework

from pegline.diagnosis.suspects.booked_reading import BookedReading
from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Situation
from pegline.diagnosis.suspects.posterior import Posterior, _reflect, reckon
from pegline.diagnosis.suspects.slips import SLIPS, slips
from pegline.measures.values import Length
from pegline.network.growing_figure import Hints
from pegline.network.linear_equations import Network, with_observations
from pegline.network.observation_types import with_value

NO_HINTS = Hints({}, {}, dict)
CRITICAL = 3.29
#: Of shares: the posterior takes positions for normally distributed, and ends its steps at a thousandth of χ².
SHARE = 0.005

#: What is taken for granted before anything is measured, written once more: shares of surveys, metres of a mistake.
SOUND, ELSE, ANY, ONE_KIND, ASTRAY, MORE_THAN_TWO = 0.5, 0.05, 0.5, 0.02, 0.08, 0.08
LEAST, MOST, PEG = 0.05, 30.0, 1.0


def any_size(amount: float) -> float:
    """Return the density of a mistake between 5 cm and 30 m, each order of magnitude alike, of either sign."""
    return 1 / (2 * max(abs(amount), LEAST) * log(MOST / LEAST))


def spread_any_size(amount: float, sd: float) -> float:
    """Return its mean over what the mistake may be, by a sum over a normal distribution."""
    steps = np.linspace(-6, 6, 1201)
    normal = np.exp(-(steps**2) / 2)
    return float(sum(normal * [any_size(amount + sd * step) for step in steps]) / normal.sum())


class ByHand:
    """Weights of hypotheses of one survey, each solved again."""

    def __init__(self, network: Network, begin: np.ndarray, readings: dict[int, tuple[BookedReading, ...]]) -> None:
        self.network, self.begin, self.readings = network, begin, readings
        self.booked = solve_again(network, begin)
        self.read = [n for n, one in enumerate(network.observations) if one.booking.kind != "ranging"]

    def weight(self, one: WeighedHypothesis) -> float:
        """Return the logarithm of prior times likelihood of a hypothesis."""
        hypothesis, numbers = one.hypothesis, one.hypothesis.numbers
        values = {n: self.network.observations[n].booking.value for n in numbers}
        if hypothesis.slip is not None:
            (number,) = numbers
            told = list(slips(self.readings[number], self.network.observations[number].booking.sd))
            alike = Counter(slip.kind for slip in told)[hypothesis.slip.kind]
            solved = self.solved({number: values[number] + hypothesis.slip.change})
            prior = SLIPS[hypothesis.slip.kind].share / alike / len(self.read)
            return log(prior) + solved.log_volume - solved.square / 2
        if hypothesis.kind == "lines-exchanged":
            i, j = numbers
            lines = sum(one.booking.kind == "length" for one in self.network.observations)
            solved = self.solved({i: values[j], j: values[i]})
            return log(ONE_KIND / (lines * (lines - 1) / 2)) + solved.log_volume - solved.square / 2
        (number,) = numbers
        solved = solve_again(self.network, self.begin, numbers)
        amount, sd = float(solved.amounts[0]), float(solved.covariances[0, 0] ** 0.5)
        if hypothesis.kind == "peg-out-of-line":
            pegs = len(self.network.observations) - len(self.read)
            density, prior = (1 / (2 * PEG) if abs(amount) < PEG else 0.0), ASTRAY / pegs
        else:
            density, prior = spread_any_size(amount, sd), ANY / len(self.read)
        return log(prior * density * sqrt(2 * pi)) + solved.log_volume - solved.square / 2

    def solved(self, values: dict[int, float]):
        return solve_again(self.network, self.begin, values=values)

    def sound(self) -> float:
        """Return the same of a survey in which nothing is wrong."""
        return log(SOUND) + self.booked.log_volume - self.booked.square / 2

    def something_else(self, freedom: int) -> float:
        """Return the same of a disturbance of up to three dimensions, every order of magnitude alike."""
        d = min(freedom, 3)
        distance = sqrt(max(self.booked.square - (freedom - d), 1.0))
        density = 2 ** (d / 2 - 1) * gamma(d / 2) / (distance**d * log(MOST / LEAST))
        return log(ELSE * density) - (freedom - d) / 2 + self.booked.log_volume


def survey(name: str, seed: int, errors: dict[int, float], exchanged: tuple[int, int] | None = None):
    """Return a simulated survey with mistakes: its framework, its network, and what is booked."""
    framework = Framework(NETWORKS[name]())
    network = framework.measure(np.random.default_rng(seed), errors)
    if exchanged:
        ones = list(network.observations)
        i, j = exchanged
        ones[i], ones[j] = (with_value(ones[a], ones[b].booking.value) for a, b in ((i, j), (j, i)))
        network = with_observations(network, ones)
    return framework, network, framework.readings(network)


def posterior_of(framework: Framework, network: Network, readings: dict[int, tuple[BookedReading, ...]]) -> Posterior:
    return reckon(Situation(network, NO_HINTS, (framework.fit.parameters,)), None, readings, CRITICAL)


#: A survey, the mistakes in it, how many are redundant: of one check, of which nothing may be wrong; and of three.
ONE_MISTAKE = {
    "a line 1 m long": ("braced quad", 2, {2: 1.0}, None),
    "hardly a mistake": ("braced quad", 2, {2: 0.05}, None),
    "two lines exchanged of nearly one length": ("braced quad", 2, {}, (1, 4)),
    "a peg half a metre out of line": ("fixed by ties", 2, {9: 0.5}, None),
}


@pytest.mark.parametrize("case", ONE_MISTAKE)
def test_each_hypothesis_has_the_share_that_bayes_rule_gives_it(case):
    name, seed, errors, exchanged = ONE_MISTAKE[case]
    framework, network, readings = survey(name, seed, errors, exchanged)
    found = posterior_of(framework, network, readings)
    by_hand = ByHand(network, framework.fit.parameters, readings)
    freedom = len(network.observations) + 1 - int((~network.held).sum())  # the tape's own scale is known beforehand

    single = [n for n, one in enumerate(found.hypotheses) if one.hypothesis.kind != "two-readings"]
    told = [found.shares[n] for n in single if found.shares[n] > 1e-4]
    weights = [by_hand.weight(found.hypotheses[n]) for n in single if found.shares[n] > 1e-4]

    # Two readings at once have a share of their own, here a small one.
    rest = sum(found.shares[n] for n in range(len(found.hypotheses)) if n not in single)
    weights += [by_hand.something_else(freedom), by_hand.sound()]
    sizes = np.exp(np.array(weights) - max(weights))
    shares = sizes / sizes.sum() * (1 - rest - rest * MORE_THAN_TWO / (1 - MORE_THAN_TWO))
    assert rest < 0.02
    assert told == pytest.approx(shares[:-2].tolist(), abs=SHARE)
    assert found.nothing_wrong == pytest.approx(shares[-1], abs=SHARE)
    assert found.something_else == pytest.approx(shares[-2], abs=SHARE)
    assert sum(found.shares) == pytest.approx(1.0)


def test_every_reading_is_looked_at_and_each_slip_that_explains_it():
    framework, network, readings = survey(*ONE_MISTAKE["a line 1 m long"][:3])
    found = posterior_of(framework, network, readings)
    begin = framework.fit.parameters

    assert {one.hypothesis.numbers for one in found.hypotheses if one.hypothesis.slip is None} == {
        (n,) for n in range(len(network.observations))
    }
    explaining = set()
    for n, one in enumerate(network.observations):
        wrong_by = float(solve_again(network, begin, [n]).amounts[0])
        for slip in slips(readings[n], one.booking.sd):
            if abs(slip.change - wrong_by) < 0.5:  # with a check of some 2 cm no other can be meant
                square = solve_again(network, begin, values={n: one.booking.value + slip.change}).square
                explaining |= {(n, slip.would_be)} if square < 30.0 else set()
    assert explaining == {
        (one.hypothesis.numbers[0], one.hypothesis.slip.would_be)
        for one in found.hypotheses
        if one.hypothesis.slip and one.square < 30.0
    }
    assert explaining


def test_amounts_what_is_left_and_the_largest_test_are_those_of_a_solution_of_our_own():
    framework, network, readings = survey("six stations, all lines", 2, {3: 1.3, 7: -0.4})
    found = posterior_of(framework, network, readings).hypotheses
    some = [one for one in found if not one.hypothesis.slip and not any(one.hypothesis.both) and one.square < 100.0]
    assert "two-readings" in {one.hypothesis.kind for one in some}
    for one in some:
        own = solve_again(network, one.parameters, one.hypothesis.numbers)
        assert one.square == pytest.approx(own.square, abs=0.01)
        assert one.worst == pytest.approx(own.worst, abs=0.01)
        assert one.amounts == pytest.approx(own.amounts.tolist(), abs=1e-3)
        assert np.ravel(one.covariances) == pytest.approx(np.ravel(own.covariances), rel=0.01, abs=1e-8)


def test_of_two_tapings_the_slip_is_made_in_the_one_that_stands_apart():
    # Taped twice, the mean stands in the network; the one that was read 1 m long stands apart from the other by that.
    framework, network, readings = survey("braced quad", 2, {2: 0.5})
    number, sd = 2, network.observations[2].booking.sd
    mean = network.observations[number].booking.value
    texts = [f"{mean + 0.5:.2f}", f"{mean - 0.5:.2f}"]
    pair = tuple(BookedReading(Length(float(t), None, t), "m", (30.0,), share=0.5) for t in texts)
    found = posterior_of(framework, network, readings | {number: pair})

    first = found.hypotheses[0]
    assert (first.hypothesis.numbers, first.hypothesis.slip.reading) == ((number,), texts[0])
    assert float(first.hypothesis.slip.would_be) == pytest.approx(float(texts[1]), abs=0.01)
    # χ² of two readings 1 m apart is (0.5² + 0.5²) / (σ √2)²; once the slip is undone they agree, but 100 is the most
    # that is counted.
    apart = 0.5 / (2 * sd**2)
    assert apart > 100.0
    own = solve_again(network, framework.fit.parameters, values={number: mean - 0.5})
    any_amount = next(
        one for one in found.hypotheses if one.hypothesis.numbers == (number,) and not one.hypothesis.slip
    )
    loose = solve_again(network, framework.fit.parameters, [number])
    alike = sum(slip.kind == first.hypothesis.slip.kind for slip in slips(pair, sd * sqrt(2)))
    prior = SLIPS[first.hypothesis.slip.kind].share / alike * exp(100.0 / 2) / ANY
    expected = log(prior) + own.log_volume - own.square / 2
    expected -= log(any_size(float(loose.amounts[0])) * sqrt(2 * pi)) + loose.log_volume - loose.square / 2
    assert first.weight - any_amount.weight == pytest.approx(expected, abs=0.05)


def test_of_what_two_mistakes_explain_a_part_is_kept_for_more_than_two():
    framework, network, readings = survey("six stations, all lines", 4, {3: 1.3, 11: -0.7})
    found = posterior_of(framework, network, readings)
    pairs = sum(
        share
        for one, share in zip(found.hypotheses, found.shares, strict=False)
        if one.hypothesis.kind == "two-readings"
    )
    assert found.hypotheses[0].hypothesis.numbers in ((3, 11), (11, 3))
    # The rest is of a disturbance from anywhere, and of what two readings explain a part that is of more than two.
    by_hand = ByHand(network, framework.fit.parameters, readings)
    own = solve_again(network, found.hypotheses[0].parameters, found.hypotheses[0].hypothesis.numbers)
    density = log(any_size(float(own.amounts[0])) * any_size(float(own.amounts[1])) * 2 * pi) - own.square / 2
    scale = 1 / (SOUND + ELSE + ANY + 0.5)  # slips are half as well: of a whole that is more than 1 two are taken
    two = 2 * log(ANY / 15) + log(scale) + density + own.log_volume
    anywhere = exp(by_hand.something_else(6) - two)
    assert pairs == pytest.approx((1 - MORE_THAN_TWO) / (1 + anywhere), abs=SHARE)
    assert found.something_else == pytest.approx((MORE_THAN_TWO + anywhere) / (1 + anywhere), abs=SHARE)


def test_with_one_redundant_measurement_no_two_readings_are_told():
    framework = Framework(NETWORKS["diagonal base"]())
    network = framework.measure(np.random.default_rng(1), {2: 1.3, 8: -0.8})
    lines = list(network.observations)
    freedom = len(lines) + 1 - int((~network.held).sum())
    found = posterior_of(framework, network, framework.readings(network))
    assert freedom == 1
    assert {one.hypothesis.kind for one in found.hypotheses} <= {
        "reading",
        "lines-exchanged",
        "tape-length",
        "other-station",
    }


def test_a_mirrored_place_is_that_of_complex_numbers_turned_over():
    random = np.random.default_rng(2)
    start, end, places = random.normal(size=2), random.normal(size=2), random.normal(size=(5, 2))
    p, way = complex(*start), complex(*(end - start))
    expected = [p + (way / way.conjugate()) * (complex(*place) - p).conjugate() for place in places]
    found = _reflect(places, start, end)
    assert [complex(*place) for place in found] == pytest.approx(expected)
    assert _reflect(places, start, start).shape == (5, 2)  # a line of no length has no sides


def test_with_two_redundant_measurements_what_two_amounts_explain_speaks_for_something_else():
    # Two amounts fit two redundant measurements whatever is wrong: that tells of nobody, and of no sound survey.
    framework, network, readings = survey("strip", 1, {0: 1.3, 6: -0.9})
    found = posterior_of(framework, network, readings)
    assert "two-readings" not in {one.hypothesis.kind for one in found.hypotheses}
    by_hand = ByHand(network, framework.fit.parameters, readings)
    anywhere = found.shares[0] * exp(by_hand.something_else(2) - found.hypotheses[0].weight)
    assert found.something_else > 5 * anywhere
    assert sum(found.shares) == pytest.approx(1.0)
