"""Grids whose axes run west and south, and their counterparts with axes east and north."""

from __future__ import annotations

import pytest
from pyproj import CRS, Proj
from pyproj.database import query_crs_info

from pegline.errors import BookError
from pegline.frame.choice import choose_frame
from pegline.frame.west_south import COUNTERPARTS, SOUTH_ORIENTATED, counterpart
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

WEST_SOUTH = [
    info
    for info in query_crs_info(auth_name="EPSG", pj_types="PROJECTED_CRS")
    if {axis.direction for axis in CRS.from_epsg(info.code).axis_info} == {"west", "south"}
]
#: One of them with a south orientated projection and no counterpart in the database.
UNLISTED = next(
    int(info.code)
    for info in WEST_SOUTH
    if f"EPSG:{info.code}" not in COUNTERPARTS
    and CRS.from_epsg(info.code).coordinate_operation.method_code == SOUTH_ORIENTATED
)
BOOK = """
book: 1
unit: m
stations: {{C: {{left_of: A-B}}}}
lines:
  A-B: {{use: base, taped: 60}}
  A-C: {{use: side, taped: 50}}
  C-B: {{use: side, taped: 40}}
control: {{crs: {crs}, ground_height: 85, points: {{{points}}}}}
"""
WESTINGS = (
    "A: {westing: 51234.10, southing: 3757210.30, accuracy: 0.02},"
    " B: {westing: 51184.10, southing: 3757243.47, accuracy: 0.02}"
)
EASTINGS = (
    "A: {easting: -51234.10, northing: -3757210.30, accuracy: 0.02},"
    " B: {easting: -51184.10, northing: -3757243.47, accuracy: 0.02}"
)


def test_the_database_lists_them() -> None:
    assert len(WEST_SOUTH) > 30
    assert COUNTERPARTS.keys() <= {f"EPSG:{info.code}" for info in WEST_SOUTH}


@pytest.mark.parametrize("info", WEST_SOUTH, ids=lambda info: info.code)
def test_a_counterpart_has_the_same_figures_with_the_other_sign(info) -> None:  # type: ignore[no-untyped-def]
    named = CRS.from_epsg(info.code)
    other, area = counterpart(named), named.area_of_use
    if other is None:  # Bonne and Cassini, which bend right angles, or are not computed at all
        assert named.coordinate_operation.method_name in ("Bonne (South Orientated)", "Cassini-Soldner")
        return
    place = area.west + 0.3 * (area.east - area.west), area.south + 0.3 * (area.north - area.south)

    along = [axis.direction for axis in named.axis_info]
    figures = dict(zip(along, Proj(named)(*place), strict=True))
    assert [axis.direction for axis in other.axis_info] == ["east", "north"]
    assert Proj(other)(*place) == pytest.approx((-figures["west"], -figures["south"]), abs=1e-6)
    assert [axis.unit_conversion_factor for axis in other.axis_info] == [
        axis.unit_conversion_factor for axis in named.axis_info
    ]


def test_a_counterpart_that_the_database_does_not_list_is_a_grid_of_its_own_with_false_origins_turned() -> None:
    written = CRS.from_epsg(2048).to_json_dict()
    del written["id"]
    written["conversion"]["id"] = {"authority": "OWN", "code": 1}
    written["name"] = "Lo19 from a false origin"
    for parameter in written["conversion"]["parameters"]:
        if parameter["name"].startswith("False"):
            parameter["value"] = {"False easting": 40_000.0, "False northing": -3_000_000.0}[parameter["name"]]
    named = CRS.from_json_dict(written)
    other = counterpart(named)
    # Westing and southing are the false ones less what lies east of 19° and north of the equator.
    plain = Proj("+proj=tmerc +lon_0=19 +ellps=WGS84")(19.4, -33.9)

    assert Proj(other)(19.4, -33.9) == pytest.approx((plain[0] - 40_000, plain[1] + 3_000_000), abs=1e-6)
    operation = other.coordinate_operation
    assert (operation.method_name, operation.method_code) == ("Transverse Mercator", "9807")
    assert [parameter.value for parameter in operation.params[-2:]] == [-40_000.0, 3_000_000.0]
    # Neither the grid nor its conversion keeps the number under which EPSG has the one with axes west and south.
    assert "id" in named.to_json_dict()["conversion"]
    assert "id" not in other.to_json_dict()["conversion"]
    assert "id" not in counterpart(CRS.from_epsg(UNLISTED)).to_json_dict()


def frame(crs: str, points: str):  # type: ignore[no-untyped-def]
    book = parse_book(BOOK.format(crs=crs, points=points).encode(), "book.yaml")
    return choose_frame(book, reduce_readings(book))


def test_westings_and_southings_give_the_same_frame_as_the_counterpart_s_eastings_and_northings() -> None:
    turned, plain = frame("EPSG:2048", WESTINGS), frame("ESRI:102562", EASTINGS)

    assert (turned.wkt, turned.origin, turned.scale) == (plain.wkt, plain.origin, plain.scale)
    assert [(each.station, each.x, each.y) for each in turned.control] == [
        (each.station, each.x, each.y) for each in plain.control
    ]
    assert any(step.value == "Hartebeesthoek94_Lo19_(E-N) (ESRI:102562)" for step in turned.steps)


@pytest.mark.parametrize(
    ("crs", "points", "words"),
    [
        ("EPSG:2048", EASTINGS, "crs: ESRI:102562 with easting and northing"),
        ("EPSG:5513", EASTINGS, "crs: EPSG:5514 with easting and northing"),
        ("ESRI:102562", WESTINGS, "run east and north; write easting and northing"),
    ],
)
def test_figures_along_the_wrong_axes_are_refused_and_the_right_form_named(crs: str, points: str, words: str) -> None:
    with pytest.raises(BookError) as caught:
        frame(crs, points)

    assert all(words in finding.text for finding in caught.value.findings)
    assert [finding.place.line for finding in caught.value.findings] == [9, 9]  # type: ignore[union-attr]


def test_a_grid_without_a_counterpart_is_refused() -> None:
    with pytest.raises(BookError, match="run south and west"):
        frame("EPSG:8044", WESTINGS)
