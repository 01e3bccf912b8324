"""Layouts proposed, as books too: few pegs, little taping, good triangles, all stations checked, all in reach."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, islice, pairwise
from typing import Final

import numpy as np
from shapely import Polygon

from pegline.book.canonical_layout import book_text
from pegline.book.habits import notation_of
from pegline.commands.prepare.candidates import MORE_PLACES, Terrain, terrain_of
from pegline.commands.prepare.drafts import (
    PEG,
    SHORTER,
    Draft,
    Tie,
    add_checking_line,
    add_third_lines,
    as_intention,
    cost_of,
    drafts,
    drafts_to_follow,
    drafts_with_one_line,
    points_in_reach,
)
from pegline.commands.prepare.expectation import Expectation, expect
from pegline.commands.prepare.layout import triangles
from pegline.commands.prepare.rules import judge_layout, meets_scale
from pegline.commands.prepare.sketch import mark
from pegline.errors import Place
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.plane import Array, distance, turn_points
from pegline.records import record
from pegline.units import METRES_PER

__all__ = ["Proposal", "is_sound", "new_book", "propose", "why_none"]


MAX_PROPOSALS: Final = 3
LAYOUTS_PER_PROPOSAL: Final = 2  #: sound layouts that are compared for each that is proposed
MAX_GROWN: Final = 40  #: grown drafts that are followed to their accuracies, the cheapest first
MAX_MENDINGS: Final = 6  #: lines that are added to a draft until every station is checked
#: Half the tangent of 30°: a plot narrower than this share of its length holds no good triangle over it.
STRIP_SHARE: Final = 0.29


@record(frozen=True, slots=True)
class Proposal:
    """A layout that is worth measuring."""

    draft: Draft
    expectation: Expectation
    cost: float  #: metres of taping, pegs counted with ``PEG``
    gain: float  #: rise of the smallest redundancy number of a line's length
    why: str  #: two sentences


def propose(
    expectation: Expectation, most: int = MAX_PROPOSALS, terrain: Terrain | None = None
) -> tuple[Proposal, ...]:
    """Return the best layouts for what a sketch shows; none where none is sound.

    First those that are good enough for the plan's scale, the cheapest first. Where no figure of few stations
    does, more are tried, grown one by one.

    Parameters
    ----------
    terrain
        The plot with its places for stations; from the sketch unless given.
    """
    if terrain is not None:
        return _sound_ones(terrain, drafts_to_follow(terrain, drafts(terrain)), expectation, most)
    terrain = terrain_of(expectation.intention)
    if terrain is None:
        return ()
    proposals = _sound_ones(terrain, drafts_to_follow(terrain, drafts(terrain)), expectation, most)
    if proposals:
        return proposals
    more = terrain_of(expectation.intention, most=MORE_PLACES) or terrain
    grown = (one for draft in _grown_drafts(more) for one in add_third_lines(more, draft))
    return _sound_ones(more, list(islice(grown, MAX_GROWN)), expectation, most)


def _sound_ones(terrain: Terrain, some: Sequence[Draft], expectation: Expectation, most: int) -> tuple[Proposal, ...]:
    """Return the sound layouts among drafts, those that are good enough for the plan's scale first."""
    before = _smallest_redundancy(expectation)
    proposals: list[Proposal] = []
    for draft in some:
        if any(set(draft.places) == set(other.draft.places) for other in proposals):
            continue
        proposal = _follow_draft(terrain, draft, before)
        if proposal is not None:
            proposals.append(proposal)
        if len(proposals) == LAYOUTS_PER_PROPOSAL * most:
            break
    return tuple(sorted(proposals, key=lambda proposal: (not meets_scale(proposal.expectation), proposal.cost))[:most])


