"""How arcs put the points of a survey one after another, repeated for many variants of it at once.

An adjustment finds the solution next to where it begins, and a gross mistake has put the points elsewhere. So
each variant begins where its own arcs put the points: the steps of the book's own start, with its own readings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np

from pegline.diagnosis.suspects.variants import Variant, Variants
from pegline.network.growing_figure import Gap, Hints
from pegline.network.linear_equations import Network, linearise, misclosures
from pegline.network.observation_types import (
    ControlCoordinate,
    Distance,
    LineBearing,
    Observation,
    base_lines,
    tie_chainages,
    with_value,
)
from pegline.network.start import Start, start_figure
from pegline.plane import Array, wrap_angle
from pegline.records import record

__all__ = ["Construction", "construct", "orientations"]

MENDED: Final = 12  #: arcs that are made to meet before a survey is given up
SAME_BEARINGS_RADIANS: Final = 0.2  #: bearings that differ by less say the same of how a figure lies, radians
MAX_CONTROL_POINTS: Final = 8  #: control points of which each two are looked at exchanged
SHORTEST_ARC: Final = 0.05  #: metres
OVERLAP: Final = 0.02  #: arcs that are made to meet overlap by so much of the shorter one


class _Arcs(NamedTuple):
    point: int
    one: int  #: number of the observation
    other: int
    side: float  #: of the line between the centres on which the point lies, +1 left, -1 right


class _Tie(NamedTuple):
    point: int
    chainage: int  #: number of the observation


class _Carried(NamedTuple):
    point: int
    ends: tuple[int, int]  #: points that it keeps its place beside
    along: float  #: metres from the first towards the second
    aside: float  #: metres to the left


@record(frozen=True, slots=False)
class Construction:
    """The steps by which points are placed, and where they end with the readings as booked."""

    network: Network
    base: int  #: number of the observation of the base line
    steps: tuple[_Arcs | _Tie | _Carried, ...]
    places: Array  #: (n, 2) metres of the frame

    @property
    def readings(self) -> tuple[int, ...]:
        """Return the numbers of the observations that place something."""
        numbers = [self.base]
        for step in self.steps:
            match step:
                case _Arcs():
                    numbers += [step.one, step.other]
                case _Tie():
                    numbers.append(step.chainage)
        return tuple(dict.fromkeys(numbers))

    def mirror(self, point: int) -> Array:
        """Return the parameters where a point, and what is placed from it, lies on the other side."""
        steps = tuple(_mirror_step(step) if step.point == point else step for step in self.steps)
        alone = Variants(self.network, [Variant()])
        return np.asarray(replace(self, steps=steps).repeat(alone, alone.given_amounts)[0])

    def repeat(self, variants: Variants, amounts: Array) -> Array:
        """Return the parameters (v, 2 n + s) where each variant's own readings put the points."""
        network, count = self.network, len(amounts)
        scale = network.scale
        at = np.zeros((count, len(network.names), 2))
        every = np.arange(count)
        ends = variants.points_of(self.base)
        along = self.places[ends[0, 1]] - self.places[ends[0, 0]]
        at[every, ends[:, 0]] = self.places[ends[0, 0]]
        size = variants.value_of(self.base, amounts) * scale
        at[every, ends[:, 1]] = self.places[ends[0, 0]] + size[:, None] * along / np.hypot(*along)
        for step in self.steps:
            match step:
                case _Arcs(point, one, other, side):
                    centres = []
                    for number in (one, other):
                        pair = variants.points_of(number)
                        centres.append(at[every, np.where(pair[:, 0] == point, pair[:, 1], pair[:, 0])])
                    radii = [np.maximum(variants.value_of(n, amounts) * scale, 1e-3) for n in (one, other)]
                    at[:, point] = _arc_intersection(centres[0], centres[1], radii[0], radii[1], side)
                case _Tie(point, chainage):
                    three = variants.points_of(chainage)
                    start, end = at[every, three[:, 1]], at[every, three[:, 2]]
                    share = variants.share_of(chainage, amounts, end - start)
                    at[:, point] = start + share[:, None] * (end - start)
                case _Carried(point, (p, q), forward, aside):
                    unit = _unit(at[:, q] - at[:, p])
                    normal = np.stack((-unit[:, 1], unit[:, 0]), axis=1)
                    at[:, point] = at[:, p] + forward * unit + aside * normal
        return np.concatenate((at.reshape(count, -1), np.zeros((count, len(network.shared_sds)))), axis=1)


