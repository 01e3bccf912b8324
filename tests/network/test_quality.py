"""Quality figures are what they are called: in formula, and in how often they are right over many surveys."""

from dataclasses import replace

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.records import LOCAL, measure, simulate

from pegline.book.model import Limits
from pegline.frame.model import Frame, FrameBearing, FrameControl
from pegline.network.adjust import adjust, framework_fails
from pegline.network.confidence import ellipses
from pegline.network.critical_value import sidak
from pegline.network.dependents import derivative_matrix, full_matrix
from pegline.network.least_squares import solve_network
from pegline.network.quality import derivatives

SAME = 1e-9
ELLIPSE = 5.991  # χ² of two degrees of freedom, 95 %


@pytest.mark.parametrize("name", NETWORKS)
def test_redundancy_numbers_add_up_to_the_freedom(name):
    # The scale of the tape is measured beforehand, so that it has a redundancy number too.
    adjustment = adjust(*simulate(NETWORKS[name](), 2), LOCAL)
    scale = 2 * len(adjustment.adjusted.names)
    variance = float(adjustment.adjusted.covariances.blocks(np.array([[scale]]))[0, 0, 0])
    of_scale = 1 - variance / adjustment.fit.network.shared_sds[0] ** 2
    total = sum(m.redundancy for m in adjustment.measurements)
    assert total + of_scale == pytest.approx(adjustment.freedom, abs=1e-6)


def test_derivatives_of_some_observations_are_those_of_all():
    fit = adjust(*simulate(NETWORKS["farm"](), 2), LOCAL).fit
    rows = np.array([5, 0, 7])
    assert derivatives(fit, rows) == pytest.approx(full_matrix(derivative_matrix(fit))[rows], abs=0)


def test_an_error_shows_in_its_own_residual_by_the_redundancy_number():
    plot, slip = NETWORKS["quad with pegs"](), 0.004
    before, after = (adjust(*simulate(plot, 2, changed={"S-D": error}), LOCAL) for error in (0.0, slip))
    one, other = (next(m for m in adjustment.measurements if m.what == "S-D") for adjustment in (before, after))
    assert other.residual - one.residual == pytest.approx(one.redundancy * slip, rel=1e-3)


def test_the_critical_value_is_never_below_what_is_asked():
    plot = NETWORKS["braced quad"]()
    book, reduction = simulate(plot, 1)
    for significance, value in ((0.001, 3.2905), (0.01, 2.5758)):
        asked = adjust(with_significance(book, significance), reduction, LOCAL)
        assert asked.critical == pytest.approx(value, abs=1e-4)
    # One redundant line: all its tests are one, so that no bound for many is needed.
    assert adjust(with_significance(book, 0.5), reduction, LOCAL).critical == pytest.approx(1.96, abs=0.06)
    assert sidak(7) > 2.6


def with_significance(book, significance):
    return replace(book, limits=Limits(significance=significance))


def flat(height, frame=LOCAL):
    """Return a station at a height over the middle of a base of 60 m."""
    arm = float(np.hypot(30, height))
    lines = {"A-B": ("base", 60.0), "A-C": ("side", arm), "B-C": ("side", arm)}
    return adjust(*measure(lines, sides={"C": "left A-B"}), frame)


@pytest.mark.parametrize(("height", "trusted"), [(0.3, False), (0.7, False), (0.85, True), (2.0, True), (20.0, True)])
def test_a_station_at_less_than_four_of_its_own_deviations_is_marked(height, trusted):
    adjustment = flat(height)
    row = adjustment.solution.index["C"]
    sigmas = height / np.sqrt(adjustment.solution.local_variances[row, 1, 1])
    assert (sigmas > 4) == trusted
    assert adjustment.unreliable == (() if trusted else ("C",))


@pytest.mark.parametrize(("height", "trusted"), [(0.7, False), (0.85, True)])
def test_a_place_and_a_bearing_that_are_hardly_known_make_nothing_flat(height, trusted):
    # As a whole the figure may be half a metre off and a degree turned; nothing in it is the flatter for that.
    control = (FrameControl("A", 5.0, 9.0, 0.5, None),)
    bearings = (FrameBearing("A", "B", 1.0, np.radians(1.0), 1.0, None),)
    adjustment = flat(height, Frame("grid", "grid", "", "a grid", control=control, bearings=bearings))
    assert adjustment.unreliable == (() if trusted else ("C",))  # not B, which moves most as the whole turns


def test_deviations_about_the_base_line_are_the_same_whatever_holds_the_whole():
    # Free of any frame, and half a metre and a degree unsure in a grid: the base line's first station and direction
    # are held either way. Axes of the ellipses do not depend on how the figure is turned.
    plot = NETWORKS["quad with pegs"]()
    base = next(line for line in plot.lines if line.use == "base")
    control = (FrameControl(base.ends[0], 5.0, 9.0, 0.5, None),)
    bearings = (FrameBearing(*base.ends, 1.0, np.radians(1.0), 1.0, None),)
    frames = LOCAL, Frame("grid", "grid", "", "a grid", control=control, bearings=bearings)
    free, held = (adjust(*simulate(plot, 3), frame).adjusted for frame in frames)
    axes = [ellipses(one.local_variances)[:, :2] for one in (free, held)]
    assert axes[1] == pytest.approx(axes[0], abs=1e-6)
    assert (ellipses(held.variances)[:, :2] > axes[1]).all()


