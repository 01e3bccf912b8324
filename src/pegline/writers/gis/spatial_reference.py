"""Coordinate reference systems as a GeoPackage names them: a number, and the definition in WKT of both ages."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

__all__ = ["ALWAYS", "Reference", "reference"]

#: Numbers from here on are free for systems that no register numbers (common practice).
FREE: Final = 100_000


class Reference(NamedTuple):
    """A row of ``gpkg_spatial_ref_sys``, in the order of its columns."""

    name: str
    number: int
    organisation: str
    code: int  #: number there
    definition: str  #: WKT of 2001
    description: str | None
    definition_12_063: str  #: WKT2 of 2015


#: What every GeoPackage lists (OGC 12-128r17, requirement 11).
ALWAYS: Final = (
    Reference(
        "Undefined Cartesian SRS",
        -1,
        "NONE",
        -1,
        "undefined",
        "undefined Cartesian coordinate reference system",
        "undefined",
    ),
    Reference(
        "Undefined geographic SRS",
        0,
        "NONE",
        0,
        "undefined",
        "undefined geographic coordinate reference system",
        "undefined",
    ),
    Reference(
        "WGS 84 geodetic",
        4326,
        "EPSG",
        4326,
        'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
        'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
        'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],'
        'AUTHORITY["EPSG","4326"]]',
        "longitude/latitude coordinates in decimal degrees on the WGS 84 spheroid",
        'GEODCRS["WGS 84",DATUM["World Geodetic System 1984",ELLIPSOID["WGS 84",6378137,298.257223563,'
        'LENGTHUNIT["metre",1]]],PRIMEM["Greenwich",0,ANGLEUNIT["degree",0.0174532925199433]],CS[ellipsoidal,2],'
        'AXIS["latitude",north,ORDER[1]],AXIS["longitude",east,ORDER[2]],ANGLEUNIT["degree",0.0174532925199433],'
        'ID["EPSG",4326]]',
    ),
)

#: The head of an engineering CRS as ``frame.engineering`` writes it, in metres with axes east and north.
_ENGINEERING: Final = re.compile(
    r'ENGCRS\["(?P<name>(?:[^"]|"")*)",EDATUM\["(?P<datum>(?:[^"]|"")*)"\],CS\[Cartesian,2\]'
)
#: The same in WKT of 2001; 32767 is a local datum of no known kind there (OGC 01-009, 12.3.3).
_LOCAL: Final = (
    'LOCAL_CS["{name}",LOCAL_DATUM["{datum}",32767],UNIT["metre",1,AUTHORITY["EPSG","9001"]],'
    'AXIS["Easting",EAST],AXIS["Northing",NORTH]]'
)


def reference(wkt: str) -> Reference:
    """Return the row of the CRS that files are written in.

    Parameters
    ----------
    wkt
        WKT2: a survey's own engineering CRS, or a grid.

    Examples
    --------
    >>> reference('ENGCRS["Local",EDATUM["peg A"],CS[Cartesian,2],AXIS["(E)",east],AXIS["(N)",north]]')[:4]
    ('Local', 100000, 'NONE', 100000)
    """
    if local := _ENGINEERING.match(wkt):
        name = local["name"].replace('""', '"')
        return Reference(name, FREE, "NONE", FREE, _LOCAL.format_map(local.groupdict()), None, wkt)
    return _of_grid(wkt)


def _of_grid(wkt: str) -> Reference:
    from pyproj import CRS

    from pegline.frame.crs import wkt_in_dialect

    crs = CRS(wkt)
    named = crs.to_json_dict().get("id", {})
    code = named.get("code")
    who, number = (named["authority"], code) if isinstance(code, int) else ("NONE", FREE)
    old = wkt_in_dialect(crs, "WKT1_GDAL") or "undefined"
    return Reference(crs.name, number, who, number, old, None, crs.to_wkt("WKT2_2015"))
