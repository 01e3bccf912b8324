"""How the iteration is guarded, and what is left out where a gross error keeps everything from settling."""

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.numerical import numerical_derivatives
from builders.records import LOCAL, simulate

from pegline.errors import BookError, Finding, Place
from pegline.network import adjust as room
from pegline.network import least_squares
from pegline.network.adjust import adjust
from pegline.network.critical_value import sidak
from pegline.network.least_squares import (
    _at_one_place,
    _factor,
    _guarded_step,
    _is_full,
    _looked_at,
    _normal,
    solve_network,
)
from pegline.network.linear_equations import build_network
from pegline.network.observation_types import Booking, Distance
from pegline.network.quality import NetworkCovariances, computed_variances


@pytest.fixture(scope="module")
def solved():
    return adjust(*simulate(NETWORKS["quad with pegs"](), 4), LOCAL)


def look(fit):
    weights = fit.network.sds**-2.0
    return weights, _looked_at(fit.network, weights, fit.parameters)


def test_a_step_that_helps_is_made_whole_and_lowers_the_damping_tenfold(solved):
    fit = solved.fit
    weights, here = look(fit)
    still = np.zeros(len(fit.parameters))
    for damping, then in ((1e-2, 1e-3), (1e-5, 1e-6), (1e-7, 0.0)):
        there, damped, moved = _guarded_step(fit.network, weights, here, still, damping)
        assert (damped, moved.tolist()) == (pytest.approx(then), still.tolist())
        assert there.cost == here.cost


def test_a_step_that_helps_at_no_length_raises_the_damping_tenfold_and_stays(solved):
    # From the solution every step raises the sum of squares.
    fit = solved.fit
    weights, here = look(fit)
    away = np.where(fit.network.held, 0.0, 5.0 * (-1.0) ** np.arange(len(fit.parameters)))
    away[2 * len(fit.network.names) :] = 0.0
    for damping, then in ((0.0, 1e-4), (1e-4, 1e-3), (0.3, 3.0)):
        there, damped, _ = _guarded_step(fit.network, weights, here, away, damping)
        assert there is here
        assert damped == pytest.approx(then)


@pytest.mark.parametrize(
    ("times", "share"), [(1.5, 1.0), (3.0, 0.5), (6.0, 0.25), (12.0, 0.1), (50.0, 0.03), (100.0, None)]
)
def test_as_much_of_a_step_is_made_as_lowers_the_sum_of_squares(solved, times, share):
    # The cost rises with the square of what is off: s of a step that is k times too long leaves (1 - k s)².
    fit = solved.fit
    weights, _ = look(fit)
    off = np.where(fit.network.held, 0.0, 1e-3 * (-1.0) ** np.arange(len(fit.parameters)))
    off[2 * len(fit.network.names) :] = 0.0
    here = _looked_at(fit.network, weights, fit.parameters + off)

    there, _, moved = _guarded_step(fit.network, weights, here, -times * off, 0.0)

    if share is None:
        assert there is here
    else:
        assert moved == pytest.approx(-share * times * off)
        assert there.parameters == pytest.approx(here.parameters + moved)


def test_a_step_that_raises_the_sum_of_squares_by_half_is_not_made(solved):
    fit = solved.fit
    weights, here = look(fit)
    way = np.where(fit.network.held, 0.0, 1e-3 * (-1.0) ** np.arange(len(fit.parameters)))
    way[2 * len(fit.network.names) :] = 0.0
    rise = _looked_at(fit.network, weights, fit.parameters + way).cost - here.cost
    step = way * np.sqrt(0.5 * here.cost / rise)

    assert _looked_at(fit.network, weights, fit.parameters + step).cost == pytest.approx(1.5 * here.cost, rel=0.01)
    assert _guarded_step(fit.network, weights, here, step, 0.0)[0] is here


def names_of(count):
    return [f"P{number}" for number in range(count)]


@pytest.mark.parametrize(("points", "held", "full"), [(110, (), True), (111, (0, 3), True), (111, (0,), False)])
def test_a_full_matrix_serves_up_to_220_unknowns(points, held, full):
    network = build_network(names_of(points), points, (), {}, np.zeros((points, 2)), held=held)

    assert _is_full(network) is full


@pytest.mark.parametrize("dense", [220, 0])
@pytest.mark.parametrize("damping", [0.0, 0.5])
def test_the_normal_matrix_is_that_of_the_derivatives_its_diagonal_enlarged_by_the_damping(
    solved, dense, damping, monkeypatch
):
    monkeypatch.setattr(least_squares, "DENSE", dense)
    fit = solved.fit
    network = fit.network
    weights, here = look(fit)
    matrix, right = _normal(network, weights, here)

    rates = numerical_derivatives(fit)[:, ~network.held]
    expected = rates.T @ (rates * weights[:, None])
    shared = np.arange(len(expected) - len(network.shared_sds), len(expected))
    expected[shared, shared] += network.shared_sds**-2.0
    expected += damping * np.diag(np.diag(expected))
    pull = rates.T @ (weights * here.residuals)
    pull[shared] -= here.parameters[2 * len(network.names) :] / network.shared_sds**2

    assert right == pytest.approx(pull, rel=1e-5, abs=1e-3)
    factor = _factor(network, matrix, damping)
    some = np.random.default_rng(2).standard_normal(len(expected))
    assert factor.solve(expected @ some) == pytest.approx(some, rel=1e-4, abs=1e-4)
    assert len(factor.free) == 0


