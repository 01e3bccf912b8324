"""What lies on a page, in paper millimetres from its lower left corner: one list for every format."""

from __future__ import annotations

from functools import lru_cache
from math import cos, sin
from typing import Literal

import numpy as np

from pegline.plane import Array
from pegline.records import record

__all__ = ["Item", "Page", "Stroke", "Words", "close_ring", "flatten", "turning_matrix"]

Anchor = Literal["left", "middle", "right"]


@record(frozen=True, slots=True)
class Stroke:
    """A line of straight pieces, drawn as its layer says."""

    layer: str
    points: Array  #: (k, 2)
    closed: bool = False
    fill: float | None = None  #: grey, 0 black to 1 white; None: not filled
    drawn: bool = True  #: False: fill only
    line_type: str | None = None  #: None: that of the layer it looks like
    source: str = ""  #: ``LINE:COLUMN`` of the book that it comes from
    looks_like: str | None = None  #: a layer whose colour, weight and line type it has; None: its own

    @property
    def look(self) -> str:
        """Return the layer whose colour, weight and line type the line has."""
        return self.looks_like or self.layer


@record(frozen=True, slots=True)
class Words:
    """One line of text."""

    layer: str
    text: str
    x: float
    y: float  #: of the baseline
    height: float  #: of its capitals
    anchor: Anchor = "left"
    rotation: float = 0.0  #: anticlockwise, radians
    bold: bool = False
    source: str = ""  #: ``LINE:COLUMN`` of the book that it comes from


Item = Stroke | Words


@record(frozen=True, slots=True)
class Page:
    """One page with what is printed on it."""

    width: float  #: millimetres
    height: float
    items: tuple[Item, ...]
    map: tuple[Item, ...] = ()  #: drawn first, and only inside ``clip``
    clip: tuple[float, float, float, float] | None = None  #: left, bottom, right, top


def flatten(vertices: Array, bulges: Array, closed: bool, sagitta: float) -> Array:
    """Return points along a line of straight and circular pieces, (k, 2).

    A bulge is the tangent of a quarter of the piece's angle, positive where it turns left. The arc
    of angle a and radius r is cut into ``n`` equal pieces so that each keeps ``r (1 - cos(a / 2n)) <= sagitta``.

    >>> flatten(np.array([[0.0, 0.0], [2.0, 0.0]]), np.array([1.0, 0.0]), False, 0.3).round(3).tolist()
    [[0.0, 0.0], [1.0, -1.0], [2.0, 0.0]]
    """
    if not bulges.any():
        return vertices
    count = len(vertices)
    pieces = []
    for i in range(count if closed else count - 1):
        start, end, bulge = vertices[i], vertices[(i + 1) % count], bulges[i]
        pieces.append(start[None] if bulge == 0 else _arc(start, end, bulge, sagitta))
    if not closed:
        pieces.append(vertices[-1:])
    return np.concatenate(pieces)


@lru_cache(maxsize=16)  # every position of a plan is turned by one angle
def turning_matrix(angle: float) -> Array:
    """Return the matrix that turns columns (x, y) anticlockwise by an angle, radians; it is not to be changed."""
    matrix = np.array([[cos(angle), -sin(angle)], [sin(angle), cos(angle)]])
    matrix.flags.writeable = False
    return matrix


def close_ring(points: Array, *, closed: bool) -> Array:
    """Return points with the first again at the end where they go round.

    >>> close_ring(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0]]), closed=True)[-1].tolist()
    [0.0, 0.0]
    """
    return np.vstack([points, points[:1]]) if closed else points


def _arc(start: Array, end: Array, bulge: float, sagitta: float) -> Array:
    """Return points of one arc from its start, without its end."""
    chord = end - start
    centre = (start + end) / 2 + np.array([-chord[1], chord[0]]) * (1 - bulge**2) / (4 * bulge)
    radius = np.hypot(*chord) * (1 + bulge**2) / (4 * abs(bulge))
    angle = 4 * np.arctan(bulge)
    step = 2 * np.arccos(max(1 - sagitta / radius, 0.0)) if radius > 0 else np.pi
    n = max(2, int(np.ceil(abs(angle) / max(step, 1e-3))))
    turn = angle * np.arange(n) / n
    arm = start - centre
    c, s = np.cos(turn), np.sin(turn)
    return np.stack([centre[0] + arm[0] * c - arm[1] * s, centre[1] + arm[0] * s + arm[1] * c], axis=1)
