"""How the cost of the network grows with its stations: ``python tests/bench/network_growth.py [--most N]``.

Squares with both diagonals, one a tie line, one a check line; the whole of ``adjust``: both solutions, variances,
redundancy numbers, tests and checks; and ``find_unnoticed`` of the same. Processor time, and the exponents of the
growth from 1,000 stations on.
"""

from __future__ import annotations

import argparse
import sys
import time
from math import dist, log
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.records import LAY_SD, LOCAL, measure

from pegline.network.adjust import adjust
from pegline.network.unnoticed_mistakes import find_unnoticed

SIZES = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)
STEEPEST = 1.6  # the exponent that must not be passed


def squares(stations: int):
    """Return a book and its reduction: squares of 30 m, lines of both diagonals."""
    random, side = Random(stations), round(stations**0.5)
    at = {
        f"S{i}.{j}": (30.0 * i + random.uniform(-5, 5), 30.0 * j + random.uniform(-5, 5))
        for i in range(side)
        for j in range(side)
    }
    lines = {}
    for i in range(side):
        for j in range(side):
            for step, up, use in ((1, 0, "side"), (0, 1, "side"), (1, 1, "tie"), (1, -1, "check")):
                start, end = f"S{i}.{j}", f"S{i + step}.{j + up}"
                if end in at:
                    lines[f"{start}-{end}"] = (use, dist(at[start], at[end]) + random.gauss(0, LAY_SD))
    lines["S0.0-S1.0"] = ("base", lines["S0.0-S1.0"][1])
    return measure(lines, sketches=at)


def exponent(points: list[tuple[int, float]]) -> float:
    """Return the slope of the straight line through the logarithms."""
    x, y = [log(n) for n, _ in points], [log(seconds) for _, seconds in points]
    mx, my = sum(x) / len(x), sum(y) / len(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y, strict=True)) / sum((a - mx) ** 2 for a in x)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=SIZES[-1], help="largest number of stations")
    most = parser.parse_args().most
    adjust(*squares(400), LOCAL)  # imports and first calls are not counted
    found: list[tuple[int, float]] = []
    unnoticed: list[tuple[int, float]] = []
    print(
        f"{'stations':>9} {'adjust':>9} {'unnoticed':>9}  growth of the first, a mark each doubling above a millisecond"
    )
    for size in (one for one in SIZES if one <= most):
        records, begin = squares(size), time.process_time()
        adjustment = adjust(*records, LOCAL)
        solved = time.process_time()
        find_unnoticed(*records, adjustment)
        found.append((size, solved - begin))
        unnoticed.append((size, time.process_time() - solved))
        marks = "#" * max(1, round(log(found[-1][1] / 1e-3, 2)))
        print(f"{size:>9} {found[-1][1]:>9.3f} {unnoticed[-1][1]:>9.3f}  {marks}", flush=True)
    for what, points in (("adjust", found), ("find_unnoticed", unnoticed)):
        large = [point for point in points if point[0] >= 1000]
        if len(large) > 1:
            print(f"{what}: exponent from 1,000 stations on {exponent(large):.2f}; {STEEPEST} at most is wanted")


if __name__ == "__main__":
    main()
