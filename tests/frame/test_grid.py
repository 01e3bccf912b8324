"""A survey put on the grid of its control: factors and bearings against geodesics, and what is told on the way."""

from __future__ import annotations

from math import atan2, degrees, nan, radians

import pytest
from pyproj import Geod, Proj

from pegline.errors import BookError, Place
from pegline.frame.choice import choose_frame, refined_frame
from pegline.frame.crs import grid_of, line_scale
from pegline.frame.grid import _area, _degrees, _grid_bearings, _middle, _middle_of
from pegline.frame.model import Frame
from pegline.measures.control import Control, ControlPoint
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

HERE = Place("book.yaml", 1, 1)
BOOK = """
book: 1
date: 2026-04-18
unit: m
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 60}
  A-C: {use: side, taped: 50}
  C-B: {use: side, taped: 40}
"""
A, B = (700_340.25, 5_712_806.40), (700_394.03, 5_712_833.00)
UTM = Proj("EPSG:32630")


def known(name: str, at: tuple[float, float]) -> str:
    return f"{name}: {{easting: {at[0]}, northing: {at[1]}, accuracy: 0.05}}"


def control(*points: str, more: str = "ground_height: 1200", crs: str = "EPSG:32630") -> str:
    return f"control: {{crs: {crs}, {more}, points: {{{', '.join(points)}}}}}\n"


def frame(*parts: str, solved: dict[str, tuple[float, float]] | None = None) -> Frame:
    book = parse_book((BOOK + "".join(parts)).encode(), "book.yaml")
    return choose_frame(book, reduce_readings(book), solved)


def azimuth_of(bearing: float, start: tuple[float, float], length: float) -> float:
    """Return the azimuth from true north of a line that runs so far along a bearing of the grid, by geodesics."""
    lon, lat = UTM(*start, inverse=True)

    def off(azimuth: float) -> float:
        x, y = UTM(*Geod(ellps="WGS84").fwd(lon, lat, azimuth, length)[:2])
        return degrees(atan2(x - start[0], y - start[1])) - degrees(bearing)

    azimuth = degrees(bearing)
    for _ in range(4):
        azimuth -= off(azimuth)
    return azimuth


def test_lengths_are_shrunk_by_the_grid_and_by_the_height_and_both_are_told() -> None:
    found = frame(control(known("A", A), known("B", B)))
    lon, lat = UTM((A[0] + B[0]) / 2, (A[1] + B[1]) / 2, inverse=True)
    on_grid = UTM.get_factors(lon, lat).parallel_scale
    radius = 6_382_400.0  # of the ellipsoid at 51.5° in the mean, √(M N); a kilometre of it makes 3e-8
    by_height = radius / (radius + 1200)

    assert found.scale == pytest.approx(on_grid * by_height, abs=1e-7)
    assert found.convergence == pytest.approx(radians(UTM.get_factors(lon, lat).meridian_convergence), abs=1e-10)
    told = {step.what: step for step in found.steps}
    assert float(told["grid scale factor"].value) == pytest.approx(on_grid, abs=6e-8)
    assert float(told["height factor"].value) == pytest.approx(by_height, abs=1e-7)
    assert told["height factor"].note == "ground at 1200 m to ellipsoid"
    assert float(told["combined factor"].value) == pytest.approx(found.scale, abs=6e-8)
    change = (found.scale - 1) * 1e6
    assert told["combined factor"].note == f"ground to grid: {change:+.0f} mm in 1 km"
    assert abs(change) > 20


def test_a_frame_begins_in_whole_metres_in_the_middle_of_its_control() -> None:
    found = frame(control(known("A", A), known("B", B)))
    assert found.origin == (700_367.0, 5_712_820.0)
    assert [(each.station, each.x, each.y, each.sd) for each in found.control] == [
        ("A", pytest.approx(-26.75), pytest.approx(-13.6), 0.05),
        ("B", pytest.approx(27.03), pytest.approx(13.0), 0.05),
    ]
    assert (found.shift_sd, found.epoch, found.metres_per_unit) == (0.0, None, 1.0)
    assert _middle([1.0, 2.0, 6.0]) == 3.0


