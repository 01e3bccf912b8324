"""Drafts with more stations, grown station by station, for plots that no plain figure of triangles reaches whole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

from pegline.commands.prepare.candidates import Ground
from pegline.commands.prepare.drafts import PEG, SHORTER, Draft, Tie, cost_of, drafts_with_one_line, points_in_reach

__all__ = ["MOST_STATIONS", "grown_drafts"]

MOST_STATIONS: Final = 8  #: main stations of a layout
MAX_BASES: Final = 6  #: longest pairs that are grown from, beside those that reach a point
KEPT: Final = 4  #: drafts on each base line that are grown further after each step
STEPS: Final = 7  #: stations, tie lines and further lines that are added to a base line
ENOUGH: Final = 150  #: drafts that reach everything, after which none is grown further
POINT: Final = 8 * PEG  #: metres of taping that one more point within reach is worth while growing
Pair = tuple[int, int]


def grown_drafts(ground: Ground) -> list[Draft]:
    """Return drafts with a triangle at least that reach everything, the cheapest first.

    Grown like a survey on the ground: from a long base line a station is added where it brings most into reach,
    fixed from two others or from two tie stations of a line; after each step the best few are grown on.
    """
    bases = _bases(ground)
    front, whole = [Draft(base, (), ()) for base in bases], dict[object, Draft]()
    for _ in range(STEPS):
        further: dict[object, tuple[float, Draft]] = {}
        for one in (step for draft in front for step in _steps(ground, draft)):
            missing = len(ground.points_to_pick_up - points_in_reach(ground, one))
            if not missing:
                whole.setdefault(_figure(one), one)
            further.setdefault(_figure(one), (missing * POINT + cost_of(ground, one), one))
        if len(whole) >= ENOUGH:
            break
        ranked = [draft for _, draft in sorted(further.values(), key=lambda each: (each[0], each[1].places))]
        front = [draft for base in bases for draft in [each for each in ranked if each.base == base][:KEPT]]
    return sorted(whole.values(), key=lambda draft: (cost_of(ground, draft), draft.places))


def _bases(ground: Ground) -> list[Pair]:
    """Return the longest lines, and of those that reach a point the longest for each."""
    longest = sorted(ground.visible, key=lambda pair: (-ground.length(*pair), pair))
    usable = [pair for pair in longest if ground.length(*pair) >= SHORTER * ground.length(*longest[0])]
    reaching = [
        next((pair for pair in usable if name in ground.picked_up(*pair)), None)
        for name in sorted(ground.points_to_pick_up)
    ]
    return list(dict.fromkeys([*usable[:MAX_BASES], *(pair for pair in reaching if pair is not None)]))


def _figure(draft: Draft) -> object:
    """Return what makes two drafts the same figure, in whatever order they were grown."""
    lines = frozenset(frozenset(pair) for pair in (draft.base, *draft.sides, *draft.extra))
    return draft.base, lines, frozenset(draft.ties)


def _steps(ground: Ground, draft: Draft) -> Iterator[Draft]:
    """Yield the draft with one station more, or with one line more that brings something into reach."""
    lines = (draft.base, *draft.sides)
    if len(draft.places) < MOST_STATIONS:
        for i in range(len(ground.places)):
            if i not in draft.places:
                yield from _by_triangle(ground, draft, i)
                yield from _by_tie_stations(ground, draft, i, lines)
    if draft.sides or draft.ties:
        yield from drafts_with_one_line(ground, draft, ground.points_to_pick_up - points_in_reach(ground, draft))


def _by_triangle(ground: Ground, draft: Draft, i: int) -> Iterator[Draft]:
    """Yield the draft with a station that is fixed from two others, neither side longer than the base line."""
    longest = ground.length(*draft.base)
    near = [j for j in draft.places if ground.sees(i, j) and ground.length(i, j) <= longest]
    for one, other in combinations(near, 2):
        if ground.well_conditioned((i, one, other)) is not None:
            yield replace(draft, sides=(*draft.sides, (one, i), (i, other)))


def _by_tie_stations(ground: Ground, draft: Draft, i: int, lines: Sequence[Pair]) -> Iterator[Draft]:
    """Yield the draft with a station that is fixed from two tie stations of a line and checked from a third."""
    for pair in lines:
        feet = ground.feet(i, pair)
        if len(feet) == 3:
            ties = (*draft.ties, *(Tie(i, pair, share) for share in feet))
            yield replace(draft, ties=ties, hung=(*draft.hung, i))
