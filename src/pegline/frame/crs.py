"""Coordinate reference systems: which are taken as a grid, and what they do to lengths and bearings.

A target must be projected, conformal, with axes east and north.
Coordinates are metres here, easting before northing, whatever the unit of the CRS.
"""

from __future__ import annotations

import warnings
from math import atan2, cos, degrees, dist, hypot, isfinite, radians, sin, sqrt, tau
from typing import Any, Final

from pyproj import CRS, Geod, Proj
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import AreaOfInterest

from pegline.errors import BookError, Finding, Place
from pegline.frame.west_south import counterpart
from pegline.records import record

__all__ = [
    "FAR_OUTSIDE",
    "Factors",
    "Grid",
    "distance_outside",
    "elevation_factor",
    "factors_at",
    "gaussian_radius",
    "geographic_crs",
    "grid_bearing",
    "grid_of",
    "ground_distance",
    "line_scale",
    "other_zones",
    "place_of",
    "prj_text",
    "wkt_in_dialect",
]

#: A plot that lies further outside its CRS's area of use is refused, nearer it is told, metres.
FAR_OUTSIDE: Final = 50_000.0
#: Methods that PROJ knows and computes as another, by their EPSG code, and what to take instead.
MISTAKEN: Final = {"9803": "EPSG:31370"}  # Lambert Conic Conformal (2SP Belgium): 745 m out near Liège
#: Semi-major axes of ellipsoids and spheres of the earth lie this near this radius, metres; Venus's is 326 km off.
EARTH_RADIUS: Final = 6_378_000.0
EARTH_RADIUS_RANGE: Final = 20_000.0
#: Steps of 100 m to the north and to the east differ by less on a conformal grid, even at its zone's edge.
CONFORMAL: Final = 1e-4


@record(frozen=True, slots=True)
class Grid:
    """A CRS that a plan can be drawn in."""

    crs: Any  #: the horizontal part, a pyproj CRS
    proj: Any  #: its projection, a pyproj Proj
    name: str  #: for people, with its code where it has one
    metres_per_unit: float  #: of its coordinates
    warnings: tuple[Finding, ...] = ()
    place: Place | None = None  #: where the book names it
    instead_of: str | None = None  #: the CRS that was named, with axes west and south; this is its counterpart

    @property
    def code(self) -> str | None:
        """Return its code, as EPSG:27700; None where it has none."""
        return ":".join(self.crs.to_authority(min_confidence=100) or ()) or None

    @property
    def wkt(self) -> str:
        """Return the CRS as WKT2."""
        return str(self.crs.to_wkt("WKT2_2019"))


@record(frozen=True, slots=True)
class Factors:
    """What the projection does at a place."""

    scale: float  #: grid length over length on the ellipsoid
    convergence: float  #: radians, positive where true north lies west of grid north


def grid_of(text: str, place: Place | None = None, near: tuple[float, float] | None = None) -> Grid:
    """Return the grid that a text names: an EPSG code, WKT or whatever else pyproj reads.

    Parameters
    ----------
    text
        As booked.
    place
        Where it is booked.
    near
        Longitude and latitude of the plot, degrees, where known: to suggest a zone.

    Raises
    ------
    BookError
        It is no CRS, or not one that a plan can be drawn in.
    """
    crs = _parse_crs(text, place)
    complaints = []
    if crs.is_compound or len(crs.axis_info) > 2:
        complaints.append(Finding("vertical-part", f"the vertical part of {crs.name} is not used", place))
        crs = crs.sub_crs_list[0] if crs.is_compound else crs.to_2d()
    if crs.is_bound:
        crs = crs.source_crs
    named, turned = crs, counterpart(crs)
    crs = turned or crs
    fault = _unfit(crs, near)
    if fault:
        raise BookError([Finding("crs", f"{crs.name}: {fault}", place)])
    unit = float(crs.axis_info[0].unit_conversion_factor)
    return Grid(
        crs, _projection(crs, place), _name(crs), unit, tuple(complaints), place, _name(named) if turned else None
    )


def _name(crs: Any) -> str:
    """Return the name of a CRS for people, with its code where it has one."""
    code = crs.to_authority(min_confidence=100)
    return f"{crs.name} ({':'.join(code)})" if code else str(crs.name)


def _projection(crs: Any, place: Place | None) -> Any:
    try:
        return Proj(crs)
    except ProjError as error:  # CRSError is one
        fault = f"{crs.name}: its projection cannot be computed; take another grid of your country or its UTM zone"
        raise BookError([Finding("crs", fault, place)]) from error


def _parse_crs(text: str, place: Place | None) -> Any:
    try:
        return CRS.from_user_input(text)
    except CRSError as error:
        fault = f"{text!r} is no coordinate reference system; write it as EPSG:CODE"
        raise BookError([Finding("crs", fault, place)]) from error


