"""Drafts of layouts in numbers of places: a base line, well-conditioned triangles on it, lines that check and reach."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, count
from typing import Final, NamedTuple

import numpy as np

from pegline.book.model import Use
from pegline.commands.prepare.candidates import Terrain
from pegline.commands.prepare.expectation import Expectation, Intention, relaid
from pegline.commands.prepare.layout import Layout, PlannedLine
from pegline.plane import Array, distance
from pegline.records import record

__all__ = [
    "MAX_MENDED",
    "MAX_STATIONS",
    "PEG",
    "SHORTER",
    "Draft",
    "Tie",
    "add_checking_line",
    "add_third_lines",
    "add_tie_lines",
    "as_intention",
    "cost_of",
    "drafts",
    "drafts_to_follow",
    "drafts_with_one_line",
    "points_in_reach",
    "tie_place",
    "ties_to",
]

PEG: Final = 10.0  #: metres of taping that one peg is worth
MAX_STATIONS: Final = 5  #: main stations of a layout
MAX_BASE_PAIRS: Final = 10  #: longest pairs that are tried as the base line
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
    hung: tuple[int, ...] = ()  #: stations that the first two lines from tie stations fix

    @property
    def places(self) -> tuple[int, ...]:
        """Return the places of its stations."""
        whole = [i for pair in (self.base, *self.sides, *self.extra) for i in pair]
        return tuple(dict.fromkeys((*whole, *(tie.station for tie in self.ties))))

    @property
    def tie_pegs(self) -> tuple[tuple[Pair, float], ...]:
        """Return the line and the share of each tie station; lines from one and the same share its peg."""
        return tuple(dict.fromkeys((tie.line, tie.share) for tie in self.ties))


def drafts_to_follow(terrain: Terrain, some: Iterable[Draft], most: int = MAX_TRIED) -> Sequence[Draft]:
    """Return the drafts that are followed to the end: those that reach everything, the cheapest first."""
    ordered = sorted(some, key=lambda draft: (cost_of(terrain, draft), draft.places))
    mended_drafts: list[Draft] = []
    for draft in ordered[:MAX_MENDED]:
        mended = (
            draft if points_in_reach(terrain, draft) >= terrain.points_to_pick_up else add_tie_lines(terrain, draft)
        )
        if points_in_reach(terrain, mended) >= terrain.points_to_pick_up:
            mended_drafts.append(mended)
        if len(mended_drafts) == 2 * most:
            break
    return sorted(mended_drafts, key=lambda draft: (cost_of(terrain, draft), draft.places))[:most]


# -- growing ----------------------------------------------------------------------------------------------------------


def drafts(terrain: Terrain) -> Iterator[Draft]:
    """Yield the layouts that well-conditioned triangles on a long base line make."""
    longest = max((terrain.length(*pair) for pair in terrain.visible), default=0.0)
    bases = [pair for pair in terrain.visible if terrain.length(*pair) >= SHORTER * longest]
    for base in sorted(bases, key=lambda pair: -terrain.length(*pair))[:MAX_BASE_PAIRS]:
        others = [i for i in range(len(terrain.places)) if i not in base]
        for size in range(1, MAX_STATIONS - 1):
            for places in combinations(others, size):
                yield from _grow_layouts(terrain, base, places)


def _grow_layouts(terrain: Terrain, base: Pair, chosen: Sequence[int]) -> Iterator[Draft]:
    """Yield the layouts of a base line and further stations: each fixed by the best triangle that is at hand."""
    placed, left = list(base), list(chosen)
    sides: list[Pair] = []
    while left:
        ranked = [
            (angle, i, pair)
            for i in left
            for pair in combinations(placed, 2)
            if _are_joined(base, sides, pair) and terrain.sees(i, pair[0]) and terrain.sees(i, pair[1])
            if (angle := terrain.well_conditioned((i, *pair))) is not None
        ]
        if not ranked:
            return
        _, best, pair = max(ranked)
        sides += [(pair[0], best), (best, pair[1])]
        placed.append(best)
        left.remove(best)
    lengths = [terrain.length(*pair) for pair in sides]
    if max(lengths) > terrain.length(*base) + 1e-9:
        return
    yield from add_third_lines(terrain, Draft(base, tuple(sides), ()))


def _are_joined(base: Pair, sides: Sequence[Pair], pair: Pair) -> bool:
    return frozenset(pair) in {frozenset(each) for each in (base, *sides)}


def add_third_lines(terrain: Terrain, draft: Draft) -> Iterator[Draft]:
    """Yield the draft with a third line to each station that has two: whole lines, else such from tie stations.

    An end of the base line has a second one. Nothing where a station cannot have it.
    """
    draft = _with_third_lines(terrain, draft)
    lines = (draft.base, *draft.sides)
    best_ties = [
        min(ties_to(terrain, i, lines), key=lambda tie: _length(terrain, tie), default=None)
        for i in _stations_to_check(draft)
    ]
    ties = tuple(tie for tie in best_ties if tie is not None)
    if len(ties) == len(best_ties):
        yield replace(draft, ties=(*draft.ties, *ties))


def _with_third_lines(terrain: Terrain, draft: Draft) -> Draft:
    """Return the draft with the shortest further lines that give each station a third one, as far as they can."""
    free = _free_lines(terrain, draft)
    while True:
        lacking = set(_stations_to_check(draft))
        useful = [pair for pair in free if pair not in draft.extra and set(pair) & lacking]
        if not useful:
            return draft
        best = min(useful, key=lambda pair: (-len(set(pair) & lacking), terrain.length(*pair)))
        draft = replace(draft, extra=(*draft.extra, best))


def _free_lines(terrain: Terrain, draft: Draft) -> list[Pair]:
    """Return the pairs of stations that see one another and have no line yet, none longer than the base line."""
    drawn_pairs = {frozenset(pair) for pair in (draft.base, *draft.sides, *draft.extra)}
    most = terrain.length(*draft.base) + 1e-9
    pairs = combinations(sorted(draft.places), 2)
    return [
        pair
        for pair in pairs
        if terrain.sees(*pair) and frozenset(pair) not in drawn_pairs and terrain.length(*pair) <= most
    ]


def _stations_to_check(draft: Draft) -> list[int]:
    """Return the stations with fewer than three lines, and the ends of the base line with no other than itself."""
    whole = [i for pair in (draft.base, *draft.sides, *draft.extra) for i in pair]
    lines = Counter([*whole, *(tie.station for tie in draft.ties)])
    return [i for i in draft.places if lines[i] < (2 if i in draft.base else 3)]


def ties_to(terrain: Terrain, i: int, lines: Sequence[Pair]) -> Iterator[Tie]:
    """Yield the lines from tie stations that a station can be seen from, square neither to its line nor along it.

    From a square one a mistake in the tie station's own chainage would not be noticed.
    """
    for pair in lines:
        if i not in pair:
            yield from (Tie(i, pair, share) for share in terrain.tie_shares(i, pair))


def tie_place(terrain: Terrain, tie: Tie) -> Array:
    """Return where a tie station stands."""
    start, end = (terrain.places[n] for n in tie.line)
    return np.asarray(start + tie.share * (end - start))


def _length(terrain: Terrain, tie: Tie) -> float:
    return float(distance(tie_place(terrain, tie), terrain.places[tie.station]))


def points_in_reach(terrain: Terrain, draft: Draft) -> frozenset[str]:
    """Return the points that the lines which may carry details reach."""
    whole = (draft.base, *draft.sides, *tie_lines_among(terrain, draft))
    by_ties = (terrain.picked_between(tie_place(terrain, tie), terrain.places[tie.station]) for tie in draft.ties)
    return frozenset().union(*(terrain.picked_up(*pair) for pair in whole), *by_ties)


def tie_lines_among(terrain: Terrain, draft: Draft) -> list[Pair]:
    """Return the further lines that carry details, as tie lines: they reach something new, their triangles are good."""
    lines = [draft.base, *draft.sides]
    needed = terrain.points_to_pick_up - frozenset().union(*(terrain.picked_up(*pair) for pair in lines))
    tie_lines: list[Pair] = []
    for pair in draft.extra:
        if needed & terrain.picked_up(*pair) and _keeps_good_triangles(terrain, draft, [*lines, *tie_lines], pair):
            tie_lines.append(pair)
            needed -= terrain.picked_up(*pair)
    return tie_lines


def _keeps_good_triangles(terrain: Terrain, draft: Draft, lines: Sequence[Pair], pair: Pair) -> bool:
    """Return whether every triangle that a line makes with others is well-conditioned."""
    joined = {frozenset(each) for each in lines}
    third = [i for i in draft.places if i not in pair and all(frozenset((i, end)) in joined for end in pair)]
    return all(terrain.well_conditioned((*pair, i)) is not None for i in third)


def add_tie_lines(terrain: Terrain, draft: Draft) -> Draft:
    """Return the draft with the tie lines that pick up most of what is out of reach, for the least taping."""
    while True:
        before = points_in_reach(terrain, draft)
        if before >= terrain.points_to_pick_up or len(draft.ties) > MAX_TIES:
            return draft
        ways = [
            (
                len(points_in_reach(terrain, further) - before),
                cost_of(terrain, draft) - cost_of(terrain, further),
                further,
            )
            for further in drafts_with_one_line(terrain, draft, terrain.points_to_pick_up - before)
        ]
        if not ways or not max(ways, key=lambda way: way[:2])[0]:
            return draft
        draft = max(ways, key=lambda way: way[:2])[2]


def drafts_with_one_line(terrain: Terrain, draft: Draft, missing: frozenset[str]) -> Iterator[Draft]:
    """Yield the draft with one more line, between stations or from a tie station, that reaches what is missing."""
    for pair in _free_lines(terrain, replace(draft, extra=())):
        if pair not in draft.extra and terrain.picked_up(*pair) & missing:
            yield replace(draft, extra=(*draft.extra, pair))
    for i in draft.places:
        for tie in ties_to(terrain, i, [draft.base, *draft.sides]):
            if terrain.picked_between(tie_place(terrain, tie), terrain.places[i]) & missing:
                yield replace(draft, ties=(*draft.ties, tie))


def add_checking_line(terrain: Terrain, draft: Draft, expectation: Expectation) -> Draft | None:
    """Return the draft with one more line to a station that is not checked yet; None where there is none.

    Between stations, to the one with the fewest lines; else from a tie station; else a long one beside the base
    line, which checks its length.
    """
    if expectation.survey is None or expectation.unreached:
        return None
    names = _names(terrain, draft)
    survey = expectation.survey
    unchecked = {name for name in expectation.intention.layout.stations if not survey.solved.unnoticed.is_checked(name)}
    bad = [i for i, name in names.items() if name in unchecked]
    if not bad:
        return _with_second_line(terrain, draft, [expectation.intention.layout.stations[name] for name in unchecked])
    free = [pair for pair in _free_lines(terrain, draft) if set(pair) & set(bad)]
    if free:
        whole = [i for pair in (draft.base, *draft.sides, *draft.extra) for i in pair]
        lines = Counter([*whole, *(tie.station for tie in draft.ties)])
        loosest = min(free, key=lambda pair: (min(lines[i] for i in pair), terrain.length(*pair)))
        return replace(draft, extra=(*draft.extra, loosest))
    there = {(tie.station, tie.line) for tie in draft.ties}
    ties = [tie for i in bad for tie in ties_to(terrain, i, [draft.base, *draft.sides]) if tie[:2] not in there]
    if ties:
        return replace(draft, ties=(*draft.ties, min(ties, key=lambda tie: _length(terrain, tie))))
    along = [
        Tie(i, draft.base, share)
        for i in draft.places
        if i not in draft.base
        for share in terrain.far_shares(i, draft.base)
        if Tie(i, draft.base, share) not in draft.ties
    ]
    most = terrain.length(*draft.base)
    usable = [tie for tie in along if _length(terrain, tie) <= most]
    return replace(draft, ties=(*draft.ties, max(usable, key=lambda tie: _length(terrain, tie)))) if usable else None


def _with_second_line(terrain: Terrain, draft: Draft, pegs: Sequence[Array]) -> Draft | None:
    """Return the draft with the shortest further line from one of some tie stations; None where there is none.

    From beyond the foot of a station, as far as a tie station is before it, the line to it is as long: with a line
    to a second station, a chainage that is wrong by that much shows too.
    """
    most = terrain.length(*draft.base)
    ways = [
        Tie(i, tie.line, tie.share)
        for tie in draft.ties
        if any(np.array_equal(tie_place(terrain, tie), peg) for peg in pegs)
        for i in draft.places
        if i not in tie.line and terrain.clear(tie_place(terrain, tie), terrain.places[i])
    ]
    usable = [tie for tie in ways if tie not in draft.ties and _length(terrain, tie) <= most]
    if not usable:
        return None
    return replace(draft, ties=(*draft.ties, min(usable, key=lambda tie: _length(terrain, tie))))


def cost_of(terrain: Terrain, draft: Draft) -> float:
    """Return the metres of taping of a draft, pegs counted with ``PEG`` each."""
    lines = (draft.base, *draft.sides, *draft.extra)
    taped = sum(terrain.length(*pair) for pair in lines) + sum(_length(terrain, tie) for tie in draft.ties)
    return taped + PEG * (len(draft.places) + len(draft.tie_pegs))


# -- a draft as an intention -----------------------------------------------------------------------------------------


def _names(terrain: Terrain, draft: Draft) -> dict[int, str]:
    """Return the names of a draft's stations: as sketched, else letters that nothing has."""
    layout = terrain.intention.layout
    names_by_place = {
        i: name for i in draft.places for name, at in layout.stations.items() if np.array_equal(at, terrain.places[i])
    }
    letters = (letter for letter in _letters() if letter not in terrain.intention.names_taken)
    return {i: names_by_place.get(i) or next(letters) for i in draft.places}


