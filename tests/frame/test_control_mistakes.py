"""Control that was booked wrong: found before anything is solved, and the mistake named."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from pyproj import Geod, Proj

from pegline.errors import BookError, Place
from pegline.frame.choice import choose_frame
from pegline.frame.control import KnownPoint, bring_point
from pegline.frame.control_mistakes import (
    _digits,
    _distance,
    _Fits,
    _most_accused,
    _other_unit,
    _place_if_meant,
    _shared_finding,
    _where,
    farthest_distances,
    mistakes,
    other_digits,
)
from pegline.frame.crs import grid_of
from pegline.measures.control import Control, ControlPoint
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

#: Five stations about a place on UTM zone 30N: longitude and latitude, degrees.
PLACE = (-2.82, 51.57)
NAMES = "ABCDE"
BEARING = "north: {from: true, bearings: {A-B: 163}}\n"
LonLat = tuple[float, float]
XY = tuple[float, float]


def lonlat(place: LonLat = PLACE) -> dict[str, LonLat]:
    geod = Geod(ellps="WGS84")
    reached = ((0, 60.0), (150, 70.0), (75, 65.0), (230, 55.0), (300, 66.0))
    return {n: geod.fwd(*place, azimuth, far)[:2] for n, (azimuth, far) in zip(NAMES, reached, strict=True)}


def on_grid(name: str, crs: str = "EPSG:32630", place: LonLat = PLACE) -> XY:
    x, y = Proj(crs)(*lonlat(place)[name])
    return x, y


def grid_point(name: str, change: Callable[[float, float], XY] = lambda e, n: (e, n), **where: str) -> str:
    east, north = change(*on_grid(name, **where))  # type: ignore[arg-type]
    return f"{name}: {{easting: {east:.3f}, northing: {north:.3f}, accuracy: 0.05}}"


def degree_point(name: str, change: Callable[[float, float], XY] = lambda lat, lon: (lat, lon)) -> str:
    lon, lat = lonlat()[name]
    lat, lon = change(lat, lon)
    return f"{name}: {{latitude: {lat:.8f}, longitude: {lon:.8f}, accuracy: 0.05}}"


def refusals(*points: str, before: str = "", crs: str = "EPSG:32630", stretch: float = 1.0) -> list[str]:
    """Return the findings that a book with such control is refused with; none where it is taken."""
    places = {name: np.array(Proj("EPSG:32630")(*at)) for name, at in lonlat().items()}

    def length(p: str, q: str) -> float:
        return stretch * float(np.hypot(*(places[p] - places[q])))

    lines = [
        f"  {p}-{q}: {{use: {'base' if p + q == 'AB' else 'side'}, taped: {length(p, q):.2f}}}"
        for p in NAMES
        for q in NAMES
        if p < q
    ]
    text = "\n".join(
        ["book: 1", "unit: m", "tapes: {steel: {material: steel, length: 50}}", "lines:", *lines, before.strip()]
    )
    control = f"\ncontrol: {{crs: {crs}, ground_height: 80, points: {{{', '.join(points)}}}}}"
    book = parse_book((text + control).encode(), "plot.yaml")
    try:
        choose_frame(book, reduce_readings(book))
    except BookError as error:
        return [finding.text for finding in error.findings]
    return []


GOOD = (grid_point("A"), grid_point("B"))

#: What is booked, the station that must be named, and the words that must name the mistake.
SCENARIOS = {
    "exchanged, of two": ((GOOD[0], grid_point("C", lambda e, n: (n, e))), "C", "easting and northing are exchanged"),
    "exchanged, of three": ((*GOOD, grid_point("C", lambda e, n: (n, e))), "C", "easting and northing are exchanged"),
    "the first of three exchanged": (
        (grid_point("A", lambda e, n: (n, e)), grid_point("B"), grid_point("C")),
        "A",
        "easting and northing are exchanged",
    ),
    "from the next zone": ((*GOOD, grid_point("C", crs="EPSG:32631")), "C", "UTM zone 31N"),
    "from the zone before": ((*GOOD, grid_point("C", crs="EPSG:32629")), "C", "UTM zone 29N"),
    "from the other half of the earth": ((*GOOD, grid_point("C", crs="EPSG:32730")), "C", "UTM zone 30S"),
    "latitude for longitude": (
        (*GOOD, degree_point("C", lambda lat, lon: (lon, lat))),
        "C",
        "latitude and longitude are exchanged",
    ),
    "east for west": ((*GOOD, degree_point("C", lambda lat, lon: (lat, -lon))), "C", "longitude has the wrong sign"),
    "south for north": ((*GOOD, degree_point("C", lambda lat, lon: (-lat, lon))), "C", "latitude has the wrong sign"),
    "in feet": ((*GOOD, grid_point("C", lambda e, n: (e / 0.3048, n / 0.3048))), "C", "the coordinates are in feet"),
    "a digit of the easting": ((*GOOD, grid_point("C", lambda e, n: (e + 30_000, n))), "C", "digit in the easting"),
    "a digit of the northing": ((*GOOD, grid_point("C", lambda e, n: (e, n - 3_000))), "C", "digit in the northing"),
    "two digits exchanged": (  # 5713… booked as 7513…
        (*GOOD, grid_point("C", lambda e, n: (e, n + 1_800_000))),
        "C",
        "two digits are exchanged in the northing",
    ),
    "a digit lost": (
        (*GOOD, grid_point("C", lambda e, n: (float(f"{e:.3f}"[1:]), n))),
        "C",
        "a digit too few in the easting",
    ),
    "in another zone, northing and easting exchanged": (
        (*GOOD, grid_point("C", lambda e, n: (n, e), crs="EPSG:32631")[:-1] + ", crs: EPSG:32631}"),
        "C",
        "easting and northing are exchanged",
    ),
    "in another zone, a digit lost": (
        (*GOOD, grid_point("C", lambda e, n: (float(f"{e:.3f}"[1:]), n), crs="EPSG:32631")[:-1] + ", crs: EPSG:32631}"),
        "C",
        "a digit too few in the easting",
    ),
    "a degree of longitude": (
        (*GOOD, degree_point("C", lambda lat, lon: (lat, lon - 1))),
        "C",
        "digit in the longitude",
    ),
    "a degree of latitude": ((*GOOD, degree_point("C", lambda lat, lon: (lat + 1, lon))), "C", "digit in the latitude"),
}


@pytest.mark.parametrize(("points", "station", "words"), SCENARIOS.values(), ids=SCENARIOS)
def test_a_wrong_point_is_found_and_its_mistake_named(points: tuple[str, ...], station: str, words: str) -> None:
    findings = refusals(*points)

    assert len(findings) == 1
    assert findings[0].startswith(f"control point {station} ")
    assert words in findings[0]


def test_the_only_control_point_is_judged_by_the_area_of_its_crs() -> None:
    (finding,) = refusals(grid_point("A", lambda e, n: (n, e)), before=BEARING)

    assert finding.startswith("control point A lies ")
    assert "it looks as if easting and northing are exchanged" in finding


def test_the_rough_position_of_the_book_judges_what_the_area_cannot() -> None:
    # On the British grid an exchanged point may still lie in Britain: E 513 000, N 186 000 is no sea.
    near = "near: {latitude: 51.57, longitude: -2.82}\n"
    exchanged = grid_point("A", lambda e, n: (n, e), crs="EPSG:27700")

    assert refusals(exchanged, before=BEARING, crs="EPSG:27700") == []
    (finding,) = refusals(exchanged, before=BEARING + near, crs="EPSG:27700")
    assert "easting and northing are exchanged" in finding


def test_a_point_that_no_mistake_explains_is_named_all_the_same() -> None:
    (finding,) = refusals(*GOOD, grid_point("C", lambda e, n: (e + 61_234, n - 33_876)))

    assert finding.startswith("control point C lies 70 km from")
    assert "look at its coordinates" in finding


def test_degrees_that_no_mistake_explains_are_named_all_the_same() -> None:
    (finding,) = refusals(*GOOD, degree_point("C", lambda lat, lon: (lat - 1.234, lon + 2.345)))

    assert finding.startswith("control point C lies ")
    assert "look at its coordinates" in finding


def test_control_in_millimetres_lies_nowhere() -> None:
    (finding,) = refusals(*GOOD, grid_point("C", lambda e, n: (1000 * e, 1000 * n)))

    assert finding.startswith("control point C lies nowhere on WGS 84 / UTM zone 30N")


def test_points_that_are_wrong_in_ways_of_their_own_are_told_one_by_one() -> None:
    findings = refusals(
        grid_point("A", lambda e, n: (n, e)), degree_point("C", lambda lat, lon: (lon, lat)), before=BEARING
    )

    assert [finding.split()[2] for finding in findings] == ["A", "C"]
    assert "easting and northing are exchanged" in findings[0]
    assert "latitude and longitude are exchanged" in findings[1]


def test_of_two_points_that_cannot_be_where_they_are_booked_the_one_without_a_reason_is_told_too() -> None:
    findings = refusals(
        grid_point("A", lambda e, n: (n, e)), GOOD[1], degree_point("C", lambda lat, lon: (lat - 21.3, lon + 32.4))
    )

    assert [finding.split()[2] for finding in findings] == ["A", "C"]
    assert "easting and northing are exchanged" in findings[0]
    assert "look at its coordinates" in findings[1]


def test_lines_taped_in_feet_are_no_fault_of_control_in_degrees() -> None:
    # As far apart as if in feet for metres, but degrees have no other unit: it is the lines that are looked at then.
    assert refusals(degree_point("A"), degree_point("B"), stretch=1 / 0.3048) == []


def test_of_two_points_that_could_both_be_wrong_both_are_told() -> None:
    findings = refusals(GOOD[0], grid_point("C", lambda e, n: (e, n - 3_000)))

    assert [finding.split()[2] for finding in findings] == ["A", "C"]
    assert all("it may be that" in finding for finding in findings)


def only_finding(findings: list[str]) -> str:
    (finding,) = findings
    assert finding.startswith("control points ")
    return finding


def test_easting_and_northing_exchanged_at_all_points_are_told_once() -> None:
    finding = only_finding(refusals(*(grid_point(name, lambda e, n: (n, e)) for name in "ABC")))

    assert "A, B and C" in finding
    assert "at all of them easting and northing are exchanged" in finding
    east, north = on_grid("A")
    assert finding.endswith(f"A would be easting {east:.2f}, northing {north:.2f}")


def test_exchanged_points_are_told_once_though_one_names_its_crs() -> None:
    points = [grid_point(name, lambda e, n: (n, e)) for name in "AB"]
    finding = only_finding(refusals(points[0], points[1][:-1] + ", crs: EPSG:32630}"))

    assert "at all of them easting and northing are exchanged" in finding


def test_all_points_of_the_zone_beside_are_told_once() -> None:
    # 174 km west of its own zone's middle the figures would still lie in zone 30: only near tells.
    near = "near: {latitude: 51.57, longitude: -2.82}\n"
    finding = only_finding(refusals(*(grid_point(name, crs="EPSG:32631") for name in "AB"), before=near))

    assert "the coordinates are of WGS 84 / UTM zone 31N" in finding


@pytest.mark.parametrize(
    ("factor", "words"), [(0.3048, "the coordinates are in metres"), (1 / 0.3048, "the coordinates are in feet")]
)
def test_metres_for_feet_at_all_points_are_told_by_their_distance(factor: float, words: str) -> None:
    # Somewhere in Texas, whose grid is in US survey feet; beside metres, 2 parts in a million are nothing.
    crs, place = ("EPSG:2277", (-97.7, 30.3)) if words.endswith("metres") else ("EPSG:32614", (-97.7, 30.3))
    points = [grid_point(name, lambda e, n: (e * factor, n * factor), crs=crs, place=place) for name in "AB"]
    finding = only_finding(refusals(*points, crs=crs))

    assert words in finding


def test_exchanged_westings_and_southings_are_told_in_their_own_words() -> None:
    place = (19.6, -33.9)
    at = {name: Proj("ESRI:102562")(*lonlat(place)[name]) for name in "AB"}
    points = [f"{n}: {{westing: {-y:.3f}, southing: {-x:.3f}, accuracy: 0.05}}" for n, (x, y) in at.items()]
    finding = only_finding(refusals(*points, crs="EPSG:2048"))

    assert "westing and southing are exchanged" in finding
    assert finding.endswith(f"A would be westing {-at['A'][0]:.2f}, southing {-at['A'][1]:.2f}")


def test_good_control_of_any_kind_is_taken() -> None:
    assert refusals(*GOOD, degree_point("C"), grid_point("D")) == []


def test_a_slip_within_reach_is_left_to_the_adjustment() -> None:
    assert refusals(*GOOD, grid_point("C", lambda e, n: (e + 10, n))) == []


def test_reach_is_the_shortest_way_along_the_lines() -> None:
    lines = {("A", "B"): 30.0, ("B", "C"): 40.0, ("A", "C"): 90.0, ("A", "D"): 50.0, ("X", "Y"): 5.0}

    assert farthest_distances(lines, "C") == {"C": 0.0, "B": 40.0, "A": 70.0, "D": 120.0}


@pytest.mark.parametrize(
    ("text", "slip", "meant"),
    [
        ("120.5", "two digits are exchanged", {210.5, 102.5}),
        ("-120.5", "two digits are exchanged", {-210.5, -102.5}),
        ("115.5", "two digits are exchanged", {151.5}),
        ("120.5", "a digit too many", {20.5, 10.5, 12.5}),
        ("7.5", "a digit too many", {0.5}),
        ("-7.5", "a wrong digit", {-0.5, -1.5, -2.5, -3.5, -4.5, -5.5, -6.5, -8.5, -9.5}),
        ("7.5", "a digit too few", {*(10.0 * tens + 7.5 for tens in range(10)), *(70.5 + ones for ones in range(10))}),
    ],
)
def test_each_slip_of_a_digit_before_the_point_is_thought_of(text: str, slip: str, meant: set[float]) -> None:
    assert {other for what, other in other_digits(text) if what == slip} == meant


HERE = Place("plot.yaml", 1, 1)


def known_at(station: str, easting: float, northing: float = 5_700_000.0, sd: float = 0.1) -> KnownPoint:
    return KnownPoint(station, easting, northing, sd, HERE)


def test_what_the_lines_allow_is_their_length_with_a_hundredth_and_five_deviations_of_both_points() -> None:
    # 1000 m along the lines: 1010 m, and 5 (0.1 m + 0.3 m) more.
    fits = _Fits(grid_of("EPSG:32630"), {"A": {"A": 0.0, "B": 1000.0}}, None)
    a = known_at("A", 500_000.0)
    for away, together in ((1011.99, True), (1012.01, False), (-1011.99, True), (-1012.01, False)):
        b = known_at("B", 500_000.0 + 0.6 * away, 5_700_000.0 - 0.8 * away, sd=0.3)
        assert fits.together(a, b) is together
        assert fits.together(a, b, beyond=5.0)
    # No line reaches C: nothing is known of how far it may be.
    assert fits.together(a, known_at("C", 900_000.0))


def test_control_more_than_2_km_beyond_its_lines_is_told_before_anything_is_solved() -> None:
    # A and B are 33.54 m apart by their line: 33.87 m and half a metre for five deviations of each, and 2 km.
    taped = np.hypot(*np.subtract(on_grid("B"), on_grid("A")))
    for beyond, told in ((1999.5, 0), (2000.5, 2)):
        away = 1.01 * taped + 5 * 0.1 + beyond
        far = on_grid("A")[0] + away, on_grid("A")[1]
        assert len(refusals(GOOD[0], grid_point("B", lambda _e, _n, far=far: far))) == told


def test_a_point_may_lie_100_km_from_where_the_book_is_roughly() -> None:
    # Along the middle meridian of the zone, where a degree of latitude at 51.5° is 111.25 km.
    place = 500_000.0, 5_705_000.0
    lon, lat = Proj("EPSG:32630")(*place, inverse=True)
    for degrees_, near in ((0.89, True), (-0.89, True), (0.91, False), (-0.91, False)):
        fits = _Fits(grid_of("EPSG:32630"), {}, (lon, lat + degrees_))
        assert fits.on_earth(known_at("A", *place)) is near
    assert _Fits(grid_of("EPSG:32630"), {}, None).on_earth(known_at("A", *place))


def test_a_point_may_lie_50_km_outside_the_area_of_its_crs() -> None:
    # Zone 30 ends at 84° north: half a metre less and more along its middle meridian.
    for beyond, on_earth in ((49_999.5, True), (50_000.5, False)):
        x, y = Proj("EPSG:32630")(*Geod(ellps="WGS84").fwd(-3.0, 84.0, 0.0, beyond)[:2])
        assert _Fits(grid_of("EPSG:32630"), {}, None).on_earth(known_at("A", x, y)) is on_earth


def test_points_are_in_another_unit_where_every_line_says_so_within_a_fiftieth() -> None:
    foot = 0.3048
    for ratio, other in (
        (foot, True),
        (foot * 1.019, True),
        (foot * 0.981, True),
        (foot * 1.021, False),
        (foot * 0.979, False),
        (1 / foot, True),
        (1.021 / foot, False),
        (1.0, False),
    ):
        points = [known_at("A", 0.0), known_at("B", 100.0 * ratio), known_at("C", 0.0, 5_700_000.0 + 300.0 * ratio)]
        assert _other_unit(points, {("A", "B"): 100.0, ("A", "C"): 300.0}) is other
        assert _other_unit(points, {("A", "B"): 100.0, ("A", "C"): 0.0, ("A", "D"): 7.0}) is other
    assert not _other_unit(points, {})
    assert not _other_unit(points, {("A", "B"): 100.0, ("A", "C"): 300.0 / foot})


def test_a_point_is_told_from_the_farthest_of_those_that_its_lines_do_not_reach() -> None:
    a, b, c = known_at("A", 500_000.0), known_at("B", 500_100.0), known_at("C", 500_500.0)
    for line, words in (
        (50.0, "lies 100 m from B, further than the lines reach"),
        (200.0, "lies 500 m from C, and the line between is longer"),
    ):
        fits = _Fits(grid_of("EPSG:32630"), {"A": {"B": line, "C": 1000.0}}, None)
        assert _where([a, b, c], 0, fits) == words
        meant = [ControlPoint(name, 0.1, HERE, easting=1.0 + n, northing=2.0) for n, name in enumerate("ABC")]
        assert _shared_finding([a, b, c], ("something is wrong", meant), fits).text == (
            f"control points A, B and C cannot be right: A {words}. It looks as if at all of them something is wrong;"
            " A would be easting 1.00, northing 2.00"
        )


@pytest.mark.parametrize(("metres", "words"), [(999.4, "999 m"), (1000.0, "1 km"), (1_499_700.0, "1500 km")])
def test_a_distance_is_told_in_kilometres_from_one_on(metres: float, words: str) -> None:
    assert _distance(metres) == words


def test_the_points_in_most_of_the_pairs_that_cannot_be_are_accused() -> None:
    assert _most_accused({(0, 2), (1, 2)}, 3) == {2}
    assert _most_accused({(0, 1)}, 3) == {0, 1}
    assert _most_accused({(0, 1), (0, 2), (1, 3), (2, 3)}, 5) == {0, 1, 2, 3}


def degrees_of(latitude: float, longitude: float) -> ControlPoint:
    return ControlPoint("A", 0.1, HERE, latitude_deg=latitude, longitude_deg=longitude)


def test_the_mistakes_that_are_thought_of_in_the_order_in_which_they_are_believed() -> None:
    grid = grid_of("EPSG:32630")
    on_grid_ = list(mistakes(ControlPoint("A", 0.1, HERE, easting=3048.0, northing=6096.0), grid))
    assert [(each.words, each.point.crs) for each in on_grid_[:3]] == [
        (f"the coordinates are of WGS 84 / UTM zone {zone}", f"WGS 84 / UTM zone {zone}")
        for zone in ("29N", "31N", "30S")
    ]
    assert [(each.words, each.point.easting, each.point.northing) for each in on_grid_[3:6]] == [
        ("easting and northing are exchanged", 6096.0, 3048.0),
        ("the coordinates are in metres", pytest.approx(10_000), pytest.approx(20_000)),
        ("the coordinates are in feet", pytest.approx(3048 * 0.3048), pytest.approx(6096 * 0.3048)),
    ]
    assert all("digit" in each.words for each in on_grid_[6:])
    in_degrees = list(mistakes(degrees_of(51.5, -2.75), grid))
    assert [(each.words, each.point.latitude_deg, each.point.longitude_deg) for each in in_degrees[:3]] == [
        ("latitude and longitude are exchanged", -2.75, 51.5),
        ("the longitude has the wrong sign (west is negative)", 51.5, 2.75),
        ("the latitude has the wrong sign (south is negative)", -51.5, -2.75),
    ]
    # No latitude is more than 90°.
    assert "exchanged" in next(mistakes(degrees_of(51.5, -90.0), grid)).words
    assert "exchanged" not in next(mistakes(degrees_of(51.5, 90.5), grid)).words
    # A point of a zone of its own is not looked for in others.
    own = ControlPoint("A", 0.1, HERE, easting=3048.0, northing=6096.0, crs="EPSG:32629")
    assert next(mistakes(own, grid)).words == "easting and northing are exchanged"


def test_digits_are_thought_of_in_each_coordinate() -> None:
    told = [(each.words, each.point) for each in _digits(ControlPoint("A", 0.1, HERE, easting=12.25, northing=34.5))]
    assert ("two digits are exchanged in the easting", 21.25, 34.5) in [(w, p.easting, p.northing) for w, p in told]
    assert ("two digits are exchanged in the northing", 12.25, 43.5) in [(w, p.easting, p.northing) for w, p in told]
    told = [(each.words, each.point) for each in _digits(degrees_of(51.25, -12.5))]
    placed = [(words, point.latitude_deg, point.longitude_deg) for words, point in told]
    assert ("two digits are exchanged in the latitude", 15.25, -12.5) in placed
    assert ("a wrong digit in the longitude", 51.25, -13.5) in placed


def test_on_a_grid_in_feet_a_point_that_was_meant_in_degrees_is_placed_in_metres() -> None:
    # Somewhere in Los Angeles: the same figures once more are the same place (California zone 5, US survey feet).
    grid = grid_of("EPSG:2229")
    point = ControlPoint("A", 0.1, HERE, latitude_deg=34.05, longitude_deg=-118.25, crs="EPSG:4269")
    control = Control(crs="EPSG:2229", points=(point,), place=HERE, crs_place=HERE)
    known = bring_point(control, point, grid)

    again = _place_if_meant(control, point, known, grid)

    assert again is not None
    assert (again.easting, again.northing) == pytest.approx((known.easting, known.northing), abs=1e-6)
    x, y = Proj("EPSG:2229")(-118.25, 34.05)
    assert (known.easting, known.northing) == pytest.approx((x * 1200 / 3937, y * 1200 / 3937), abs=1e-3)
