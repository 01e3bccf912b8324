"""Writes a synthetic field book for benchmarks: a braced grid of pegs, offsets along every side.

    python make_book.py ROWS COLS DETAILS_PER_SIDE > book.yaml

The positions are random but seeded; readings carry a few millimetres of noise, so the book closes as a good one would.
"""

import math
import random
import sys


def make(rows: int, cols: int, details: int, seed: int = 5, spacing: float = 40.0) -> str:
    """Return the text of a book."""
    r = random.Random(seed)
    peg = {
        (i, j): (j * spacing + r.uniform(-3, 3), i * spacing + r.uniform(-3, 3))
        for i in range(rows)
        for j in range(cols)
    }
    out = ["book: 1", "title: Benchmark grid", "date: 2026-04-18", "unit: m", "scale: 500", "stations:"]
    for (i, j), (x, y) in peg.items():
        out.append(f"  P{i}_{j}: {{sketch: [{x + r.uniform(-4, 4):.0f}, {y + r.uniform(-4, 4):.0f}]}}")
    out.append("lines:")
    feature_points: list[list[str]] = []
    use, n = "base", 0
    for (i, j), a in peg.items():
        for di, dj, role in ((0, 1, "side"), (1, 0, "side"), (1, 1, "tie"), (1, -1, "tie")):
            b = peg.get((i + di, j + dj))
            if b is None:
                continue
            length = math.dist(a, b)
            out += [
                f"  P{i}_{j}-P{i + di}_{j + dj}:",
                f"    use: {use if use == 'base' else role}",
                f"    taped: {length + r.gauss(0, 0.005):.3f}",
            ]
            use = "side"
            if role == "side" and details:
                out.append("    details:")
                run = []
                for k in range(details):
                    n += 1
                    side = "left" if r.random() < 0.5 else "right"
                    at, off = length * (k + 0.5) / details, r.uniform(0.5, 9.5)
                    out.append(f"      - {{at: {at:.3f}, {side}: {off:.3f}, point: d{n}}}")
                    run.append(f"d{n}")
                feature_points.append(run)
    out.append("features:")
    for k, run in enumerate(feature_points, 1):
        if len(run) > 1:
            out.append(f"  fence {k}: {{kind: fence, through: [{', '.join(run)}]}}")
    return "\n".join(out) + "\n"


if __name__ == "__main__":
    print(make(*map(int, sys.argv[1:4])), end="")
