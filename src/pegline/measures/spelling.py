"""Words that were meant for others: what an unknown word is likely a slip for."""

from __future__ import annotations

from collections.abc import Collection
from difflib import SequenceMatcher

__all__ = ["nearest", "suggest"]


def nearest(word: str, options: Collection[str], *, likeness: float = 0.6) -> str | None:
    """Return the option that ``word`` is most likely a slip for, or None where none is so like it (0 to 1).

    >>> nearest("tapped", ["taped", "tape", "use"])
    'taped'
    """
    matcher = SequenceMatcher(None, "", word.casefold(), autojunk=False)
    best = None
    for option in sorted(options, key=lambda option: (abs(len(option) - len(word)), option)):
        matcher.set_seq1(option.casefold())
        if matcher.real_quick_ratio() >= likeness and matcher.quick_ratio() >= likeness:
            ratio = matcher.ratio()
            if ratio > likeness or (best is None and ratio == likeness):
                best, likeness = option, ratio
    return best


def suggest(word: str, options: Collection[str]) -> str:
    """Return the end of a message about an unknown word: what to do."""
    best = nearest(word, options)
    if best is not None:
        return f"; did you mean {best!r}?"
    if len(options) <= 16 and options:
        return f"; use one of {', '.join(sorted(options))}"
    return "; check its spelling"
