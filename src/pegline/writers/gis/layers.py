"""The layers of a survey before any GIS format: their columns, what each column means, and the rows that fill them.

One row of ``GIS_LAYERS`` a layer. What writes a GIS file reads this and knows nothing of surveying.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from pegline.diagnosis.model import Survey
from pegline.records import record
from pegline.writers.gis import layer_rows
from pegline.writers.gis.columns import (
    ACCURACY_COLUMNS,
    CHAINAGE_COLUMN,
    IMAGE_COLUMN,
    KIND_COLUMN,
    LABEL_COLUMN,
    LAST_COLUMNS,
    LINE_COLUMN,
    LISTS_OF_VALUES,
    METHOD_COLUMN,
    NAME_COLUMN,
    NOTE_COLUMN,
    OFFSET_COLUMN,
    PAGE_COLUMN,
    SIZE_COLUMNS,
    SOURCE_COLUMN,
    TAPED_COLUMN,
    TRUST_COLUMNS,
    Column,
    safe_name,
    type_of,
)
from pegline.writers.gis.geometries import Form, Shapes
from pegline.writers.gis.layer_rows import Rows
from pegline.writers.gis.site import Site, Value

__all__ = [
    "GIS_LAYERS",
    "FilledLayer",
    "GisLayer",
    "Value",
    "fill_layers",
    "layers_of",
    "own_columns",
    "site_of",
    "values_of",
]


@record(frozen=True, slots=True)
class GisLayer:
    """One layer of a survey."""

    name: str
    shape: Form
    about: str
    columns: tuple[Column, ...]
    rows: Callable[[Site], Rows]
    own: bool = False  #: takes the feature's own columns, from ``data``


@record(frozen=True, slots=True)
class FilledLayer:
    """A layer, or a table without geometry, with what is in it."""

    name: str
    about: str
    columns: tuple[Column, ...]  #: the layer's, then the features' own
    shapes: Shapes  #: n, in the CRS's unit
    values: Mapping[str, list[Value]]  #: n of each column, in the order of ``columns``

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.shapes)

    def rows(self) -> Iterator[dict[str, Value]]:
        """Yield each row's values by column."""
        names = tuple(self.values)
        return (dict(zip(names, row, strict=True)) for row in zip(*self.values.values(), strict=True))


#: What is booked of some features only: a column of it stands in layers of detail where one of them has it.
SPARE_COLUMNS: Final = (
    NOTE_COLUMN,
    LABEL_COLUMN,
    LINE_COLUMN,
    CHAINAGE_COLUMN,
    OFFSET_COLUMN,
    METHOD_COLUMN,
    *SIZE_COLUMNS,
    PAGE_COLUMN,
    IMAGE_COLUMN,
)

