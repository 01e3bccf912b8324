"""What the walls of rectangles and right-angled rounds say: lengths and right angles, as equations of the network."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import pi
from typing import Final

from pegline.book.model import Book, Feature, Rectangle, TapedRound
from pegline.errors import Place
from pegline.measures.distance import Wall
from pegline.network.observation_types import Booking, Distance, Observation, Square
from pegline.reduction.model import Ground, Reduction

__all__ = ["SQUARE_SD", "wall_observations"]

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
