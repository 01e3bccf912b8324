"""What lies on the booked side of its line because the book says so: no measurement would show the other side.

A mirror in a line leaves every length to what stands on the line as it is. What hangs on such lengths alone could lie
on either side; a length to what stands off the line tells the sides apart. With y the distances of two points from
the line, left positive, and d between them, a length between a mirrored and an unmoved one becomes

    √(d² + 4 y₁ y₂)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from math import atan2, dist, pi, sqrt
from typing import Final

from pegline.network.arc_intersection import XY
from pegline.network.growing_figure import Hints
from pegline.network.line_sides import IN_LINE, metres_left
from pegline.network.model import Adjustment
from pegline.network.observation_types import (
    AngleAtStation,
    Chainage,
    ControlCoordinate,
    Distance,
    LineBearing,
    Observation,
    Ranging,
    is_chain_line,
    tie_chainages,
)
from pegline.network.unnoticed_mistakes import Unnoticed
from pegline.plane import wrap_angle
from pegline.records import record

__all__ = ["BookedSide", "sides_by_book"]

MOST: Final = 50  #: stations that are looked at as lying together on one side; more are not looked at


@record(frozen=True, slots=True)
class BookedSide:
    """What only the book puts on its side of a line, or the whole framework on its hand."""

    line: str | None  #: as booked where a line was, else its two stations; None: the whole may be mirrored
    stations: tuple[str, ...] = ()  #: main stations that lie there together
    points: tuple[str, ...] = ()  #: points that share equations and lie there together


def sides_by_book(adjustment: Adjustment, hints: Hints, unnoticed: Unnoticed) -> tuple[BookedSide, ...]:
    """Return what of a survey that passed its checks could lie on the other side, and pass them as well.

    Only what the checks reach otherwise is told, and what would move by more than counts as checked.

    Parameters
    ----------
    adjustment
        The solved network.
    hints
        What the book tells of sides.
    unnoticed
        For what is checked.
    """
    if not adjustment.checks or not all(check.passed for check in adjustment.checks):
        return ()
    figure = _Figure(adjustment, unnoticed)
    of_stations = _without_repeats(figure, list(_stations(figure, hints)))
    whole = [BookedSide(None)] if figure.hand_is_open else []
    return (*of_stations, *_buildings(figure), *whole)


@dataclass
class _Figure:
    """A network as lengths between its points."""

    adjustment: Adjustment
    unnoticed: Unnoticed
    at: Mapping[str, XY] = field(init=False)
    stations: frozenset[str] = field(init=False)
    scale: float = field(init=False)

    def __post_init__(self) -> None:
        solution = self.adjustment.adjusted
        self.at = {name: (x, y) for name, (x, y) in zip(solution.names, solution.positions.tolist(), strict=True)}
        self.stations = frozenset(solution.names[: solution.stations])
        self.scale = self.adjustment.network.scale

    @cached_property
    def observations(self) -> Sequence[Observation]:
        """Return what was observed, witnesses too."""
        return self.adjustment.plotting_fit.network.observations

    @cached_property
    def base(self) -> frozenset[str]:
        """Return the ends of the base line."""
        return frozenset(self.adjustment.adjusted.names[row] for row in self.adjustment.adjusted.base)

    @cached_property
    def lengths(self) -> Mapping[str, list[tuple[str, float]]]:
        """Return by station those that its distance to is known, and by how much that may change unseen, metres."""
        allowed = {n: check.allowed for check in self.adjustment.checks for n in check.numbers}
        known: dict[str, list[tuple[str, float]]] = {}
        for number, one in enumerate(self.observations):
            if self.stations.issuperset(one.points) and isinstance(one, Distance | Chainage | Ranging):
                most = allowed.get(number, self.adjustment.critical * one.booking.sd) * self.scale
                first, *others = one.points
                for other in others:
                    known.setdefault(first, []).append((other, most))
                    known.setdefault(other, []).append((first, most))
        return known

    @cached_property
    def tie_stations(self) -> frozenset[str]:
        """Return the stations that stand on a line."""
        return frozenset(one.point for _, one in tie_chainages(self.observations))

    @cached_property
    def placed_from(self) -> Mapping[str, list[str]]:
        """Return by station the others that a plan plotted by hand places it from, and those placed from it."""
        others: dict[str, list[str]] = {}
        for one, kept in zip(self.observations, self.adjustment.plotting_fit.keep.tolist(), strict=True):
            if kept and isinstance(one, Distance) and self.stations.issuperset(one.points):
                others.setdefault(one.start, []).append(one.end)
                others.setdefault(one.end, []).append(one.start)
        return others

    @cached_property
    def groups(self) -> Sequence[tuple[tuple[str, ...], tuple[str, ...]]]:
        """Return the points that share equations, group by group, each with the stations that it was taken from."""
        group_of: dict[str, dict[str, None]] = {}
        taken: list[tuple[str, str]] = []
        for one in self.observations:
            points = [name for name in one.points if name not in self.stations]
            for name in points:
                group_of.setdefault(name, {name: None})
            for name in points[1:]:
                if group_of[name] is not group_of[points[0]]:
                    group_of[points[0]].update(group_of[name])
                    for each in group_of[name]:
                        group_of[each] = group_of[points[0]]
            taken += [(points[0], name) for name in one.points if points and name in self.stations]
        stations: dict[int, dict[str, None]] = {id(group): {} for group in group_of.values()}
        for name, station in taken:
            stations[id(group_of[name])][station] = None
        groups = {id(group): group for group in group_of.values()}
        return [(tuple(group), tuple(stations[key])) for key, group in groups.items()]

    @cached_property
    def known_sides(self) -> frozenset[str]:
        """Return the stations whose side an angle, control or bearings tell, or what was taken from two lines.

        One direction turns the whole, and one control point places it: that tells no side.
        """
        several = self._directions
        told = [
            one.points
            for one in self.observations
            if isinstance(one, AngleAtStation) or (isinstance(one, LineBearing | ControlCoordinate) and several)
        ]
        across = (stations for _, stations in self.groups if self.axis(stations) is None)
        return frozenset(name for names in (*told, *across) for name in names)

    @cached_property
    def _directions(self) -> bool:
        """Return whether more than one direction of the frame is known."""
        known = {one.station for one in self.observations if isinstance(one, ControlCoordinate)}
        bearings = sum(isinstance(one, LineBearing) for one in self.observations)
        return bearings + max(len(known) - 1, 0) > 1

    @cached_property
    def hand_is_open(self) -> bool:
        """Return whether the whole, mirrored, would agree with all that was measured."""
        if any(isinstance(one, AngleAtStation) for one in self.observations):
            return False
        known = dict.fromkeys(one.station for one in self.observations if isinstance(one, ControlCoordinate))
        pairs = [one.points for one in self.observations if isinstance(one, LineBearing)]
        pairs += [(first, other) for first, other in combinations(known, 2)][: len(known)]
        ways = [self._way(*pair) for pair in pairs]
        sd = max((one.booking.sd for one in self.observations if isinstance(one, LineBearing)), default=0.01)
        return all(abs(wrap_angle(2 * (way - ways[0]))) < 2 * self.adjustment.critical * sd for way in ways[1:])

    def _way(self, start: str, end: str) -> float:
        (x, y), (u, v) = self.at[start], self.at[end]
        return atan2(v - y, u - x) % pi

    def aside(self, name: str, axis: tuple[str, str]) -> float:
        """Return how far a point is from a line, left positive, metres of the frame."""
        return metres_left(self.at[axis[0]], self.at[axis[1]], self.at[name])

    def axis(self, stations: Sequence[str]) -> tuple[str, str] | None:
        """Return two stations of a line on which all of some stations stand; None where there is none."""
        ends = max(combinations(stations, 2), key=lambda pair: dist(*(self.at[one] for one in pair)), default=None)
        if ends is None or any(abs(self.aside(name, ends)) > IN_LINE for name in stations):
            return None
        return ends

    def line_on(self, axis: tuple[str, str]) -> str:
        """Return the longest chain line that lies on a line between two stations, else these."""
        lines = [one for one in self.observations if is_chain_line(one)]
        along = [one for one in lines if all(abs(self.aside(name, axis)) <= IN_LINE for name in (one.start, one.end))]
        longest = max(along, key=lambda one: one.booking.value, default=None)
        return longest.booking.label if longest else "-".join(axis)

    def moves(self, name: str, axis: tuple[str, str]) -> bool:
        """Return whether a point's mirror image is farther from it than what counts as checked."""
        return 2 * abs(self.aside(name, axis)) > self.unnoticed.limit * self.scale

    def together(self, name: str, axis: tuple[str, str]) -> frozenset[str] | None:
        """Return the stations that lie on the other side with one; None where something tells its side."""
        with_it, waiting = {name}, [name]
        while waiting:
            here = waiting.pop()
            if here in self.known_sides or here in self.base or len(with_it) > MOST:
                return None
            y = self.aside(here, axis)
            for other, most in self.lengths.get(here, ()):
                if other not in with_it and self._tells(here, other, y * self.aside(other, axis), most):
                    with_it.add(other)
                    waiting.append(other)
        return frozenset(with_it)

    def _tells(self, here: str, other: str, product: float, most: float) -> bool:
        """Return whether the length between two points would show that one of them is mirrored."""
        apart = dist(self.at[here], self.at[other])
        return abs(sqrt(max(apart**2 + 4 * product, 0.0)) - apart) > most


