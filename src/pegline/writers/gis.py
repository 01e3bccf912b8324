"""The layers of a survey before any GIS format: their columns, what each column means, and the rows that fill them.

One row of ``LAYERS`` a layer. What writes a GIS file reads this and knows nothing of surveying.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from pegline.book.model import Feature
from pegline.detail.model import Shape
from pegline.network.model import Array
from pegline.reduction.model import ReducedRow
from pegline.writers.columns import (
    ACCURACY,
    AT,
    CHECKED,
    END,
    KIND,
    LABEL,
    LINE,
    METHOD,
    NAME,
    NOTE,
    OFF,
    SIZES,
    SOURCE,
    TAPED,
    VALUES,
    Column,
    safe_name,
)
from pegline.writers.figures import (
    Geometry,
    Places,
    Records,
    arcs_by_point,
    computed_length,
    ellipses,
    every_place,
    features_of_points,
    geometry,
    points,
    source,
    stations,
)

__all__ = ["LAYERS", "Filled", "Layer", "Value", "filled", "own_columns", "values_of"]

Value = str | float | bool | None
Form = Literal["Point", "LineString", "Polygon"]
Row = tuple[Geometry | None, dict[str, Value]]


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a survey."""

    name: str
    shape: Form
    about: str
    columns: tuple[Column, ...]
    rows: Callable[[_Site], Iterator[Row]]
    own: bool = False  #: takes the feature's own columns, from ``data``


@dataclass(frozen=True, slots=True)
class Filled:
    """A layer, or a table without geometry, with what is in it."""

    name: str
    shape: Form | None  #: None for a table
    about: str
    columns: tuple[Column, ...]  #: the layer's, then the features' own
    geometries: list[Geometry | None]  #: in the CRS's unit; none for a table
    rows: list[dict[str, Value]]  #: every column in each


@dataclass(frozen=True)
class _Site:
    """What the rows of every layer draw on, worked out once."""

    records: Records
    places: Mapping[str, Array]  #: metres in the frame
    unit: float  #: metres in a unit of the CRS
    own: Mapping[str, str]  #: column of each key under ``data``
    checked: bool | None
    rows_of: Mapping[str, tuple[ReducedRow, ...]] = field(default_factory=dict)  #: by point

    def at(self, name: str) -> Geometry:
        return {"type": "Point", "coordinates": (self.places[name] / self.unit).tolist()}

    def between(self, start: Array, end: Array) -> Geometry | None:
        """Return the line between two places; None where they are one, which is no line."""
        if np.hypot(*(end - start)) < 1e-6:
            return None
        return {"type": "LineString", "coordinates": [(start / self.unit).tolist(), (end / self.unit).tolist()]}


def _accuracy(places: Places) -> list[dict[str, Value]]:
    figures = np.hstack([places.deviations, ellipses(places.variances)]).tolist()
    names = [column.name for column in ACCURACY]
    return [dict(zip(names, row, strict=True)) for row in figures]


def _stations(site: _Site) -> Iterator[Row]:
    book = site.records.book
    places = stations(site.records)
    ties = {row.name: row for row in site.records.reduction.rows if row.form == "station"}
    ends = {name: line for line in reversed([*book.lines.values()]) for name in (line.start, line.end)}
    for name, accuracy in zip(places.names, _accuracy(places), strict=True):
        entry, tie = book.stations.get(name), ties.get(name)
        booked = entry or (tie.booked if tie else ends[name])
        yield (
            site.at(name),
            {
                "name": name,
                "kind": "tie station" if tie else "station",
                "mark": entry.mark if entry else None,
                "note": entry.note if entry else None,
                **accuracy,
                "line": tie.line if tie else None,
                "at": tie.chainages[0] if tie else None,
                "source": source(booked.place),
                "page": _page(site.records, tie.booked.page if tie else None),
                "checked": site.checked,
            },
        )


