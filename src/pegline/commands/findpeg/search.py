"""A lost peg: its witnesses compared with the survey, how well it can be set again, and what else would help."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.book.geometry import Curve
from pegline.commands.findpeg.model import ArcCentre, LostPeg, Other, WitnessResult
from pegline.commands.findpeg.trial_peg import try_peg
from pegline.commands.positions import Positions
from pegline.commands.taping import TapeInHand, fixed_by, outlier_tests, tape_in_hand, units_towards
from pegline.detail.model import Shape
from pegline.detail.ruler import Arms, Ruler
from pegline.errors import UsageError
from pegline.kinds import LASTING
from pegline.measures.spelling import suggest
from pegline.network.confidence import confidence_radii
from pegline.network.critical_value import sidak
from pegline.plane import Array, distance
from pegline.records import record
from pegline.reduction.model import Ground
from pegline.survey import Survey

__all__ = ["find_peg", "lasting_points"]

MAX_OTHERS_TOLD: Final = 6  #: proposals told
ENOUGH_WITNESSES: Final = 3  #: witnesses that make others needless


def lasting_points(shape: Shape) -> tuple[str, ...]:
    """Return the points of a feature that can be found again and taped from years later.

    Of a smooth curve these are its ends: nothing on the ground marks a point in its course.
    """
    if shape.kind not in LASTING:
        return ()
    geometry = shape.booked.geometry
    if not isinstance(geometry, Curve):
        return shape.points
    return () if geometry.closed else (shape.points[0], shape.points[-1])


def find_peg(
    survey: Survey, peg: str, *, gone: Sequence[str] = (), measured: Mapping[str, float] | None = None
) -> LostPeg:
    """Return what is known of a lost peg.

    Parameters
    ----------
    peg
        A station or point of the survey.
    gone
        Witnesses, or other things, that no longer stand.
    measured
        Distances measured at a trial peg, on the ground, metres, by what they were measured from.

    Raises
    ------
    UsageError
        A name that neither the survey nor the witnesses have.
    """
    positions = Positions(survey)
    if positions.point_behind(peg) != peg:
        raise UsageError(f"no peg {peg!r} in the survey{suggest(peg, positions.names)}")
    witnesses = tuple(_witnesses(positions, peg, set(gone)))
    _refuse_unknown(positions, witnesses, gone, "--gone")
    _refuse_unknown(positions, witnesses, measured or {}, "--from")
    search = _Search(positions, peg, frozenset(gone), tape_in_hand(survey.book))
    compared, position, covariance, suspects = search.compare(witnesses)
    usable = [w for w in compared if not w.gone and w.point and w.agrees is not False and w.object not in suspects]
    anchors, radius = search.anchors(usable)
    needed = len(usable) < ENOUGH_WITNESSES or bool(gone or suspects)
    others = tuple(search.others(usable)) if needed else ()
    if radius is None:
        anchors, radius = search.with_others(usable, others)
    move, differences, at_trial, unclear = try_peg(positions, peg, search.tape, compared, measured or {})
    if measured:
        radius = search.trial_radius([name for name in measured if name not in (*at_trial, *unclear)], usable)
    suspects = suspects or unclear
    blamed = (*(w.object for w in compared if w.agrees is False), *at_trial)
    return LostPeg(
        survey=survey,
        peg=peg,
        witnesses=compared,
        position=position,
        covariance=covariance,
        anchors=anchors,
        search_radius=radius,
        disagrees=blamed[0] if blamed and not suspects else None,
        suspects=suspects,
        others=others,
        move=move,
        measured=differences,
    )


def _witnesses(positions: Positions, peg: str, gone: set[str]) -> Iterator[WitnessResult]:
    survey = positions.survey
    for reduced in survey.reduction.witnesses.get(peg, ()):
        witness = reduced.booked
        point = positions.point_behind(witness.object)
        reading = ", ".join(each.length.text for each in witness.readings)
        yield WitnessResult(
            witness.object,
            reading,
            witness.note,
            reduced.ground,
            witness.object in gone,
            point if point != peg else None,
        )


def _refuse_unknown(
    positions: Positions, witnesses: Sequence[WitnessResult], names: Sequence[str] | Mapping[str, float], option: str
) -> None:
    objects = [witness.object for witness in witnesses]
    for name in names:
        if name not in objects and positions.point_behind(name) is None:
            raise UsageError(f"{option} {name!r} is neither a witness nor surveyed{suggest(name, objects)}")


@record(frozen=True, slots=True)
class _Search:
    """The peg among what is surveyed."""

    positions: Positions
    peg: str
    gone: frozenset[str]
    tape: TapeInHand

    @property
    def scale(self) -> float:
        return self.positions.scale

    @property
    def critical(self) -> float:
        return NormalDist().inv_cdf(1 - self.positions.survey.book.limits.significance / 2)

    def ruler(self) -> Ruler:
        survey = self.positions.survey
        return Ruler(survey.reduction, survey.frame, survey.adjustment.solution)

    def compare(
        self, witnesses: tuple[WitnessResult, ...]
    ) -> tuple[tuple[WitnessResult, ...], Array, Array, tuple[str, ...]]:
        """Return the witnesses compared with the survey, the peg by both together, and those not to be told apart."""
        at = self.positions.of(self.peg)
        own = self.positions.covariance([self.peg])
        numbers = [n for n, w in enumerate(witnesses) if w.point and not w.gone]
        if not numbers:
            return witnesses, at, own, ()
        points = [str(witnesses[n].point) for n in numbers]
        arms = self.ruler().arms([witnesses[n].ground for n in numbers])
        joint, by = self._joint(points, arms)
        anchors = self.positions.all(points)
        differences = arms.lengths[:, 0] - distance(anchors, at)
        spread = by @ joint @ by.T
        outliers = outlier_tests(differences, spread, max(self.critical, sidak(len(numbers))))
        suspects = outliers.together if len(outliers.together) > 1 else ()
        sound = [i for i in range(len(numbers)) if i not in outliers.blamed and i not in suspects]
        with_peg = (joint @ by.T)[:2, sound]
        gain = with_peg @ np.linalg.inv(spread[np.ix_(sound, sound)]) if sound else np.zeros((2, 0))
        compared = list(witnesses)
        for i, number in enumerate(numbers):
            compared[number] = replace(
                witnesses[number],
                difference=float(differences[i]) / self.scale,
                test=float(outliers.tests[i]),
                agrees=i not in outliers.blamed and i not in suspects,
            )
        names = tuple(witnesses[numbers[i]].object for i in suspects)
        return tuple(compared), at - gain @ differences[sound], own - gain @ with_peg.T, names

    def _joint(self, points: Sequence[str], arms: Arms) -> tuple[Array, Array]:
        """Return the covariance of peg, points and distances, and the derivatives (n, …) of the differences to them."""
        joint = self.positions.covariance([self.peg, *points], arms)
        units = units_towards(self.positions.of(self.peg), self.positions.all(points))
        by = np.zeros((len(points), len(joint)))
        for i, unit in enumerate(units):
            by[i, 0:2] = -unit
            by[i, 2 + 2 * i : 4 + 2 * i] = unit
            by[i, 2 + 2 * len(points) + i] = 1.0
        return joint, by

    # -- setting the peg again

    def anchors(self, usable: Sequence[WitnessResult]) -> tuple[tuple[ArcCentre, ...], float | None]:
        """Return what the peg is set again by, and the radius that then holds it in 95 of 100 cases.

        Each distance counts twice: as booked, and as taped now with another tape of its kind. Where the objects
        stand by the survey only tells under what angle the arcs cut.
        """
        anchors = tuple(ArcCentre(w.object, w.distance, True, self.positions.of(str(w.point))) for w in usable)
        if len(anchors) < 2:
            return anchors, None
        first = min(combinations(range(len(anchors)), 2), key=lambda pair: self._weakness([anchors[i] for i in pair]))
        order = [*first, *(i for i in range(len(anchors)) if i not in first)]
        anchors, grounds = tuple(anchors[i] for i in order), [usable[i].ground for i in order]
        spread = 2 * (np.diag([g.sd**2 for g in grounds]) + self._scales(grounds))
        return anchors, self._radius(anchors, spread)

    def _scales(self, grounds: Sequence[Ground]) -> Array:
        """Return the covariance that distances have in common by the scales of their tapes."""
        tapes = self.positions.survey.reduction.tapes
        by = np.array([tapes[g.tape].scale_sd * g.length for g in grounds])
        same = np.array([[one.tape == other.tape for other in grounds] for one in grounds])
        shared: Array = np.outer(by, by) * same
        return shared

    def _radius(self, anchors: Sequence[ArcCentre], spread: Array) -> float | None:
        units = units_towards(self.positions.of(self.peg), np.array([anchor.position for anchor in anchors]))
        covariance = fixed_by(units, spread)
        return None if covariance is None else _radius_of(covariance)

    # -- what else is surveyed

    def _candidates(self, usable: Sequence[WitnessResult]) -> list[str]:
        """Return what lasts, can be stood at, is surveyed and in reach of the offset tape, stations last."""
        survey, used_names = self.positions.survey, {w.point for w in usable} | {self.peg}
        lasting: dict[str, None] = {}
        for shape in survey.detail.shapes.values():
            if shape.name not in self.gone:
                lasting.update(dict.fromkeys(lasting_points(shape)))
        names = [*lasting, *survey.adjustment.solution.names[: survey.adjustment.solution.stations]]
        booked = {w.point for w in _witnesses(self.positions, self.peg, set()) if w.point}
        at, reach = self.positions.of(self.peg), self.tape.length
        return [
            name
            for name in dict.fromkeys(names)
            if name not in used_names | booked | survey.book.meeting_points
            and name not in self.gone
            and 0.5 < float(distance(self.positions.of(name), at)) / self.scale <= reach
        ]

    def others(self, usable: Sequence[WitnessResult]) -> Iterator[Other]:
        """Yield what else the peg can be found from, the best angles of intersection first."""
        start, _ = self.anchors(usable)
        candidates = [self._other(name) for name in self._candidates(usable)]
        if not start and len(candidates) > 1:
            pair = min(combinations(candidates, 2), key=self._weakness)
            yield from (Other(anchor.name, anchor.distance, 1.0) for anchor in pair)
            start, candidates = pair, [each for each in candidates if each not in pair]
        before = self._spread_of(start)
        ranked = sorted(candidates, key=lambda each: self._weakness((*start, each)))[:MAX_OTHERS_TOLD]
        gains = [(self._gain(before, (*start, anchor)), anchor) for anchor in ranked]
        for gain, anchor in sorted(gains, key=lambda each: -each[0]):
            yield Other(anchor.name, anchor.distance, gain)

    def _gain(self, before: Array | None, anchors: Sequence[ArcCentre]) -> float:
        """Return by which share the search radius shrinks with the last of some anchors."""
        after = self._spread_of(anchors)
        if after is None:
            return 0.0
        return 1.0 if before is None else max(1 - _radius_of(after) / _radius_of(before), 0.0)

    def _other(self, name: str) -> ArcCentre:
        there = self.positions.of(name)
        return ArcCentre(name, float(distance(there, self.positions.of(self.peg))) / self.scale, False, there)

    def _weakness(self, anchors: Sequence[ArcCentre]) -> float:
        """Return the mean square error of the peg set by some arcs; without end where they fix nothing."""
        spread = self._spread_of(anchors)
        return float("inf") if spread is None else float(np.trace(spread))

    def _spread_of(self, anchors: Sequence[ArcCentre]) -> Array | None:
        """Return the covariance (2, 2) of the peg set by witnesses as booked and by others as computed."""
        if len(anchors) < 2:
            return None
        lengths = np.array([anchor.distance for anchor in anchors])
        booked: NDArray[np.bool_] = np.array([anchor.booked for anchor in anchors])
        taped_now = self.tape.covariance(lengths)
        spread = taped_now + np.where(np.outer(booked, booked), taped_now, 0.0)
        units = units_towards(self.positions.of(self.peg), np.array([anchor.position for anchor in anchors]))
        if not booked.all():
            names = [anchor.name for anchor in anchors]
            joint, by = self._joint_of([self.positions.point_behind(name) or name for name in names])
            computed = ~booked
            spread = spread + np.where(np.outer(computed, computed), by @ joint @ by.T, 0.0) / self.scale**2
        return fixed_by(units, spread)

    def _joint_of(self, points: Sequence[str]) -> tuple[Array, Array]:
        """Return the covariance of peg and points, and the derivatives (n, …) of their distances to it."""
        joint = self.positions.covariance([self.peg, *points])
        units = units_towards(self.positions.of(self.peg), self.positions.all(points))
        by = np.zeros((len(points), len(joint)))
        for i, unit in enumerate(units):
            by[i, 0:2] = unit
            by[i, 2 + 2 * i : 4 + 2 * i] = -unit
        return joint, by

    def trial_radius(self, names: Sequence[str], usable: Sequence[WitnessResult]) -> float | None:
        """Return the radius that holds the peg where a trial peg was led by the distances from these things.

        None where one distance leads along the tape only, or those that remain say nothing across it.
        """
        booked = {witness.object: witness for witness in usable}
        anchors = [
            ArcCentre(name, booked[name].distance, True, self.positions.of(str(booked[name].point)))
            if name in booked
            else self._other(self.positions.require(name))
            for name in names
            if name in booked or self.positions.point_behind(name)
        ]
        spread = self._spread_of(anchors)
        return None if spread is None else _radius_of(spread)

    def with_others(
        self, usable: Sequence[WitnessResult], others: Sequence[Other]
    ) -> tuple[tuple[ArcCentre, ...], float | None]:
        """Return the anchors where the witnesses alone fix nothing: they and the best of the others."""
        start, _ = self.anchors(usable)
        chosen = (*start, *(self._other(each.name) for each in others[: ENOUGH_WITNESSES - len(start)]))
        spread = self._spread_of(chosen)
        return chosen, None if spread is None else _radius_of(spread)


def _radius_of(covariance: Array) -> float:
    """Return the radius that holds a position in 95 of 100 cases, metres."""
    return float(confidence_radii(covariance[None])[0])
