"""Archives with poisonous books: killed at any moment and taken up again, on this machine and on a cluster."""

import hashlib
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from contextlib import contextmanager
from multiprocessing import get_context
from random import Random

import pytest
from builders.archive import GOOD, POISONS, SmallBooks, begun_again, command_of, events, kill_at_work, with_poisons
from builders.figures import keep

from pegline.commands.batch import manifest
from pegline.commands.batch.tasks import Settings, Task
from pegline.commands.batch.worker_process import Crew
from pegline.errors import BusyError

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")


PATIENCE_SECONDS = 60


def outputs(folder):
    """Return the hash of every output under a folder, but of those of the archive itself."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.suffix in (".json", ".csv") and not path.name.startswith(("batch.", "."))
    }


@contextmanager
def beside(do, *arguments):
    """Have something done by another process while a block runs."""
    process = get_context("spawn").Process(target=do, args=arguments)
    process.start()
    yield
    process.join()
    assert process.exitcode == 0


#: Kills, books, workers, and seconds that a book may take: so long that no sound one needs them, on a busy machine
#: neither.
RUNS = [
    pytest.param(3, SmallBooks(20, 7, 1), 2, 4, id="short"),
    pytest.param(10, SmallBooks(400, 20, 3), 2, 10, id="middle", marks=pytest.mark.long),
    pytest.param(50, SmallBooks(950, 50, 10), 2, 5, id="thousand", marks=pytest.mark.long),
    pytest.param(50, SmallBooks(9640, 340, 5), 2, 10, id="archive", marks=pytest.mark.long),
]


@pytest.mark.parametrize(("kills", "books", "workers", "seconds"), RUNS)
def test_an_archive_killed_at_any_moment_goes_on_where_it_stood(memory, kills, books, workers, seconds):
    root, out, solo = (memory / f"{kills} kills" / name for name in ("books", "out", "solo"))
    books.write(root)
    out.mkdir()
    told = out / manifest.MANIFEST_NAME
    told.touch()
    environment = with_poisons(root.with_name("poison"))
    command = command_of(root, out, "--workers", f"{workers}", "--seconds", f"{seconds}", "--memory", "2048")
    draw, killed = Random(kills), 0

    with beside(books.write_solo, root, solo):
        for _ in range(kills):  # some while they start, most amid their books
            ended = round(draw.uniform(0, books.good / kills))
            killed += kill_at_work(command, environment, told, ended=ended, after=draw.uniform(0, 0.2))
        last = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)

    assert killed == kills
    assert not list(out.rglob(".*"))  # nor what workers left that died as they wrote
    assert last.returncode == BusyError.status, last.stderr
    rows = events(told)
    first = outputs(solo)
    assert outputs(out) == first
    again = begun_again(rows)
    assert again <= kills * workers  # what was in hand at a kill, and no more
    final = {book: status for book, state, status in rows if state == "ended"}
    assert Counter(final.values()) == {0: books.good, 65: books.bad, 75: books.poisonous * len(POISONS)}
    # One that was alone in hand at three kills is not tried any more.
    why = (
        "its worker died",
        "over the limit of 2048 MB",
        f"not done in {seconds} s",
        "stopped every run that tried it",
    )
    assert sum(map(last.stderr.count, why)) == books.poisonous * len(POISONS)
    assert all(map(last.stderr.count, why[:3]))

    poisonous = books.bad + books.poisonous * len(POISONS)
    what = f"{books.good + poisonous} books, {poisonous} of them bad or poisonous"
    if kills > 3:
        keep("G18", f"{what}, killed {kills} times", f"byte-equal to solo runs, {again} begun again", books.good)

    before = told.stat().st_size
    idle = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    assert idle.returncode == BusyError.status, idle.stderr
    begun = {book for book, state, _ in events(told, before) if state == "started"}
    # The death of a worker may have had other grounds than the book.
    assert {book.partition("-")[0] for book in begun} >= {"kill", "cut"}
    assert all(book.startswith(POISONS) for book in begun)

    books.write(root, seed=10**6)
    with beside(books.write_solo, root, solo):
        changed = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    assert changed.returncode == BusyError.status, changed.stderr
    now = outputs(solo)
    assert all(now[name] != first[name] for name in first)
    assert outputs(out) == now
    if kills > 3:
        found = "byte-equal to solo runs; with nothing to do only books whose worker died were tried again"
        keep("G18", f"{what}, run again with nothing to do and after all changed", found, books.good)


def test_a_run_whose_first_process_alone_is_killed_leaves_no_worker_that_hangs(tmp_path):
    root, environment = tmp_path / "books", with_poisons(tmp_path / "poison")
    root.mkdir()
    (root / "hang-0.yaml").write_text(GOOD, encoding="utf-8")
    command = command_of(root, tmp_path / "out", "--workers", "1")
    run = subprocess.Popen(command, env=environment, start_new_session=True)
    while not (root / "hang-0.yaml.hangs").exists():
        assert run.poll() is None
        time.sleep(0.05)
    run.kill()
    run.wait()

    end = time.monotonic() + PATIENCE_SECONDS
    while is_there(run.pid) and time.monotonic() < end:
        time.sleep(0.05)
    left = is_there(run.pid)
    if left:
        os.killpg(run.pid, signal.SIGKILL)
    assert not left


def test_books_that_kill_their_workers_one_after_the_other_take_none_along(tmp_path, monkeypatch):
    monkeypatch.setenv("PYTHONPATH", with_poisons(tmp_path / "poison")["PYTHONPATH"])
    settings = Settings(("json",), float(PATIENCE_SECONDS), 2**32)
    names = [f"{kind}-{number}" for number in range(3) for kind in ("kill", "cut", "plot")]
    for name in names:
        (tmp_path / f"{name}.yaml").write_text(GOOD, encoding="utf-8")
    crew = Crew()

    outcomes = [crew.outcome(Task(name, f"{tmp_path / name}.yaml", f"{tmp_path}", settings)) for name in names]
    crew.stop()

    assert [outcome["status"] for outcome in outcomes] == [75, 75, 0] * 3


def is_there(group):
    """Return whether a process of a group is there."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


