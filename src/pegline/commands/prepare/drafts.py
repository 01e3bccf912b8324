"""Drafts of layouts in numbers of places: a base line, well-conditioned triangles on it, lines that check and reach."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np

from pegline.book.model import Use
from pegline.commands.prepare.candidates import Ground
from pegline.commands.prepare.expectation import Expectation, Intention, relaid
from pegline.commands.prepare.layout import Layout, PlannedLine
from pegline.plane import Array, distance
from pegline.records import record

__all__ = [
    "MAX_MENDED",
    "MAX_STATIONS",
    "PEG",
    "Draft",
    "Tie",
    "add_checking_line",
    "add_tie_lines",
    "as_intention",
    "cost_of",
    "drafts",
    "drafts_to_follow",
    "points_in_reach",
]

PEG: Final = 10.0  #: metres of taping that one peg is worth
MAX_STATIONS: Final = 5  #: main stations of a layout
MAX_BASES: Final = 10  #: longest pairs that are tried as the base line
MAX_TIES: Final = 3  #: lines from tie stations in one layout
MAX_MENDED: Final = 400  #: drafts, the cheapest first, that are given tie lines where they do not reach everything
MAX_TRIED: Final = 60  #: drafts that are followed to their accuracies, the cheapest first
SHORTER: Final = 0.6  #: no base line is shorter than this share of the longest sight line

Pair = tuple[int, int]


class Tie(NamedTuple):
    """A line from a tie station to a station."""

    station: int
    line: Pair  #: that the tie station stands on
    share: float  #: of that line before the tie station


@record(frozen=True, slots=True)
class Draft:
    """A layout in numbers of places: the base line, the sides that fix each station, what else is taped."""

    base: Pair
    sides: tuple[Pair, ...]
    extra: tuple[Pair, ...]  #: taped besides: to check, or to pick up
    ties: tuple[Tie, ...] = ()  #: lines from tie stations, to check or to pick up

    @property
    def places(self) -> tuple[int, ...]:
        """Return the places of its stations."""
        return tuple(dict.fromkeys(i for pair in (self.base, *self.sides, *self.extra) for i in pair))


def drafts_to_follow(ground: Ground, some: Iterable[Draft], most: int = MAX_TRIED) -> Sequence[Draft]:
    """Return the drafts that are followed to the end: those that reach everything, the cheapest first."""
    ordered = sorted(some, key=lambda draft: (cost_of(ground, draft), draft.places))
    mended_drafts: list[Draft] = []
    for draft in ordered[:MAX_MENDED]:
        mended = draft if points_in_reach(ground, draft) >= ground.points_to_pick_up else add_tie_lines(ground, draft)
        if points_in_reach(ground, mended) >= ground.points_to_pick_up:
            mended_drafts.append(mended)
        if len(mended_drafts) == 2 * most:
            break
    return sorted(mended_drafts, key=lambda draft: (cost_of(ground, draft), draft.places))[:most]


# -- growing ----------------------------------------------------------------------------------------------------------


def drafts(ground: Ground) -> Iterator[Draft]:
    """Yield the layouts that well-conditioned triangles on a long base line make."""
    longest = max((ground.length(*pair) for pair in ground.visible), default=0.0)
    bases = [pair for pair in ground.visible if ground.length(*pair) >= SHORTER * longest]
    for base in sorted(bases, key=lambda pair: -ground.length(*pair))[:MAX_BASES]:
        others = [i for i in range(len(ground.places)) if i not in base]
        for count in range(1, MAX_STATIONS - 1):
            for chosen in combinations(others, count):
                yield from _grow_layouts(ground, base, chosen)


def _grow_layouts(ground: Ground, base: Pair, chosen: Sequence[int]) -> Iterator[Draft]:
    """Yield the layouts of a base line and further stations: each fixed by the best triangle that is at hand."""
    placed, left = list(base), list(chosen)
    sides: list[Pair] = []
    while left:
        ranked = [
            (angle, i, pair)
            for i in left
            for pair in combinations(placed, 2)
            if _are_joined(base, sides, pair) and ground.sees(i, pair[0]) and ground.sees(i, pair[1])
            if (angle := ground.well_conditioned((i, *pair))) is not None
        ]
        if not ranked:
            return
        _, best, pair = max(ranked)
        sides += [(pair[0], best), (best, pair[1])]
        placed.append(best)
        left.remove(best)
    lengths = [ground.length(*pair) for pair in sides]
    if max(lengths) > ground.length(*base) + 1e-9:
        return
    used = {frozenset(pair) for pair in (base, *sides)}
    free = [pair for pair in combinations(sorted(placed), 2) if ground.sees(*pair) and frozenset(pair) not in used]
    extra = _third_lines(ground, chosen, [base, *sides], free)
    for ties in _tie_checks(ground, base, sides, chosen, extra):
        yield Draft(base, tuple(sides), extra, ties)


def _are_joined(base: Pair, sides: Sequence[Pair], pair: Pair) -> bool:
    return frozenset(pair) in {frozenset(each) for each in (base, *sides)}


def _third_lines(
    ground: Ground, chosen: Sequence[int], lines: Sequence[Pair], free: Sequence[Pair]
) -> tuple[Pair, ...]:
    """Return the shortest further lines that give each station a third one, as far as they can."""
    taken: list[Pair] = []
    while True:
        degree = {i: sum(i in pair for pair in (*lines, *taken)) for i in chosen}
        lacking = [i for i in chosen if degree[i] < 3]
        useful = [pair for pair in free if pair not in taken and set(pair) & set(lacking)]
        if not useful:
            return tuple(taken)
        taken.append(min(useful, key=lambda pair: (-len(set(pair) & set(lacking)), ground.length(*pair))))


def _tie_checks(
    ground: Ground, base: Pair, sides: Sequence[Pair], chosen: Sequence[int], extra: Sequence[Pair]
) -> Iterator[tuple[Tie, ...]]:
    """Yield tie stations that check the stations which have no third line; nothing where they cannot."""
    lines = [base, *sides]
    lacking = [i for i in chosen if sum(i in pair for pair in (*lines, *extra)) < 3]
    best_ties = [min(_ties_to(ground, i, lines), key=lambda tie: _length(ground, tie), default=None) for i in lacking]
    ties = tuple(tie for tie in best_ties if tie is not None)
    if len(ties) == len(lacking):
        yield ties


def _ties_to(ground: Ground, i: int, lines: Sequence[Pair]) -> Iterator[Tie]:
    """Yield the lines from tie stations that a station can be seen from, square neither to its line nor along it.

    From a square one a mistake in the tie station's own chainage would not be noticed.
    """
    for pair in lines:
        if i not in pair:
            yield from (Tie(i, pair, share) for share in ground.tie_shares(i, pair))


def _tie_place(ground: Ground, tie: Tie) -> Array:
    """Return where a tie station stands."""
    start, end = (ground.places[n] for n in tie.line)
    return np.asarray(start + tie.share * (end - start))


def _length(ground: Ground, tie: Tie) -> float:
    return float(distance(_tie_place(ground, tie), ground.places[tie.station]))


def points_in_reach(ground: Ground, draft: Draft) -> frozenset[str]:
    """Return the points that the lines which may carry details reach."""
    carriers = [draft.base, *draft.sides]
    return frozenset().union(*(ground.picked_up(*pair) for pair in carriers), *_by_extra(ground, draft))


def _by_extra(ground: Ground, draft: Draft) -> Iterator[frozenset[str]]:
    """Yield what further lines reach, where they may be tie lines: all triangles that they make are good."""
    for pair in draft.extra:
        if _may_tie(ground, draft, pair):
            yield ground.picked_up(*pair)
    for tie in draft.ties:
        yield ground.picked_between(_tie_place(ground, tie), ground.places[tie.station])


def _may_tie(ground: Ground, draft: Draft, pair: Pair) -> bool:
    """Return whether a line may carry details: with it as a tie line every triangle stays well-conditioned."""
    lines = {frozenset(each) for each in (draft.base, *draft.sides)} | {frozenset(pair)}
    third = [i for i in draft.places if i not in pair and all(frozenset((i, end)) in lines for end in pair)]
    return all(ground.well_conditioned((*pair, i)) is not None for i in third)


def add_tie_lines(ground: Ground, draft: Draft) -> Draft:
    """Return the draft with the tie lines that pick up most of what is out of reach, for the least taping."""
    used = {frozenset(pair) for pair in (draft.base, *draft.sides)}
    free = [
        pair for pair in combinations(sorted(draft.places), 2) if ground.sees(*pair) and frozenset(pair) not in used
    ]
    while True:
        missing = ground.points_to_pick_up - points_in_reach(ground, draft)
        if not missing or len(draft.ties) > MAX_TIES:
            return draft
        ways: list[tuple[int, float, Draft]] = []
        for pair in free:
            gain = len(ground.picked_up(*pair) & missing)
            if gain and pair not in draft.extra and _may_tie(ground, draft, pair):
                ways.append((gain, -ground.length(*pair), replace(draft, extra=(*draft.extra, pair))))
        for i in draft.places:
            for tie in _ties_to(ground, i, [draft.base, *draft.sides]):
                gain = len(ground.picked_between(_tie_place(ground, tie), ground.places[i]) & missing)
                if gain:
                    ways.append((gain, -_length(ground, tie) - PEG, replace(draft, ties=(*draft.ties, tie))))
        if not ways:
            return draft
        draft = max(ways, key=lambda way: way[:2])[2]


def add_checking_line(ground: Ground, draft: Draft, expectation: Expectation) -> Draft | None:
    """Return the draft with one more line to a station that is not checked yet; None where there is none."""
    if expectation.survey is None or expectation.unreached:
        return None
    names = _names(ground, draft)
    survey = expectation.survey
    bad = [i for i, name in names.items() if not survey.solved.unnoticed.is_checked(name)]
    used = {frozenset(pair) for pair in (draft.base, *draft.sides, *draft.extra)}
    free = [
        pair
        for pair in combinations(sorted(draft.places), 2)
        if ground.sees(*pair) and frozenset(pair) not in used and set(pair) & set(bad)
    ]
    if free:
        return replace(draft, extra=(*draft.extra, min(free, key=lambda pair: ground.length(*pair))))
    lines, there = [draft.base, *draft.sides], {(tie.station, tie.line) for tie in draft.ties}
    ties = [tie for i in bad for tie in _ties_to(ground, i, lines) if (tie.station, tie.line) not in there]
    if not ties:
        return None
    return replace(draft, ties=(*draft.ties, min(ties, key=lambda tie: _length(ground, tie))))


def cost_of(ground: Ground, draft: Draft) -> float:
    """Return the metres of taping of a draft, pegs counted with ``PEG`` each."""
    lines = (draft.base, *draft.sides, *draft.extra)
    taped = sum(ground.length(*pair) for pair in lines) + sum(_length(ground, tie) for tie in draft.ties)
    return taped + PEG * (len(draft.places) + len(draft.ties))


# -- a draft as an intention -----------------------------------------------------------------------------------------


def _names(ground: Ground, draft: Draft) -> dict[int, str]:
    """Return the names of a draft's stations: as sketched, else letters that nothing has."""
    layout = ground.intention.layout
    known = {
        i: name for i in draft.places for name, at in layout.stations.items() if np.array_equal(at, ground.places[i])
    }
    taken = {*known.values(), *layout.points, *layout.stations, *ground.intention.features}
    letters = (letter for letter in _letters() if letter not in taken)
    return {i: known.get(i) or next(letters) for i in draft.places}


