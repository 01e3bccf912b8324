"""What fills each layer: one function a layer, from a survey to geometries and values by column."""

from __future__ import annotations

from itertools import chain
from math import dist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.detail.model import Shape
from pegline.plane import Array, Ints
from pegline.reduction.model import ReducedRow
from pegline.writers.gis.columns import ACCURACY_COLUMNS, typed_value
from pegline.writers.gis.geometries import Shapes, of_parts
from pegline.writers.gis.site import Columns, Site, Value
from pegline.writers.survey_figures import (
    features_of_points,
    outline,
    place_source,
)

__all__ = ["Rows", "ellipse_shapes"]

Rows = tuple[Shapes, Columns]

#: Corners of a drawn ellipse: its sides lie inside by 0.9 % of its semi-axis at most, on paper less than half the
#: thinnest line's width (0.13 mm) where it is up to 15 mm across. Ellipses are most of a large file.
CORNERS = 24
RINGS_AT_ONCE: Final = 1000  #: ellipses that are drawn at one time
#: Two places nearer one another than this are one, and no line runs between them, in the CRS's unit.
ONE_PLACE = 1e-6


def lines_between(starts: Array, ends: Array, placed: NDArray[np.bool_]) -> Shapes:
    """Return the lines between places (n, 2), none where an end is not placed, or where the two are one."""
    has_length = placed & (np.hypot(*(ends - starts).T) >= ONE_PLACE)
    return Shapes("LineString", np.stack([starts, ends], 1)[has_length].reshape(-1, 2), np.where(has_length, 2, 0))


def _accuracy(site: Site, numbers: Ints) -> Columns:
    return dict(zip((column.name for column in ACCURACY_COLUMNS), site.accuracy[numbers].T.tolist(), strict=True))


def stations_rows(site: Site) -> Rows:
    book, names = site.survey.book, site.stations.names
    entries = [book.stations.get(name) for name in names]
    by_tie = {row.name: row for row in site.survey.reduction.tie_rows.values()}
    ties = [by_tie.get(name) for name in names]
    numbers = np.arange(len(names))
    return site.at(numbers), {
        "name": [*names],
        "kind": ["tie station" if tie else "station" for tie in ties],
        "mark": [entry.mark if entry else None for entry in entries],
        "note": [entry.note if entry else None for entry in entries],
        **_accuracy(site, numbers),
        "line": [tie.line if tie else None for tie in ties],
        "at": [tie.chainages[0] if tie else None for tie in ties],
        **site.whereabouts(map(site.survey.solved.places_booked.get, names)),
        **site.trust(numbers),
    }


def chain_lines_rows(site: Site) -> Rows:
    lines = [*site.survey.reduction.lines.values()]
    starts, ends = site.of(line.start for line in lines), site.of(line.end for line in lines)
    placed = (starts >= 0) & (ends >= 0)
    lengths = np.hypot(*(site.metres[ends] - site.metres[starts]).T) / site.survey.frame.scale
    return lines_between(site.positions[starts], site.positions[ends], placed), {
        "name": [line.name for line in lines],
        "use": [line.use for line in lines],
        "taped": [line.ground.reading for line in lines],
        "ground": [line.ground.length for line in lines],
        "length": [length if both else None for length, both in zip(lengths.tolist(), placed, strict=True)],
        "note": [line.booked.note for line in lines],
        **site.whereabouts(line.booked.place for line in lines),
        **site.trust_in_all((line.start, line.end) for line in lines),
    }