def _chain_lines(site: _Site) -> Iterator[Row]:
    for line in site.records.reduction.lines.values():
        length = computed_length(site.records, line, site.places)
        placed = length is not None
        yield (
            site.between(site.places[line.start], site.places[line.end]) if placed else None,
            {
                "name": line.name,
                "use": line.use,
                "taped": line.ground.reading,
                "ground": line.ground.length,
                "length": length,
                "note": line.booked.note,
                "source": source(line.booked.place),
                "page": _page(site.records, line.booked.page),
                "checked": site.checked,
            },
        )


def _detail_points(site: _Site) -> Iterator[Row]:
    """Yield every point, and once more for every further point feature that stands on one."""
    alone, through = features_of_points(site.records)
    places, book = points(site.records), site.records.book
    arcs = arcs_by_point(site.records)
    for name, accuracy in zip(places.names, _accuracy(places), strict=True):
        rows = site.rows_of.get(name, ())
        first = rows[0] if rows else None
        single = first is not None and first.form != "oblique"
        method = (first.booked.method or book.lines[first.line].method or book.default_method) if first else None
        arc = next(iter(arcs.get(name, ())), None)
        base: dict[str, Value] = {
            "name": name,
            **accuracy,
            "line": first.line if first else None,
            "at": first.chainages[0] if first and single else None,
            "off": _offset(first) if first and single else None,
            "method": method if first and first.form == "perpendicular" else None,
            "source": source(first.booked.place if first else arc.place if arc else None),
            "page": _page(site.records, first.booked.page if first else None),
            "note": first.booked.note if first else None,
            "label": first.booked.label if first else None,
        }
        for shape in alone.get(name, (None,)):
            yield site.at(name), _of_point(site, base, shape or through.get(name), own=shape is not None)
    placed = stations(site.records)
    for name, accuracy in zip(placed.names, _accuracy(placed), strict=True):
        for shape in alone.get(name, ()):
            yield site.at(name), _of_point(site, {"name": name, **accuracy}, shape, own=True)


def _of_point(site: _Site, base: Mapping[str, Value], shape: Shape | None, *, own: bool) -> dict[str, Value]:
    """Return a point's row: of a point feature all that the book says; of a larger one its name and kind."""
    row = {**base, "kind": shape.kind if shape else "point", "feature": shape.name if shape else None}
    if shape and own:
        told = _feature(site, shape)
        row |= {key: value for key, value in told.items() if key not in ("name", "source") and value is not None}
        row["source"] = row.get("source") or told["source"]
    return {**row, "checked": site.checked}


def _offset(row: ReducedRow) -> float:
    return row.side * row.offsets[0].length if row.offsets else 0.0


def _feature(site: _Site, shape: Shape) -> dict[str, Value]:
    """Return what the book says of a feature."""
    booked, unit = shape.booked, _unit_of(site.records, shape.booked)
    sizes = {name: getattr(booked, name) for name in ("girth", "width", "spread", "height", "thickness")}
    return {
        "name": shape.name,
        "kind": shape.kind,
        "label": booked.label,
        "note": booked.note,
        **{name: size.metres(unit) if size else None for name, size in sizes.items()},
        "face": booked.face,
        "source": source(shape.place),
        "page": _page(site.records, booked.page),
        **{site.own[key]: value for key, value in booked.data.items()},
    }


def _unit_of(records: Records, feature: Feature) -> str:
    """Return the unit of a feature's bare lengths: that of the line whose row makes it, else the book's."""
    for row in records.reduction.rows:
        if row.booked.place == feature.place:
            return records.book.unit_of(row.line)
    return records.book.unit


def _detail_lines(site: _Site) -> Iterator[Row]:
    for shape in site.records.detail.shapes.values():
        if shape.form == "line":
            measured = {"length": shape.perimeter, "length_sd": shape.perimeter_sd, "checked": site.checked}
            yield geometry(site.records, shape, site.places, site.unit), {**_feature(site, shape), **measured}


def _detail_areas(site: _Site) -> Iterator[Row]:
    for shape in site.records.detail.shapes.values():
        if shape.form == "area":
            measured = {
                "area": shape.area,
                "area_sd": shape.area_sd,
                "perimeter": shape.perimeter,
                "perimeter_sd": shape.perimeter_sd,
                "checked": site.checked,
            }
            yield geometry(site.records, shape, site.places, site.unit), {**_feature(site, shape), **measured}


