"""Everything that goes into a GeoPackage, before it is one: layers, tables, lists of values, records, relations.

A package is carried to another CRS whole: geometries, the covariance of every place, tables, history.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from pegline.book.pages import Pages
from pegline.diagnosis.model import Survey
from pegline.network.confidence import confidence_radii, ellipses, variances_of
from pegline.plane import Array
from pegline.records import record
from pegline.solved import PlaceRadius
from pegline.writers.gis.columns import ACCURACY_COLUMNS, SOURCE_COLUMN, SURVEY_COLUMN, Column
from pegline.writers.gis.geometries import Shapes, no_shapes, of_parts
from pegline.writers.gis.layer_rows import ellipse_shapes
from pegline.writers.gis.layer_styles import Style, styles
from pegline.writers.gis.layers import FilledLayer, Value, layers_of, site_of, values_of
from pegline.writers.gis.metadata import Extent, head, iso_record, with_process_step
from pegline.writers.gis.site import Site
from pegline.writers.result import checks, warnings
from pegline.writers.survey_figures import moment

__all__ = [
    "PACKAGE_TABLES",
    "WARNINGS_TABLE",
    "Links",
    "Motion",
    "Package",
    "filled_table",
    "metres_per_unit",
    "move_package",
    "package",
]


@record(frozen=True, slots=True)
class Links:
    """Rows of one layer joined to rows of another, numbered from 1."""

    name: str  #: of the table that joins them
    base: str
    related: str
    rows: tuple[tuple[int, int, Value, Value], ...]  #: base, related, place in the book, page


@record(frozen=True, slots=True)
class Package:
    """The contents of a GeoPackage."""

    wkt: str  #: of the CRS of every layer
    epoch: float | None  #: the moment that coordinates of a dynamic CRS hold for, years
    moment: str  #: that the file bears, as ``figures.moment``
    layers: tuple[FilledLayer, ...]
    tables: tuple[FilledLayer, ...]
    values: Mapping[str, Mapping[str, str]]  #: lists of values, each with what it means
    records: tuple[str, ...]  #: ISO 19115 records as XML
    links: tuple[Links, ...]
    styles: Mapping[str, Style]  #: by the layer that it is for


@record(frozen=True, slots=True)
class PackageTable:
    """A table without geometry."""

    name: str
    about: str
    columns: tuple[Column, ...]


CHECKS_TABLE: Final = PackageTable(
    "checks",
    "Extra measurements compared with the plotting solution, which does without them",
    (
        Column("what", "the line, row, point or station"),
        Column("kind", "what was compared"),
        Column("taped", "as measured, on the ground, metres; degrees for a bearing", "number"),
        Column("computed", "as computed from the plotting solution, same unit", "number"),
        Column("difference", "taped minus computed, same unit", "number"),
        Column("allowed", "the largest difference that is allowed, same unit", "number"),
        Column("test", "difference over its standard deviation", "number"),
        Column("passed", "whether the check passed", "yes or no"),
        Column("chosen", "whether it passed only because a reading left open was chosen so", "yes or no"),
        SOURCE_COLUMN,
    ),
)
WARNINGS_TABLE: Final = PackageTable(
    "warnings",
    "Warnings of the book and of the rules of thumb",
    (Column("rule", "its short name"), Column("text", "what is odd; what to do"), SOURCE_COLUMN),
)
BOOK_TABLE: Final = PackageTable(
    "book",
    "The survey: what the head of the field book says, and how it came out",
    (Column("key", "what"), Column("value", "its words")),
)
PACKAGE_TABLES: Final = (CHECKS_TABLE, WARNINGS_TABLE, BOOK_TABLE)


def package(survey: Survey) -> Package:
    """Return what the GeoPackage of a survey holds."""
    site = site_of(survey)
    layers = tuple(layers_of(site))
    return Package(
        survey.frame.wkt,
        survey.frame.epoch,
        moment(survey.book),
        layers,
        tuple(_tables(survey, site.pages)),
        values_of(survey),
        (iso_record(survey),),
        _links(site, {layer.name: layer for layer in layers}),
        styles(layers, survey.book.kinds),
    )


def _tables(survey: Survey, pages: Pages) -> Iterator[FilledLayer]:
    rows: Mapping[str, Sequence[Mapping[str, Any]]] = {
        "checks": checks(survey, pages),
        "warnings": warnings(survey, pages),
        "book": [{"key": key, "value": value} for key, value in head(survey)],
    }
    return (filled_table(table, rows[table.name]) for table in PACKAGE_TABLES)


def filled_table(table: PackageTable, rows: Sequence[Mapping[str, Any]]) -> FilledLayer:
    """Return a table with rows in it."""
    values = {column.name: [row[column.name] for row in rows] for column in table.columns}
    return FilledLayer(table.name, table.about, table.columns, no_shapes(len(rows)), values)


def _links(site: Site, layers: Mapping[str, FilledLayer]) -> tuple[Links, ...]:
    """Join each point to the chain line and row that gave it, and to its offsets."""
    lines, points = _numbers(layers["chain_lines"]), _numbers(layers["detail_points"])
    rows = site.booked_rows
    by_rows = (
        (base, related, place, page)
        for line, name, place, page in zip(
            rows["line"], rows["name"], rows["source"], site.pages.of(rows["source"]), strict=True
        )
        for base in lines.get(line, ())
        for related in points.get(name, ())
    )
    offsets = layers["offsets"].values
    by_offsets = (
        (base, related, place, page)
        for base, (name, place, page) in enumerate(
            zip(offsets["name"], offsets["source"], offsets["page"], strict=True), 1
        )
        for related in points.get(name, ())
    )
    return (
        Links("chain_lines_detail_points", "chain_lines", "detail_points", tuple(by_rows)),
        Links("offsets_detail_points", "offsets", "detail_points", tuple(by_offsets)),
    )


def _numbers(layer: FilledLayer) -> dict[Value, list[int]]:
    """Return the numbers of a layer's rows by name; files count them from 1 as they come."""
    by_value: dict[Value, list[int]] = {}
    for number, name in enumerate(layer.values["name"], 1):
        by_value.setdefault(name, []).append(number)
    return by_value


