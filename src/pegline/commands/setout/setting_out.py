"""Targets to be set out: the ways to each, what checks the whole, and what was measured back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, pairwise
from math import degrees, floor, hypot
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np

from pegline.commands.findpeg.search import lasting_points
from pegline.commands.positions import Positions
from pegline.commands.setout.targets import TargetFeature, TargetSet
from pegline.commands.setout.ways import ArcsWay, LineWay, Tapes, Ways, survey_spread, ways_of
from pegline.commands.taping import units_towards
from pegline.diagnosis.rules.phrases import list_names
from pegline.errors import UsageError
from pegline.measures.notation import Notation
from pegline.measures.spelling import suggest
from pegline.plane import distance
from pegline.records import record
from pegline.reduction.ground import correct_length
from pegline.survey import Survey
from pegline.units import METRES_PER

__all__ = [
    "CheckDistance",
    "MeasuredBack",
    "ProofReading",
    "SettingOut",
    "TapedRightAngle",
    "arcs_sentence",
    "line_sentence",
    "setting_out_of",
    "three_four_five",
    "unchecked_sentence",
]


MAX_PAIRS: Final = 28  #: distances between targets that are told: all those of eight
#: What one part of a 3-4-5 triangle is, by the book's unit: a metre, a foot, ten links.
TRIANGLE_UNITS: Final = {"ft": "ft", "in": "ft", "yd": "ft", "ft-us": "ft-us", "ft-indian": "ft-indian", "lk-eng": "ft"}


class ProofReading(NamedTuple):
    """A distance measured back from a target that was set out."""

    target: str
    start: str  #: a point of the survey, or another target
    reading: float  #: off the tape, metres


@record(frozen=True, slots=True)
class CheckDistance:
    """A distance between two targets."""

    between: tuple[str, str]
    distance: float  #: on the ground, metres
    allowed: float  #: difference that the tapes explain


@record(frozen=True, slots=True)
class MeasuredBack:
    """A distance measured back, compared with what it should be."""

    target: str
    start: str
    reading: float
    computed: float
    difference: float  #: measured less computed, on the ground, metres
    allowed: float
    passed: bool


@record(frozen=True, slots=True)
class TapedRightAngle:
    """The sides of a right angle that a tape can hold, in the proportion 4, 3 and 5."""

    along: float
    across: float
    diagonal: float


@record(frozen=True, slots=True)
class SettingOut:
    """Everything that is needed to set the targets out, and to prove them."""

    survey: Survey
    targets: TargetSet
    tapes: Tapes
    ways: tuple[Ways, ...]
    checks: tuple[CheckDistance, ...]
    square: TapedRightAngle
    measured: tuple[MeasuredBack, ...]

    @property
    def failed_targets(self) -> tuple[str, ...]:
        """Return the targets that what was measured back does not agree with."""
        return tuple(dict.fromkeys(one.target for one in self.measured if not one.passed))

    def unchecked(self, ways: Ways) -> tuple[str, ...]:
        """Return the survey's points that a target is computed or set out from and that no check reaches."""
        best = ways.best
        if isinstance(best, LineWay):
            line = self.survey.reduction.lines[best.line]
            stood_at: Iterable[str] = (line.start, line.end)
        else:
            stood_at = best.distances if best else ()
        names = dict.fromkeys((*self.targets.hangs_on(ways.name), *stood_at))
        return tuple(name for name in names if not self.survey.solved.unnoticed.is_checked(name))


