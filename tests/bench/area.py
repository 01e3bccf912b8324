"""Areas and divisions against bare libraries: ``python tests/bench/area.py [--corners N …]``.

A round garden of N corners, each booked once from one chain line. The areas of ``pegline area`` from the solved survey
against the shoelace rule in bare numpy; a division into two by a line of a given direction against a bisection of
shapely's intersections with half-planes. Processor time of one thread, the best of some runs; the growth from one N to
the next as an exponent. Never part of the test run.

On one busy core in 2026: areas 0.14, 0.34 and 2.5 ms for 10, 40 and 160 corners; a division with the deviations of its
ends and parts 26, 130 and 1,170 ms (growth 1.2 to 1.6).
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: processor time counts every thread that waits

import argparse
import time
from collections.abc import Callable
from math import log
from typing import Any

import numpy as np
from scipy.optimize import brentq
from shapely import Polygon, box

from pegline.commands.area.areas import areas
from pegline.commands.area.request import DivisionRequest
from pegline.readers import parse_book
from pegline.survey import Survey, reduce

CORNERS = (10, 40, 160)
TAKEN = 3  #: the best of so many runs
FAR = 1e4  #: metres: beyond every garden


def seconds_of(work: Callable[[], Any], taken: int = TAKEN) -> tuple[float, Any]:
    """Return processor seconds, of the best run, and the result."""
    best, result = float("inf"), None
    for _ in range(taken):
        begin = time.process_time()
        result = work()
        best = min(best, time.process_time() - begin)
    return best, result


def garden(corners: int) -> Survey:
    """Return the survey of a garden of so many corners about the middle of a chain line of 40 m."""
    turns = 2 * np.pi * (np.arange(corners) + 0.5) / corners
    places = np.column_stack((20 + 15 * np.cos(turns), 9 * np.sin(turns)))
    rows = [
        f"      - {{at: {x:.2f}, {'left' if y > 0 else 'right'}: {abs(y):.2f}, point: g{number}}}"
        for number, (x, y) in sorted(enumerate(places), key=lambda each: each[1][0])
    ]
    ring = ", ".join(f"g{number}" for number in range(corners))
    text = (
        "book: 1\nunit: m\ntapes: {steel: {material: steel, length: 50}}\n"
        "default_tape: {lines: steel, offsets: steel}\n"
        "default_method: optical square\nlines:\n  A-B:\n    use: base\n    taped: 40\n    details:\n"
        + "\n".join(rows)
        + f"\nfeatures: {{garden: {{kind: boundary, ring: [{ring}]}}}}\n"
    )
    return reduce(parse_book(text.encode(), "garden.yaml"))


def shoelace(points: np.ndarray) -> float:
    """Return the area of a ring in bare numpy, square metres."""
    x, y = points.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def halving_chainage(points: np.ndarray) -> float:
    """Return where a line square to the base line halves a ring, by shapely and bisection, metres."""
    ring = Polygon(points)
    west, _, east, _ = ring.bounds
    half = ring.area / 2
    return float(brentq(lambda x: ring.intersection(box(-FAR, -FAR, x, FAR)).area - half, west, east, xtol=1e-9))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--corners", type=int, nargs="+", default=list(CORNERS))
    before: tuple[int, float, float] | None = None
    print("corners  area ms  ratio  divided ms  ratio  growth of both")
    for corners in parser.parse_args().corners:
        survey = garden(corners)
        index, at = survey.detail.points.index, survey.detail.points.positions
        points = np.array([at[index[f"g{number}"]] for number in range(corners)])
        request = DivisionRequest("garden", parallel_to=("g0", f"g{corners // 2}"))
        whole, result = seconds_of(lambda s=survey: areas(s))
        bare, size = seconds_of(lambda p=points: shoelace(p))
        assert abs(result.areas["garden"].area - size) < 1e-6
        divided, halves = seconds_of(lambda s=survey, r=request: areas(s, division=r))
        by_shapely, _ = seconds_of(lambda p=points: halving_chainage(p))
        assert abs(halves.division.parts[0].share - 0.5) < 1e-9
        growth = ""
        if before:
            factor = log(corners / before[0])
            growth = f"{log(whole / before[1]) / factor:.2f} {log(divided / before[2]) / factor:.2f}"
        before = corners, whole, divided
        print(
            f"{corners:7d} {whole * 1e3:8.2f} {whole / bare:6.0f} {divided * 1e3:11.1f} {divided / by_shapely:6.1f}"
            f"  {growth}",
            flush=True,
        )


if __name__ == "__main__":
    main()
