"""Which CRSs are taken, what they do to lengths and bearings, and ways between them."""

from __future__ import annotations

from math import atan2, degrees, radians
from typing import Any

import numpy as np
import pytest
import yaml
from builders.paths import PUBLISHED
from pyproj import CRS, Geod, Transformer

from pegline.errors import BookError, Place
from pegline.frame.control import (
    KnownPoint,
    bring_to_grid,
    common_shift_sd,
    shift_findings,
    shift_steps,
    with_shift_accuracy,
)
from pegline.frame.crs import (
    distance_outside,
    elevation_factor,
    factors_at,
    gaussian_radius,
    geographic_crs,
    grid_bearing,
    grid_of,
    ground_distance,
    line_scale,
    other_zones,
    place_of,
)
from pegline.frame.datum_shift import DatumWay, to_wgs84, way_between
from pegline.frame.north import convergence_words
from pegline.measures.angles import degrees as read_degrees
from pegline.measures.control import Control, ControlPoint

HERE = Place("book.yaml", 1, 1)
#: Grids of many kinds, on both hemispheres and both sides of their meridians, with a place on each.
GRIDS = {
    "EPSG:27700": (-1.5, 53.0),
    "EPSG:32633": (12.2, 51.5),
    "EPSG:32733": (17.4, -35.0),
    "EPSG:2193": (178.0, -38.5),
    "EPSG:5514": (17.1, 49.2),
    "EPSG:2056": (8.5, 47.4),
    "EPSG:29903": (-6.3, 53.3),
    "EPSG:2154": (-1.6, 47.2),
    "EPSG:27572": (5.0, 47.0),
    "EPSG:2229": (-118.2, 34.0),
    "EPSG:28992": (6.5, 52.5),
    "EPSG:32701": (-179.5, -18.0),
}


def cases(family: str) -> list[Any]:
    files = sorted((PUBLISHED / family).glob("*.yaml"))
    return [pytest.param(yaml.safe_load(file.read_text("utf-8")), id=file.stem) for file in files]


def angle(text: str) -> float:
    return -read_degrees(text[1:]) if text.startswith("-") else read_degrees(text)


def control(crs: str, *points: ControlPoint, allow_shift: float | None = None) -> Control:
    return Control(crs=crs, points=points, place=HERE, crs_place=HERE, allow_shift=allow_shift)


# --- published ---


@pytest.mark.parametrize("case", cases("grid"))
def test_latitude_and_longitude_come_onto_the_grid_as_printed(case: dict[str, Any]) -> None:
    given, expected, tolerance = case["given"], case["expected"], case["tolerance"]
    grid = grid_of(given["crs"])
    latitude, longitude = angle(given["latitude"]), angle(given["longitude"])
    point = ControlPoint("A", 0.01, HERE, latitude_deg=latitude, longitude_deg=longitude, crs=given["geographic"])

    (known,) = bring_to_grid(control(given["crs"], point), [point], grid)

    coordinates = np.array([known.easting, known.northing]) / grid.metres_per_unit
    assert coordinates == pytest.approx(
        np.array([expected["easting"], expected["northing"]]), abs=tolerance["coordinates"]
    )
    factors = factors_at(grid, (longitude, latitude))
    if "convergence" in expected:
        assert degrees(factors.convergence) == pytest.approx(
            angle(expected["convergence"]), abs=tolerance["convergence"]
        )
    if "scale" in expected:
        assert factors.scale == pytest.approx(expected["scale"], abs=tolerance["scale"])


@pytest.mark.parametrize("case", cases("grid_bearings"))
def test_a_true_bearing_comes_onto_the_grid_as_printed(case: dict[str, Any]) -> None:
    given = case["given"]
    place = angle(given["longitude"]), angle(given["latitude"])

    found = grid_bearing(grid_of(given["crs"]), place, radians(angle(given["azimuth"])), given["length"])

    assert degrees(found) == pytest.approx(angle(case["expected"]["bearing"]), abs=case["tolerance"])


