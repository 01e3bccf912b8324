"""Count the lines and branches of the core that its nearest tests run: ``python -m tests.trust.branches [ROOM …]``."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import ASKED, keep
from builders.paths import ROOT

from trust.core import CORE


def main() -> int:
    """Print and keep the share of each room, with what is not run; return 1 where its tests failed."""
    failed = 0
    environment = {name: value for name, value in os.environ.items() if name != ASKED}  # the tests' own figures stay
    for name in sys.argv[1:] or CORE:
        room = CORE[name]
        with TemporaryDirectory() as folder:
            report = Path(folder, "coverage.json")
            options = ["--cov=pegline", "--cov-branch", f"--cov-report=json:{report}", "-p", "no:cacheprovider"]
            command = [sys.executable, "-m", "pytest", "-q", "--no-header", *options, *room.tests]
            run = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
            files = json.loads(report.read_text(encoding="utf-8"))["files"]
        done = of = 0
        for path in room.paths():
            found = files[path]
            done += found["summary"]["covered_lines"] + found["summary"]["covered_branches"]
            of += found["summary"]["num_statements"] + found["summary"]["num_branches"]
            if found["missing_lines"] or found["missing_branches"]:
                print(f"{path}: lines {found['missing_lines']}, branches {found['missing_branches']}")
        print(f"{name}: {done} of {of}; {run.stdout.strip().splitlines()[-1]}", flush=True)
        failed += run.returncode != 0
        keep("G20", f"lines and branches of {name} run by its nearest tests", f"{done / of:.1%}", of)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