def _stations(figure: _Figure, hints: Hints) -> Iterator[tuple[tuple[str, str], frozenset[str]]]:
    """Yield for each main station with a booked side the line in which it may be mirrored, and what goes with it."""
    for name in dict.fromkeys((*hints.sides, *hints.sketches)):
        if name not in figure.stations or name in figure.base | figure.tie_stations:
            continue
        # The first station of a part is placed from two that stand on the line; its own side is booked.
        for axis in combinations(figure.placed_from.get(name, ()), 2):
            with_it = figure.together(name, axis) if figure.moves(name, axis) else None
            # With all that stands off the line, that is the whole, mirrored.
            if with_it and any(figure.moves(other, axis) for other in figure.stations - with_it):
                yield axis, with_it
                break


def _without_repeats(figure: _Figure, found: Sequence[tuple[tuple[str, str], frozenset[str]]]) -> Iterator[BookedSide]:
    """Yield each part that may be mirrored once, by the stations of it that no smaller part has."""
    by_part = {part: axis for axis, part in reversed(found)}
    for axis, part in found:
        if by_part.pop(part, None) is None:
            continue
        smaller: Iterable[str] = {name for _, other in found if other < part for name in other}
        names = [
            name for name in figure.at if name in part and name not in figure.tie_stations and figure.moves(name, axis)
        ]
        own = [name for name in names if name not in smaller] or names
        told = tuple(name for name in own if figure.unnoticed.is_checked(name))
        if told:
            yield BookedSide(figure.line_on(axis), told)


def _buildings(figure: _Figure) -> Iterator[BookedSide]:
    """Yield points that share equations and were all taken from one line."""
    for points, stations in figure.groups:
        axis = figure.axis(stations)
        if axis is None:
            continue
        told = tuple(name for name in points if figure.moves(name, axis) and figure.unnoticed.is_checked(name))
        if told:
            yield BookedSide(figure.line_on(axis), points=told)
