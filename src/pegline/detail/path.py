"""Paths of straight and circular pieces: their length, area and crossings, and how they are stroked and cut.

A piece is told by its two ends and its bulge b = tan(θ/4), θ the angle it turns through, left
positive; with c its chord everything follows without centre or radius, and a straight piece is
the case b = 0 rather than a special one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pegline.detail.model import Path
from pegline.plane import Array, Ints, distance, left_of, turn_points

__all__ = [
    "ONE_POINT_METRES",
    "Place1D",
    "Vertices",
    "area",
    "areas_and_lengths",
    "chord_tolerance",
    "cut",
    "enclosed_areas",
    "first_crossing",
    "left_normals",
    "length",
    "locate",
    "path_areas",
    "path_lengths",
    "piece_lengths",
    "pieces",
    "position_at",
    "straight",
    "stroke",
    "without_repeats",
]

#: Below this bulge the closed formulae lose digits to differences and the series are exact to 1e-12.
SMALL_BULGE: Final = 1e-3

#: Points nearer than this are one, metres.
ONE_POINT_METRES: Final = 1e-9
#: Below this bulge a piece is straight to a nanometre in any plot.
FLAT_BULGE: Final = 1e-12

#: A place on a path: number of the piece, and the share of its angle or length that lies before the place.
Place1D = tuple[int, float]


def straight(vertices: ArrayLike, *, closed: bool = False) -> Path:
    """Return the path of straight pieces through ``vertices`` (k, 2)."""
    points = np.asarray(vertices, dtype=float)
    return Path(points, np.zeros(len(points)), closed)


def pieces(path: Path) -> tuple[Array, Array, Array]:
    """Return start (m, 2), end (m, 2) and bulge (m,) of every piece, in order."""
    ends = np.roll(path.vertices, -1, axis=0)
    count = len(path.vertices) - (0 if path.closed else 1)
    return path.vertices[:count], ends[:count], path.bulges[:count]


def piece_lengths(chord: ArrayLike, bulge: ArrayLike) -> Array:
    """Return the length of pieces.

        s = c (1 + b²) atan(b) / b

    Examples
    --------
    >>> round(float(piece_lengths(2.0, 1.0)), 6)  # half of a circle of radius 1
    3.141593
    """
    b = np.asarray(bulge, dtype=float)
    small = np.abs(b) < SMALL_BULGE
    safe = np.where(small, SMALL_BULGE, b)
    factor = np.where(small, 1 - b**2 / 3, np.arctan(safe) / safe)
    return np.asarray(np.asarray(chord) * (1 + b**2) * factor)


def enclosed_areas(chord: ArrayLike, bulge: ArrayLike) -> Array:
    """Return the area between pieces and their chords, positive where the piece turns left.

        A = c² ((1 + b²)² atan b - b (1 - b²)) / 8 b²

    which is R² (θ - sin θ) / 2 with R = c (1 + b²) / 4 b and θ = 4 atan b.

    Examples
    --------
    >>> round(float(enclosed_areas(2.0, 1.0)), 6)  # half of a disc of radius 1
    1.570796
    """
    b = np.asarray(bulge, dtype=float)
    small = np.abs(b) < SMALL_BULGE
    safe = np.where(small, SMALL_BULGE, b)
    whole = ((1 + safe**2) ** 2 * np.arctan(safe) - safe * (1 - safe**2)) / (8 * safe**2)
    return np.asarray(np.asarray(chord) ** 2 * np.where(small, b / 3 + b**3 / 15, whole))


def path_lengths(vertices: Array, bulges: Array, *, closed: bool) -> Array:
    """Return the lengths (…) of paths with vertices (…, k, 2) and bulges (…, k), metres."""
    along = _piece_lengths(distance(vertices[..., :-1, :], vertices[..., 1:, :]), bulges[..., :-1]).sum(axis=-1)
    if not closed:
        return np.asarray(along)
    return np.asarray(along + _piece_lengths(distance(vertices[..., -1, :], vertices[..., 0, :]), bulges[..., -1]))


def _piece_lengths(chord: Array, bulge: Array) -> Array:
    """Return the length of pieces, quickly where all are straight."""
    return piece_lengths(chord, bulge) if bulge.any() else chord


def path_areas(vertices: Array, bulges: Array) -> Array:
    """Return the areas (…) within closed paths with vertices (…, k, 2) and bulges (…, k), square metres.

    Positive where they run anticlockwise. The shoelace formula over the vertices, and what lies
    between each arc and its chord:

        A = Σ (xᵢ yᵢ₊₁ - xᵢ₊₁ yᵢ) / 2 + Σ segments
    """
    # About the first vertex, so that grid coordinates cost no digits.
    p = vertices - vertices[..., :1, :]
    q = np.roll(p, -1, axis=-2)
    shoelace = (p[..., 0] * q[..., 1] - q[..., 0] * p[..., 1]).sum(axis=-1) / 2
    return np.asarray(shoelace + enclosed_areas(distance(p, q), bulges).sum(axis=-1))


class Vertices(NamedTuple):
    """The vertices of p paths one after the other, each with its neighbours; the ends of open paths have each other."""

    positions: Array  #: (v, 2)
    path: Ints  #: (v,) number of the path of each
    first: Ints  #: (p,) the first of each path
    before: Ints  #: (v,)
    after: Ints  #: (v,)
    ending: Ints  #: those that end an open path: no piece begins there

    @classmethod
    def of(cls, paths: Sequence[Path]) -> Vertices:
        """Return those of one path or more."""
        counts = np.array([len(path.vertices) for path in paths])
        closed = np.array([path.closed for path in paths])
        ends = np.cumsum(counts)
        first, last = ends - counts, ends - 1
        before, after = np.arange(-1, ends[-1] - 1), np.arange(1, ends[-1] + 1)
        before[first], after[last] = last, first
        positions = np.concatenate([path.vertices for path in paths])
        return cls(positions, np.repeat(np.arange(len(paths)), counts), first, before, after, last[~closed])


def areas_and_lengths(paths: Sequence[Path]) -> Array:
    """Return what ``area`` and ``length`` give for each of some paths (p, 2); the area of an open one means nothing."""
    measures = np.zeros((len(paths), 2))
    if not paths:
        return measures
    vertices, bulges = Vertices.of(paths), np.concatenate([path.bulges for path in paths])
    p = vertices.positions - vertices.positions[vertices.first][vertices.path]
    q = p[vertices.after]
    chords = distance(p, q)
    areas = (p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]) / 2 + enclosed_areas(chords, bulges)
    lengths = _piece_lengths(chords, bulges)
    lengths[vertices.ending] = 0.0
    measures[:, 0], measures[:, 1] = np.bincount(vertices.path, areas), np.bincount(vertices.path, lengths)
    return measures


def length(path: Path) -> float:
    """Return the length of a path, along its arcs; of a closed one all the way round, metres.

    >>> length(Path(np.array([[0.0, 0.0], [3.0, 4.0]]), np.zeros(2), False))
    5.0
    """
    return float(path_lengths(path.vertices, path.bulges, closed=path.closed))


def area(path: Path) -> float:
    """Return the area within a closed path, square metres; positive where it runs anticlockwise.

    >>> area(straight([[0, 0], [3, 0], [3, 2], [0, 2]], closed=True))
    6.0
    """
    return float(path_areas(path.vertices, path.bulges))


def chord_tolerance(scale: float) -> float:
    """Return how far a stroked chord may leave its arc on a plan at 1:``scale``, metres.

    0.05 mm of paper is what an eye can see; 5 mm is what a tape can.

    >>> chord_tolerance(50), chord_tolerance(1000)
    (0.0025, 0.005)
    """
    return min(0.005, 0.05e-3 * scale)


def stroke(path: Path, tolerance: float) -> Array:
    """Return the path as a polyline (n, 2) whose chords leave the arcs by ``tolerance`` metres at most.

    A closed path comes back to its first vertex, which is then given twice. The chord of an angle
    δ of an arc of radius R leaves it by R (1 - cos(δ/2)) = 2 R sin²(δ/4).
    """
    start, end, bulge = pieces(path)
    counts = _chords(distance(start, end), bulge, tolerance)
    which = np.repeat(np.arange(len(counts)), counts)
    step = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    points = _on_piece(start[which], end[which], bulge[which], step / counts[which])
    # The first of each piece's points is its own start: as given, not computed.
    points[np.cumsum(counts) - counts] = start
    return np.vstack([points, end[-1:]])


def _chords(chord: Array, bulge: Array, tolerance: float) -> NDArray[np.int64]:
    """Return how many chords each piece is stroked with: none of more than half a turn."""
    b = np.abs(bulge)
    diameter = chord * (1 + b**2) / (2 * np.maximum(b, FLAT_BULGE))
    half = 2 * np.arcsin(np.sqrt(np.minimum(tolerance / np.maximum(diameter, tolerance), 0.5)))
    counts = np.ceil(2 * np.arctan(b) / half - 1e-9)
    return np.asarray(np.maximum(counts, 1), np.int64)


def _on_piece(start: Array, end: Array, bulge: Array, share: Array) -> Array:
    """Return the points that lie a share of the angle (or length) along pieces.

    From the start, the chord to the share f of the angle θ has the length
    c sin(f θ/2) / sin(θ/2) and is turned by (f - 1) θ/2 from the whole chord.
    """
    half = 2 * np.arctan(bulge)
    flat = np.abs(half) < FLAT_BULGE
    safe = np.where(flat, FLAT_BULGE, half)
    ratio = np.where(flat, share, np.sin(share * safe) / np.sin(safe))
    return np.asarray(start + ratio[..., None] * turn_points(end - start, (1 - share) * half))


def position_at(path: Path, place: Place1D) -> Array:
    """Return the point (2,) at a place on a path."""
    start, end, bulge = pieces(path)
    i, share = place
    return _on_piece(start[i], end[i], bulge[i], np.asarray(share))


def left_normals(path: Path) -> tuple[Array, Array]:
    """Return the unit vectors to the left at the start and at the end of every piece, (m, 2) each."""
    start, end, bulge = pieces(path)
    chord = (end - start) / distance(start, end)[:, None]
    half = 2 * np.arctan(bulge)
    return left_of(turn_points(chord, half)), left_of(turn_points(chord, -half))


def locate(path: Path, point: ArrayLike) -> Place1D:
    """Return the place on a path that is nearest to a point."""
    start, end, bulge = pieces(path)
    at = np.asarray(point, dtype=float)
    shares = np.where(
        np.abs(bulge) < FLAT_BULGE, _nearest_on_chord(start, end, at), _nearest_on_arc(start, end, bulge, at)
    )
    away = distance(_on_piece(start, end, bulge, shares), at)
    best = int(np.argmin(away))
    return best, float(shares[best])


def _nearest_on_chord(start: Array, end: Array, point: Array) -> Array:
    """Return the share of straight pieces at which they are nearest to a point."""
    chord = end - start
    return np.asarray(np.clip(((point - start) * chord).sum(1) / (chord * chord).sum(1), 0.0, 1.0))


def _nearest_on_arc(start: Array, end: Array, bulge: Array, point: Array) -> Array:
    """Return the share of the angle of arcs at which they are nearest to a point."""
    b = np.where(np.abs(bulge) < FLAT_BULGE, FLAT_BULGE, bulge)
    chord = end - start
    # The centre stands off the middle of the chord by c (1 - b²) / 4 b, to the left of a left turn.
    centre = start + chord / 2 + left_of(chord) * ((1 - b**2) / (4 * b))[:, None]
    first, there = start - centre, point - centre
    swept = np.arctan2(first[:, 0] * there[:, 1] - first[:, 1] * there[:, 0], (first * there).sum(1))
    angle = 4 * np.arctan(b)
    share = np.mod(swept / angle, 2 * np.pi / np.abs(angle))
    nearer_start = distance(start, point) <= distance(end, point)
    return np.where(share <= 1, share, np.where(nearer_start, 0.0, 1.0))


def cut(path: Path, start: Place1D, until: Place1D) -> Path:
    """Return the open path from one place to a later one; a closed path is followed round its first vertex.

    A place before ``start`` on an open path is taken from the other end: the direction stays the path's.
    """
    if not path.closed:
        start, until = sorted((start, until))
    _, _, bulge = pieces(path)
    count = len(bulge)
    (i, f), (j, g) = start, until
    steps = j - i if until > start or not path.closed else j - i + count
    numbers = [(i + step) % count for step in range(steps + 1)]
    begins = [f] + [0.0] * steps
    ends = [1.0] * steps + [g]
    vertices = [position_at(path, start), *(path.vertices[n] for n in numbers[1:]), position_at(path, until)]
    bulges = [np.tan((e - b) * np.arctan(bulge[n])) for n, b, e in zip(numbers, begins, ends, strict=True)]
    return without_repeats(Path(np.array(vertices), np.array([*bulges, 0.0]), closed=False))


def without_repeats(path: Path) -> Path:
    """Return a path without pieces of no length."""
    start, end, _ = pieces(path)
    keep = distance(start, end) > ONE_POINT_METRES
    if not path.closed:
        keep = np.append(keep, True)
    return Path(path.vertices[keep], path.bulges[keep], path.closed)


def first_crossing(path: Path, tolerance: float = 5e-3) -> Array | None:
    """Return the first point (2,) where a path crosses or touches itself, or None.

    Arcs are stroked first. Neighbours share a vertex, which is no crossing unless they run back
    over each other.
    """
    points = stroke(path, tolerance)
    # Two points of one place, such as an offset of 0 at a station, are one vertex.
    points = points[np.append(True, distance(points[:-1], points[1:]) > ONE_POINT_METRES)]
    p, d = points[:-1], np.diff(points, axis=0)
    i, j = _near(p, p + d)
    neighbours = (j == i + 1) | (path.closed & (i == 0) & (j == len(p) - 1))
    meets, where = _meet(p[i], d[i], p[j], d[j])
    folded = neighbours & _fold_back(d[i], d[j])
    crossings = np.flatnonzero((meets & ~neighbours) | folded)
    if not len(crossings):
        return None
    first = crossings[0]
    if folded[first]:
        return np.asarray(points[j[first]] if j[first] == i[first] + 1 else points[0])
    return np.asarray(where[first])


def _near(start: Array, end: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the pairs i < j of segments whose upright boxes touch: no others can meet."""
    low, high = np.minimum(start, end) - ONE_POINT_METRES, np.maximum(start, end)
    x_before, y_before = (low[:, None, axis] <= high[None, :, axis] for axis in (0, 1))
    i, j = np.nonzero(x_before & x_before.T & y_before & y_before.T)
    return i[i < j], j[i < j]


