"""The paper that labels are placed on: from metres of the frame to millimetres of the sheet and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import flatten, turning_matrix

__all__ = ["LabelPaper"]

#: Heights of capitals, paper millimetres, of the series of ISO 3098: of names and figures, and of what is prominent.
HEIGHTS: Final = (1.8, 2.5)
LARGE_HEIGHTS: Final = (2.5, 3.5)  #: on sheets that are read standing


@dataclass(frozen=True, slots=True)
class LabelPaper:
    """The paper that labels are placed on: scale, turn of the map, heights of texts."""

    metres_per_mm: float
    turn: float = 0.0  #: of the map on the paper, anticlockwise, radians
    large: bool = False  #: it is read standing
    window: tuple[float, float, float, float] | None = None  #: left, bottom, right, top of the map, millimetres

    @property
    def name_height(self) -> float:
        """Return the height of names and figures, millimetres."""
        return (LARGE_HEIGHTS if self.large else HEIGHTS)[0]

    @property
    def strong_height(self) -> float:
        """Return the height of what is prominent, millimetres."""
        return (LARGE_HEIGHTS if self.large else HEIGHTS)[1]

    def points(self, positions: Any) -> Any:
        """Return where positions (..., 2) of the frame are, millimetres."""
        return np.asarray(positions) @ turning_matrix(self.turn).T / self.metres_per_mm

    def position(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point of the paper is in the frame, metres."""
        east, north = self.positions(np.array([x, y])).tolist()
        return east, north

    def positions(self, points: Any) -> Any:
        """Return where points (..., 2) of the paper are in the frame, metres."""
        return points @ turning_matrix(-self.turn).T * self.metres_per_mm

    def at(self, position: tuple[float, float]) -> tuple[float, float]:
        """Return where one position of the frame is, millimetres."""
        x, y = self.points(position).tolist()
        return x, y

    def path(self, path: Path) -> Any:
        """Return a line's points, millimetres."""
        return flatten(self.points(path.vertices), path.bulges, path.closed, 0.05)
