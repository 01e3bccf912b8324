"""Where the points that share equations stand to begin with: each by the first booking that gives it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from math import cos, dist, hypot, sin
from typing import Final

from pegline.measures.values import Side
from pegline.network.arc_intersection import (
    XY,
    ArcAboutStation,
    cut_sine,
    meetings,
    point_between,
    settled_image,
)
from pegline.network.line_sides import is_on_side
from pegline.network.observation_types import (
    Chainage,
    Distance,
    Group,
    Oblique,
    Observation,
    Offset,
    Produced,
    Ranging,
    Square,
)
from pegline.network.walls import meeting_point

__all__ = ["FLATTEST_RAYS", "Bookings", "bookings", "corners_beside", "place_point"]

FLATTEST_RAYS: Final = 0.1  #: sine of the angle from which two walls' directions place the point where they cut

#: For each point its bookings in order; each is the numbers of the observations that stand or fall together.
Bookings = Mapping[str, Sequence[Sequence[int]]]
_Ray = tuple[int, XY, XY, str]  # number, origin, direction, corner
_Placed = tuple[XY, tuple[int, ...], tuple[str, str] | None]


def bookings(
    points: Sequence[str], observations: Sequence[Observation], by_walls: Collection[str] = frozenset()
) -> Bookings:
    """Return what each point is booked by: rows and arcs in order, then walls, then dimensions.

    Parameters
    ----------
    by_walls
        Points whose walls come before their rows.
    """
    if not points:  # as in most large books: then no observation need be looked at
        return {}
    numbers: dict[str, dict[tuple[int, Group | None], list[int]]] = {name: {} for name in points}
    for number, one in enumerate(observations):
        if isinstance(one, Distance | Square):
            booked, rank = one.points, {"row": 0, "arc": 0, "wall": 1}.get(one.booking.part, 2)
            names = booked[-1:] if rank == 0 else booked
            key = (rank, one.booking.group if rank < 2 else None)
        else:
            names, key = one.points[:1], (0, one.booking.group)
        for name in names:
            if name in numbers:
                numbers[name].setdefault(key, []).append(number)

    def rank_of(name: str, rank: int) -> int:
        return -1 if rank == 1 and name in by_walls else rank

    return {
        name: [groups[key] for key in sorted(groups, key=lambda k: rank_of(name, k[0]))]
        for name, groups in numbers.items()
    }


def corners_beside(missing: frozenset[str], observations: Sequence[Observation]) -> frozenset[str]:
    """Return the corners of the buildings that a missing point is a corner of."""
    squares = [one for one in observations if isinstance(one, Square)]
    groups = {one.booking.group for one in squares if not missing.isdisjoint(one.points)}
    return frozenset(name for one in squares if one.booking.group in groups for name in one.points)


def place_point(
    name: str,
    groups: Sequence[Sequence[int]],
    observations: Sequence[Observation],
    at: Mapping[str, XY],
    side: Side | None,
) -> _Placed | None:
    """Return where a point stands, by which observations, and the centres of arcs; None while nothing tells."""
    circles: list[ArcAboutStation] = []
    for group in groups:
        ones = [(n, observations[n]) for n in group]
        placed = _square_off(ones, at) or _wall_intersection(ones, at)
        if placed:
            return placed
        rays = list(_rays(name, ones, at))
        own = list(_circles(name, ones, at))
        circles += own
        placed = _by_rays(rays, own)
        if placed:
            return placed
        row_side = next((one.side for _, one in ones if isinstance(one, Oblique) and one.side), 0)
        row = next((one for _, one in ones if isinstance(one, Oblique)), None)
        line = (row.start, row.end) if row else None
        placed = _by_circles(circles, at, side, (line, row_side))
        if placed:
            return placed
    return None


def _square_off(ones: Sequence[tuple[int, Observation]], at: Mapping[str, XY]) -> _Placed | None:
    """Return the point of a perpendicular offset, or of a point on its line."""
    along = next(((n, one) for n, one in ones if isinstance(one, Chainage)), None)
    aside = next(((n, one) for n, one in ones if isinstance(one, Offset | Ranging)), None)
    if along is None or aside is None or along[1].start not in at or along[1].end not in at:
        return None
    start, end = at[along[1].start], at[along[1].end]
    foot = point_between(start, end, along[1].booking.value / along[1].length)
    away = aside[1].side * aside[1].booking.value if isinstance(aside[1], Offset) else 0.0
    size = dist(start, end)
    nx, ny = -(end[1] - start[1]) / size, (end[0] - start[0]) / size
    return (foot[0] + away * nx, foot[1] + away * ny), (along[0], aside[0]), None


def _wall_intersection(ones: Sequence[tuple[int, Observation]], at: Mapping[str, XY]) -> _Placed | None:
    """Return the point where two walls, produced, meet."""
    walls = [(n, one) for n, one in ones if isinstance(one, Produced) and one.start in at and one.end in at]
    if len(walls) < 2:
        return None
    (first, one), (second, other) = walls[:2]
    point = meeting_point((at[one.start], at[one.end]), (at[other.start], at[other.end]))
    return None if point is None else (point, (first, second), None)


def _rays(name: str, ones: Sequence[tuple[int, Observation]], at: Mapping[str, XY]) -> Iterator[_Ray]:
    for number, one in ones:
        if not isinstance(one, Square) or one.corner not in at:
            continue
        corner = at[one.corner]
        if name == one.after and one.before in at:
            yield number, corner, _turn_left(at[one.before], corner, one.booking.value), one.corner
        if name == one.before and one.after in at:
            x, y = _turn_left(corner, at[one.after], -one.booking.value)
            yield number, corner, (-x, -y), one.corner


def _turn_left(start: XY, end: XY, angle: float) -> XY:
    """Return the direction from start to end turned to the left by an angle."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    size = hypot(dx, dy)
    c, s = cos(angle) / size, sin(angle) / size
    return (c * dx - s * dy, s * dx + c * dy)


