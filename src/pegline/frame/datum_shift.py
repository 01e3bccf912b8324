"""Ways from one coordinate reference system to another, and what a change of datum on them is good to."""

from __future__ import annotations

import warnings
from functools import lru_cache
from math import degrees
from typing import Any

from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from pyproj.transformer import AreaOfInterest, TransformerGroup

from pegline.frame.crs import Grid
from pegline.records import record

__all__ = ["DatumWay", "is_dynamic", "same_datum", "to_wgs84", "way_between"]


@record(frozen=True, slots=True)
class DatumWay:
    """A way from one CRS to another."""

    transformer: Any  #: a pyproj Transformer, always x and y or longitude and latitude
    accuracy: float  #: metres that a change of datum may be out by; 0 where there is none
    description: str
    missing: tuple[tuple[str, float], ...] = ()  #: better grids that are not at hand, with their accuracy, metres


def same_datum(one: Any, other: Any) -> bool:
    """Return whether two CRSs stand on the same datum, so that the way between them is pure arithmetic."""
    if one.geodetic_crs.datum.to_wkt() == other.geodetic_crs.datum.to_wkt():
        return True
    return _datums_equal(one.geodetic_crs.to_wkt(), other.geodetic_crs.to_wkt())


def _degrees_from_greenwich(crs: Any, sample: tuple[float, float]) -> tuple[float, float]:
    """Return longitude and latitude of a point, x before y, as areas are listed, whatever its meridian and unit are."""
    own = crs.geodetic_crs
    lon, lat = Transformer.from_crs(crs, own, always_xy=True).transform(*sample)
    unit, meridian = own.axis_info[0].unit_conversion_factor, own.prime_meridian
    return degrees(lon * unit + meridian.longitude * meridian.unit_conversion_factor), degrees(lat * unit)


@lru_cache
def _datums_equal(one: str, other: str) -> bool:
    """Return whether the datums of two geographic CRSs are one under two names; PROJ takes 40 ms to tell."""
    return bool(CRS.from_wkt(one).datum == CRS.from_wkt(other).datum)


def is_dynamic(crs: Any) -> bool:
    """Return whether places on the ground change their coordinates in a CRS with time, because plates move."""
    datum = crs.geodetic_crs.datum
    return "Dynamic" in datum.type_name or datum.name.startswith("World Geodetic System 1984")


def to_wgs84(grid: Grid, sample: tuple[float, float]) -> DatumWay | None:
    """Return the best way from a grid to longitude and latitude of WGS 84, as `way_between`."""
    return way_between(grid.crs, CRS("EPSG:4326"), sample)


def way_between(source: Any, target: Any, sample: tuple[float, float]) -> DatumWay | None:
    """Return the best way between two CRSs that can be gone without a network; None where only a guess is left.

    Parameters
    ----------
    source, target
        The CRSs (pyproj).
    sample
        A point in the source, x before y: of several ways the one for its area is taken.
    """
    if same_datum(source, target):
        return DatumWay(Transformer.from_crs(source, target, always_xy=True), 0.0, "no change of datum")
    lon, lat = _degrees_from_greenwich(source, sample)
    at = AreaOfInterest(lon - 0.01, lat - 0.01, lon + 0.01, lat + 0.01)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that the best grid is not at hand is told below, in our own words
            group = TransformerGroup(source, target, always_xy=True, area_of_interest=at, allow_ballpark=False)
        ways = group.transformers
        # The group does not look for ways through a third datum, this does.
        transformer = (
            ways[0]
            if ways
            else Transformer.from_crs(source, target, always_xy=True, allow_ballpark=False, area_of_interest=at)
        )
        transformer.transform(*sample, errcheck=True)
    except ProjError:
        return None
    operation = transformer.get_last_used_operation()
    if "ballpark" in operation.description.lower() or operation.accuracy < 0:
        return None
    # PROJ counts the order of axes as a step; to a surveyor it is none.
    steps = [step for step in operation.description.split(" + ") if not step.startswith("axis order change")]
    missing = _better_grids(group, operation.accuracy)
    return DatumWay(transformer, float(operation.accuracy), " + ".join(steps), missing)


def _better_grids(group: TransformerGroup, accuracy: float) -> tuple[tuple[str, float], ...]:
    """Return the grids that are not at hand and would be better than an accuracy, each with its own, the best first."""
    missing = {
        (float(way.accuracy), needed.short_name)
        for way in group.unavailable_operations
        for needed in way.grids
        if not needed.available and 0 <= way.accuracy < accuracy
    }
    return tuple((name, better) for better, name in sorted(missing))
