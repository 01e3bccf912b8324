"""What walls say, as equations of the network: the lengths and right angles of rectangles and of right-angled rounds,
and the points that lie in a wall produced.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import asin, degrees, dist, hypot, pi, radians
from typing import Final

from pegline.book.model import Book, Feature, Rectangle, TapedRound
from pegline.errors import Finding, Place
from pegline.measures.distance import Wall
from pegline.measures.values import Pair
from pegline.network.arc_intersection import XY
from pegline.network.observation_types import Booking, Distance, Group, Observation, Produced, Square
from pegline.reduction.model import Ground, Reduction

__all__ = [
    "FLATTEST_MEETING",
    "PRODUCED_SD",
    "SQUARE_SD",
    "meeting_faults",
    "meeting_point",
    "meeting_sine",
    "produced_observations",
    "wall_observations",
    "with_produced_sds",
]


#: How well a wall is sighted along where it is as long as it is produced, metres. Common practice.
PRODUCED_SD: Final = 0.020
#: Lines that meet at less than this fix no point, radians. Common practice.
FLATTEST_MEETING: Final = radians(15.0)


def produced_observations(book: Book, reduction: Reduction) -> Iterator[Observation]:
    """Yield that the point of a row lies in the line of a wall, and that a corner lies in those of two."""
    for number, row in enumerate(reduction.rows):
        if (wall := row.booked.produced) is not None:
            yield _in_line_with(wall, row.name, to=row.walked, group=("produced", number))
    for point in book.points.values():
        for wall in point.meet:
            yield _in_line_with(wall, point.name, to=point.name, group=("meet", point.name))


def _in_line_with(wall: Pair, point: str, *, to: str, group: Group) -> Produced:
    """Return that a point lies in the line of a wall; its deviation waits until it is known how far that is."""
    booking = Booking(
        label=f"{wall} produced to {to}",
        kind="produced",
        part="row",
        group=group,
        value=0.0,
        sd=PRODUCED_SD,
        tape=None,
        place=wall.place,
    )
    return Produced(booking, point, wall.start, wall.end)


def with_produced_sds(observations: Sequence[Observation], at: Mapping[str, XY]) -> tuple[Observation, ...]:
    """Return the observations, those of produced walls with a deviation that grows with how far they are produced.

        σ = 20 mm max(1, d / w)

    d from the nearer end of the wall to the point, w the length of the wall, by where the points roughly are.
    """
    return tuple(
        replace(one, booking=replace(one.booking, sd=PRODUCED_SD * max(1.0, _times_produced(one, at))))
        if isinstance(one, Produced) and all(name in at for name in one.points)
        else one
        for one in observations
    )


def _times_produced(one: Produced, at: Mapping[str, XY]) -> float:
    point, start, end = (at[name] for name in one.points)
    return min(dist(point, start), dist(point, end)) / max(dist(start, end), 1e-6)


def meeting_point(first: tuple[XY, XY], second: tuple[XY, XY]) -> XY | None:
    """Return where two lines through two points each meet; None where they run alongside.

    >>> meeting_point(((0.0, 0.0), (1.0, 0.0)), ((3.0, 1.0), (3.0, 2.0)))
    (3.0, 0.0)
    """
    if abs(meeting_sine(first, second)) < 1e-6:
        return None
    (p, q), (r, s) = first, second
    across = (q[0] - p[0]) * (s[1] - r[1]) - (q[1] - p[1]) * (s[0] - r[0])
    along = ((r[0] - p[0]) * (s[1] - r[1]) - (r[1] - p[1]) * (s[0] - r[0])) / across
    return p[0] + along * (q[0] - p[0]), p[1] + along * (q[1] - p[1])


def meeting_sine(first: tuple[XY, XY], second: tuple[XY, XY]) -> float:
    """Return the sine of the angle from one line to another, each through two points; 0 where two points are one."""
    (p, q), (r, s) = first, second
    across = (q[0] - p[0]) * (s[1] - r[1]) - (q[1] - p[1]) * (s[0] - r[0])
    sizes = hypot(q[0] - p[0], q[1] - p[1]) * hypot(s[0] - r[0], s[1] - r[1])
    return across / sizes if sizes else 0.0


def meeting_faults(book: Book, at: Mapping[str, XY]) -> Iterator[Finding]:
    """Tell each point where two lines should meet that run too much alongside to fix it."""
    for point in book.points.values():
        if len(point.meet) != 2 or any(end not in at for pair in point.meet for end in (pair.start, pair.end)):
            continue
        angle = asin(min(1.0, abs(meeting_sine(*(_ends(pair, at) for pair in point.meet)))))
        if angle < FLATTEST_MEETING:
            text = (
                f"{point.meet[0]} and {point.meet[1]} meet at {degrees(angle):.0f}°, which does not fix {point.name};"
                " under 15° book it from another line"
            )
            yield Finding("meet-flat", text, point.place)


def _ends(pair: Pair, at: Mapping[str, XY]) -> tuple[XY, XY]:
    return at[pair.start], at[pair.end]


#: Standard deviation of a built right angle, radians (0.2°, common practice).
SQUARE_SD: Final = 0.2 * pi / 180


def wall_observations(book: Book, reduction: Reduction) -> tuple[Observation, ...]:
    """Return the equations of every rectangle and round: its walls are measured, its corners square within 0.2°.

    The corners follow each other from the edge's end onward, and each is given by the square and
    the length before it; what a corner has besides, such as a last wall back to the start, checks.
    """
    observations: list[Observation] = []
    for name, feature in book.features.items():
        grounds = reduction.walls.get(name, ())
        match feature.geometry:
            case Rectangle() as rectangle if grounds:
                observations += _rectangle(feature, rectangle, grounds[0])
            case TapedRound() as taped_round if len(grounds) == len(taped_round.walls):
                observations += _round(feature, taped_round, grounds)
            case _:
                continue
    return tuple(observations)


def _rectangle(feature: Feature, rectangle: Rectangle, depth: Ground) -> Iterator[Observation]:
    """Yield one measured wall and three squares: the fourth follows from the other three."""
    start, end = rectangle.edge.start, rectangle.edge.end
    far, near = rectangle.corners
    place, left = depth.place, rectangle.left
    yield _square(feature, (start, end, far), left, place)
    yield _wall(feature, end, far, depth)
    yield _square(feature, (end, far, near), left, place)
    yield _square(feature, (near, start, end), left, place)


def _round(feature: Feature, taped_round: TapedRound, grounds: Sequence[Ground]) -> Iterator[Observation]:
    """Yield each wall after the square it starts with; then whether the way back to the start is square."""
    start, end = taped_round.edge.start, taped_round.edge.end
    corners = [start, end, *taped_round.corners]
    if taped_round.closing:
        corners.append(start)
    for number, (wall, ground) in enumerate(zip(taped_round.walls, grounds, strict=True)):
        before, corner, after = corners[number : number + 3]
        yield _square(feature, (before, corner, after), wall.left, wall.place)
        yield _wall(feature, corner, after, ground)
    back = None if taped_round.closing else _turn_back(taped_round.walls, grounds)
    if back is not None:
        yield _square(feature, (corners[-2], corners[-1], start), back, taped_round.walls[-1].place)


def _turn_back(walls: Sequence[Wall], grounds: Sequence[Ground]) -> bool | None:
    """Return whether the wall that was left out turns left; None where it does not stand square to the last one.

    Walked along the edge towards +x, the walls end somewhere beside it; the last one, when it runs
    along the edge again, turns to come back to it.
    """
    if len(walls) % 2:
        return None
    x, y = 1.0, 0.0
    beside = 0.0
    for wall, ground in zip(walls, grounds, strict=True):
        x, y = (-y, x) if wall.left else (y, -x)
        beside += y * ground.length
    return (beside > 0) != (x > 0) if beside else None


def _square(feature: Feature, points: tuple[str, str, str], left: bool, place: Place) -> Square:
    booking = Booking(
        label=f"{feature.name} square at {points[1]}",
        kind="wall",
        part="wall",
        group=("feature", feature.name),
        value=pi / 2 if left else -pi / 2,
        sd=SQUARE_SD,
        tape=None,
        place=place,
    )
    return Square(booking, *points)


def _wall(feature: Feature, start: str, end: str, ground: Ground) -> Distance:
    """Return the equation of a wall's length."""
    booking = Booking(
        label=f"{start}-{end}",
        kind="wall",
        part="wall",
        group=("feature", feature.name),
        value=ground.length,
        sd=ground.sd,
        tape=ground.tape,
        place=ground.place,
    )
    return Distance(booking, start, end)