#: Every layer, in the order of the files.
GIS_LAYERS: Final = (
    GisLayer(
        "stations",
        "Point",
        "Stations of the framework and on its lines",
        (
            NAME_COLUMN,
            KIND_COLUMN,
            Column("mark", "what marks it"),
            NOTE_COLUMN,
            *ACCURACY_COLUMNS,
            LINE_COLUMN,
            CHAINAGE_COLUMN,
            *LAST_COLUMNS,
        ),
        layer_rows.stations_rows,
    ),
    GisLayer(
        "chain_lines",
        "LineString",
        "Lines as chained, with what was taped and what came out",
        (
            NAME_COLUMN,
            Column("use", "what it was taped for", values="use"),
            TAPED_COLUMN,
            Column("ground", "horizontal on the ground, as taped and corrected, metres", "number"),
            Column("length", "horizontal on the ground between its ends as delivered, metres", "number"),
            NOTE_COLUMN,
            *LAST_COLUMNS,
        ),
        layer_rows.chain_lines_rows,
    ),
    GisLayer(
        "detail_points",
        "Point",
        "Every point of detail, and point features with all that was booked of them",
        (
            NAME_COLUMN,
            KIND_COLUMN,
            Column("feature", "the feature that it belongs to"),
            LABEL_COLUMN,
            NOTE_COLUMN,
            *ACCURACY_COLUMNS,
            LINE_COLUMN,
            CHAINAGE_COLUMN,
            OFFSET_COLUMN,
            METHOD_COLUMN,
            *SIZE_COLUMNS,
            *LAST_COLUMNS,
        ),
        layer_rows.detail_points_rows,
        own=True,
    ),
    GisLayer(
        "detail_lines",
        "LineString",
        "Line features; curves are stroked",
        (
            NAME_COLUMN,
            KIND_COLUMN,
            LABEL_COLUMN,
            NOTE_COLUMN,
            *SIZE_COLUMNS,
            Column("length", "on the ground, metres", "number"),
            Column("length_sd", "standard deviation of the length, metres", "number"),
            *LAST_COLUMNS,
        ),
        layer_rows.detail_lines_rows,
        own=True,
    ),
    GisLayer(
        "detail_areas",
        "Polygon",
        "Area features; curves are stroked, areas are those of the curves themselves",
        (
            NAME_COLUMN,
            KIND_COLUMN,
            LABEL_COLUMN,
            NOTE_COLUMN,
            *SIZE_COLUMNS,
            Column("area", "on the ground, square metres", "number"),
            Column("area_sd", "standard deviation of the area, square metres", "number"),
            Column("perimeter", "on the ground, metres", "number"),
            Column("perimeter_sd", "standard deviation of the perimeter, metres", "number"),
            *LAST_COLUMNS,
        ),
        layer_rows.detail_areas_rows,
        own=True,
    ),
    GisLayer(
        "offsets",
        "LineString",
        "Offsets as booked, from the foot on the line to the point",
        (
            NAME_COLUMN,
            Column("form", "perpendicular or oblique", values="form"),
            LINE_COLUMN,
            CHAINAGE_COLUMN,
            OFFSET_COLUMN,
            METHOD_COLUMN,
            NOTE_COLUMN,
            *LAST_COLUMNS,
        ),
        layer_rows.offsets_rows,
    ),
    GisLayer(
        "witnesses",
        "LineString",
        "Distances from lasting objects to pegs; without a line where the object was not surveyed",
        (
            Column("name", "the peg"),
            Column("object", "the lasting object"),
            Column("taped", "horizontal on the ground, as taped and corrected, metres", "number"),
            Column("length", "between the two as delivered, metres", "number"),
            NOTE_COLUMN,
            SOURCE_COLUMN,
            *TRUST_COLUMNS,
        ),
        layer_rows.witnesses_rows,
    ),
    GisLayer(
        "ellipses",
        "Polygon",
        "Ellipses, true to size, that hold each place with 95 % probability",
        (NAME_COLUMN, KIND_COLUMN, *ACCURACY_COLUMNS[2:], *TRUST_COLUMNS),
        layer_rows.ellipses_rows,
    ),
)


def fill_layers(survey: Survey) -> list[FilledLayer]:
    """Return every layer with its rows; empty layers too, so that the files always hold the same."""
    return layers_of(site_of(survey))


def site_of(survey: Survey) -> Site:
    """Return a survey as the rows of every layer draw on it."""
    return Site(survey, own_columns(survey))


def layers_of(site: Site) -> list[FilledLayer]:
    """Return every layer with its rows, as ``fill_layers`` does."""
    own = tuple(site.own.values())
    return [_fill(layer, site, own if layer.own else ()) for layer in GIS_LAYERS]


def _fill(layer: GisLayer, site: Site, own: tuple[Column, ...]) -> FilledLayer:
    shapes, values = layer.rows(site)
    blank: list[Value] = [None] * len(shapes)
    columns = tuple(
        column
        for column in layer.columns
        if not (layer.own and column in SPARE_COLUMNS) or values.get(column.name, blank) != blank
    )
    columns += tuple(column for column in own if values.get(column.name, blank) != blank)
    return FilledLayer(
        layer.name, layer.about, columns, shapes, {column.name: values.get(column.name, blank) for column in columns}
    )


def values_of(survey: Survey) -> Mapping[str, Mapping[str, str]]:
    """Return the lists of values, with the kinds that the book adds."""
    added = {kind.name: f"{kind.geometry} feature, of this book" for kind in survey.book.kinds.values()}
    return {**LISTS_OF_VALUES, "kind": {**LISTS_OF_VALUES["kind"], **added}}


def own_columns(survey: Survey) -> dict[str, Column]:
    """Return a column for each key that the book's features have under ``data``, with the type of its values."""
    column_names = {column.name for layer in GIS_LAYERS for column in layer.columns}
    values: dict[str, list[str]] = {}
    for shape in survey.detail.shapes.values():
        for key, value in shape.booked.data.items():
            values.setdefault(key, []).append(value)
    keys: dict[str, Column] = {}
    for key, texts in values.items():
        keys[key] = Column(safe_name(key, column_names), f"'{key}' in the field book", type_of(texts))
        column_names.add(keys[key].name)
    return keys
