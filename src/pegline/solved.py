"""A survey solved: one record of every stage up to the details, and what is read off it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final

import numpy as np

from pegline.book.habits import notation_of
from pegline.book.model import Book, Rectangle, TapedRound
from pegline.book.settings import PAPERS
from pegline.detail.model import Detail, Shape
from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.measures.notation import Notation
from pegline.network.adjust import framework_fails, hints
from pegline.network.confidence import confidence_radii, ellipses
from pegline.network.model import Adjustment
from pegline.network.quality import MIN_REDUNDANCY
from pegline.network.sides_by_book import BookedSide, sides_by_book
from pegline.network.unnoticed_mistakes import Unnoticed
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.model import ReducedLine, Reduction

__all__ = ["PLAN_SCALES", "USUAL_PAPER", "PlaceRadius", "Solved", "paper_scale"]


def _corners(shape: Shape) -> tuple[str, ...]:
    """Return the corners that a shape makes."""
    geometry = shape.booked.geometry
    return geometry.corners if isinstance(geometry, Rectangle | TapedRound) else ()


#: The usual scales of plans, n of 1:n, largest first (common practice).
PLAN_SCALES: Final = (50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10_000, 20_000, 25_000, 50_000, 100_000)
USUAL_PAPER: Final = "A3"  #: that a scale is chosen for where the book names no paper
#: What margins, bars, title and names leave off the short and the long side of a sheet, millimetres.
BESIDE_PLAN: Final = (55.0, 108.0)


@record(frozen=True, slots=True)
class PlaceRadius:
    """How near a place is to where it is drawn."""

    name: str  #: of the station or point
    radius: float  #: that holds it in 95 of 100 cases, metres


@record(frozen=True, slots=False)
class Solved:
    """A survey up to its details: everything that can be judged and drawn."""

    book: Book  #: as booked, with its open readings chosen
    reduction: Reduction  #: the level lengths on the ground
    frame: Frame  #: what it is solved in
    adjustment: Adjustment  #: stations, and the points that share equations with them
    detail: Detail  #: points and shapes
    unnoticed: Unnoticed  #: how far mistakes that no check notices could have put the points

    @cached_property
    def notation(self) -> Notation:
        """Return how the book writes lengths, areas and bearings."""
        return notation_of(self.book)

    @cached_property
    def positions(self) -> dict[str, list[float]]:
        """Return x and y of every station and point, metres about the frame's origin."""
        points, solution = self.detail.points, self.adjustment.solution
        placed = dict(zip(points.names, points.positions.tolist(), strict=True))
        return placed | dict(zip(solution.names, solution.positions.tolist(), strict=True))

    @cached_property
    def places_booked(self) -> Mapping[str, Place]:
        """Return the place in the book of each station and point, by name.

        A station's is its own entry, else its row as a tie station, else the first line that ends there. A point's is
        its first row, else its first arc, else its own entry, else the feature that makes it as a corner, else one
        that goes through it.
        """
        book, shapes = self.book, self.detail.shapes.values()
        places = {name: entry.place for name, entry in book.stations.items()}
        for row in self.reduction.rows:
            places.setdefault(row.booked.name, row.booked.place)
        for arc in self.reduction.arcs:
            places.setdefault(arc.point, arc.place)
        for point in book.points.values():
            places.setdefault(point.name, point.place)
        for shape in shapes:
            for corner in _corners(shape):
                places.setdefault(corner, shape.place)
        for shape in shapes:
            for name in shape.points:
                places.setdefault(name, shape.place)
        for line in book.lines.values():
            if line.use != "detail":
                places.setdefault(line.start, line.place)
                places.setdefault(line.end, line.place)
        return places

    @cached_property
    def tie_stations(self) -> frozenset[str]:
        """Return the stations that stand on a line."""
        return frozenset(row.name for row in self.reduction.tie_rows.values())

    @cached_property
    def stations(self) -> tuple[str, ...]:
        """Return the stations of the framework, in the order of the solution."""
        solution = self.adjustment.solution
        return solution.names[: solution.stations]

    @cached_property
    def lines_at(self) -> dict[str, list[ReducedLine]]:
        """Return the lines that begin or end at each station or point."""
        by_station: dict[str, list[ReducedLine]] = {}
        for line in self.reduction.lines.values():
            by_station.setdefault(line.start, []).append(line)
            by_station.setdefault(line.end, []).append(line)
        return by_station

    @cached_property
    def weakest_on_grid(self) -> PlaceRadius | None:
        """Return the place drawn that is known worst on the grid; None where the survey is on none.

        The radius has everything in it: tapes, control, the bearing that turns the plot, and what a change of
        datum of all control is good to. It is a claim about that one place, never about all of them at once.
        """
        if self.frame.kind != "grid":
            return None
        solution = self.adjustment.solution
        variances = np.concatenate([solution.variances[: solution.stations], self.detail.points.variances])
        return self._worst_of(variances + self.frame.shift_sd**2 * np.eye(2))

    @cached_property
    def weakest(self) -> PlaceRadius | None:
        """Return the place drawn that is known worst relative to the base line: its first station and direction."""
        return self._worst_of(self._local_variances)

    @cached_property
    def typical(self) -> PlaceRadius | None:
        """Return the place in the middle of all, from the best known to the worst relative to the base line."""
        ordered = sorted(self._radii(self._local_variances), key=_by_radius)
        return ordered[len(ordered) // 2] if ordered else None

    @cached_property
    def _local_variances(self) -> Array:
        solution = self.adjustment.solution
        return np.concatenate([solution.local_variances[: solution.stations], self.detail.points.local_variances])

    def _worst_of(self, variances: Array) -> PlaceRadius | None:
        """Return the place with the largest radius, from covariances (n, 2, 2) of stations and points."""
        longest = ellipses(variances)[:, 0]
        # A radius is 0.8007 of the longer axis to all of it; to a hundredth of a millimetre they are told apart.
        rows = np.flatnonzero(longest >= 0.8 * longest.max(initial=0.0) - 1e-5)
        return max(self._radii(variances[rows], rows.tolist()), key=_by_radius, default=None)

    def _radii(self, variances: Array, rows: Sequence[int] | None = None) -> Iterator[PlaceRadius]:
        """Yield the radius of each station and point, or of some of them."""
        names = (*self.stations, *self.detail.points.names)
        some = names if rows is None else [names[row] for row in rows]
        return map(PlaceRadius, some, confidence_radii(variances).tolist())

    @cached_property
    def checked(self) -> bool | None:
        """Return False when a check of the framework failed, True when every station that counts is checked.

        None otherwise: `unchecked` has the names. What one feature's own checks say is not part of it.
        """
        if framework_fails(self.adjustment.checks):
            return False
        return None if self.unnoticed.unchecked else True

    @cached_property
    def sides_by_book(self) -> tuple[BookedSide, ...]:
        """Return what could lie on the other side of its line and pass every check: only the book tells its side."""
        return sides_by_book(self.adjustment, hints(self.book, self.reduction), self.unnoticed)

    @cached_property
    def compared_lines(self) -> frozenset[str]:
        """Return the lines that something else measures too: of the others the length taped is the one computed."""
        adjustment = self.adjustment
        compared = {check.booking.measured_line for check in adjustment.checks}
        if adjustment.delivered == "adjusted":
            redundant = (m for m in adjustment.measurements if (m.redundancy or 0.0) > MIN_REDUNDANCY)
            compared |= {m.booking.measured_line for m in redundant}
        return frozenset(name for name in compared if name is not None)

    @property
    def unchecked(self) -> tuple[str, ...]:
        """Return the stations that nothing checks: main ones, and tie stations that carry details or a side."""
        return self.unnoticed.unchecked

    @cached_property
    def unreliable(self) -> frozenset[str]:
        """Return the stations and points whose ellipse is not to be trusted: the figure is too flat there."""
        return frozenset(self.adjustment.unreliable)

    @cached_property
    def scale(self) -> int:
        """Return n of the plan's scale 1:n: the book's, or the largest usual one that fits its paper."""
        if self.book.scale:
            return self.book.scale
        sheet = self.book.sheet
        return paper_scale(self._drawn_corners, sheet.paper or USUAL_PAPER, sheet.orientation)

    @cached_property
    def _drawn_corners(self) -> Array:
        """Return positions (n, 2) that hold all that is drawn but arcs: stations, points, crowns of trees, metres."""
        corners = [np.array(list(self.positions.values())).reshape(-1, 2)]
        for shape in self.detail.shapes.values():
            if shape.path is not None:
                corners.append(shape.path.vertices)
            elif shape.booked.spread is not None:
                reach = shape.booked.spread.metres(self.book.unit) / 2
                corners.append(np.array(self.positions[shape.points[0]]) + np.array([(-reach, -reach), (reach, reach)]))
        return np.concatenate(corners)


def _by_radius(place: PlaceRadius) -> tuple[float, str]:
    """Return what places are ordered by: to the hundredth of a millimetre, so that no rounding picks the name."""
    return round(place.radius, 5), place.name


def paper_scale(positions: Array, paper: str = USUAL_PAPER, orientation: str | None = None) -> int:
    """Return n of the largest usual scale 1:n at which positions fit a sheet of paper.

    Parameters
    ----------
    positions
        (n, 2) metres.
    paper
        A4 to A0.
    orientation
        ``landscape`` or ``portrait``; None lets the longer side lie as the plan does.

    Examples
    --------
    >>> paper_scale(np.array([[0.0, 0.0], [30.0, 20.0]]))
    100
    """
    if len(positions) == 0:
        return PLAN_SCALES[0]
    spans = np.ptp(positions, axis=0).tolist()
    if orientation is None:
        spans = sorted(spans)
    elif orientation == "landscape":
        spans = spans[::-1]
    room = [(side - less) / 1000 for side, less in zip(PAPERS[paper], BESIDE_PLAN, strict=True)]
    fitting = (n for n in PLAN_SCALES if all(span <= n * side for span, side in zip(spans, room, strict=True)))
    return next(fitting, PLAN_SCALES[-1])