def local_truth(plot):
    base = next(line for line in plot.lines if line.use == "base")
    start, end = (np.array(plot.stations[name]) for name in base.ends)
    along = (end - start) / np.hypot(*(end - start))
    turn = np.array([along, [-along[1], along[0]]])
    return {name: turn @ (np.array(at) - start) for name, at in plot.stations.items() if name not in base.ends}


def surveys(name, count):
    """Yield whether each ellipse holds the truth, the χ² probability, and whether a check fails, for many surveys."""
    from builders.networks import range_ties

    plot = NETWORKS[name]()
    for seed in range(count):
        adjustment = adjust(*simulate(plot, seed), LOCAL)
        solution = adjustment.adjusted
        inside = []
        for station, at in local_truth(range_ties(plot, seed)).items():
            row = solution.index[station]
            away = solution.positions[row] - at
            inside.append(away @ np.linalg.solve(solution.local_variances[row], away) < ELLIPSE)
        yield np.mean(inside), adjustment.chi2_probability, framework_fails(adjustment.checks)


def test_ellipses_hold_the_truth_and_sound_surveys_pass():
    # 12 classes x 30 surveys: the share of one ellipse is known to 1.2 %, four of those allowed.
    found = [one for name in NETWORKS for one in surveys(name, 30)]
    inside, probabilities, failed = zip(*found, strict=True)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.025)
    assert np.mean(np.array(probabilities) < 0.05) == pytest.approx(0.05, abs=0.045)
    assert np.mean(failed) <= 0.05


@pytest.mark.long
@pytest.mark.parametrize("name", NETWORKS)
def test_2000_surveys_of_each_class(name):
    inside, probabilities, failed = zip(*surveys(name, 2000), strict=True)
    print(f"{name}: ellipses {np.mean(inside):.4f}, χ² {np.mean(np.array(probabilities) < 0.05):.4f}")
    assert 0.935 <= np.mean(inside) <= 0.965
    assert np.mean(np.array(probabilities) < 0.05) == pytest.approx(0.05, abs=0.015)
    assert np.mean(failed) <= 0.05


def alarms(name, count):
    """Return how often any test of a sound survey passes the critical value for all of them together."""
    plot, total = NETWORKS[name](), 0
    book, reduction = simulate(plot, None)
    critical = adjust(
        with_significance(book, 0.9), reduction, LOCAL
    ).critical  # of the shape alone: the same for each survey
    for seed in range(count):
        adjustment = adjust(*simulate(plot, seed), LOCAL)
        tests = [m.test for m in adjustment.measurements] + [c.test for c in adjustment.checks]
        total += max(map(abs, tests)) > critical
    return total / count


def test_one_sound_survey_in_twenty_would_alarm_at_the_family_value():
    # Standard error of 300 surveys: 1.3 %; three of those allowed.
    assert alarms("six stations, all lines", 300) == pytest.approx(0.05, abs=0.04)


@pytest.mark.long
@pytest.mark.parametrize("name", NETWORKS)
def test_the_family_value_over_2000_surveys(name):
    assert alarms(name, 2000) == pytest.approx(0.05, abs=0.015)


def test_solving_without_one_observation_is_solving_the_others():
    book, reduction = simulate(NETWORKS["two hubs"](), 4)
    network = adjust(book, reduction, LOCAL).network
    keep = np.array([one.booking.label != "A-B" for one in network.observations])
    without = solve_network(network, keep)
    other = solve_network(network, keep, without.parameters + 0.001 * ~network.held)
    assert other.parameters == pytest.approx(without.parameters, abs=SAME)
    assert without.freedom == len(keep) - 1 + 1 - int((~network.held).sum())


def test_local_deviations_hold_the_base_line_and_leave_shapes_alone():
    book, reduction = simulate(NETWORKS["two hubs"](), 3)
    place = book.lines["P-Q"].place
    north = Frame("north", "magnetic", "", "n", bearings=(FrameBearing("P", "A", 0.3, 0.02, 0.3, place),))
    turned, straight = adjust(book, reduction, north).adjusted, adjust(book, reduction, LOCAL).adjusted
    start, end = turned.base
    along = turned.positions[end] - turned.positions[start]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    assert turned.local_variances[start] == pytest.approx(np.zeros((2, 2)), abs=1e-15)
    assert across @ turned.local_variances[end] @ across == pytest.approx(0, abs=1e-12)
    for local, other in zip(turned.local_variances, straight.local_variances, strict=True):
        assert np.linalg.eigvalsh(local) == pytest.approx(np.linalg.eigvalsh(other), rel=1e-6, abs=1e-12)
    # A bearing of 0.02 turns a station 40 m away by 0.8 m.
    assert np.sqrt(np.linalg.eigvalsh(turned.variances[turned.index["B"]])[-1]) > 0.5


def test_a_variance_by_its_gradient_is_that_of_the_blocks():
    solution = adjust(*simulate(NETWORKS["grid"](), 3), LOCAL).adjusted
    c, e = solution.index["C"], solution.index["E"]
    away = solution.positions[e] - solution.positions[c]
    unit = away / np.hypot(*away)
    gradient = np.zeros((1, 2 * len(solution.names) + len(solution.tapes)))
    gradient[0, [2 * c, 2 * c + 1, 2 * e, 2 * e + 1]] = np.concatenate((-unit, unit))
    block = solution.covariances.blocks(np.array([[2 * c, 2 * c + 1, 2 * e, 2 * e + 1]]))[0]
    expected = np.concatenate((-unit, unit)) @ block @ np.concatenate((-unit, unit))
    assert solution.covariances.of(gradient)[0, 0] == pytest.approx(expected)
