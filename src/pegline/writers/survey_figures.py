"""Figures that several outputs tell: delivered places with their uncertainty, lines as delivered."""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping
from math import degrees
from typing import Any

import numpy as np

from pegline.book.model import Book
from pegline.detail.model import Path, Shape
from pegline.detail.path import chord_tolerance, stroke
from pegline.diagnosis.model import Survey
from pegline.errors import Place
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.model import ReducedArc, ReducedLine

__all__ = [
    "Geometry",
    "Places",
    "anticlockwise",
    "arcs_by_point",
    "computed_length",
    "every_place",
    "features_of_points",
    "geometry",
    "kinds_of_points",
    "length_sds",
    "moment",
    "offsets_of",
    "outline",
    "place_source",
    "point_places",
    "rotation_deg",
    "station_places",
    "straight_pieces",
]

#: A geometry as GeoJSON has it, which fiona and shapely take too.
Geometry = dict[str, Any]


@record(frozen=True, slots=True)
class Places:
    """Named places as delivered."""

    names: tuple[str, ...]  #: n names
    positions: Array  #: (n, 2) x and y in the frame, its origin added, metres
    variances: Array  #: (n, 2, 2) in the frame, square metres
    local_variances: Array  #: (n, 2, 2) relative to the base line, square metres

    @property
    def deviations(self) -> Array:
        """Return standard deviations of x and y in the frame (n, 2), metres."""
        return _deviations(self.variances)

    @property
    def local_deviations(self) -> Array:
        """Return standard deviations of x and y relative to the base line (n, 2), metres."""
        return _deviations(self.local_variances)


def _deviations(variances: Array) -> Array:
    # What is held has variance zero, which rounding may leave a hair below.
    return np.asarray(np.sqrt(np.maximum(np.diagonal(variances, axis1=1, axis2=2), 0.0)))


def station_places(survey: Survey) -> Places:
    """Return every station, tie stations too, in the book's order."""
    solution = survey.adjustment.solution
    names = tuple(name for name in survey.book.station_names if name in solution.index)
    rows: Any = np.array([solution.index[name] for name in names], dtype=np.intp)
    return Places(
        names,
        solution.positions[rows].reshape(-1, 2) + np.array(survey.frame.origin),
        solution.variances[rows].reshape(-1, 2, 2),
        solution.local_variances[rows].reshape(-1, 2, 2),
    )


def point_places(survey: Survey) -> Places:
    """Return every point that is no station."""
    solved_points = survey.detail.points
    return Places(
        solved_points.names,
        solved_points.positions + np.array(survey.frame.origin),
        solved_points.variances,
        solved_points.local_variances,
    )


def every_place(survey: Survey) -> Mapping[str, Array]:
    """Return x and y of every station and point in the frame, its origin added, metres."""
    return {
        name: position
        for places in (station_places(survey), point_places(survey))
        for name, position in zip(places.names, places.positions, strict=True)
    }


def computed_length(survey: Survey, line: ReducedLine, places: Mapping[str, Array]) -> float | None:
    """Return the ground length between a line's delivered ends, metres; None where an end is not placed."""
    if line.start not in places or line.end not in places:
        return None
    return float(np.hypot(*(places[line.end] - places[line.start]))) / survey.frame.scale


def length_sds(survey: Survey) -> dict[str, float]:
    """Return the standard deviation of each line's ground length between its delivered ends, metres.

    Of a length s with direction u between ends with the joint covariance C: σ² = g C g', g = (-u, u). What
    the tape's own scale may be out by is in C.
    """
    solution = survey.adjustment.solution
    lines = [
        line
        for line in survey.reduction.lines.values()
        if line.start in solution.index and line.end in solution.index and line.start != line.end
    ]
    if not lines:
        return {}
    starts, ends = (np.array([solution.index[getattr(line, end)] for line in lines]) for end in ("start", "end"))
    along = solution.positions[ends] - solution.positions[starts]
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    gradients = np.column_stack([-along, along])
    blocks = solution.covariances.blocks(np.column_stack([2 * starts, 2 * starts + 1, 2 * ends, 2 * ends + 1]))
    squares = np.einsum("ni,nij,nj->n", gradients, blocks, gradients)
    sds = np.sqrt(np.maximum(squares, 0.0)) / survey.frame.scale
    return {line.name: float(sd) for line, sd in zip(lines, sds, strict=True)}


