"""Lines advised to a sound survey do what is promised of them."""

import re
from dataclasses import replace

import pytest
from builders.networks import NETWORKS
from builders.plot import Line
from builders.simulated import Framework

from pegline.diagnosis.advice.reinforcement import NewLineTape, strengthening_lines
from pegline.measures.notation import METRES
from pegline.readers import parse_book
from pegline.survey import reduce

FRAMEWORKS = {name: Framework(make()) for name, make in NETWORKS.items()}


def tape_of(framework):
    """Return the tape that new lines are measured with."""
    return NewLineTape(framework.tape.material, framework.tape.length, framework.tape.a)


def with_lines(plot, names):
    """Return the plot with some lines more; one that is there already is taped back."""
    booked = {line.name for line in plot.lines}
    more = (Line("-".join(reversed(n.split("-"))) if n in booked else n, "check") for n in names)
    return replace(plot, lines=(*plot.lines, *more))


@pytest.mark.parametrize("name", ["fan", "grid", "six stations, twelve lines", "two hubs", "strip"])
def test_the_promised_redundancy_is_what_the_line_gives(name):
    framework = FRAMEWORKS[name]
    (advice, *_) = strengthening_lines(framework.fit, tape_of(framework), framework.critical, METRES)
    what = re.search(r" in (\S+) could stay hidden", advice.why)[1]
    larger = Framework(with_lines(framework.plot, [advice.measure]))

    def redundancy(one):
        return one.effects.spread[[o.booking.label for o in one.true].index(what)]

    assert redundancy(larger) - redundancy(framework) == pytest.approx(advice.gain, abs=1e-6)


def test_no_other_line_would_do_more_for_the_weakest():
    framework = FRAMEWORKS["six stations, twelve lines"]
    (advice, *_) = strengthening_lines(framework.fit, tape_of(framework), framework.critical, METRES)
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
