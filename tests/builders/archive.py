"""An archive of small invented books with bad and poisonous ones among them, and runs that are killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle, islice
from json import loads
from pathlib import Path
from typing import Final

import pegline
from builders.book import book_text
from builders.networks import random_plot

__all__ = [
    "BAD",
    "GOOD",
    "POISONS",
    "SmallBooks",
    "begun_again",
    "command_of",
    "events",
    "kill_at_work",
    "with_poisons",
]

GOOD: Final = """\
book: 1
unit: m
scale: 100
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 30.00}
  A-C: {use: side, taped: 18.44}
  C-B: {use: side, taped: 22.80}
  A-D: {use: side, taped: 20.25}
  D-B: {use: side, taped: 17.03}
  C-D: {use: check, taped: 25.49}
"""
BAD: Final = {
    "empty.yaml": b"",
    "binary.yaml": bytes(range(256)),
    "unknown-key.yaml": GOOD.replace("use: base", "usee: base").encode(),
    "no-side.yaml": GOOD.replace("left_of: A-B", "note: none").encode(),
    "gap.yaml": GOOD.replace("18.44", "1.44").encode(),
    "latin.yaml": "title: Überfahrt".encode("latin-1"),
    "alias.yaml": b"book: 1\nunit: &u m\nplace: *u\n",
    "long.yaml": f"{GOOD}note: {'a' * 10_001}\n".encode(),
}
#: Books that kill their worker as they are read or as their files are written, never end, or take all the memory that
#: there is, by the begin of their names.
POISONS: Final = ("kill-", "cut-", "hang-", "hog-")
FORMATS: Final = ("json", "csv")

#: As a library with a fault would do it: whatever worker opens such a book is killed, waits for ever,
#: or takes memory until it gets no more. Python imports a module of this name as it starts.
POISON: Final = """
import sys


def poison(event, arguments):
    if event != "open":
        return
    path = str(arguments[0])
    kind, dash, _ = path.rpartition("/")[2].partition("-")
    written = "/.pegline-work-" in path
    if not dash or kind not in (("cut",) if written else ("kill", "hang", "hog") if path.endswith(".yaml") else ()):
        return
    import os, signal, time
    if "worker_process" not in " ".join(sys.orig_argv):
        return
    if kind in ("kill", "cut"):
        os.kill(os.getpid(), signal.SIGKILL)
    if kind == "hang":
        open(path + ".hangs", "wb").close()
        while True:
            time.sleep(60)
    hoard = []
    while True:
        hoard.append(bytes(2**26))


sys.addaudithook(poison)
"""


def with_poisons(folder: Path) -> dict[str, str]:
    """Return the environment of a run in which poisonous books do what they are named by."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "sitecustomize.py").write_text(POISON, encoding="utf-8")
    path = os.pathsep.join(filter(None, (str(folder), os.environ.get("PYTHONPATH"))))
    return {**os.environ, "PYTHONPATH": path}


@dataclass(frozen=True)
class SmallBooks:
    """So many good books in folders of a hundred, bad ones, and poisonous ones of each kind."""

    good: int
    bad: int
    poisonous: int

    def write(self, root: Path, seed: int = 0) -> None:
        """Write the books; another seed makes every good one another."""
        for name, number in self._good_names():
            path = root / name
            path.parent.mkdir(parents=True, exist_ok=True)
            plot = random_plot(seed + number, stations=3 + number % 2, details=number % 2)
            path.write_text(book_text(plot), encoding="utf-8")
        for number, data in enumerate(islice(cycle(BAD.values()), self.bad)):
            (root / self._sheet(number * self.good // self.bad) / f"bad-{number}.yaml").write_bytes(data)
        for kind in POISONS:
            for number in range(self.poisonous):
                sheet = root / self._sheet(number * self.good // self.poisonous)
                (sheet / f"{kind}{number}.yaml").write_text(GOOD, encoding="utf-8")

    def write_solo(self, root: Path, out: Path) -> None:
        """Write the files of every good book by a run of its own."""
        for name, _ in self._good_names():
            survey = pegline.reduce(pegline.read(root / name))
            pegline.write(survey, (out / name).parent, formats=FORMATS)

    def _good_names(self) -> Iterator[tuple[str, int]]:
        return ((f"{self._sheet(number)}/plot-{number}.yaml", number) for number in range(self.good))

    def _sheet(self, number: int) -> str:
        return f"sheet-{number // 100}"


def command_of(root: Path, out: Path, *words: str) -> list[str]:
    """Return the words that start a run."""
    return [
        sys.executable,
        "-m",
        "pegline",
        "batch",
        f"{root}",
        "--out",
        f"{out}",
        "--formats",
        ",".join(FORMATS),
        *words,
    ]


def events(manifest: Path, begin: int = 0) -> list[tuple[str, str, int | None]]:
    """Return name of the book, state and status of what a manifest tells from some byte on."""
    with manifest.open("rb") as file:
        file.seek(begin)
        rows = []
        for line in file:
            try:
                event = loads(line)
            except ValueError:  # torn by a kill
                continue
            rows.append((Path(event["book"]).name, event["state"], event.get("status")))
    return rows


def kill_at_work(command: list[str], environment: dict[str, str], manifest: Path, *, ended: int, after: float) -> bool:
    """Start a run and kill it, workers and all, once so many books have ended, seconds later; return whether it ran."""
    quiet = subprocess.DEVNULL
    run = subprocess.Popen(command, stdout=quiet, stderr=quiet, env=environment, start_new_session=True)
    with manifest.open("rb") as file:
        file.seek(0, os.SEEK_END)
        seen = 0
        while run.poll() is None and seen < ended:
            time.sleep(0.02)
            seen += file.read().count(b'"state": "ended"')
    time.sleep(after)
    at_work = run.poll() is None
    if at_work:
        os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    return at_work


def begun_again(rows: list[tuple[str, str, int | None]]) -> int:
    """Return how many times a book that is not poisonous was begun after its first time."""
    begun = Counter(book for book, state, _ in rows if state == "started" and not book.startswith(POISONS))
    return begun.total() - len(begun)
