"""Line types with letters in them, so that a fence with its crosses or a hedge with its leaves is one line to edit.

The versions after R12 have them. A letter is drawn in the drawing's own style of text; programs that do not know such
line types draw the line unbroken. A mark that no letter is like (the tooth of a retaining wall) stays a symbol of its
own in the group of its line.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import close_ring
from pegline.plan.map.features import OTHER_FACE
from pegline.plan.model import Feature
from pegline.plan.style import KIND_LOOKS
from pegline.records import record

__all__ = ["LetteredLine", "add_lettered_lines", "lettered_line", "too_short_for"]


@record(frozen=True, slots=True)
class LetteredLine:
    """A line type with a letter; lengths in paper millimetres."""

    name: str
    about: str
    before: tuple[float, ...]  #: dashes (+), gaps (-) and dots (0) before the letter, a gap last
    letter: str
    height: float  #: of capitals in the letter's size
    middle: tuple[float, float]  #: of the letter's ink from where it begins, in that height
    after: tuple[float, ...]  #: what follows the letter, a gap first

    @property
    def length(self) -> float:
        """Return the length of the pattern."""
        return sum(map(abs, (*self.before, *self.after)))


#: By the symbol that stands along a line on paper. Middles of letters are those of a plain sans-serif typeface.
LETTERED_LINES: Final[Mapping[str, LetteredLine]] = {
    "fence-cross": LetteredLine(
        "FENCE-CROSSES", "fence", (5.0, -1.5, 2.0, -0.5), "X", 1.2, (0.47, 0.5), (-0.5, 2.0, -1.5)
    ),
    "leaf": LetteredLine("HEDGE-LEAVES", "hedge", (0.9, -1.1), "~", 2.5, (0.41, 0.48), (-1.1, 0.9)),
    "bank-tick": LetteredLine("BANK-TICKS", "top of a bank", (1.9, -0.1), "|", 1.4, (0.18, 0.36), (-0.1, 1.9)),
    "wire-loop": LetteredLine(
        "WIRE-LOOPS",
        "wire overhead",
        (5.0, -1.0, 0.0, -1.0, 0.0, -1.0, 3.9, -0.6),
        "O",
        1.2,
        (0.54, 0.5),
        (-0.6, 3.9, -1.0),
    ),
}


def lettered_line(feature: Feature) -> LetteredLine | None:
    """Return the line type whose letters show a feature's kind; None for what has none, or is another's second face."""
    look = KIND_LOOKS.get(feature.kind)
    if look is None or look.tuft is None or not isinstance(feature.geometry, Path):
        return None
    if feature.spine is not None or feature.name.endswith(OTHER_FACE):
        return None
    return LETTERED_LINES.get(look.tuft)


def too_short_for(line: LetteredLine, path: Path, unit_per_mm: float) -> bool:
    """Return whether no piece of a line is long enough for a letter, so that the pattern must run on past corners."""
    steps = np.diff(close_ring(path.vertices, closed=path.closed), axis=0)
    return bool(np.hypot(*steps.T).max(initial=0.0) < line.length * unit_per_mm)


def add_lettered_lines(doc: Any, lines: Iterable[LetteredLine], style: str, mm: float) -> None:
    """Define line types, a millimetre of paper being ``mm`` of the drawing."""
    for line in dict.fromkeys(lines):
        (x, y), height = line.middle, line.height * mm
        letter = f'["{line.letter}",{style},S={height:.12f},R=0.0,X={-x * height:.12f},Y={-y * height:.12f}]'
        pattern = [
            *(f"{part * mm:.12f}" for part in line.before),
            letter,
            *(f"{part * mm:.12f}" for part in line.after),
        ]
        about = f"{line.about} ----{line.letter}----{line.letter}----"
        doc.linetypes.add(line.name, ",".join(["A", *pattern]), length=line.length * mm, description=about)
