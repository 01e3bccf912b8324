"""Writes a format over and over while calls of the system fail in turn: ``failing_calls.py FOLDER FORMAT PLACES``.

Prints one JSON row for each failure: where it was, how it failed, how the writing ended, and what lay there then.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import subprocess
import sys
import traceback
from pathlib import Path
from typing import Any, Final

__all__ = ["LIBRARY", "build", "failures"]

LIBRARY: Final = "PEGLINE_FAILING_CALLS"  #: the environment's name of the library
OLD: Final = b"what stood there before"
#: How calls fail, in turn: the error, and whether every further call fails too.
MANNERS: Final = (
    *((errno.ENOSPC, True), (errno.EDQUOT, True), (errno.EIO, False)),
    *((errno.EROFS, True), (errno.EACCES, False), (errno.ENOSPC, False)),
)


def build(folder: Path) -> Path:
    """Compile the library and return it."""
    library = folder / "failing_calls.so"
    source = Path(__file__).with_suffix(".c")
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", library, source, "-ldl"], check=True)
    return library


def failures(library: Path, folder: Path, name: str, places: int) -> list[dict[str, Any]]:
    """Write a format in a process of its own, calls failing at so many places, and return what came of each."""
    environment = {**os.environ, "LD_PRELOAD": f"{library}", LIBRARY: f"{library}"}
    command = [sys.executable, __file__, f"{folder}", name, f"{places}"]
    run = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return [{**json.loads(row), "said": run.stderr} for row in run.stdout.splitlines()]


def main(root: Path, name: str, places: int) -> None:
    """Write, and print the rows."""
    sys.path.insert(0, str(Path(__file__).parents[1]))
    from builders.sound_book import ON_A_GRID
    from pegline.readers import parse_book
    from pegline.survey import input_of_writers, publish_drawn, reduce

    calls = ctypes.CDLL(os.environ[LIBRARY])
    survey = reduce(parse_book(ON_A_GRID.encode(), "weir.yaml"))
    drawn = input_of_writers(survey, (name,))
    whole = publish_drawn(drawn, survey, root / "whole", (name,))
    new = {path.name: path.read_bytes() for path in whole}
    folder = root / "now"

    def written(failing: int, error: int, for_good: bool) -> tuple[int, int]:
        """Write in a child; return its status and how many calls it made."""
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        for file in new:
            (folder / file).write_bytes(OLD)
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            status = 70
            try:
                calls.fail_call(str(folder).encode(), failing, error, for_good)
                publish_drawn(drawn, survey, folder, (name,))
                status = 0
            except Exception as fault:
                status = getattr(fault, "status", 70)
                if status == 70:
                    traceback.print_exc()
            finally:
                os.write(writing, str(calls.calls_counted()).encode())
                os._exit(status)
        os.close(writing)
        with os.fdopen(reading) as pipe:
            counted = int(pipe.read() or -1)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), counted

    status, count = written(-1, 0, False)
    assert (status, state(folder, new)) == (0, "new")
    chosen = (
        sorted({round(n * (count - 1) / max(1, places - 1)) for n in range(places)}) if places < count else range(count)
    )
    for number, place in enumerate(chosen):
        error, for_good = MANNERS[number % len(MANNERS)]
        status, _ = written(place, error, for_good)
        row = {"format": name, "place": place, "of": count, "error": errno.errorcode[error], "for_good": for_good}
        print(json.dumps({**row, "status": status, "state": state(folder, new)}))


def state(folder: Path, new: dict[str, bytes]) -> str:
    """Return what a folder holds: 'old', 'new', 'mixed' where that is told of it, or what else it is."""
    from pegline.commands.verify import states_of_files

    now = {name: (folder / name).read_bytes() if (folder / name).exists() else b"" for name in new}
    left = [path.name for path in folder.iterdir() if path.name.startswith(".")]
    if left:
        return f"left: {left}"
    if all(data == OLD for data in now.values()):
        return "old"
    faults = [fault for state in states_of_files(folder, None) for fault in state.faults]
    if any("mixed" in fault for fault in faults):
        return "mixed"
    if now != new:
        return f"damaged: {[name for name in new if now[name] not in (OLD, new[name])]}, {faults}"
    return "new" if not faults else f"new, but {faults}"


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
