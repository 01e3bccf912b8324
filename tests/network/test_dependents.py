"""A reading is followed through every equation that holds it, by the same amount as in a changed book."""

from dataclasses import replace

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.records import LOCAL, all_moves, measure, simulate

from pegline.frame.model import Frame, FrameControl
from pegline.network import dependents, least_squares
from pegline.network.adjust import adjust
from pegline.network.dependents import (
    ParameterMoves,
    Rate,
    Readings,
    dependents_of,
    derivative_matrix,
    full_matrix,
    join_changes,
    residual_rates,
    with_reading_changed,
)
from pegline.network.linear_equations import linearise, misclosures, with_observations
from pegline.network.observation_types import ControlCoordinate, Oblique

STEP = 1e-5  # metres
SAME = 5e-4  # metres a metre: the rates leave out by how much a tape was found to read long, here 1.7e-4


@pytest.fixture(scope="module")
def fit():
    """A line with a tie station, a perpendicular and an oblique offset before and after it, all checked."""
    rows = (
        ("T", "A-B", 30.0, "station"),
        ("h", "A-B", 12.0, 5.0),
        ("k", "A-B", 40.0, -4.0),
        ("p", "A-B", (16.0, 24.0), (7.2, 6.3)),
        ("q", "A-B", (34.0, 44.0), (7.6, 5.9)),
    )
    lines = {"A-B": ("base", 60.0), "A-C": ("side", 50.0), "C-B": ("side", 46.0), "T-C": ("check", 39.0)}
    ties = {"h-p": 8.0, "p-q": 20.0, "k-q": 11.0}
    return adjust(*measure(lines, sides={"C": "left A-B"}, rows=rows, dimensions=ties), LOCAL).fit


def positions(fit):
    points = fit.parameters[: 2 * len(fit.network.names)].reshape(-1, 2).tolist()
    return dict(zip(fit.network.names, map(tuple, points), strict=True))


def change(fit, observations):
    """Return what other observations add to the residuals where the points stand."""
    other = with_observations(fit.network, observations)
    return misclosures(other, linearise(other, fit.parameters)) - misclosures(
        fit.network, linearise(fit.network, fit.parameters)
    )


def test_rates_are_those_of_the_changed_observations(fit):
    observations = fit.network.observations
    rates = [rate for rate in residual_rates(observations, positions(fit)) if rate[1] is not None]
    for number in range(len(observations)):
        expected = change(fit, with_reading_changed(observations, number, STEP)) / STEP
        expected[number] -= 1.0
        told = np.zeros(len(observations))
        for row, reading, rate in rates:
            if reading == number:
                told[row] += rate
        assert told == pytest.approx(expected, abs=SAME)


def test_an_arm_s_own_chainage_is_a_reading_too(fit):
    observations = fit.network.observations
    rates = {row: rate for row, reading, rate in residual_rates(observations, positions(fit)) if reading is None}
    assert set(rates) == {n for n, one in enumerate(observations) if isinstance(one, Oblique)}
    for row, rate in rates.items():
        other = list(observations)
        other[row] = replace(other[row], chainage=other[row].chainage + STEP)
        assert rate == pytest.approx(change(fit, other)[row] / STEP, abs=SAME)


def test_the_line_reaches_what_stands_after_its_tie_station_and_the_station_what_is_on_both_sides(fit):
    observations = fit.network.observations
    number = {(one.booking.label, one.booking.kind): n for n, one in enumerate(observations)}
    line, station = number["A-B", "length"], number["A-B at 30.00", "chainage"]
    by_line = {observations[n].booking.label for n in dependents_of(observations, line)}
    by_station = {observations[n].booking.label for n in dependents_of(observations, station)}
    # T was taped from A as B was; rows before it end at T, rows after it begin there and end at B.
    assert by_line == {"A-B at 40.00", "A-B at 34.00", "A-B at 44.00"}
    assert by_station == {"A-B at 12.00", "A-B at 16.00", "A-B at 24.00", *by_line}


READING_STEP = 1e-4  # metres


@pytest.mark.parametrize("dense", [least_squares.DENSE, 0])
@pytest.mark.parametrize("line", ["A-B", "A-C", "S-D"])
def test_a_unit_of_a_line_moves_all_points_as_the_changed_book_does(line, dense, monkeypatch):
    # A-B carries the tie station S.
    monkeypatch.setattr(least_squares, "DENSE", dense)
    monkeypatch.setattr(dependents, "FULL", 300 * dense)
    plot = NETWORKS["quad with pegs"]()
    before = adjust(*simulate(plot, 3), LOCAL)
    after = adjust(*simulate(plot, 3, changed={line: READING_STEP}), LOCAL)
    readings = Readings.of(before.fit, len(before.fit.network.observations))
    number = [one.booking.measured_line for one in before.fit.network.observations].index(line)
    moved = all_moves(before.fit, readings.rates[[number]])[:, 0]
    assert moved == pytest.approx((after.fit.parameters - before.fit.parameters) / READING_STEP, abs=2e-4)


