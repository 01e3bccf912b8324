"""Layouts proposed: few pegs, little taping, well-conditioned triangles, every station checked, everything in reach."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from shapely import Polygon

from pegline.book.habits import notation_of
from pegline.commands.prepare.candidates import Ground, ground_of
from pegline.commands.prepare.drafts import (
    MAX_MENDED,
    MAX_STATIONS,
    Draft,
    add_checking_line,
    add_tie_lines,
    as_intention,
    cost_of,
    drafts,
    drafts_to_follow,
    points_in_reach,
)
from pegline.commands.prepare.expectation import Expectation, expect
from pegline.commands.prepare.layout import triangles
from pegline.commands.prepare.rules import meets_scale, well_conditioned
from pegline.plane import distance
from pegline.records import record

__all__ = ["Proposal", "is_sound", "propose", "why_none"]

MAX_PROPOSALS: Final = 3
LOOKED_AT: Final = 2  #: sound layouts that are compared for each that is proposed
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

    First those that are good enough for the plan's scale, the cheapest first.

    Parameters
    ----------
    ground
        The plot with its places for stations; from the sketch unless given.
    """
    ground = ground or ground_of(expectation.intention)
    if ground is None:
        return ()
    before = _smallest_redundancy(expectation)
    proposals: list[Proposal] = []
    for draft in drafts_to_follow(ground, drafts(ground)):
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
    for _ in range(4):
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
        and all(well_conditioned(triangle, expectation) for triangle in made)
        and all(survey.solved.unnoticed.is_checked(name) for name in layout.stations)
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
    wide, long = sides_of(ground.outline)
    if wide < STRIP * long:
        smallest = expectation.intention.limits.smallest_angle
        return (
            f"the plot is a strip, {wide:.0f} m wide and {long:.0f} m long: a triangle with angles over {smallest:.0f}°"
            f" is at most about {wide / STRIP:.0f} m long there, so it takes a chain of triangles, or stations outside"
        )
    mended = (add_tie_lines(ground, draft) for draft in list(drafts(ground))[:MAX_MENDED])
    best = max((points_in_reach(ground, draft) for draft in mended), key=len, default=frozenset[str]())
    missing = sorted(ground.points_to_pick_up - best)
    if missing:
        return f"no well-conditioned layout of up to {MAX_STATIONS} stations reaches {', '.join(missing[:6])}"
    return "no layout that reaches everything has every station checked: too few lines can be seen across"


def sides_of(outline: Polygon) -> tuple[float, float]:
    """Return breadth and length of the smallest rectangle round an outline, metres."""
    corners = np.array(outline.minimum_rotated_rectangle.exterior.coords[:3])
    wide, long = sorted(float(distance(one, other)) for one, other in pairwise(corners))
    return wide, long
