"""Count the lines and branches of the whole package that any test runs: ``python -m tests.trust.everything``.

What runs in a process of its own is counted too: the commands that tests start, the desk, and the workers of an
archive; of one that is killed at once only what it had written down. Folder by folder, so that a run that is cut off
goes on where it stood: ``--data DIR`` keeps what was counted, and ``--only`` names folders or files; of some of them
alone the share is told as a lower bound. What a page of the desk does in a browser is not Python and not counted.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import keep
from builders.paths import ROOT

#: The folders of tests, those that run most of the package in the shortest time first; the examples in the package too.
FOLDERS: Final = (
    *(f"tests/{name}" for name in ("book", "readers", "measures", "reduction", "detail", "writers", "plan", "frame")),
    *(f"tests/{name}" for name in ("commands", "diagnosis", "network", "published", "certified", "end_to_end")),
    *("src", "tests/reliability", "tests/fuzz", "tests/simulation"),
)
SETTINGS: Final = """
[run]
branch = true
source = pegline
data_file = {data}/.coverage
patch = subprocess
concurrency = thread, multiprocessing
sigterm = true
disable_warnings = no-data-collected, module-not-imported, module-not-measured
[report]
exclude_also =
    if sys\\.platform == "win32":
    and os\\.name == "nt":
    if TYPE_CHECKING:
    ^\\s*\\.\\.\\.$
"""


def count(data: Path, tests: list[str]) -> bool:
    """Run tests and add what they run to what was counted; return whether all passed."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "CI": "1"}
    coverage = [sys.executable, "-m", "coverage", "run", f"--rcfile={data / 'coveragerc'}", "-m"]
    command = [*coverage, "pytest", "-q", "--no-header", "-p", "no:cacheprovider", "-p", "no:cov", *tests]
    run = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    print(f"{' '.join(tests)}: {(run.stdout.strip().splitlines() or [run.stderr])[-1]}", flush=True)
    print(*(line for line in run.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))), sep="\n", flush=True)
    return run.returncode == 0


def summary(data: Path) -> dict[str, dict[str, int]]:
    """Return what was counted of each file, by its path; that of every process is put together."""
    rules = f"--rcfile={data / 'coveragerc'}"
    for words in (["combine", "-q", "--append", rules], ["json", "-q", rules, "-o", str(data / "report.json")]):
        subprocess.run([sys.executable, "-m", "coverage", *words], cwd=ROOT, check=False, capture_output=True)
    files = json.loads((data / "report.json").read_text(encoding="utf-8"))["files"]
    return {path: found["summary"] for path, found in files.items()}


def main() -> int:
    """Print the share of each file that is not whole, keep that of all, and return 1 where a test failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.trust.everything", description=__doc__)
    parser.add_argument("--data", type=Path, default=ROOT / "out" / "coverage", help="the folder of what is counted")
    parser.add_argument("--only", nargs="+", metavar="FOLDER", help="tests to run; none named anew are taken as done")
    args = parser.parse_args()
    data = args.data.resolve()
    data.mkdir(parents=True, exist_ok=True)
    (data / "coveragerc").write_text(SETTINGS.format(data=data), encoding="utf-8")
    done = data / "done.txt"
    counted = done.read_text(encoding="utf-8").split("\n") if done.exists() else []
    top = sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "tests").glob("test_*.py"))
    failed = 0
    for folder in args.only or (*FOLDERS, "top"):
        if folder in counted:
            continue
        failed += not count(data, top if folder == "top" else [folder])
        done.write_text("\n".join(counted := [*counted, folder]), encoding="utf-8")
    found = summary(data)
    for path, each in sorted(found.items(), key=lambda one: one[1]["missing_lines"] + one[1]["missing_branches"]):
        if each["missing_lines"] or each["missing_branches"]:
            print(f"{path}: {each['percent_covered']:.1f} %, {each['missing_lines']} lines and", end=" ")
            print(f"{each['missing_branches']} branches are not run")
    run = sum(each["covered_lines"] + each["covered_branches"] for each in found.values())
    of = sum(each["num_statements"] + each["num_branches"] for each in found.values())
    reached = f"{'' if {*FOLDERS, 'top'} <= set(counted) else 'at least '}{run / of:.1%}"
    keep("G20", "lines and branches of everything run by its tests", reached, of)
    print(f"everything: {run} of {of}, {reached}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