@pytest.mark.parametrize("length", [60.46, 4000.0])
def test_a_true_bearing_comes_onto_the_grid_as_the_geodesic_along_it(length: float) -> None:
    bearing = radians(64.0)
    end = (A[0] + length * 0.8988, A[1] + length * 0.4384)  # sin and cos of 64°; a metre more or less bends nothing
    north = f"north: {{from: true, bearings: {{A-B: {azimuth_of(bearing, A, length):.9f}}}}}\n"
    found = frame(north, control(known("A", A)), solved={"A": A, "B": end})

    assert degrees(found.bearings[0].bearing) == pytest.approx(64.0, abs=1e-6)


def test_where_an_end_is_not_known_a_bearing_has_no_bend_and_the_convergence_of_the_control() -> None:
    azimuth = azimuth_of(radians(64.0), A, 1.0)
    for pair, solved in (("A-B", {}), ("C-B", {}), ("A-C", {"A": A})):
        found = frame(
            f"north: {{from: true, bearings: {{{pair}: {azimuth:.9f}}}}}\n", control(known("A", A)), solved=solved
        )
        assert degrees(found.bearings[0].bearing) == pytest.approx(64.0, abs=1e-6)


def test_the_steps_of_a_bearing_from_the_grid_itself_have_no_convergence() -> None:
    found = frame("north: {from: grid, bearings: {A-B: 64}}\n", control(known("A", A)))
    assert [step.what for step in found.steps][:2] == ["bearing A-B as read", "bearing A-B on the plan"]
    assert found.declination is None
    assert degrees(found.bearings[0].bearing) == pytest.approx(64)


def test_convergences_and_bends_are_told_where_they_are_a_second_or_more_apart() -> None:
    north = f"north: {{from: true, bearings: {{A-B: {azimuth_of(radians(64.0), A, 60.46):.9f}}}}}\n"
    near = frame(north, control(known("A", A)))
    assert [step.what for step in near.steps][:3] == [
        "bearing A-B as read",
        "less convergence",
        "bearing A-B on the plan",
    ]
    far = frame(north, control(known("A", A)), solved={"A": A, "B": (A[0] + 3000.0, A[1] + 9000.0)})
    own = [step for step in far.steps if step.what.startswith(("convergence at", "less arc"))]
    assert [step.what for step in own] == ["convergence at A, for A-B", "less arc-to-chord of A-B"]
    # The steps add up: as read, less the convergence at A, less the bend, is the bearing on the plan.
    signed = [(-1 if s.value[0] == "-" else 1) * seconds(s.value[1:]) for s in own]
    assert seconds(degrees_of(far, "as read")) - sum(signed) == pytest.approx(
        seconds(degrees_of(far, "on the plan")), abs=2
    )


def test_a_magnetic_bearing_comes_onto_the_grid_by_its_declination_and_the_convergence() -> None:
    # A needle 3° east of true north reads 3° less than the azimuth.
    read = azimuth_of(radians(64.0), A, 9487.0) - 3
    end = (A[0] + 9487.0 * 0.8988, A[1] + 9487.0 * 0.4384)
    north = f"north: {{from: magnetic, declination: 3° E, bearings: {{A-B: {read:.9f}}}}}\n"
    found = frame(north, control(known("A", A)), solved={"A": A, "B": end})

    assert degrees(found.bearings[0].bearing) == pytest.approx(64.0, abs=1e-5)
    assert found.declination == pytest.approx(radians(3))
    steps = {step.what: step.value for step in found.steps}
    assert steps["plus declination"] == "+3°00'00\""
    lon, lat = UTM(*A, inverse=True)
    bend = read + 3 - 64 - UTM.get_factors(lon, lat).meridian_convergence
    assert seconds(steps["less arc-to-chord of A-B"][1:]) == round(abs(bend) * 3600)
    assert found.warnings == ()


