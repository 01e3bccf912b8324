"""What became of pegs, against the generalised least squares of the whole, and distributions against scipy's."""

from __future__ import annotations

from math import cos, degrees, radians, sin, sqrt

import numpy as np
import pytest
from scipy.stats import chi2, norm

from pegline.commands.diff.displacement import Measured, compare_distances, compare_pegs, lay_on_old, limit

AT = {"A": (0.0, 0.0), "B": (52.0, 3.0), "C": (60.0, 41.0), "D": (7.0, 38.0), "E": (30.0, 20.0)}


def measured(moved=(), *, seed=None, turn=0.0, shift=(0.0, 0.0), sd=0.01, names=tuple(AT)):
    """Return pegs measured once: some moved, the whole turned against the clock and shifted, with full covariances."""
    random = np.random.default_rng(7)
    half = random.normal(size=(2 * len(names), 2 * len(names)))
    covariance = sd**2 * (np.eye(2 * len(names)) + 0.02 * half @ half.T)
    at = np.array([AT[name] for name in names]) + [dict(moved).get(name, (0.0, 0.0)) for name in names]
    if seed is not None:
        at = at + np.random.default_rng(seed).multivariate_normal(np.zeros(2 * len(names)), covariance).reshape(-1, 2)
    c, s = cos(turn), sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    whole = np.kron(np.eye(len(names)), rotation)
    return Measured(names, at @ rotation.T + shift, whole @ covariance @ whole.T)


@pytest.mark.parametrize("count", [1, 5, 49, 51, 400])
@pytest.mark.parametrize("significance", [0.001, 0.01])
def test_what_a_peg_that_stands_stays_under_is_a_quantile_of_chi_square(count, significance):
    chance = min(significance, 0.05 / count)
    assert limit(count, significance) == pytest.approx(chi2(2).isf(chance))
    assert limit(count, significance, 1) == pytest.approx(chi2(1).isf(chance))
    assert limit(count, significance, 1) == pytest.approx(norm.isf(chance / 2) ** 2)


@pytest.mark.parametrize("turn", [0.0, 25.0, 170.0, -90.0])
def test_one_survey_is_laid_on_another_as_the_singular_values_of_both_say(turn):
    old = np.array(list(AT.values()))
    random = np.random.default_rng(3)
    new = measured(turn=radians(turn), shift=(400.0, -90.0)).positions + random.normal(0, 0.05, old.shape)
    stable = [0, 1, 2, 4]

    over, comparison = lay_on_old(old, new, stable)

    # The rotation that lays one set of points on another best (Kabsch), by numpy's decomposition.
    here, there = new[stable].mean(axis=0), old[stable].mean(axis=0)
    u, _, v = np.linalg.svd((new[stable] - here).T @ (old[stable] - there))
    rotation = u @ np.diag([1.0, np.sign(np.linalg.det(u @ v))]) @ v
    assert over == pytest.approx((new - here) @ rotation + there)
    assert (degrees(comparison.turn) - turn + 180) % 360 - 180 == pytest.approx(0.0, abs=0.2)  # clockwise, back
    assert comparison.over(new) == pytest.approx(over)


def by_least_squares(old, new, name):
    """Return how far a peg moved and the covariance of that: an unknown of its own beside shift and turn of the whole.

    The differences of two surveys laid on each other are d = H t + E δ, with the covariance of both.
    """
    names = old.names
    over, comparison = lay_on_old(old.positions, new.positions, range(len(names)))
    c, s = cos(comparison.turn), sin(comparison.turn)
    rotation = np.kron(np.eye(len(names)), np.array([[c, s], [-s, c]]))
    weights = np.linalg.inv(old.covariance + rotation @ new.covariance @ rotation.T)
    centred = old.positions - old.positions.mean(axis=0)
    turns = np.stack((-centred[:, 1], centred[:, 0]), axis=1).ravel() / 50
    own = np.zeros((2 * len(names), 2))
    own[2 * names.index(name) : 2 * names.index(name) + 2] = np.eye(2)
    design = np.column_stack((np.tile([1.0, 0.0], len(names)), np.tile([0.0, 1.0], len(names)), turns, own))
    covariance = np.linalg.inv(design.T @ weights @ design)
    found = covariance @ design.T @ weights @ (over - old.positions).ravel()
    return found[3:], covariance[3:, 3:]