def detail_points_rows(site: Site) -> Rows:
    """Return every point, and once more for every further point feature that stands on one, or on a station.

    Of a point feature the row has all that the book says; of a larger one its name and kind.
    """
    alone, through = features_of_points(site.survey)
    names, count = site.names, len(site.stations.names)
    standing = [
        *((count + number, each) for number, name in enumerate(site.points.names) for each in alone.get(name, (None,))),
        *((number, each) for number, name in enumerate(site.stations.names) for each in alone.get(name, ())),
    ]
    numbers = np.array([number for number, _ in standing], np.int64)
    names_of_rows = [names[number] for number, _ in standing]
    features = [each or through.get(name) for name, (_, each) in zip(names_of_rows, standing, strict=True)]
    columns: Columns = {
        "name": [*names_of_rows],
        "kind": [each.kind if each else "point" for each in features],
        "feature": [each.name if each else None for each in features],
        **_accuracy(site, numbers),
        **_first_row_columns(site, numbers),
        **site.trust(numbers),
    }
    for row, (_, each) in enumerate(standing):
        if each:
            for key, value in _feature(site, each).items():
                if value is not None:
                    columns.setdefault(key, [None] * len(standing))[row] = value
            columns["source"][row] = columns["source"][row] or place_source(each.place)
    columns["image"] = site.images(columns["page"])
    return site.at(numbers), columns


def _first_row_columns(site: Site, numbers: Ints) -> Columns:
    """Return what the book says of the first row of places: nothing here of stations, nor of points without a row."""
    every, stations = site.survey.reduction.rows, len(site.stations.names)
    firsts = np.array(
        [*[-1] * stations, *(rows[0] if rows else -1 for rows in site.survey.detail.points.rows)], np.int64
    )
    chosen = firsts[numbers].tolist()
    rows = [every[first] if first >= 0 else None for first in chosen]
    booked, names = site.survey.solved.places_booked, (*[None] * stations, *site.points.names)
    return {
        **site.of_rows(chosen, "line", "method", "note"),
        "at": [row.chainages[0] if row and row.form != "oblique" else None for row in rows],
        "off": [_offset(row) if row and row.form != "oblique" else None for row in rows],
        "label": [row.booked.label if row else None for row in rows],
        **site.whereabouts(booked.get(names[number]) for number in numbers.tolist()),
    }


def _offset(row: ReducedRow) -> float:
    return row.side * row.offsets[0].length if row.offsets else 0.0


def _feature(site: Site, shape: Shape) -> dict[str, Value]:
    """Return what the book says of a feature beside its name, kind and place."""
    booked = shape.booked
    sizes = {name: getattr(booked, name) for name in ("girth", "width", "spread", "height", "thickness")}
    return {
        "label": booked.label or shape.name,
        "note": booked.note,
        **{name: size.metres(site.unit_at(shape.place)) if size else None for name, size in sizes.items()},
        "face": booked.face,
        "page": site.pages.page(place_source(shape.place)),
        **{site.own[key].name: typed_value(value, site.own[key].type) for key, value in booked.data.items()},
    }


def _features(site: Site, shapes: list[Shape]) -> Columns:
    """Return what the book says of features."""
    facts = [_feature(site, shape) for shape in shapes]
    return {
        "name": [shape.name for shape in shapes],
        "kind": [shape.kind for shape in shapes],
        **{key: [each.get(key) for each in facts] for key in dict.fromkeys(chain.from_iterable(facts))},
        **site.whereabouts(shape.place for shape in shapes),
        **site.trust_in_all(site.survey.detail.points_under(shape) for shape in shapes),
    }


def detail_lines_rows(site: Site) -> Rows:
    lines = [shape for shape in site.survey.detail.shapes.values() if shape.form == "line"]
    return of_parts("LineString", (outline(site.survey, shape, site.unit) for shape in lines)), {
        **_features(site, lines),
        "length": [shape.perimeter for shape in lines],
        "length_sd": [shape.perimeter_sd for shape in lines],
    }


def detail_areas_rows(site: Site) -> Rows:
    areas = [shape for shape in site.survey.detail.shapes.values() if shape.form == "area"]
    return of_parts("Polygon", (outline(site.survey, shape, site.unit) for shape in areas)), {
        **_features(site, areas),
        "area": [shape.area for shape in areas],
        "area_sd": [shape.area_sd for shape in areas],
        "perimeter": [shape.perimeter for shape in areas],
        "perimeter_sd": [shape.perimeter_sd for shape in areas],
    }