def setting_out_of(
    survey: Survey, targets: TargetSet, tapes: Tapes, *, gone: Sequence[str] = (), readings: Sequence[ProofReading] = ()
) -> SettingOut:
    """Return how targets are set out and checked.

    Parameters
    ----------
    gone
        Stations and points that stand no longer.
    readings
        What was measured back at the new pegs.

    Raises
    ------
    UsageError
        A name that is neither surveyed nor a target.
    """
    positions = targets.positions
    for name in gone:
        positions.require(name)
    standing = tuple(_lasting_marks(positions))
    ways = tuple(ways_of(targets, tapes, standing, frozenset(gone)))
    by_name = {one.name: one for one in ways}
    return SettingOut(
        survey=survey,
        targets=targets,
        tapes=tapes,
        ways=ways,
        checks=tuple(_checks(targets, by_name, tapes)),
        square=three_four_five(
            tapes.offset.length, room=_room(survey, ways), part=METRES_PER[TRIANGLE_UNITS.get(survey.book.unit, "m")]
        ),
        measured=tuple(_measure_back(targets, by_name, tapes, reading) for reading in readings),
    )


def _lasting_marks(positions: Positions) -> Iterator[str]:
    """Yield what distances can be taped from: stations, then points of things that last."""
    survey = positions.survey
    yield from survey.solved.stations
    not_stood_at = {*survey.solved.stations, *survey.book.meeting_points}
    for shape in survey.detail.shapes.values():
        yield from (name for name in lasting_points(shape) if name not in not_stood_at)


def three_four_five(tape: float, *, room: float, part: float = 1.0) -> TapedRightAngle:
    """Return the largest right angle by 3, 4 and 5 parts that a tape and the room along a line allow.

        along = 4 k,   across = 3 k,   diagonal = 5 k

    in whole parts where they fit, else in tenths of one.

    Parameters
    ----------
    tape
        Its length, metres.
    room
        The length to be had along the line, metres.
    part
        What is counted in, metres: a metre, or a foot.

    References
    ----------
    A. Nesbit, A Complete Treatise on Practical Land-Surveying, 1870, p. 22, sets a perpendicular out by 3, 4 and 5.

    Examples
    --------
    >>> three_four_five(30.0, room=60.0)
    TapedRightAngle(along=24.0, across=18.0, diagonal=30.0)
    >>> three_four_five(30.0, room=10.0)
    TapedRightAngle(along=8.0, across=6.0, diagonal=10.0)
    """
    most = min(tape / 5, room / 4) / part
    times = floor(most + 1e-9) if most >= 1 else max(floor(most * 10 + 1e-9) / 10, 0.1)
    return TapedRightAngle(4 * times * part, 3 * times * part, 5 * times * part)


def _room(survey: Survey, ways: Sequence[Ways]) -> float:
    """Return the length of the shortest line that a target is best set out from; of the longest line without any."""
    lengths = {name: line.ground.length for name, line in survey.reduction.lines.items()}
    line_lengths = [lengths[way.by_line[0].line] for way in ways if way.by_line]
    return min(line_lengths) if line_lengths else max(lengths.values(), default=0.0)


def _critical(survey: Survey) -> float:
    return NormalDist().inv_cdf(1 - survey.book.limits.significance / 2)


def _checks(targets: TargetSet, ways: dict[str, Ways], tapes: Tapes) -> Iterator[CheckDistance]:
    """Yield the distances that check the whole: sides and diagonals of features, and between single targets."""
    pairs: dict[frozenset[str], tuple[str, str]] = {}
    for one, other in _pairs(targets):
        if one != other and (one in ways or other in ways):
            pairs.setdefault(frozenset((one, other)), (one, other))
    critical = _critical(targets.positions.survey)
    for one, other in list(pairs.values())[:MAX_PAIRS]:
        ends = np.array([_place(targets, one), _place(targets, other)])
        apart = float(distance(*ends)) / targets.positions.scale
        unit = units_towards(ends[0], ends[1:])[0]
        spread = sum(float(unit @ way.best.covariance @ unit) for way in _set(ways, one, other) if way.best)
        sd = hypot(spread**0.5, tapes.offset.sd(apart), tapes.offset.scale_sd * apart)
        yield CheckDistance((one, other), apart, critical * sd)


def _set(ways: dict[str, Ways], *names: str) -> Iterator[Ways]:
    return (ways[name] for name in names if name in ways)


