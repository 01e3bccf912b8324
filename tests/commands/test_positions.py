"""Positions with their joint covariance: by small changes of stations and tapes, and by hand."""

import numpy as np
import pytest
from builders.four_pegs import four_pegs
from builders.solved import ground, local, reduction_of, row, solution_of

from pegline.commands.positions import Positions, difference_quotients, joint_covariance
from pegline.detail.place import place_points
from pegline.detail.ruler import Ruler
from pegline.errors import UsageError

AB = {"A": (0.0, 0.0), "B": (40.0, 30.0)}
ROWS = [row("A-B", "p", 20.0, 6.0, chainage_sd=0.01, sd=0.02), row("A-B", "q", 35.0, -9.0, chainage_sd=0.01, sd=0.02)]


def placed(vector, covariance=None):
    """Return solution, ruler and points where the stations and the tape's scale are so."""
    at = {"A": tuple(vector[:2]), "B": tuple(vector[2:4])}
    reduction = reduction_of({"A-B": 50.0}, ROWS)
    solution = solution_of(at, covariance=covariance, scales=vector[4:])
    ruler = Ruler(reduction, local(), solution)
    return solution, ruler, place_points(reduction, ruler)


def test_stations_points_and_lengths_vary_together_as_what_they_hang_on_does():
    mixing = np.random.default_rng(6).normal(size=(5, 5)) * 0.01
    covariance, vector = mixing @ mixing.T, np.array([*AB["A"], *AB["B"], 0.001])

    def figures(values):
        solution, ruler, points = placed(values)
        p, q = (points.positions[points.index[name]] for name in "pq")
        return np.concatenate((p, solution.position("B"), q, ruler.arms([ground(12.0, 0.03)]).lengths[:, 0]))

    by = np.column_stack([(figures(vector + h) - figures(vector - h)) / 2e-5 for h in 1e-5 * np.eye(5)])
    solution, ruler, points = placed(vector, covariance)
    own = np.zeros((7, 7))
    for at, name in ((0, "p"), (4, "q")):
        own[at : at + 2, at : at + 2] = points.own[points.index[name]]
    own[6, 6] = 0.03**2 / 1.001**2
    found = joint_covariance(["p", "B", "q"], solution, points, ruler.arms([ground(12.0, 0.03)]))
    assert found == pytest.approx(by @ covariance @ by.T + own, abs=1e-9)
    assert joint_covariance(["B", "A"], solution, points) == pytest.approx(
        covariance[np.ix_([2, 3, 0, 1], [2, 3, 0, 1])]
    )


def test_derivatives_are_those_of_the_function():
    def curved(v):
        return np.array([v[0] ** 2 * v[1], np.sin(v[1]), v[0] + 3 * v[1]])

    at = np.array([2.0, 0.5])
    expected = [[2 * 2.0 * 0.5, 4.0], [0.0, np.cos(0.5)], [1.0, 3.0]]
    assert difference_quotients(curved, at) == pytest.approx(np.array(expected), abs=1e-8)


def test_what_is_worked_out_from_positions_has_their_covariance():
    positions = Positions(four_pegs())
    value, spread = positions.propagate(lambda at: np.array([(at[1] - at[0]) @ [0.6, 0.8], at[1, 0]]), ("C", "h2"))
    gradient = np.array([[-0.6, -0.8, 0.6, 0.8], [0.0, 0.0, 1.0, 0.0]])
    assert value == pytest.approx([-10 * 0.6 - 18 * 0.8, 22.0])
    assert spread == pytest.approx(gradient @ positions.covariance(("C", "h2")) @ gradient.T)


def test_names_lead_to_points_and_places_have_the_origin_of_the_frame_added():
    positions = Positions(four_pegs(origin=(1000.0, 2000.0)))
    assert positions.names == ("A", "B", "C", "D", "h1", "h2")
    assert positions.all(["C", "h1"]) == pytest.approx(np.array([(32.0, 24.0), (10.0, 6.0)]))
    assert positions.in_frame(positions.of("C")) == pytest.approx([1032.0, 2024.0])
    assert (positions.point_behind("h1"), positions.point_behind("hedge"), positions.point_behind("oak")) == (
        "h1",
        None,
        None,
    )
    with pytest.raises(UsageError, match="no peg 'Z'"):
        positions.require("Z", "peg")
