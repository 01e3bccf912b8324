"""The transformation that follows local distortion: against its definition by brute force, and simulated maps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pegline.frame.local_transformation import MIN_POINTS, fit_local
from pegline.frame.transformation import carry_points, fit
from pegline.network.confidence import CHI2_95

SD = 0.3  # of each pair, metres
TRUE = np.array([[0.24, 0.07, 412_000.0], [-0.07, 0.24, 287_000.0], [0, 0, 1]])


def distorted_map(random, points=24, size=2.0, reach=1200.0, extra=1):
    """Return places on a map of 4000 by 3000 pixels, where they are on the grid, and further such places."""
    places = random.uniform((0, 0), (4000, 3000), (points + extra, 2))
    apart = np.sqrt(3) * np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) / reach
    covariance = size**2 * (1 + apart) * np.exp(-apart)
    field = np.linalg.cholesky(covariance + 1e-9 * np.eye(len(places))) @ random.normal(size=(len(places), 2))
    on_grid = carry_points(TRUE, places) + field
    told = on_grid[:points] + random.normal(0, SD, (points, 2))
    return places[:points], told, places[points:], on_grid[points:]


def share_inside(trials: int, **how: float) -> tuple[float, float, float]:
    """Return how many places lie inside their ellipses, how far off they are (root mean square), and false alarms."""
    inside, off, alarms = [], [], []
    for seed in range(trials):
        random = np.random.default_rng(seed)
        source, target, spot, true = distorted_map(random, **how)  # type: ignore[arg-type]
        fitted = fit_local(source, target, np.full(len(source), SD))
        away = (fitted.carry(spot) - true)[0]
        inside.append(away @ np.linalg.solve(fitted.spread_at(spot)[0], away) <= CHI2_95)
        off.append(away @ away)
        alarms.append(fitted.wrong is not None)
    return float(np.mean(inside)), float(np.mean(off)) ** 0.5, float(np.mean(alarms))


def test_a_carried_place_lies_within_what_is_told_of_it():
    inside, off, alarms = share_inside(80)

    assert inside == pytest.approx(0.95, abs=4 * (0.95 * 0.05 / 80) ** 0.5)
    assert off < 1.6  # a similarity leaves 2 m in each axis
    assert alarms <= 0.05


@pytest.mark.long
@pytest.mark.parametrize(
    ("points", "size", "reach"),
    [(12, 2.0, 1200.0), (24, 2.0, 1200.0), (24, 4.0, 400.0), (40, 1.0, 3000.0)],
)
def test_so_it_does_over_1000_maps_of_each_kind(points, size, reach):
    inside, _, alarms = share_inside(1000, points=points, size=size, reach=reach)

    assert 0.93 <= inside <= 0.975
    assert alarms <= 0.04


@pytest.mark.long
def test_of_a_map_that_is_not_bent_it_tells_more_than_is_left():
    # That nothing is bent is not known: the ellipses leave room for it, and hold more than 95 of 100.
    inside, off, _ = share_inside(1000, size=0.0)

    assert inside >= 0.95
    assert off < 0.2


def test_without_distortion_it_does_about_as_well_as_a_similarity():
    random = np.random.default_rng(4)
    source, target, spot, true = distorted_map(random, points=30, size=0.0, extra=200)
    local, plain = fit_local(source, target, np.full(30, SD)), fit("similarity", source, target, np.full(30, SD))

    off = [np.sqrt(np.mean((each.carry(spot) - true) ** 2)) for each in (local, plain)]
    assert off[0] < 2.5 * off[1]
    assert local.scale == pytest.approx(0.25, rel=1e-3)


def test_one_field_s_answer_is_that_of_the_normal_distribution_given_the_points():
    # By brute force: similarity parameters of a vast prior variance and the field, all jointly normal, conditioned.
    random = np.random.default_rng(9)
    source, target, spot, _ = distorted_map(random, points=10, extra=3)
    fitted = fit_local(source, target, np.full(10, SD))
    field = max(fitted.fields, key=lambda each: each.weight)
    alone = replace(fitted, fields=(field._replace(weight=1.0),))

    u = carry_points(fitted.centre, np.concatenate([source, spot]))
    a = np.zeros((2 * len(u), 4))
    a[0::2], a[1::2] = (
        np.stack([u[:, 0], -u[:, 1], np.ones(13), np.zeros(13)], 1),
        np.stack([u[:, 1], u[:, 0], np.zeros(13), np.ones(13)], 1),
    )
    apart = np.sqrt(3) * np.hypot(*(u[:, None] - u[None]).transpose(2, 0, 1)) / field.reach
    whole = 1e6 * a @ a.T + np.kron(field.variance * (1 + apart) * np.exp(-apart), np.eye(2))
    unit = fitted.back[0, 0]
    known = whole[:20, :20] + np.eye(20) * (SD / unit) ** 2
    y = carry_points(np.linalg.inv(fitted.back), target).ravel()
    gain = np.linalg.solve(known, whole[:20, 20:]).T
    mean = carry_points(fitted.back, (gain @ y).reshape(3, 2))
    spread = (whole[20:, 20:] - gain @ whole[:20, 20:]) * unit**2

    np.testing.assert_allclose(alone.carry(spot), mean, atol=2e-3)
    for n in range(3):
        np.testing.assert_allclose(
            alone.spread_at(spot)[n], spread[2 * n : 2 * n + 2, 2 * n : 2 * n + 2], rtol=2e-3, atol=1e-3
        )


def test_what_is_unseen_is_what_a_fit_without_the_point_tells():
    random = np.random.default_rng(12)
    source, target, _, _ = distorted_map(random, points=20)
    fitted = fit_local(source, target, np.full(20, SD))

    off = fitted.left_out()
    for n in (0, 7, 19):
        keep = np.arange(20) != n
        without = fit_local(source[keep], target[keep], np.full(19, SD))
        # The size and reach of the field are found anew without the point.
        assert off[n] == pytest.approx(target[n] - without.carry(source[[n]])[0], abs=0.6)


def test_a_wrong_pair_is_found():
    found = []
    for seed in range(40):
        random = np.random.default_rng(500 + seed)
        source, target, _, _ = distorted_map(random)
        wrong = int(random.integers(24))
        target[wrong] += 12 * np.array([np.cos(seed), np.sin(seed)])
        found.append(fit_local(source, target, np.full(24, SD)).wrong == wrong)
    assert np.mean(found) >= 0.9


def test_derivatives_and_the_way_back():
    random = np.random.default_rng(2)
    source, target, spot, _ = distorted_map(random, extra=50)
    fitted = fit_local(source, target, np.full(24, SD))

    np.testing.assert_allclose(fitted.carry_back(fitted.carry(spot)), spot, atol=1e-3)
    step = np.array([3.0, -2.0])
    along = fitted.carry(spot + step) - fitted.carry(spot)
    np.testing.assert_allclose(fitted.derivatives_at(spot) @ step, along, atol=0.02)


def test_what_is_left_at_the_points_and_how_much_that_is_of_what_was_to_be_expected():
    random = np.random.default_rng(6)
    source, target, _, _ = distorted_map(random, points=60, size=0.0)
    fitted = fit_local(source, target, np.full(60, SD))

    np.testing.assert_allclose(fitted.residuals, target - fitted.carry(source))
    # The mean square of 116 is within three deviations of 1.
    assert fitted.variance_factor == pytest.approx(1, abs=3 * (2 / 116) ** 0.5)
    assert fitted.variance_factor == pytest.approx(
        fit("similarity", source, target, np.full(60, SD)).variance_factor, rel=0.05
    )


def test_no_points_are_carried_to_none():
    source, target, _, _ = distorted_map(np.random.default_rng(3))
    fitted = fit_local(source, target, np.full(24, SD))

    assert fitted.carry(np.empty((0, 2))).shape == (0, 2)
    assert fitted.spread_at([]).shape == (0, 2, 2)


def test_too_few_points_are_refused():
    with pytest.raises(ValueError, match=f"local needs {MIN_POINTS} points"):
        fit_local([(0, 0), (1, 0), (0, 1)], [(0, 0), (1, 0), (0, 1)], [1, 1, 1])
