"""Write the table of goals in DEVELOPERS.md anew from the figures that are kept; with --measure, measure some first."""

from __future__ import annotations

import argparse
import os
import shlex
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import ADDED_UP, ASKED, FOLDER, kept
from builders.paths import ROOT

from trust.goals import GOALS
from trust.table import DOCUMENT, with_table


def measure(goal: str) -> int:
    """Run what measures a goal; return how many of its runs failed."""
    failed = 0
    for command in GOALS[goal].commands:
        for figure in kept():
            if (figure.goal, figure.command) == (goal, command) and goal not in ADDED_UP:
                figure.path.unlink()
        words = shlex.split(command)
        module = ["-m", "pytest", "-q"] if words[0] == "pytest" else []
        print(f"+ {command}", flush=True)
        environment = {**os.environ, ASKED: command}
        run = subprocess.run([sys.executable, *module, *words[1:]], cwd=ROOT, env=environment, check=False)
        failed += run.returncode != 0
    return failed


def main() -> int:
    """Measure what is asked for, write the table, and return 1 where a run failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.trust", description=__doc__)
    parser.add_argument("--measure", nargs="+", default=[], choices=tuple(GOALS), metavar="GOAL", help="G1 to G20")
    args = parser.parse_args()
    failed = sum(map(measure, args.measure))
    document = ROOT / DOCUMENT
    document.write_text(with_table(document.read_text(encoding="utf-8"), kept()), encoding="utf-8")
    print(f"{DOCUMENT}: {len(kept())} figures of {FOLDER.relative_to(ROOT)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
