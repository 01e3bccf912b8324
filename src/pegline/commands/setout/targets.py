"""Targets as functions of the survey: where they lie, and what their positions owe to the survey's points."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from pegline.book.feature import Feature
from pegline.book.geometry import Circle, Curve, Parallel, Rectangle, Ring, TapedRound, Through
from pegline.commands.positions import Positions, difference_quotients
from pegline.commands.setout.target_file import TargetFile, TargetPoint
from pegline.detail.curves import curve, parallel
from pegline.detail.model import Path
from pegline.detail.path import straight
from pegline.detail.paths_by_geometry import making_of
from pegline.detail.ruler import Ruler
from pegline.errors import BookError, Finding, Place, UsageError
from pegline.measures.spelling import suggest
from pegline.measures.values import Length, Pair
from pegline.network.line_sides import is_on_side
from pegline.plane import Array, along, arcs_meet, distance, left_of

__all__ = ["TargetFeature", "TargetSet", "targets_from_file", "targets_from_names"]

#: Lines that cross flatter than this (the sine of 15°) meet nowhere in particular.
MIN_CROSSING_SINE: Final = 0.2588
#: A point that moves a target by less than this share of its own movement has no part in it.
STIRS: Final = 1e-3


class TargetFeature(NamedTuple):
    """A feature among the targets: its points in order, for the checks and the drawing."""

    name: str
    points: tuple[str, ...]
    closed: bool
    square: bool  #: its corners are right angles, so that its diagonals check it


class TargetSet:
    """Targets of one survey; each is computed from the survey's points and from other targets."""

    def __init__(self, positions: Positions, file: TargetFile, names: Sequence[str] = ()) -> None:
        self.positions, self._file = positions, file
        self._unit = file.unit or positions.survey.book.unit
        self._shapes: dict[str, tuple[Feature, int]] = {}
        for feature in file.features.values():  # a copy may be of a feature before it
            for number, name in enumerate(self._corner_names(feature)):
                self._shapes[name] = feature, number
        self.outlines = tuple(self._outlines())
        self.names = tuple(dict.fromkeys((*names, *file.points, *self._shapes)))
        used_names: dict[str, None] = {}
        self.at = self._evaluate({}, used_names)
        self.used = tuple(used_names)  #: the survey's points that they hang on

    def evaluate(self, survey_points: Array) -> dict[str, Array]:
        """Return every target (2,) in the frame for positions (n, 2) of the survey's points that they hang on."""
        return self._evaluate(dict(zip(self.used, survey_points, strict=True)), {})

    def _evaluate(self, positions: Mapping[str, Array], used_names: dict[str, None]) -> dict[str, Array]:
        evaluation = _Evaluation(self, positions, used_names)
        return {name: evaluation.of(name) for name in self.names}

    @cached_property
    def by_survey(self) -> dict[str, Array]:
        """Return the derivatives (2, 2 n) of every target to the survey's points that they hang on."""
        at = self.positions.all(self.used)

        def all_targets(values: Array) -> Array:
            places = self.evaluate(values.reshape(-1, 2))
            return np.concatenate([places[name] for name in self.names])

        if not self.used:
            return {name: np.zeros((2, 0)) for name in self.names}
        by = difference_quotients(all_targets, at.ravel())
        return {name: by[2 * number : 2 * number + 2] for number, name in enumerate(self.names)}

    def hangs_on(self, name: str) -> tuple[str, ...]:
        """Return the survey's points that a target is computed from."""
        moves = np.abs(self.by_survey[name]).reshape(2, -1, 2).max(axis=(0, 2))
        return tuple(used for used, move in zip(self.used, moves.tolist(), strict=True) if move > STIRS)

    # -- what features make

    def _corner_names(self, feature: Feature) -> tuple[str, ...]:
        """Return the points that a feature makes beside those that it names."""
        geometry = feature.geometry
        if isinstance(geometry, Rectangle | TapedRound):
            return geometry.corners
        if isinstance(geometry, Curve):
            count = len(geometry.points) - (0 if geometry.closed else 1)
            return tuple(f"{feature.name}.{number}" for number in range(1, count + 1))
        if isinstance(geometry, Parallel):
            vertices = len(self._nominal_copy(feature).vertices)
            return tuple(f"{feature.name}.{number}" for number in range(1, vertices + 1))
        if isinstance(geometry, Circle):
            return tuple(f"{feature.name}.{number}" for number in range(1, 5))
        return ()

    def _nominal_copy(self, feature: Feature) -> Path:
        return _Evaluation(self, {}, {}).copy(feature)

    def _outlines(self) -> Iterator[TargetFeature]:
        for feature in self._file.features.values():
            geometry, corners = feature.geometry, self._corner_names(feature)
            match geometry:
                case Rectangle(edge=edge) | TapedRound(edge=edge):
                    yield TargetFeature(
                        feature.name, (edge.start, edge.end, *corners), True, isinstance(geometry, Rectangle)
                    )
                case Through(points=points) | Ring(points=points):
                    yield TargetFeature(feature.name, points, isinstance(geometry, Ring), False)
                case Curve(points=points, closed=closed):
                    between = [*zip(points, corners, strict=False)]
                    rest = points[len(between) :]
                    ordered = (*(name for pair in between for name in pair), *rest)
                    yield TargetFeature(feature.name, ordered, closed, False)
                case Parallel() | Circle():
                    yield TargetFeature(feature.name, corners, isinstance(geometry, Circle), False)

    def point(self, name: str) -> TargetPoint | None:
        """Return how a target is given in the file; None where it is not."""
        return self._file.points.get(name)

    def feature(self, name: str) -> Feature | None:
        """Return a feature of the file."""
        return self._file.features.get(name)

    def feature_making(self, name: str) -> tuple[Feature, int] | None:
        """Return the feature that makes a point, and the point's number; None where none does."""
        return self._shapes.get(name)

    def metres(self, length: Length) -> float:
        """Return a length of the file on the ground, metres of the frame."""
        return length.metres(self._unit) * self.positions.scale


