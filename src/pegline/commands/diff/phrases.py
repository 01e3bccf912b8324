"""Differences in words: so much east and north, or along the base line and aside."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import hypot

from pegline.commands.diff.results import Result
from pegline.diagnosis.rules.phrases import number_with_noun
from pegline.measures.notation import METRIC, Notation

__all__ = ["Line", "failure_lines", "not_in_both", "small_difference", "small_length", "way"]

#: A line to print, with whether it is about something that moved, or about a failed check.
Line = tuple[str, bool]


def small_length(metres: float, notation: Notation) -> str:
    """Return a length as differences are shown: millimetres, or the unit of a book that is not metric.

    >>> from pegline.measures.notation import METRES
    >>> small_length(0.0714, METRES)
    '71 mm'
    """
    return f"{1000 * metres:.0f} mm" if notation.units[0] in METRIC else notation.small(metres)


def small_difference(metres: float, notation: Notation) -> str:
    """Return a difference with its sign, as ``small_length`` writes it."""
    return f"{1000 * metres:+.0f} mm" if notation.units[0] in METRIC else notation.signed_length(metres)


def way(difference: Iterable[float], result: Result) -> str:
    """Return how far and which way something lies from where it was, in the words of a survey."""
    x, y = (float(value) for value in difference)
    along = ("east", "west") if result.faces else ("along the base line", "back along the base line")
    aside = ("north", "south") if result.faces else ("to its left", "to its right")
    far, right, up = (small_length(abs(value), result.notation) for value in (hypot(x, y), x, y))
    return f"{far} ({right} {along[x < 0]}, {up} {aside[y < 0]})"


def failure_lines(result: Result, which: str) -> Iterator[Line]:
    """Yield what there is to say of a survey that failed checks of its own; ``which`` is it, old or new."""
    failed = result.passed.count(False)
    if not failed:
        return
    checks = f"{failed} of {number_with_noun(len(result.passed), 'check')}"
    survey = f"The {which} survey, {result.file}"
    if result.closes:
        yield f"{survey}, FAILED {checks}; its framework of stations passed, what the failed checks name did not.", True
    else:
        yield f"{survey}, FAILED {checks}; do not use its positions yet.", True
    yield "  Run 'pegline check' on its book.", True


def not_in_both(old: Result, new: Result, gone: str) -> Iterator[Line]:
    """Yield the stations that only one of two has."""
    was, now = dict.fromkeys(old.stations.names), dict.fromkeys(new.stations.names)
    yield from ((f"  {name}: new", False) for name in now if name not in was)
    yield from ((f"  {name}: {gone}", False) for name in was if name not in now)
