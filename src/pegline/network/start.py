"""Where every point stands to begin with: outward from the base line, arcs cut arcs, the best-shaped pair first.

The choice depends on readings and shapes alone, never on the order of the book; names break exact ties only.
The observations that placed each point are the ones that a plan plotted by hand would use.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import hypot
from typing import Any

from pegline.errors import Finding, Place
from pegline.measures.values import Side
from pegline.network.cut import XY, Arc, between, cross, gap, meet, shape
from pegline.network.equations import Chainage, Distance, Observation
from pegline.network.start_points import Bookings, bookings, place_point

__all__ = ["Gap", "Hints", "Start", "start"]

#: A mirror image is ruled out when it misfits a further line by more than so many standard deviations.
MIRROR_SIGMAS = 4.0


@dataclass(frozen=True, slots=True)
class Gap:
    """Arcs that do not meet."""

    point: str  #: the point that they should give
    centres: tuple[str, str]
    gap: float  #: what is missing (or too much) between them, metres
    observations: tuple[Distance, ...]  #: the two arcs, then the line between the centres where it was taped


@dataclass(frozen=True, slots=True)
class Hints:
    """What a book says about where things are, beside its measurements."""

    sides: Mapping[str, Side]  #: of stations, and of points fixed by arcs
    sketches: Mapping[str, XY]  #: rough positions, any unit
    places: Mapping[str, Place]  #: where each point is first booked


@dataclass(frozen=True, slots=True)
class Start:
    """Approximate positions with the base line along +x from its start, and how they came about."""

    positions: Mapping[str, XY]  #: metres on the ground
    used: frozenset[int]  #: numbers of the observations that placed the points
    pairs: Mapping[str, tuple[str, str]]  #: for points cut by two arcs, the centres
    findings: tuple[Finding, ...]  #: why the others could not be placed
    missing: tuple[str, ...]  #: the points that could not be placed
    handed: bool  #: whether something told left from right; else the figure may be mirrored as a whole


@dataclass(slots=True)
class _Figure:
    """The figure as it grows."""

    observations: Sequence[Observation]
    hints: Hints
    at: dict[str, XY] = field(default_factory=dict)
    rough: dict[str, float] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)
    pairs: dict[str, tuple[str, str]] = field(default_factory=dict)
    arcs: dict[str, list[Arc]] = field(default_factory=lambda: defaultdict(list))
    lines: dict[str, list[tuple[int, Distance, str]]] = field(default_factory=lambda: defaultdict(list))
    referred: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    on_lines: dict[str, list[tuple[int, Chainage]]] = field(default_factory=lambda: defaultdict(list))
    heap: list[tuple[tuple[Any, ...], str, Arc, Arc]] = field(default_factory=list)
    unsettled: dict[str, tuple[Arc, Arc]] = field(default_factory=dict)
    gaps: dict[str, tuple[float, Arc, Arc]] = field(default_factory=dict)
    booked: Bookings = field(default_factory=dict)
    tentative: bool = False
    bent: bool = False


def start(stations: Sequence[str], points: Sequence[str], observations: Sequence[Observation], hints: Hints) -> Start:
    """Place stations and points one after another, as far as it goes."""
    figure = _Figure(observations, hints)
    _index(figure, frozenset(stations))
    _lay_base(figure)
    while _grow(figure, stations) or _place_points(figure, points) or _by_sketch(figure, stations):
        pass
    missing = tuple(name for name in (*stations, *points) if name not in figure.at)
    return Start(
        figure.at,
        frozenset(figure.used),
        figure.pairs,
        tuple(_told(figure, missing, frozenset(stations))),
        missing,
        figure.bent and not figure.tentative,
    )


def _index(figure: _Figure, stations: frozenset[str]) -> None:
    for number, one in enumerate(figure.observations):
        if isinstance(one, Distance) and one.part in ("base", "side", "tie"):
            figure.lines[one.start].append((number, one, one.end))
            figure.lines[one.end].append((number, one, one.start))
        if isinstance(one, Chainage) and one.part == "station":
            for name in one.points:
                figure.on_lines[name].append((number, one))
    for name, side in figure.hints.sides.items():
        for end in (side.of.start, side.of.end):
            figure.referred[end].append(name)


def _lay_base(figure: _Figure) -> None:
    for number, one in enumerate(figure.observations):
        if isinstance(one, Distance) and one.part == "base":
            figure.used.add(number)
            _put(figure, one.start, (0.0, 0.0), 0.0)
            _put(figure, one.end, (one.value, 0.0), one.sd)


# --- stations ---------------------------------------------------------------------------------------------------


def _grow(figure: _Figure, stations: Sequence[str]) -> bool:
    """Place stations until nothing more can be; tell whether any was placed."""
    before = len(figure.at)
    while True:
        while figure.heap:
            _, name, one, other = heapq.heappop(figure.heap)
            if name not in figure.at:
                _try_arcs(figure, name, one, other)
        if not (_prolong(figure) or _guess_hand(figure)):
            return len(figure.at) > before


def _put(figure: _Figure, name: str, at: XY, rough: float) -> None:
    """Place a station or point, and everything that follows from it at once."""
    figure.at[name], figure.rough[name] = at, rough
    figure.unsettled.pop(name, None)
    for number, line, other in figure.lines[name]:
        if other not in figure.at:
            arc = Arc(number, name, at, line.value, line.sd, line.part == "tie")
            figure.arcs[other].append(arc)
            _push(figure, other)
    for other in figure.referred[name]:
        if other not in figure.at:
            _push(figure, other)
    for number, row in figure.on_lines[name]:
        if row.point not in figure.at and row.start in figure.at and row.end in figure.at:
            start, end = figure.at[row.start], figure.at[row.end]
            share = row.value / row.length
            rough = max(figure.rough[row.start], figure.rough[row.end])
            figure.used.update((number, number + 1))  # its ranging is booked right after it
            _put(figure, row.point, between(start, end, share), rough)


def _push(figure: _Figure, name: str) -> None:
    """Put every pair of arcs of a station on the heap: sides before ties, then the best-shaped first."""
    arcs = figure.arcs[name]
    for i, one in enumerate(arcs):
        for other in arcs[:i]:
            first, second = sorted((one, other), key=lambda arc: (arc.radius, arc.centre))
            key = (
                one.tie or other.tie,
                -round(shape(one, other), 9),
                first.radius,
                second.radius,
                name,
                first.centre,
                second.centre,
                first.number,
                second.number,
            )
            heapq.heappush(figure.heap, (key, name, first, second))


def _try_arcs(figure: _Figure, name: str, one: Arc, other: Arc) -> None:
    images = meet(one, other)
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


def _place_by_arcs(figure: _Figure, name: str, at: XY, one: Arc, other: Arc) -> None:
    figure.used.update((one.number, other.number))
    figure.pairs[name] = (one.centre, other.centre)
    figure.bent = True
    rough = max(figure.rough[one.centre], figure.rough[other.centre])
    rough = hypot(rough, hypot(one.sd, other.sd) / max(shape(one, other), 1e-3))
    _put(figure, name, at, rough)
    if figure.tentative:
        _settle_hand(figure)


def _settle(figure: _Figure, name: str, images: tuple[XY, XY], one: Arc, other: Arc) -> int | None:
    """Return which of two mirror images is meant, None where nothing tells."""
    if not figure.tentative:
        for told in (_by_side(figure, name, images), _by_drawing(figure, name, images, one, other)):
            if told is not None:
                return told
    return _by_further_lines(figure, name, images, one, other)


def _by_side(figure: _Figure, name: str, images: tuple[XY, XY]) -> int | None:
    side = figure.hints.sides.get(name)
    if side is None or side.of.start not in figure.at or side.of.end not in figure.at:
        return None
    start, end = figure.at[side.of.start], figure.at[side.of.end]
    fits = [(cross(start, end, image) > 0) == side.left for image in images]
    return fits.index(True) if fits[0] != fits[1] else None


def _by_drawing(figure: _Figure, name: str, images: tuple[XY, XY], one: Arc, other: Arc) -> int | None:
    """Return the image that the sketch means: by the triangle with the centres, else by the whole sketch."""
    sketches = figure.hints.sketches
    if name not in sketches:
        return None
    if one.centre in sketches and other.centre in sketches:
        turn = cross(sketches[one.centre], sketches[other.centre], sketches[name])
        return None if turn == 0 else 0 if turn > 0 else 1
    laid = _laid(figure)
    if laid is None:
        return None
    x, y = laid(sketches[name])
    away = [hypot(image[0] - x, image[1] - y) for image in images]
    return away.index(min(away)) if away[0] != away[1] else None


def _laid(figure: _Figure) -> Callable[[XY], XY] | None:
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


def _by_further_lines(figure: _Figure, name: str, images: tuple[XY, XY], one: Arc, other: Arc) -> int | None:
    further = [arc for arc in figure.arcs[name] if arc.number not in (one.number, other.number)]
    misfits = [max((_misfit(figure, image, arc, one, other) for arc in further), default=0.0) for image in images]
    good, bad = min(misfits), max(misfits)
    if bad <= MIRROR_SIGMAS or good * 3 > bad:
        return None
    return misfits.index(good)


def _misfit(figure: _Figure, image: XY, arc: Arc, one: Arc, other: Arc) -> float:
    """Return how far an image misfits a further arc, in standard deviations of the misfit."""
    distance = hypot(image[0] - arc.at[0], image[1] - arc.at[1])
    rough = hypot(arc.sd, figure.rough[arc.centre], figure.rough[one.centre], figure.rough[other.centre])
    rough = hypot(rough, hypot(one.sd, other.sd) / max(shape(one, other), 1e-3))
    return abs(distance - arc.radius) / rough


def _guess_hand(figure: _Figure) -> bool:
    """Place a first station off the base line on its left, for the time being, when no side is told."""
    if figure.bent or not figure.unsettled:
        return False
    pushed = [(-shape(*pair), pair[0].radius, pair[1].radius, name) for name, pair in figure.unsettled.items()]
    name = min(pushed)[-1]
    one, other = figure.unsettled[name]
    images = meet(one, other)
    if images is None:
        return False
    figure.tentative = True
    _place_by_arcs(figure, name, max(images, key=lambda image: image[1]), one, other)
    return True


def _settle_hand(figure: _Figure) -> None:
    """Mirror the figure, or not, as soon as a side or the sketch tells."""
    for name in figure.at:
        told = _hand(figure, name)
        if told is None:
            continue
        figure.tentative = False
        if not told:
            figure.at = {key: (x, -y) for key, (x, y) in figure.at.items()}
            for arcs in figure.arcs.values():
                arcs[:] = [Arc(a.number, a.centre, (a.at[0], -a.at[1]), a.radius, a.sd, a.tie) for a in arcs]
        figure.heap.clear()
        for other in list(figure.arcs):
            if other not in figure.at:
                _push(figure, other)
        return


def _hand(figure: _Figure, name: str) -> bool | None:
    """Return whether a placed station stands on the side told; None where none is told of it."""
    side = figure.hints.sides.get(name)
    if side is not None and side.of.start in figure.at and side.of.end in figure.at:
        return (cross(figure.at[side.of.start], figure.at[side.of.end], figure.at[name]) > 0) == side.left
    sketches = figure.hints.sketches
    pair = figure.pairs.get(name, ())
    if len(pair) == 2 and all(one in sketches for one in (name, *pair)):
        drawn = cross(sketches[pair[0]], sketches[pair[1]], sketches[name])
        return (drawn > 0) == (cross(figure.at[pair[0]], figure.at[pair[1]], figure.at[name]) > 0)
    return None


def _prolong(figure: _Figure) -> bool:
    """Place the far end of a line from its near end and a tie station that stands on it."""
    for rows in list(figure.on_lines.values()):
        for number, row in rows:
            if row.point not in figure.at or row.value == 0:
                continue
            for near, far, sign in ((row.start, row.end, 1.0), (row.end, row.start, -1.0)):
                if near not in figure.at or far in figure.at:
                    continue
                reach = row.length / (row.value if sign > 0 else row.length - row.value or 1.0)
                lines = [n for n, line, other in figure.lines[far] if other == near]
                if not lines or figure.at[near] == figure.at[row.point]:
                    continue
                figure.used.update((number + 1, lines[0]))
                rough = abs(reach) * max(figure.rough[near], figure.rough[row.point])
                _put(figure, far, between(figure.at[near], figure.at[row.point], reach), rough)
                return True
    return False


def _by_sketch(figure: _Figure, stations: Sequence[str]) -> bool:
    """Place all stations that are left from the sketch, where arcs cannot: they hold one another."""
    left = [name for name in stations if name not in figure.at and len(figure.lines[name]) > 1]
    laid = _laid(figure)
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


# --- points that share equations, and what is told of those that cannot be placed ----------------------------------


def _place_points(figure: _Figure, points: Sequence[str]) -> bool:
    """Place the points that can be; tell whether any was."""
    if not figure.booked and points:
        figure.booked = bookings(points, figure.observations)
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


def _told(figure: _Figure, missing: Sequence[str], stations: frozenset[str]) -> Iterable[Finding]:
    """Tell why points are missing, each cause once with all that hangs on it, and a figure without a hand."""
    places = figure.hints.places
    left = [name for name in missing if name in stations]
    causes = 0
    for name in left:
        finding = _cause(figure, name)
        if finding:
            causes += 1
            yield finding
    apart = [name for name in left if not figure.arcs[name] and not _hangs_on(figure, name)]
    if apart:
        yield Finding(
            "disconnected",
            f"no line leads from the base line to {_list(apart)};"
            " tape lines that join them, or take them out of this book",
            places.get(apart[0]),
        )
    elif left and not causes:
        yield Finding(
            "cannot-start",
            f"{_list(left)} only hold one another; tape one more line to one of them,"
            " or give each a rough position with 'sketch: [x, y]'",
            places.get(left[0]),
        )
    loose = [name for name in missing if name not in stations]
    if loose and not left:
        yield Finding(
            "point-unfixed",
            f"nothing fixes {_list(loose)}; book an offset, two arcs with their side, or a third arc",
            places.get(loose[0]),
        )
    if figure.tentative and figure.bent:
        flipped = [name for name in figure.at if name in stations and name in figure.pairs]
        yield Finding(
            "mirrored",
            f"the whole figure could be mirrored: nothing tells on which side of the base line {_list(flipped)}"
            f" lie; add 'left_of' or 'right_of' to one of them",
            places.get(flipped[0]),
        )


def _cause(figure: _Figure, name: str) -> Finding | None:
    place = figure.hints.places.get(name)
    if name in figure.unsettled:
        one, other = figure.unsettled[name]
        return Finding(
            "side-unsettled",
            f"{name} may lie on either side of {one.centre}-{other.centre};"
            f" add 'left_of: {one.centre}-{other.centre}' or 'right_of: {one.centre}-{other.centre}' to its entry",
            place,
            (name, one.centre, other.centre),
        )
    if name in figure.gaps:
        lacking, one, other = figure.gaps[name]
        return _gap_finding(figure, name, lacking, one, other)
    if len(figure.arcs[name]) == 1 and len(figure.lines[name]) == 1:  # else it hangs on others that are told
        centre = figure.arcs[name][0].centre
        return Finding(
            "too-few-lines", f"{name} can swing about {centre}; tape one more line to it", place, (name, centre)
        )
    return None


def _gap_finding(figure: _Figure, name: str, lacking: float, one: Arc, other: Arc) -> Finding:
    taped = [figure.observations[arc.number] for arc in (one, other)]
    taped += [line for _, line, end in figure.lines[one.centre] if end == other.centre]
    distances = tuple(line for line in taped if isinstance(line, Distance))
    apart = hypot(other.at[0] - one.at[0], other.at[1] - one.at[1])
    how = "short by" if apart > one.radius + other.radius else "one is too long by"
    return Finding(
        "arcs-do-not-meet",
        f"the arcs to {name} do not meet: {one.radius:.3f} m from {one.centre} and {other.radius:.3f} m from"
        f" {other.centre}, which are {apart:.3f} m apart, {how} {lacking:.3f} m; look at these readings again",
        distances[0].place,
        Gap(name, (one.centre, other.centre), lacking, distances),
    )


def _hangs_on(figure: _Figure, name: str) -> bool:
    """Return whether a chain of lines leads from a station to the placed ones."""
    seen, stack = {name}, [name]
    while stack:
        here = stack.pop()
        if here in figure.at:
            return True
        ends = [other for _, _, other in figure.lines[here]]
        ends += [end for _, row in figure.on_lines[here] for end in row.points]
        fresh = [end for end in ends if end not in seen]
        seen.update(fresh)
        stack += fresh
    return False


def _list(names: Sequence[str]) -> str:
    """Return names as they are read out."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