@pytest.mark.parametrize("turn", [0.0, 40.0])
def test_a_peg_differs_from_where_the_others_put_it_as_an_unknown_of_its_own_says(turn):
    old, new = measured(seed=1), measured(seed=2, turn=radians(turn), shift=(5.0, 9.0))
    found = compare_pegs(old, new)
    assert {peg.movement for peg in found.pegs} == {"unmoved"}
    for peg in found.pegs:
        difference, covariance = by_least_squares(old, new, peg.name)
        assert peg.difference == pytest.approx(difference, abs=2e-4)
        # As far in that direction as the test stays under the limit.
        test = float(difference @ np.linalg.solve(covariance, difference))
        assert peg.limit == pytest.approx(np.hypot(*difference) * sqrt(chi2(2).isf(0.001) / test), rel=0.02)


def test_the_peg_that_moved_is_told_with_how_far_and_the_others_stand():
    old, new = measured(seed=1), measured({"D": (0.30, -0.20)}, seed=2, turn=radians(40.0))
    found = {peg.name: peg for peg in compare_pegs(old, new).pegs}
    assert {name for name, peg in found.items() if peg.movement == "moved"} == {"D"}
    assert found["D"].difference == pytest.approx((0.30, -0.20), abs=0.06)
    assert found["D"].distance == pytest.approx(np.hypot(*found["D"].difference))


def test_where_half_moved_nothing_is_told_of_pegs():
    old = measured()
    new = measured({"C": (0.4, 0.0), "D": (0.0, 0.5), "E": (-0.3, 0.3)})
    found = compare_pegs(old, new)
    assert not found.tells_pegs
    assert found.stretches


def test_distances_have_changed_beyond_what_the_covariance_of_both_allows():
    names = ("A", "B", "C")
    old, new = measured(names=names), measured({"B": (0.5, 0.0)}, names=names, turn=0.3)
    found = {(one.start, one.end): one for one in compare_distances(old, new).stretches}
    assert set(found) == {("A", "B"), ("B", "C")}
    for (start, end), stretch in found.items():
        (x, y), (u, v) = AT[start], AT[end]
        away = np.array([u - x, v - y]) / np.hypot(u - x, v - y)
        moved = np.array([0.5, 0.0]) * (1 if end == "B" else -1)
        assert stretch.longer == pytest.approx(np.hypot(*(np.array([u - x, v - y]) + moved)) - np.hypot(u - x, v - y))
        gradient = np.zeros(6)
        gradient[2 * names.index(start) : 2 * names.index(start) + 2] = -away
        gradient[2 * names.index(end) : 2 * names.index(end) + 2] = away
        variance = 2 * gradient @ old.covariance @ gradient
        assert stretch.limit == pytest.approx(sqrt(variance * chi2(1).isf(0.001)), rel=0.02)


@pytest.mark.parametrize(("apart", "changed"), [(0.9, False), (1.1, True)])
def test_of_two_pegs_their_distance_alone_is_tested(apart, changed):
    names = ("A", "B")
    old = measured(names=names)
    away = np.array([52.0, 3.0]) / np.hypot(52.0, 3.0)
    gradient = np.concatenate((-away, away))
    allowed = sqrt(2 * gradient @ old.covariance @ gradient * chi2(1).isf(0.001))
    new = measured({"B": tuple(apart * allowed * away)}, names=names)
    found = compare_pegs(old, new)
    assert found.tells_pegs is not changed
    assert [peg.partner for peg in found.pegs] == ([None, None] if changed else ["B", "A"])
    assert compare_pegs(measured(names=("A",)), new) is None
    assert compare_distances(measured(names=("A",)), new) is None
