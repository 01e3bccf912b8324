"""Disks that fail: whatever write, sync or move goes wrong, what stood there before stays, and the failure is told."""

import errno
import os
import shutil
import signal
import sys
from collections import Counter, defaultdict
from pathlib import Path

import pytest
from builders.failing_calls import build, failures
from builders.figures import keep
from builders.sound_book import ON_A_GRID

from pegline.commands.verify import states_of_files
from pegline.errors import OutputError
from pegline.readers import parse_book
from pegline.survey import input_of_writers, publish_drawn, reduce
from pegline.writers import FORMATS_TABLE

resource = pytest.importorskip("resource", reason="this system has no limits on files")

OLD = b"what stood there before"
#: How many failures were told and left all as it was, or known as mixed, by kind of failure and format.
TOLD: dict[str, Counter[str]] = defaultdict(Counter)
SHARES = (0.0, 0.3, 0.7, 0.95)  #: of a file's size, after which every further write fails
MANY = tuple(n / 40 for n in range(40))  #: with the long tests


@pytest.fixture(scope="module")
def survey():
    return reduce(parse_book(ON_A_GRID.encode(), "weir.yaml"))


def write_format(survey, folder, name):
    return publish_drawn(input_of_writers(survey, (name,)), survey, folder, (name,))


def in_child(limit, run):
    """Run in a child whose files may not grow over a limit, and return its exit status."""
    child = os.fork()
    if child == 0:
        status = 70
        try:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
            run()
            status = 0
        except OutputError:
            status = OutputError.status
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


#: A picture takes seconds, and a drawing and its sheets most of one.
SLOW = ("png", "svg", "pdf", "dxf")
FILLED = [
    *(pytest.param(name, SHARES, id=name) for name in FORMATS_TABLE if name not in SLOW),
    *(pytest.param(name, SHARES[1:3], id=name) for name in SLOW[1:]),
    *(pytest.param(name, MANY, id=f"{name}, all", marks=pytest.mark.long) for name in FORMATS_TABLE),
]


@pytest.mark.parametrize(("name", "shares"), FILLED)
def test_a_disk_that_fills_up_leaves_what_was_there(survey, tmp_path, name, shares):
    files = write_format(survey, tmp_path / "whole", name)
    size = max(path.stat().st_size for path in files)
    for share in shares:
        folder = tmp_path / f"{share}"
        folder.mkdir()
        for path in files:
            (folder / path.name).write_bytes(OLD)

        status = in_child(int(share * size), lambda folder=folder: write_format(survey, folder, name))

        assert status == OutputError.status, share
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == {path.name: OLD for path in files}
        TOLD["a disk that fills up"][name] += 1


LONG = [pytest.param(name, marks=pytest.mark.long) for name in ("dxf", "shp")]


@pytest.mark.parametrize("name", ["csv", "gpkg", *LONG])
@pytest.mark.parametrize("call", ["os.fsync", "pathlib.Path.replace"])
def test_every_sync_and_move_that_fails_is_told_and_known_afterwards(survey, tmp_path, monkeypatch, name, call):
    calls = [0]
    files = {path.name for path in _count_calls(survey, tmp_path / "count", name, call, calls, None, monkeypatch)}
    assert calls[0] > 1
    for failing in range(calls[0]):
        folder = tmp_path / f"{failing}"
        folder.mkdir()
        for path in files:
            (folder / path).write_bytes(OLD)
        with pytest.raises(OutputError):
            _count_calls(survey, folder, name, call, [0], failing, monkeypatch)

        now = {path.name: path.read_bytes() for path in folder.iterdir() if path.name in files}
        (set_of_files,) = (
            states_of_files(folder, None) if (folder / "weir.files.json").exists() else ((None, ("none",), ""),)
        )
        untouched = all(data == OLD for data in now.values())
        # Either nothing is changed, or all is new, or it is told that the set is a mixed one.
        assert untouched or not set_of_files[1] or any("mixed" in fault for fault in set_of_files[1])
        assert not list(folder.glob(".pegline-work-*"))
        TOLD["a sync or a move that fails"][name] += 1


def _count_calls(survey, folder, name, call, calls, failing, monkeypatch):
    """Write with the calls counted, one of which fails."""
    home, _, attribute = call.rpartition(".")
    owner = os if home == "os" else Path
    real = getattr(owner, attribute)

    def count_or_fail(*args):
        number, calls[0] = calls[0], calls[0] + 1
        if number == failing:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return real(*args)

    with monkeypatch.context() as patch:
        patch.setattr(owner, attribute, count_or_fail)
        return write_format(survey, folder, name)


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    if sys.platform != "linux" or shutil.which("cc") is None:
        pytest.skip("no C compiler, or a system whose calls are not to be had")
    return build(tmp_path_factory.mktemp("library"))


CALLS = [("csv", 4), ("shp", 8), *(pytest.param(name, 40, marks=pytest.mark.long) for name in FORMATS_TABLE)]


@pytest.mark.parametrize(("name", "places"), CALLS)
def test_a_call_of_the_system_that_fails_anywhere_is_told(library, tmp_path, name, places):
    rows = failures(library, tmp_path / "disk", name, places)

    assert len(rows) >= min(places, 11)
    # What is told leaves the old files, the new ones, or a set that is known as mixed; never part of a file.
    wrong = [row for row in rows if row["status"] != OutputError.status or row["state"] not in ("old", "new", "mixed")]
    assert [row for row in wrong if (row["status"], row["state"]) != (0, "new")] == []  # tried again, it went well
    TOLD["a write, sync or move of the system that fails, once or for good"][name] += len(rows)


def test_the_failures_are_counted():
    for kind, by_format in TOLD.items():
        found = f"{by_format.total()} told, none silent, in {len(by_format)} formats"
        keep("G14", kind, found, by_format.total())
