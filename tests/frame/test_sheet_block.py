"""Several sheets fitted together: against the fit of one, a general solver, and the truth of simulated maps."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from pegline.frame.sheet_block import GridPoint, SheetPoints, fit_sheets
from pegline.frame.transformation import carry_points, fit
from pegline.network.confidence import CHI2_95

#: A map of 2 km by 1 km in four sheets side by side, overlapping a little.
DRAWN, KNOWN = 0.6, 0.05  # metres on the ground
GRID = np.array([412_000.0, 287_000.0])


def sheet_matrix(random: np.random.Generator, kind: str) -> np.ndarray:
    """Return a random matrix from a sheet, in pixels of 0.25 m or so, onto the grid."""
    turn, scale = random.uniform(0, 2 * np.pi), random.uniform(0.2, 0.3)
    matrix = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    matrix[:2, :2] *= scale
    if kind == "affine":
        matrix[:2, :2] = matrix[:2, :2] @ (np.eye(2) + random.uniform(-0.02, 0.02, (2, 2)))
    matrix[:2, 2] = GRID + random.uniform(-500, 500, 2)
    return matrix


def old_map(random, kind="similarity", drawn=DRAWN, known_sd=KNOWN):
    """Return the sheets, the known points, the true matrices and the true places of a simulated map."""
    true, on = {}, {f"sheet {n}": [] for n in range(4)}
    for n in range(4):
        for k in range(5):  # of its own, known on the grid on the outer sheets only
            true[f"own {n}{k}"] = GRID + np.array((500 * n + random.uniform(60, 440), random.uniform(0, 1000)))
            on[f"sheet {n}"].append(f"own {n}{k}")
        for k in range(5):  # in common with the next
            if n < 3:
                at = (500 * (n + 1) + random.uniform(-40, 40), 240 * k + random.uniform(0, 40))
                true[f"seam {n}{k}"] = GRID + np.array(at)
                on[f"sheet {n}"].append(f"seam {n}{k}")
                on[f"sheet {n + 1}"].append(f"seam {n}{k}")
    matrices = {name: sheet_matrix(random, kind) for name in on}
    known = {
        name: GridPoint(tuple(place + random.normal(0, known_sd, 2)), known_sd)
        for name, place in true.items()
        if name.startswith(("own 0", "own 3"))
    }
    sheets = {}
    for name, points in on.items():
        # An inner sheet's own points are known nowhere else, and say nothing.
        kept = [p for p in points if p in known or p.startswith("seam")]
        places = carry_points(np.linalg.inv(matrices[name]), [true[p] + random.normal(0, drawn, 2) for p in kept])
        sheets[name] = SheetPoints(name, dict(zip(kept, map(tuple, places), strict=True)), drawn)
    return sheets, known, matrices, true


@pytest.mark.parametrize("kind", ["similarity", "affine"])
def test_without_errors_every_sheet_comes_out_as_it_was(kind):
    sheets, known, matrices, true = old_map(np.random.default_rng(3), kind, drawn=1e-7, known_sd=1e-7)
    block, _ = fit_sheets(kind, sheets, known)

    for name, fitted in block.sheets.items():
        places = list(sheets[name].places.values())
        np.testing.assert_allclose(fitted.carry(places), carry_points(matrices[name], places), atol=1e-5)
    for name, place in block.places.items():
        np.testing.assert_allclose(place, true[name], atol=1e-5)
    assert block.wrong is None


@pytest.mark.parametrize("kind", ["similarity", "affine"])
def test_one_sheet_alone_comes_out_as_its_own_fit(kind):
    # Place and grid are told of each point once: their variances add, as a fit of pairs takes them.
    random = np.random.default_rng(5)
    places = random.uniform(0, 3000, (7, 2))
    target = carry_points(sheet_matrix(random, kind), places) + random.normal(0, 0.5, places.shape)
    names = [f"p{n}" for n in range(7)]
    sds = np.linspace(0.1, 0.9, 7)
    alone = fit(kind, places, target, np.hypot(sds, DRAWN))
    known = {name: GridPoint(tuple(place), sd) for name, place, sd in zip(names, target, sds, strict=True)}
    block, factor = fit_sheets(
        kind, {"one": SheetPoints("one", dict(zip(names, map(tuple, places), strict=True)), DRAWN)}, known
    )

    (fitted,) = block.sheets.values()
    np.testing.assert_allclose(fitted.carry(places), alone.carry(places), atol=1e-6)
    np.testing.assert_allclose(fitted.spread_at(places), alone.spread_at(places), rtol=1e-6, atol=1e-12)
    assert factor == pytest.approx(alone.variance_factor)
    assert block.freedom == alone.freedom
    # A misfit is seen by both readings of a point alike.
    by_sheet = [reading.test for reading in block.readings if reading.sheet]
    on_grid = [reading.test for reading in block.readings if not reading.sheet]
    np.testing.assert_allclose(by_sheet, alone.tests, rtol=1e-6)
    np.testing.assert_allclose(on_grid, alone.tests, rtol=1e-6)


def test_a_general_solver_finds_the_same():
    sheets, known, _, _ = old_map(np.random.default_rng(8))
    block, factor = fit_sheets("similarity", sheets, known)
    points = list(block.places)

    def misfits(unknowns):
        at = dict(zip(points, unknowns[16:].reshape(-1, 2) * 1000 + GRID, strict=True))
        found = []
        for sheet, (a, b, e, n) in zip(sheets.values(), unknowns[:16].reshape(4, 4), strict=True):
            for point, (x, y) in sheet.places.items():
                carried = np.array([a * x - b * y + e, b * x + a * y + n]) + GRID
                found.extend((carried - at[point]) / sheet.sd)
        for point, each in known.items():
            found.extend((np.array(each.place) - at[point]) / each.sd)
        return np.array(found)

    start = [v for each in block.sheets.values() for v in (*each.matrix[:2, 0], *(each.matrix[:2, 2] - GRID))]
    start = np.array([*start, *((np.array(list(block.places.values())) - GRID).ravel() / 1000)])
    solved = least_squares(misfits, start * (1 + 1e-4), x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15)

    assert 2 * solved.cost / block.freedom == pytest.approx(factor, rel=1e-9)
    found = dict(zip(points, solved.x[16:].reshape(-1, 2) * 1000 + GRID, strict=True))
    for name, place in block.places.items():
        np.testing.assert_allclose(place, found[name], atol=1e-4)
    # What is left of each reading is what was read less what is adjusted, and all of it together the factor.
    assert len(block.readings) == sum(len(each.places) for each in sheets.values()) + len(known)
    square = 0.0
    for each in block.readings:
        on = None if each.sheet is None else sheets[each.sheet]
        told = known[each.point].place if on is None else block.sheets[on.name].carry([on.places[each.point]])[0]
        np.testing.assert_allclose(each.residual, told - np.array(block.places[each.point]), atol=1e-6)
        square += np.sum(np.square(each.residual)) / (known[each.point].sd if on is None else on.sd) ** 2
    assert square / block.freedom == pytest.approx(factor)


def share_inside(trials: int) -> tuple[float, float]:
    """Return how many carried places lie inside their ellipses, and the false alarms."""
    carried, alarms = [], []
    for seed in range(trials):
        random = np.random.default_rng(seed)
        kind = ("similarity", "affine")[seed % 2]
        sheets, known, matrices, _ = old_map(random, kind)
        block, _ = fit_sheets(kind, sheets, known)
        name = f"sheet {random.integers(4)}"
        spot = carry_points(np.linalg.inv(matrices[name]), [GRID + random.uniform(0, 1000, 2)])
        off = (block.sheets[name].carry(spot) - carry_points(matrices[name], spot))[0]
        carried.append(off @ np.linalg.solve(block.sheets[name].spread_at(spot)[0], off) <= CHI2_95)
        alarms.append(block.wrong is not None)
    return float(np.mean(carried)), float(np.mean(alarms))


def test_sheets_lie_as_well_as_they_say():
    carried, alarms = share_inside(300)

    assert carried == pytest.approx(0.95, abs=4 * (0.95 * 0.05 / 300) ** 0.5)
    assert alarms <= 0.03  # 1 % of maps without a mistake are said to have one


@pytest.mark.long
def test_so_they_do_over_2000_maps():
    carried, alarms = share_inside(2000)

    assert 0.93 <= carried <= 0.97
    assert alarms <= 0.015


def test_a_wrong_reading_is_named():
    found = []
    for seed in range(60):
        random = np.random.default_rng(1000 + seed)
        sheets, known, matrices, true = old_map(random)
        name = f"sheet {random.integers(4)}"
        point = random.choice(list(sheets[name].places))
        off = true[point] + 12 * DRAWN * np.array([np.cos(seed), np.sin(seed)])
        wrong = {**sheets[name].places, point: tuple(carry_points(np.linalg.inv(matrices[name]), [off])[0])}
        block, _ = fit_sheets("similarity", {**sheets, name: SheetPoints(name, wrong, DRAWN)}, known)
        # Of a point that two sheets have, or a sheet and the grid, either may be the one that is wrong.
        found.append(block.wrong is not None and block.wrong.point == point)
    assert np.mean(found) >= 0.95


def test_sheets_that_hang_loose_are_named():
    sheets, known, _, _ = old_map(np.random.default_rng(2))
    loose = SheetPoints("sheet 2", {**dict(list(sheets["sheet 2"].places.items())[:1]), "new": (5.0, 9.0)}, DRAWN)
    bare = SheetPoints("sheet 2", dict(list(sheets["sheet 2"].places.items())[:1]), DRAWN)
    cut = {
        name: SheetPoints(name, {p: at for p, at in each.places.items() if p in known or p.startswith("seam 0")}, DRAWN)
        for name, each in sheets.items()
        if name != "sheet 2"
    }
    with pytest.raises(ValueError, match=r"hold sheet 2$"):
        fit_sheets("similarity", {**cut, "sheet 2": loose}, known)
    with pytest.raises(ValueError, match=r"too few points hold sheet 2$"):
        fit_sheets("similarity", {**cut, "sheet 2": bare}, known)
    with pytest.raises(ValueError, match="two points at least must be known"):
        fit_sheets("similarity", sheets, dict(list(known.items())[:1]))


def test_two_known_points_hold_a_sheet_and_nothing_checks_them():
    # A sheet of a metre a unit, turned a quarter to the left about the first point.
    sheet = SheetPoints("one", {"a": (0.0, 0.0), "b": (30.0, 40.0)}, DRAWN)
    known = {"a": GridPoint((500.0, 700.0), KNOWN), "b": GridPoint((460.0, 730.0), KNOWN)}
    block, factor = fit_sheets("similarity", {"one": sheet}, known)

    assert (block.freedom, factor, block.wrong) == (0, None, None)
    np.testing.assert_allclose(block.sheets["one"].carry([(10.0, 0.0)]), [(500.0, 710.0)], atol=1e-9)
