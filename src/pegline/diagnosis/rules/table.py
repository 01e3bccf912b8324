"""The table of rules: every rule by its name, its limit, and whether the book silences it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from difflib import get_close_matches
from itertools import islice
from typing import Final, Literal

import numpy as np

from pegline.book.model import Book
from pegline.diagnosis.rules import impossible, lost_points, thumb
from pegline.diagnosis.rules.phrases import base_place
from pegline.diagnosis.rules.thumb import FAR_TIMES, PAPER, Limit, Remarks
from pegline.errors import Finding
from pegline.records import record
from pegline.solved import Solved

__all__ = ["RULES", "Rule", "rule_findings", "silence_findings"]

MAX_TOLD_OF_RULE: Final = 20  #: times that one rule is told of one book; more are counted


@record(frozen=True, slots=True)
class Rule:
    """A row of ``RULES``."""

    find: Callable[[Solved, object], Remarks]  #: yields what to say
    default: Limit = None  #: its limit: metres or radians, metres on paper, a count, or standard deviations
    key: Literal["offset", "oblique", "angle"] | None = None  #: the key of ``limits`` that moves it


def _row(
    find: Callable[..., Remarks], default: Limit = None, key: Literal["offset", "oblique", "angle"] | None = None
) -> Rule:
    return Rule(find, default, key)


RULES: Final[dict[str, Rule]] = {
    "far-chainage": _row(lost_points.far_chainage, FAR_TIMES),
    "far-offset": _row(lost_points.far_offset),
    "odd-size": _row(lost_points.odd_size, 40.0),
    "finer-than-a-tape": _row(lost_points.finer_than_a_tape),
    "decimals-among-inches": _row(lost_points.decimals_among_inches),
    "long-offset": _row(thumb.long_offset, 10.0, "offset"),
    "long-oblique": _row(thumb.long_oblique, None, "oblique"),
    "weak-angle": _row(thumb.weak_angle, (float(np.radians(30)), float(np.radians(120))), "angle"),
    "base-not-longest": _row(thumb.base_not_longest),
    "unchecked-figure": _row(thumb.unchecked_figure),
    "no-bearing": _row(thumb.no_bearing),
    "linen-on-line": _row(thumb.linen_on_line),
    "few-witnesses": _row(thumb.few_witnesses, 3.0),
    "chainage-off-line": _row(thumb.chainage_off_line, 3.0),
    "coarse-curve": _row(thumb.coarse_curve, PAPER),
    "coarse-detail": _row(thumb.coarse_detail, PAPER),
    "single-reading": _row(thumb.single_reading),
    "weak-witnesses": _row(thumb.weak_witnesses, float(np.radians(30))),
    "same-point": _row(impossible.same_point, 0.1),
    "house-in-the-way": _row(impossible.house_in_the_way),
    "buildings-overlap": _row(impossible.buildings_overlap),
    "line-through-house": _row(impossible.line_through_house),
    "future-date": _row(impossible.nothing_in_files),
}


def limit_of(rule: Rule, book: Book) -> Limit:
    """Return the limit of a rule: the book's where it states one."""
    limits = book.limits
    booked: dict[str | None, Limit] = {
        "offset": limits.offset.metres(book.unit) if limits.offset else None,
        "oblique": limits.oblique.metres(book.unit) if limits.oblique else None,
        "angle": (limits.angle[0].radians, limits.angle[1].radians) if limits.angle else None,
    }
    return booked.get(rule.key) or rule.default


def rule_findings(solved: Solved) -> tuple[Finding, ...]:
    """Return what the rules of thumb have to say and the book does not silence."""
    return tuple(
        finding
        for name, rule in RULES.items()
        if name not in solved.book.limits.silence
        for finding in _few(name, rule.find(solved, limit_of(rule, solved.book)))
    )


def _few(name: str, remarks: Remarks) -> Iterator[Finding]:
    """Yield the first findings of a rule, and how many more there are: nobody reads thousands of one kind."""
    yield from (Finding(name, text, place) for text, place in islice(remarks, MAX_TOLD_OF_RULE))
    if more := sum(1 for _ in remarks):
        yield Finding(name, f"{more} more of the rule {name}; see to those shown first, then check again")


def silence_findings(book: Book) -> Iterator[Finding]:
    """Yield the names under ``silence`` that are no rule of thumb."""
    for name in book.limits.silence:
        if name not in RULES:
            near = get_close_matches(name, RULES, n=1)
            hint = f"did you mean {near[0]}?" if near else f"the rules are {', '.join(RULES)}"
            yield Finding("unknown-rule", f"'silence' names no rule of thumb: {name}; {hint}", base_place(book))
