"""What the search for a wrong measurement finds in simulated surveys, by what geometry lets be found.

An error of k standard deviations in a measurement of redundancy r shifts its own test by k √r and that of
another, with which it correlates by ρ, by ρ k √r. Their difference has the variance 2 (1 - ρ), so the
right one is the larger with the probability Φ(k √r √((1 - ρ) / 2)); Φ(2.6) is 99.5 %.
"""

from dataclasses import replace
from math import dist, sqrt

import numpy as np
import pytest
from builders.book import book_text
from builders.networks import NETWORKS
from builders.party import REALISTIC
from builders.simulated import Framework

from pegline.diagnosis.effects import TIED, Effects
from pegline.diagnosis.slips import SLIPS
from pegline.diagnosis.suspects import SHARES, doubts, grouped
from pegline.errors import BookError
from pegline.network.least_squares import solve
from pegline.readers import parse_book
from pegline.survey import reduce

CERTAIN = 2.6  #: quantile beyond which geometry tells
CHECKED, APART = 0.15, 0.87  #: redundancy and largest correlation of lines that a network can tell apart
#: classes whose lines can all be told apart (largest correlation of their tests under 0.9)
TELLING = ("quad with pegs", "six stations, all lines")
FRAMEWORKS = {name: Framework(make()) for name, make in NETWORKS.items()}

few_or_many = pytest.mark.parametrize("trials", [8, pytest.param(400, marks=pytest.mark.long)])
each_class = pytest.mark.parametrize("name", NETWORKS)


def trial(framework, random, number, error):
    """Return the groups of suspects of a survey with one error, None where nothing is noticed."""
    network = framework.measured(random, {number: error})
    fit = solve(network)
    if Effects(fit).worst() <= framework.critical:
        return None
    return grouped(fit, doubts(fit, framework.critical, framework.readings(network)))


def sole(groups, number):
    """Return whether one measurement stands first and alone."""
    return bool(groups) and len(groups[0]) == 1 and groups[0][0].number == number


def checked(framework):
    """Return the measurements that anything checks."""
    return np.flatnonzero(framework.power > 1e-3)


@few_or_many
@each_class
def test_where_geometry_tells_the_wrong_one_is_the_sole_first_suspect(name, trials):
    framework, random = FRAMEWORKS[name], np.random.default_rng(11)
    right = tried = 0
    for number in checked(framework):
        power, alike = framework.power[number], framework.correlations[number].max()
        least = max(CERTAIN / (power * sqrt((1 - alike) / 2) + 1e-12), (framework.critical + CERTAIN) / power)
        if alike > TIED or least > 40:
            continue
        for _ in range(max(1, trials // len(framework.true))):
            k = least * random.uniform(1.0, 1.5)
            error = k * framework.true[number].booking.sd * random.choice([-1, 1])
            right += sole(trial(framework, random, number, error), number)
            tried += 1
    # 99 % with the chance of few trials: one miss in a short run.
    assert right >= 0.99 * tried - (1 if trials < 100 else 0)


@few_or_many
@each_class
def test_at_twenty_sigma_the_wrong_one_is_in_the_first_group(name, trials):
    framework, random = FRAMEWORKS[name], np.random.default_rng(12)
    hit = noticed = 0
    for _ in range(trials):
        number = int(random.choice(checked(framework)))
        groups = trial(framework, random, number, 20 * framework.true[number].booking.sd * random.choice([-1, 1]))
        if groups is not None:
            noticed += 1
            hit += number in [doubt.number for doubt in groups[0]]
    assert hit >= 0.95 * noticed - (1 if trials < 100 else 0)


@pytest.mark.parametrize("trials", [1, pytest.param(40, marks=pytest.mark.long)])
@pytest.mark.parametrize(("error", "least"), [("20 σ", 0.99), ("1 m", 0.99), ("10 σ", 0.90)])
def test_lines_that_the_network_can_tell_apart_are_named(trials, error, least):
    random = np.random.default_rng(13)
    told: dict[str, list[bool]] = {name: [] for name in FRAMEWORKS}
    for name, framework in FRAMEWORKS.items():
        for number in checked(framework):
            one, alike = framework.true[number], framework.correlations[number].max()
            if one.booking.kind != "length" or framework.power[number] ** 2 < CHECKED or alike > APART:
                continue
            size = {"20 σ": 20 * one.booking.sd, "1 m": 1.0, "10 σ": 10 * one.booking.sd}[error]
            for _ in range(trials):
                told[name].append(sole(trial(framework, random, number, size * random.choice([-1, 1])), number))
    print({name: f"{sum(results)} of {len(results)}" for name, results in told.items() if results})
    every = [right for results in told.values() for right in results]
    assert sum(every) >= least * len(every) - (3 if trials < 10 else 0)


@each_class
def test_tests_that_correlate_above_the_limit_are_told_as_one_group(name):
    framework, random = FRAMEWORKS[name], np.random.default_rng(14)
    tied = [n for n in checked(framework) if framework.correlations[n].max() > TIED + 0.02]
    for number in tied:
        groups = trial(framework, random, int(number), 30 * framework.true[number].booking.sd)
        if groups is None or number not in [doubt.number for doubt in groups[0]]:
            continue
        assert len(groups[0]) > 1


@each_class
def test_honest_surveys_raise_few_false_alarms(name):
    # 5 % of 2,000 is 100; three standard deviations of a binomial count are 29.
    framework, random = FRAMEWORKS[name], np.random.default_rng(15)
    rows = np.arange(len(framework.true))
    seen = framework.effects.seen(np.eye(len(rows)))
    booked = [one.booking for one in framework.true]
    scaled = np.array([one.value / one.sd if one.kind == "length" else 0.0 for one in booked])
    errors = random.standard_normal((len(rows), 2000))
    errors += scaled[:, None] * random.normal(0, framework.tape.b, 2000)  # one scale for each survey
    tests = seen @ errors / np.sqrt(np.maximum(framework.effects.spread, 1e-6))[:, None]
    alarms = int((np.abs(tests[framework.effects.spread > 1e-6]).max(axis=0) > framework.critical).sum())
    assert alarms <= 129


def dropped(plot, name, seed):
    """Return what is told of a book in which a tape length was dropped: the suspects, likeliest first, or an error."""
    text = book_text(plot, errors=REALISTIC, seed=seed, slips={name: "tape dropped"})
    try:
        suspects = reduce(parse_book(text.encode(), "dropped.yaml")).diagnosis.suspects
    except BookError as error:
        return [str(error)]
    return [f"{one.what} ({one.slip})" for one in suspects]


SOME = [("quad with pegs", "steel", "A-B"), ("strip", "fibreglass", "C-D"), ("two hubs", "fibreglass", "Q-C")]
EVERY = [
    (name, tape, line.name)
    for name, make in NETWORKS.items()
    for tape in ("fibreglass", "steel")
    for plot in (replace(make(), line_tape=tape),)
    for line in plot.lines
    if dist(*(plot.stations[end] for end in line.ends)) > plot.tapes[tape].length + 1
]


@pytest.mark.parametrize(
    ("name", "tape", "line"), [*SOME, *(pytest.param(*one, marks=pytest.mark.long) for one in EVERY if one not in SOME)]
)
def test_a_dropped_tape_length_is_always_named(name, tape, line):
    plot = replace(NETWORKS[name](), line_tape=tape)
    told = dropped(plot, line, seed=1)
    named = [one for one in told if f"{line} " in one and "dropped" in one]
    assert named
    if name in TELLING:
        assert told[0] == named[0]


def test_every_slip_has_its_share():
    assert set(SHARES) == set(SLIPS)