def _meet(p: Array, d: Array, q: Array, e: Array) -> tuple[NDArray[np.bool_], Array]:
    """Tell which of the segments p + s d and q + t e meet, and where."""
    across = d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0]
    gap = q - p
    sizes = np.hypot(*d.T) * np.hypot(*e.T)
    skew = np.abs(across) > 1e-12 * sizes
    safe = np.where(skew, across, sizes)
    s = (gap[:, 0] * e[:, 1] - gap[:, 1] * e[:, 0]) / safe
    t = (gap[:, 0] * d[:, 1] - gap[:, 1] * d[:, 0]) / safe
    crossed = skew & (np.maximum(np.abs(s - 0.5), np.abs(t - 0.5)) <= 0.5 + 1e-12)
    # Parallel segments meet where they lie in one line and overlap.
    squared = (d * d).sum(1)
    off = np.abs(gap[:, 0] * d[:, 1] - gap[:, 1] * d[:, 0]) / np.sqrt(squared)
    near, far = (gap * d).sum(1) / squared, ((gap + e) * d).sum(1) / squared
    low, high = np.minimum(near, far), np.maximum(near, far)
    laid = ~skew & (off < ONE_POINT_METRES) & (low <= 1) & (high >= 0)
    share = np.where(skew, s, np.maximum(low, 0.0))
    return crossed | laid, p + share[:, None] * d


def _fold_back(d: Array, e: Array) -> NDArray[np.bool_]:
    """Tell which neighbours run straight back over each other."""
    across = d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0]
    along = (d * e).sum(1)
    return np.asarray(np.abs(across) < -1e-12 * along)
