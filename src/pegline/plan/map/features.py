"""From the records to the things drawn: stations, lines, details, offsets, ellipses, witnesses; the map's content."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from pegline.book.model import Book
from pegline.detail.model import Detail, Path, Shape
from pegline.kinds import SPREADING
from pegline.measures.notation import Notation
from pegline.measures.values import Length
from pegline.network.confidence import CHI2_95
from pegline.network.model import Adjustment
from pegline.plan.display import flatten
from pegline.plan.model import DrawnFeature, Ellipse, Position
from pegline.plan.style import KIND_LOOKS, layer_of, plots
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.model import Reduction
from pegline.solved import Solved

__all__ = ["Content", "Where", "bounding_corners", "map_content", "outline_points"]

#: Semi-axis of the ellipse that holds 95 % over the standard deviation.
K_95 = CHI2_95**0.5
NO_FACTS: Final[Mapping[str, str]] = {}

ARC_TOLERANCE = 0.005  #: largest distance between an arc and its strokes where one is drawn stroked, metres


@record(frozen=True, slots=True)
class Where:
    """Where every station and point is, and how well that is known."""

    names: tuple[str, ...]  #: stations, then points
    rows: Mapping[str, int]  #: name to row
    positions: tuple[Position, ...]  #: x and y, metres about the frame's origin
    variances: Array  #: (n, 2, 2) covariances relative to the base line, square metres
    sds: tuple[float, ...]  #: standard deviations in the weakest direction, metres

    @classmethod
    def of(cls, solved: Solved) -> Where:
        """Put stations and points into one table."""
        solution, points = solved.adjustment.solution, solved.detail.points
        count = solution.stations
        stations = solution.names[:count]
        station_names = set(stations)
        others = [row for name, row in points.index.items() if name not in station_names]
        names = (*stations, *(points.names[row] for row in others))
        positions = np.concatenate([solution.positions[:count], points.positions.reshape(-1, 2)[others]])
        variances = np.concatenate([solution.local_variances[:count], points.local_variances.reshape(-1, 2, 2)[others]])
        weakest = np.sqrt(np.clip(np.linalg.eigvalsh(variances)[:, -1], 0.0, None))
        rows = {name: row for row, name in enumerate(names)}
        return cls(names, rows, tuple(map(tuple, positions.tolist())), variances, tuple(weakest.tolist()))

    def position(self, name: str) -> Position:
        """Return x and y, metres about the frame's origin."""
        return self.positions[self.rows[name]]

    def sd(self, name: str) -> float:
        """Return its standard deviation in its weakest direction, metres."""
        return self.sds[self.rows[name]]

    def __contains__(self, name: str) -> bool:
        return name in self.rows


def _draw(solved: Solved, where: Where) -> tuple[DrawnFeature, ...]:
    """Return everything that is drawn, in the book's order within its sort."""
    book, reduction, detail = solved.book, solved.reduction, solved.detail
    sources = {name: place.source for name, place in solved.places_booked.items()}
    return (
        *_shapes(book, detail, where),
        *_stations(book, solved.adjustment, sources, where),
        *_points(reduction, detail, sources, where),
        *_lines(reduction, where),
        *_offsets(reduction, detail, where),
        *_ellipses(book, sources, where),
        *_witnesses(reduction, detail, where),
    )


def straight_path(*ends: Position) -> Path:
    """Return an open line of straight pieces."""
    return Path(np.array(ends, dtype=float), np.zeros(len(ends)), closed=False)


def _shapes(book: Book, detail: Detail, where: Where) -> Iterator[DrawnFeature]:
    for shape in detail.shapes.values():
        look = KIND_LOOKS.get(shape.kind)
        size = _true_size(shape, book.unit)
        geometry: Position | Path = where.position(shape.points[0]) if shape.path is None else shape.path
        symbol = None
        if shape.path is None:
            symbol = (look and (look.symbol if size is None else look.sized_symbol or look.symbol)) or "mark"
        feature = DrawnFeature(
            layer_of(shape.kind, book.kinds).name,
            shape.name,
            shape.kind,
            geometry,
            shape.place.source,
            max((where.sd(name) for name in shape.points if name in where), default=None),
            symbol,
            size,
            look.line_type if look else None,
            _facts(shape, book.unit),
        )
        faces = list(_other_faces(shape, book.unit))
        if feature.layer == "WALLS" and shape.path is not None and not shape.path.closed and faces:
            yield replace(feature, geometry=_outline(shape.path, faces), spine=shape.path)
            continue
        yield feature
        for face in faces:
            yield replace(feature, geometry=face, other_face=True)


