"""A layout judged as an experienced chainman would, in the order of what matters."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations
from math import sin, sqrt
from typing import Final, NamedTuple

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.prepare.expectation import Expectation
from pegline.commands.prepare.layout import Layout, PlannedLine, Triangle, crossed_by, triangles
from pegline.diagnosis.rules.thumb import PAPER
from pegline.measures.notation import Notation
from pegline.plane import distance
from pegline.reduction.reduce import RIGHT_ANGLE_SD

__all__ = [
    "Remark",
    "crossings",
    "judge_layout",
    "longest_offset",
    "longest_offset_by_both",
    "meets_scale",
    "picked_up",
    "smallest_noticed",
    "well_conditioned",
]


def longest_offset(finest: float, angle: float) -> float:
    """Return the longest offset whose right angle, off by an angle, displaces its point by no more than is shown.

        L = e S / sin a

    Parameters
    ----------
    shown
        What the plan can show on the ground, metres: the plotting limit times the scale, e S.
    angle
        By how much the right angle may be off, radians.

    References
    ----------
    B. C. Punmia, Surveying, chapter on chain surveying (the formula, from memory).

    Examples
    --------
    >>> from math import radians
    >>> round(longest_offset(0.025 * 100, radians(2.0)), 2)
    71.63
    """
    return finest / sin(angle)


def longest_offset_by_both(finest: float, ratio: float) -> float:
    """Return the longest offset where its length, known to 1 in ``ratio``, errs as much as its right angle.

        L = e S r / √2

    Parameters
    ----------
    shown
        What the plan can show on the ground, metres.
    ratio
        r of the accuracy 1 in r of the length.

    Examples
    --------
    >>> round(longest_offset_by_both(0.05 * 20, 40.0), 2)
    28.28
    """
    return finest * ratio / sqrt(2)


#: A line this much longer than the base line should be the base line.
LONGER_THAN_BASE: Final = 1.02


class Remark(NamedTuple):
    """One sentence of the judgement."""

    rule: str
    text: str
    good: bool
    source: str | None = None  #: ``LINE:COLUMN`` of the book

    @property
    def sound(self) -> bool:
        """Return whether a layout may have it: a detail coarser than the plan shows is a note here as in ``check``."""
        return self.good or self.rule == "scale"


Rule = Callable[[Expectation, Notation], Iterator[Remark]]


def judge_layout(expectation: Expectation) -> tuple[Remark, ...]:
    """Return the judgement of a layout, what matters most first."""
    notation = notation_of(expectation.intention.book)
    return tuple(remark for rule in LAYOUT_RULES for remark in rule(expectation, notation))


def well_conditioned(triangle: Triangle, expectation: Expectation) -> bool:
    """Return whether the angles of a triangle lie within the limits."""
    limits = expectation.intention.limits
    return limits.smallest_angle <= triangle.smallest and triangle.largest <= limits.largest_angle


def crossings(expectation: Expectation) -> dict[str, tuple[str, ...]]:
    """Return the obstacles that each line crosses; a leg past an obstacle is booked, and crosses nothing."""
    layout = expectation.intention.layout
    return {
        line.name: tuple(crossed_by(layout.place(line.start), layout.place(line.end), layout.obstacles))
        for line in layout.lines
    }


def smallest_noticed(expectation: Expectation, line: str) -> float | None:
    """Return the smallest mistake in a line's length that would be noticed, metres; None where none would."""
    survey = expectation.survey
    if survey is None:
        return None
    noticed = survey.solved.unnoticed.smallest_noticed
    return next((size for booking, size in noticed.items() if booking.measured_line == line), None)


# -- the rules -------------------------------------------------------------------------------------------------------


