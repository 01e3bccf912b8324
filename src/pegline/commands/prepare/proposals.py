"""Layouts proposed: few pegs, little taping, well-conditioned triangles, every station checked, everything in reach."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice, pairwise
from typing import Final

import numpy as np
from shapely import Polygon

from pegline.book.habits import notation_of
from pegline.commands.prepare.candidates import MORE_PLACES, Ground, ground_of
from pegline.commands.prepare.drafts import (
    Draft,
    add_checking_line,
    add_third_lines,
    as_intention,
    cost_of,
    drafts,
    drafts_to_follow,
)
from pegline.commands.prepare.expectation import Expectation, expect
from pegline.commands.prepare.growth import MOST_STATIONS, grown_drafts
from pegline.commands.prepare.layout import triangles
from pegline.commands.prepare.rules import judge_layout, meets_scale
from pegline.plane import distance
from pegline.records import record

__all__ = ["Proposal", "is_sound", "propose", "why_none"]

MAX_PROPOSALS: Final = 3
LOOKED_AT: Final = 2  #: sound layouts that are compared for each that is proposed
MAX_GROWN: Final = 40  #: grown drafts that are followed to their accuracies, the cheapest first
MAX_MENDINGS: Final = 6  #: lines that are added to a draft until every station is checked
STRIP: Final = (
    0.29  #: half the tangent of 30°: a plot narrower than this share of its length holds no good triangle over it
)


@record(frozen=True, slots=True)
class Proposal:
    """A layout that is worth measuring."""

    draft: Draft
    expectation: Expectation
    cost: float  #: metres of taping, pegs counted with ``PEG``
    gain: float  #: rise of the smallest redundancy number of a line's length
    why: str  #: two sentences


def propose(expectation: Expectation, most: int = MAX_PROPOSALS, ground: Ground | None = None) -> tuple[Proposal, ...]:
    """Return the best layouts for what a sketch shows; none where none is sound.

    First those that are good enough for the plan's scale, the cheapest first. Where no figure of few stations
    does, more are tried, grown one by one.

    Parameters
    ----------
    ground
        The plot with its places for stations; from the sketch unless given.
    """
    if ground is not None:
        return _sound_ones(ground, drafts_to_follow(ground, drafts(ground)), expectation, most)
    ground = ground_of(expectation.intention)
    if ground is None:
        return ()
    proposals = _sound_ones(ground, drafts_to_follow(ground, drafts(ground)), expectation, most)
    if proposals:
        return proposals
    more = ground_of(expectation.intention, most=MORE_PLACES) or ground
    grown = (one for draft in grown_drafts(more) for one in add_third_lines(more, draft))
    return _sound_ones(more, list(islice(grown, MAX_GROWN)), expectation, most)


def _sound_ones(ground: Ground, some: Sequence[Draft], expectation: Expectation, most: int) -> tuple[Proposal, ...]:
    """Return the sound layouts among drafts, those that are good enough for the plan's scale first."""
    before = _smallest_redundancy(expectation)
    proposals: list[Proposal] = []
    for draft in some:
        if any(set(draft.places) == set(other.draft.places) for other in proposals):
            continue
        proposal = _follow_draft(ground, draft, before)
        if proposal is not None:
            proposals.append(proposal)
        if len(proposals) == LOOKED_AT * most:
            break
    return tuple(sorted(proposals, key=lambda proposal: (not meets_scale(proposal.expectation), proposal.cost))[:most])


def _follow_draft(ground: Ground, draft: Draft, before: float) -> Proposal | None:
    """Return a draft as a proposal, with another line where one station is not checked yet; None where unsound."""
    for _ in range(MAX_MENDINGS):
        expectation = expect(as_intention(ground, draft))
        if is_sound(expectation):
            gain = _smallest_redundancy(expectation) - before
            return Proposal(draft, expectation, cost_of(ground, draft), gain, _why(expectation))
        more = add_checking_line(ground, draft, expectation)
        if more is None:
            return None
        draft = more
    return None


def is_sound(expectation: Expectation) -> bool:
    """Return whether a layout is well-conditioned, every station checked, everything in reach."""
    survey, layout = expectation.survey, expectation.intention.layout
    if survey is None or expectation.unreached or not survey.adjustment.checks:
        return False
    made = list(triangles(layout))
    return (
        bool(made)
        and all(survey.solved.unnoticed.is_checked(name) for name in layout.stations)
        and all(remark.good or remark.rule == "scale" for remark in judge_layout(expectation))
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
    ground = ground_of(expectation.intention)
    if ground is None:
        return "the sketch shows no outline and too few points to propose from; sketch the boundary's corners"
    if len(ground.visible) < 3:
        return "hardly two places see one another: obstacles hide the lines; sketch more room, or name fewer obstacles"
    more = ground_of(expectation.intention, most=MORE_PLACES) or ground
    missing = sorted(ground.points_to_pick_up - frozenset().union(*(more.picked_up(*pair) for pair in more.visible)))
    if missing:
        return f"no line that can be seen along on the plot reaches {', '.join(missing[:6])}"
    wide, long = sides_of(ground.outline)
    if wide < STRIP * long:
        smallest = expectation.intention.limits.smallest_angle
        return (
            f"the plot is a strip, {wide:.0f} m wide and {long:.0f} m long: a triangle with angles over {smallest:.0f}°"
            f" is at most about {wide / STRIP:.0f} m long there, and no long line with triangles on its tie stations"
            " was found that reaches and checks everything; put stations outside, where you can"
        )
    return f"no layout of up to {MOST_STATIONS} stations was found that reaches everything and checks every station"


def sides_of(outline: Polygon) -> tuple[float, float]:
    """Return breadth and length of the smallest rectangle round an outline, metres."""
    corners = np.array(outline.minimum_rotated_rectangle.exterior.coords[:3])
    wide, long = sorted(float(distance(one, other)) for one, other in pairwise(corners))
    return wide, long