@pytest.mark.parametrize("case", cases("heights"))
def test_a_length_comes_down_to_the_ellipsoid_as_printed(case: dict[str, Any]) -> None:
    given = case["given"]

    found = given["length"] * elevation_factor(given["height"], given["radius"])

    assert found == pytest.approx(case["expected"], abs=case["tolerance"])


# --- what a projection does, against geodesics ---


@pytest.mark.parametrize("crs", GRIDS)
def test_the_convergence_has_the_sign_and_size_that_a_step_north_shows(crs: str) -> None:
    place = GRIDS[crs]
    here, there = (np.array(grid_of(crs).proj(place[0], place[1] + step)) for step in (0.0, 1e-5))
    grid_bearing_of_true_north = atan2(*(there - here))

    convergence = factors_at(grid_of(crs), place).convergence

    assert degrees(convergence) == pytest.approx(-degrees(grid_bearing_of_true_north), abs=1e-5)
    assert ("west" in convergence_words(convergence)) == (grid_bearing_of_true_north < 0)


@pytest.mark.parametrize("crs", GRIDS)
def test_a_geodesic_times_the_scale_is_the_length_on_the_grid(crs: str) -> None:
    grid = grid_of(crs)
    base = grid.crs.geodetic_crs
    geod = Geod(a=base.ellipsoid.semi_major_metre, b=base.ellipsoid.semi_minor_metre)
    lon, lat = GRIDS[crs]
    ends = [geod.fwd(lon, lat, azimuth, 100.0) for azimuth in (37.0, 217.0)]
    unit = grid.metres_per_unit
    eastings, northings = np.array([grid.proj(end[0], end[1]) for end in ends]).T * unit

    assert np.hypot(np.ptp(eastings), np.ptp(northings)) / 200 == pytest.approx(
        factors_at(grid, (lon, lat)).scale, abs=2e-8
    )


def test_the_place_of_a_grid_point_is_its_longitude_and_latitude() -> None:
    for crs, (lon, lat) in GRIDS.items():
        grid = grid_of(crs)
        x, y = grid.proj(lon, lat)

        assert place_of(grid, x * grid.metres_per_unit, y * grid.metres_per_unit) == pytest.approx((lon, lat), abs=1e-9)


def test_the_mean_radius_is_that_of_the_ellipsoid() -> None:
    # WGS 84: M N at the pole is (a²/b)², at the equator b² (a/a)²; so R is a²/b and b.
    grid = grid_of("EPSG:32630")

    assert gaussian_radius(grid, 90) == pytest.approx(6378137.0**2 / 6356752.314245)
    assert gaussian_radius(grid, 0) == pytest.approx(6356752.314245)


# --- which are taken ---


@pytest.mark.parametrize(
    ("crs", "word"),
    [
        ("rubbish", "no coordinate reference system"),
        ("EPSG:4326", "EPSG:32630 (WGS 84 / UTM zone 30N)"),
        ("EPSG:4258", "ETRS89 / UTM zone 30N"),
        ("EPSG:2985", "north and north"),
        ("EPSG:3052", "west and north"),
        ("EPSG:5703", "vertical"),
        ("EPSG:4978", "geocentric"),
        ("EPSG:2037", "EPSG:2960"),
        # By the Guidance Note 50°40'46.461" N, 5°48'26.533" E is E 251763.20, N 153034.13 there; PROJ is 745 m out.
        ("EPSG:31300", "EPSG:31370"),
        ("EPSG:32600", "its UTM zone"),  # the zone in front of the easting
        ("EPSG:22700", "cannot be computed"),  # Lambert Conic Near-Conformal
        ("EPSG:4302", "EPSG:32630 (WGS 84 / UTM zone 30N)"),  # Trinidad 1903 has no zone in England: one of WGS 84
    ],
)
def test_what_is_no_grid_is_refused_with_what_to_take_instead(crs: str, word: str) -> None:
    with pytest.raises(BookError) as caught:
        grid_of(crs, HERE, near=(-1.2, 52.0))

    assert word in str(caught.value)
    assert str(caught.value).startswith("book.yaml:1:1: ")


