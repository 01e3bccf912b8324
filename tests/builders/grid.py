"""Where an invented plot lies on the earth: its control and its compass, worked out with pyproj alone."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from functools import cached_property
from math import atan2, cos, degrees, radians, sin
from typing import Literal

import ppigrf
import pyproj

from builders.book import fill
from builders.party import Party
from builders.plot import XY

__all__ = ["Grid"]


@dataclass(frozen=True)
class Grid:
    """The grid that the plot's 0, 0 lies on at a place, with its +y ``turn_deg`` clockwise from grid north."""

    crs: str
    easting: float
    northing: float
    turn_deg: float
    height: float  #: of the ground above the ellipsoid, metres
    date: datetime.date
    geographic: str = "EPSG:4326"  #: of latitudes and longitudes
    control_sd: float = 0.0  #: of eastings and northings, metres
    geographic_sd: float = 0.0  #: of latitudes and longitudes, metres

    @cached_property
    def lonlat(self) -> tuple[float, float]:
        """Return longitude and latitude of the plot's 0, 0 on its own datum."""
        longitude, latitude = pyproj.Proj(self.crs)(self.easting, self.northing, inverse=True, errcheck=True)
        return longitude, latitude

    @cached_property
    def scale(self) -> float:
        """Return metres of the grid for a metre on the ground: k R / (R + h)."""
        crs = pyproj.CRS(self.crs)
        ellipsoid = crs.ellipsoid
        assert ellipsoid is not None
        a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
        square = 1 - b * b / (a * a)
        # The Gaussian mean radius is the geometric mean of those along the meridian and across it.
        mean_radius = b / (1 - square * sin(radians(self.lonlat[1])) ** 2)
        k = pyproj.Proj(self.crs).get_factors(*self.lonlat).meridional_scale
        return float(k * mean_radius / (mean_radius + self.height))

    @cached_property
    def compass_deg(self) -> float:
        """Return the magnetic bearing of the plot's +y, degrees."""
        convergence = pyproj.Proj(self.crs).get_factors(*self.lonlat).meridian_convergence
        return self.turn_deg + convergence - self.declination

    @cached_property
    def declination(self) -> float:
        """Return the declination by the IGRF, degrees, east positive."""
        longitude, latitude = self.lonlat
        moment = datetime.datetime.combine(self.date, datetime.time())
        east, north, _ = ppigrf.igrf(longitude, latitude, self.height / 1000, moment)
        return degrees(atan2(float(east.squeeze()), float(north.squeeze())))

    def place(self, at: XY) -> XY:
        """Return easting and northing of a point of the plot, metres."""
        x, y = at[0] * self.scale, at[1] * self.scale
        turn = radians(self.turn_deg)
        return self.easting + x * cos(turn) + y * sin(turn), self.northing - x * sin(turn) + y * cos(turn)

    def fill(self, text: str, party: Party, *, north: Literal["magnetic", "grid"] = "magnetic") -> str:
        """Fill a template that also has ``<easting A>``, ``<northing A>``, ``<latitude A>`` and ``<longitude A>``."""
        geographic = pyproj.Transformer.from_crs(self.crs, self.geographic, always_xy=True)

        def read(found: re.Match[str]) -> str:
            axis, name = found[1], found[2]
            sd = self.control_sd if axis in ("easting", "northing") else self.geographic_sd
            sd *= party.errors.bearing
            x, y = self.place(party.plot.positions[name])
            x, y = x + party.draw(f"easting {name}", sd), y + party.draw(f"northing {name}", sd)
            longitude, latitude = geographic.transform(x, y)
            return {
                "easting": f"{x:.3f}",
                "northing": f"{y:.3f}",
                "latitude": f"{latitude:.7f}",
                "longitude": f"{longitude:.7f}",
            }[axis]

        text = re.sub(r"<(easting|northing|latitude|longitude) (\w+)>", read, text)
        return fill(text, party, turn_deg=self.compass_deg if north == "magnetic" else self.turn_deg)
