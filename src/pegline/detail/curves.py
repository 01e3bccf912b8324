"""Paths that are made rather than booked vertex by vertex: smooth curves, circles, offset copies."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from pegline.detail.model import Path
from pegline.detail.path import (
    ONE_POINT_METRES,
    area,
    first_crossing,
    left_normals,
    pieces,
    straight,
    stroke,
    without_repeats,
)
from pegline.plane import Array, circle_through, distance, left_of

__all__ = ["NoRoomError", "circle", "curve", "curve_vertices", "exact_copy", "parallel", "through_three"]

#: Two pieces whose directions differ by less than this, radians, are joined smoothly.
SMOOTH: Final = 1e-7
#: Chords that an offset copy falls back on leave its arcs by this, metres.
CHORD_TOLERANCE: Final = 0.001


class NoRoomError(ValueError):
    """A path bends too sharply everywhere to be copied at this distance."""


def curve(points: ArrayLike, *, closed: bool = False) -> Path:
    """Return the smooth curve of circular arcs through ``points`` (n, 2), all of which it meets in order.

    The tangent at a point is that of the circle through it and its two neighbours, at an open end
    that of the circle through the last three; between two points run two arcs that join with a
    common tangent. Points of one circle give that circle, points in line a straight line, and the
    curve turns, shifts and grows with its points.

    Examples
    --------
    >>> from pegline.detail.path import length
    >>> round(length(curve([[1, 0], [0, 1], [-1, 0], [0, -1]], closed=True)), 6)
    6.283185
    """
    given = _apart(np.asarray(points, dtype=float), closed=closed)
    closes = closed and len(given) > 2
    return Path(*curve_vertices(given, closed=closes), closes)


def _apart(points: Array, *, closed: bool) -> Array:
    """Return the points without those that stand where the one before them does."""
    before = np.roll(points, 1, axis=0)
    apart = distance(before, points) > ONE_POINT_METRES
    # A curve that is booked back to its first point has it once all the same.
    apart[0] = not closed or apart[0] or not apart.any()
    return points[apart]


def curve_vertices(points: Array, *, closed: bool) -> tuple[Array, Array]:
    """Return vertices (…, k, 2) and bulges (…, k) of the smooth curves through points (…, n, 2).

    Every other vertex is a given point: the ones between are where two arcs join.
    """
    if points.shape[-2] < 3:
        return points, np.zeros(points.shape[:-1])
    tangents = _tangents(points, closed=closed)
    starts, ends = points, np.roll(points, -1, axis=-2)
    first, last = tangents, np.roll(tangents, -1, axis=-2)
    joints = _joints(starts, first, ends, last)
    vertices = np.stack([starts, joints], axis=-2).reshape(*points.shape[:-2], -1, 2)
    bulges = np.stack([_bulge(first, joints - starts), _bulge(ends - joints, last)], axis=-1)
    bulges = bulges.reshape(*points.shape[:-2], -1)
    # Points in line give bulges of rounding only.
    bulges = np.where(np.abs(bulges) < 1e-9, 0.0, bulges)
    if closed:
        return vertices, bulges
    bulges[..., -2:] = 0.0
    return vertices[..., :-1, :], bulges[..., :-1]


def _tangents(points: Array, *, closed: bool) -> Array:
    """Return the directions (…, n, 2) of the circles through each point and its neighbours.

    Turned inside out about p, the circle through a, p, b becomes the straight line through
    (a - p)/|a - p|² and (b - p)/|b - p|², which is parallel to the tangent at p.
    """
    before, after = np.roll(points, 1, axis=-2), np.roll(points, -1, axis=-2)
    if not closed:
        before[..., 0, :], after[..., -1, :] = points[..., 2, :], points[..., -3, :]
    ahead, behind = _invert(after - points), _invert(before - points)
    # There and back again: no circle; the curve turns square to the way it came.
    lost = distance(behind, ahead) <= 1e-12 * np.hypot(ahead[..., 0], ahead[..., 1])
    tangents = np.where(lost[..., None], left_of(points - before), ahead - behind)
    return np.asarray(tangents / np.hypot(tangents[..., 0], tangents[..., 1])[..., None])


def _invert(vectors: Array) -> Array:
    """Return v / |v|²."""
    squared = (vectors**2).sum(axis=-1, keepdims=True)
    return np.asarray(vectors / np.where(squared == 0, np.inf, squared))


def _joints(start: Array, first: Array, end: Array, last: Array) -> Array:
    """Return where two arcs from ``start`` with direction ``first`` to ``end`` with ``last`` join.

    Of the many pairs the one with equal tangents d at both ends is taken:

        2 (1 - t₀·t₁) d² + 2 v·(t₀ + t₁) d - v·v = 0,   v from start to end
    """
    v, t = end - start, first + last
    vv, vt = (v * v).sum(-1), (v * t).sum(-1)
    bend = 2 * (1 - (first * last).sum(-1))
    root = np.sqrt(vt**2 + bend * vv)
    # The form with the root below keeps its digits as the two directions come together.
    d = vv / np.where(vt + root <= 1e-12 * np.sqrt(vv), np.inf, vt + root)
    nearly = vt < 0
    other = (root - vt) / np.where(bend == 0, np.inf, bend)
    d = np.where(nearly, other, d)[..., None]
    return np.asarray(((start + d * first) + (end - d * last)) / 2)


def _bulge(before: Array, after: Array) -> Array:
    """Return tan(φ/2), φ the angle from one direction to the other: half that of the arc between them."""
    across = before[..., 0] * after[..., 1] - before[..., 1] * after[..., 0]
    return np.asarray(np.tan(np.arctan2(across, (before * after).sum(-1)) / 2))


def circle(centre: ArrayLike, radius: float) -> Path:
    """Return a circle as two half turns, anticlockwise from its easternmost point.

    >>> round(area(circle([0, 0], 2.0)), 6)
    12.566371
    """
    middle, arm = np.asarray(centre, dtype=float), np.array([radius, 0.0])
    return Path(np.array([middle + arm, middle - arm]), np.ones(2), closed=True)


def through_three(p: ArrayLike, q: ArrayLike, r: ArrayLike) -> Path:
    """Return the circle through three points, which are its vertices, in their order.

    >>> round(area(through_three([1, 0], [0, 1], [-1, 0])), 6)
    3.141593

    Raises
    ------
    ValueError
        The three stand in line.
    """
    points = np.array([p, q, r], dtype=float)
    sides = distance(points, np.roll(points, -1, axis=0))
    base, height = sides.max(), abs(_twice_area(points)) / sides.max()
    if height <= 1e-9 * base:
        raise ValueError("three points in line have no circle")
    centre, _ = circle_through(*points)
    from_centre = points - centre
    turn = np.arctan2(*_cross_dot(from_centre, np.roll(from_centre, -1, axis=0)))
    turn = np.mod(turn, 2 * np.pi) if _twice_area(points) > 0 else -np.mod(-turn, 2 * np.pi)
    return Path(points, np.tan(turn / 4), closed=True)


def _cross_dot(a: Array, b: Array) -> tuple[Array, Array]:
    """Return cross and dot product of plane vectors."""
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], (a * b).sum(-1)


def _twice_area(points: Array) -> float:
    """Return twice the area of a triangle, positive anticlockwise."""
    u, v = points[1] - points[0], points[2] - points[0]
    return float(u[0] * v[1] - u[1] * v[0])


def parallel(path: Path, offset: float) -> Path:
    """Return the copy of a path at ``offset`` metres to its left (right where negative).

    Smooth joints stay smooth and corners of straight pieces are carried out to a point. Where the
    path bends more sharply than the copy can follow, the copy is made of short chords, with what
    cannot be reached cut away.

    Raises
    ------
    NoRoomError
        Nothing of the path can be copied at this distance.
    """
    path = without_repeats(path)
    if len(path.vertices) < 2:
        raise NoRoomError("the original has no length")
    copied = exact_copy(path, offset)
    if copied is not None and (first_crossing(copied) is None or first_crossing(path) is not None):
        return copied
    return _offset_stroked(path, offset)


def exact_copy(path: Path, offset: float) -> Path | None:
    """Return the offset copy piece by piece, or None where a piece turns inside out or arcs meet at a corner."""
    start, end, bulge = pieces(path)
    at_start, at_end = left_normals(path)
    starts, ends = start + offset * at_start, end + offset * at_end
    corners = _corners(start, at_start, at_end, bulge, offset, closed=path.closed)
    if corners is None:
        return None
    begins = corners if path.closed else np.vstack([starts[:1], corners, ends[-1:]])
    finishes = np.roll(begins, -1, axis=0)[: len(bulge)]
    before, after = end - start, finishes - begins[: len(bulge)]
    if np.any((before * after).sum(1) <= 0):
        return None
    # An arc's angle, and with it the bulge, stays; a radius that changes its sign was caught above.
    return Path(begins, bulge.copy() if path.closed else np.append(bulge, 0.0), path.closed)


def _corners(
    start: Array, at_start: Array, at_end: Array, bulge: Array, offset: float, *, closed: bool
) -> Array | None:
    """Return the copies of the vertices between pieces; None at a corner with an arc or a hairpin.

    Between normals m and n the copy of a corner stands off by o (m + n) / (1 + m·n).
    """
    vertices = start if closed else start[1:]
    m = np.roll(at_end, 1, axis=0) if closed else at_end[:-1]
    n = at_start if closed else at_start[1:]
    bent = np.roll(bulge, 1) if closed else bulge[:-1]
    next_bent = bulge if closed else bulge[1:]
    across, dot = _cross_dot(m, n)
    corner = np.abs(np.arctan2(across, dot)) > SMOOTH
    if np.any(corner & ((bent != 0) | (next_bent != 0) | (dot < -0.87))):
        return None
    return np.asarray(vertices + offset * (m + n) / (1 + dot)[:, None])


def _offset_stroked(path: Path, offset: float) -> Path:
    """Return the offset copy of the stroked path, trimmed."""
    # Costs 0.1 s to import and few books need it.
    import shapely

    line = shapely.LineString(stroke(path, CHORD_TOLERANCE))
    if path.closed:
        inward = offset if area(path) > 0 else -offset
        outline = shapely.Polygon(line).buffer(-inward, join_style="mitre")
        rings = [part.exterior for part in getattr(outline, "geoms", [outline]) if not part.is_empty]
        lines = [ring.reverse() if ring.is_ccw != (area(path) > 0) else ring for ring in rings]
    else:
        # It comes in parts that touch where the path turns into a bay that the copy cannot follow it into.
        copied = shapely.line_merge(line.offset_curve(offset, join_style="mitre"), directed=True)
        lines = [part for part in getattr(copied, "geoms", [copied]) if not part.is_empty]
    if not lines:
        raise NoRoomError("no part of it can be copied so far to that side")
    points = np.array(max(lines, key=lambda part: part.length).coords)
    return straight(points[:-1] if path.closed else points, closed=path.closed)