@pytest.mark.parametrize(
    ("near", "advice"),
    [(None, "the grid of your country or its UTM zone"), ((10.0, 86.0), "a grid of the polar regions")],
)
def test_where_no_zone_is_known_to_hold_the_plot_the_advice_names_none(
    near: tuple[float, float] | None, advice: str
) -> None:
    with pytest.raises(BookError, match=f"no grid to draw on; take {advice}"):
        grid_of("EPSG:4326", HERE, near)


@pytest.mark.parametrize("crs", ["EPSG:3857", "EPSG:3035", "ESRI:54009"])
def test_a_projection_that_bends_right_angles_is_refused(crs: str) -> None:
    with pytest.raises(BookError, match="not conformal"):
        factors_at(grid_of(crs), (7.0, 50.0))


def test_a_vertical_part_is_left_out_with_a_word() -> None:
    grid = grid_of("EPSG:7405")

    assert grid.name == "OSGB36 / British National Grid (EPSG:27700)"
    assert [warning.rule for warning in grid.warnings] == ["vertical-part"]


def test_a_third_axis_is_left_out_with_a_word() -> None:
    grid = grid_of(CRS("EPSG:32630").to_3d().to_wkt())

    assert len(grid.crs.axis_info) == 2
    assert [warning.rule for warning in grid.warnings] == ["vertical-part"]
    assert grid_of("EPSG:32630").warnings == ()


def test_a_shift_bound_to_a_grid_is_left_out() -> None:
    grid = grid_of("+proj=utm +zone=30 +ellps=intl +towgs84=-87,-98,-121 +type=crs")

    assert not grid.crs.is_bound
    assert place_of(grid, 500_000, 5_000_000)[0] == pytest.approx(-3)  # type: ignore[index]  # zone 30's middle meridian


def test_a_place_that_a_projection_cannot_reach_has_no_scale() -> None:
    with pytest.raises(BookError, match="take the grid of your country"):
        factors_at(grid_of("EPSG:2154"), (3.0, -90.0))  # a cone about the north pole never comes to the south pole


def test_a_line_to_nowhere_has_no_scale() -> None:
    grid = grid_of("EPSG:32630")

    assert line_scale(grid, (5e5, 5e6), (5e5, 5.0001e6), height=0) == pytest.approx(0.9996, abs=1e-6)
    assert line_scale(grid, (5e5, 5e6), (1e9, 1e9), height=0) is None


@pytest.mark.parametrize("crs", ["EPSG:27700", "EPSG:2229", "EPSG:32733"])
def test_the_scale_of_a_line_is_its_length_on_the_grid_over_that_in_space(crs: str) -> None:
    grid, (lon, lat), height = grid_of(crs), GRIDS[crs], 4500.0
    ends = [(lon, lat), (lon + 0.004, lat + 0.003)]
    on_grid = [tuple(grid.metres_per_unit * v for v in grid.proj(*end)) for end in ends]
    ellipsoid = grid.crs.ellipsoid
    shape = f"+a={ellipsoid.semi_major_metre!r} +b={ellipsoid.semi_minor_metre!r}"
    steps = f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart {shape}"
    to_space = Transformer.from_pipeline(steps)
    one, other = (np.array(to_space.transform(*end, height)) for end in ends)

    expected = np.hypot(*np.subtract(*on_grid)) / np.linalg.norm(one - other)
    assert line_scale(grid, on_grid[0], on_grid[1], height=height) == pytest.approx(expected, abs=1e-11)


