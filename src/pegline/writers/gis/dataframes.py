"""The layers as GeoDataFrames, for people who go on in pandas, and into a PostGIS database from there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from pegline.diagnosis.model import Survey
from pegline.writers.gis.columns import Type
from pegline.writers.gis.geometries import Shapes
from pegline.writers.gis.layers import FilledLayer, fill_layers
from pegline.writers.gis.reprojection import package_in

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["frames", "layers"]


def layers(survey: Survey, other: OtherCRS | None = None) -> dict[str, GeoDataFrame]:
    """Return every layer as a GeoDataFrame by the name it has in the GeoPackage, in the frame's CRS or another."""
    if other is None:
        return frames(fill_layers(survey), survey.frame.wkt)
    whole = package_in(survey, other)
    return frames(whole.layers, whole.wkt)


def frames(parts: Iterable[FilledLayer], wkt: str) -> dict[str, GeoDataFrame]:
    """Return layers as GeoDataFrames by their names."""
    from geopandas import GeoDataFrame, GeoSeries

    return {
        each.name: GeoDataFrame(_series(each), geometry=GeoSeries(_geometries(each.shapes), crs=wkt)) for each in parts
    }


def _series(layer: FilledLayer) -> dict[str, Any]:
    import pandas

    # Before pandas 3 text is a column of objects.
    text = "str" if int(pandas.__version__.split(".")[0]) >= 3 else "object"
    dtypes: Mapping[Type, str] = {
        "text": text,
        "number": "float64",
        "whole number": "Int64",
        "date": "object",
        "yes or no": "boolean",
    }
    return {
        column.name: pandas.Series(layer.values[column.name], dtype=dtypes[column.type]) for column in layer.columns
    }


def _geometries(shapes: Shapes) -> Any:
    """Return an array (n,) of shapely's geometries, all made at once; None where a row has none."""
    import numpy as np
    import shapely

    geometries = np.full(len(shapes), None, dtype=object)
    which = np.repeat(np.arange(shapes.present.sum()), shapes.counts[shapes.present])
    if shapes.form == "Point":
        geometries[shapes.present] = shapely.points(shapes.corners)
    elif shapes.form == "LineString":
        geometries[shapes.present] = shapely.linestrings(shapes.corners, indices=which)
    elif shapes.form == "Polygon":
        geometries[shapes.present] = shapely.polygons(shapely.linearrings(shapes.corners, indices=which))
    return geometries
