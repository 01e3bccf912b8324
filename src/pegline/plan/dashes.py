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
LENGTH_ROUNDING: Final = 1e-9


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
    steps = np.hypot(*np.diff(ring, axis=0).T)
    if not pattern or not steps.sum() > 0:
        return [ring]
    ring = ring[np.concatenate([[True], steps > 0])]
    along = np.concatenate([[0.0], np.cumsum(steps[steps > 0])])
    stops = along[_corners(ring, closed)]
    spans = [span for start, end in pairwise(stops.tolist()) for span in _spans(start, end, pattern)]
    return _cut_all(ring, along, _join_spans(spans, along[-1], closed))


def is_smooth(vertices: Array, bulges: Array, closed: bool) -> bool:
    """Return whether a line of straight and circular pieces goes round no corner.

    A circular piece of bulge b leaves its chord by 2 atan(b) to the right and meets it by as much from the left.
    """
    chords = np.diff(close_ring(vertices, closed=closed), axis=0)
    angles, halves = np.arctan2(chords[:, 1], chords[:, 0]), 2 * np.arctan(bulges[: len(chords)])
    before, after = angles + halves, angles - halves
    changes = (np.roll(after, -1) if closed else after[1:]) - (before if closed else before[:-1])
    return bool((np.abs((changes + np.pi) % (2 * np.pi) - np.pi) < CORNER_RADIANS).all())


def _corners(ring: Array, closed: bool) -> list[int]:
    """Return the numbers of the vertices that dashes begin and end at, first and last among them."""
    chords = np.diff(ring, axis=0)
    angles = np.arctan2(chords[:, 1], chords[:, 0])
    changes = np.abs((np.diff(angles) + np.pi) % (2 * np.pi) - np.pi)
    return [0, *(np.flatnonzero(changes > CORNER_RADIANS) + 1).tolist(), len(ring) - 1]


def _spans(start: float, end: float, pattern: Sequence[float]) -> list[tuple[float, float]]:
    """Return where ink begins and ends between two stops along a line."""
    count = round((end - start) / sum(map(abs, pattern)))
    if count == 0:
        return [(start, end)]
    stretch = (end - start) / (count * sum(map(abs, pattern)))
    spans = []
    at = start - pattern[0] * stretch / 2
    for part in (*(part for _ in range(count) for part in pattern), pattern[0]):
        if part >= 0:
            spans.append((max(at, start), min(at + part * stretch, end)))
        at += abs(part) * stretch
    return spans


def _join_spans(spans: Sequence[tuple[float, float]], length: float, closed: bool) -> list[tuple[float, float]]:
    """Return spans of ink without breaks where one begins as another ends; a ring's last runs on past its end."""
    joined: list[tuple[float, float]] = []
    for start, end in spans:
        if joined and start - joined[-1][1] <= LENGTH_ROUNDING * length:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    if closed and len(joined) > 1 and joined[0][0] <= 0 and joined[-1][1] >= length * (1 - LENGTH_ROUNDING):
        (_, first_end), *rest, (last_start, _) = joined
        joined = [*rest, (last_start, length + first_end)]
    return joined


def _cut_all(ring: Array, along: Array, spans: Sequence[tuple[float, float]]) -> list[Array]:
    """Return the pieces of a line between pairs of distances along it; past a ring's end it goes round once more."""
    ends = np.array(spans)
    if ends[-1, 1] > along[-1]:
        ring, along = np.vstack([ring, ring[1:]]), np.concatenate([along, along[1:] + along[-1]])
    pieces = np.stack([np.interp(ends, along, column) for column in ring.T], axis=2)
    first, last = np.searchsorted(along, ends[:, 0], "right"), np.searchsorted(along, ends[:, 1], "left")
    return [
        np.concatenate([piece[:1], ring[start:end], piece[1:]]) if start < end else piece
        for piece, start, end in zip(pieces, first.tolist(), last.tolist(), strict=True)
    ]
