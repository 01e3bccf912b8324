"""What disagrees counts little, and what lies about it is solved anew: against robust regression of scipy's."""

from __future__ import annotations

from math import dist, log

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.own_solver import solve_again
from builders.simulated import Framework
from scipy.optimize import least_squares

from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Hypothesis
from pegline.diagnosis.suspects.neighbourhood import (
    neighbourhood,
    positions_if_right,
    robust,
    robust_without_each,
    roughness,
)
from pegline.diagnosis.suspects.variants import Variant
from pegline.network.dependents import change_of
from pegline.network.linear_equations import Network, with_observations
from pegline.network.observation_types import with_value

MILLIMETRE = 1e-3


@pytest.fixture(scope="module")
def grid() -> Framework:
    return Framework(NETWORKS["grid"]())


def misfits(network: Network, parameters: np.ndarray) -> np.ndarray:
    """Return how far each taped line is off, over its deviation, by its two ends alone."""
    at = parameters[: 2 * len(network.names)].reshape(-1, 2)
    scale = 1 + parameters[2 * len(network.names)]
    index = network.index
    return np.array(
        [
            (one.booking.value - dist(at[index[one.start]], at[index[one.end]]) * scale) / one.booking.sd
            for one in network.observations
        ]
    )


def test_how_badly_all_fits_is_cauchys_loss_at_three_standard_deviations(grid):
    network, begin = grid.measure(np.random.default_rng(7), {3: 2.0}), grid.fit.parameters
    expected = sum(log(1 + (off / 3) ** 2) for off in misfits(network, begin))
    assert roughness(network, begin) == pytest.approx(expected, rel=1e-6)


def test_a_robust_solution_is_that_of_cauchys_loss(grid):
    network = grid.measure(np.random.default_rng(7), {3: 2.0, 17: -0.5})
    begin, held = grid.fit.parameters, network.held

    def everything(unknowns: np.ndarray) -> np.ndarray:
        parameters = begin.copy()
        parameters[~held] = unknowns
        return misfits(network, parameters)

    # The scale of the tape is known beforehand, and no misfit of it can be gross: scipy's loss takes it as one more.
    own = least_squares(
        lambda unknowns: np.append(everything(unknowns), unknowns[-1] / network.shared_sds[0]),
        begin[~held],
        loss="cauchy",
        f_scale=3.0,
        x_scale="jac",
        xtol=1e-12,
        ftol=1e-12,
    )
    found = robust(network, [begin])
    points = begin.copy()
    points[~held] = own.x
    assert found[: 2 * len(network.names)] == pytest.approx(points[: 2 * len(network.names)], abs=2 * MILLIMETRE)
    off = np.abs(misfits(network, found))
    assert {n for n in range(len(off)) if off[n] > 20} == {3, 17}


def test_of_several_beginnings_the_one_is_taken_in_which_least_disagrees(grid):
    network = grid.measure(np.random.default_rng(7))
    astray = grid.fit.parameters.copy()
    astray[[4, 5]] += 25.0  # C beyond the line of its neighbours, where no small step brings it back
    astray[4] += 30.0
    good, bad = robust(network, [grid.fit.parameters]), robust(network, [astray])
    best = robust(network, [astray, grid.fit.parameters])
    assert roughness(network, best) == min(roughness(network, good), roughness(network, bad))
    assert best == pytest.approx(good)


@pytest.mark.parametrize("wrong", [8, 9, 16])  # at no corner: of the three lines there any may be the wrong one
def test_a_gross_mistake_in_what_places_a_station_is_found_by_leaving_it_out(grid, wrong):
    # Solved with it, everything about it disagrees. Without it, it alone does.
    network = grid.measure(np.random.default_rng(7), {wrong: 9.0})
    everything = grid.fit.parameters.copy()
    own = solve_again(network, everything)
    everything[~network.held] = own.unknowns
    assert np.count_nonzero(np.abs(misfits(network, everything)) > 4) > 5

    found = robust_without_each(network, everything)
    off = np.abs(misfits(network, found))
    assert [n for n in range(len(off)) if off[n] > 4] == [wrong]
    assert off[wrong] == pytest.approx(9.0 / network.observations[wrong].booking.sd, rel=0.01)


