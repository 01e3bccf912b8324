"""Arcs put the points of every variant where a fresh start of the same book puts them."""

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.simulated import Framework

from pegline.diagnosis.suspects.construction import construct
from pegline.diagnosis.suspects.variants import Variant, Variants
from pegline.measures.values import Pair, Side
from pegline.network.dependents import change_of, with_reading_changed
from pegline.network.linear_equations import with_observations
from pegline.network.start import Hints, start_figure

SAME = 1e-6  # metres
NAMES = ["quad with pegs", "farm", "triangle with check line", "fixed by ties"]


def survey(name):
    """Return a network, and the sides on which its stations lie."""
    framework = Framework(NETWORKS[name]())
    local = framework.plot.local()
    first, last = framework.plot.base.ends
    pair = Pair(first, last, framework.true[0].booking.place)
    sides = {name: Side(pair, bool(xy[1] > 0)) for name, xy in local.items() if abs(xy[1]) > 1.0}
    return framework.network, Hints(sides, {}, {})


@pytest.mark.parametrize("name", NAMES)
def test_with_the_readings_as_booked_points_stand_where_the_start_puts_them(name):
    network, hints = survey(name)
    construction = construct(network, hints, None)
    alone = Variants(network, [Variant()])

    parameters = construction.repeat(alone, alone.given_amounts)[0]

    begun = start_figure(network.names[: network.stations], (), network.observations, hints)
    expected = np.array([begun.positions[name] for name in network.names]).ravel()
    assert parameters[: len(expected)] == pytest.approx(expected, abs=SAME)


@pytest.mark.parametrize("name", NAMES)
def test_with_another_base_line_they_stand_where_a_start_with_that_puts_them(name):
    network, hints = survey(name)
    construction = construct(network, hints, None)
    amount = change_of(network.observations, construction.base)
    longer = Variants(network, [Variant(amounts=(amount,), fixed=(by,)) for by in (-1.5, 1.5)])

    placed = construction.repeat(longer, longer.given_amounts)

    for row, by in zip(placed, (-1.5, 1.5), strict=True):
        other = with_observations(network, with_reading_changed(network.observations, construction.base, by))
        begun = start_figure(network.names[: network.stations], (), other.observations, hints)
        if begun.missing or begun.pairs != start_figure(network.names, (), network.observations, hints).pairs:
            continue  # other arcs are the best-shaped then
        expected = np.array([begun.positions[name] for name in network.names]).ravel()
        assert row[: len(expected)] == pytest.approx(expected, abs=SAME)
