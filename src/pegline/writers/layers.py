"""The layers as GeoDataFrames, for people who go on in pandas, and into a PostGIS database from there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pegline.writers.columns import Type
from pegline.writers.figures import Geometry, Records
from pegline.writers.gis import Filled, filled

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["layers"]


def layers(records: Records) -> dict[str, GeoDataFrame]:
    """Return every layer as a GeoDataFrame in the frame's CRS, by the name it has in the GeoPackage."""
    from geopandas import GeoDataFrame, GeoSeries

    return {
        each.name: GeoDataFrame(_series(each), geometry=GeoSeries(_shapes(each.geometries), crs=records.frame.wkt))
        for each in filled(records)
    }


def _series(layer: Filled) -> dict[str, Any]:
    import pandas

    # Before pandas 3 text is a column of objects.
    text = "str" if int(pandas.__version__.split(".")[0]) >= 3 else "object"
    dtypes: Mapping[Type, str] = {"text": text, "number": "float64", "yes or no": "boolean"}
    return {
        column.name: pandas.Series([row[column.name] for row in layer.rows], dtype=dtypes[column.type])
        for column in layer.columns
    }


def _shapes(geometries: Sequence[Geometry | None]) -> list[Any]:
    from shapely.geometry import shape

    return [shape(each) if each else None for each in geometries]