def _unfit(crs: Any, near: tuple[float, float] | None) -> str | None:
    """Return why a plan cannot be drawn in a CRS, and what to do."""
    if crs.is_geographic:
        return f"latitude and longitude are no grid to draw on; take {_zone(crs, near)}"
    if not crs.is_projected:
        return f"it is a {crs.type_name.lower()}, not a projected one; take the grid of your country or its UTM zone"
    if crs.is_deprecated:
        return f"it is withdrawn; take {', '.join(_instead(crs)) or 'the one that replaces it'}"
    if abs(crs.ellipsoid.semi_major_metre - EARTH_RADIUS) > EARTH_RADIUS_RANGE:
        return "it is a grid of another body than the earth; take the grid of your country or its UTM zone"
    instead = MISTAKEN.get(crs.coordinate_operation.method_code)
    if instead:
        return f"its projection, {crs.coordinate_operation.method_name}, cannot be computed rightly; take {instead}"
    if [axis.direction for axis in crs.axis_info] not in (["east", "north"], ["north", "east"]):
        ways = " and ".join(axis.direction for axis in crs.axis_info)
        return f"its axes run {ways}; take the form of it with axes east and north"
    return None


def _instead(crs: Any) -> list[str]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [":".join(instead.to_authority()) for instead in crs.get_non_deprecated() if instead.to_authority()]


def _zone(crs: Any, near: tuple[float, float] | None) -> str:
    if near is None:
        return "the grid of your country or its UTM zone"
    lon, lat = near
    at: Any = AreaOfInterest(lon, lat, lon, lat)
    for datum in (crs.name, "WGS 84"):
        zones = query_utm_crs_info(datum_name=datum, area_of_interest=at)
        usable = [f"{zone.auth_name}:{zone.code} ({zone.name})" for zone in zones if "(N-E)" not in zone.name]
        if usable:
            return usable[0]
    return "a grid of the polar regions whose axes run east and north"


# --- what a projection does at a place ---


def place_of(grid: Grid, easting: float, northing: float) -> tuple[float, float] | None:
    """Return longitude from Greenwich and latitude of a place, degrees, on the grid's datum; None where it has none."""
    try:
        lon, lat = grid.proj(
            easting / grid.metres_per_unit, northing / grid.metres_per_unit, inverse=True, errcheck=True
        )
    except ProjError:
        return None
    return float(lon), float(lat)


def factors_at(grid: Grid, place: tuple[float, float]) -> Factors:
    """Return scale and convergence at a place (longitude and latitude, degrees).

    Raises
    ------
    BookError
        The projection is not conformal there: a plan drawn in it would be out of shape.
    """
    meridian = grid.crs.prime_meridian
    # PROJ counts the longitude of these factors from the CRS's own meridian.
    own = degrees(meridian.longitude * meridian.unit_conversion_factor)
    factors = grid.proj.get_factors(place[0] - own, place[1])
    scale = sqrt(factors.meridional_scale * factors.parallel_scale)
    if not (isfinite(scale) and _conformal(grid, place)):
        text = f"{grid.name} is not conformal: it bends right angles; take the grid of your country or its UTM zone"
        raise BookError([Finding("crs", text, grid.place)])
    return Factors(scale, radians(factors.meridian_convergence))


def grid_bearing(grid: Grid, place: tuple[float, float], azimuth: float, length: float) -> float:
    """Return the bearing from grid north of a line that leaves a place at an azimuth from true north, radians.

    A geodesic of the line's length is drawn on the ellipsoid and both its ends brought to the
    grid, so that the bend of the geodesic there, 0.9 mm in 500 m at the edge of a UTM zone, is in it.
    """
    ellipsoid = grid.crs.ellipsoid
    geod = Geod(a=ellipsoid.semi_major_metre, b=ellipsoid.semi_minor_metre)
    end = geod.fwd(*place, degrees(azimuth), length)[:2]
    across = complex(*grid.proj(*end)) - complex(*grid.proj(*place))
    return atan2(across.real, across.imag) % tau


def line_scale(grid: Grid, start: tuple[float, float], end: tuple[float, float], *, height: float) -> float | None:
    """Return length on the grid over length on the ground of one line, ends as easting and northing, metres.

    None where an end has no place on the ellipsoid. Through geocentric coordinates: unlike k R / (R + h) it
    knows how k changes along the line and that the ellipsoid is not equally round in all directions. In 500 m
    at 4500 m that makes 1 mm.
    """
    here, there = place_of(grid, *start), place_of(grid, *end)
    if here is None or there is None:
        return None
    return dist(start, end) / dist(_in_space(grid, here, height), _in_space(grid, there, height))