def rotation_deg(survey: Survey) -> float:
    """Return the turn clockwise from the local axes to the frame's, degrees over -180 to 180.

    The local +x runs along the base line; in the frame the base line runs at bearing β: 90° - β.
    """
    solution = survey.adjustment.solution
    start, end = solution.positions[list(solution.base)]
    across, up = end - start
    return float(degrees(np.arctan2(up, across)))


def place_source(place: Place | None) -> str | None:
    """Return ``LINE:COLUMN`` of a place, or None."""
    return place.source if place else None


def offsets_of(side: int, lengths: tuple[float, ...]) -> float | list[float]:
    """Return offsets as told: left positive, a list for oblique ones, 0 on the line.

    >>> offsets_of(-1, (2.5,))
    -2.5
    """
    signed = [side * length for length in lengths]
    return signed if len(signed) > 1 else signed[0] if signed else 0.0


def straight_pieces(survey: Survey, path: Path) -> Array:
    """Return a path in straight pieces (k, 2), the frame's origin added, metres; a closed one ends where it began.

    A book without a scale may be drawn at 1:50 at the largest.
    """
    if path.bulges.any():
        pieces = stroke(path, chord_tolerance(survey.book.scale or 50))
    else:
        pieces = np.vstack([path.vertices, path.vertices[:1]]) if path.closed else path.vertices
    return np.asarray(pieces + np.array(survey.frame.origin))


def outline(survey: Survey, shape: Shape, metres_per_unit: float = 1.0) -> Array:
    """Return a line's or an area's vertices (k, 2) in the frame, a ring anticlockwise and closed."""
    if shape.path is None:
        raise ValueError(f"{shape.name} is a point")
    vertices = straight_pieces(survey, shape.path) / metres_per_unit
    return anticlockwise(vertices) if shape.form == "area" else vertices


def geometry(survey: Survey, shape: Shape, places: Mapping[str, Array]) -> Geometry:
    """Return a shape as a GeoJSON geometry in the frame, metres."""
    if shape.path is None:
        return {"type": "Point", "coordinates": places[shape.points[0]].tolist()}
    vertices = outline(survey, shape).tolist()
    if shape.form == "line":
        return {"type": "LineString", "coordinates": vertices}
    return {"type": "Polygon", "coordinates": [vertices]}


def anticlockwise(ring: Array) -> Array:
    """Return a ring the way round that GeoJSON asks of an outer one; one that crosses itself may go either way.

    >>> anticlockwise(np.array([[0.0, 0], [0, 1], [1, 0], [0, 0]]))[1].tolist()
    [1.0, 0.0]
    """
    x, y = (ring - ring[0]).T
    return ring if x[:-1] @ y[1:] >= x[1:] @ y[:-1] else ring[::-1]


def arcs_by_point(survey: Survey) -> Mapping[str, tuple[ReducedArc, ...]]:
    """Return the arcs that fix each point that has some."""
    arcs: dict[str, tuple[ReducedArc, ...]] = {}
    for arc in survey.reduction.arcs:
        arcs[arc.point] = (*arcs.get(arc.point, ()), arc)
    return arcs


def features_of_points(survey: Survey) -> tuple[dict[str, list[Shape]], dict[str, Shape]]:
    """Return the point features on each point, and the first larger feature through each."""
    alone: dict[str, list[Shape]] = {}
    through: dict[str, Shape] = {}
    for shape in survey.detail.shapes.values():
        if shape.path is None:
            alone.setdefault(shape.points[0], []).append(shape)
        else:
            through.update({name: shape for name in shape.points if name not in through})
    return alone, through


def kinds_of_points(survey: Survey) -> dict[str, str]:
    """Return what each point is, or what it is a corner of."""
    alone, through = features_of_points(survey)
    corners = {name: shape.kind for name, shape in through.items()}
    return corners | {name: shapes[0].kind for name, shapes in alone.items()}


def moment(book: Book) -> str:
    """Return the date and time that files bear, ``YYYY-MM-DDTHH:MM:SS.000Z``; never the clock's, so that files repeat.

    It is that of the environment's SOURCE_DATE_EPOCH, else the day measured, else the day computers count from.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if epoch.isdecimal():
        time = datetime.datetime.fromtimestamp(int(epoch), datetime.UTC)
        return time.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    return f"{book.date or datetime.date(1970, 1, 1)}T00:00:00.000Z"
