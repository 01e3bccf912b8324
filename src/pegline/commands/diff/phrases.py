"""Differences in words: millimetres east and north, or along the base line and aside."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import hypot

from pegline.commands.diff.results import Result

__all__ = ["Line", "counted", "failing", "not_in_both", "way"]

#: A line to print, with whether it tells of something that moved, or of a check that fails.
Line = tuple[str, bool]


def way(difference: Iterable[float], *, faces: bool) -> str:
    """Return how far and which way something lies from where it was.

    >>> way((0.0714, -0.045), faces=True)
    '84 mm (71 mm east, 45 mm south)'
    """
    x, y = (1000 * float(value) for value in difference)
    along = ("east", "west") if faces else ("along the base line", "back along the base line")
    aside = ("north", "south") if faces else ("to its left", "to its right")
    return f"{hypot(x, y):.0f} mm ({abs(x):.0f} mm {along[x < 0]}, {abs(y):.0f} mm {aside[y < 0]})"


def counted(count: int, word: str) -> str:
    """Return a number with its noun.

    >>> counted(1, "reading"), counted(2, "reading")
    ('1 reading', '2 readings')
    """
    return f"{count} {word}{'s' * (count != 1)}"


def failing(result: Result, which: str) -> Iterator[Line]:
    """Yield what is to say of a survey that fails checks of its own; ``which`` is it, old or new."""
    failed = result.passed.count(False)
    if not failed:
        return
    fails = f"{failed} of {counted(len(result.passed), 'check')} {'fails' if failed == 1 else 'fail'}"
    survey = f"The {which} survey, {result.file}"
    if result.closes:
        yield f"{survey}: {fails}; its stations are sound, but not all that hangs on them.", True
    else:
        yield f"{survey}, does not close: {fails}; its positions are for plotting only.", True
    yield "  Look at what 'pegline check' tells of its book.", True


def not_in_both(old: Result, new: Result, gone: str) -> Iterator[Line]:
    """Yield the stations that only one of two has."""
    was, now = dict.fromkeys(old.stations.names), dict.fromkeys(new.stations.names)
    yield from ((f"  {name}: new", False) for name in now if name not in was)
    yield from ((f"  {name}: {gone}", False) for name in was if name not in now)