def _in_space(grid: Grid, place: tuple[float, float], height: float) -> tuple[float, float, float]:
    """Return geocentric coordinates of a place at a height above the grid's ellipsoid, metres."""
    a, b = grid.crs.ellipsoid.semi_major_metre, grid.crs.ellipsoid.semi_minor_metre
    lon, lat = radians(place[0]), radians(place[1])
    across = a * a / hypot(a * cos(lat), b * sin(lat))
    radius = (across + height) * cos(lat)
    return radius * cos(lon), radius * sin(lon), (across * (b / a) ** 2 + height) * sin(lat)


def _conformal(grid: Grid, place: tuple[float, float]) -> bool:
    """Return whether 100 m to the north and 100 m to the east come out equally long and square.

    Measured, not asked of PROJ: of the web's Mercator it says so of a sphere.
    """
    ellipsoid = grid.crs.ellipsoid
    geod = Geod(a=ellipsoid.semi_major_metre, b=ellipsoid.semi_minor_metre)
    origin = complex(*grid.proj(*place))
    north, east = (complex(*grid.proj(*geod.fwd(*place, azimuth, 100.0)[:2])) - origin for azimuth in (0, 90))
    # Where the projection keeps angles, north turned a quarter to the right is east.
    return abs(north * -1j - east) < CONFORMAL * abs(east)


def gaussian_radius(grid: Grid, latitude_deg: float) -> float:
    """Return the Gaussian mean radius of the grid's ellipsoid at a latitude, metres.

        R = √(M N) = a √(1 - e²) / (1 - e² sin² φ)

    References
    ----------
    Common geodesy.

    Examples
    --------
    >>> round(gaussian_radius(grid_of("EPSG:32630"), 45.0))
    6378101
    """
    ellipsoid = grid.crs.ellipsoid
    a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
    e2 = 1 - (b / a) ** 2
    return float(a * sqrt(1 - e2) / (1 - e2 * sin(radians(latitude_deg)) ** 2))


def elevation_factor(height: float, radius: float) -> float:
    """Return length on the ellipsoid over length on the ground: R / (R + h).

    >>> round(elevation_factor(1000.0, 6_371_000.0), 6)
    0.999843
    """
    return radius / (radius + height)


def distance_outside(grid: Grid, place: tuple[float, float]) -> float:
    """Return how far a place lies outside the CRS's area of use, metres; 0 within it or where it states none."""
    area = grid.crs.area_of_use
    if area is None:
        return 0.0
    lon, lat = place
    # West of an area that crosses the 180° meridian is a larger number than east.
    width = (area.east - area.west) % 360 or 360.0
    into = (lon - area.west) % 360
    nearest_lon = lon if into <= width else area.east if into - width < 360 - into else area.west
    nearest_lat = min(max(lat, area.south), area.north)
    if nearest_lon == lon and nearest_lat == lat:
        return 0.0
    return ground_distance(place, (nearest_lon, nearest_lat))


def ground_distance(place: tuple[float, float], other: tuple[float, float]) -> float:
    """Return how far two places (longitude and latitude, degrees) are apart, metres; good to judge by.

    >>> round(ground_distance((0.0, 0.0), (0.0, 1.0)))
    110574
    """
    return float(Geod(ellps="WGS84").inv(*place, *other)[2])


def other_zones(grid: Grid) -> list[str]:
    """Return the names of the zones beside a UTM zone, and of the same one on the other half of the earth.

    >>> other_zones(grid_of("EPSG:32630"))[:2]
    ['WGS 84 / UTM zone 29N', 'WGS 84 / UTM zone 31N']
    """
    zone = grid.crs.utm_zone
    if zone is None:
        return []
    number, half = int(zone[:-1]), zone[-1]
    beside = [f"{(number + step - 1) % 60 + 1}{half}" for step in (-1, 1)]
    return [grid.crs.name.replace(zone, other) for other in (*beside, f"{number}{'S' if half == 'N' else 'N'}")]


def geographic_crs(text: str, place: Place | None = None) -> Any:
    """Return the CRS of a latitude and longitude.

    Raises
    ------
    BookError
        It is no CRS, or not a geographic one.
    """
    crs = _parse_crs(text, place)
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if not crs.is_geographic:
        text = f"latitude and longitude are not given in {crs.name}; name a geographic CRS, such as EPSG:4326"
        raise BookError([Finding("crs", text, place)])
    return crs.to_2d()


# --- a CRS in words of its own ---


def prj_text(wkt: str) -> str | None:
    """Return a CRS as the text of a .prj file, the dialect of WKT 1 that programs look for beside a drawing.

    None where that dialect has no words for its projection.
    """
    return wkt_in_dialect(CRS.from_wkt(wkt), "WKT1_ESRI")


def wkt_in_dialect(crs: Any, dialect: str) -> str | None:
    """Return a CRS in a dialect of WKT; None where the dialect has no words for it."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return crs.to_wkt(dialect) or None
    except CRSError:
        return None