def _letters() -> Iterator[str]:
    alphabet = "ABCDEFGHJKLMNPQRSUVWXYZ"  # no I and O, which read as figures; T is for tie stations
    yield from alphabet
    yield from (one + other for one in alphabet for other in alphabet)


def as_intention(terrain: Terrain, draft: Draft) -> Intention:
    """Return the intention to measure a draft."""
    intention, names = terrain.intention, _names(terrain, draft)
    stations = {name: terrain.places[i] for i, name in names.items()}
    lines = [_line(names, draft.base, "base"), *(_line(names, pair, "side") for pair in draft.sides)]
    needed = terrain.points_to_pick_up - frozenset().union(
        *(terrain.picked_up(*pair) for pair in (draft.base, *draft.sides))
    )
    carriers = tie_lines_among(terrain, draft)
    lines += [_line(names, pair, "tie" if pair in carriers else "check") for pair in draft.extra]
    free = (f"T{number}" for number in count(1))
    pegs = {peg: next(name for name in free if name not in intention.names_taken) for peg in draft.tie_pegs}
    ties: dict[str, str] = {}
    arms = dict.fromkeys(draft.hung, 0)
    for tie in draft.ties:
        name, end = pegs[tie.line, tie.share], names[tie.station]
        stations[name] = tie_place(terrain, tie)
        ties[name] = next(line.name for line in lines if {line.start, line.end} == {names[n] for n in tie.line})
        carries = bool(needed & terrain.picked_between(stations[name], terrain.places[tie.station]))
        use: Use = "tie" if carries else "check"
        if arms.get(tie.station, 2) < 2:
            use, arms[tie.station] = "side", arms[tie.station] + 1
        lines.append(PlannedLine(f"{name}-{end}", name, end, use))
    layout = Layout(stations, tuple(lines), intention.layout.points, intention.layout.obstacles, ties)
    return relaid(intention, layout, rows={})


def _line(names: Mapping[int, str], pair: Pair, use: Use) -> PlannedLine:
    start, end = (names[i] for i in pair)
    return PlannedLine(f"{start}-{end}", start, end, use)