def _sketch(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    missing = expectation.intention.unplaced
    if missing:
        yield Remark("sketch", f"no place on the sketch: {', '.join(missing)}; add sketch: [x, y] to each", False)
    if not expectation.intention.layout.lines:
        yield Remark("lines", "no line is planned yet; draw some, or let --propose find them", False)
    elif expectation.trouble:
        yield Remark("lines", f"the lines fix no plan yet: {expectation.trouble}", False)


def _base(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    layout = expectation.intention.layout
    base = layout.base
    if base is None:
        return
    longest = max(layout.framework, key=layout.length)
    if layout.length(longest) > LONGER_THAN_BASE * layout.length(base):
        text = (
            f"the base line {base.name} ({notation.length(layout.length(base))}) is not the longest: {longest.name} is"
            f" {notation.length(layout.length(longest))}; make it the base, so that errors shrink and do not grow"
        )
        yield Remark("base", text, False, base.place)
    else:
        yield Remark("base", f"the base line {base.name} is the longest, as it should be", True, base.place)


def _triangles(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    limits = expectation.intention.limits
    corners = list(triangles(expectation.intention.layout))
    for triangle in corners:
        if not well_conditioned(triangle, expectation):
            bad, what = (
                (triangle.smallest, "under")
                if triangle.smallest < limits.smallest_angle
                else (triangle.largest, "over")
            )
            limit = limits.smallest_angle if what == "under" else limits.largest_angle
            text = (
                f"triangle {'-'.join(triangle.stations)} has an angle of {bad:.0f}°, {what} {limit:.0f}°: arcs that cut"
                " so flat fix a station badly; move one of its stations"
            )
            yield Remark("triangle", text, False)
    if corners and all(well_conditioned(triangle, expectation) for triangle in corners):
        smallest = min(triangle.smallest for triangle in corners)
        yield Remark("triangle", f"every triangle is well-conditioned; the smallest angle is {smallest:.0f}°", True)


def _check_remarks(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    survey = expectation.survey
    if survey is None:
        return
    unchecked = survey.solved.unchecked
    if unchecked:
        line = _helpful_line(expectation, unchecked[0])
        add = f"; a line {line} would check it" if line else "; add a line from it to a station that it has none to"
        text = (
            f"a mistake could move {', '.join(unchecked)} unnoticed by over {notation.length(_limit(expectation))}{add}"
        )
        yield Remark("unchecked", text, False)
    elif survey.adjustment.checks:
        text = (
            f"no mistake that goes unnoticed could move a station by more than {notation.length(_limit(expectation))}"
        )
        yield Remark("checked", text, True)


def _limit(expectation: Expectation) -> float:
    return expectation.survey.solved.unnoticed.limit if expectation.survey else 0.0


def _helpful_line(expectation: Expectation, station: str) -> str | None:
    """Return the shortest line that could be taped to a station and is not yet."""
    layout = expectation.intention.layout
    joined = {frozenset((line.start, line.end)) for line in layout.framework}
    ends = {line.name: (line.start, line.end) for line in layout.framework}
    joined |= {frozenset((tie, end)) for tie, on in layout.ties.items() for end in ends.get(on, ())}
    free = [
        other
        for other in layout.stations
        if other != station
        and frozenset((station, other)) not in joined
        and not any(crossed_by(layout.stations[station], layout.stations[other], layout.obstacles))
    ]
    nearest = min(
        free, key=lambda other: float(distance(layout.stations[station], layout.stations[other])), default=None
    )
    return f"{station}-{nearest}" if nearest else None


def _reach(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    limits = expectation.intention.limits
    if not expectation.intention.layout.lines:
        return
    if expectation.unreached:
        text = (
            f"out of reach of every line: {', '.join(expectation.unreached)} (over {notation.length(limits.offset)} at"
            f" right angles, or {notation.length(limits.oblique)} by two tapes, or behind an obstacle); add a tie line"
            " that passes by"
        )
        yield Remark("reach", text, False)
    oblique = [name for name, booking in expectation.bookings.items() if booking.method == "oblique"]
    if oblique:
        yield Remark("oblique", f"by two oblique distances, too far for a right angle: {', '.join(oblique)}", True)
    if expectation.bookings and not expectation.unreached:
        yield Remark("reach", "everything that is sketched is in reach of a line", True)


def _crossing_remarks(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    for line in expectation.intention.layout.lines:
        crossed = crossings(expectation)[line.name]
        if crossed:
            text = (
                f"line {line.name} crosses {' and '.join(crossed)}: range round it by a parallel or a triangle, or take"
                " another line"
            )
            yield Remark("crosses", text, False, line.place)


def _ties(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    """Say which new line would pick up what is out of reach, or shorten the most long offsets."""
    layout, limits = expectation.intention.layout, expectation.intention.limits
    if not expectation.unreached:
        return
    joined = {frozenset((line.start, line.end)) for line in layout.framework}
    best: tuple[int, float, str] | None = None
    for one, other in combinations(layout.stations, 2):
        start, end = layout.stations[one], layout.stations[other]
        if frozenset((one, other)) in joined or any(crossed_by(start, end, layout.obstacles)):
            continue
        near = sum(_near(start, end, layout.points[name], limits.offset) for name in expectation.unreached)
        ranked = (near, -float(distance(start, end)), f"{one}-{other}")
        best = max(best, ranked) if best else ranked
    if best and best[0]:
        yield Remark("tie-line", f"a tie line {best[2]} would pick up {best[0]} of them", False)


def _near(start: np.ndarray, end: np.ndarray, point: np.ndarray, limit: float) -> bool:
    from pegline.plane import foot

    chainage, offset = foot(start, end, point)
    return bool(0 <= chainage <= distance(start, end) and abs(offset) <= limit)


def _scale(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    survey = expectation.survey
    scale = expectation.intention.book.scale
    if survey is None or scale is None:
        return
    points = survey.detail.points
    sds = {name: _sd(points.local_variances[row]) for name, row in points.index.items()}
    weak = {name: sd for name, sd in sds.items() if sd > PAPER * scale}
    finest = notation.accuracy(PAPER * scale)
    if weak:
        worst = max(weak, key=weak.__getitem__)
        text = (
            f"at 1:{scale} the plan shows {finest}; {worst} is expected to be known to {notation.accuracy(weak[worst])}"
            f" only (1 σ, relative to the base line)"
        )
        yield Remark("scale", text + (f", and {len(weak) - 1} more" if len(weak) > 1 else ""), False)
    elif sds:
        text = f"everything is expected to be known better than the {finest} that a plan at 1:{scale} shows"
        yield Remark("scale", text, True)


def _offsets(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    """Say up to which length an offset is as good as the plan shows, by the usual way its right angle is found."""
    book = expectation.intention.book
    if book.scale is None or not expectation.bookings:
        return
    method = book.default_method
    longest = longest_offset(PAPER * book.scale, RIGHT_ANGLE_SD.get(method, RIGHT_ANGLE_SD[None]))
    if method != "swing":
        how = f"by {method}" if method else "with a right angle by no stated method"
        text = (
            f"{how}, offsets up to {notation.length(longest)} stand as square as a plan at 1:{book.scale} shows (1 σ)"
        )
        yield Remark("offset-limit", text, True)


def _next(expectation: Expectation, notation: Notation) -> Iterator[Remark]:
    """Say what to tape next in a book that is partly measured, in the order of walking."""
    intention = expectation.intention
    lines_left = [line for line in intention.layout.lines if line.name not in intention.book.lines]
    if not intention.book.lines or not lines_left:
        return
    lines_booked = list(intention.book.lines.values())
    here, order = lines_booked[-1].end, []
    while lines_left:
        place = intention.layout.place(here) if here in intention.layout.stations else None
        nearest = min(lines_left, key=lambda line: _walk(intention.layout, place, line))
        lines_left.remove(nearest)
        order.append(nearest.name)
        here = nearest.end
    yield Remark("next", f"to tape next, in the order of walking: {', '.join(order)}", True)


def _walk(layout: Layout, place: np.ndarray | None, line: PlannedLine) -> float:
    """Return how far it is to the start of a line, metres."""
    return 0.0 if place is None else float(distance(place, layout.place(line.start)))


def picked_up(expectation: Expectation, line: str) -> list[str]:
    """Return the points that a line picks up: those booked from it already, and those that it is meant for."""
    book = expectation.intention.book
    booked = [row.name for row in book.lines[line].details if not row.is_tie_station] if line in book.lines else []
    return booked + [name for name, booking in expectation.bookings.items() if booking.line == line]


def meets_scale(expectation: Expectation) -> bool:
    """Return whether everything is expected to be known as well as the plan's scale shows it."""
    scale, survey = expectation.intention.book.scale, expectation.survey
    if scale is None or survey is None:
        return True
    return all(_sd(variance) <= PAPER * scale for variance in survey.detail.points.local_variances)


def _sd(variance: np.ndarray) -> float:
    """Return the standard deviation along the weakest direction, metres."""
    return float(np.sqrt(np.linalg.eigvalsh(variance)[-1]))


#: In the order of what matters.
LAYOUT_RULES: Final[tuple[Rule, ...]] = (
    _sketch,
    _base,
    _triangles,
    _check_remarks,
    _reach,
    _ties,
    _crossing_remarks,
    _scale,
    _offsets,
    _next,
)