def test_about_what_disagrees_the_nearest_points_are_free_and_those_around_them_held():
    long_strip = strip_of(30)
    network = long_strip.measure(np.random.default_rng(5), {40: 3.0})
    wrong = network.observations[40]
    begin = long_strip.fit.parameters
    found = neighbourhood(network, begin)

    inside = {name for n, name in enumerate(found.network.names) if not found.network.held[2 * n]}
    assert len(inside) == 18
    assert {wrong.start, wrong.end} <= inside
    # By lines counted from the one that disagrees, none that is left out is nearer than one that is taken.
    away = steps_from({wrong.start, wrong.end}, network)
    assert max(away[name] for name in inside) <= min(away[name] for name in network.names if name not in inside)
    # Every line of theirs is there, with both of its ends; what stands around is held where it was.
    lines = [n for n, one in enumerate(network.observations) if inside & set(one.points)]
    assert list(found.numbers) == lines
    assert [one.booking.label for one in found.network.observations] == [
        network.observations[n].booking.label for n in lines
    ]
    assert found.network.observations[found.worst] == wrong
    at = begin[: 2 * len(network.names)].reshape(-1, 2)
    there = found.begin[: 2 * len(found.network.names)].reshape(-1, 2)
    assert there == pytest.approx(np.array([at[network.index[name]] for name in found.network.names]))
    around = [n for n, name in enumerate(found.network.names) if name not in inside]
    assert all(found.network.held[[2 * n for n in around]])
    assert all(found.network.held[[2 * n + 1 for n in around]])


def test_where_nothing_disagrees_it_is_looked_about_what_fits_worst():
    long_strip = strip_of(30)
    network = long_strip.measure(np.random.default_rng(5))
    off = np.abs(misfits(network, long_strip.fit.parameters))
    assert off.max() < 4.0
    found = neighbourhood(network, long_strip.fit.parameters)
    assert found.numbers[found.worst] == int(np.argmax(off))


def test_once_a_hypothesis_is_right_everything_stands_where_the_survey_so_booked_puts_it(grid):
    network = grid.measure(np.random.default_rng(7), {3: 2.0})
    begin = grid.fit.parameters
    near = neighbourhood(network, begin)
    inside = near.numbers.index(3)
    mended = with_observations(
        network, [with_value(one, one.booking.value - 2.0 * (n == 3)) for n, one in enumerate(network.observations)]
    )
    expected = robust(mended, [begin])

    by_amount = Hypothesis((inside,), Variant(amounts=(change_of(near.network.observations, inside),)))
    otherwise = Hypothesis((inside,), Variant({inside: mended.observations[3]}))
    for hypothesis, amounts in ((by_amount, (-2.0,)), (otherwise, ())):
        weighed = WeighedHypothesis(hypothesis, 0.0, 0.0, 0.0, 0.0, amounts, np.zeros((1, 1)), near.begin)
        assert positions_if_right(network, near, weighed, begin) == pytest.approx(expected, abs=1e-6)


def test_what_cannot_be_solved_stays_where_it_stands(grid):
    # One line alone lets a station swing: there is no solution, robust or not.
    network = grid.measure(np.random.default_rng(7))
    swinging = with_observations(network, [one for one in network.observations if "J" not in one.points][:-1])
    begin = grid.fit.parameters
    assert robust(swinging, [begin]) == pytest.approx(begin)
    assert robust_without_each(swinging, begin) == pytest.approx(begin)


# -- a long strip of triangles -----------------------------------------------------------------------------------------


def strip_of(pairs: int) -> Framework:
    """Return a strip of so many pairs of stations, each joined to the next by five lines."""
    from builders.plot import Line, Plot

    at = {f"{side}{n}": (30.0 * n + n % 3, y + n % 2) for n in range(pairs) for side, y in (("u", 24.0), ("l", 0.0))}
    lines = [Line("l0-l1", "base")]
    lines += [Line(f"l{n}-u{n}", "side") for n in range(pairs)]
    for n in range(pairs - 1):
        lines += [Line(f"l{n}-l{n + 1}", "side")] if n else []
        lines += [Line(f"u{n}-u{n + 1}", "side"), Line(f"l{n}-u{n + 1}", "side"), Line(f"u{n}-l{n + 1}", "check")]
    return Framework(Plot(at, tuple(lines)))


def steps_from(names: set[str], network: Network) -> dict[str, int]:
    """Return how many lines each point is away from some."""
    away, ring, step = dict.fromkeys(names, 0), set(names), 0
    while ring:
        step += 1
        ring = {name for one in network.observations if ring & set(one.points) for name in one.points} - away.keys()
        away |= dict.fromkeys(ring, step)
    return away
