"""Grids whose axes run west and south, and the grids with axes east and north that they are solved and written in."""

from __future__ import annotations

from typing import Any, Final

__all__ = ["counterpart"]

#: Grids with axes west and south, and their counterparts in PROJ's database: easting = -westing, northing = -southing.
COUNTERPARTS: Final = {
    "EPSG:2046": "ESRI:103888",  # Hartebeesthoek94, Lo15 to Lo33
    "EPSG:2047": "ESRI:103889",
    "EPSG:2048": "ESRI:102562",
    "EPSG:2049": "ESRI:102563",
    "EPSG:2050": "ESRI:102564",
    "EPSG:2051": "ESRI:102565",
    "EPSG:2052": "ESRI:102566",
    "EPSG:2053": "ESRI:102567",
    "EPSG:2054": "ESRI:102568",
    "EPSG:2055": "ESRI:103890",
    "EPSG:2065": "EPSG:5221",  # Krovak and its modified form
    "EPSG:5224": "EPSG:5225",
    "EPSG:5513": "EPSG:5514",
    "EPSG:5515": "EPSG:5516",
    "EPSG:8352": "EPSG:8353",
}
#: EPSG's codes of the Transverse Mercator and of its south orientated form.
TRANSVERSE_MERCATOR: Final = 9807
SOUTH_ORIENTATED: Final = "9808"


def counterpart(crs: Any) -> Any | None:
    """Return the grid with axes east and north that has a grid's coordinates with the opposite sign.

    None for a grid whose axes do not run west and south, and for one of which no counterpart is known.

    Parameters
    ----------
    crs
        A projected CRS (pyproj).
    """
    if {axis.direction for axis in crs.axis_info} != {"west", "south"}:
        return None
    listed = COUNTERPARTS.get(":".join(crs.to_authority(min_confidence=100) or ()))
    if listed:
        return type(crs).from_user_input(listed)
    if crs.coordinate_operation.method_code != SOUTH_ORIENTATED:
        return None
    definition = crs.to_json_dict()
    definition["name"] = f"{crs.name}, east and north"
    definition["conversion"]["name"] = f"{definition['conversion']['name']}, east and north"
    definition["conversion"]["method"] = {
        "name": "Transverse Mercator",
        "id": {"authority": "EPSG", "code": TRANSVERSE_MERCATOR},
    }
    for parameter in definition["conversion"]["parameters"]:
        if parameter["name"].startswith("False"):
            parameter["value"] = 0.0 - parameter["value"]
    units = {axis["direction"]: axis["unit"] for axis in definition["coordinate_system"]["axis"]}
    definition["coordinate_system"]["axis"] = [
        {"name": "Easting", "abbreviation": "E", "direction": "east", "unit": units["west"]},
        {"name": "Northing", "abbreviation": "N", "direction": "north", "unit": units["south"]},
    ]
    for named in (definition, definition["conversion"]):
        named.pop("id", None)
    return type(crs).from_json_dict(definition)
