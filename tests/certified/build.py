"""Certify forty networks in sixty digits: ``python tests/certified/build.py`` writes them anew, which takes minutes.

The readings are drawn about a true figure, rounded to millimetres and kept; the least squares is solved here from the
true figure on, in arithmetic of its own, with the equations of the note on the network and differences for derivatives.
Nothing of pegline has a part in it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from math import dist
from pathlib import Path
from random import Random
from typing import Any

import mpmath as mp

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.networks import NETWORKS, random_plot, range_ties
from builders.plot import Plot

FOLDER = Path(__file__).parent / "networks"
DIGITS, SHOWN = 60, 25  #: of the arithmetic, and of what is kept
LAY, SCALE, RANGING = "0.005", "0.0002", "0.02"  #: standard deviations: a reading, the tape's scale, off a line
HEIGHTS = (25.0, 12.0, 6.0, 4.0, 3.0, 2.0, 1.5, 1.0, 0.6, 0.3)  #: of a flat triangle over a base of 60 m, metres


def flat(height: float) -> Plot:
    """Return a triangle as flat as that, and a good one on the other side of its base with a line between the two."""
    from builders.networks import net

    at = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (29.0, height), "D": (25.0, -30.0)}
    return net(at, "A-B", "A-C B-C A-D B-D", checks="" if height < 1 else "C-D")


def plots() -> Iterator[tuple[str, str, Plot, float]]:
    """Yield name, level, plot, and by how much its readings scatter more than they should."""
    for name, plot in NETWORKS.items():
        yield name, "easy", plot(), 1.0
    for seed in range(4):
        yield f"random {seed}", "easy", random_plot(60 + seed, stations=7, details=0), 1.0
    for seed in range(14):
        yield f"scattered {seed}", "average", random_plot(80 + seed, stations=8 + seed % 7, details=0), 4.0 + seed
    for height in HEIGHTS:
        yield f"flat {height:g}", "hard", flat(height), 1.0


def readings(name: str, plot: Plot, scatter: float) -> dict[str, Any]:
    """Return lines and stops of tie stations as read, texts."""
    draw = Random(f"certified {name}")
    at = range_ties(plot, 60).stations
    scale = 1 + float(SCALE) * draw.gauss(0, 1)

    def read(length: float) -> str:
        return f"{length * scale + scatter * float(LAY) * draw.gauss(0, 1):.3f}"

    lines = {line.name: [line.use, read(dist(*(at[end] for end in line.ends)))] for line in plot.lines}
    stops = []
    for line in plot.lines:
        (x, y), (u, v) = (at[end] for end in line.ends)
        for row in line.rows:
            p, q = at[row.point]
            stops.append([row.point, line.name, read(((p - x) * (u - x) + (q - y) * (v - y)) / dist((x, y), (u, v)))])
    return {
        "lines": lines,
        "stops": stops,
        "about": {name: [round(c, 1) for c in xy] for name, xy in plot.stations.items()},
    }


def residuals(case: dict[str, Any], free: list[tuple[str, int]], x: list[Any]) -> list[Any]:
    """Return weighted residuals: the scale of the tape, each line, and each stop along and off its line."""
    at: dict[str, list[Any]] = {name: [mp.mpf(0), mp.mpf(0)] for name in case["about"]}
    for (name, axis), value in zip(free, x, strict=False):
        at[name][axis] = value
    scale, found = x[-1], [-x[-1] / mp.mpf(SCALE)]
    for line, (_, taped) in case["lines"].items():
        p, q = (at[end] for end in line.split("-"))
        found.append((mp.mpf(taped) - mp.hypot(q[0] - p[0], q[1] - p[1]) * (1 + scale)) / mp.mpf(LAY))
    for point, line, chainage in case["stops"]:
        p, q = (at[end] for end in line.split("-"))
        u, v, dx, dy = q[0] - p[0], q[1] - p[1], at[point][0] - p[0], at[point][1] - p[1]
        along = (dx * u + dy * v) / mp.hypot(u, v) * (1 + scale)
        found.append((mp.mpf(chainage) - along) / mp.mpf(LAY))
        found.append(-(u * dy - v * dx) / mp.hypot(u, v) / mp.mpf(RANGING))
    return found


def solved(case: dict[str, Any], plot: Plot) -> dict[str, Any] | None:
    """Return coordinates and standard deviations in the frame of the base line; None where no minimum is near."""
    base = next(line for line in plot.lines if line.use == "base")
    start, end = base.ends
    (x0, y0), (x1, y1) = plot.stations[start], plot.stations[end]
    cos, sin = (x1 - x0) / dist((x0, y0), (x1, y1)), (y1 - y0) / dist((x0, y0), (x1, y1))
    turned = {
        n: (cos * (x - x0) + sin * (y - y0), cos * (y - y0) - sin * (x - x0)) for n, (x, y) in plot.stations.items()
    }
    free = [(name, axis) for name in turned for axis in (0, 1) if name != start and (name, axis) != (end, 1)]
    x = [mp.mpf(turned[name][axis]) for name, axis in free] + [mp.mpf(0)]
    step = mp.mpf(10) ** -30
    for _ in range(200):
        here = residuals(case, free, x)
        columns = []
        for i in range(len(x)):
            there = residuals(case, free, [*x[:i], x[i] + step, *x[i + 1 :]])
            columns.append([(after - before) / step for after, before in zip(there, here, strict=True)])
        a = mp.matrix(columns).T
        normal = a.T * a
        change = mp.lu_solve(normal, -(a.T * mp.matrix(here)))
        x = [value + move for value, move in zip(x, change, strict=True)]
        if mp.norm(change, mp.inf) > 1000:
            return None
        if mp.norm(change, mp.inf) < mp.mpf(10) ** -27:
            break
    else:
        return None
    covariance = normal**-1
    at = {name: [mp.mpf(0), mp.mpf(0)] for name in turned}
    for (name, axis), value in zip(free, x, strict=False):
        at[name][axis] = value
    return {
        "positions": {name: [mp.nstr(c, SHOWN) for c in xy] for name, xy in at.items()},
        "deviations": {
            f"{n} {'xy'[axis]}": mp.nstr(mp.sqrt(covariance[i, i]), SHOWN) for i, (n, axis) in enumerate(free)
        },
    }


def main() -> None:
    """Write a file for each network."""
    FOLDER.mkdir(exist_ok=True)
    with mp.workdps(DIGITS):
        for name, level, plot, scatter in plots():
            case = {"name": name, "level": level, **readings(name, plot, scatter)}
            case["certified"] = solved(case, plot)
            (FOLDER / f"{name.replace(' ', '-').replace(',', '')}.json").write_text(json.dumps(case, indent=1) + "\n")
            print(name, "certified" if case["certified"] else "no minimum near the truth", flush=True)


if __name__ == "__main__":
    main()
