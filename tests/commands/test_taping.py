"""The tape in hand, and a point by distances: against closed formulae, another solver and another route."""

from math import pi, sin

import numpy as np
import pytest
from builders.little_book import head
from scipy.optimize import least_squares

from pegline.commands.taping import fixed_by, outlier_tests, position_by, tape_in_hand, units_towards
from pegline.readers import parse_book
from pegline.reduction.ground import correct_length

NANOMETRE = 1e-9
BOOK = head() + "lines: {A-B: {use: base, taped: 60}, A-C: {use: side, taped: 50}, C-B: {use: side, taped: 40}}\n"
WORN = BOOK.replace("length: 50", "length: 50, true_length: 50.012, expansion: 11.5e-6, standard_temperature: 20")


@pytest.mark.parametrize("angle_deg", [20, 60, 90, 150])
def test_two_distances_fix_a_point_the_worse_the_flatter_they_cut(angle_deg):
    # Two equally good arcs that cut at θ: σx² + σy² = 2 σ² / sin² θ, as textbooks have it.
    angle = angle_deg * pi / 180
    units = np.array([[1.0, 0.0], [np.cos(angle), np.sin(angle)]])
    spread = fixed_by(units, np.diag([0.01**2, 0.01**2]))
    assert np.trace(spread) == pytest.approx(2 * 0.01**2 / sin(angle) ** 2)


def test_distances_along_one_line_fix_nothing():
    assert fixed_by(np.array([[1.0, 0.0], [-1.0, 0.0]]), np.eye(2)) is None


def test_what_the_tape_s_scale_shares_is_in_the_spread():
    # Two arms at a right angle, each wrong by the scale alone: the point moves along the sum of both.
    lengths, scale_sd = np.array([30.0, 40.0]), 1e-4
    spread = fixed_by(np.eye(2), np.diag([1e-12, 1e-12]) + scale_sd**2 * np.outer(lengths, lengths))
    assert spread == pytest.approx(scale_sd**2 * np.outer(lengths, lengths), abs=1e-11)


def test_a_point_by_four_distances_is_where_another_solver_has_it():
    draw = np.random.default_rng(15)
    anchors, truth = draw.uniform(0, 60, (4, 2)), np.array([25.0, 31.0])
    sds = np.array([0.01, 0.02, 0.015, 0.03])
    distances = np.hypot(*(truth - anchors).T) + sds * draw.normal(size=4)

    def residuals(point):
        return (distances - np.hypot(*(point - anchors).T)) / sds

    fit = least_squares(residuals, truth + 3.0, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert position_by(anchors, distances, sds**2, truth + 3.0) == pytest.approx(fit.x, abs=1e-7)
    units = units_towards(fit.x, anchors)
    assert fixed_by(units, np.diag(sds**2)) == pytest.approx(np.linalg.inv(fit.jac.T @ fit.jac), rel=1e-6)


def test_each_test_is_what_leaving_the_difference_out_lowers_chi_square_by():
    # T² = d' W⁻¹ d less the same without the i-th difference, from the determinant's block form.
    draw = np.random.default_rng(8)
    mixing = draw.normal(size=(5, 5))
    covariance, differences = mixing @ mixing.T + np.eye(5), draw.normal(size=5)
    tests = outlier_tests(differences, covariance, critical=100.0).tests

    def chi_square(numbers):
        return differences[numbers] @ np.linalg.solve(covariance[np.ix_(numbers, numbers)], differences[numbers])

    every = list(range(5))
    lowered = [chi_square(every) - chi_square([n for n in every if n != left]) for left in every]
    assert tests**2 == pytest.approx(lowered)


def test_the_gross_difference_alone_is_blamed():
    result = outlier_tests(np.array([0.4, -7.0, 0.9]), np.eye(3), critical=3.0)
    assert result.blamed == (1,)
    assert result.together == (1,)
    assert result.tests == pytest.approx([0.4, -7.0, 0.9])


@pytest.mark.parametrize("length", [0.8, 17.33, 64.2])
@pytest.mark.parametrize("temperature", [None, -4.0, 31.0])
def test_what_the_tape_should_read_corrects_to_the_length_asked_for(length, temperature):
    tape = tape_in_hand(parse_book(WORN.encode(), "worn.yaml"), temperature=temperature)
    reading = tape.reads(length)
    assert correct_length(reading, tape.conditions, tape.constants)[0] == pytest.approx(length, abs=NANOMETRE)
    assert reading != pytest.approx(length, abs=1e-5)