def test_a_ground_distance_is_that_of_the_geodesic() -> None:
    # A minute of the equator is a nautical mile of the equator's own: a π / 10800.
    assert ground_distance((10.0, 0.0), (10.0 + 1 / 60, 0.0)) == pytest.approx(6378137 * np.pi / 10800, abs=1e-3)


@pytest.mark.parametrize(
    ("crs", "zones"),
    [
        ("EPSG:32630", ["29N", "31N", "30S"]),
        ("EPSG:32601", ["60N", "2N", "1S"]),
        ("EPSG:32760", ["59S", "1S", "60N"]),
        ("EPSG:27700", []),
    ],
)
def test_the_zones_beside_one_go_round_the_earth(crs: str, zones: list[str]) -> None:
    assert other_zones(grid_of(crs)) == [f"WGS 84 / UTM zone {zone}" for zone in zones]


@pytest.mark.parametrize("radius", [6_358_000.5, 6_370_997.0, 6_378_388.0, 6_397_999.5])
def test_a_sphere_of_the_earth_s_size_may_be_drawn_on(radius: float) -> None:
    assert grid_of(f"+proj=tmerc +lon_0=9 +R={radius} +type=crs").metres_per_unit == 1


@pytest.mark.parametrize("radius", [6_051_800.0, 6_357_999.5, 6_398_000.5])
def test_a_grid_of_another_body_is_refused(radius: float) -> None:
    with pytest.raises(BookError, match="another body than the earth"):
        grid_of(f"+proj=tmerc +lon_0=9 +R={radius} +type=crs")


def test_a_grid_in_us_feet_says_how_long_its_foot_is() -> None:
    assert grid_of("EPSG:2229").metres_per_unit == pytest.approx(1200 / 3937)


@pytest.mark.parametrize(
    ("crs", "place", "kilometres"),
    [
        ("EPSG:32630", (-3.0, 50.0), 0),
        ("EPSG:32630", (1.0, 50.0), 72),
        ("EPSG:2193", (178.0, -40.0), 0),
        ("EPSG:3832", (-179.0, 10.0), 0),  # its area crosses the 180° meridian
        ("EPSG:3460", (-177.65, -17.0), 53.24),  # so does Fiji's: half a degree east of it, N cos φ of WGS 84
        ("EPSG:3460", (176.31, -17.0), 53.24),
        ("EPSG:32630", (-3.0, 85.0), 111.7),  # a degree beyond 84° N, where a meridian's is 111.7 km long
        ("EPSG:32730", (-3.0, -81.0), 111.7),
        ("EPSG:32630", (-7.0, 84.5), 56.9),  # half a degree north and, at 84.5°, a degree of 10.7 km west
    ],
)
def test_how_far_a_place_lies_outside_the_area_of_use(crs: str, place: tuple[float, float], kilometres: float) -> None:
    assert distance_outside(grid_of(crs), place) / 1000 == pytest.approx(kilometres, abs=0.5)


# --- ways between them ---


def test_within_one_datum_the_way_is_exact() -> None:
    way = way_between(CRS("EPSG:4258"), CRS("EPSG:25830"), (-1.2, 52.0))

    assert way is not None
    assert way.accuracy == 0


@pytest.mark.parametrize(
    ("source", "target", "sample", "metres"),
    [
        ("EPSG:4326", "EPSG:27700", (-1.2, 52.0), 2.0),
        ("EPSG:27700", "EPSG:25830", (400000, 300000), 3.0),
        ("EPSG:4326", "EPSG:25830", (-1.2, 52.0), 1.0),
    ],
)
def test_a_change_of_datum_has_the_accuracy_of_the_grids_at_hand(
    source: str, target: str, sample: tuple[float, float], metres: float
) -> None:
    way = way_between(CRS(source), CRS(target), sample)

    assert way is not None
    assert way.accuracy == metres