def test_a_sparse_factor_is_that_of_the_solution_wherever_the_steps_began(solved, monkeypatch):
    network = solved.fit.network
    away = np.where(network.held, 0.0, 0.5 * (-1.0) ** np.arange(len(network.held)))
    away[2 * len(network.names) :] = 0.0
    every = np.arange(int((~network.held).sum()))
    expected = solved.fit.factor.pairs(every[:, None], every)

    monkeypatch.setattr(least_squares, "DENSE", 0)
    factor = solve_network(network, None, solved.fit.parameters + away).factor

    assert factor.pairs(every[:, None], every) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_the_factor_of_a_damped_step_is_not_that_of_the_solution(solved, monkeypatch):
    # The first step is told to be damped by half of the diagonal, and the second that it was the last.
    network = solved.fit.network
    every = np.arange(int((~network.held).sum()))
    dampings = iter((0.5, 0.0))

    def step_then_damp(*step):
        there, _, moved = _guarded_step(*step)
        return there, next(dampings), moved

    monkeypatch.setattr(least_squares, "DENSE", 0)
    monkeypatch.setattr(least_squares, "_guarded_step", step_then_damp)
    factor = solve_network(network, None, solved.fit.parameters).factor

    expected = solved.fit.factor.pairs(every[:, None], every)
    assert factor.pairs(every[:, None], every) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_covariances_that_will_be_asked_for_are_there_without_a_solution_each(monkeypatch):
    # A chain of points 10 m apart, each to the next, and two lines that hold it: P1 and P4 are not joined.
    monkeypatch.setattr(least_squares, "DENSE", 0)
    at = np.array([(10.0 * n, 3.0 * (n % 2)) for n in range(6)])
    pairs = [(n, m) for n in range(6) for m in range(n) if n - m < 3]
    observed = [distance(f"P{m}", f"P{n}", float(np.hypot(*(at[n] - at[m])))) for n, m in pairs]
    network = build_network(names_of(6), 6, observed, {}, at, held=[0, 1, 3], together=[("P1", "P5")])
    factor = solve_network(network).factor

    columns = network.columns[[2, 3, 10, 11]]
    assert (factor.pairs(columns[:, None], columns) != 0).any()
    assert not factor._columns


@pytest.mark.parametrize(("sigmas", "kept"), [(0.9, True), (1.2, False), (2.5, False)])
def test_what_does_not_settle_leaves_out_what_disagrees_with_the_plotting_solution(solved, monkeypatch, sigmas, kept):
    plotting, network = solved.plotting_fit, solved.fit.network
    number = int(np.flatnonzero(~plotting.keep)[0])
    limit = sidak(len(network.values)) * np.hypot(
        network.sds, np.sqrt(computed_variances(plotting, NetworkCovariances(plotting))[: len(network.values)])
    )
    residuals = np.where(plotting.keep, plotting.residuals, 0.0)
    residuals[number] = sigmas * limit[number]
    other = int(np.flatnonzero(~plotting.keep)[1])
    residuals[other] = 50 * limit[other]  # the gross error
    inner, asked = room.solve_network, []

    def solve(network, keep, begin):
        if keep is None:
            raise BookError([Finding("too-flat", "everything does not settle", None)])
        asked.append(keep)
        return inner(network, keep, begin)

    monkeypatch.setattr(room, "solve_network", solve)
    from dataclasses import replace

    room._fit_everything(network, replace(plotting, residuals=residuals))
    (keep,) = asked
    assert keep[number] == kept
    assert not keep[other]
    assert keep[plotting.keep].all()


@pytest.mark.parametrize(("apart", "told"), [(5e-7, True), (2e-6, False), (5e-4, False)])
def test_points_nearer_than_a_thousandth_of_a_millimetre_are_at_one_place(solved, apart, told):
    fit = solved.fit
    names = fit.network.names
    line = next(one for one in fit.network.observations if one.booking.kind == "length")
    start, end = (names.index(name) for name in line.points)
    parameters = fit.parameters.copy()
    shift = np.array([0.6, 0.8]) * apart
    parameters[2 * end : 2 * end + 2] = parameters[2 * start : 2 * start + 2] + shift
    findings = list(_at_one_place(fit.network, parameters))
    assert (tuple(sorted(line.points)) in [finding.data for finding in findings]) == told


def distance(start, end, value):
    place = Place("made.yaml", 1, 1)
    return Distance(Booking(f"{start}-{end}", "length", "side", ("line", ""), value, 0.01, None, place), start, end)


def three_points(*observed, at):
    """Return a network of A, held, and of B and C."""
    return build_network(["A", "B", "C"], 3, observed, {}, np.array(at), held=[0, 1])


def test_points_that_nothing_holds_are_told_by_name():
    # B and C keep their distances from A and may run round it.
    told = [distance("A", "B", 5.0), distance("A", "C", 5.0)]
    with pytest.raises(BookError) as error:
        solve_network(three_points(*told, at=[(0.0, 0.0), (3.0, 4.0), (5.0, 0.0)]))
    (finding,) = error.value.findings
    assert (finding.rule, finding.data) == ("free-to-move", ("B", "C"))


def test_two_points_at_one_place_are_told_once_however_many_lines_are_between_them():
    told = [distance("B", "C", 5.0), distance("C", "B", 5.1), distance("A", "B", 5.0)]
    network = three_points(*told, at=[(0.0, 0.0), (3.0, 4.0), (3.0, 4.0)])
    (finding,) = _at_one_place(network, network.begin)
    assert (finding.rule, finding.data) == ("one-place", ("B", "C"))
