"""Differences in words: millimetres east and north, or along the base line and aside."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import hypot

from pegline.jobs.diff.result import Result

__all__ = ["Line", "counted", "not_in_both", "way"]

#: A line to print, with whether it tells of something that moved.
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


def not_in_both(old: Result, new: Result, gone: str) -> Iterator[Line]:
    """Yield the stations that only one of two has."""
    was, now = dict.fromkeys(old.stations.names), dict.fromkeys(new.stations.names)
    yield from ((f"  {name}: new", False) for name in now if name not in was)
    yield from ((f"  {name}: {gone}", False) for name in was if name not in now)
