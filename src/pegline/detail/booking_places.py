"""Where in the book each station and point was booked."""

from __future__ import annotations

from collections.abc import Mapping

from pegline.book.model import Book, Rectangle, TapedRound
from pegline.detail.model import Detail, Shape
from pegline.errors import Place
from pegline.reduction.model import Reduction

__all__ = ["places_booked"]


def places_booked(book: Book, reduction: Reduction, detail: Detail) -> Mapping[str, Place]:
    """Return the place in the book of each station and point, by name.

    A station's is its own entry, else its row as a tie station, else the first line that ends there. A point's is
    its first row, else its first arc, else its own entry, else the feature that makes it as a corner, else one that
    goes through it.
    """
    places = {name: entry.place for name, entry in book.stations.items()}
    for row in reduction.rows:
        places.setdefault(row.name, row.booked.place)
    for arc in reduction.arcs:
        places.setdefault(arc.point, arc.place)
    for point in book.points.values():
        places.setdefault(point.name, point.place)
    for shape in detail.shapes.values():
        places |= {corner: shape.place for corner in _corners(shape) if corner not in places}
    for shape in detail.shapes.values():
        places |= {name: shape.place for name in shape.points if name not in places}
    for line in book.lines.values():
        if line.use != "detail":
            places.setdefault(line.start, line.place)
            places.setdefault(line.end, line.place)
    return places


def _corners(shape: Shape) -> tuple[str, ...]:
    """Return the corners that a shape makes."""
    geometry = shape.booked.geometry
    return geometry.corners if isinstance(geometry, Rectangle | TapedRound) else ()