#: Layers of places, whose rows have an accuracy.
PLACE_LAYERS: Final = ("stations", "detail_points")
#: Figures of an ellipse, by their columns.
FIGURES: Final = tuple(column.name for column in ACCURACY_COLUMNS[2:])


@record(frozen=True, slots=False)
class Motion:
    """A way from the CRS of a package to another."""

    wkt: str  #: of the other CRS
    crs_name: str  #: its name, for people
    places: Callable[[Array], Array]  #: coordinates (n, 2) in the other CRS, each in its own unit
    slopes: Callable[[Array], Array]  #: (n, 2, 2) metres east and north there by metres east and north here
    spread: Callable[[Array], Array]  #: (n, 2, 2) covariance that the way itself adds, square metres
    on_earth: Callable[[Array], list[tuple[float, float]]]  #: longitude and latitude of coordinates there
    scale: float  #: metres there for one here
    history: str  #: a sentence on the way
    same_datum: bool = False  #: whether coordinates hold for the moment that they held for
    dense: Callable[[Array], Array] | None = None  #: a line's vertices (k, 2) with those that its bend there needs


def move_package(package: Package, motion: Motion) -> Package:
    """Return a package carried to another CRS.

    The covariance of each place is that of the survey, turned and stretched by the derivatives J of the way,
    and that of the way itself at the place, taken as independent:

        C = J C' J' + S

    Lengths, areas and chainages stay what they were: of the ground.
    """
    unit = metres_per_unit(package.wkt)
    layers = {layer.name: _moved_layer(layer, motion, unit) for layer in package.layers}
    layers["ellipses"] = _redrawn(package, layers, motion, unit)
    weakest = _weakest_by_survey(layers)
    (book,) = (table for table in package.tables if table.name == BOOK_TABLE.name)
    corners = np.concatenate([layers[name].shapes.corners for name in PLACE_LAYERS])
    extent = Extent.of(motion.on_earth(corners)) if len(corners) else None
    return replace(
        package,
        wkt=motion.wkt,
        epoch=package.epoch if motion.same_datum else None,
        layers=tuple(layers[layer.name] for layer in package.layers),
        tables=tuple(_book(book, weakest, motion) if table is book else table for table in package.tables),
        records=tuple(
            with_process_step(record, motion.history, motion.crs_name, extent, weakest.get(survey))
            for record, survey in zip(package.records, _surveys(book), strict=False)
        ),
    )


def metres_per_unit(wkt: str) -> float:
    """Return metres in the unit of a projected or engineering CRS."""
    from pyproj import CRS

    return float(CRS(wkt).axis_info[0].unit_conversion_factor)


def _moved_layer(layer: FilledLayer, motion: Motion, unit: float) -> FilledLayer:
    """Return a layer with its corners carried, and with the accuracy of its places where it has one."""
    shapes = _moved_shapes(layer.shapes, motion)
    if layer.name not in PLACE_LAYERS:
        return replace(layer, shapes=shapes)
    corners = layer.shapes.corners
    slopes = motion.slopes(corners)
    variances = slopes @ _variances(layer) @ slopes.transpose(0, 2, 1) + motion.spread(corners)
    accuracy = np.column_stack([np.sqrt(np.diagonal(variances, axis1=1, axis2=2)), ellipses(variances)])
    columns = dict(zip((column.name for column in ACCURACY_COLUMNS), accuracy.T.tolist(), strict=True))
    return replace(layer, shapes=shapes, values={**layer.values, **columns})


