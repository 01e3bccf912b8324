"""Where every point stands to begin with: outward from the base line, arcs cut arcs, the best-shaped pair first.

The choice depends on readings and shapes alone, never on the order of the book; names break exact ties only.
The observations that placed each point are the ones that a plan plotted by hand would use.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from math import dist, hypot
from typing import cast

from pegline.errors import Finding
from pegline.network.arc_intersection import (
    XY,
    ArcAboutStation,
    cut_sd,
    cut_sine,
    gap,
    meetings,
    point_between,
    settled_image,
)
from pegline.network.growing_figure import Figure, Gap, Hints
from pegline.network.line_sides import is_on_booked_side, is_on_side, metres_left
from pegline.network.observation_types import (
    Distance,
    Observation,
    TieChainage,
    base_lines,
    tie_chainages,
    tie_rangings,
)
from pegline.network.placement_faults import placement_faults
from pegline.network.start_points import bookings, corners_beside, place_point
from pegline.records import record

__all__ = ["Gap", "Hints", "Start", "start_figure"]


@record(frozen=True, slots=True)
class Start:
    """Approximate positions with the base line along +x from its start, and how they came about."""

    positions: Mapping[str, XY]  #: metres on the ground
    used: frozenset[int]  #: numbers of the observations that placed the points
    pairs: Mapping[str, tuple[str, str]]  #: for points cut by two arcs, the centres
    findings: tuple[Finding, ...]  #: why the others could not be placed
    missing: tuple[str, ...]  #: the points that could not be placed
    handed: bool  #: whether something told left from right; else the figure may be mirrored as a whole


def start_figure(
    stations: Sequence[str], points: Sequence[str], observations: Sequence[Observation], hints: Hints
) -> Start:
    """Place stations and points one after another, as far as it goes.

    A row may put a corner where the other corners of its building cannot follow. Then the walls place it, the
    others follow, and the row is compared with them.
    """
    figure = _placed_figure(stations, points, observations, hints, frozenset())
    missing = _points_without_place(figure, stations, points)
    if by_walls := corners_beside(frozenset(missing), observations):
        again = _placed_figure(stations, points, observations, hints, by_walls)
        left = _points_without_place(again, stations, points)
        if len(left) < len(missing):
            figure, missing = again, left
    return Start(
        figure.at,
        frozenset(figure.used),
        figure.pairs,
        tuple(placement_faults(figure, missing, frozenset(stations))),
        missing,
        figure.bent and not figure.tentative,
    )


def _placed_figure(
    stations: Sequence[str],
    points: Sequence[str],
    observations: Sequence[Observation],
    hints: Hints,
    by_walls: frozenset[str],
) -> Figure:
    """Return the figure with all placed that can be; some corners by their walls before their rows."""
    figure = Figure(observations, hints, booked=bookings(points, observations, by_walls))
    _index(figure, frozenset(stations))
    _lay_base(figure)
    while _grow(figure, stations) or _place_points(figure, points) or _by_sketch(figure, stations):
        pass
    return figure


def _points_without_place(figure: Figure, stations: Sequence[str], points: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in (*stations, *points) if name not in figure.at)


def _index(figure: Figure, stations: frozenset[str]) -> None:
    for number, one in enumerate(figure.observations):
        if isinstance(one, Distance) and one.booking.part in ("base", "side", "tie"):
            figure.lines[one.start].append((number, one, one.end))
            figure.lines[one.end].append((number, one, one.start))
    for number, tie in tie_chainages(figure.observations):
        for name in tie.points:
            figure.on_lines[name].append((number, tie))
    figure.rangings |= {one.booking.group: number for number, one in tie_rangings(figure.observations)}
    for name, side in figure.hints.sides.items():
        for end in (side.of.start, side.of.end):
            figure.referred[end].append(name)


def _lay_base(figure: Figure) -> None:
    for number, base in base_lines(figure.observations):
        figure.used.add(number)
        _put(figure, base.start, (0.0, 0.0), 0.0)
        _put(figure, base.end, (base.booking.value, 0.0), base.booking.sd)


# --- stations ---------------------------------------------------------------------------------------------------


def _grow(figure: Figure, stations: Sequence[str]) -> bool:
    """Place stations until nothing more can be; tell whether any was placed."""
    before = len(figure.at)
    while True:
        while figure.heap:
            *_, name, one, other = heapq.heappop(figure.heap)
            figure.waiting.discard((one.number, other.number))
            if name not in figure.at:
                _try_arcs(figure, name, one, other)
        if not (_prolong(figure) or _guess_hand(figure)):
            return len(figure.at) > before


def _put(figure: Figure, name: str, at: XY, rough: float) -> None:
    """Place a station or point, and everything that follows from it at once."""
    figure.at[name], figure.rough[name] = at, rough
    figure.unsettled.pop(name, None)
    for number, line, other in figure.lines[name]:
        if other not in figure.at:
            arc = ArcAboutStation(number, name, at, line.booking.value, line.booking.sd, line.booking.part == "tie")
            figure.arcs[other].append(arc)
            _push(figure, other)
    for other in figure.referred[name]:
        if other not in figure.at:
            _push(figure, other)
    for number, row in figure.on_lines[name]:
        if row.point not in figure.at and row.start in figure.at and row.end in figure.at:
            start, end = figure.at[row.start], figure.at[row.end]
            length = dist(start, end) if isinstance(row, TieChainage) else row.length
            share = row.booking.value / length
            rough = max(figure.rough[row.start], figure.rough[row.end])
            figure.used.update((number, figure.rangings[row.booking.group]))
            _put(figure, row.point, point_between(start, end, share), rough)


def _push(figure: Figure, name: str) -> None:
    """Put every pair of arcs of a station on the heap: sides before ties, then the best-shaped first."""
    arcs = figure.arcs[name]
    for i, one in enumerate(arcs):
        for other in arcs[:i]:
            first, second = (one, other) if (one.radius, one.centre) <= (other.radius, other.centre) else (other, one)
            if (first.number, second.number) in figure.waiting:
                continue
            figure.waiting.add((first.number, second.number))
            sine = round(cut_sine(one, other), 9)
            order = (first.radius, second.radius, name, first.centre, second.centre, first.number, second.number)
            heapq.heappush(figure.heap, (one.tie or other.tie, -sine, order, name, first, second))


def _try_arcs(figure: Figure, name: str, one: ArcAboutStation, other: ArcAboutStation) -> None:
    images = meetings(one, other)
    if images is None:
        lacking = gap(one, other)
        if name not in figure.gaps or lacking < figure.gaps[name][0]:
            figure.gaps[name] = (lacking, one, other)
        return
    chosen = _settle(figure, name, images, one, other)
    if chosen is None:
        figure.unsettled.setdefault(name, (one, other))
        return
    _place_by_arcs(figure, name, images[chosen], one, other)


def _place_by_arcs(figure: Figure, name: str, at: XY, one: ArcAboutStation, other: ArcAboutStation) -> None:
    figure.used.update((one.number, other.number))
    figure.pairs[name] = (one.centre, other.centre)
    figure.bent = True
    rough = max(figure.rough[one.centre], figure.rough[other.centre])
    rough = hypot(rough, cut_sd(one, other))
    _put(figure, name, at, rough)
    if figure.tentative:
        _settle_hand(figure)


def _settle(
    figure: Figure, name: str, images: tuple[XY, XY], one: ArcAboutStation, other: ArcAboutStation
) -> int | None:
    """Return which of two mirror images is meant, None where nothing tells."""
    if not figure.tentative:
        for side in (_by_side(figure, name, images), _by_drawing(figure, name, images, one, other)):
            if side is not None:
                return side
    return _by_further_lines(figure, name, images, one, other)


def _by_side(figure: Figure, name: str, images: tuple[XY, XY]) -> int | None:
    side = figure.hints.sides.get(name)
    if side is None or side.of.start not in figure.at or side.of.end not in figure.at:
        return None
    start, end = figure.at[side.of.start], figure.at[side.of.end]
    fits = [is_on_side(start, end, image, left=side.left) for image in images]
    return fits.index(True) if fits[0] != fits[1] else None


def _by_drawing(
    figure: Figure, name: str, images: tuple[XY, XY], one: ArcAboutStation, other: ArcAboutStation
) -> int | None:
    """Return the image that the sketch means: by the triangle with the centres, else by the whole sketch."""
    sketches = figure.hints.sketches
    if name not in sketches:
        return None
    if one.centre in sketches and other.centre in sketches:
        turn = metres_left(sketches[one.centre], sketches[other.centre], sketches[name])
        return None if turn == 0 else 0 if turn > 0 else 1
    laid = _sketch_placement(figure)
    if laid is None:
        return None
    away = [dist(image, laid(sketches[name])) for image in images]
    return away.index(min(away)) if away[0] != away[1] else None


def _sketch_placement(figure: Figure) -> Callable[[XY], XY] | None:
    """Return how the sketch lies on the figure (turned, moved, enlarged), None with fewer than two common stations."""
    both = [name for name in figure.hints.sketches if name in figure.at]
    if len(both) < 2:
        return None
    drawn = [complex(*figure.hints.sketches[name]) for name in both]
    true = [complex(*figure.at[name]) for name in both]
    middle, centre = sum(drawn) / len(both), sum(true) / len(both)
    size = sum(abs(z - middle) ** 2 for z in drawn)
    if size == 0:
        return None
    turn = sum((t - centre) * (z - middle).conjugate() for t, z in zip(true, drawn, strict=True)) / size

    def lay(point: XY) -> XY:
        z = centre + turn * (complex(*point) - middle)
        return (z.real, z.imag)

    return lay


def _by_further_lines(
    figure: Figure, name: str, images: tuple[XY, XY], one: ArcAboutStation, other: ArcAboutStation
) -> int | None:
    further = [arc for arc in figure.arcs[name] if arc.number not in (one.number, other.number)]
    misfits = [max((_misfit(figure, image, arc, one, other) for arc in further), default=0.0) for image in images]
    return settled_image(misfits)


def _misfit(figure: Figure, image: XY, arc: ArcAboutStation, one: ArcAboutStation, other: ArcAboutStation) -> float:
    """Return how far an image misfits a further arc, in standard deviations of the misfit."""
    rough = hypot(arc.sd, figure.rough[arc.centre], figure.rough[one.centre], figure.rough[other.centre])
    rough = hypot(rough, cut_sd(one, other))
    return abs(dist(image, arc.at) - arc.radius) / rough


def _guess_hand(figure: Figure) -> bool:
    """Place a first station off the base line on its left, for the time being, when no side is told."""
    if figure.bent or not figure.unsettled:
        return False
    pushed = [(-cut_sine(*pair), pair[0].radius, pair[1].radius, name) for name, pair in figure.unsettled.items()]
    name = min(pushed)[-1]
    one, other = figure.unsettled[name]
    images = cast("tuple[XY, XY]", meetings(one, other))  # else it would be among the gaps
    figure.tentative = True
    _place_by_arcs(figure, name, max(images, key=lambda image: image[1]), one, other)
    return True


def _settle_hand(figure: Figure) -> None:
    """Mirror the figure, or not, as soon as a side or the sketch tells."""
    for name in figure.at:
        hand = _hand(figure, name)
        if hand is None:
            continue
        figure.tentative = False
        if not hand:
            figure.at = {key: (x, -y) for key, (x, y) in figure.at.items()}
            for arcs in figure.arcs.values():
                arcs[:] = [
                    ArcAboutStation(a.number, a.centre, (a.at[0], -a.at[1]), a.radius, a.sd, a.tie) for a in arcs
                ]
        figure.heap.clear()
        figure.waiting.clear()
        for other in list(figure.arcs):
            if other not in figure.at:
                _push(figure, other)
        return


def _hand(figure: Figure, name: str) -> bool | None:
    """Return whether a placed station stands on the side told; None where none is told of it."""
    side = figure.hints.sides.get(name)
    on_booked_side = is_on_booked_side(figure.at, name, side) if side else None
    if on_booked_side is not None:
        return on_booked_side
    sketches = figure.hints.sketches
    pair = figure.pairs.get(name, ())
    if len(pair) == 2 and all(one in sketches for one in (name, *pair)):
        drawn_left = metres_left(sketches[pair[0]], sketches[pair[1]], sketches[name]) > 0
        return is_on_side(figure.at[pair[0]], figure.at[pair[1]], figure.at[name], left=drawn_left)
    return None


def _prolong(figure: Figure) -> bool:
    """Place the far end of a line from its near end and a tie station that stands on it."""
    for rows in list(figure.on_lines.values()):
        for _, row in rows:
            if row.point not in figure.at or row.booking.value == 0:
                continue
            for near, far, sign in ((row.start, row.end, 1.0), (row.end, row.start, -1.0)):
                if near not in figure.at or far in figure.at:
                    continue
                value = row.booking.value
                reach = row.length / (value if sign > 0 else row.length - value or 1.0)
                lines = [n for n, line, other in figure.lines[far] if other == near]
                if not lines or figure.at[near] == figure.at[row.point]:
                    continue
                figure.used.update((figure.rangings[row.booking.group], lines[0]))
                rough = abs(reach) * max(figure.rough[near], figure.rough[row.point])
                _put(figure, far, point_between(figure.at[near], figure.at[row.point], reach), rough)
                return True
    return False


def _by_sketch(figure: Figure, stations: Sequence[str]) -> bool:
    """Place all stations that are left from the sketch, where arcs cannot: they hold one another."""
    left = [name for name in stations if name not in figure.at and len(figure.lines[name]) > 1]
    laid = _sketch_placement(figure)
    if not left or laid is None or figure.tentative or not all(name in figure.hints.sketches for name in left):
        return False
    if any(name in figure.gaps for name in left):
        return False
    for name in left:
        figure.used.update(number for number, _, _ in figure.lines[name])
    for name in left:
        figure.bent = True
        _put(figure, name, laid(figure.hints.sketches[name]), 0.0)
    return True


# --- points that share equations --------------------------------------------------------------------------------


def _place_points(figure: Figure, points: Sequence[str]) -> bool:
    """Place the points that can be; tell whether any was."""
    before = len(figure.at)
    left = [name for name in points if name not in figure.at]
    while left:
        count = len(left)
        for name in left:
            side = figure.hints.sides.get(name)
            placed = place_point(name, figure.booked[name], figure.observations, figure.at, side)
            if placed:
                at, used, pair = placed
                figure.used.update(used)
                if pair:
                    figure.pairs[name] = pair
                _put(figure, name, at, 0.0)
        left = [name for name in left if name not in figure.at]
        if len(left) == count:
            break
    return len(figure.at) > before
