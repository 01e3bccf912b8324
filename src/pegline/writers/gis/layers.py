"""The layers of a survey before any GIS format: their columns, what each column means, and the rows that fill them.

One row of ``LAYERS`` a layer. What writes a GIS file reads this and knows nothing of surveying.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from pegline.diagnosis.model import Survey
from pegline.records import record
from pegline.writers.gis import rows
from pegline.writers.gis.columns import (
    ACCURACY,
    AT,
    END,
    IMAGE,
    KIND,
    LABEL,
    LINE,
    METHOD,
    NAME,
    NOTE,
    OFF,
    PAGE,
    SIZES,
    SOURCE,
    TAPED,
    TRUST,
    VALUES,
    Column,
    safe_name,
    type_of,
)
from pegline.writers.gis.geometries import Form, Shapes
from pegline.writers.gis.rows import Rows, Site, Value

__all__ = ["LAYERS", "FilledLayer", "GisLayer", "Value", "fill_layers", "own_columns", "values_of"]


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
SPARE: Final = (NOTE, LABEL, LINE, AT, OFF, METHOD, *SIZES, PAGE, IMAGE)

#: Every layer, in the order of the files.
LAYERS: Final = (
    GisLayer(
        "stations",
        "Point",
        "Stations of the framework and on its lines",
        (NAME, KIND, Column("mark", "what marks it"), NOTE, *ACCURACY, LINE, AT, *END),
        rows.stations_rows,
    ),
    GisLayer(
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
        rows.chain_lines_rows,
    ),
    GisLayer(
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
        rows.detail_points_rows,
        own=True,
    ),
    GisLayer(
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
        rows.detail_lines_rows,
        own=True,
    ),
    GisLayer(
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
        rows.detail_areas_rows,
        own=True,
    ),
    GisLayer(
        "offsets",
        "LineString",
        "Offsets as booked, from the foot on the line to the point",
        (NAME, Column("form", "perpendicular or oblique", values="form"), LINE, AT, OFF, METHOD, NOTE, *END),
        rows.offsets_rows,
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
            NOTE,
            SOURCE,
            *TRUST,
        ),
        rows.witnesses_rows,
    ),
    GisLayer(
        "ellipses",
        "Polygon",
        "Ellipses, true to size, that hold each place with 95 % probability",
        (NAME, KIND, *ACCURACY[2:], *TRUST),
        rows.ellipses_rows,
    ),
)


def fill_layers(survey: Survey) -> list[FilledLayer]:
    """Return every layer with its rows; empty layers too, so that the files always hold the same."""
    own = own_columns(survey)
    site = Site(survey, own)
    return [_fill(layer, site, tuple(own.values()) if layer.own else ()) for layer in LAYERS]


def _fill(layer: GisLayer, site: Site, own: tuple[Column, ...]) -> FilledLayer:
    shapes, values = layer.rows(site)
    blank: list[Value] = [None] * len(shapes)
    columns = tuple(
        column
        for column in layer.columns
        if not (layer.own and column in SPARE) or any(value is not None for value in values.get(column.name, blank))
    )
    columns += tuple(column for column in own if any(value is not None for value in values.get(column.name, blank)))
    return FilledLayer(
        layer.name, layer.about, columns, shapes, {column.name: values.get(column.name, blank) for column in columns}
    )


def values_of(survey: Survey) -> Mapping[str, Mapping[str, str]]:
    """Return the lists of values, with the kinds that the book adds."""
    added = {kind.name: f"{kind.geometry} feature, of this book" for kind in survey.book.kinds.values()}
    return {**VALUES, "kind": {**VALUES["kind"], **added}}


def own_columns(survey: Survey) -> dict[str, Column]:
    """Return a column for each key that the book's features have under ``data``, with the type of its values."""
    column_names = {column.name for layer in LAYERS for column in layer.columns}
    values: dict[str, list[str]] = {}
    for shape in survey.detail.shapes.values():
        for key, value in shape.booked.data.items():
            values.setdefault(key, []).append(value)
    keys: dict[str, Column] = {}
    for key, texts in values.items():
        keys[key] = Column(safe_name(key, column_names), f"'{key}' in the field book", type_of(texts))
        column_names.add(keys[key].name)
    return keys
