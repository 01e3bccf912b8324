"""Radii and ellipses that hold a place in 95 of 100 cases, against quantiles, integrals and draws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import chi2, norm

from pegline.network.confidence import CONFIDENCE, confidence_radii, ellipses, variances_of


def rotate(a: float, b: float, bearing: float) -> np.ndarray:
    turn = np.array([[np.cos(bearing), np.sin(bearing)], [-np.sin(bearing), np.cos(bearing)]])
    return np.array([turn.T @ np.diag([a**2, b**2]) @ turn])


def test_a_place_off_in_one_direction_alone_is_held_by_the_quantile_of_the_normal_distribution() -> None:
    assert confidence_radii(rotate(0.3, 0.0, 0.7))[0] == pytest.approx(0.3 * norm.ppf(0.975), rel=1e-9)


def test_a_place_off_alike_in_all_directions_is_held_by_the_quantile_of_chi_square() -> None:
    assert confidence_radii(rotate(0.3, 0.3, 0.7))[0] == pytest.approx(0.3 * chi2.ppf(0.95, 2) ** 0.5, rel=1e-12)


@pytest.mark.parametrize("b", [0.1, 0.3, 0.6, 0.9])
def test_within_the_radius_lies_the_share_of_the_normal_distribution_that_is_promised(b: float) -> None:
    (radius,) = confidence_radii(rotate(1.0, b, 1.1))

    # Strips across the long axis, each with its share of the short one.
    share, _ = quad(
        lambda x: norm.pdf(x) * (2 * norm.cdf(np.sqrt(max(radius**2 - x**2, 0.0)) / b) - 1), -radius, radius, limit=500
    )
    assert share == pytest.approx(CONFIDENCE, abs=1e-7)


def test_draws_lie_within_the_radius_in_95_of_100_cases() -> None:
    variances = rotate(0.05, 0.02, 0.4)
    draws = np.random.default_rng(3).multivariate_normal([0.0, 0.0], variances[0], 200_000)

    inside = np.hypot(*draws.T) <= confidence_radii(variances)[0]

    assert inside.mean() == pytest.approx(0.95, abs=4 * (0.95 * 0.05 / 200_000) ** 0.5)


@given(a=st.floats(1e-4, 10), flat=st.floats(0, 1), bearing=st.floats(0, 6.28), size=st.floats(1e-3, 1e3))
def test_the_radius_turns_and_grows_with_the_ellipse_and_lies_between_its_axes(
    a: float, flat: float, bearing: float, size: float
) -> None:
    plain, turned = confidence_radii(
        np.concatenate([rotate(a, a * flat, 0.0), rotate(size * a, size * a * flat, bearing)])
    )
    (major, minor, _), *_ = ellipses(rotate(a, a * flat, 0.0))

    assert turned == pytest.approx(size * plain, rel=1e-6)
    assert minor * (1 - 1e-9) <= plain <= major * (1 + 1e-9)


def test_what_is_held_has_no_radius() -> None:
    assert confidence_radii(np.zeros((2, 2, 2))).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("bearing", [10.0, 30.0, 90.0, 135.0, 179.0])
def test_an_ellipse_has_the_axes_and_the_bearing_that_it_was_made_of(bearing: float) -> None:
    along = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    across = np.array([along[1], -along[0]])
    variances = np.array([0.09 * np.outer(along, along) + 0.04 * np.outer(across, across)])
    ((a, b, found),) = ellipses(variances)

    assert (a, b) == pytest.approx((0.3 * chi2.ppf(0.95, 2) ** 0.5, 0.2 * chi2.ppf(0.95, 2) ** 0.5))
    assert found == pytest.approx(bearing, abs=1e-9)
    assert variances_of(np.array([[a, b, found]])) == pytest.approx(variances)


def test_a_bearing_of_nought_is_a_plain_one() -> None:
    assert str(ellipses(np.array([[[1.0, -0.0], [-0.0, 4.0]]]))[0, 2]) == "0.0"


def test_what_rounding_makes_of_a_line_is_no_ellipse_with_an_axis_less_than_nought() -> None:
    ((a, b, _),) = ellipses(np.array([[[4.0, 2.0], [2.0, 1.0 - 1e-12]]]))

    assert (a, b) == (pytest.approx(np.sqrt(5 * chi2.ppf(0.95, 2))), 0.0)


def test_radii_stand_to_twelve_digits() -> None:
    # By quadrature over the angle, for an ellipse half as wide as it is long.
    def inside(radius: float) -> float:
        share, _ = quad(lambda t: np.exp(-(radius**2) / (2 * (np.cos(t) ** 2 + 0.25 * np.sin(t) ** 2))), 0, np.pi / 2)
        return 1 - share / (np.pi / 2) - 0.95

    assert confidence_radii(rotate(1.0, 0.5, 0.3))[0] == pytest.approx(brentq(inside, 1.9, 2.5, xtol=1e-14), rel=1e-12)
