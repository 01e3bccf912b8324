"""The table of goals, made of the figures that are kept and of nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from builders.figures import Figure

from trust.goals import GOALS

__all__ = ["DOCUMENT", "with_table"]

DOCUMENT: Final = "DEVELOPERS.md"
BEGIN: Final = "<!-- goals reached, written by python -m tests.trust -->\n"
END: Final = "<!-- end of goals reached -->\n"


def with_table(document: str, figures: Sequence[Figure]) -> str:
    """Return a document with the table between its two marks."""
    before, _, rest = document.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}{table(figures)}{END}{after}"


def table(figures: Sequence[Figure]) -> str:
    """Return a row for each figure, and one for each goal that has none."""
    lines = ["| goal | measured | reached | cases | day | by |", "| --- | --- | --- | --- | --- | --- |"]
    for name, goal in GOALS.items():
        own = [figure for figure in figures if figure.goal == name]
        held = f"no figure kept; asserted in part by `{goal.asserted}`" if goal.asserted else "no figure kept"
        lines.append(f"| **{name}** {goal.aim} | {'' if own else held} | | | | |")
        lines += [f"| | {f.what} | {f.reached} | {f.count:,} | {f.day} | `{f.command}` |" for f in own]
    return "\n".join(lines) + "\n"