#: A cluster of two workers, one of which is killed once so many books have ended.
CLUSTER = """
import os, signal, sys, threading, time
from pathlib import Path

from distributed import LocalCluster
from pegline.cli import main

root, out, ended, seconds = sys.argv[1:]


def kill_one(cluster):
    told = Path(out, "batch.jsonl")
    while not told.exists() or told.read_bytes().count(b'"ended"') < int(ended):
        time.sleep(0.1)
    os.kill(cluster.workers[0].pid, signal.SIGKILL)
    print("killed", flush=True)


if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None) as cluster:
        killer = threading.Thread(target=kill_one, args=[cluster])
        killer.start()
        words = ["batch", root, "--out", out, "--formats", "json,csv", "--cluster", cluster.scheduler_address]
        status = main([*words, "--seconds", seconds])
        killer.join()
    sys.exit(status)
"""


@pytest.mark.parametrize(
    "books",
    [
        pytest.param(SmallBooks(60, 7, 0), id="short", marks=pytest.mark.long),
        pytest.param(SmallBooks(1000, 50, 0), id="thousand", marks=pytest.mark.long),
        pytest.param(SmallBooks(9660, 340, 0), id="archive", marks=pytest.mark.long),
    ],
)
def test_a_cluster_of_which_one_worker_is_killed_loses_no_book(tmp_path, books):
    root, out, solo = (tmp_path / name for name in ("books", "out", "solo"))
    books.write(root)
    (tmp_path / "cluster.py").write_text(CLUSTER, encoding="utf-8")
    command = [sys.executable, f"{tmp_path / 'cluster.py'}", f"{root}", f"{out}", f"{books.good // 3}", "60"]

    with beside(books.write_solo, root, solo):
        done = subprocess.run(command, capture_output=True, text=True, check=False)

    assert "killed\n" in done.stdout
    assert not list(out.rglob(".*"))
    assert done.returncode == 65, done.stderr  # the bad books; none is told that its worker died
    assert "worker died" not in done.stderr
    assert outputs(out) == outputs(solo)
    what = f"{books.good + books.bad} books on two workers of a cluster, one killed"
    keep("G18", what, "byte-equal to solo runs", books.good)