@pytest.mark.parametrize(("source", "target"), [("EPSG:27700", "EPSG:26917"), ("EPSG:9300", "EPSG:32630")])
def test_a_way_that_is_a_mere_guess_is_none(source: str, target: str) -> None:
    assert way_between(CRS(source), CRS(target), (400000, 300000)) is None


@pytest.mark.parametrize(("beyond", "metres"), [(-0.005, 2.0), (0.02, None)])
def test_a_way_is_taken_in_its_area_and_a_kilometre_beyond(beyond: float, metres: float | None) -> None:
    # EPSG:1314, OSGB36 to WGS 84 (6), good to 2 m: from 8.82° W to 1.92° E and from 49.79° N to 60.94° N.
    edges = [(-8.82 - beyond, 54.0), (1.92 + beyond, 54.0), (-2.0, 49.79 - beyond), (-2.0, 60.94 + beyond)]

    ways = [way_between(CRS("EPSG:4277"), CRS("EPSG:4326"), place) for place in edges]

    assert [way and way.accuracy for way in ways] == [metres] * 4


def test_a_way_whose_accuracy_nobody_states_is_none() -> None:
    # IGN's register carries RAIATEA-TAHAA (1953) to WGS 84 and says nothing of how well.
    assert way_between(CRS("IGNF:RAIA53UTM5S"), CRS("EPSG:4326"), (650_000, 8_150_000)) is None


def test_the_way_to_wgs_84_is_as_good_as_its_register_says() -> None:
    way = to_wgs84(grid_of("EPSG:25830"), (500_000, 5_700_000))

    assert way is not None
    assert way.accuracy == 1.0  # EPSG:1149, ETRS89 to WGS 84: 1 m
    assert way.transformer.transform(500_000, 5_700_000)[0] == pytest.approx(-3)


def test_of_a_crs_with_heights_only_latitude_and_longitude_count() -> None:
    assert geographic_crs("EPSG:9518").to_authority() == ("EPSG", "4326")  # WGS 84 + EGM2008 height


def test_latitude_and_longitude_need_a_geographic_crs() -> None:
    with pytest.raises(BookError, match="EPSG:4326"):
        geographic_crs("EPSG:27700", HERE)


def test_control_of_another_datum_is_refused_unless_the_book_allows_the_shift() -> None:
    point = ControlPoint("A", 0.5, HERE, latitude_deg=52.0, longitude_deg=-1.2)
    grid = grid_of("EPSG:27700")

    with pytest.raises(BookError, match="allow_shift: 2"):
        bring_to_grid(control("EPSG:27700", point), [point], grid)
    with pytest.raises(BookError, match="OSTN15"):
        bring_to_grid(control("EPSG:27700", point, allow_shift=1.0), [point], grid)
    (known,) = bring_to_grid(control("EPSG:27700", point, allow_shift=2.0), [point], grid)
    # The Ordnance Survey's transformer puts this place near E 454800, N 233800 (from memory, coarse).
    assert (known.easting, known.northing) == pytest.approx((454_900, 233_800), abs=500)


def refusal(crs: str, point: ControlPoint) -> str:
    with pytest.raises(BookError) as caught:
        bring_to_grid(control(crs, point), [point], grid_of(crs))
    (finding,) = caught.value.findings
    assert finding.place == HERE
    return finding.text


def test_a_shift_for_which_no_better_grid_is_missing_names_none() -> None:
    told = refusal("EPSG:25830", ControlPoint("A", 0.5, HERE, latitude_deg=52.0, longitude_deg=-1.2))

    assert "the datum changes, good to 1 m; book it in the grid's own datum, or say allow_shift: 1" in told


def test_control_without_a_way_to_the_grid_is_refused() -> None:
    point = ControlPoint("A", 0.5, HERE, easting=400_000.0, northing=300_000.0, crs="EPSG:27700")

    told = refusal("EPSG:26917", point)
    assert told.startswith("control point A: there is no way from OSGB36 / British National Grid to NAD83 / UTM zone")