def targets_from_names(positions: Positions, names: Sequence[str]) -> TargetSet:
    """Return points of the survey as targets.

    Raises
    ------
    UsageError
        A name that the survey has not.
    """
    return TargetSet(positions, TargetFile(), [positions.require(name) for name in names])


def targets_from_file(positions: Positions, file: TargetFile) -> TargetSet:
    """Return the targets of a file.

    Raises
    ------
    BookError
        A target hangs on something unknown, on itself, or cannot be there.
    """
    for name, point in file.points.items():
        if positions.point_behind(name) is not None:
            text = f"target {name!r} is a point of the survey already; give it another name"
            raise BookError([Finding("target", text, point.place)])
    return TargetSet(positions, file)


class _Evaluation:
    """One computation of the targets, for given positions of the survey's points."""

    def __init__(self, targets: TargetSet, given: Mapping[str, Array], used_names: dict[str, None]) -> None:
        self._targets, self._given, self._used = targets, given, used_names
        self._done: dict[str, Array] = {}
        self._doing: list[str] = []

    def of(self, name: str) -> Array:
        """Return where a target or a point of the survey lies."""
        if name in self._done:
            return self._done[name]
        targets = self._targets
        if targets.point(name) is None and targets.feature_making(name) is None:
            return self._of_survey(name)
        if name in self._doing:
            raise self._wrong(name, f"target {name!r} hangs on itself; give one of {', '.join(self._doing)} otherwise")
        self._doing.append(name)
        point = targets.point(name)
        self._done[name] = self._given_point(point) if point else self._corner(name)
        self._doing.pop()
        return self._done[name]

    def _of_survey(self, name: str) -> Array:
        positions = self._targets.positions
        point = positions.point_behind(name)
        if point is None:
            raise self._wrong(name, f"no station, point or target {name!r}{suggest(name, positions.names)}")
        self._used[point] = None
        return np.asarray(self._given.get(point, positions.of(point)))

    def _wrong(self, name: str, text: str) -> BookError | UsageError:
        place = self._place(name)
        return BookError([Finding("target", text, place)]) if place else UsageError(text)

    def _place(self, name: str) -> Place | None:
        for word in (name, *reversed(self._doing)):
            point, corner = self._targets.point(word), self._targets.feature_making(word)
            if point or corner:
                return point.place if point else corner[0].place if corner else None
        return None

    def _ends(self, pair: Pair) -> tuple[Array, Array]:
        return self.of(pair.start), self.of(pair.end)

    # -- points

    def _given_point(self, point: TargetPoint) -> Array:
        targets = self._targets
        if point.easting is not None and point.northing is not None:
            frame = targets.positions.survey.frame
            there = np.array([point.easting, point.northing]) * frame.metres_per_unit
            return np.asarray(there - np.array(frame.origin))
        if point.line is not None and point.at is not None:
            aside = targets.metres(point.left) if point.left else -targets.metres(point.right) if point.right else 0.0
            return along(*self._ends(point.line), targets.metres(point.at), aside)
        if point.meet:
            return self._meeting_point(point)
        return self._by_arms(point)

    def _by_arms(self, point: TargetPoint) -> Array:
        (one, first), (other, second) = point.arms.items()
        metres, side = self._targets.metres, point.side
        for turn in (1, -1):
            there = arcs_meet(self.of(one), metres(first), self.of(other), metres(second), turn)
            if np.isnan(there).any():
                positions = self._targets.positions
                apart = float(distance(self.of(one), self.of(other))) / positions.scale
                between = f"{one} and {other} are {positions.survey.solved.notation.length(apart)} apart"
                text = f"target {point.name!r}: the distances do not meet, {between}"
                raise self._wrong(point.name, f"{text}; look at both")
            if side is not None:
                start, end = self._ends(side.of)
                if is_on_side(start.tolist(), end.tolist(), there.tolist(), left=side.left):
                    return there
        raise self._wrong(point.name, f"target {point.name!r}: its arcs do not meet on that side; look at the side")

    def _meeting_point(self, point: TargetPoint) -> Array:
        (p, q), (r, s) = (self._ends(pair) for pair in point.meet)
        u, v = (q - p) / distance(p, q), (s - r) / distance(r, s)
        sine = float(u[0] * v[1] - u[1] * v[0])
        if abs(sine) < MIN_CROSSING_SINE:
            text = (
                f"target {point.name!r}: {point.meet[0]} and {point.meet[1]} run nearly side by side; take other lines"
            )
            raise self._wrong(point.name, text)
        gap = r - p
        return np.asarray(p + u * (gap[0] * v[1] - gap[1] * v[0]) / sine)

    # -- features

    def _corner(self, name: str) -> Array:
        corner = self._targets.feature_making(name)
        if corner is None:
            raise RuntimeError(f"nothing makes {name}")
        feature, number = corner
        geometry = feature.geometry
        match geometry:
            case Rectangle(edge=edge, left=left, depth=depth):
                start, end = self._ends(edge)
                length = self._targets.metres(depth.readings[0].length)
                aside = left_of(end - start) / distance(start, end) * (length if left else -length)
                return np.asarray((end, start)[number] + aside)
            case TapedRound(edge=edge, walls=walls):
                start, end = self._ends(edge)
                at, way = end, (end - start) / distance(start, end)
                for wall in walls[: number + 1]:
                    way = left_of(way) if wall.left else -left_of(way)
                    at = at + way * self._targets.metres(wall.readings[0].length)
                return np.asarray(at)
            case Curve(points=points, closed=closed):
                path = curve(np.array([self.of(point) for point in points]), closed=closed)
                return np.asarray(path.vertices[2 * number + 1])
            case Circle():
                return self._on_circle(geometry, number)
            case _:
                return np.asarray(self.copy(feature).vertices[number])

    def _on_circle(self, geometry: Circle, number: int) -> Array:
        if geometry.centre is None or (geometry.radius is None and geometry.girth is None):
            raise UsageError("a circle is set out about its centre; give centre and radius")
        size = geometry.radius or geometry.girth
        radius = self._targets.metres(size) / (1.0 if geometry.radius else 2 * np.pi) if size else 0.0
        turn = number * np.pi / 2
        return np.asarray(self.of(geometry.centre) + radius * np.array([np.sin(turn), np.cos(turn)]))

    def copy(self, feature: Feature) -> Path:
        """Return the offset copy that a feature is."""
        geometry = feature.geometry
        if not isinstance(geometry, Parallel):
            raise RuntimeError(f"{feature.name} is no copy")
        away = self._targets.metres(geometry.distance.readings[0].length)
        return parallel(self._original(geometry.to, feature), away if geometry.left else -away)

    def _original(self, name: str, copy: Feature) -> Path:
        own = self._targets.feature(name)
        if own is not None:
            match own.geometry:
                case Through(points=points) | Ring(points=points):
                    closed = isinstance(own.geometry, Ring)
                    return straight([self.of(point) for point in points], closed=closed)
                case Curve(points=points, closed=closed):
                    return curve([self.of(point) for point in points], closed=closed)
                case Rectangle(edge=edge, corners=corners) | TapedRound(edge=edge, corners=corners):
                    return straight([self.of(point) for point in (edge.start, edge.end, *corners)], closed=True)
        survey = self._targets.positions.survey
        feature = survey.book.features.get(name)
        making = making_of(feature, survey.book, survey.reduction) if feature else None
        if making is None:
            text = f"{copy.name}: no line feature {name!r} to copy{suggest(name, list(survey.book.features))}"
            raise BookError([Finding("target", text, copy.place)])
        arms = Ruler(survey.reduction, survey.frame, survey.adjustment.solution).arms(making.grounds)
        return making.make(np.array([self.of(point) for point in making.names]), arms.lengths[:, 0])