def _other_faces(shape: Shape, unit: str) -> Iterator[Path]:
    """Yield the faces of a wall or hedge that were not taped: its thickness away, on the other side.

    The taped face is the one that the book names; ``middle`` has a face half the thickness to either side.
    """
    import shapely

    thickness, face = shape.booked.thickness, shape.booked.face
    if thickness is None or face is None or shape.path is None or shape.form != "line":
        return
    metres = thickness.metres(unit)
    taped = shapely.LineString(flatten(shape.path.vertices, shape.path.bulges, shape.path.closed, ARC_TOLERANCE))
    for left in {"left": (-metres,), "right": (metres,), "middle": (metres / 2, -metres / 2)}[face]:
        other_face = taped.offset_curve(left, join_style="mitre")
        if other_face.geom_type == "LineString" and not other_face.is_empty:
            points = np.array(other_face.coords)
            yield Path(points, np.zeros(len(points)), closed=False)


def _outline(booked: Path, faces: Sequence[Path]) -> Path:
    """Return the outline of a wall with its ends closed: one face there, the other back.

    The booked line is a face where the wall lies to one side of it; where it is the middle both others are.
    """
    if len(faces) == 1:
        there, bulges, (back,) = booked.vertices, booked.bulges, faces
    else:
        first, back = faces
        there, bulges = first.vertices, first.bulges
    vertices = np.vstack([there, back.vertices[::-1]])
    turns = np.zeros(len(vertices))
    turns[: len(there) - 1] = bulges[: len(there) - 1]
    return Path(vertices, turns, closed=True)


def _true_size(shape: Shape, unit: str) -> float | None:
    """Return the width that a tree or shrub is drawn at, metres."""
    if shape.kind not in SPREADING or shape.booked.spread is None:
        return None
    return shape.booked.spread.metres(unit)


def _facts(shape: Shape, unit: str) -> dict[str, str]:
    """Return what the book and the reduction tell of a feature beside its geometry, as text."""
    facts: dict[str, str] = {}
    for name in ("girth", "width", "spread", "height", "thickness"):
        value = getattr(shape.booked, name)
        if isinstance(value, Length):
            facts[name] = f"{value.metres(unit):.3f} m"
    for name in ("label", "note"):
        if value := getattr(shape.booked, name):
            facts[name] = str(value)
    if shape.area is not None:
        facts["area"] = f"{shape.area:.2f} m2"
    return facts | {str(key): str(value) for key, value in shape.booked.data.items()}


def _stations(book: Book, adjustment: Adjustment, sources: Mapping[str, str], where: Where) -> Iterator[DrawnFeature]:
    solution = adjustment.solution
    ties = book.tie_stations
    control_stations = {point.station for point in book.control.points} if book.control else set()
    for name in solution.names[: solution.stations]:
        entry = book.stations.get(name)
        kind = "tie station" if name in ties else "known station" if name in control_stations else "station"
        facts = {"mark": entry.mark} if entry and entry.mark else {}
        if entry and entry.note:
            facts["note"] = entry.note
        yield DrawnFeature(
            "STATIONS",
            name,
            kind,
            where.position(name),
            sources[name],
            where.sd(name),
            kind.replace(" ", "-"),
            attributes=facts,
        )


def _points(reduction: Reduction, detail: Detail, sources: Mapping[str, str], where: Where) -> Iterator[DrawnFeature]:
    points = detail.points
    facts_by_line = {name: {"line": name} for name in reduction.lines}  # of thousands of points, the same
    for name, rows in zip(points.names, points.rows, strict=True):
        facts = facts_by_line[reduction.rows[rows[0]].line] if rows else NO_FACTS
        yield DrawnFeature(
            "POINTS", name, "point", where.position(name), sources[name], where.sd(name), "point", attributes=facts
        )


def _lines(reduction: Reduction, where: Where) -> Iterator[DrawnFeature]:
    for line in reduction.lines.values():
        if line.start in where and line.end in where:
            yield DrawnFeature(
                "CHECK-LINES" if line.use == "check" else "CHAIN-LINES",
                line.name,
                line.use,
                straight_path(where.position(line.start), where.position(line.end)),
                line.booked.place.source,
                max(where.sd(line.start), where.sd(line.end)),
                attributes={"taped": f"{line.ground.length:.3f} m"},
            )