def _follow_draft(terrain: Terrain, draft: Draft, before: float) -> Proposal | None:
    """Return a draft as a proposal, with another line where one station is not checked yet; None where unsound."""
    for _ in range(MAX_MENDINGS):
        expectation = expect(as_intention(terrain, draft))
        if is_sound(expectation):
            gain = _smallest_redundancy(expectation) - before
            return Proposal(draft, expectation, cost_of(terrain, draft), gain, _why(expectation))
        more = add_checking_line(terrain, draft, expectation)
        if more is None:
            return None
        draft = more
    return None


def is_sound(expectation: Expectation) -> bool:
    """Return whether a layout is well-conditioned, every station checked, everything in reach."""
    survey, layout = expectation.survey, expectation.intention.layout
    if survey is None or expectation.unreached or not survey.adjustment.checks:
        return False
    figure = list(triangles(layout))
    return (
        bool(figure)
        and all(survey.solved.unnoticed.is_checked(name) for name in layout.stations)
        and all(remark.sound for remark in judge_layout(expectation))
    )


def _smallest_redundancy(expectation: Expectation) -> float:
    """Return the smallest redundancy number of a line's length; 0 where nothing is fixed."""
    if expectation.survey is None:
        return 0.0
    measurements = expectation.survey.adjustment.measurements
    return min((each.redundancy or 0.0 for each in measurements if each.kind == "length"), default=0.0)


def _why(expectation: Expectation) -> str:
    """Return two sentences on a layout."""
    layout, survey = expectation.intention.layout, expectation.survey
    notation = notation_of(expectation.intention.book)
    smallest = min(triangle.smallest for triangle in triangles(layout))
    base = layout.base
    taped = sum(layout.length(line) for line in layout.lines)
    first = (
        f"{len(layout.stations)} pegs and {notation.length(taped)} of line on the base {base.name if base else ''}"
        f" reach everything; the smallest angle is {smallest:.0f}°."
    )
    weakest = survey.solved.weakest if survey else None
    limit = survey.solved.unnoticed.limit if survey else 0.0
    second = f"Every station is checked: no mistake over {notation.length(limit)} goes unnoticed"
    if weakest:
        second += (
            f", and the weakest point ({weakest.name}) is expected within {notation.accuracy(weakest.radius)}"
            " (95 %, relative to the base line)"
        )
    return f"{first} {second}."


def why_none(expectation: Expectation) -> str:
    """Return why no sound layout was found, a sentence."""
    terrain = terrain_of(expectation.intention)
    if terrain is None:
        return "the sketch shows no outline and too few points to propose from; sketch the boundary's corners"
    if len(terrain.visible) < 3:
        return "hardly two places see one another: obstacles hide the lines; sketch more room, or name fewer obstacles"
    more = terrain_of(expectation.intention, most=MORE_PLACES) or terrain
    missing = sorted(terrain.points_to_pick_up - frozenset().union(*(more.picked_up(*pair) for pair in more.visible)))
    if missing:
        return f"no line that can be seen along on the plot reaches {', '.join(missing[:6])}"
    wide, long = sides_of(terrain.outline)
    if wide < STRIP_SHARE * long:
        smallest = expectation.intention.limits.smallest_angle
        return (
            f"the plot is a strip, {wide:.0f} m wide and {long:.0f} m long: a triangle with angles over {smallest:.0f}°"
            f" is at most about {wide / STRIP_SHARE:.0f} m long there, and no long line with triangles on its tie"
            " stations was found that reaches and checks everything; put stations outside, where you can"
        )
    return f"no layout of up to {_MOST_STATIONS} stations was found that reaches everything and checks every station"


def sides_of(outline: Polygon) -> tuple[float, float]:
    """Return breadth and length of the smallest rectangle round an outline, metres."""
    corners = np.array(outline.minimum_rotated_rectangle.exterior.coords[:3])
    wide, long = sorted(float(distance(one, other)) for one, other in pairwise(corners))
    return wide, long


# -- drafts with more stations, grown for plots that no plain figure of triangles reaches whole ------