def _letters() -> Iterator[str]:
    alphabet = "ABCDEFGHJKLMNPQRSUVWXYZ"  # no I and O, which read as figures; T is for tie stations
    yield from alphabet
    yield from (one + other for one in alphabet for other in alphabet)


def as_intention(ground: Ground, draft: Draft) -> Intention:
    """Return the intention to measure a draft."""
    intention, names = ground.intention, _names(ground, draft)
    stations = {name: ground.places[i] for i, name in names.items()}
    lines = [_line(names, draft.base, "base"), *(_line(names, pair, "side") for pair in draft.sides)]
    needed = ground.points_to_pick_up - frozenset().union(
        *(ground.picked_up(*pair) for pair in (draft.base, *draft.sides))
    )
    for pair in draft.extra:
        carries = bool(needed & ground.picked_up(*pair)) and _may_tie(ground, draft, pair)
        lines.append(_line(names, pair, "tie" if carries else "check"))
    ties: dict[str, str] = {}
    for number, tie in enumerate(draft.ties, 1):
        name, ends = f"T{number}", {names[n] for n in tie.line}
        stations[name] = _tie_place(ground, tie)
        ties[name] = next(line.name for line in lines if {line.start, line.end} == ends)
        carries = bool(needed & ground.picked_between(stations[name], ground.places[tie.station]))
        end = names[tie.station]
        lines.append(PlannedLine(f"{name}-{end}", name, end, "tie" if carries else "check"))
    layout = Layout(stations, tuple(lines), intention.layout.points, intention.layout.obstacles, ties)
    return relaid(intention, layout, rows={})


def _line(names: Mapping[int, str], pair: Pair, use: Use) -> PlannedLine:
    start, end = (names[i] for i in pair)
    return PlannedLine(f"{start}-{end}", start, end, use)
