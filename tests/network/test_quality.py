"""Quality figures are what they are called: in formula, and in how often they are right over many surveys."""

from dataclasses import replace

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.numerical import numerical_derivatives, whole_covariance
from builders.records import KITE, KITE_SIDES, LOCAL, measure, simulate
from scipy.stats import norm

from pegline.book.model import Limits
from pegline.errors import Place
from pegline.frame.model import Frame, FrameBearing, FrameControl
from pegline.network.adjust import adjust, framework_fails
from pegline.network.confidence import ellipses
from pegline.network.critical_value import sidak
from pegline.network.dependents import derivative_matrix, full_matrix
from pegline.network.least_squares import solve_network
from pegline.network.quality import POWER, NetworkCovariances, computed_variances, derivatives, redundancies

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


# -- against whole matrices and differences ----------------------------------------------------------


@pytest.fixture(scope="module")
def whole():
    """A survey with a tie station, points, control and a bearing, its base line not the first; and all covariances."""
    lines = {"D-A": ("side", 48.0), "B-A": ("base", 60.0), "A-C": ("side", 50.0), "C-B": ("side", 46.0)}
    lines |= {"D-B": ("side", 44.0), "C-D": ("check", 72.18), "S-C": ("check", 39.02)}
    rows = [("S", "B-A", 38.0, "station"), ("h", "B-A", 50.0, -5.0), ("h", "B-A", (47.0, 54.0), (-5.83, -6.40))]
    rows += [("k", "A-C", 20.0, 4.0), ("k", "A-C", 20.02, 4.01)]
    place = Place("made.yaml", 1, 1)
    frame = Frame(
        "grid",
        "grid",
        "",
        "a grid",
        scale=0.9996,
        control=(FrameControl("C", 35.0, 90.0, 0.04, place), FrameControl("D", 40.0, 18.0, 0.03, place)),
        bearings=(FrameBearing("A", "B", 1.57, 0.01, 1.57, place),),
    )
    book, reduction = measure(lines, sides={"C": "right B-A", "D": "left B-A"}, rows=rows)
    adjustment = adjust(book, reduction, frame)
    assert adjustment.adjusted.base != (0, 1)
    return adjustment, whole_covariance(adjustment.fit)


def test_covariances_are_those_of_the_inverse(whole):
    adjustment, expected = whole
    covariances, count = NetworkCovariances(adjustment.fit), len(expected)
    numbers = np.array([[0, 5, -1], [2, count - 1, 7]])

    blocks = covariances.blocks(numbers)
    padded = np.pad(expected, (0, 1))
    for found, group in zip(blocks, numbers, strict=True):
        assert found == pytest.approx(padded[np.ix_(group, group)], abs=1e-10)
    assert covariances.with_each(numbers[1]) == pytest.approx(expected[:, numbers[1]], abs=1e-10)
    gradients = np.random.default_rng(1).standard_normal((2, count - 3))
    assert covariances.of(gradients) == pytest.approx(gradients @ expected[:-3, :-3] @ gradients.T, abs=1e-9)


def test_what_is_held_has_no_covariance():
    fit = adjust(*simulate(NETWORKS["braced quad"](), 3), LOCAL).fit
    held = np.flatnonzero(fit.network.held)
    assert len(held) == 3
    expected, covariances = whole_covariance(fit), NetworkCovariances(fit)

    assert covariances.with_each(np.array([held[0], 7, held[2]])) == pytest.approx(
        expected[:, [held[0], 7, held[2]]], abs=1e-12
    )
    gradients = np.random.default_rng(1).standard_normal((2, len(fit.network.held)))
    assert covariances.of(gradients) == pytest.approx(gradients @ expected @ gradients.T, abs=1e-12)


def test_a_computed_observation_varies_as_its_parameters_do_and_its_redundancy_is_the_rest(whole):
    adjustment, expected = whole
    fit = adjustment.fit
    rates = numerical_derivatives(fit)
    variances = np.einsum("ij,jk,ik->i", rates, expected, rates)
    found = computed_variances(fit, NetworkCovariances(fit))

    assert found == pytest.approx(variances, rel=1e-5)
    shares = 1 - variances / fit.network.sds**2
    assert redundancies(fit, found) == pytest.approx(shares, abs=1e-5)
    some = replace(fit, keep=np.arange(len(shares)) % 3 > 0)
    assert redundancies(some, found)[::3] == pytest.approx(0.0, abs=0)
    assert redundancies(some, 2 * fit.network.sds**2).tolist() == [0.0] * len(shares)
    assert redundancies(fit, -found).tolist() == [1.0] * len(shares)


def test_a_solution_tells_places_scales_and_variances(whole):
    adjustment, expected = whole
    solution, fit = adjustment.adjusted, adjustment.fit
    count = len(fit.network.names)

    assert solution.scales.tolist() == fit.parameters[2 * count :].tolist()
    assert solution.positions.ravel().tolist() == fit.parameters[: 2 * count].tolist()
    for number, found in enumerate(solution.variances):
        some = slice(2 * number, 2 * number + 2)
        assert found == pytest.approx(expected[some, some], abs=1e-10)


def test_variances_about_the_base_line_are_those_of_places_seen_from_it(whole):
    adjustment, expected = whole
    solution = adjustment.adjusted
    start, end = solution.base
    count = len(solution.names)
    flat = solution.positions.ravel()
    begun = solution.positions[end] - solution.positions[start]

    def seen(coordinates):
        """Return the places about the base line's start, turned so that it runs as it did."""
        at = coordinates.reshape(-1, 2) @ np.array([1, 1j])
        line = at[end] - at[start]
        back = np.exp(1j * (np.arctan2(begun[1], begun[0]) - np.angle(line)))
        away = (at - at[start]) * back
        return np.stack((away.real, away.imag), axis=1).ravel()

    step = 1e-4
    rates = np.array([(seen(flat + move) - seen(flat - move)) / (2 * step) for move in step * np.eye(2 * count)]).T
    local = rates @ expected[: 2 * count, : 2 * count] @ rates.T
    for number, found in enumerate(solution.local_variances):
        some = slice(2 * number, 2 * number + 2)
        assert found == pytest.approx(local[some, some], abs=1e-9)
    assert solution.local_variances[start].tolist() == [[0.0, 0.0], [0.0, 0.0]]


def test_an_error_that_is_noticed_in_80_of_100_cases_is_the_quantile_above_what_passes():
    assert pytest.approx(norm.ppf(0.8), abs=0.005) == POWER


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


@pytest.mark.parametrize("chainages", [(28.0, 33.0, 38.0), (32.0, 27.0, 22.0)])
@pytest.mark.parametrize(("height", "trusted"), [(0.1, False), (0.2, False), (0.3, True), (2.0, True)])
def test_a_point_of_arms_at_less_than_four_of_its_own_deviations_is_marked(height, trusted, chainages):
    # Its arms are from 2 to 8 m long, the line 60: what they bend by when it moves across goes with the arm.
    foot = chainages[-1] + (-2.0 if chainages[0] < chainages[-1] else 2.0)
    row = ("p", "A-B", chainages, tuple(float(np.hypot(foot - at, height)) for at in chainages))
    adjustment = adjust(*measure(KITE | {"C-D": ("check", 72.182)}, sides=KITE_SIDES, rows=[row]), LOCAL)

    number = adjustment.adjusted.index["p"]
    sigmas = height / np.sqrt(adjustment.adjusted.local_variances[number, 1, 1])
    assert (sigmas > 4) == trusted
    assert adjustment.unreliable == (() if trusted else ("p",))


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