_MOST_STATIONS: Final = 8  #: main stations of a layout
MAX_GROWN_BASES: Final = 6  #: longest pairs that are grown from, beside those that reach a point
KEPT: Final = 4  #: drafts on each base line that are grown further after each step
MAX_ADDITIONS: Final = 7  #: stations, tie lines and further lines that are added to a base line
ENOUGH_DRAFTS: Final = 150  #: drafts that reach everything, after which none is grown further
POINT_WORTH: Final = 8 * PEG  #: metres of taping that one more point within reach is worth while growing
Pair = tuple[int, int]


def _grown_drafts(terrain: Terrain) -> list[Draft]:
    """Return drafts with a triangle at least that reach everything, the cheapest first.

    Grown like a survey on the ground: from a long base line a station is added where it brings most into reach,
    fixed from two others or from two tie stations of a line; after each step the best few are grown on.
    """
    bases = _bases(terrain)
    front, whole = [Draft(base, (), ()) for base in bases], dict[object, Draft]()
    for _ in range(MAX_ADDITIONS):
        further: dict[object, tuple[float, Draft]] = {}
        for one in (step for draft in front for step in _steps(terrain, draft)):
            missing = len(terrain.points_to_pick_up - points_in_reach(terrain, one))
            if not missing:
                whole.setdefault(_figure(one), one)
            further.setdefault(_figure(one), (missing * POINT_WORTH + cost_of(terrain, one), one))
        if len(whole) >= ENOUGH_DRAFTS:
            break
        ranked = [draft for _, draft in sorted(further.values(), key=lambda each: (each[0], each[1].places))]
        front = [draft for base in bases for draft in [each for each in ranked if each.base == base][:KEPT]]
    return sorted(whole.values(), key=lambda draft: (cost_of(terrain, draft), draft.places))


def _bases(terrain: Terrain) -> list[Pair]:
    """Return the longest lines, and of those that reach a point the longest for each."""
    longest = sorted(terrain.visible, key=lambda pair: (-terrain.length(*pair), pair))
    usable = [pair for pair in longest if terrain.length(*pair) >= SHORTER * terrain.length(*longest[0])]
    reaching = [
        next((pair for pair in usable if name in terrain.picked_up(*pair)), None)
        for name in sorted(terrain.points_to_pick_up)
    ]
    return list(dict.fromkeys([*usable[:MAX_GROWN_BASES], *(pair for pair in reaching if pair is not None)]))


def _figure(draft: Draft) -> object:
    """Return what makes two drafts the same figure, in whatever order they were grown."""
    lines = frozenset(frozenset(pair) for pair in (draft.base, *draft.sides, *draft.extra))
    return draft.base, lines, frozenset(draft.ties)


def _steps(terrain: Terrain, draft: Draft) -> Iterator[Draft]:
    """Yield the draft with one station more, or with one line more that brings something into reach."""
    lines = (draft.base, *draft.sides)
    if len(draft.places) < _MOST_STATIONS:
        for i in range(len(terrain.places)):
            if i not in draft.places:
                yield from _by_triangle(terrain, draft, i)
                yield from _by_tie_stations(terrain, draft, i, lines)
    if draft.sides or draft.ties:
        yield from drafts_with_one_line(terrain, draft, terrain.points_to_pick_up - points_in_reach(terrain, draft))


def _by_triangle(terrain: Terrain, draft: Draft, i: int) -> Iterator[Draft]:
    """Yield the draft with a station that is fixed from two others, neither side longer than the base line."""
    longest = terrain.length(*draft.base)
    near = [j for j in draft.places if terrain.sees(i, j) and terrain.length(i, j) <= longest]
    for one, other in combinations(near, 2):
        if terrain.well_conditioned((i, one, other)) is not None:
            yield replace(draft, sides=(*draft.sides, (one, i), (i, other)))


def _by_tie_stations(terrain: Terrain, draft: Draft, i: int, lines: Sequence[Pair]) -> Iterator[Draft]:
    """Yield the draft with a station that is fixed from two tie stations of a line and checked from a third."""
    for pair in lines:
        feet = terrain.feet(i, pair)
        if len(feet) == 3:
            ties = (*draft.ties, *(Tie(i, pair, share) for share in feet))
            yield replace(draft, ties=ties, hung=(*draft.hung, i))