def test_control_that_comes_to_no_place_on_the_grid_is_refused() -> None:
    # A cone about the north pole never comes to the south pole.
    pole = ControlPoint("A", 0.5, HERE, latitude_deg=-90.0, longitude_deg=3.0, crs="EPSG:4171")

    assert refusal("EPSG:2154", pole).startswith("control point A lies nowhere on RGF93 v1 / Lambert-93")


def test_control_without_coordinates_is_refused() -> None:
    halves: list[dict[str, Any]] = [
        {"easting": 4e5},
        {"northing": 4e5},
        {"latitude_deg": 52.0},
        {"longitude_deg": -1.2},
    ]
    for half in halves:
        assert "needs easting and northing" in refusal("EPSG:32630", ControlPoint("A", 0.5, HERE, **half))


def test_control_on_another_grid_in_feet_keeps_its_accuracy_in_metres() -> None:
    # California zone 5 in US survey feet and in metres (EPSG:2229, EPSG:26945) are one projection.
    grid = grid_of("EPSG:26945")
    feet = ControlPoint("A", 1.0, HERE, easting=6_500_000.0, northing=1_850_000.0, crs="EPSG:2229")

    (known,) = bring_to_grid(control("EPSG:26945", feet), [feet], grid)

    assert (known.easting, known.northing, known.sd) == pytest.approx(
        (6_500_000 * 1200 / 3937, 1_850_000 * 1200 / 3937, 1200 / 3937), abs=2e-3
    )


def test_points_in_grads_from_another_meridian_are_understood() -> None:
    # NTF (Paris), EPSG:4807, counts grads from Paris, 2.33722917° east of Greenwich; EPSG:4275 degrees from Greenwich.
    grid = grid_of("EPSG:27572")
    paris = ControlPoint("A", 1.0, HERE, latitude_deg=47.0, longitude_deg=1.0, crs="EPSG:4807")
    greenwich = ControlPoint("B", 1.0, HERE, latitude_deg=47.0, longitude_deg=1.0 + 2.33722917, crs="EPSG:4275")

    first, second = bring_to_grid(control("EPSG:27572", paris, greenwich), [paris, greenwich], grid)

    assert (first.easting, first.northing) == pytest.approx((second.easting, second.northing), abs=0.01)


def test_of_control_that_came_one_way_the_shift_is_common_and_of_other_control_it_is_in_the_weights() -> None:
    way = DatumWay(None, 4.0, "a shift", (("better.tif", 0.1), ("good.tif", 1.0)))
    exact = DatumWay(None, 0.0, "no change of datum")
    one, two = (KnownPoint(name, 0.0, 0.0, 3.0, HERE, way) for name in "AB")
    own, counted = KnownPoint("C", 0.0, 0.0, 3.0, HERE), KnownPoint("D", 0.0, 0.0, 3.0, HERE, exact)

    assert common_shift_sd([one, two]) == 4.0
    assert [each.sd for each in with_shift_accuracy([one, two])] == [3.0, 3.0]
    assert common_shift_sd([one, two, own]) == 0.0
    assert [each.sd for each in with_shift_accuracy([one, two, own, counted])] == [5.0, 5.0, 3.0, 3.0]
    assert common_shift_sd([own]) == 0.0
    # One warning for each way, at the first point that came by it.
    together, apart = list(shift_findings([one, two])), list(shift_findings([own, one, two, counted]))
    told = "control point A was transformed between datums (± 4 m (better.tif, good to 0.1 m, is not installed))"
    assert [finding.text for finding in together] == [f"{told}, and positions on the earth are no better than that"]
    assert [finding.text for finding in apart] == [f"{told}, so it counts less"]
    assert [(step.what, step.value) for step in shift_steps([own, one, counted])] == [
        ("control A", "good to 4 m"),
        ("control D", "no change of datum"),
    ]
