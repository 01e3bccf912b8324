"""Small surveys with a mistake in them: drawn, read by a tape, spoilt as people spoil readings, and written as a book.

Nothing of pegline makes the readings or the mistakes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import ceil, dist, sqrt
from typing import Final

import numpy as np

__all__ = ["LAYOUTS", "MISTAKES", "Mistaken", "survey_of"]

XY = tuple[float, float]

TAPE, LAY_SD, SCALE_SD, RANGING_SD = 30.0, 0.005, 1 / 5000, 0.020  # steel (common practice)
LEAST, MOST = 0.3, 6.0  #: of a mistake of any size, metres

#: line: use. The base A-B carries T1 and T2, A-C carries U.
FRAME: Final = {"A-B": "base", "A-C": "side", "C-B": "side", "A-D": "side", "D-B": "side"}
#: check lines by their number, several ways to lay each
LAYOUTS: Final = {
    1: (("C-D",), ("T1-C",)),
    2: (("C-D", "T1-C"), ("T1-C", "T2-D"), ("C-D", "U-D")),
    3: (("C-D", "T1-C", "T2-D"), ("C-D", "T1-C", "U-D"), ("T1-C", "T2-D", "U-D")),
}
PEGS: Final = {"T1": "A-B", "T2": "A-B", "U": "A-C"}


@dataclass(frozen=True)
class Mistaken:
    """A survey as booked."""

    at: Mapping[str, XY]  #: true places, metres
    lines: Mapping[str, str]  #: use of each line
    read: Mapping[str, str]  #: booked length of each line, and chainage of each peg
    tape: float | None = TAPE  #: length of the tape that the book names; None where it names none
    wrong: tuple[str, ...] = ()  #: the readings that are wrong
    extra: tuple[str, ...] = field(default=())  #: more sections of the book

    @property
    def pegs(self) -> Mapping[str, str]:
        """Return the line of each peg."""
        return {peg: line for peg, line in PEGS.items() if peg in self.read}

    @property
    def text(self) -> str:
        """Return the book."""
        book = [
            "book: 1",
            "unit: m",
            *self._tapes,
            "stations:",
            "  C: {left_of: A-B}",
            "  D: {right_of: A-B}",
            "lines:",
        ]
        for line, use in self.lines.items():
            rows = [f"{{at: {self.read[peg]}, station: {peg}}}" for peg, of in self.pegs.items() if of == line]
            details = f", details: [{', '.join(rows)}]" if rows else ""
            book.append(f"  {line}: {{use: {use}, taped: {self.read[line]}{details}}}")
        return "\n".join([*book, *self.extra, ""])

    @property
    def _tapes(self) -> tuple[str, ...]:
        if self.tape is None:
            return ()
        return f"tapes: {{s: {{material: steel, length: {self.tape:g}}}}}", "default_tape: {lines: s, offsets: s}"

    def where(self, name: str) -> int:
        """Return the row of the book where a reading stands."""
        key = f"  {PEGS.get(name, name)}:"
        return next(n for n, row in enumerate(self.text.splitlines(), 1) if row.startswith(key))


def survey_of(random: np.random.Generator, checks: int, layout: int | None = None, *, size: float = 1.0) -> Mistaken:
    """Return a survey without a mistake, read to the centimetre."""
    extra = LAYOUTS[checks][int(random.integers(len(LAYOUTS[checks]))) if layout is None else layout]
    base = random.uniform(35, 70) * size
    apex = {
        name: (random.uniform(0.2, 0.8) * base, side * random.uniform(0.4, 0.8) * base)
        for name, side in (("C", 1), ("D", -1))
    }
    at: dict[str, XY] = {"A": (0.0, 0.0), "B": (base, 0.0), **apex}
    shares = {"T1": random.uniform(0.25, 0.45), "T2": random.uniform(0.55, 0.75), "U": random.uniform(0.4, 0.7)}
    scale = 1 + random.normal(0, SCALE_SD)
    read = {}
    for peg, line in PEGS.items():
        if any(peg in check for check in extra):
            (x1, y1), (x2, y2) = (at[end] for end in line.split("-"))
            length, off = dist((x1, y1), (x2, y2)), random.normal(0, RANGING_SD)
            share = shares[peg]
            at[peg] = (
                x1 + share * (x2 - x1) - off * (y2 - y1) / length,
                y1 + share * (y2 - y1) + off * (x2 - x1) / length,
            )
            read[peg] = taped_length(share * length, scale, random)
    lines = FRAME | dict.fromkeys(extra, "check")
    read |= {line: taped_length(dist(*(at[end] for end in line.split("-"))), scale, random) for line in lines}
    return Mistaken(at, lines, {name: f"{value:.2f}" for name, value in read.items()})


def taped_length(length: float, scale: float, random: np.random.Generator) -> float:
    """Return one reading."""
    return length * scale + random.normal(0, LAY_SD * sqrt(max(1, ceil(length / TAPE))))


# --- mistakes -----------------------------------------------------------------------------------------------------


def usual(text: str, random: np.random.Generator, tape: float = TAPE) -> str:
    """Return a reading spoilt in a usual way: a tape dropped, units misread, digits exchanged or confused."""
    for _ in range(100):
        kind = random.choice(["tape", "unit", "exchanged", "confused"], p=[0.3, 0.3, 0.2, 0.2])
        value = float(text)
        if kind == "tape":
            other = f"{value + random.choice([-1, -1, -1, 1]) * tape:.2f}"
        elif kind == "unit":
            other = f"{value + random.choice([-1, 1]) * random.choice([1, 5, 10]):.2f}"
        elif kind == "exchanged":
            at = [n for n, sign in enumerate(text) if sign.isdigit()]
            k = int(random.integers(len(at) - 1))
            signs = list(text)
            signs[at[k]], signs[at[k + 1]] = signs[at[k + 1]], signs[at[k]]
            other = "".join(signs)
        else:
            alike = {"6": "9", "9": "6", "1": "7", "7": "1", "3": "8", "8": "3"}
            at = [n for n, sign in enumerate(text) if sign in alike]
            if not at:
                continue
            k = int(random.choice(at))
            other = text[:k] + alike[text[k]] + text[k + 1 :]
        if other != text and float(other) > 0.5 and abs(float(other) - value) >= LEAST:
            return other
    return any_size(text, random)


def any_size(text: str, random: np.random.Generator, _: float = TAPE) -> str:
    """Return a reading spoilt by any amount."""
    while True:
        other = float(text) + random.choice([-1, 1]) * random.uniform(LEAST, MOST)
        if other > 0.5:
            return f"{other:.2f}"


def one_wrong(survey: Mistaken, random: np.random.Generator, spoil: Callable[..., str] | None = None) -> Mistaken:
    """Return the survey with one reading wrong, half of them in a usual way."""
    name = str(random.choice(list(survey.read)))
    how = spoil or (usual if random.random() < 0.5 else any_size)
    return replace(survey, read={**survey.read, name: how(survey.read[name], random)}, wrong=(name,))


def exchange_lines(survey: Mistaken, random: np.random.Generator) -> Mistaken:
    """Return the survey with the readings of two lines exchanged that differ enough to matter."""
    lines = list(survey.lines)
    for _ in range(100):
        one, other = random.choice(lines, 2, replace=False)
        if abs(float(survey.read[one]) - float(survey.read[other])) >= LEAST:
            break
    read = {**survey.read, one: survey.read[other], other: survey.read[one]}
    return replace(survey, read=read, wrong=(str(one), str(other)))


def two_wrong(survey: Mistaken, random: np.random.Generator) -> Mistaken:
    """Return the survey with two readings wrong."""
    names = [str(name) for name in random.choice(list(survey.read), 2, replace=False)]
    read = dict(survey.read)
    for name in names:
        read[name] = (usual if random.random() < 0.5 else any_size)(read[name], random)
    return replace(survey, read=read, wrong=tuple(names))


def base_short(survey: Mistaken, random: np.random.Generator) -> Mistaken:
    """Return the survey with its base line 30 m short."""
    read = f"{float(survey.read['A-B']) - 30:.2f}"
    return replace(survey, read={**survey.read, "A-B": read}, wrong=("A-B",))


def peg_out_of_line(survey: Mistaken, random: np.random.Generator) -> Mistaken:
    """Return the survey with a peg 0.6 m beside its line."""
    peg = str(random.choice(list(survey.pegs)))
    (x1, y1), (x2, y2) = (survey.at[end] for end in PEGS[peg].split("-"))
    length, off = dist((x1, y1), (x2, y2)), 0.6 * random.choice([-1, 1])
    x, y = survey.at[peg]
    there = (x - off * (y2 - y1) / length, y + off * (x2 - x1) / length)
    read = dict(survey.read)
    for line in survey.lines:
        if peg in line.split("-"):
            other = next(end for end in line.split("-") if end != peg)
            now, then = dist(survey.at[peg], survey.at[other]), dist(there, survey.at[other])
            read[line] = f"{float(read[line]) + then - now:.2f}"
    return replace(survey, at={**survey.at, peg: there}, read=read, wrong=(f"{peg} out of line",))


MISTAKES: Final = {
    "one": one_wrong,
    "any size": lambda survey, random: one_wrong(survey, random, any_size),
    "exchanged": exchange_lines,
    "two": two_wrong,
    "base short": base_short,
    "peg": peg_out_of_line,
}
