"""One book in a fresh process against bare libraries: ``python tests/bench/one_book.py [-n 5] [--most DETAILS]``.

Each row of ``CASES`` is a book of ``make_book.py`` (rows, columns, details on each side), the formats written, and the
ratio that is wanted. Told are time, memory, and the bytes of the files.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from compare import compare_runs
from make_book import make

HERE = Path(__file__).parent
PEGLINE = (sys.executable, "-m", "pegline")
CASES = (
    ((3, 3, 8), "gpkg,dxf,pdf", "at most 1.5 wall, 1.3 memory"),
    ((3, 3, 8), "gpkg", "no aim of its own"),
    ((3, 3, 8), "dxf", "no aim of its own"),
    ((3, 3, 8), "pdf", "no aim of its own"),
    ((10, 10, 20), "gpkg", "at most 1.3"),
    ((10, 10, 20), "dxf", "at most 1.3"),
    ((10, 10, 20), "pdf", "at most 1.3"),
    ((10, 10, 20), "gpkg,dxf,pdf", "at most 1.3"),
    ((40, 40, 8), "gpkg", "at most 1.3"),
    ((40, 40, 8), "gpkg,dxf,pdf", "at most 1.3"),
)


def megabytes(folder: Path) -> float:
    """Return how much the files of a folder hold."""
    return sum(path.stat().st_size for path in folder.iterdir()) / 1e6


def main() -> None:
    """Run every case that is not too large."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=5, help="pairs of runs; of the largest books one")
    parser.add_argument("--most", type=int, default=100_000, help="largest number of details")
    args = parser.parse_args()
    with TemporaryDirectory() as folder:
        for size, formats, aim in CASES:
            details = 2 * size[0] * size[1] * size[2]
            if details > args.most:
                continue
            case = Path(folder, f"{details} {formats}")
            case.mkdir()
            book = case / "book.yaml"
            book.write_text(make(*size), encoding="utf-8")
            ours = [*PEGLINE, "plot", str(book), "--out", str(case / "ours"), "--formats", formats]
            bare = [sys.executable, str(HERE / "reference.py"), str(book), str(case / "bare"), "--formats", formats]
            compare_runs(f"{size} {formats}", ours, bare, 1 if details > 10_000 else args.n, aim)
            one, other = (megabytes(case / side) for side in ("ours", "bare"))
            print(f"  files MB ours {one:8.3f}  reference {other:8.3f}  ratio {one / other:5.2f}", flush=True)


if __name__ == "__main__":
    main()