def _mirror_step(step: _Arcs | _Tie | _Carried) -> _Arcs | _Tie | _Carried:
    """Return a step that puts its point on the other side."""
    match step:
        case _Arcs():
            return step._replace(side=-step.side)
        case _Carried():
            return step._replace(aside=-step.aside)
        case _Tie():
            return step


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.maximum(np.hypot(vectors[:, 0], vectors[:, 1]), 1e-9)[:, None])


def _arc_intersection(first: Array, second: Array, one: Array, other: Array, side: float) -> Array:
    """Return where arcs about two centres meet, or come nearest, left (+1) or right (-1) of the line between them."""
    line = second - first
    apart = np.maximum(np.hypot(line[:, 0], line[:, 1]), 1e-6)
    unit = line / apart[:, None]
    along = (one**2 - other**2 + apart**2) / (2 * apart)
    along = np.clip(along, -one, one)
    high = np.sqrt(np.maximum(one**2 - along**2, 0.0))
    normal = np.stack((-unit[:, 1], unit[:, 0]), axis=1)
    return np.asarray(first + along[:, None] * unit + side * high[:, None] * normal)


def construct(network: Network, hints: Hints, parameters: Array | None) -> Construction | None:
    """Return how a survey is constructed; arcs that do not meet are made to.

    Parameters
    ----------
    network
        What was observed.
    hints
        What the book says of sides.
    parameters
        Of a solution: it tells where the base line begins and which way it runs. Without one it lies along +x.
    """
    begun = _start_with_changes(network, hints)
    if begun is None:
        return None
    ones = network.observations
    base = next((number for number, _ in base_lines(ones)), None)
    if base is None:
        return None
    places = np.array([begun.positions[name] for name in network.names]) * network.scale
    if parameters is not None:
        places = _lay_on_base(places, parameters[: 2 * len(places)].reshape(-1, 2), network, ones[base])
    return Construction(network, base, tuple(_steps(network, begun, places)), places)


def _start_with_changes(network: Network, hints: Hints) -> Start | None:
    """Return the start with every point placed, readings changed until their arcs meet."""
    ones = list(network.observations)
    names, count = network.names, network.stations
    for _ in range(MENDED):
        begun = start_figure(names[:count], names[count:], ones, hints)
        if not begun.missing:
            return begun
        gaps = [finding.data for finding in begun.findings if isinstance(finding.data, Gap)]
        if not gaps:
            break
        for gap in gaps:
            _mend(ones, gap)
    freed = [_as_tie(one) for one in ones]
    begun = start_figure(names[:count], names[count:], freed, hints)
    return None if begun.missing else begun


def orientations(network: Network, parameters: Array) -> list[Array]:
    """Return parameters with the whole figure turned as most bearings and control say, where it lies otherwise.

    A bearing of the other direction, or control points exchanged, may have laid it the wrong way round, and no
    adjustment turns it by so much.
    """
    variants = []
    points = parameters[: 2 * len(network.names)].reshape(-1, 2)
    scales = parameters[2 * len(network.names) :]
    off = misclosures(network, linearise(network, parameters))
    turns = [off[n] for n, one in enumerate(network.observations) if isinstance(one, LineBearing)]
    if turns:
        near = [
            sum(abs(wrap_angle(np.array([turn - other]))[0]) < SAME_BEARINGS_RADIANS for other in turns)
            for turn in turns
        ]
        turn = turns[int(np.argmax(near))]
        if abs(turn) > SAME_BEARINGS_RADIANS:
            c, s = np.cos(turn), np.sin(turn)
            centre = points[_fixed_point(network)]
            turned = (points - centre) @ np.array([[c, -s], [s, c]]) + centre
            variants.append(np.concatenate((turned.ravel(), scales)))
    for names, coordinates in _control_read_otherwise(network):
        own = np.array([complex(*points[network.index[name]]) for name in names])
        theirs = np.array([complex(*xy) for xy in coordinates])
        turned_by = np.vdot(own - own.mean(), theirs - theirs.mean())
        turned_by /= abs(turned_by) or 1.0
        every = theirs.mean() + turned_by * (points[:, 0] + 1j * points[:, 1] - own.mean())
        variants.append(np.concatenate((np.stack((every.real, every.imag), axis=1).ravel(), scales)))
    return variants


def _fixed_point(network: Network) -> int:
    """Return the point about which a figure is turned: of control, else the first of the base line."""
    control_station = next((one.station for one in network.observations if isinstance(one, ControlCoordinate)), None)
    base = next((one.start for _, one in base_lines(network.observations)), network.names[0])
    return network.index[control_station or base]


