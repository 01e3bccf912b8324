"""A package carried to another CRS whole: geometries, the covariance of every place, tables, history."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pegline.network.confidence import confidence_radii, ellipses, variances_of
from pegline.solved import PlaceRadius
from pegline.writers.gis.columns import ACCURACY, SURVEY
from pegline.writers.gis.geometries import Shapes, of_parts
from pegline.writers.gis.layers import FilledLayer, Value
from pegline.writers.gis.metadata import Extent, with_process_step
from pegline.writers.gis.package import BOOK, Package, of_rows
from pegline.writers.gis.rows import ellipse_shapes

__all__ = ["Motion", "metres_per_unit", "move_package"]

Array = NDArray[np.float64]

#: Layers of places, whose rows have an accuracy.
PLACES: Final = ("stations", "detail_points")
#: Figures of an ellipse, by their columns.
FIGURES: Final = tuple(column.name for column in ACCURACY[2:])


@dataclass(frozen=True)
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
    (book,) = (table for table in package.tables if table.name == BOOK.name)
    corners = np.concatenate([layers[name].shapes.corners for name in PLACES])
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
    if layer.name not in PLACES:
        return replace(layer, shapes=shapes)
    corners = layer.shapes.corners
    slopes = motion.slopes(corners)
    variances = slopes @ _variances(layer) @ slopes.transpose(0, 2, 1) + motion.spread(corners)
    accuracy = np.column_stack([np.sqrt(np.diagonal(variances, axis1=1, axis2=2)), ellipses(variances)])
    columns = dict(zip((column.name for column in ACCURACY), accuracy.T.tolist(), strict=True))
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
    return row.get(SURVEY.name), layer, row["name"]


def _redrawn(package: Package, layers: Mapping[str, FilledLayer], motion: Motion, unit: float) -> FilledLayer:
    """Return the layer of ellipses: drawn in the CRS that they come from, and carried."""
    (before,) = (layer for layer in package.layers if layer.name == "ellipses")
    here: dict[tuple[Value, str, Value], Array] = {}
    there: dict[tuple[Value, str, Value], Mapping[str, Value]] = {}
    for layer in (layer for layer in package.layers if layer.name in PLACES):
        for corner, row in zip(layer.shapes.corners, layers[layer.name].rows(), strict=True):
            here.setdefault(_key(row, layer.name), corner)
            there.setdefault(_key(row, layer.name), row)
    layer_of = {"station": "stations", "point": "detail_points"}
    keys = [_key(row, layer_of[str(row["kind"])]) for row in before.rows()]
    corners = np.array([here[key] for key in keys], float).reshape(-1, 2)
    figures = np.array([[there[key][name] for name in FIGURES] for key in keys], float).reshape(-1, 3)
    back = np.linalg.inv(motion.slopes(corners)) if len(corners) else np.zeros((0, 2, 2))
    drawn = ellipses(back @ variances_of(figures) @ back.transpose(0, 2, 1))
    shapes = ellipse_shapes(corners * unit, drawn, unit)
    columns = dict(zip(FIGURES, figures.T.tolist(), strict=True))
    return replace(before, shapes=_moved_shapes(shapes, motion), values={**before.values, **columns})


def _weakest_by_survey(layers: Mapping[str, FilledLayer]) -> dict[Value, PlaceRadius]:
    """Return the place of each survey that is known worst in the other CRS."""
    weakest: dict[Value, PlaceRadius] = {}
    for name in PLACES:
        radii = confidence_radii(_variances(layers[name])).tolist()
        for row, radius in zip(layers[name].rows(), radii, strict=True):
            survey = row.get(SURVEY.name)
            if radius != radius:  # a place that another program added tells no accuracy
                continue
            if survey not in weakest or radius > weakest[survey].radius:
                weakest[survey] = PlaceRadius(str(row["name"]), radius)
    return weakest


def _surveys(book: FilledLayer) -> list[Value]:
    return list(dict.fromkeys(row.get(SURVEY.name) for row in book.rows()))


def _book(book: FilledLayer, weakest: Mapping[Value, PlaceRadius], motion: Motion) -> FilledLayer:
    """Return the table of the survey's facts with those that the way changed, and the way itself."""
    made: list[dict[str, Any]] = []
    for survey in _surveys(book):
        facts = {str(row["key"]): row["value"] for row in book.rows() if row.get(SURVEY.name) == survey}
        steps = sum(key.startswith("history") for key in facts)
        scale = float(str(facts.get("frame scale") or 1.0)) * motion.scale
        facts |= {"frame": "grid", "north": "grid", "crs": motion.crs_name, "frame scale": f"{scale:.10g}"}
        if survey in weakest:
            facts["weakest point, on the grid"] = f"{weakest[survey].name} within {weakest[survey].radius:.3f} m (95 %)"
        facts[f"history {steps + 1}"] = motion.history
        named = {} if survey is None else {SURVEY.name: survey}
        made += [{**named, "key": key, "value": value} for key, value in facts.items()]
    return of_rows(replace(BOOK, columns=book.columns), made)
