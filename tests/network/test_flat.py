"""Flat figures are solved rightly, marked, or refused with the stations named: never wrong without a word."""

from collections import Counter
from itertools import combinations
from math import dist
from random import Random

import numpy as np
import pytest
from builders.figures import keep
from builders.records import LOCAL, measure

from pegline.errors import BookError
from pegline.network.adjust import adjust

ELLIPSE = 5.991  # χ² of two degrees of freedom, 95 %
SD = 0.02  # metres


def judge(at, lines, sides, watched):
    """Return of each station watched whether it is refused, marked, or within or outside of its ellipse."""
    book, reduction = measure(lines, sides=sides, scale_sd=1e-9)
    try:
        adjustment = adjust(book, reduction, LOCAL)
    except BookError as error:
        named = " ".join(finding.text for finding in error.findings)
        return ["refused" if any(name in named for name in watched) else "unnamed"]
    solution, found = adjustment.adjusted, []
    for name in watched:
        row = solution.index[name]
        away = solution.positions[row] - np.array(at[name])
        inside = away @ np.linalg.solve(solution.local_variances[row], away) < ELLIPSE
        found.append("marked" if name in adjustment.unreliable else "in" if inside else "out")
    return found


def over_a_base(height, seed, *, third=False):
    """Return what becomes of a station at a height over the middle of a base of 60 m, with a third line or not."""
    random = Random(f"flat {height} {seed}")
    at = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (30.0, height), "D": (25.0, -30.0)}
    uses = {"A-B": "base", "A-C": "side", "B-C": "side"}
    if third:
        uses |= {"A-D": "side", "B-D": "side", "C-D": "tie"}
    lines = {
        name: (use, dist(*(at[end] for end in name.split("-"))) + random.gauss(0, SD), SD) for name, use in uses.items()
    }
    return judge(at, lines, {"C": "left A-B", "D": "right A-B"} if third else {"C": "left A-B"}, "C")


def straight_chain(aside, seed):
    """Return what becomes of four stations a little off a line of 300 m, with all lines between them."""
    random = Random(f"chain {aside} {seed}")
    at = {f"S{i}": (60.0 * i, aside * (-1) ** (i + 1) if 0 < i < 5 else 0.0) for i in range(6)}
    lines = {
        f"{a}-{b}": ("side" if "S0" in (a, b) else "tie", dist(at[a], at[b]) + random.gauss(0, 0.005), 0.005)
        for a, b in combinations(at, 2)
    }
    lines["S0-S5"] = ("base", *lines["S0-S5"][1:])
    sides = {name: f"{'left' if y > 0 else 'right'} S0-S5" for name, (_, y) in at.items() if y}
    return judge(at, lines, sides, list(sides))


FIGURES = [
    (lambda seed: over_a_base(4.0, seed), 0),
    (lambda seed: over_a_base(0.5, seed), 1),  # two lines that cannot tell the height
    (lambda seed: over_a_base(0.5, seed, third=True), 0),  # the third fixes it
    (lambda seed: straight_chain(2.0, seed), 0),
    (lambda seed: straight_chain(0.5, seed), 1),
]


@pytest.mark.parametrize(("figure", "refused"), FIGURES)
def test_no_flat_figure_is_wrong_without_a_word(figure, refused):
    counted = Counter(one for seed in range(60) for one in figure(seed))
    assert counted["unnamed"] == 0
    trusted = counted["in"] + counted["out"]
    if refused:
        assert counted["refused"] + counted["marked"] > 0.9 * counted.total()
    else:
        assert counted["marked"] + counted["refused"] < 0.05 * counted.total()
        assert counted["in"] / trusted > 0.88  # 95 % are wanted; 60 figures tell it to 2.8 %


@pytest.mark.long
def test_of_flat_stations_that_are_not_marked_nearly_all_lie_within_their_ellipse():
    seeds = 600
    counted = Counter(one for figure, _ in FIGURES for seed in range(seeds) for one in figure(seed))
    trusted = counted["in"] + counted["out"]
    marked = (counted["marked"] + counted["refused"]) / counted.total()
    keep(
        "G7",
        "stations of flat figures, of five shapes",
        f"{counted['in'] / trusted:.1%} of those not marked within; {marked:.0%} marked or refused",
        counted.total(),
    )
    assert counted["in"] / trusted >= 0.93
