"""Times two commands turn and turn about and prints the ratio of their medians, with the spread of the pairwise ratios.

    python tests/bench/compare.py [-n 7] --ours 'pegline plot BOOK --out OUT' --reference 'python reference.py BOOK OUT'

Only ratios within one run tell anything on a machine that others use too; below about 1.4 they are noise, and
processor seconds are steadier than the clock's.
"""

from __future__ import annotations

import argparse
import os
import shlex
import statistics
import subprocess
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

UNITS = ("wall s", "cpu s", "peak MB")


def once(command: Sequence[str]) -> tuple[float, float, float]:
    """Return wall seconds, processor seconds and peak memory (MB) of one run."""
    # As installed: an installer compiles modules once, so no run may have to because it is forbidden to keep them.
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment.setdefault("PYTHONPYCACHEPREFIX", str(Path(tempfile.gettempdir(), "pegline-bench-compiled")))
    begin = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 1):
        raise SystemExit(f"failed: {shlex.join(command)}")
    return time.perf_counter() - begin, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def compare_runs(what: str, ours: Sequence[str], reference: Sequence[str], runs: int, aim: str = "") -> None:
    """Run both, turn and turn about, and print how they compare; the first pair is not counted."""
    if runs > 1:
        once(ours), once(reference)
    pairs = [(once(ours), once(reference)) for _ in range(runs)]
    print(what + (f" ({aim})" if aim else ""))
    for k, unit in enumerate(UNITS):
        ratios = sorted(one[k] / other[k] for one, other in pairs)
        middle = [statistics.median(pair[side][k] for pair in pairs) for side in (0, 1)]
        print(
            f"  {unit:8} ours {middle[0]:8.3f}  reference {middle[1]:8.3f}"
            f"  ratio {statistics.median(ratios):5.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})",
            flush=True,
        )


def main() -> None:
    """Compare what the arguments say."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=7, help="pairs of runs")
    parser.add_argument("--ours", required=True)
    parser.add_argument("--reference", required=True)
    args = parser.parse_args()
    compare_runs(args.ours, shlex.split(args.ours), shlex.split(args.reference), args.n)


if __name__ == "__main__":
    main()