def test_what_a_solution_left_out_moves_nothing_in_it():
    solved = adjust(*simulate(NETWORKS["quad with pegs"](), 3), LOCAL)
    plotting = solved.plotting_fit
    readings = Readings.of(plotting, len(plotting.network.observations))
    moves = all_moves(plotting, readings.rates)
    assert moves[:, ~plotting.keep] == pytest.approx(0.0)
    assert np.abs(moves[:, plotting.keep]).max() > 0.5


def test_full_and_sparse_matrices_are_the_same(monkeypatch):
    fit = adjust(*simulate(NETWORKS["farm"](), 3), LOCAL).fit
    full = derivative_matrix(fit), Readings.of(fit, len(fit.network.observations)).rates
    monkeypatch.setattr(dependents, "FULL", 0)
    sparse = derivative_matrix(fit), Readings.of(fit, len(fit.network.observations)).rates
    for one, other in zip(full, sparse, strict=True):
        assert full_matrix(other) == pytest.approx(one)
    assert all_moves(fit, sparse[1]) == pytest.approx(all_moves(replace(fit), full[1]), abs=1e-9)


def test_without_the_length_of_their_line_rows_count_on_it_still_and_its_readings_rates_are_the_same(fit):
    # What a line's length does is left out with the line; what the tie station does to the rows is not.
    observations = fit.network.observations
    line = next(n for n, one in enumerate(observations) if one.booking.measured_line == "A-B")
    others = [n for n in range(len(observations)) if n != line]
    left = [
        (others[row], reading if reading is None else others[reading], rate)
        for row, reading, rate in residual_rates([observations[n] for n in others], positions(fit))
    ]
    whole = list(residual_rates(observations, positions(fit)))
    assert left == [rate for rate in whole if rate[1] != line]
    assert len(left) < len(whole)


def test_a_change_that_would_leave_no_piece_of_a_line_leaves_what_counts_on_it(fit):
    # From T at 30 to B at 60 are 30 m: a metre less than nothing is left of them, and 1 m of 30.
    observations = fit.network.observations
    line = next(n for n, one in enumerate(observations) if one.booking.measured_line == "A-B")
    beyond = next(n for n, one in enumerate(observations) if one.booking.label == "A-B at 40.00")
    for by, length in ((-29.0, 1.0), (-30.0, 30.0), (-31.0, 30.0)):
        changed = with_reading_changed(observations, line, by)
        assert changed[beyond].length == pytest.approx(length)
        assert changed[line].booking.value == pytest.approx(60.0 + by)


def test_moves_are_worked_out_for_whatever_parameters_and_readings_are_asked_for(fit):
    rates = Readings.of(fit, len(fit.network.observations)).rates
    every = all_moves(fit, rates)
    moves = ParameterMoves(fit, rates)

    parameters, readings = np.array([[4], [9], [4]]), np.array([3, -1, 0, 3])  # -1 is no reading
    found = moves.of(parameters, readings)
    assert found[:, [0, 2, 3]] == pytest.approx(every[[4, 9, 4]][:, [3, 0, 3]])
    assert found[:, 1].tolist() == [0.0] * 3
    assert moves.of(np.array([5, 8]), np.array([2, 1])) == pytest.approx(every[[5, 8], [2, 1]])


def test_control_enters_what_turns_the_plotting_solution_to_its_second_point_by_its_part_across():
    book, reduction = simulate(NETWORKS["quad with pegs"](), 3)
    here = next(iter(book.lines.values())).place
    known = tuple(FrameControl(name, *xy, 0.05, here) for name, xy in (("A", (0.0, 0.0)), ("C", (30.0, 65.6))))
    adjustment = adjust(book, reduction, Frame("grid", "grid", "", "a grid", control=known))
    observations, count = adjustment.plotting_fit.network.observations, len(adjustment.fit.network.observations)
    (placing,) = observations[count:]
    rates = full_matrix(Readings.of(adjustment.plotting_fit, count).rates)

    across = {(1.0, 0.0): placing.along[0], (0.0, 1.0): placing.along[1]}
    for number, one in enumerate(observations[:count]):
        mine = isinstance(one, ControlCoordinate) and one.station == placing.station
        assert rates[number, count] == pytest.approx(across[one.along] if mine else 0.0)
    assert sum(rates[:, count] != 0) == 2


def test_changes_made_together_add_up():
    one, other = {1: Rate(1.0, -2.0, 3.0), 2: Rate(0.5)}, {1: Rate(-4.0, 0.5, 0.25)}

    assert join_changes([one, other]) == {1: Rate(-3.0, -1.5, 3.25), 2: Rate(0.5, 0.0, 0.0)}


def test_a_line_taped_whole_reaches_what_ends_with_it_and_a_bearing_or_an_offset_reaches_nothing(fit):
    observations = fit.network.observations
    reaching = {observations[n].booking.kind for n in range(len(observations)) if dependents_of(observations, n)}

    assert reaching == {"length", "chainage"}
    for number, one in enumerate(observations):
        if dependents_of(observations, number):
            assert (one.booking.label, one.booking.part) in {("A-B", "base"), ("A-B at 30.00", "station")}
