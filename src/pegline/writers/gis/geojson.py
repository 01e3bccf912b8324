"""STEM.geojson: every layer in one file by RFC 7946, for a look on a web map; only of a survey on a grid."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pegline.diagnosis.model import Survey
from pegline.writers.gis.layers import FilledLayer
from pegline.writers.gis.package import package
from pegline.writers.gis.reprojection import (
    DEGREE_DECIMALS,
    MAX_SHIFT,
    OtherCRS,
    datum_accuracy_words,
    reproject,
    way_to_wgs84,
)

__all__ = ["write"]


def write(survey: Survey, path: Path) -> None:
    """Write the layers of a survey, in longitude and latitude of WGS 84, to ``path``.

    Raises
    ------
    UnsuitableError
        The survey is not on a grid, or its datum's way to WGS 84 is not known well enough.
    """
    way = way_to_wgs84(survey, "GeoJSON")
    # Accuracies turn with the axes and grow by the change of datum, as in a package that is written in degrees.
    on_earth = reproject(package(survey), OtherCRS("EPSG:4326", MAX_SHIFT))
    features = [feature for layer in on_earth.layers for feature in _features(layer)]
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False, allow_nan=False) for feature in features)
    description = f"{datum_accuracy_words(way)} Lengths and areas are of the ground."
    top = f'"type": "FeatureCollection",\n"description": {json.dumps(description, ensure_ascii=False)}'
    path.write_text(f'{{{top},\n"features": [\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def _features(layer: FilledLayer) -> list[dict[str, Any]]:
    name = layer.name
    corners = layer.shapes.corners.round(DEGREE_DECIMALS).tolist()
    return [
        {
            "type": "Feature",
            "id": f"{name}.{number}",
            "geometry": geometry,
            "properties": {"layer": name, **{key: value for key, value in row.items() if value is not None}},
        }
        for number, (geometry, row) in enumerate(zip(layer.shapes.geojson(corners), layer.rows(), strict=True), 1)
    ]
