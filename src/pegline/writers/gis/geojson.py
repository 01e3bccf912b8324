"""STEM.geojson: every layer in one file by RFC 7946, for a look on a web map; only of a survey on a grid."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pegline.diagnosis.model import Survey
from pegline.errors import UnsuitableError
from pegline.network.model import Array
from pegline.writers.gis.layer_table import Filled, filled

if TYPE_CHECKING:
    from pegline.frame.datum_shift import Way

__all__ = ["write"]

#: Degrees kept: nine decimals are a tenth of a millimetre.
DECIMALS: Final = 9
#: A change of datum may be out by so many metres; WGS 84 itself is known no better than 2 m.
LIMIT: Final = 5.0


def write(survey: Survey, path: Path) -> None:
    """Write the layers of a survey, in longitude and latitude of WGS 84, to ``path``.

    Raises
    ------
    UnsuitableError
        The survey is not on a grid, or its datum's way to WGS 84 is not known well enough.
    """
    way = _way(survey)
    features = [feature for layer in filled(survey) for feature in _features(layer, way)]
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False, allow_nan=False) for feature in features)
    said = f"To WGS 84: {way.description}, good to {way.accuracy:g} m. Lengths and areas are of the ground."
    top = f'"type": "FeatureCollection",\n"description": {json.dumps(said, ensure_ascii=False)}'
    path.write_text(f'{{{top},\n"features": [\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def _way(survey: Survey) -> Way:
    from pyproj import CRS

    from pegline.frame.datum_shift import way_between

    frame = survey.frame
    if frame.kind != "grid":
        raise UnsuitableError(
            "GeoJSON is for surveys on a grid, and this one has no control;"
            " book two stations under 'control', or take gpkg"
        )
    sample = (frame.origin[0] / frame.metres_per_unit, frame.origin[1] / frame.metres_per_unit)
    way = way_between(CRS(frame.wkt), CRS("EPSG:4326"), sample)
    if way is None or way.accuracy > LIMIT:
        good = "is not known" if way is None else f"is known to {way.accuracy:g} m only"
        raise UnsuitableError(
            f"GeoJSON is in WGS 84, and the way there from {frame.crs_name} {good};"
            " take gpkg, which keeps the grid's own coordinates"
        )
    return way


def _features(layer: Filled, way: Way) -> list[dict[str, Any]]:
    name = layer.name
    return [
        {
            "type": "Feature",
            "id": f"{name}.{number}",
            "geometry": geometry,
            "properties": {"layer": name, **{key: value for key, value in row.items() if value is not None}},
        }
        for number, (geometry, row) in enumerate(
            zip(layer.shapes.geojson(_turned(layer.shapes.corners, way)), layer.rows(), strict=True), 1
        )
    ]


def _turned(corners: Array, way: Way) -> list[list[float]]:
    """Return corners (k, 2) in longitude and latitude."""
    lons, lats = way.transformer.transform(*corners.T, errcheck=True)
    return [[round(lon, DECIMALS), round(lat, DECIMALS)] for lon, lat in zip(lons.tolist(), lats.tolist(), strict=True)]
