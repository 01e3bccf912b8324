"""What is told of a round of walls that does not come back to its edge, whatever one of its readings was booked for.

No probability is told of it: a part that is narrower than the wall it leans on looks the same as a wall read short.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import dist, fsum, hypot
from typing import Final

from pegline.book.geometry import TapedRound
from pegline.book.model import Feature
from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import Likely
from pegline.diagnosis.rules.phrases import list_names
from pegline.network.walls import SQUARE_SD
from pegline.reduction.model import Ground

__all__ = ["round_causes"]

#: Standard deviations by which walls may miss the edge they come back to. Common practice.
MOST_SDS: Final = 3.0


def round_causes(survey: Survey) -> Iterator[Likely]:
    """Yield each round with a failed check whose walls along its edge do not make the edge."""
    failed = (check.booking for check in survey.adjustment.checks if not check.passed)
    groups = {booking.group for booking in failed if booking.kind == "wall"}
    for name, feature in survey.book.features.items():
        taped_round, walls = feature.geometry, survey.reduction.walls.get(name, ())
        if not isinstance(taped_round, TapedRound) or ("feature", name) not in groups:
            continue
        if len(walls) == len(taped_round.walls) and (taped_round.closing or len(walls) % 2 == 0):
            yield from _too_short_or_long(survey, feature, taped_round, walls)


def _too_short_or_long(
    survey: Survey, feature: Feature, taped_round: TapedRound, walls: Sequence[Ground]
) -> Iterator[Likely]:
    """Yield the cause where the walls along the edge, counted back along it, do not make its length.

    The walls stand square to each other, so that every second runs along the edge, and the others carry
    the deviation of their corners' right angles into it.
    """
    positions, edge = survey.solved.positions, taped_round.edge
    if edge.start not in positions or edge.end not in positions:
        return
    apart = dist(positions[edge.start], positions[edge.end]) / survey.frame.scale
    ways = _ways_back(taped_round)
    back = fsum(way * wall.length for way, wall in zip(ways, walls, strict=True))
    own = [wall.sd if way else SQUARE_SD * wall.length for way, wall in zip(ways, walls, strict=True)]
    if abs(back - apart) <= MOST_SDS * hypot(*own, *_sds(survey, edge.start, edge.end)):
        return
    corners = [edge.end, *taped_round.corners, edge.start]
    readings = [
        f"{start}-{end} {wall.readings[0].length.text}"
        for start, end, way, wall in zip(corners, corners[1:], ways, taped_round.walls, strict=False)
        if way
    ]
    length = survey.solved.notation.length
    yield Likely(
        f"{feature.name}: its walls cannot meet at {edge.start}; along {edge} they make {length(back)}, not"
        f" {length(apart)} ({list_names(readings)})",
        f"either one of these or of {edge} is wrong, as below, or this part is not as wide as {edge}: then it has an"
        " edge of its own, between two points on that wall",
        walls[0].place,
    )


def _ways_back(taped_round: TapedRound) -> list[int]:
    """Return for each wall 1 where it runs back along the edge, -1 where it runs on, and 0 across it."""
    x, y = 1, 0
    ways = []
    for wall in taped_round.walls:
        x, y = (-y, x) if wall.left else (y, -x)
        ways.append(-x)
    return ways


def _sds(survey: Survey, *names: str) -> Iterator[float]:
    """Yield the larger standard deviations of points, relative to the base line; stations have next to none."""
    points = survey.detail.points
    for name in names:
        if (row := points.index.get(name)) is not None:
            (xx, xy), (_, yy) = points.local_variances[row].tolist()
            yield ((xx + yy) / 2 + hypot((xx - yy) / 2, xy)) ** 0.5