def _pairs(targets: TargetSet) -> Iterator[tuple[str, str]]:
    grouped: set[str] = set()
    for outline in targets.outlines:
        grouped.update(outline.points)
        yield from pairwise(outline.points)
        if outline.closed:
            yield outline.points[-1], outline.points[0]
        yield from _diagonals(outline)
    single = [name for name in targets.names if name not in grouped]
    yield from combinations(single, 2)


def _diagonals(outline: TargetFeature) -> Iterator[tuple[str, str]]:
    """Yield the diagonals of an outline: both of a rectangle, and from its first corner of any other closed one."""
    points = outline.points
    if outline.closed and len(points) > 3:
        yield from ((points[0], other) for other in points[2:-1])
        yield points[1], points[-1]


def _place(targets: TargetSet, name: str) -> np.ndarray:
    if name in targets.at:
        return targets.at[name]
    return targets.positions.of(targets.positions.require(name))


def _measure_back(targets: TargetSet, ways: dict[str, Ways], tapes: Tapes, reading: ProofReading) -> MeasuredBack:
    """Return what was measured back beside what it should be."""
    positions = targets.positions
    if reading.target not in ways:
        raise UsageError(f"--from {reading.target!r} is no target{suggest(reading.target, list(ways))}")
    if reading.start not in ways and positions.point_behind(reading.start) is None:
        names = [*ways, *positions.names]
        raise UsageError(f"--from {reading.start!r} is neither surveyed nor a target{suggest(reading.start, names)}")
    there, start = _place(targets, reading.target), _place(targets, reading.start)
    computed = float(distance(start, there)) / positions.scale
    length = correct_length(reading.reading, tapes.offset.conditions, tapes.offset.constants)[0]
    unit = units_towards(there, start[None])[0]
    spread = sum(
        float(unit @ way.best.covariance @ unit) for way in _set(ways, reading.target, reading.start) if way.best
    )
    if reading.start not in ways:
        point = positions.require(reading.start)
        computed_spread = survey_spread(targets, reading.target, [point], lambda at, ends: distance(ends, at))
        spread += float(computed_spread[0, 0])
    sd = hypot(spread**0.5, tapes.offset.sd(length), tapes.offset.scale_sd * length)
    allowed = _critical(positions.survey) * sd
    difference = length - computed
    return MeasuredBack(
        reading.target, reading.start, reading.reading, computed, difference, allowed, abs(difference) <= allowed
    )


def line_sentence(way: LineWay, notation: Notation) -> str:
    """Return what to do along a line."""
    at = _length_to_hold(way.at, way.reads_at, notation)
    side = "left" if way.offset > 0 else "right"
    aside = f", {side} {_length_to_hold(abs(way.offset), abs(way.reads_offset), notation)}"
    by = f", right angle by {way.method}" if way.method else ""
    offset = aside + by if abs(way.offset) >= 0.0005 else ", on the line"
    return f"at {at}{offset} (± {notation.accuracy(way.sd)})"


def _length_to_hold(length: float, reads: float, notation: Notation) -> str:
    """Return a length, and what the tape should read where that is another figure."""
    figure, reading = notation.figure(length), notation.figure(reads)
    return notation.length(length) if figure == reading else f"{notation.length(length)} [{reading}]"


def arcs_sentence(way: ArcsWay, notation: Notation) -> str:
    """Return what to swing."""
    hold_words = ", ".join(
        f"{_length_to_hold(length, way.reads[name], notation)} from {name}" for name, length in way.distances.items()
    )
    return f"{hold_words}; cut {degrees(way.angle):.0f}° (± {notation.accuracy(way.sd)})"


def unchecked_sentence(names: Sequence[str]) -> str:
    """Return the warning that a target hangs on points that no check reaches."""
    what = "its row" if len(names) == 1 else "their rows"
    return (
        f"nothing checks {list_names(list(names))}: a mistake in {what} would put this peg wrong unseen. Tape from the"
        " new peg to a checked station, or to something else that is surveyed, before you build on it"
    )
