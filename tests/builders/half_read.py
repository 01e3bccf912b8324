"""Books of which some readings are hard to read: each is given beside what a slip would make of it."""

from __future__ import annotations

import re
from random import Random

from builders.book import book_text
from builders.party import REALISTIC
from builders.plot import Plot
from builders.slips import SLIPS

__all__ = ["half_read"]

#: What a faded figure may be taken for.
FADED = ("digits exchanged", "6 and 9", "1 and 7", "3 and 8", "one unit more", "one unit less", "ten units more")


def half_read(plot: Plot, seed: int, *, count: int) -> tuple[str, list[str]]:
    """Return a book with so many of its lines and dimensions left open, and how each was read, in its order."""
    random = Random(f"half read {seed}")
    text = book_text(plot, errors=REALISTIC, seed=seed)
    found = list(re.finditer(r"(?<=taped: )[\d.]+(?=\n)", text))
    some = sorted(random.sample(found, count), key=re.Match.start)
    parts, end = [], 0
    for match in some:
        either = [match[0], _mistaken(random, match[0])]
        random.shuffle(either)
        parts += [text[end : match.start()], f"{{either: [{', '.join(either)}]}}"]
        end = match.end()
    return "".join([*parts, text[end:]]), [match[0] for match in some]


def _mistaken(random: Random, read: str) -> str:
    """Return what a reading may be taken for."""
    while True:
        try:
            other = SLIPS[random.choice(FADED)](read, 50.0, 50.0)
        except ValueError:
            continue
        if float(other) > 0 and other != read:
            return other