def test_without_a_declination_a_magnetic_bearing_is_left_out_where_control_turns_the_plan_and_refused_where_not() -> (
    None
):
    north = "north: {from: magnetic, bearings: {A-B: 64, B-A: 250}}\n"
    book = BOOK.replace("date: 2026-04-18\n", "") + north
    both = [known("A", A), known("B", B)]
    two, one = (parse_book((book + control(*points)).encode(), "book.yaml") for points in (both, both[:1]))
    found = choose_frame(two, reduce_readings(two))

    assert found.bearings == ()
    assert found.declination is None
    assert [finding.rule for finding in found.warnings] == ["local-attraction", "no-declination", "no-declination"]
    assert found.steps[0].what == "grid scale factor"
    with pytest.raises(BookError, match="does not say where grid north is"):
        choose_frame(one, reduce_readings(one))


def test_where_no_line_reaches_a_bearing_nothing_is_turned() -> None:
    north = "north: {from: magnetic, declination: 3° E, bearings: {A-B: 40}}\n"
    book = parse_book((BOOK + north + control(known("A", A))).encode(), "book.yaml")
    turned = _grid_bearings(book, grid_of("EPSG:32630"), {}, [], (-0.1, 51.5), needed=False)
    assert (turned.bearings, turned.declination, turned.warnings) == ((), None, ())


def test_the_zone_that_is_advised_is_that_of_near_or_else_of_the_control() -> None:
    points = [f"{name}: {{latitude: 51.566, longitude: -2.82{n}, accuracy: 0.5}}" for n, name in enumerate("AB")]
    for near, zone in (("", 30), ("near: {latitude: 51.5, longitude: 1.2}\n", 31)):
        with pytest.raises(BookError, match=f"EPSG:326{zone}"):
            frame(near, control(*points, crs="EPSG:4326"))


def test_a_plot_that_lies_nowhere_on_the_grid_is_refused() -> None:
    of = Control(crs="EPSG:32630", points=(), place=HERE, crs_place=HERE)
    for easting in (1e12, nan):
        with pytest.raises(BookError, match="the plot lies nowhere on WGS 84 / UTM zone 30N"):
            _middle_of(grid_of("EPSG:32630"), [(easting, 5_700_000.0)], of)


def test_a_grid_with_axes_west_and_south_is_told_by_name() -> None:
    points = (
        "A: {westing: 51234.10, southing: 3757210.30, accuracy: 0.02}",
        "B: {westing: 51184.10, southing: 3757243.47, accuracy: 0.02}",
    )
    told = {step.what: step for step in frame(control(*points, crs="EPSG:2048")).steps}
    assert told["solved and written in"].value == "Hartebeesthoek94_Lo19_(E-N) (ESRI:102562)"
    assert "for Hartebeesthoek94 / Lo19" in told["solved and written in"].note
    assert "solved and written in" not in {step.what for step in frame(control(known("A", A), known("B", B))).steps}


def degrees_of(found: Frame, end: str) -> str:
    return next(step.value for step in found.steps if step.what.endswith(end))


def seconds(text: str) -> int:
    whole, rest = text.split("°")
    minutes, rest = rest.split("'")
    return 3600 * int(whole) + 60 * int(minutes) + int(rest.rstrip('"'))


def test_without_a_height_only_the_grid_shrinks() -> None:
    found = frame(control(known("A", A), known("B", B), more="epoch: 2026.5"))
    lon, lat = UTM((A[0] + B[0]) / 2, (A[1] + B[1]) / 2, inverse=True)
    assert found.scale == pytest.approx(UTM.get_factors(lon, lat).parallel_scale, abs=1e-9)
    assert [finding.rule for finding in found.warnings] == ["no-ground-height"]
    assert [(step.what, step.value) for step in found.steps if step.what in ("epoch", "height factor")] == [
        ("epoch", "2026.5"),
        ("height factor", "left out"),
    ]


def test_a_change_of_datum_that_all_control_went_through_is_the_frame_s() -> None:
    points = (
        "A: {latitude: 51.566, longitude: -2.822, accuracy: 0.5}",
        "B: {latitude: 51.5662, longitude: -2.8212, accuracy: 0.5}",
    )
    more = "allow_shift: 3, ground_height: 85"
    assert frame(control(*points, crs="EPSG:27700", more=more)).shift_sd == 2.0
    mixed = (points[0], "B: {easting: 343088, northing: 185463, accuracy: 0.5}")
    assert frame(control(*mixed, crs="EPSG:27700", more=more)).shift_sd == 0.0


