"""What surveys disagree about as layers to look at on the map: lines between pegs, areas that overlap, gaps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final, NamedTuple

import numpy as np

from pegline.commands.join.disagreements import Disagreement
from pegline.commands.join.pairs import Pair
from pegline.writers.gis.columns import Column
from pegline.writers.gis.geometries import Form, of_parts
from pegline.writers.gis.layers import FilledLayer, Value

__all__ = ["report_layers"]

_SURVEYS: Final = (
    Column("survey", "the one survey"),
    Column("second", "the other survey"),
    Column("name", "of the one"),
    Column("other_name", "of the other"),
)


def _names(pair: Pair) -> list[Value]:
    return [pair.survey, pair.second, pair.ours, pair.theirs]


class _Report(NamedTuple):
    """One layer of the report."""

    name: str
    form: Form
    about: str
    rules: tuple[str, ...]  #: what it shows
    columns: tuple[Column, ...]
    values: Callable[[Pair], list[Value]]


_REPORTS: Final = (
    _Report(
        "peg_differences",
        "LineString",
        "From where one survey has a peg to where another has it, as far apart as their accuracy does not explain",
        ("same-name", "shift"),
        (
            *_SURVEYS,
            Column("distance", "between the two, metres", "number"),
            Column("east", "the other less the one, metres", "number"),
            Column("north", "the other less the one, metres", "number"),
            Column("allowed", "the largest distance that measuring explains, metres", "number"),
        ),
        lambda pair: [*_names(pair), pair.size, *pair.off, pair.allowed],
    ),
    _Report(
        "overlaps",
        "Polygon",
        "Areas of one layer that two surveys have both",
        ("overlap",),
        (*_SURVEYS, Column("area", "in the CRS, square metres", "number")),
        lambda pair: [*_names(pair), pair.size],
    ),
    _Report(
        "gaps",
        "Polygon",
        "Strips that the boundaries of two neighbours leave between them",
        ("gap",),
        (*_SURVEYS, Column("area", "in the CRS, square metres", "number")),
        lambda pair: [*_names(pair), pair.size],
    ),
)


def report_layers(disagreements: Sequence[Disagreement]) -> Iterator[FilledLayer]:
    """Yield the layers that have something to show."""
    for report in _REPORTS:
        pairs = [pair for each in disagreements if each.rule in report.rules for pair in each.pairs]
        rows = [(report.values(pair), part) for pair in pairs for part in _parts(pair.shape, report.form)]
        if rows:
            yield FilledLayer(
                report.name,
                report.about,
                report.columns,
                of_parts(report.form, [corners for _, corners in rows]),
                {column.name: [row[n] for row, _ in rows] for n, column in enumerate(report.columns)},
            )


def _parts(shape: Any, form: Form) -> Iterator[Any]:
    """Yield the corners of each part of a shape that is of a form; of areas the outer ring."""
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == form:
            yield np.array((part.exterior if form == "Polygon" else part).coords, float)[:, :2]
