"""Words that were meant for others: what an unknown word is likely a slip for."""

from __future__ import annotations

from collections.abc import Collection
from difflib import SequenceMatcher

__all__ = ["nearest", "suggest"]


def nearest(word: str, options: Collection[str], *, likeness: float = 0.6) -> str | None:
    """Return the option that ``word`` is most likely a slip for, or None where none is near it.

    Near are words of the same letters, or that differ by one slip of the pen or by one in four of their letters:
    many words that mean something else have half of their letters in common.

    >>> nearest("tapped", ["taped", "tape", "use"])
    'taped'
    >>> nearest("mentions", ["dimensions", "stations"]) is None
    True
    """
    folded = word.casefold()
    matcher = SequenceMatcher(None, "", folded, autojunk=False)
    best = None
    for option in sorted(options, key=lambda option: (abs(len(option) - len(word)), option)):
        other = option.casefold()
        matcher.set_seq1(other)
        if matcher.real_quick_ratio() >= likeness and matcher.quick_ratio() >= likeness:
            ratio = matcher.ratio()
            is_better = ratio > likeness or (best is None and ratio == likeness)
            if is_better and _is_near(folded, other):
                best, likeness = option, ratio
    return best


def _is_near(one: str, other: str) -> bool:
    return _slips(one, other) <= max(1, len(one) // 4, len(other) // 4) or sorted(one) == sorted(other)


def _slips(one: str, other: str) -> int:
    """Return how many letters must be changed, left out, put in or exchanged with the next to make one word another.

    The distance of optimal string alignment.

    >>> _slips("titel", "title"), _slips("norht", "north"), _slips("mentions", "dimensions")
    (1, 1, 3)
    """
    before: list[int] = []
    row = list(range(len(other) + 1))
    for n, letter in enumerate(one):
        before, last, row = row, before, [n + 1]
        for m, beside in enumerate(other):
            slips = min(before[m] + (letter != beside), before[m + 1] + 1, row[m] + 1)
            if n and m and (letter, one[n - 1]) == (other[m - 1], beside):
                slips = min(slips, last[m - 1] + 1)
            row.append(slips)
    return row[-1]


def suggest(word: str, options: Collection[str]) -> str:
    """Return the end of a message about an unknown word: what to do."""
    best = nearest(word, options)
    if best is not None:
        return f"; did you mean {best!r}?"
    if len(options) <= 16 and options:
        return f"; use one of {', '.join(sorted(options))}"
    return "; check its spelling"