def _offsets(reduction: Reduction, detail: Detail, where: Where) -> Iterator[DrawnFeature]:
    """Draw each offset of each row, from the line to the point; the figure is its ``booked`` attribute."""
    feet = detail.offset_feet
    rows = [reduction.rows[row] for row in feet.rows.tolist()]
    ends = np.stack((feet.positions, np.array([where.position(row.name) for row in rows]).reshape(-1, 2)), axis=1)
    level = np.zeros(2)
    for row, arm, vertices in zip(rows, feet.arms.tolist(), ends, strict=True):
        yield DrawnFeature(
            "OFFSETS",
            row.name,
            "offset",
            Path(vertices, level, closed=False),
            row.booked.place.source,
            row.offsets[arm].sd,
            attributes={"line": row.line, "booked": row.booked.offsets[arm].length.text},
        )


def _ellipses(book: Book, sources: Mapping[str, str], where: Where) -> Iterator[DrawnFeature]:
    stations = set(book.station_names)
    values, vectors = np.linalg.eigh(where.variances)
    axes = np.sqrt(np.clip(values, 0.0, None)) * K_95
    bearings = np.arctan2(vectors[:, 0, 1], vectors[:, 1, 1]) % np.pi
    for row, ((minor, major), bearing) in enumerate(zip(axes.tolist(), bearings.tolist(), strict=True)):
        if major > 0:
            name = where.names[row]
            yield DrawnFeature(
                "ELLIPSES",
                name,
                "ellipse of a station" if name in stations else "ellipse of a point",
                Ellipse(where.positions[row], major, minor, bearing),
                sources[name],
                where.sds[row],
                attributes=NO_FACTS,
            )


def _witnesses(reduction: Reduction, detail: Detail, where: Where) -> Iterator[DrawnFeature]:
    for peg, witnesses in reduction.witnesses.items():
        for reduced in witnesses:
            witness, ground = reduced.booked, reduced.ground
            object_point = _object(witness.object, detail, where)
            if object_point is not None and peg in where:
                yield DrawnFeature(
                    "WITNESSES",
                    f"{witness.object} to {peg}",
                    "witness",
                    straight_path(where.position(object_point), where.position(peg)),
                    witness.place.source,
                    ground.sd,
                    attributes={"distance": f"{ground.length:.3f} m"},
                )


def _object(name: str, detail: Detail, where: Where) -> str | None:
    """Return the point that a witness's words stand for, None where they are only words."""
    if name in where:
        return name
    shape = detail.shapes.get(name)
    return shape.points[0] if shape is not None and shape.form == "point" else None


def bounding_corners(features: Sequence[DrawnFeature]) -> tuple[Array, Array]:
    """Return the south-west and north-east corners (n, 2) of the boxes that features lie within, metres."""
    if not features:
        return np.empty((0, 2)), np.empty((0, 2))
    reaches = [outline_points(feature) for feature in features]
    starts = np.cumsum([0, *map(len, reaches[:-1])])
    points = np.concatenate(reaches)
    return np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)


def outline_points(feature: DrawnFeature) -> Array:
    """Return points (k, 2) that hold a feature, metres."""
    if isinstance(feature.geometry, Path):
        path = feature.geometry
        return flatten(path.vertices, path.bulges, path.closed, 0.05)
    if isinstance(feature.geometry, Ellipse):
        return np.array([feature.geometry.centre])
    half = (feature.size or 0.0) / 2
    x, y = feature.geometry
    return np.array([(x - half, y - half), (x + half, y + half)])


# -- content of the map ------------------------------------------------------------------------------


@record(frozen=True, slots=True)
class Content:
    """A survey with the things drawn of it, and the sheet that shows them (none before sheets are laid out)."""

    solved: Solved
    where: Where
    features: tuple[DrawnFeature, ...]
    kinds: Mapping[str, DrawnFeature]  #: the first thing of each kind that plots
    notation: Notation  #: how the book writes lengths, areas and bearings
    scale: int = 0
    paper: str = ""
    turn: float = 0.0  #: of the map on its sheet, anticlockwise, radians
    left_out: int = 0  #: names that find no room on the map
    sheet: int = 1  #: from 1
    sheets: int = 1


def map_content(solved: Solved) -> Content:
    """Return a survey with what is drawn of it, before it is laid out on sheets."""
    where = Where.of(solved)
    features = _draw(solved, where)
    kinds: dict[str, DrawnFeature] = {}
    for feature in features:
        if plots(feature.layer):
            kinds.setdefault(feature.kind, feature)
    return Content(solved, where, features, kinds, solved.notation, scale=solved.scale)