def area_findings(longitude: float) -> list[str]:
    of = Control(crs="EPSG:32630", points=(), place=HERE, crs_place=HERE)
    try:
        return [finding.text for finding in _area(grid_of("EPSG:32630"), (longitude, 51.5), of)]
    except BookError as error:
        return ["refused: " + finding.text for finding in error.findings]


def test_a_plot_is_told_outside_its_area_and_refused_50_km_outside() -> None:
    # A degree of longitude at 51.5° north is 69.4 km; zone 30 ends at Greenwich.
    assert area_findings(-0.01) == []
    assert area_findings(0.10) == [
        "the plot lies at 51.50° N, 0.10° E, 7 km outside the area that WGS 84 / UTM zone 30N (EPSG:32630) is meant"
        " for; look at the CRS"
    ]
    assert area_findings(0.698)[0].startswith("the plot lies at 51.50° N, 0.70° E, 48 km outside")  # 48.47 km
    # 48.52 km by the geodesic, WGS 84
    edge = Geod(ellps="WGS84").fwd(0.0, 51.5, 90.0, 48_520.0)[0]
    assert "E, 49 km outside" in area_findings(edge)[0]
    assert area_findings(0.71)[0].startswith("the plot lies at 51.50° N, 0.71° E, 49 km outside")
    assert area_findings(0.73)[0].startswith("refused: the plot lies at 51.50° N, 0.73° E, 51 km outside")


def test_a_first_idea_of_the_place_is_what_control_tells_in_degrees() -> None:
    def of(**at: float) -> ControlPoint:
        return ControlPoint("A", 1.0, HERE, **at)  # type: ignore[arg-type]

    far = of(easting=500_000.0, northing=5_700_000.0)
    assert _degrees([far, of(latitude_deg=52.0, longitude_deg=-1.0)]) == (-1.0, 52.0)
    assert _degrees([far, of(easting=-180.0, northing=-90.0)]) == (-180.0, -90.0)
    assert _degrees([of(easting=180.0, northing=90.0)]) == (180.0, 90.0)
    for at in ((180.5, 10.0), (10.0, 90.5), (10.0, 5_700_000.0)):
        assert _degrees([of(easting=at[0], northing=at[1])]) is None
    assert _degrees([of(latitude_deg=52.0), of(longitude_deg=-1.0), of(easting=3.0, northing=4.0)]) == (3.0, 4.0)
    assert _degrees([]) is None


def test_of_a_large_plot_each_line_has_a_scale_of_its_own_and_of_a_small_one_none() -> None:
    book = parse_book((BOOK + control(known("A", A), known("B", B))).encode(), "book.yaml")
    reduction = reduce_readings(book)
    first = choose_frame(book, reduction)
    # Nine kilometres and less across a zone's edge, where the grid's scale grows by 5 in a million each kilometre.
    at = {"A": (0.0, 0.0), "B": (9000.0, 0.0), "C": (4000.0, 8000.0)}
    found = refined_frame(book, reduction, first, at)
    on_grid = {name: (x + first.origin[0], y + first.origin[1]) for name, (x, y) in at.items()}
    for name in ("A-B", "A-C", "C-B"):
        own = line_scale(grid_of("EPSG:32630"), *(on_grid[end] for end in name.split("-")), height=1200)
        assert found.own_scales[name] == pytest.approx(own / found.scale, abs=1e-12)
    assert abs(found.own_scales["A-C"] - 1) > 5e-6

    near = {"A": (-26.75, -13.6), "B": (27.03, 13.0), "C": (-10.0, 30.0)}
    assert refined_frame(book, reduction, first, near) is first
    assert refined_frame(book, reduction, first, {"A": (0.0, 0.0)}) is first


def test_control_that_no_line_reaches_yet_is_left_out() -> None:
    text = BOOK + "  C-D: {use: side}\n" + control(known("A", A), known("D", B))
    book = parse_book(text.encode(), "book.yaml")
    assert choose_frame(book, reduce_readings(book)).kind == "local"
