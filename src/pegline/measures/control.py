"""Stations whose place on the earth is known."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pegline.errors import Place
from pegline.measures.angles import LATITUDE, LONGITUDE
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.reading_log import ReadingLog, Wrong
from pegline.measures.scalars import NUMBER, TEXT, number_within, to
from pegline.measures.source_tree import Table
from pegline.records import record

__all__ = ["CONTROL", "Control", "ControlPoint"]


@record(frozen=True, slots=True)
class ControlPoint:
    """A station known on a grid or by latitude and longitude.

    On a grid whose axes run west and south it is booked by westing and southing; easting and northing are then
    these with the opposite sign.
    """

    station: str
    accuracy: Annotated[
        float,
        Key(
            number_within("an accuracy", above=0),
            "Standard deviation of each axis: metres for latitude and longitude, else the unit of the CRS.",
            after="crs",
        ),
    ]
    place: Place
    easting: Annotated[float | None, Key(NUMBER, "Easting, in the unit of its CRS.", measured=True)] = None
    northing: Annotated[float | None, Key(NUMBER, "Northing, in the unit of its CRS.", measured=True)] = None
    westing: Annotated[
        float | None, Key(NUMBER, "Westing, of a grid whose axes run west and south, in its unit.", measured=True)
    ] = None
    southing: Annotated[float | None, Key(NUMBER, "Southing, likewise.", measured=True)] = None
    latitude_deg: Annotated[
        float | None,
        Key(LATITUDE, "Latitude, degrees, north positive, or as printed.", name="latitude", measured=True),
    ] = None
    longitude_deg: Annotated[
        float | None,
        Key(LONGITUDE, "Longitude, degrees, east positive, or as printed.", name="longitude", measured=True),
    ] = None
    crs: Annotated[str | None, Key(TEXT, "Its own CRS, where it is not the control's.")] = None  #: None: the control's


def _point(values: dict[str, Any], table: Table, log: ReadingLog) -> ControlPoint:
    grid, turned, earth = {"easting", "northing"}, {"westing", "southing"}, {"latitude_deg", "longitude_deg"}
    given_keys = values.keys() & (grid | turned | earth)
    if given_keys not in (grid, turned, earth):
        raise Wrong(
            "a control point is known by easting and northing, by westing and southing, or by latitude and longitude;"
            " write one such pair",
            table.place,
            "control",
        )
    if given_keys == earth:
        values.setdefault("crs", "EPSG:4326")
    if given_keys == turned:
        values |= {"easting": 0.0 - values["westing"], "northing": 0.0 - values["southing"]}
    return ControlPoint(**values)


_POINTS: Final = mapping(
    to("station"),
    Record(ControlPoint, "a control point", _point, name="control_point"),
    "control points",
    name=lambda station: {"station": station},
)


@record(frozen=True, slots=True)
class Control:
    """The grid and the stations known on it."""

    crs: Annotated[str, Key(TEXT, "The grid: a code such as EPSG:32630, or anything pyproj reads.")]
    points: Annotated[tuple[ControlPoint, ...], Key(_POINTS, "The stations known, by name.", measured=True)]
    place: Place
    crs_place: Place
    ground_height: Annotated[
        float | None, Key(number_within("a height", least=-500, most=9000), "Metres above the ellipsoid.")
    ] = None
    allow_shift: Annotated[
        float | None,
        Key(number_within("a shift", above=0), "Permits a change of datum no less accurate than so many metres."),
    ] = None
    epoch: Annotated[
        float | None,
        Key(
            number_within("an epoch", least=1900, most=2100),
            "The moment that coordinates of a dynamic CRS hold for, as a year with decimals.",
        ),
    ] = None


def _control(values: dict[str, Any], table: Table, log: ReadingLog) -> Control:
    values["points"] = tuple(values["points"].values())
    return Control(**values, crs_place=table.entries["crs"][1].place)


CONTROL: Final = Record(Control, "control", _control, name="control")
