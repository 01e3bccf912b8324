"""A survey put on the grid of its control."""

from __future__ import annotations

from collections.abc import Sequence

from pegline.book.model import Book
from pegline.frame.model import Frame
from pegline.measures.bearing import Bearing
from pegline.measures.control import Control, ControlPoint

__all__ = ["on_grid"]


def on_grid(book: Book, control: Control, points: Sequence[ControlPoint], bearings: Sequence[Bearing]) -> Frame:
    """Return the frame of a survey on a grid."""
    raise NotImplementedError
