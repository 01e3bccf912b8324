"""The rows booked along a chain line: perpendicular and oblique offsets, points on it, tie stations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pegline.errors import Place
from pegline.measures.values import Accuracy, Length, Name, Reading

Form = Literal["perpendicular", "oblique", "on line", "station"]
Method = Literal["set square", "three-four-five", "swing", "optical square", "eye"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of ``details``."""

    name: str  #: of the point or tie station; ``FEATURE.N`` where the book gives none
    place: Place
    at: tuple[Reading | Name, ...]  #: chainages; a Name is a station on the line
    left: tuple[Reading, ...] = ()
    right: tuple[Reading, ...] = ()
    form: Form = "on line"
    feature: str | None = None  #: the feature it is the next point of
    kind: str | None = None  #: of a point feature of its own
    to: Literal["face", "centre"] = "centre"
    method: Method | None = None  #: None: the line's, else the book's
    accuracy: Accuracy | None = None
    girth: Length | None = None
    width: Length | None = None
    spread: Length | None = None
    height: Length | None = None
    label: str | None = None
    note: str | None = None
    page: str | None = None
    struck: tuple[Reading, ...] = ()

    @property
    def offsets(self) -> tuple[Reading, ...]:
        """Return the offsets of either side."""
        return self.left or self.right

    @property
    def side(self) -> int:
        """Return +1 for left, -1 for right, 0 for on the line."""
        return 1 if self.left else -1 if self.right else 0
