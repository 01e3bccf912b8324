"""The CRS of a survey without control, written as what it is: a named engineering CRS, in metres."""

from __future__ import annotations

from typing import Final

__all__ = ["engineering_wkt"]

_AXIS: Final = 'AXIS["({letter})",{way},ORDER[{order}],LENGTHUNIT["metre",1,ID["EPSG",9001]]]'


def engineering_wkt(name: str, origin: str) -> str:
    """Return the WKT2 of an engineering CRS with axes east and north in metres.

    Nothing can transform it to another CRS, which is right: nobody knows where it is.

    Parameters
    ----------
    name
        Name of the CRS, for people.
    origin
        What its coordinates start from, such as a peg.

    References
    ----------
    ISO 19162:2019 (WKT2), engineering coordinate reference systems.

    Examples
    --------
    >>> engineering_wkt("Local", "peg A")[:37]
    'ENGCRS["Local",EDATUM["peg A"],CS[Car'
    """
    axes = ",".join(
        _AXIS.format(letter=letter, way=way, order=order)
        for letter, way, order in (("E", "east", 1), ("N", "north", 2))
    )
    return f'ENGCRS["{_quote(name)}",EDATUM["{_quote(origin)}"],CS[Cartesian,2],{axes}]'


def _quote(text: str) -> str:
    """Return text as it stands between quotes of WKT2: in one line, quotes doubled."""
    return " ".join(text.split()).replace('"', '""')
