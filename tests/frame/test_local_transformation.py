"""The transformation that follows local distortion: against its definition by brute force, and simulated maps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pegline.frame.local_transformation import fit_local
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
    off = (target - carry_points(fitted.matrix, source)) / SD
    assert fitted.variance_factor == pytest.approx(np.sum(off**2) / (2 * 60 - 4))
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


def test_eight_points_are_enough_and_seven_are_not():
    source, target, _, _ = distorted_map(np.random.default_rng(8), points=8)
    assert fit_local(source, target, np.full(8, SD)).residuals.shape == (8, 2)
    with pytest.raises(ValueError, match="local needs 8 points and there are 7"):
        fit_local(source[:7], target[:7], np.full(7, SD))


def similarity_rows(u):
    """Return (2n, 4) how a similarity's parameters move points."""
    x, y = u.T
    one, none = np.ones_like(x), np.zeros_like(x)
    return np.stack([np.stack([x, -y, one, none], 1), np.stack([y, x, none, one], 1)], 1).reshape(-1, 4)


def correlation(u, v, reach):
    ratio = np.sqrt(3) * np.hypot(*(u[:, None] - v[None]).transpose(2, 0, 1)) / reach
    return np.kron((1 + ratio) * np.exp(-ratio), np.eye(2))


def best_predictions(u, y, own, spots, size, reach):
    """Return means (m, 2) and variances (m,) of the best linear unbiased predictions of a field at spots.

    By the equations of universal kriging: weights that reproduce every similarity, with Lagrange's multipliers.
    """
    a, near = similarity_rows(u), similarity_rows(spots)
    known = size * correlation(u, u, reach) + np.diag(own)
    system = np.block([[known, a], [a.T, np.zeros((4, 4))]])
    shared = np.vstack([size * correlation(u, spots, reach), near.T])
    weights = np.linalg.solve(system, shared)
    return (weights[: len(y)].T @ y).reshape(-1, 2), (size - (weights * shared).sum(axis=0)).reshape(-1, 2)[:, 0]


def likelihood(u, y, own, size, reach):
    """Return the logarithm of the likelihood of what no similarity can change of the points."""
    free = np.linalg.svd(similarity_rows(u))[0][:, 4:]
    spread = free.T @ (size * correlation(u, u, reach) + np.diag(own)) @ free
    return -(np.linalg.slogdet(spread)[1] + free.T @ y @ np.linalg.solve(spread, free.T @ y)) / 2


def about_the_middle(points):
    middle = points.mean(axis=0)
    size = np.hypot(*(points - middle).T).max()
    return (points - middle) / size, middle, size


@pytest.fixture(scope="module")
def small_map():
    """Return a small map, what is fitted to it, and its points about their middles with the weights of all fields."""
    source, target, spots, _ = distorted_map(np.random.default_rng(21), points=9, extra=4)
    sds = np.linspace(0.2, 0.9, 9)
    u, middle, unit = about_the_middle(source)
    y, to, metres = about_the_middle(target)
    y, own = y.ravel(), np.repeat((sds / metres) ** 2, 2)
    root = np.sqrt(own)
    plain = np.linalg.lstsq(similarity_rows(u) / root[:, None], y / root, rcond=None)[0]
    left = np.mean((y - similarity_rows(u) @ plain) ** 2) + np.mean(own) / 100
    # Sixteen sizes from 2 % of what a similarity leaves to five times it, fourteen reaches of a tenth to four figures.
    fields = [(size * left, reach) for reach in np.geomspace(0.1, 4, 14) for size in np.geomspace(0.02, 5, 16)]
    likely = np.array([likelihood(u, y, own, *field) for field in fields])
    weights = np.exp(likely - likely.max())
    weights = np.where(weights > 1e-3, weights, 0.0) / weights[weights > 1e-3].sum()
    about = u, y, own, (spots - middle) / unit
    return fit_local(source, target, sds), about, list(zip(weights, fields, strict=True)), to, metres, spots


def test_places_and_their_spread_are_those_of_all_likely_fields_together(small_map):
    fitted, about, fields, to, metres, spots = small_map
    found = [(weight, *best_predictions(*about, *field)) for weight, field in fields if weight]
    mean = sum(weight * at for weight, at, _ in found)
    spread = sum(
        weight * (variance[:, None, None] * np.eye(2) + (at - mean)[:, :, None] * (at - mean)[:, None, :])
        for weight, at, variance in found
    )

    assert len(fitted.fields) == len(found) > 20
    np.testing.assert_allclose(fitted.carry(spots), mean * metres + to, atol=1e-6 * metres)
    np.testing.assert_allclose(fitted.spread_at(spots), spread * metres**2, rtol=1e-6, atol=1e-9)
    u, _, own, _ = about
    rows = similarity_rows(u)
    known = [(weight, size * correlation(u, u, reach) + np.diag(own)) for weight, (size, reach) in fields]
    parameters = sum(weight * np.linalg.inv(rows.T @ np.linalg.solve(each, rows)) for weight, each in known)
    np.testing.assert_allclose(fitted.covariance, parameters, rtol=1e-6, atol=1e-12)


def test_a_pair_is_tested_against_what_the_others_say_with_the_likeliest_field(small_map):
    fitted, (u, y, own, _), fields, _, metres, _ = small_map
    _, field = max(fields, key=lambda each: each[0])
    for n in range(len(u)):
        keep = np.arange(len(u)) != n
        both = np.repeat(keep, 2)
        mean, variance = best_predictions(u[keep], y[both], own[both], u[[n]], *field)
        off = y[2 * n : 2 * n + 2] - mean[0]
        assert fitted.left_out()[n] == pytest.approx(off * metres, rel=1e-6, abs=1e-6)
        assert fitted.tests[n] == pytest.approx(off @ off / (variance[0] + own[2 * n]), rel=1e-6)