def _offsets(site: _Site) -> Iterator[Row]:
    """Yield each offset and each arm of an oblique one, from the line to the point."""
    book = site.records.book
    for row in site.records.reduction.rows:
        line = site.records.reduction.lines[row.line]
        if not row.offsets or row.name not in site.places or not {line.start, line.end} <= site.places.keys():
            continue
        start, end, point = (site.places[name] for name in (line.start, line.end, row.name))
        method = row.booked.method or line.booked.method or book.default_method
        for chainage, ground in zip(row.chainages, row.offsets, strict=False):
            along = (end - start) / line.ground.length
            share = chainage if row.form == "oblique" else float((point - start) @ along / (along @ along))
            yield (
                site.between(start + share * along, point),
                {
                    "name": row.name,
                    "form": row.form,
                    "line": row.line,
                    "at": chainage,
                    "off": row.side * ground.length,
                    "method": method if row.form == "perpendicular" else None,
                    "note": row.booked.note,
                    "source": source(row.booked.place),
                    "page": _page(site.records, row.booked.page),
                    "checked": site.checked,
                },
            )


def _witnesses(site: _Site) -> Iterator[Row]:
    alone = {name: shape.points[0] for name, shape in site.records.detail.shapes.items() if shape.path is None}
    for peg, booked in site.records.book.witnesses.items():
        for witness, ground in zip(booked, site.records.reduction.witnesses.get(peg, ()), strict=False):
            stands = witness.object if witness.object in site.places else alone.get(witness.object, "")
            ends = [site.places[name] for name in (stands, peg) if name in site.places]
            both = len(ends) == 2
            yield (
                site.between(*ends) if both else None,
                {
                    "name": peg,
                    "object": witness.object,
                    "taped": ground.length,
                    "length": float(np.hypot(*(ends[1] - ends[0]))) / site.records.frame.scale if both else None,
                    "note": witness.note,
                    "source": source(witness.place),
                    "checked": site.checked,
                },
            )


def _ellipses(site: _Site) -> Iterator[Row]:
    turn = np.linspace(0.0, 2 * np.pi, 73)
    for kind, places in (("station", stations(site.records)), ("point", points(site.records))):
        for name, centre, (a, b, bearing) in zip(
            places.names, places.positions, ellipses(places.variances), strict=True
        ):
            major = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
            minor = np.array([-major[1], major[0]])
            ring = centre + a * np.cos(turn)[:, None] * major + b * np.sin(turn)[:, None] * minor
            ring[-1] = ring[0]
            # What is held, wholly or in one direction, has no ellipse to draw.
            drawn = {"type": "Polygon", "coordinates": [(ring / site.unit).tolist()]} if b > 1e-6 else None
            yield (
                drawn,
                {
                    "name": name,
                    "kind": kind,
                    "ellipse_a": float(a),
                    "ellipse_b": float(b),
                    "ellipse_bearing": float(bearing),
                    "checked": site.checked,
                },
            )


def _page(records: Records, page: str | None) -> str | None:
    """Return the image of a page where the book names one, else its number."""
    return records.book.pages.get(page, page) if page is not None else None


