"""Lines advised to a sound survey do what is promised of them."""

import re
from dataclasses import dataclass, replace
from itertools import combinations, permutations
from math import inf

import numpy as np
import pytest
from builders.mistaken import survey_of
from builders.networks import NETWORKS
from builders.plot import Line
from builders.simulated import Framework

from pegline.diagnosis.advice.more_lines import MoreLines
from pegline.diagnosis.advice.reinforcement import NewLineTape, _derivatives, strengthening_lines
from pegline.measures.notation import METRES
from pegline.readers import parse_book
from pegline.survey import reduce

FRAMEWORKS = {name: Framework(make()) for name, make in NETWORKS.items()}


def tape_of(framework):
    """Return the tape that new lines are measured with."""
    return NewLineTape(framework.tape.material, framework.tape.length, framework.tape.a)


@dataclass(frozen=True)
class ByRedundancy:
    """How small a mistake is noticed where the solution from everything decides it: (c + 0.84) σ / √r."""

    framework: Framework

    def smallest_noticed(self, reading, lines):
        """Return it with some lines more."""
        larger = Framework(with_lines(self.framework.plot, ["-".join(pair) for pair in lines]))
        number = [one.booking.label for one in larger.true].index(reading.label)
        redundancy = larger.effects.spread[number]
        return (self.framework.critical + 0.84) * reading.sd / redundancy**0.5 if redundancy > 1e-6 else inf

    def noticed_by_each(self, reading, rows):
        """Return that every line promises much."""
        return np.zeros(len(rows))


def with_lines(plot, names):
    """Return the plot with some lines more; one that is there already is taped back."""
    booked = {line.name for line in plot.lines}
    more = (Line("-".join(reversed(n.split("-"))) if n in booked else n, "check") for n in names)
    return replace(plot, lines=(*plot.lines, *more))


@pytest.mark.parametrize("name", ["fan", "grid", "six stations, twelve lines", "two hubs", "strip"])
def test_the_promised_redundancy_is_what_the_line_gives(name):
    framework = FRAMEWORKS[name]
    (advice, *_) = strengthening_lines(framework.fit, tape_of(framework), ByRedundancy(framework), METRES)
    what = re.search(r" in (\S+) could stay hidden", advice.why)[1]
    larger = Framework(with_lines(framework.plot, [advice.measure]))

    def redundancy(one):
        return one.effects.spread[[o.booking.label for o in one.true].index(what)]

    assert redundancy(larger) - redundancy(framework) == pytest.approx(advice.gain, abs=1e-6)


def test_no_other_line_would_do_more_for_the_weakest():
    framework = FRAMEWORKS["six stations, twelve lines"]
    (advice, *_) = strengthening_lines(framework.fit, tape_of(framework), ByRedundancy(framework), METRES)
    what = re.search(r" in (\S+) could stay hidden", advice.why)[1]
    names = list(framework.plot.stations)
    for start in names:
        for end in names[names.index(start) + 1 :]:
            if framework.plot.line(f"{start}-{end}") is None:
                other = Framework(with_lines(framework.plot, [f"{start}-{end}"]))
                number = [one.booking.label for one in other.true].index(what)
                rise = other.effects.spread[number] - framework.effects.spread[number]
                assert rise <= advice.gain + 0.1  # the others count a little


def test_the_chainage_of_a_tie_station_may_be_what_is_weakest():
    # T stands nearly under C: its chainage moves T-C by little, and T-E, a new line, would show it.
    text = """
book: 1
unit: m
tapes: {s: {material: steel, length: 30}}
default_tape: {lines: s, offsets: s}
stations: {C: {left_of: A-B}, D: {right_of: A-B}, E: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 60.00, details: [{at: 25.00, station: T}]}
  A-C: {use: side, taped: 40.20}
  C-B: {use: side, taped: 46.31}
  A-D: {use: side, taped: 43.60}
  D-B: {use: side, taped: 39.26}
  A-E: {use: side, taped: 29.73}
  E-B: {use: side, taped: 42.94}
  D-E: {use: check, taped: 13.90}
  C-D: {use: check, taped: 59.96}
  T-C: {use: check, taped: 31.01}
"""
    advice = reduce(parse_book(text.encode(), "tie.yaml")).diagnosis.advice
    assert "the chainage of T on A-B" in advice[0].why
    assert "T" in advice[0].measure.split("-")


def test_a_line_that_would_not_make_a_smaller_mistake_noticed_is_not_advised():
    framework = FRAMEWORKS["six stations, twelve lines"]
    asked = []

    class Nearly(ByRedundancy):
        def smallest_noticed(self, reading, lines):
            asked.append(lines)
            return 0.05 if lines else 0.054

    assert strengthening_lines(framework.fit, tape_of(framework), Nearly(framework), METRES) == ()
    assert any(asked)


def test_where_the_best_line_does_not_help_the_next_one_is_advised():
    framework = FRAMEWORKS["six stations, twelve lines"]
    (best, *_) = strengthening_lines(framework.fit, tape_of(framework), ByRedundancy(framework), METRES)

    class WithoutBest(ByRedundancy):
        def smallest_noticed(self, reading, lines):
            return super().smallest_noticed(reading, [pair for pair in lines if "-".join(pair) != best.measure])

    (advice, *_) = strengthening_lines(framework.fit, tape_of(framework), WithoutBest(framework), METRES)
    assert advice.measure != best.measure


@pytest.mark.parametrize("checks", [1, 2, 3])
def test_what_a_line_is_expected_to_notice_is_what_it_notices_once_it_is_taped(checks):
    solved = reduce(parse_book(survey_of(np.random.default_rng(checks), checks).text.encode(), "plot.yaml")).solved
    more, fit = MoreLines(solved, "s"), solved.adjustment.fit
    positions = fit.parameters[: 2 * len(fit.network.names)].reshape(-1, 2)
    pairs = [
        (p, q)
        for p, q in combinations(range(len(fit.network.names)), 2)
        if not {f"{a}-{b}" for a, b in permutations((fit.network.names[p], fit.network.names[q]))}
        & set(solved.book.lines)
    ]
    rows = _derivatives(fit, positions, pairs, NewLineTape("s", 30.0, 0.005))
    for one in fit.network.observations:
        if one.booking.kind != "length":
            continue
        now = more.smallest_noticed(one.booking, ())
        for (p, q), alone in zip(pairs, more.noticed_by_each(one.booking, rows), strict=True):
            then = more.smallest_noticed(one.booking, [(fit.network.names[p], fit.network.names[q])])
            if min(now, alone) < 20:
                assert then == pytest.approx(min(now, alone), rel=0.06)  # one check more raises the critical value