def _moved_shapes(shapes: Shapes, motion: Motion) -> Shapes:
    if motion.dense is not None and shapes.form != "Point":
        ends = np.concatenate([[0], np.cumsum(shapes.counts)]).tolist()
        parts = [shapes.corners[start:end] for start, end in pairwise(ends)]
        shapes = of_parts(shapes.form, [motion.dense(part) if len(part) > 1 else part for part in parts])
    return replace(shapes, corners=motion.places(shapes.corners)) if len(shapes.corners) else shapes


def _variances(layer: FilledLayer) -> Array:
    """Return the covariances (n, 2, 2) of places, square metres."""
    figures = np.array([layer.values[name] for name in FIGURES], float).T.reshape(-1, 3)
    return variances_of(figures)


def _key(row: Mapping[str, Any], layer: str) -> tuple[Value, str, Value]:
    """Return what a place is known by: its survey, what it is, and its name."""
    return row.get(SURVEY_COLUMN.name), layer, row["name"]


def _redrawn(package: Package, layers: Mapping[str, FilledLayer], motion: Motion, unit: float) -> FilledLayer:
    """Return the layer of ellipses: drawn in the CRS that they come from, and carried."""
    (before,) = (layer for layer in package.layers if layer.name == "ellipses")
    here: dict[tuple[Value, str, Value], Array] = {}
    there: dict[tuple[Value, str, Value], Mapping[str, Value]] = {}
    for layer in (layer for layer in package.layers if layer.name in PLACE_LAYERS):
        for corner, row in zip(layer.shapes.corners, layers[layer.name].rows(), strict=True):
            here.setdefault(_key(row, layer.name), corner)
            there.setdefault(_key(row, layer.name), row)
    layer_of = {"station": "stations", "point": "detail_points"}
    keys = [_key(row, layer_of[str(row["kind"])]) for row in before.rows()]
    corners = np.array([here[key] for key in keys], float).reshape(-1, 2)
    figures = np.array([[there[key][name] for name in FIGURES] for key in keys], float).reshape(-1, 3)
    back = np.linalg.inv(motion.slopes(corners)) if len(corners) else np.zeros((0, 2, 2))
    axes = ellipses(back @ variances_of(figures) @ back.transpose(0, 2, 1))
    shapes = ellipse_shapes(corners * unit, axes, unit)
    columns = dict(zip(FIGURES, figures.T.tolist(), strict=True))
    return replace(before, shapes=_moved_shapes(shapes, motion), values={**before.values, **columns})


def _weakest_by_survey(layers: Mapping[str, FilledLayer]) -> dict[Value, PlaceRadius]:
    """Return the place of each survey that is known worst in the other CRS."""
    weakest: dict[Value, PlaceRadius] = {}
    for name in PLACE_LAYERS:
        radii = confidence_radii(_variances(layers[name])).tolist()
        for row, radius in zip(layers[name].rows(), radii, strict=True):
            survey = row.get(SURVEY_COLUMN.name)
            if radius != radius:  # a place that another program added tells no accuracy
                continue
            if survey not in weakest or radius > weakest[survey].radius:
                weakest[survey] = PlaceRadius(str(row["name"]), radius)
    return weakest


def _surveys(book: FilledLayer) -> list[Value]:
    return list(dict.fromkeys(row.get(SURVEY_COLUMN.name) for row in book.rows()))


def _book(book: FilledLayer, weakest: Mapping[Value, PlaceRadius], motion: Motion) -> FilledLayer:
    """Return the table of the survey's facts with those that the way changed, and the way itself."""
    entries: list[dict[str, Any]] = []
    for survey in _surveys(book):
        facts = {str(row["key"]): row["value"] for row in book.rows() if row.get(SURVEY_COLUMN.name) == survey}
        steps = sum(key.startswith("history") for key in facts)
        scale = float(str(facts.get("frame scale") or 1.0)) * motion.scale
        facts |= {"frame": "grid", "north": "grid", "crs": motion.crs_name, "frame scale": f"{scale:.10g}"}
        if survey in weakest:
            facts["weakest point, on the grid"] = f"{weakest[survey].name} within {weakest[survey].radius:.3f} m (95 %)"
        facts[f"history {steps + 1}"] = motion.history
        named = {} if survey is None else {SURVEY_COLUMN.name: survey}
        entries += [{**named, "key": key, "value": value} for key, value in facts.items()]
    return filled_table(replace(BOOK_TABLE, columns=book.columns), entries)
