"""How a way to set a point out is said, on screen and sheet."""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees

from pegline.commands.setout.ways import ArcsWay, LineWay
from pegline.diagnosis.rules.phrases import list_names
from pegline.measures.notation import Notation

__all__ = ["arcs_sentence", "line_sentence", "unchecked_sentence"]


def line_sentence(way: LineWay, notation: Notation) -> str:
    """Return what to do along a line."""
    at = _length_to_hold(way.at, way.reads_at, notation)
    side = "left" if way.offset > 0 else "right"
    aside = f", {side} {_length_to_hold(abs(way.offset), abs(way.reads_offset), notation)}"
    by = f", right angle by {way.method}" if way.method else ""
    offset = aside + by if abs(way.offset) >= 0.0005 else ", on the line"
    return f"at {at}{offset} (± {notation.accuracy(way.sd)})"


def _length_to_hold(length: float, reads: float, notation: Notation) -> str:
    """Return a length, and what the tape should read where that is another figure."""
    figure, reading = notation.figure(length), notation.figure(reads)
    return notation.length(length) if figure == reading else f"{notation.length(length)} [{reading}]"


def arcs_sentence(way: ArcsWay, notation: Notation) -> str:
    """Return what to swing."""
    held = ", ".join(
        f"{_length_to_hold(length, way.reads[name], notation)} from {name}" for name, length in way.distances.items()
    )
    return f"{held}; cut {degrees(way.angle):.0f}° (± {notation.accuracy(way.sd)})"


def unchecked_sentence(names: Sequence[str]) -> str:
    """Return the warning that a target hangs on points that no check reaches."""
    what = "its row" if len(names) == 1 else "their rows"
    return (
        f"nothing checks {list_names(list(names))}: a mistake in {what} would put this peg wrong unseen. Tape from the"
        " new peg to a checked station, or to something else that is surveyed, before you build on it"
    )