def offsets_rows(site: Site) -> Rows:
    """Return each offset and each arm of an oblique one, from the line to the point."""
    feet, every = site.survey.detail.offset_feet, site.survey.reduction.rows
    numbers = feet.rows.tolist()
    arms = [(every[number], arm) for number, arm in zip(numbers, feet.arms.tolist(), strict=True)]
    columns = site.of_rows(numbers, "name", "form", "line", "method", "note", "source")
    reached = site.of(columns["name"])
    begins = (feet.positions + np.array(site.survey.frame.origin)) / site.unit
    return lines_between(begins, site.positions[reached], np.ones(len(arms), bool)), {
        **columns,
        "at": [row.chainages[arm] for row, arm in arms],
        "off": [row.side * row.offsets[arm].length for row, arm in arms],
        **site.on_pages(columns["source"]),
        **site.trust(reached),
    }


def witnesses_rows(site: Site) -> Rows:
    alone = {name: shape.points[0] for name, shape in site.survey.detail.shapes.items() if shape.path is None}
    pairs = [
        (peg, witness.booked, witness.ground)
        for peg, witnesses in site.survey.reduction.witnesses.items()
        for witness in witnesses
    ]
    objects = [each.object if each.object in site.numbers else alone.get(each.object, "") for _, each, _ in pairs]
    stood, pegs = site.of(objects), site.of(peg for peg, *_ in pairs)
    placed = (stood >= 0) & (pegs >= 0)
    starts, ends = site.positions[stood], site.positions[pegs]
    return lines_between(starts, ends, placed), {
        "name": [peg for peg, *_ in pairs],
        "object": [each.object for _, each, _ in pairs],
        "taped": [ground.length for *_, ground in pairs],
        "length": [
            dist(start, end) * site.unit / site.survey.frame.scale if both else None
            for start, end, both in zip(starts.tolist(), ends.tolist(), placed, strict=True)
        ],
        "note": [each.note for _, each, _ in pairs],
        **site.whereabouts(each.place for _, each, _ in pairs),
        **site.trust(pegs),
    }


def ellipses_rows(site: Site) -> Rows:
    figures = site.accuracy[:, 2:]
    return ellipse_shapes(site.metres, figures, site.unit), {
        "name": [*site.names],
        "kind": ["station"] * len(site.stations.names) + ["point"] * len(site.points.names),
        **dict(zip((column.name for column in ACCURACY_COLUMNS[2:]), figures.T.tolist(), strict=True)),
        **site.trust(np.arange(len(site.names))),
    }


def ellipse_shapes(centres: Array, figures: Array, metres_per_unit: float) -> Shapes:
    """Return ellipses true to size.

    Parameters
    ----------
    centres
        (n, 2) metres.
    figures
        (n, 3) semi-axes a and b, metres, and the bearing of a, degrees.
    metres_per_unit
        Of the CRS that they are drawn in.
    """
    # What is held, wholly or in one direction, has no ellipse to draw.
    has_ellipse = figures[:, 1] > 1e-6
    corners = _rings(centres[has_ellipse], figures[has_ellipse])
    corners /= metres_per_unit
    return Shapes("Polygon", corners.reshape(-1, 2), np.where(has_ellipse, CORNERS + 1, 0))


def _rings(centres: Array, figures: Array) -> Array:
    """Return ellipses (n, 2) and (n, 3) as closed rings (n, corners + 1, 2), anticlockwise."""
    turn = np.linspace(0.0, 2 * np.pi, CORNERS + 1)
    # The last corner is the first, to the last digit.
    turn[-1] = 0.0
    bearing = np.radians(figures[:, 2])
    major = np.stack([np.sin(bearing), np.cos(bearing)], 1)[:, None, :]
    minor = np.stack([-np.cos(bearing), np.sin(bearing)], 1)[:, None, :]
    along, across = np.cos(turn)[None, :, None], np.sin(turn)[None, :, None]
    a, b = figures[:, 0, None, None], figures[:, 1, None, None]
    # The largest thing that a file of layers is made from: added up in place, some at a time.
    rings, sideways = along * (a * major), b * minor
    for start in range(0, len(rings), RINGS_AT_ONCE):
        some = slice(start, start + RINGS_AT_ONCE)
        rings[some] += across * sideways[some]
        rings[some] += centres[some, None, :]
    return np.asarray(rings)
