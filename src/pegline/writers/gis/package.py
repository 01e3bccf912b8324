"""Everything that goes into a GeoPackage, before it is one: layers, tables, lists of values, records, relations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pegline.book.pages import Pages, pages_of
from pegline.diagnosis.model import Survey
from pegline.writers.gis.columns import SOURCE, Column
from pegline.writers.gis.geometries import no_shapes
from pegline.writers.gis.layer_styles import Style, styles
from pegline.writers.gis.layers import FilledLayer, Value, fill_layers, values_of
from pegline.writers.gis.metadata import head, iso_record
from pegline.writers.result import checks, warnings
from pegline.writers.survey_figures import moment

__all__ = ["TABLES", "WARNINGS", "Links", "Package", "of_rows", "package"]


@dataclass(frozen=True, slots=True)
class Links:
    """Rows of one layer joined to rows of another, numbered from 1."""

    name: str  #: of the table that joins them
    base: str
    related: str
    rows: tuple[tuple[int, int, Value, Value], ...]  #: base, related, place in the book, page


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Table:
    """A table without geometry."""

    name: str
    about: str
    columns: tuple[Column, ...]


CHECKS: Final = Table(
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
        SOURCE,
    ),
)
WARNINGS: Final = Table(
    "warnings",
    "Warnings of the book and of the rules of thumb",
    (Column("rule", "its short name"), Column("text", "what is odd; what to do"), SOURCE),
)
BOOK: Final = Table(
    "book",
    "The survey: what the head of the field book says, and how it came out",
    (Column("key", "what"), Column("value", "its words")),
)
TABLES: Final = (CHECKS, WARNINGS, BOOK)


def package(survey: Survey) -> Package:
    """Return what the GeoPackage of a survey holds."""
    layers, pages = tuple(fill_layers(survey)), pages_of(survey.book)
    return Package(
        survey.frame.wkt,
        survey.frame.epoch,
        moment(survey.book),
        layers,
        tuple(_tables(survey, pages)),
        values_of(survey),
        (iso_record(survey),),
        _links(survey, pages, {layer.name: layer for layer in layers}),
        styles(layers, survey.book.kinds),
    )


def _tables(survey: Survey, pages: Pages) -> Iterator[FilledLayer]:
    rows: Mapping[str, Sequence[Mapping[str, Any]]] = {
        "checks": checks(survey, pages),
        "warnings": warnings(survey, pages),
        "book": [{"key": key, "value": value} for key, value in head(survey)],
    }
    return (of_rows(table, rows[table.name]) for table in TABLES)


def of_rows(table: Table, rows: Sequence[Mapping[str, Any]]) -> FilledLayer:
    """Return a table with rows in it."""
    values = {column.name: [row[column.name] for row in rows] for column in table.columns}
    return FilledLayer(table.name, table.about, table.columns, no_shapes(len(rows)), values)


def _links(survey: Survey, pages: Pages, layers: Mapping[str, FilledLayer]) -> tuple[Links, ...]:
    """Join each point to the chain line and row that gave it, and to its offsets."""
    lines, points = _numbers(layers["chain_lines"]), _numbers(layers["detail_points"])
    rows = survey.reduction.rows
    sources = [row.booked.place.source for row in rows]
    by_rows = (
        (base, related, place, page)
        for row, place, page in zip(rows, sources, pages.of(sources), strict=True)
        for base in lines.get(row.line, ())
        for related in points.get(row.booked.name, ())
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
