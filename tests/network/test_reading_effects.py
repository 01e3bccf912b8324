"""What an error of a reading moves is what solving anew with it moves."""

from dataclasses import replace

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.records import LOCAL, simulate

from pegline.network import reading_effects
from pegline.network.adjust import adjust
from pegline.network.reading_effects import Readings, derivative_matrix, full_matrix, parameter_moves

STEP = 1e-4  # metres


@pytest.mark.parametrize("line", ["A-B", "A-C", "S-D"])
def test_a_unit_of_a_line_moves_all_points_as_the_changed_book_does(line):
    # A-B carries the tie station S: what its length moves goes through S's chainage as well.
    plot = NETWORKS["quad with pegs"]()
    before = adjust(*simulate(plot, 3), LOCAL)
    after = adjust(*simulate(plot, 3, changed={line: STEP}), LOCAL)
    readings = Readings.of(before.fit, len(before.fit.network.observations))
    number = [one.booking.measured_line for one in before.fit.network.observations].index(line)
    moved = parameter_moves(before.fit, readings.rates[[number]])[:, 0]
    assert moved == pytest.approx((after.fit.parameters - before.fit.parameters) / STEP, abs=2e-4)


def test_what_a_solution_left_out_moves_nothing_in_it():
    solved = adjust(*simulate(NETWORKS["quad with pegs"](), 3), LOCAL)
    plotting = solved.plotting_fit
    readings = Readings.of(plotting, len(plotting.network.observations))
    moves = parameter_moves(plotting, readings.rates)
    assert moves[:, ~plotting.keep] == pytest.approx(0.0)
    assert np.abs(moves[:, plotting.keep]).max() > 0.5


def test_full_and_sparse_matrices_are_the_same(monkeypatch):
    fit = adjust(*simulate(NETWORKS["farm"](), 3), LOCAL).fit
    full = derivative_matrix(fit), Readings.of(fit, len(fit.network.observations)).rates
    monkeypatch.setattr(reading_effects, "FULL", 0)
    sparse = derivative_matrix(fit), Readings.of(fit, len(fit.network.observations)).rates
    for one, other in zip(full, sparse, strict=True):
        assert full_matrix(other) == pytest.approx(one)
    assert parameter_moves(fit, sparse[1]) == pytest.approx(parameter_moves(replace(fit), full[1]), abs=1e-9)
