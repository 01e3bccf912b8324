"""Stations whose place on the earth is known."""

from __future__ import annotations

from dataclasses import dataclass

from pegline.errors import Place


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A station known on a grid (easting, northing) or by latitude and longitude."""

    station: str
    accuracy: float  #: standard deviation of each axis: metres where latitude/longitude, else the CRS's unit
    place: Place
    easting: float | None = None  #: in the unit of its CRS
    northing: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    crs: str | None = None  #: None: the control's own


@dataclass(frozen=True, slots=True)
class Control:
    """The grid and the stations known on it."""

    crs: str
    points: tuple[ControlPoint, ...]
    place: Place
    crs_place: Place
    ground_height: float | None = None  #: metres above the ellipsoid
    allow_shift: float | None = None  #: metres of uncertainty that a change of datum may bring