# -- a proposal as a book ----------------------------------------------------------------------------


WITNESSES_PER_PEG: Final = 3  #: things near each peg that its distances are wanted from
MAX_WITNESS_DISTANCE: Final = 25.0  #: how far they may be, metres


def new_book(proposal: Proposal) -> str:
    """Return the text of a book with a proposal's stations, lines, expected rows and witnesses, all still blank."""
    intention = proposal.expectation.intention
    written, place = intention.written, intention.written.place
    entries = {word: entry for word, entry in written.entries.items() if word not in ("stations", "lines", "witnesses")}
    parts = {
        "stations": dict(_stations(proposal, place)),
        "lines": dict(_lines(proposal, place)),
        "witnesses": dict(_witnesses(proposal, place)),
    }
    entries |= {word: (Text(word, place), Table(part, place)) for word, part in parts.items()}
    return book_text(Table(entries, place))


Entry = tuple[str, tuple[Text, Written]]


def _entry(word: str, value: Written, place: Place) -> Entry:
    return word, (Text(word, place), value)


def _blank(place: Place) -> Text:
    return Text("", place)


def _stations(proposal: Proposal, place: Place) -> Iterator[Entry]:
    """Yield the stations with their places on the book's own sketch."""
    for name, at in proposal.expectation.intention.layout.stations.items():
        yield _entry(name, Table(dict([_entry("sketch", mark(place, _on_sketch(proposal, at)), place)]), place), place)


def _on_sketch(proposal: Proposal, at: Array) -> Array:
    """Return a place in metres as the book's sketch has it: in its unit, the page's top up."""
    book = proposal.expectation.intention.book
    unit = book.sketch.unit.metres(book.unit) if book.sketch.unit else METRES_PER[book.unit]
    top = book.sketch.top.radians if book.sketch.top else 0.0
    return np.asarray(turn_points(at, -top) / unit)


def _lines(proposal: Proposal, place: Place) -> Iterator[Entry]:
    """Yield the lines, untaped, with the rows that are expected on them in the order of the chainage."""
    expectation = proposal.expectation
    layout = expectation.intention.layout
    for line in layout.lines:
        parts = dict([_entry("use", Text(line.use, place), place), _entry("taped", _blank(place), place)])
        start = layout.place(line.start)
        rows: list[tuple[float, Table]] = [
            (float(distance(start, layout.stations[name])), _row(place, station=name))
            for name, on in layout.ties.items()
            if on == line.name
        ]
        for booking in expectation.bookings.values():
            if booking.line == line.name:
                side = None if not booking.offsets else "left" if booking.offsets[0] > 0 else "right"
                rows.append((booking.chainages[0], _row(place, side=side, point=booking.point)))
        if rows:
            ordered = tuple(row for _, row in sorted(rows, key=lambda each: each[0]))
            parts |= dict([_entry("details", Items(ordered, place), place)])
        yield _entry(line.name, Table(parts, place), place)


def _row(place: Place, *, side: str | None = None, point: str | None = None, station: str | None = None) -> Table:
    entries = [_entry("at", _blank(place), place)]
    if side:
        entries.append(_entry(side, _blank(place), place))
    word, name = ("point", point) if point else ("station", station)
    entries.append(_entry(word, Text(name or "", place), place))
    return Table(dict(entries), place)


def _witnesses(proposal: Proposal, place: Place) -> Iterator[Entry]:
    """Yield blank witnesses to each station: the things sketched near it."""
    layout = proposal.expectation.intention.layout
    for name, at in layout.stations.items():
        away = {point: float(distance(at, where)) for point, where in layout.points.items()}
        near = sorted((point for point in away if 0.5 < away[point] <= MAX_WITNESS_DISTANCE), key=away.__getitem__)[
            :WITNESSES_PER_PEG
        ]
        if near:
            yield _entry(name, Table(dict(_entry(point, _blank(place), place) for point in near), place), place)
