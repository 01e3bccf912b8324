"""The dashes of a line: whole at its corners and ends, stretched a little to fit between them.

A pattern that runs on regardless leaves gaps where corners are, and then a corner of a house cannot be read off.
Drawing programs begin anew at every vertex of a line with corners and run on along a curve; so do these.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from pegline.plan.display import close_ring
from pegline.plane import Array

__all__ = ["dash_pieces", "is_smooth"]

CORNER_RADIANS: Final = np.radians(30.0)  #: a line that turns by more at a vertex has a corner there


def dash_pieces(points: Array, closed: bool, pattern: Sequence[float]) -> list[Array]:
    """Return the inked pieces (k, 2) of a line of straight pieces.

    Between two corners lie a whole number of patterns, the first dash of which is halved between the two ends;
    the pattern is stretched for that. A dash goes round its corner in one piece.

    Parameters
    ----------
    points
        Vertices (n, 2), in the unit of the pattern.
    closed
        The last vertex is joined to the first.
    pattern
        Lengths of dashes (+), gaps (-) and dots (0), a dash or a dot first; empty: one piece.

    Examples
    --------
    >>> [piece.tolist() for piece in dash_pieces(np.array([[0.0, 0.0], [9.0, 0.0]]), False, (2.0, -1.0))]
    [[[0.0, 0.0], [1.0, 0.0]], [[2.0, 0.0], [4.0, 0.0]], [[5.0, 0.0], [7.0, 0.0]], [[8.0, 0.0], [9.0, 0.0]]]
    """
    ring = close_ring(points, closed=closed)
    chords = ring[1:] - ring[:-1]
    steps = np.hypot(chords[:, 0], chords[:, 1])
    if not pattern or not steps.any():
        return [ring]
    if not steps.all():
        ring, chords, steps = ring[np.append(True, steps > 0)], chords[steps > 0], steps[steps > 0]
    along = np.zeros(len(ring))
    steps.cumsum(out=along[1:])
    return _cut_all(ring, along, _spans(along[_corners(chords)].tolist(), closed, tuple(pattern)))


def is_smooth(vertices: Array, bulges: Array, closed: bool) -> bool:
    """Return whether a line of straight and circular pieces goes round no corner.

    A circular piece of bulge b leaves its chord by 2 atan(b) to the right and meets it by as much from the left.
    """
    chords = np.diff(close_ring(vertices, closed=closed), axis=0)
    angles, halves = np.arctan2(chords[:, 1], chords[:, 0]), 2 * np.arctan(bulges[: len(chords)])
    before, after = angles + halves, angles - halves
    changes = (np.roll(after, -1) if closed else after[1:]) - (before if closed else before[:-1])
    return bool((np.abs((changes + np.pi) % (2 * np.pi) - np.pi) < CORNER_RADIANS).all())


def _corners(chords: Array) -> list[int]:
    """Return the numbers of the vertices that dashes begin and end at, first and last among them."""
    angles = np.arctan2(chords[:, 1], chords[:, 0])
    changes = np.abs((angles[1:] - angles[:-1] + np.pi) % (2 * np.pi) - np.pi)
    return [0, *((changes > CORNER_RADIANS).nonzero()[0] + 1).tolist(), len(chords)]


def _spans(stops: Sequence[float], closed: bool, pattern: tuple[float, ...]) -> list[tuple[float, float]]:
    """Return where ink begins and ends along a line; it goes on at every stop, in a ring past its end too."""
    spans = _spans_between(stops[0], stops[1], pattern)
    for start, end in pairwise(stops[1:]):
        (_, first_end), *rest = _spans_between(start, end, pattern)
        spans[-1:] = [(spans[-1][0], first_end), *rest]
    if closed and len(spans) > 1:
        (_, first_end), *rest, (last_start, _) = spans
        spans = [*rest, (last_start, stops[-1] + first_end)]
    return spans


def _spans_between(start: float, end: float, pattern: tuple[float, ...]) -> list[tuple[float, float]]:
    """Return where ink begins and ends between two stops along a line, at both of which there is some."""
    whole = sum(map(abs, pattern))
    count = round((end - start) / whole)
    if count == 0:
        return [(start, end)]
    stretch = (end - start) / (count * whole)
    spans = []
    at = start - pattern[0] * stretch / 2
    for part in pattern * count + pattern[:1]:
        before, at = at, at + abs(part) * stretch
        if part >= 0:
            spans.append((before, at))
    # Half of the first dash lies before the stop, and half of the last beyond the next.
    return [(start, spans[0][1]), *spans[1:-1], (spans[-1][0], end)]


def _cut_all(ring: Array, along: Array, spans: Sequence[tuple[float, float]]) -> list[Array]:
    """Return the pieces of a line between pairs of distances along it; past a ring's end it goes round once more."""
    ends = np.array(spans)
    if ends[-1, 1] > along[-1]:
        ring, along = np.vstack([ring, ring[1:]]), np.concatenate([along, along[1:] + along[-1]])
    pieces = np.empty((*ends.shape, 2))
    for axis in (0, 1):
        pieces[:, :, axis] = np.interp(ends, along, ring[:, axis])
    first, last = along.searchsorted(ends[:, 0], "right").tolist(), along.searchsorted(ends[:, 1], "left").tolist()
    return [
        np.concatenate([piece[:1], ring[start:end], piece[1:]]) if start < end else piece
        for piece, start, end in zip(pieces, first, last, strict=True)
    ]
