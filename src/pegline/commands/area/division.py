"""A ring of a survey divided by straight lines, with what the division owes to the survey's own errors."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from functools import partial
from typing import Final

import numpy as np
from shapely import Point, Polygon

from pegline.commands.area.cuts import (
    Cut,
    along_ring,
    moved_cut,
    parallel_cuts,
    part_of,
    place_along,
    through_cuts,
    turned_cut,
)
from pegline.commands.positions import Positions, difference_quotients
from pegline.detail.model import Path
from pegline.detail.path import area, stroke
from pegline.detail.paths_by_geometry import Making, making_of
from pegline.detail.ruler import Ruler
from pegline.errors import UsageError
from pegline.plane import Array, distance
from pegline.records import record

__all__ = ["Division", "End", "Part", "RingFunction", "divide", "ring_of"]

#: How finely arcs are stroked to see what lies in a part, metres.
PART_TOLERANCE: Final = 0.001
#: A point nearer than this to the ring lies on it, metres.
ON_RING: Final = 0.005

#: From the values that a ring hangs on to a direction or a point of the dividing line.
Guide = Callable[[Array], Array]


@record(frozen=True, slots=True)
class RingFunction:
    """A closed path of a survey as a function of the positions and lengths that it hangs on."""

    name: str
    path_of: Callable[[Array], Path]  #: from all values (v,) to the path in the frame
    values: Array  #: (v,) x and y of its points, then of further points, then its own lengths
    covariance: Array  #: (v, v)
    corners: tuple[tuple[int, str], ...]  #: number of each vertex with a name, and the name
    columns: Mapping[str, int]  #: where among the values each of its points, and each further one, begins

    @property
    def path(self) -> Path:
        """Return the path as surveyed."""
        return self.path_of(self.values)

    @property
    def area(self) -> float:
        """Return the area within, square metres of the frame."""
        return abs(area(self.path))


@record(frozen=True, slots=True)
class End:
    """One end of a dividing line: where it is set out on the ring."""

    side: str  #: ``P-Q``, corners of the ring
    start: str  #: the corner that the distance is measured from
    distance: float  #: along the side, on the ground, metres
    sd: float
    position: Array  #: (2,) in the frame about its origin


@record(frozen=True, slots=True)
class Part:
    """One part of a ring."""

    area: float  #: recomputed from the part's own outline, on the ground, square metres
    area_sd: float  #: of the part once its line is set out by the distances told
    share: float  #: of the whole, 0 to 1
    outline: Path | None  #: where it has one of its own: the first and the last part


@record(frozen=True, slots=True)
class Division:
    """A ring divided."""

    of: str
    ends: tuple[End, ...]  #: two for each dividing line
    parts: tuple[Part, ...]  #: the part cut off first

    @property
    def lines(self) -> Array:
        """Return the ends (n, 2) of the dividing lines, pair by pair, in the frame about its origin."""
        return np.array([end.position for end in self.ends])


def ring_of(positions: Positions, name: str, further: Sequence[str] = ()) -> RingFunction:
    """Return a ring of the survey, with further points that a division hangs on.

    Raises
    ------
    UsageError
        The survey has no such ring, or it crosses itself.
    """
    survey = positions.survey
    shape = survey.detail.shapes.get(name)
    if shape is None or shape.form != "area" or shape.area is None or shape.path is None:
        rings = [each.name for each in survey.detail.shapes.values() if each.area is not None]
        what = "crosses itself and has no area" if shape and shape.form == "area" else "is no ring of the survey"
        raise UsageError(f"{name!r} {what}; the rings are: {', '.join(rings) or 'none'}")
    making = making_of(shape.booked, survey.book, survey.reduction)
    if making is None:
        raise RuntimeError(f"ring {name} is drawn and cannot be made")
    arms = Ruler(survey.reduction, survey.frame, survey.adjustment.solution).arms(making.grounds)
    # A further point that is a corner too moves with it.
    names = tuple(dict.fromkeys((*making.names, *further)))
    count, own = 2 * len(making.names), 2 * len(names)

    def path_of(values: Array) -> Path:
        return making.make(values[:count].reshape(-1, 2), values[own:])

    return RingFunction(
        name=name,
        path_of=path_of,
        values=np.concatenate((positions.all(names).ravel(), arms.lengths[:, 0])),
        covariance=positions.covariance(names, arms),
        corners=_corners(name, making, shape.path),
        columns={point: 2 * number for number, point in enumerate(names)},
    )


def _corners(name: str, making: Making, path: Path) -> tuple[tuple[int, str], ...]:
    """Return the vertices of a path that have a name; those that have none are named by number."""
    vertices = len(path.vertices)
    if len(making.shown) == vertices:
        return tuple(enumerate(making.shown))
    if making.smooth is not None and vertices == 2 * len(making.shown):
        return tuple((2 * number, point) for number, point in enumerate(making.shown))
    return tuple((number, f"{name}.{number + 1}") for number in range(vertices))


def divide(
    ring: RingFunction,
    guide: Guide,
    shares: Sequence[float],
    *,
    through: bool,
    scale: float,
    near: Array | None = None,
    keep: Collection[tuple[float, float]] = (),
) -> Division:
    """Divide a ring by straight lines.

    Parameters
    ----------
    guide
        From the ring's values to the unit vector that the lines are parallel to, or to the point they go through.
    shares
        How much of the ring lies to the left of each line, rising.
    through
        Whether ``guide`` gives a point.
    scale
        Metres of the frame in a metre on the ground.
    near
        A point that the first part is next to, where lines are parallel.
    keep
        Points that must lie in the first part.

    Raises
    ------
    UsageError
        No single straight line does it.
    """
    path = ring.path
    cuts = _chosen_cuts(ring, guide(ring.values), shares, through=through, near=near, keep=keep)
    solved = [
        (
            partial(_cut_of_values, ring, guide, share, cut, through),
            [_corner_before(ring, place[0]) for place in cut.places],
        )
        for share, cut in zip(shares, cuts, strict=True)
    ]
    ends: list[End] = []
    for (settle, corners), cut in zip(solved, cuts, strict=True):
        ends += _ends(ring, path, settle, corners, cut, scale)
    corners_of = [corners for _, corners in solved]
    aways = [
        [along_ring(path, ring.corners[number][0], place) for number, place in zip(corners, cut.places, strict=True)]
        for corners, cut in zip(corners_of, cuts, strict=True)
    ]
    lines = list(zip(corners_of, aways, strict=True))
    outlines: list[Path | None] = [part_of(path, cuts[0].places), *[None] * len(cuts)]
    outlines[-1] = part_of(path, (cuts[-1].places[1], cuts[-1].places[0]))
    return Division(ring.name, tuple(ends), _parts(ring, lines, scale, outlines))


def _parts(
    ring: RingFunction,
    lines: Sequence[tuple[Sequence[int], Sequence[float]]],
    scale: float,
    outlines: Sequence[Path | None],
) -> tuple[Part, ...]:
    """Return the parts with their areas, where the lines are set out by the distances told from their corners."""

    def areas(values: Array) -> Array:
        there = ring.path_of(values)
        whole = abs(area(there))
        left = [abs(area(_outline(ring, there, *line))) for line in lines]
        return np.diff([0.0, *left, whole]) / scale**2

    by = difference_quotients(areas, ring.values)
    sds = np.sqrt(np.maximum(np.diag(by @ ring.covariance @ by.T), 0.0))
    sizes = areas(ring.values)
    return tuple(
        Part(float(size), float(sd), float(size / sizes.sum()), outline)
        for size, sd, outline in zip(sizes, sds, outlines, strict=True)
    )


def _outline(ring: RingFunction, path: Path, corners: Sequence[int], aways: Sequence[float]) -> Path:
    """Return the part to the left of a line whose ends are set out at distances from corners."""
    first, last = (
        place_along(path, ring.corners[number][0], away) for number, away in zip(corners, aways, strict=True)
    )
    return part_of(path, (first, last))


def _corner_before(ring: RingFunction, piece: int) -> int:
    """Return the number in ``Ring.corners`` of the last named corner at or before the start of a piece."""
    return max((number for number, (vertex, _) in enumerate(ring.corners) if vertex <= piece), default=-1)


def _cut_of_values(ring: RingFunction, guide: Guide, share: float, near: Cut, through: bool, values: Array) -> Cut:
    """Return the cut that the values give, near the one found."""
    path = ring.path_of(values)
    target = share * abs(area(path))
    if through:
        cut = turned_cut(path, guide(values), near.along, target)
    else:
        along = guide(values)
        cut = moved_cut(path, near.origin, along if along @ near.along > 0 else -along, target)
    return near if cut is None else cut


def _ends(
    ring: RingFunction, path: Path, settle: Callable[[Array], Cut], corners: Sequence[int], cut: Cut, scale: float
) -> list[End]:
    def aways(values: Array) -> Array:
        there, moved = ring.path_of(values), settle(values)
        return np.array(
            [_away(there, ring.corners[n][0], place) for n, place in zip(corners, moved.places, strict=True)]
        )

    by = difference_quotients(aways, ring.values)
    sds = np.sqrt(np.maximum(np.diag(by @ ring.covariance @ by.T), 0.0))
    distances = aways(ring.values)
    names = [name for _, name in ring.corners]
    return [
        End(
            side=f"{names[number]}-{names[(number + 1) % len(names)]}",
            start=names[number],
            distance=float(distances[which]) / scale,
            sd=float(sds[which]) / scale,
            position=cut.ends[which],
        )
        for which, number in enumerate(corners)
    ]


def _away(path: Path, corner: int, place: tuple[int, float]) -> float:
    """Return the distance along a ring from a corner to a place, a little before the corner negative."""
    away = along_ring(path, corner, place)
    round_it = along_ring(path, corner, ((corner - 1) % len(path.vertices), 1.0))
    return away - round_it if away > round_it / 2 and place[0] == (corner - 1) % len(path.vertices) else away


# -- which of several cuts -----------------------------------------------------------------------------------------


def _chosen_cuts(
    ring: RingFunction,
    guide: Array,
    shares: Sequence[float],
    *,
    through: bool,
    near: Array | None,
    keep: Collection[tuple[float, float]],
) -> list[Cut]:
    """Return one cut for each share, all in one sense."""
    path, whole = ring.path, ring.area
    if through and len(shares) > 1 and _away_from(path, guide) > ON_RING:
        raise UsageError("lines through a point inside would cross there; divide into 2, or from a point of the ring")
    find = through_cuts if through else parallel_cuts
    candidates = [cut for cut in find(path, guide, shares[0] * whole) if _keeps(path, cut, keep)]
    if not candidates:
        condition = " with all that is kept in the part cut off" if keep else ""
        raise UsageError(
            f"no single straight line divides {ring.name} so{condition}; choose another direction, point or share"
        )
    if near is None or through:
        first = min(candidates, key=lambda cut: cut.length)
    else:
        first = min(candidates, key=lambda cut: _apart(cut, near))
    chosen = [first]
    for share in shares[1:]:
        following = [cut for cut in find(path, guide, share * whole) if _follows(chosen[-1], cut, through)]
        if not following:
            raise UsageError(f"no single straight line divides {ring.name} at {share:.4g}; choose another direction")
        chosen.append(min(following, key=lambda cut: cut.length))
    return chosen


def _away_from(path: Path, point: Array) -> float:
    return float(Polygon(stroke(path, PART_TOLERANCE)).exterior.distance(Point(point)))


def _keeps(path: Path, cut: Cut, keep: Collection[tuple[float, float]]) -> bool:
    if not keep:
        return True
    part = Polygon(stroke(part_of(path, cut.places), PART_TOLERANCE)).buffer(PART_TOLERANCE)
    return all(part.covers(Point(point)) for point in keep)


def _apart(cut: Cut, near: Array) -> tuple[bool, float]:
    """Return whether a point lies on the other side of a cut, and how far from it: the least is the nearest."""
    u = cut.along
    left = float(u[0] * (near - cut.origin)[1] - u[1] * (near - cut.origin)[0])
    return left < 0, abs(left)


def _follows(before: Cut, cut: Cut, through: bool) -> bool:
    """Return whether a cut has the sense of the one before it: the same direction, or the same end at the point."""
    if not through:
        return bool(before.along @ cut.along > 0)
    point = before.origin
    return bool(np.argmin(distance(before.ends, point)) == np.argmin(distance(cut.ends, point)))
