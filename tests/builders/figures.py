"""Figures that tests measure, kept for the table of goals: only where a run was asked to keep them."""

from __future__ import annotations

import json
import os
import re
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from builders.paths import ROOT

__all__ = ["ADDED_UP", "FOLDER", "Figure", "add", "keep", "kept"]

FOLDER: Final = ROOT / "tests" / "trust" / "figures"
ADDED_UP: Final = frozenset({"G4"})  #: goals whose figures are of all runs together
ASKED: Final = "PEGLINE_KEEP_FIGURES"  #: the environment's name of the command that measures


@dataclass(frozen=True, order=True)
class Figure:
    """What one run measured of one goal."""

    goal: str  #: G1 to G20
    what: str  #: what was measured
    reached: str  #: the figure, with its unit
    count: int  #: cases that it is of
    day: str
    command: str  #: that measures it again

    @property
    def path(self) -> Path:
        """Return where the figure is kept."""
        return FOLDER / f"{self.goal}-{re.sub('[^a-z0-9]+', '-', self.what.lower()).strip('-')}.json"


def keep(goal: str, what: str, reached: str, count: int) -> None:
    """Keep a figure, where the run was started by ``python -m tests.trust --measure``."""
    command = os.environ.get(ASKED)
    if command is None:
        return
    figure = Figure(goal, what, reached, count, datetime.now(UTC).date().isoformat(), command)
    FOLDER.mkdir(exist_ok=True)
    figure.path.write_text(json.dumps(asdict(figure), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def add(goal: str, what: str, *, hours: float, faults: int, count: int) -> None:
    """Keep a figure of all runs together: what an earlier one kept is added to it."""
    for earlier in kept():
        if (earlier.goal, earlier.what) == (goal, what):
            words = earlier.reached.split()
            hours, faults, count = hours + float(words[3]), faults + int(words[0]), count + earlier.count
    keep(goal, what, f"{faults} faults in {hours:.3f} hours of all runs", count)


def kept() -> list[Figure]:
    """Return every figure that is kept, in the order of the goals."""
    figures = (Figure(**json.loads(path.read_text(encoding="utf-8"))) for path in FOLDER.glob("*.json"))
    return sorted(figures, key=lambda figure: (int(figure.goal[1:]), figure.what))