def _control_read_otherwise(network: Network) -> Iterator[tuple[list[str], list[tuple[float, float]]]]:
    """Yield control points with the coordinates that they would have: their own, and each two exchanged in turn."""
    at: dict[str, list[float]] = {}
    for one in network.observations:
        if isinstance(one, ControlCoordinate):
            x, y = at.setdefault(one.station, [0.0, 0.0])
            at[one.station] = [x + one.booking.value * one.along[0], y + one.booking.value * one.along[1]]
    names = list(at)
    if 2 < len(names) <= MAX_CONTROL_POINTS:
        for i, j in ((0, 0), *combinations(range(len(names)), 2)):
            order = list(range(len(names)))
            order[i], order[j] = j, i
            yield names, [(at[names[n]][0], at[names[n]][1]) for n in order]


def _as_tie(one: Observation) -> Observation:
    """Return an observation that may place a station: check lines may too where nothing else does."""
    if isinstance(one, Distance) and one.booking.part == "check":
        return replace(one, booking=replace(one.booking, part="tie"))
    return one


def _mend(ones: list[Observation], gap: Gap) -> None:
    """Change the two arcs so that they overlap a little."""
    first, second = gap.observations[:2]
    one, other = first.booking.value, second.booking.value
    more = gap.gap + OVERLAP * min(one, other)
    outside = len(gap.observations) < 3 or gap.observations[2].booking.value > max(one, other)
    changes = (more / 2, more / 2) if outside else ((-more, 0.0) if one > other else (0.0, -more))
    for arc, change in zip((first, second), changes, strict=True):
        if arc in ones:
            ones[ones.index(arc)] = with_value(arc, max(arc.booking.value + change, SHORTEST_ARC))


def _lay_on_base(places: Array, base_ends: Array, network: Network, base: Observation) -> Array:
    """Return positions turned and moved so that the base line begins and runs as in a solution."""
    first, last = (network.index[name] for name in base.points)
    there, here = base_ends[last] - base_ends[first], places[last] - places[first]
    turn = np.arctan2(there[1], there[0]) - np.arctan2(here[1], here[0])
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray((places - places[first]) @ np.array([[c, s], [-s, c]]) + base_ends[first])


def _steps(network: Network, begun: Start, places: Array) -> list[_Arcs | _Tie | _Carried]:
    steps: list[_Arcs | _Tie | _Carried] = []
    ones = network.observations
    observations = {n: ones[n] for n in begun.used}
    ties = {one.point: n for n, one in tie_chainages(ones) if n in begun.used}
    placed: list[int] = []
    for name in begun.positions:
        point = network.index[name]
        if len(placed) < 2:
            placed.append(point)
            continue
        tie = ties.get(name)
        if tie is not None and all(network.index[end] in placed for end in ones[tie].points[1:]):
            steps.append(_Tie(point, tie))
        else:
            steps.append(_step(network, begun, observations, places, placed, point))
        placed.append(point)
    return steps


def _step(
    network: Network,
    begun: Start,
    observations: dict[int, Observation],
    places: Array,
    placed: Sequence[int],
    point: int,
) -> _Arcs | _Carried:
    name = network.names[point]
    if point < network.stations and name in begun.pairs:
        arcs = [
            next(
                (n for n, o in observations.items() if isinstance(o, Distance) and set(o.points) == {name, centre}),
                None,
            )
            for centre in begun.pairs[name]
        ]
        one, other = arcs
        if one is not None and other is not None:
            first, second = (network.index[centre] for centre in begun.pairs[name])
            line, arm = places[second] - places[first], places[point] - places[first]
            return _Arcs(point, one, other, 1.0 if line[0] * arm[1] - line[1] * arm[0] > 0 else -1.0)
    p, q = _beside(network, observations, placed, places, point)
    unit = _unit((places[q] - places[p])[None])[0]
    arm = places[point] - places[p]
    return _Carried(point, (p, q), float(arm @ unit), float(unit[0] * arm[1] - unit[1] * arm[0]))


def _beside(
    network: Network, observations: dict[int, Observation], placed: Sequence[int], places: Array, point: int
) -> tuple[int, int]:
    """Return two points that another keeps its place beside: those of its row, else the nearest."""
    name = network.names[point]
    for one in observations.values():
        if len(one.points) == 3 and one.points[0] == name:
            ends = [network.index[end] for end in one.points[1:]]
            if all(end in placed for end in ends):
                return ends[0], ends[1]
    away = sorted(placed, key=lambda other: float(np.hypot(*(places[other] - places[point]))))
    return away[0], next((one for one in away[1:] if np.hypot(*(places[one] - places[away[0]])) > 1e-3), away[1])
