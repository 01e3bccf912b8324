"""Coordinates and standard deviations against the same least squares in fifty digits, differences for derivatives."""

import mpmath as mp
import numpy as np
import pytest
from builders.networks import NETWORKS, random_plot
from builders.records import LOCAL, simulate

from pegline.network.adjust import adjust

COORDINATES = 1e-9  # of the survey's extent: nine digits
DEVIATIONS = 1e-8  # eight digits
PLOTS = {
    **NETWORKS,
    **{f"random {seed}": (lambda seed=seed: random_plot(seed, stations=6 + seed % 3, details=0)) for seed in range(8)},
}


def solve(book, reduction, begin):
    """Return coordinates and standard deviations of the unknowns, base line's start and direction held."""
    names = list(begin)
    base = next(line for line in reduction.lines.values() if line.use == "base")
    free = [(n, axis) for n in names for axis in range(2) if n != base.start and (n, axis) != (base.end, 1)]
    at = {name: [mp.mpf(float(c)) for c in xy] for name, xy in begin.items()}
    at[base.start], at[base.end][1] = [mp.mpf(0), mp.mpf(0)], mp.mpf(0)
    scale_sd = mp.mpf(reduction.tapes["steel"].scale_sd)

    def residuals(x):
        for (name, axis), value in zip(free, x, strict=False):
            at[name][axis] = value
        yield -x[-1] / scale_sd
        for line in reduction.lines.values():
            p, q = at[line.start], at[line.end]
            length = mp.hypot(q[0] - p[0], q[1] - p[1])
            yield (mp.mpf(line.ground.length) - length * (1 + x[-1])) / mp.mpf(line.ground.sd)
        for row in reduction.rows:
            line = reduction.lines[row.line]
            p, q, t = at[line.start], at[line.end], at[row.name]
            u, v, dx, dy = q[0] - p[0], q[1] - p[1], t[0] - p[0], t[1] - p[1]
            size = mp.hypot(u, v)
            along = (dx * u + dy * v) / size * (1 + x[-1])
            yield (mp.mpf(row.chainages[0]) - along) / mp.mpf(row.chainage_sd)
            yield -(u * dy - v * dx) / size / mp.mpf(0.02)

    x = [at[name][axis] for name, axis in free] + [mp.mpf(0)]
    step = mp.mpf(10) ** -22
    for _ in range(30):
        here = list(residuals(x))
        columns = []
        for i in range(len(x)):
            moved = [*x]
            moved[i] += step
            columns.append([(after - before) / step for after, before in zip(residuals(moved), here, strict=True)])
        a = mp.matrix(columns).T
        normal = a.T * a
        change = mp.lu_solve(normal, -(a.T * mp.matrix(here)))
        x = [value + move for value, move in zip(x, change, strict=True)]
        if mp.norm(change, mp.inf) < mp.mpf(10) ** -19:
            break
    covariance = normal**-1
    list(residuals(x))
    return {n: (float(xy[0]), float(xy[1])) for n, xy in at.items()}, {
        key: float(mp.sqrt(covariance[i, i])) for i, key in enumerate(free)
    }


@pytest.mark.parametrize("name", PLOTS)
def test_nine_digits_of_coordinates_and_eight_of_deviations(name):
    book, reduction = simulate(PLOTS[name](), 11)
    solution = adjust(book, reduction, LOCAL).adjusted
    with mp.workdps(50):
        at, sds = solve(book, reduction, {n: solution.position(n) for n in solution.names})
    extent = np.ptp(solution.positions, axis=0).max()
    for station, xy in at.items():
        assert solution.position(station) == pytest.approx(xy, abs=COORDINATES * extent)
    for (station, axis), sd in sds.items():
        found = np.sqrt(solution.variances[solution.index[station], axis, axis])
        assert found == pytest.approx(sd, rel=DEVIATIONS)
