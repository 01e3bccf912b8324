"""Many small books: ``python tests/bench/batch.py [--books 100]``.

Books a second of ``pegline batch`` with one worker and with two, against the reference looping in one process, and
how the memory of one worker grows from the first tenth of its books to the last. Layers only, as an archive wants.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import reference
from compare import once
from make_book import make

from pegline.commands.batch.one_book import work
from pegline.commands.batch.tasks import Settings, Task

SIZE = (3, 3, 8)
FORMATS = "gpkg"


def reference_seconds(books: list[Path], out: Path) -> float:
    """Return processor seconds of the reference for all books, one after the other."""
    begin = time.process_time()
    for book in books:
        sys.argv = ["reference", str(book), str(out), "--formats", FORMATS]
        with contextlib.redirect_stdout(io.StringIO()):
            reference.main()
    return time.process_time() - begin


def worker_seconds(books: list[Path], out: Path) -> tuple[float, list[int]]:
    """Return processor seconds of a worker's work on all books, and its memory after each, kB."""
    settings = Settings(tuple(FORMATS.split(",")), seconds=60.0, memory=2**32)
    begin, memory = time.process_time(), []
    for book in books:
        outcome = work(Task(book.name, str(book), str(out), settings))
        if outcome["status"] > 1:
            raise SystemExit(outcome["why"])
        memory.append(resident())
    return time.process_time() - begin, memory


def resident() -> int:
    """Return the memory of this process, kB (Linux)."""
    words = Path("/proc/self/status").read_text(encoding="ascii").split()
    return int(words[words.index("VmRSS:") + 1])


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--books", type=int, default=100)
    count = parser.parse_args().books
    with TemporaryDirectory() as folder:
        room = Path(folder, "books")
        room.mkdir()
        books = [room / f"book{n}.yaml" for n in range(count)]
        for n, book in enumerate(books):
            book.write_text(make(*SIZE, seed=n), encoding="utf-8")
        out = Path(folder, "out")
        out.mkdir()
        worker_seconds(books[:2], out), reference_seconds(books[:2], out)  # imports are not counted
        ours, memory = worker_seconds(books, out)
        bare = reference_seconds(books, out)
        print(f"in one process: {count / ours:.1f} books a second, reference {count / bare:.1f}: ", end="")
        print(f"{bare / ours:.2f} of it (at least 0.7)")
        tenth = max(1, count // 10)
        print(
            f"memory of a worker: {memory[tenth - 1] / 1024:.1f} MB after {tenth}, {memory[-1] / 1024:.1f} MB at last"
        )
        found = {}
        for workers in (1, 2):
            command = [sys.executable, "-m", "pegline", "batch", str(room), "--out", f"{folder}/by{workers}"]
            wall, _, _ = once([*command, "--workers", str(workers), "--formats", FORMATS])
            found[workers] = wall
            print(f"batch, {workers} workers: {count / wall:.1f} books a second, its start included")
        print(f"two workers: {found[1] / found[2]:.2f} times one (at least 1.7 on an idle machine)")


if __name__ == "__main__":
    main()
