"""Two ways to set a point out, and how near each puts it: from a chain line, and by distances from standing points."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations
from math import pi, sqrt
from typing import Final

import numpy as np

from pegline.commands.positions import difference_quotients
from pegline.commands.setout.targets import TargetSet
from pegline.commands.taping import TapeInHand, fixed_by, units_towards
from pegline.network.confidence import CHI2_95, confidence_radii
from pegline.network.observations import RANGING_SD
from pegline.plane import Array, bearing, distance, foot, left_of, wrap_angle
from pegline.records import record
from pegline.reduction.reduce import foot_sd

__all__ = ["ArcsWay", "LineWay", "Tapes", "Ways", "equal_sd", "survey_spread", "ways_of"]

MAX_LINES_TOLD: Final = 3  #: lines told for one target
MAX_ANCHORS: Final = 10  #: nearest standing points that are tried
LINE_OVERHANG: Final = 0.5  #: how far before its start or beyond its end a line is used, metres
#: By how much worse distances from points that checks reach may be than others, to be told first.
UNCHECKED_ADVANTAGE: Final = 1.25
MIN_ARC: Final = 0.5  #: no distance is taped from nearer, metres
OFFSET_LIMIT: Final = 10.0  #: longest offset where the book states no limit, metres (common practice)
ON_LINE_METRES: Final = 1e-3  #: nearer than this a point is on the line, metres


@record(frozen=True, slots=True)
class Tapes:
    """The tapes in hand."""

    line: TapeInHand  #: along the line
    offset: TapeInHand  #: for offsets and distances

    @property
    def same(self) -> bool:
        """Return whether one tape does both, and its scale is in both."""
        return self.line.constants.name == self.offset.constants.name


@record(frozen=True, slots=True)
class LineWay:
    """By chainage and offset from a chain line whose pegs stand."""

    line: str
    at: float  #: on the ground, metres
    offset: float  #: left positive
    reads_at: float  #: what the tape should read
    reads_offset: float
    method: str | None  #: how the right angle is set out
    sd: float  #: on the ground, metres
    covariance: Array  #: (2, 2) in the frame


@record(frozen=True, slots=True)
class ArcsWay:
    """By two or three distances from standing points."""

    distances: Mapping[str, float]  #: on the ground, metres
    reads: Mapping[str, float]
    angle: float  #: at which the first two arcs cut, radians
    sd: float  #: on the ground, metres
    covariance: Array  #: (2, 2) in the frame


@record(frozen=True, slots=True)
class Ways:
    """How one target is set out."""

    name: str
    position: Array  #: (2,) in the frame about its origin
    by_line: tuple[LineWay, ...]  #: the best first
    by_arcs: tuple[ArcsWay, ...]

    @property
    def best(self) -> LineWay | ArcsWay | None:
        """Return the way with the smaller standard deviation; None where there is none."""
        ways: list[LineWay | ArcsWay] = [*self.by_line[:1], *self.by_arcs[:1]]
        return min(ways, key=lambda way: way.sd, default=None)


def equal_sd(covariance: Array) -> float:
    """Return the standard deviation of a round distribution that holds a point within the same radius as this one.

    σ = r₉₅ / √(-2 ln 0.05), so that 2.45 σ holds it in 95 of 100 cases.

    >>> round(equal_sd(np.diag([4.0, 4.0])), 6)
    2.0
    """
    return float(confidence_radii(covariance[None])[0]) / sqrt(CHI2_95)


def ways_of(targets: TargetSet, tapes: Tapes, standing: Sequence[str], gone: frozenset[str]) -> Iterator[Ways]:
    """Yield how each target is set out.

    Parameters
    ----------
    standing
        Points that distances can be taped from.
    gone
        Stations and points that stand no longer.
    """
    survey = targets.positions.survey
    limit = survey.book.limits.offset
    longest = limit.metres(survey.book.unit) if limit else OFFSET_LIMIT
    for name, at in targets.at.items():
        lines = _usual(sorted(_by_lines(targets, name, tapes, gone), key=lambda way: way.sd), longest)
        anchors = [one for one in standing if one not in gone and one != name]
        checked = [one for one in anchors if survey.solved.unnoticed.is_checked(one)]
        arcs, sure = (_by_arcs(targets, name, tapes.offset, some) for some in (anchors, checked))
        if (
            sure and sure[0].sd <= UNCHECKED_ADVANTAGE * arcs[0].sd
        ):  # what no check reaches only where it is clearly better
            arcs = sure
        yield Ways(name, at, tuple(lines), tuple(arcs))


def _usual(lines: list[LineWay], longest: float) -> tuple[LineWay, ...]:
    """Return the best lines, those with offsets over the limit only where there is no other."""
    return tuple([way for way in lines if abs(way.offset) <= longest] or lines)[:MAX_LINES_TOLD]


def survey_spread(
    targets: TargetSet, name: str, further: Sequence[str], figures: Callable[[Array, Array], Array]
) -> Array:
    """Return the covariance (k, k) of figures computed from a target and further points, by the survey's errors.

    What is computed is wrong by these errors and the ground is not, so they are what a point set out by the
    figures is wrong by, measured from what really stands there.
    """
    positions, used_names = targets.positions, targets.used
    ends = positions.all(further).ravel()
    values = np.concatenate((targets.at[name], ends))
    by_ends = difference_quotients(lambda moved: figures(moved[:2], moved[2:].reshape(-1, 2)), values)
    by = np.concatenate((by_ends[:, :2] @ targets.by_survey[name], by_ends[:, 2:]), axis=1)
    spread: Array = by @ positions.covariance((*used_names, *further)) @ by.T
    return spread


# -- from a chain line -----------------------------------------------------------------------------------------------


def _by_lines(targets: TargetSet, name: str, tapes: Tapes, gone: frozenset[str]) -> Iterator[LineWay]:
    survey, scale, at = targets.positions.survey, targets.positions.scale, targets.at[name]
    solution = survey.adjustment.solution
    for line in survey.reduction.lines.values():
        ends = (line.start, line.end)
        if line.use == "detail" or gone & set(ends) or name in ends or not all(end in solution.index for end in ends):
            continue
        start, end = (solution.position(one) for one in ends)
        chainage, offset = (float(value) / scale for value in foot(start, end, at))
        length = float(distance(start, end)) / scale
        if -LINE_OVERHANG <= chainage <= length + LINE_OVERHANG and abs(offset) <= tapes.offset.length:
            method = line.booked.method or survey.book.default_method
            spread = survey_spread(targets, name, ends, lambda there, ends: np.array(foot(ends[0], ends[1], there)))
            spread = spread + _taping_covariance(chainage, offset, method, tapes) * scale**2
            unit = (end - start) / distance(start, end)
            axes = np.column_stack((unit, left_of(unit)))
            covariance = axes @ spread @ axes.T
            reads = tapes.line.reads(chainage), tapes.offset.reads(abs(offset)) * (1 if offset >= 0 else -1)
            yield LineWay(line.name, chainage, offset, *reads, method, equal_sd(covariance) / scale, covariance)


def _taping_covariance(chainage: float, offset: float, method: str | None, tapes: Tapes) -> Array:
    """Return the covariance (2, 2) of taping a chainage and an offset, along the line and across it.

    Along: the tape, and the right angle, which is off by more the longer the offset. Across: the tape, or how
    well a point is ranged into the line. What each tape's scale adds goes along and across together.
    """
    along = tapes.line.sd(chainage) ** 2 + foot_sd(abs(offset), method) ** 2
    across = tapes.offset.sd(abs(offset)) if abs(offset) > ON_LINE_METRES else RANGING_SD
    by_scale = np.array([chainage * tapes.line.scale_sd, offset * tapes.offset.scale_sd])
    shared = np.outer(by_scale, by_scale) if tapes.same else np.diag(by_scale**2)
    return np.asarray(np.diag([along, across**2]) + shared)


# -- by distances ----------------------------------------------------------------------------------------------------


def _by_arcs(targets: TargetSet, name: str, tape: TapeInHand, standing: Sequence[str]) -> list[ArcsWay]:
    """Return the best two distances, and the best third beside them, the better first."""
    positions, at = targets.positions, targets.at[name]
    away = {one: float(distance(positions.of(one), at)) / positions.scale for one in standing}
    near = sorted((one for one in standing if MIN_ARC < away[one] <= tape.length), key=away.__getitem__)[:MAX_ANCHORS]
    if len(near) < 2:
        return []
    anchors, lengths = positions.all(near), np.array([away[one] for one in near])
    spread = survey_spread(targets, name, near, lambda there, ends: distance(ends, there))
    spread = spread / positions.scale**2 + tape.covariance(lengths)
    units = units_towards(at, anchors)

    def covariance_by(numbers: tuple[int, ...]) -> Array | None:
        return fixed_by(units[list(numbers)], spread[np.ix_(numbers, numbers)])

    def weakness(numbers: tuple[int, ...]) -> float:
        covariance = covariance_by(numbers)
        return float("inf") if covariance is None else float(np.trace(covariance))

    pair = min(combinations(range(len(near)), 2), key=weakness)
    combinations_used: list[tuple[int, ...]] = [pair]
    if len(near) > 2:
        combinations_used.append(min(((*pair, third) for third in range(len(near)) if third not in pair), key=weakness))
    ways = []
    for numbers in combinations_used:
        covariance = covariance_by(numbers)
        if covariance is not None:
            lengths_held = {near[i]: away[near[i]] for i in numbers}
            reads = {one: tape.reads(length) for one, length in lengths_held.items()}
            angle = _cut(at, anchors[pair[0]], anchors[pair[1]])
            ways.append(ArcsWay(lengths_held, reads, angle, equal_sd(covariance), covariance * positions.scale**2))
    return sorted(ways, key=lambda way: way.sd)


def _cut(at: Array, one: Array, other: Array) -> float:
    """Return the angle at which two arcs cut, radians, at most a right angle."""
    between = abs(float(wrap_angle(bearing(at, one) - bearing(at, other))))
    return min(between, pi - between)
