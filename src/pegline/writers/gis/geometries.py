"""The geometries of a layer as arrays: points, lines, and areas of one ring, which is all that a survey draws."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pegline.plane import Array
from pegline.writers.survey_figures import Geometry

__all__ = ["Form", "Shapes", "no_shapes", "of_parts", "stack_shapes"]

Form = Literal["Point", "LineString", "Polygon"]


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """A geometry for each row of a layer, or none."""

    form: Form | None  #: None for a table, whose rows have no geometry
    corners: Array  #: (k, 2) x and y in the CRS's unit, one row's after the other's; a ring ends where it began
    counts: NDArray[np.int64]  #: (n,) corners of each row; 0 where it has no geometry

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.counts)

    @property
    def present(self) -> NDArray[np.bool_]:
        """Tell of each row (n,) whether it has a geometry."""
        return self.counts > 0

    @property
    def bounds(self) -> Array:
        """Return the least x, greatest x, least y and greatest y (m, 4) of each geometry that is there."""
        counts = self.counts[self.present]
        if not len(counts):
            return np.empty((0, 4))
        starts = np.cumsum(counts) - counts
        least, greatest = (each.reduceat(self.corners, starts) for each in (np.minimum, np.maximum))
        return np.column_stack([least[:, 0], greatest[:, 0], least[:, 1], greatest[:, 1]])

    def of_rows(self, rows: NDArray[np.int64]) -> Shapes:
        """Return the shapes of some rows.

        >>> shapes = of_parts("LineString", [np.zeros((2, 2)), np.ones((3, 2))])
        >>> shapes.of_rows(np.array([1])).corners.tolist()
        [[1.0, 1.0], [1.0, 1.0], [1.0, 1.0]]
        """
        ends = np.concatenate([[0], np.cumsum(self.counts)])
        parts = [self.corners[ends[row] : ends[row + 1]] for row in rows.tolist()]
        return of_parts(self.form, parts)

    def geojson(self, corners: Sequence[Any]) -> list[Geometry | None]:
        """Return geometries as GeoJSON has them, with the corners (k) given: these or what they were turned into."""
        ends = [0, *np.cumsum(self.counts).tolist()]
        parts = (corners[start:end] for start, end in pairwise(ends))
        return [{"type": self.form, "coordinates": self._nest(part)} if part else None for part in parts]

    def _nest(self, part: Sequence[Any]) -> Any:
        return part[0] if self.form == "Point" else [part] if self.form == "Polygon" else part


def of_parts(form: Form | None, parts: Iterable[Array]) -> Shapes:
    """Return shapes of each row's corners (c, 2); none where there are none.

    >>> of_parts("LineString", [np.zeros((0, 2)), np.array([[0.0, 1.0], [3.0, -1.0]])]).bounds.tolist()
    [[0.0, 3.0, -1.0, 1.0]]
    """
    every = list(parts)
    return Shapes(form, np.concatenate([np.empty((0, 2)), *every]), np.array([len(part) for part in every], np.int64))


def no_shapes(count: int) -> Shapes:
    """Return what a table's rows have."""
    return Shapes(None, np.empty((0, 2)), np.zeros(count, np.int64))


def stack_shapes(parts: Sequence[Shapes]) -> Shapes:
    """Return shapes of one form, one or more, as one."""
    return Shapes(
        parts[0].form,
        np.concatenate([part.corners for part in parts]),
        np.concatenate([part.counts for part in parts]),
    )