#: Every layer, in the order of the files.
LAYERS: Final = (
    Layer(
        "stations",
        "Point",
        "Pegs of the figure and on its lines",
        (NAME, KIND, Column("mark", "what marks it"), NOTE, *ACCURACY, LINE, AT, *END),
        _stations,
    ),
    Layer(
        "chain_lines",
        "LineString",
        "Lines as chained, with what was taped and what came out",
        (
            NAME,
            Column("use", "what it was taped for", values="use"),
            TAPED,
            Column("ground", "horizontal on the ground, as taped and corrected, metres", "number"),
            Column("length", "horizontal on the ground between its ends as delivered, metres", "number"),
            NOTE,
            *END,
        ),
        _chain_lines,
    ),
    Layer(
        "detail_points",
        "Point",
        "Every point of detail, and point features with all that was booked of them",
        (
            NAME,
            KIND,
            Column("feature", "the feature that it belongs to"),
            LABEL,
            NOTE,
            *ACCURACY,
            LINE,
            AT,
            OFF,
            METHOD,
            *SIZES,
            *END,
        ),
        _detail_points,
        own=True,
    ),
    Layer(
        "detail_lines",
        "LineString",
        "Line features; curves are stroked",
        (
            NAME,
            KIND,
            LABEL,
            NOTE,
            *SIZES,
            Column("length", "on the ground, metres", "number"),
            Column("length_sd", "standard deviation of the length, metres", "number"),
            *END,
        ),
        _detail_lines,
        own=True,
    ),
    Layer(
        "detail_areas",
        "Polygon",
        "Area features; curves are stroked, areas are those of the curves themselves",
        (
            NAME,
            KIND,
            LABEL,
            NOTE,
            *SIZES,
            Column("area", "on the ground, square metres", "number"),
            Column("area_sd", "standard deviation of the area, square metres", "number"),
            Column("perimeter", "on the ground, metres", "number"),
            Column("perimeter_sd", "standard deviation of the perimeter, metres", "number"),
            *END,
        ),
        _detail_areas,
        own=True,
    ),
    Layer(
        "offsets",
        "LineString",
        "Offsets as booked, from the foot on the line to the point",
        (NAME, Column("form", "perpendicular or oblique", values="form"), LINE, AT, OFF, METHOD, NOTE, *END),
        _offsets,
    ),
    Layer(
        "witnesses",
        "LineString",
        "Distances from lasting objects to pegs; without a line where the object was not surveyed",
        (
            Column("name", "the peg"),
            Column("object", "the lasting object"),
            Column("taped", "horizontal on the ground, as taped and corrected, metres", "number"),
            Column("length", "between the two as delivered, metres", "number"),
            NOTE,
            SOURCE,
            CHECKED,
        ),
        _witnesses,
    ),
    Layer(
        "ellipses",
        "Polygon",
        "Ellipses, true to size, that hold each place with 95 % probability",
        (NAME, KIND, *ACCURACY[2:], CHECKED),
        _ellipses,
    ),
)


def filled(records: Records) -> list[Filled]:
    """Return every layer with its rows; empty layers too, so that the files always hold the same."""
    own = own_columns(records)
    site = _Site(
        records,
        every_place(records),
        records.frame.metres_per_unit,
        {key: column.name for key, column in own.items()},
        records.adjustment.checked,
        _rows_of(records),
    )
    return [_fill(layer, site, tuple(own.values()) if layer.own else ()) for layer in LAYERS]


def _fill(layer: Layer, site: _Site, own: tuple[Column, ...]) -> Filled:
    columns = layer.columns + own
    blank: dict[str, Value] = dict.fromkeys(column.name for column in columns)
    rows = list(layer.rows(site))
    return Filled(
        layer.name,
        layer.shape,
        layer.about,
        columns,
        [shape for shape, _ in rows],
        [_only(blank, values) for _, values in rows],
    )


def _only(blank: Mapping[str, Value], values: Mapping[str, Value]) -> dict[str, Value]:
    return {**blank, **{key: value for key, value in values.items() if key in blank}}


def _rows_of(records: Records) -> dict[str, tuple[ReducedRow, ...]]:
    every = records.reduction.rows
    points = records.detail.points
    return {name: tuple(every[row] for row in rows) for name, rows in zip(points.names, points.rows, strict=True)}


def values_of(records: Records) -> Mapping[str, Mapping[str, str]]:
    """Return the lists of values, with the kinds that the book adds."""
    added = {kind.name: f"{kind.geometry} feature, of this book" for kind in records.book.kinds.values()}
    return {**VALUES, "kind": {**VALUES["kind"], **added}}


def own_columns(records: Records) -> dict[str, Column]:
    """Return a column for each key that the book's features have under ``data``."""
    taken = {column.name for layer in LAYERS for column in layer.columns}
    keys: dict[str, Column] = {}
    for shape in records.detail.shapes.values():
        for key in shape.booked.data:
            if key not in keys:
                column = Column(safe_name(key, taken), f"'{key}' in the field book")
                keys[key] = column
                taken.add(column.name)
    return keys
