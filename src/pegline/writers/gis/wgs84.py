"""From a survey's grid to longitude and latitude of WGS 84, for formats that know nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from pegline.diagnosis.model import Survey
from pegline.errors import UnsuitableError
from pegline.plane import Array

if TYPE_CHECKING:
    from pegline.frame.datum_shift import Way

__all__ = ["DECIMALS", "MAX_SHIFT", "accuracy_words", "to_degrees", "way_to_wgs84"]

#: A change of datum may be out by so many metres for a look on a map.
MAX_SHIFT: Final = 5.0
#: WGS 84 is an ensemble of its realisations, which agree to so many metres (EPSG's register, datum 6326).
ENSEMBLE: Final = 2.0
#: Degrees kept: nine decimals are a tenth of a millimetre.
DECIMALS: Final = 9


def way_to_wgs84(survey: Survey, format_name: str) -> Way:
    """Return the way from a survey's grid.

    Raises
    ------
    UnsuitableError
        The survey is not on a grid, or its datum's way to WGS 84 is not known well enough.
    """
    from pyproj import CRS

    from pegline.frame.datum_shift import way_between

    frame = survey.frame
    if frame.kind != "grid":
        raise UnsuitableError(
            f"{format_name} is for surveys on a grid, and this one has no control;"
            " book two stations under 'control', or take gpkg"
        )
    sample = (frame.origin[0] / frame.metres_per_unit, frame.origin[1] / frame.metres_per_unit)
    way = way_between(CRS(frame.wkt), CRS("EPSG:4326"), sample)
    if way is None or way.accuracy > MAX_SHIFT:
        good = "is not known" if way is None else f"is known to {way.accuracy:g} m only"
        raise UnsuitableError(
            f"{format_name} is in WGS 84, and the way there from {frame.crs_name} {good};"
            " take gpkg, which keeps the grid's own coordinates"
        )
    return way


def accuracy_words(way: Way) -> str:
    """Return in a sentence how well the way to WGS 84 is known, and WGS 84 itself."""
    good = f"good to {way.accuracy:g} m" if way.accuracy else "no loss"
    return f"To WGS 84: {way.description} ({good}); WGS 84 itself is known to about {ENSEMBLE:g} m."


def to_degrees(corners: Array, way: Way) -> Array:
    """Return corners (k, 2) in longitude and latitude, degrees."""
    if not len(corners):
        return np.empty((0, 2))
    return np.stack(way.transformer.transform(*corners.T, errcheck=True), axis=-1).round(DECIMALS)