def _circles(name: str, ones: Sequence[tuple[int, Observation]], at: Mapping[str, XY]) -> Iterator[ArcAboutStation]:
    for number, one in ones:
        if isinstance(one, Oblique) and one.start in at and one.end in at:
            foot = point_between(at[one.start], at[one.end], one.share)
            yield ArcAboutStation(number, f"{one.start}-{one.end}", foot, one.booking.value, one.booking.sd, tie=False)
        if isinstance(one, Distance):
            centre = one.start if name == one.end else one.end
            if centre in at:
                yield ArcAboutStation(number, centre, at[centre], one.booking.value, one.booking.sd, tie=False)


def _by_rays(rays: Sequence[_Ray], circles: Sequence[ArcAboutStation]) -> _Placed | None:
    for number, corner, (x, y), centre in rays:
        for arc in circles:
            if arc.centre == centre:
                return (corner[0] + arc.radius * x, corner[1] + arc.radius * y), (number, arc.number), None
    for i, (number, corner, (x, y), _) in enumerate(rays):
        for second, other, (u, v), _ in rays[:i]:
            turn = x * v - y * u
            if abs(turn) > FLATTEST_RAYS:
                dx, dy = other[0] - corner[0], other[1] - corner[1]
                t = (dx * v - dy * u) / turn
                if min(t, (dx * y - dy * x) / turn) <= 0:  # behind a corner: the walls would turn the other way
                    continue
                return (corner[0] + t * x, corner[1] + t * y), (number, second), None
    return None


def _by_circles(
    circles: Sequence[ArcAboutStation], at: Mapping[str, XY], side: Side | None, row: tuple[tuple[str, str] | None, int]
) -> _Placed | None:
    pairs = [(one, other) for i, other in enumerate(circles) for one in circles[:i]]
    for one, other in sorted(pairs, key=lambda pair: -cut_sine(*pair)):
        images = meetings(one, other)
        if images is None:
            return None
        chosen = _image(images, (one, other), circles, at, side, row)
        if chosen is not None:
            return images[chosen], (one.number, other.number), (one.centre, other.centre)
    return None


def _image(
    images: tuple[XY, XY],
    pair: tuple[ArcAboutStation, ArcAboutStation],
    circles: Sequence[ArcAboutStation],
    at: Mapping[str, XY],
    side: Side | None,
    row: tuple[tuple[str, str] | None, int],
) -> int | None:
    """Return which image is on the side told, or else fits the further distances."""
    sides: list[tuple[str, str, bool]] = []
    if row[0] and row[1]:
        sides.append((*row[0], row[1] == 1))
    if side:
        sides.append((side.of.start, side.of.end, side.left))
    for start, end, left in sides:
        if start in at and end in at:
            fits = [is_on_side(at[start], at[end], image, left=left) for image in images]
            if fits[0] != fits[1]:
                return fits.index(True)
    misfits = [
        max(
            (abs(dist(image, arc.at) - arc.radius) / arc.sd for arc in circles if arc not in pair),
            default=0.0,
        )
        for image in images
    ]
    return settled_image(misfits)
