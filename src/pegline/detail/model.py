"""Points and shapes as delivered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pegline.book.geometry import Circle, Parallel
from pegline.book.model import Feature
from pegline.errors import Finding, Place
from pegline.plane import Array
from pegline.records import record

__all__ = ["Detail", "OffsetFeet", "Path", "Points", "Shape"]


@record(frozen=True, slots=True)
class Points:
    """Every point that is no station, solved in the network or placed by direct formulae.

    A small change of the parents moves a point by ``jacobian``; what is left, ``own``, is the point's
    own: its chainage, offset and right angle. Points of the network have themselves as parent.
    """

    names: tuple[str, ...]  #: m points
    index: Mapping[str, int]
    positions: Array  #: (m, 2) in the frame about its origin, metres
    parents: NDArray[np.int64]  #: (m, k) parameters of the solution that it hangs on; k is 5, with oblique offsets 10
    jacobian: Array  #: (m, 2, k) of position to them; 0 for parents that only fill the row
    own: Array  #: (m, 2, 2) covariance that is not the parents', square metres
    variances: Array  #: (m, 2, 2) whole covariance in the frame
    local_variances: Array  #: (m, 2, 2) relative to the base line
    rows: tuple[tuple[int, ...], ...]  #: for each point, its rows in ``Reduction.rows``


@record(frozen=True, slots=True)
class OffsetFeet:
    """Where on its line each offset, and each arm of an oblique one, was taped from."""

    rows: NDArray[np.int64]  #: (k,) of each: its row in ``Reduction.rows``, in the book's order
    arms: NDArray[np.int64]  #: (k,) which of the row's offsets it is
    positions: Array  #: (k, 2) in the frame about its origin, metres


@record(frozen=True, slots=True)
class Path:
    """A line of straight and circular pieces.

    ``bulges[i]`` belongs to the piece from vertex i to the next: the tangent of a quarter of its
    angle, positive where it turns left, 0 for straight.
    """

    vertices: Array  #: (k, 2) metres in the frame about its origin
    bulges: Array  #: (k,) for closed paths the last one leads back to the first vertex; else the last is 0
    closed: bool


@record(frozen=True, slots=True)
class Shape:
    """A feature drawn: a point, a line or an area."""

    name: str
    kind: str
    form: Literal["point", "line", "area"]
    booked: Feature
    points: tuple[str, ...]  #: the named points that it goes through, in order
    path: Path | None  #: None for a point feature
    area: float | None  #: on the ground, square metres; None for lines and for rings that cross themselves
    area_sd: float | None
    perimeter: float | None  #: length of a line, perimeter of an area, on the ground, metres
    perimeter_sd: float | None
    place: Place


@record(frozen=True, slots=True)
class Detail:
    """All that hangs on the stations."""

    points: Points
    shapes: Mapping[str, Shape]  #: by feature name, in the book's order
    offset_feet: OffsetFeet  #: of the offsets to all points and stations that are placed
    warnings: tuple[Finding, ...] = ()

    def points_under(self, shape: Shape) -> tuple[str, ...]:
        """Return the named points that a shape hangs on: those it goes through, a middle, or those of its original."""
        geometry = shape.booked.geometry
        if isinstance(geometry, Circle) and geometry.centre:
            return (geometry.centre,)
        if isinstance(geometry, Parallel):
            return self.points_under(self.shapes[geometry.to])
        return shape.points
