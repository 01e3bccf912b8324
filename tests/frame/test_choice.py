"""Which frame a book is put in, and what is told about it."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from math import cos, degrees, hypot, radians, sin, tan
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from pyproj import CRS, Geod, Proj

import pegline
from pegline.errors import BookError
from pegline.frame import choice, crs
from pegline.frame.choice import _taped_lengths, choose_frame, refined_frame
from pegline.frame.model import Frame
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

BOOK = """
book: 1
title: "The 'old' \\"mill\\""
date: 2026-04-18
unit: m
tapes: {steel: {material: steel, length: 50}}
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 60}
  A-C: {use: side, taped: 50}
  C-B: {use: side, taped: 40}
"""
WEIR = "A: {easting: 512340.25, northing: 5712806.40, accuracy: 0.05}"
ONE = f"control: {{crs: EPSG:32630, ground_height: 85, points: {{{WEIR}}}}}\n"
MAGNETIC = "north: {from: magnetic, bearings: {A-B: 63°30'}}\n"
SECOND = 1 / 3600


def frame(*parts: str) -> Frame:
    book = parse_book((BOOK + "".join(parts)).encode(), "book.yaml")
    return choose_frame(book, reduce_readings(book))


def refusal(*parts: str) -> str:
    with pytest.raises(BookError) as caught:
        frame(*parts)
    return str(caught.value)


def seconds(text: str) -> int:
    """Return a small angle as steps write it, seconds."""
    degrees_, minutes, rest = re.findall(r"\d+", text)
    return (int(degrees_) * 3600 + int(minutes) * 60 + int(rest)) * (-1 if text.startswith("-") else 1)


def warning_rules(found: Frame) -> list[str]:
    return [warning.rule for warning in found.warnings]


# --- without control ---


def test_with_neither_bearing_nor_control_the_frame_is_local() -> None:
    found = frame()

    assert (found.kind, found.north, found.scale, found.origin) == ("local", None, 1.0, (0.0, 0.0))
    assert (found.metres_per_unit, found.shift_sd) == (1.0, 0.0)
    assert found.bearings == found.control == ()


def test_a_frame_without_control_is_a_named_engineering_crs_in_metres() -> None:
    crs = CRS.from_wkt(frame().wkt)

    assert crs.type_name == "Engineering CRS"
    assert crs.name == "Local survey grid, not turned to north: The 'old' \"mill\""
    assert [(axis.direction, axis.unit_name) for axis in crs.axis_info] == [("east", "metre"), ("north", "metre")]
    assert crs.datum.name == "station A"


def test_a_bearing_turns_the_frame_to_magnetic_north_where_the_declination_is_not_known() -> None:
    found = frame(MAGNETIC)

    assert (found.kind, found.north, found.declination) == ("north", "magnetic", None)
    assert found.bearings[0].bearing == pytest.approx(radians(63.5))
    assert found.bearings[0].sd == pytest.approx(radians(1))
    assert "magnetic north" in CRS.from_wkt(found.wkt).name


def test_with_date_and_place_the_frame_is_turned_to_true_north() -> None:
    found = frame(MAGNETIC, "near: {latitude: 51.57, longitude: -2.82}\n")

    assert (found.kind, found.north) == ("north", "true")
    assert found.declination is not None
    assert found.bearings[0].bearing == pytest.approx(radians(63.5) + found.declination)


def test_a_declination_from_the_book_goes_before_the_model() -> None:
    # Punmia, Surveying I (from memory): magnetic 48°24', declination 5°38' E, so true 54°02'.
    found = frame(
        "north: {from: magnetic, declination: 5°38' E, bearings: {A-B: 48°24'}}\n",
        "near: {latitude: 51.57, longitude: -2.82}\n",
    )

    assert degrees(found.bearings[0].bearing) == pytest.approx(54 + 2 / 60, abs=SECOND)
    assert [step.value for step in found.steps] == ["48°24'00\"", "+5°38'00\"", "54°02'00\""]


def test_a_year_before_the_model_leaves_the_frame_on_magnetic_north() -> None:
    found = frame(MAGNETIC, "near: {latitude: 51.57, longitude: -2.82}\n")
    old = parse_book(
        (BOOK.replace("2026-04-18", "1893-06-02") + MAGNETIC + "near: {latitude: 51.57, longitude: -2.82}\n").encode(),
        "b",
    )

    assert found.north == "true"
    assert choose_frame(old, reduce_readings(old)).north == "magnetic"


def test_a_true_bearing_needs_nothing_more() -> None:
    found = frame("north: {from: true, bearings: {A-B: [63.4, 63.6], B-C: 10}, accuracy: 0.2°}\n")

    assert found.north == "true"
    assert degrees(found.bearings[0].bearing) == pytest.approx(63.5)
    assert degrees(found.bearings[0].sd) == pytest.approx(0.2 / 2**0.5)
    assert degrees(found.bearings[1].sd) == pytest.approx(0.2)


def test_bearings_from_a_grid_that_is_not_named_are_refused() -> None:
    assert "book.yaml:12:" in refusal("north: {from: grid, bearings: {A-B: 63}}\n")


def test_a_bearing_to_a_station_that_no_line_reaches_yet_is_left_out() -> None:
    book = BOOK + "  C-D: {use: side}\nnorth: {from: true, bearings: {C-D: 63}}\n"
    parsed = parse_book(book.encode(), "book.yaml")

    assert choose_frame(parsed, reduce_readings(parsed)).kind == "local"


def test_a_bearing_between_the_only_two_stations_counts() -> None:
    text = BOOK[: BOOK.index("  A-C:")].replace("stations: {C: {left_of: A-B}}\n", "")
    parsed = parse_book((text + "north: {from: true, bearings: {A-B: 63}}\n").encode(), "book.yaml")

    assert choose_frame(parsed, reduce_readings(parsed)).kind == "north"


def test_control_of_a_station_that_no_line_reaches_yet_is_left_out() -> None:
    book = BOOK + "  C-D: {use: side}\n" + ONE.replace("A:", "D:")
    parsed = parse_book(book.encode(), "book.yaml")

    found = choose_frame(parsed, reduce_readings(parsed))
    assert (found.kind, warning_rules(found)) == ("local", [])


def test_what_is_taped_are_lines_and_their_pieces_up_to_the_stations_on_them() -> None:
    on_line = BOOK.replace(
        "A-B: {use: base, taped: 60}", "A-B: {use: base, taped: 60, details: [{at: 20, station: T}]}"
    )
    parsed = parse_book((on_line + "  C-T: {use: tie, taped: 45}\n").encode(), "book.yaml")

    assert _taped_lengths(reduce_readings(parsed)) == pytest.approx(
        {("A", "B"): 60, ("A", "C"): 50, ("C", "B"): 40, ("C", "T"): 45, ("A", "T"): 20}, rel=1e-4
    )


# --- local attraction ---


def test_fore_and_back_that_disagree_are_told_with_the_places() -> None:
    found = frame("north: {from: true, bearings: {A-B: 63, B-A: 243.3}, accuracy: 0.1°}\n")
    told = frame("north: {from: magnetic, bearings: {A-B: 63, B-A: 246}, accuracy: 0.5°}\n")
    quiet = frame("north: {from: magnetic, bearings: {A-B: 63, B-A: 245}, accuracy: 0.5°}\n")

    assert warning_rules(quiet) == ["magnetic-north"]
    assert warning_rules(told) == ["local-attraction", "magnetic-north"]
    assert "3.00°" in told.warnings[0].text
    assert warning_rules(found) == []


def test_the_station_where_the_needle_was_turned_is_named() -> None:
    found = frame(
        "north: {from: magnetic, accuracy: 0.25°,"
        " bearings: {A-B: 60, B-A: 240, B-C: 330, C-B: 152, A-C: 20, C-A: 202}}\n"
    )

    assert warning_rules(found) == ["local-attraction", "local-attraction", "magnetic-north"]
    assert all("turned at C (+2°00'00\")" in warning.text for warning in found.warnings[:2])


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("", "does not say where the place is; book near"),
        ("date: 2026-04-18", "the book has no date"),
        ("2026-04-18", "the field model covers 1900 to 2029, and the book is of 1887"),
    ],
)
def test_why_the_plan_s_north_is_magnetic_is_told(change: str, why: str) -> None:
    near = "near: {latitude: 51.57, longitude: -2.82}\n" if change else ""
    text = BOOK.replace(change, "1887-06-02" if change == "2026-04-18" else "") if change else BOOK
    book = parse_book((text + MAGNETIC + near).encode(), "book.yaml")
    found = choose_frame(book, reduce_readings(book))

    (warning,) = found.warnings
    assert (found.north, warning.rule) == ("magnetic", "magnetic-north")
    assert why in warning.text
    assert (warning.place.line, warning.place.column) == (12, 8)  # type: ignore[union-attr]


def test_an_epoch_is_recorded_and_coordinates_are_carried_to_no_other() -> None:
    at = "A: {latitude: 51.57, longitude: -2.82, accuracy: 0.05}"
    moving = frame(MAGNETIC, f"control: {{crs: EPSG:32630, ground_height: 85, epoch: 2026.3, points: {{{at}}}}}\n")
    fixed = frame(MAGNETIC, ONE.replace("EPSG:32630, ", "EPSG:25830, epoch: 2026.3, "))
    told = refusal(MAGNETIC, f"control: {{crs: EPSG:25830, epoch: 2026.3, allow_shift: 5, points: {{{at}}}}}\n")

    assert moving.epoch == 2026.3
    assert ("epoch", "2026.3") in [(step.what, step.value) for step in moving.steps]
    assert warning_rules(moving) == []
    assert warning_rules(fixed) == ["idle-epoch"]
    assert "plates move" in told


# --- one control point ---


def test_one_control_point_without_a_bearing_gives_a_local_frame_and_says_so() -> None:
    found = frame(ONE)

    assert (found.kind, warning_rules(found)) == ("local", ["control-without-direction"])


def test_one_control_point_and_a_bearing_give_the_grid() -> None:
    found = frame(MAGNETIC, ONE)

    assert (found.kind, found.north, found.crs_name) == ("grid", "grid", "WGS 84 / UTM zone 30N (EPSG:32630)")
    (control,) = found.control
    assert (control.x + found.origin[0], control.y + found.origin[1]) == pytest.approx((512340.25, 5712806.40))
    assert abs(control.x) < 1
    assert control.sd == 0.05
    assert found.declination is not None
    assert found.convergence is not None
    assert found.bearings[0].bearing == pytest.approx(radians(63.5) + found.declination - found.convergence)
    told = {step.what: step.value for step in found.steps}
    assert found.scale == pytest.approx(float(told["grid scale factor"]) * float(told["height factor"]), abs=1.5e-7)


def test_a_grid_bearing_stays_as_it_is() -> None:
    # US Army map reading course (armystudyguide.com): magnetic 190°, grid-magnetic angle 9° east, grid 199°.
    found = frame("north: {from: grid, bearings: {A-B: 199}}\n", ONE)

    assert degrees(found.bearings[0].bearing) == pytest.approx(199)


def test_a_magnetic_bearing_alone_does_not_reach_a_grid_when_its_declination_is_not_known() -> None:
    book = (BOOK.replace("date: 2026-04-18\n", "") + MAGNETIC + ONE).encode()
    parsed = parse_book(book, "book.yaml")

    with pytest.raises(BookError, match="declination is not known"):
        choose_frame(parsed, reduce_readings(parsed))


def test_without_a_height_its_factor_is_left_out_and_that_is_told() -> None:
    found = frame(MAGNETIC, ONE.replace(" ground_height: 85,", ""))

    assert warning_rules(found) == ["no-ground-height"]
    assert ("height factor", "left out") in [(step.what, step.value) for step in found.steps]


def test_the_steps_lead_from_the_needle_to_the_grid_in_words() -> None:
    found = frame(MAGNETIC, ONE)

    assert [step.what for step in found.steps] == [
        "bearing A-B as read",
        "plus declination",
        "less convergence",
        "bearing A-B on the plan",
        "grid scale factor",
        "height factor",
        "combined factor",
    ]
    assert found.steps[2].note == "true north lies 0°08'22\" west of grid north"
    # By hand: 12.340 km from the zone's middle, k = 0.9996 (1 + 12.340² / 2 / 6382²), less 85 m / 6382 km.
    assert found.steps[-1].note == "ground to grid: -411 mm in 1 km"


def test_a_bearing_s_own_convergence_is_told_where_the_plot_s_does_not_add_up() -> None:
    parsed = parse_book((BOOK + MAGNETIC + ONE).encode(), "book.yaml")
    far = {"A": (512340.25, 5712806.40), "B": (513340.25, 5712806.40)}
    found = choose_frame(parsed, reduce_readings(parsed), far)
    own = next(step for step in found.steps if step.what == "convergence at A, for A-B")

    # The plot's middle is 500 m east of A: 500 m / 6378 km / cos 51.6° × sin 51.6° = 20".
    assert found.steps[2].value == "+0°08'42\""
    assert own.value == "+0°08'22\""


def test_the_bend_of_a_long_line_has_a_step_of_its_own_beside_the_convergence_at_its_station() -> None:
    parsed = parse_book((BOOK + MAGNETIC + ONE).encode(), "book.yaml")
    far = {
        "A": (700_000.0, 5_712_806.40),
        "B": (700_000.0, 5_724_806.40),
    }  # 12 km apart
    found = choose_frame(parsed, reduce_readings(parsed), far)
    told = {step.what: step.value for step in found.steps}

    # First term of the series for the Transverse Mercator, as in any text on geodesy, eastings from the middle of the
    # zone: (t - T) = dN (2 E1 + E2) / (6 R²).
    (line,) = found.bearings
    along, across = 12_000 * cos(line.bearing), 12_000 * sin(line.bearing)
    bend = along * (2 * 200_000 + 200_000 + across) / (6 * 6_385_000**2)
    assert abs(seconds(told["less arc-to-chord of A-B"])) == pytest.approx(abs(degrees(bend)) * 3600, abs=0.6)
    # dλ sin φ is the first term of the convergence, the next is a hundred times smaller.
    longitude, latitude = Proj("EPSG:32630")(*far["A"], inverse=True)
    own = (longitude + 3) * sin(radians(latitude))
    assert seconds(told["convergence at A, for A-B"]) == pytest.approx(own * 3600, rel=0.002)
    assert seconds(told["less arc-to-chord of A-B"]) == pytest.approx(
        degrees(line.booked + found.declination - line.bearing) * 3600 - seconds(told["convergence at A, for A-B"]),
        abs=1.1,
    )


# --- several control points ---

BOTH = (
    "A: {easting: 512340.25, northing: 5712806.40, accuracy: 0.05},"
    " B: {easting: 512394.03, northing: 5712833.00, accuracy: 0.05}"
)


def grid(points: str, crs: str = "EPSG:32630", more: str = "ground_height: 85") -> str:
    return f"control: {{crs: {crs}, {more}, points: {{{points}}}}}\n"


def test_two_control_points_give_the_direction_themselves() -> None:
    found = frame(grid(BOTH))

    assert (found.kind, len(found.control), found.bearings, warning_rules(found)) == ("grid", 2, (), [])


def test_a_magnetic_bearing_that_cannot_reach_the_grid_is_left_out_where_control_needs_none() -> None:
    parsed = parse_book((BOOK.replace("date: 2026-04-18\n", "") + MAGNETIC + grid(BOTH)).encode(), "book.yaml")
    found = choose_frame(parsed, reduce_readings(parsed))

    assert (found.kind, found.bearings, warning_rules(found)) == ("grid", (), ["no-declination"])


def test_control_by_latitude_and_longitude_stands_beside_the_grid_s_own() -> None:
    # PROJ gives these for A on UTM zone 30N, WGS 84: the way there is arithmetic only.
    found = frame(grid("A: {latitude: 51.5660, longitude: -2.8220, accuracy: 2}, " + BOTH.split("05}, ")[1]))

    assert [control.sd for control in found.control] == [2, 0.05]
    assert ("control A", "no change of datum") in [(step.what, step.value) for step in found.steps]


def test_control_that_all_crossed_one_change_of_datum_is_told_and_keeps_its_weight() -> None:
    degrees_ = (
        "A: {latitude: 51.5660, longitude: -2.8220, accuracy: 0.5},"
        " B: {latitude: 51.5662, longitude: -2.8212, accuracy: 0.5}"
    )
    found = frame(grid(degrees_, "EPSG:27700", "allow_shift: 3, ground_height: 85"))

    assert warning_rules(found) == ["datum-shift"]
    assert "2 m" in found.warnings[0].text
    assert [control.sd for control in found.control] == [0.5, 0.5]


def test_control_of_which_some_crossed_a_change_of_datum_is_weaker_there() -> None:
    some = (
        "A: {latitude: 51.5660, longitude: -2.8220, accuracy: 0.5},"
        " B: {easting: 343088, northing: 185463, accuracy: 0.5}"
    )
    found = frame(grid(some, "EPSG:27700", "allow_shift: 3, ground_height: 85"))

    assert [control.sd for control in found.control] == pytest.approx([(0.5**2 + 2**2) ** 0.5, 0.5])
    assert "so it counts less" in found.warnings[0].text


def test_a_grid_in_us_feet_keeps_metres_inside() -> None:
    points = (
        "A: {easting: 6500000, northing: 1850000, accuracy: 0.1},"
        " B: {easting: 6500190, northing: 1850050, accuracy: 0.1}"
    )
    found = frame(grid(points, "EPSG:2229", "ground_height: 100"))

    assert found.metres_per_unit == pytest.approx(1200 / 3937)
    assert found.control[1].x - found.control[0].x == pytest.approx(190 * 1200 / 3937, abs=1e-6)
    assert found.control[0].sd == pytest.approx(0.1 * 1200 / 3937)


def test_a_plot_a_little_outside_the_area_of_its_grid_is_told() -> None:
    # 3 km east of zone 30N's edge at the Greenwich meridian.
    points = (
        "A: {easting: 711000, northing: 5712806, accuracy: 0.05},"
        " B: {easting: 711050, northing: 5712830, accuracy: 0.05}"
    )
    found = frame(grid(points))

    assert warning_rules(found) == ["outside-area"]


def test_degrees_as_a_grid_are_refused_with_the_zone_to_take() -> None:
    points = (
        "A: {easting: -2.8220, northing: 51.5660, accuracy: 0.05},"
        " B: {easting: -2.8212, northing: 51.5662, accuracy: 0.05}"
    )

    assert "take EPSG:32630 (WGS 84 / UTM zone 30N)" in refusal(grid(points, "EPSG:4326"))


def test_a_plot_that_turns_out_to_lie_far_from_its_control_s_grid_or_nowhere_is_refused() -> None:
    parsed = parse_book((BOOK + MAGNETIC + ONE).encode(), "book.yaml")
    reduction = reduce_readings(parsed)

    with pytest.raises(BookError, match="km outside the area that WGS 84 / UTM zone 30N"):
        choose_frame(parsed, reduction, {"A": (512340.25, 5712806.40), "B": (1_500_000.0, 5712806.40)})
    with pytest.raises(BookError, match="the plot lies nowhere on WGS 84 / UTM zone 30N"):
        choose_frame(parsed, reduction, {"A": (512340.25, 5712806.40), "B": (1e9, 1e9)})


def test_figures_that_are_no_degrees_suggest_no_zone() -> None:
    # 100° E, 60° N is in zone 47; no place is at 90.5° N.
    points = "A: {{easting: 100, northing: {north}, accuracy: 1}}, B: {{easting: 100, northing: {north}, accuracy: 1}}"

    assert "take EPSG:32647 (WGS 84 / UTM zone 47N)" in refusal(grid(points.format(north="60"), "EPSG:4326"))
    assert "take the grid of your country or its UTM zone" in refusal(grid(points.format(north="90.5"), "EPSG:4326"))


def test_a_frame_is_refined_only_where_that_changes_something() -> None:
    parsed = parse_book((BOOK + MAGNETIC + ONE).encode(), "book.yaml")
    reduction = reduce_readings(parsed)
    first = choose_frame(parsed, reduction)
    near = {"A": (0.25, 0.4), "B": (54.0, 27.0), "C": (20.0, 50.0)}
    far = {"A": (0.25, 0.4), "B": (9054.0, 7027.0), "C": (4020.0, 9050.0)}

    assert refined_frame(parsed, reduction, first, near) is first
    assert refined_frame(parsed, reduction, first, far).scale != first.scale


def test_a_frame_that_is_on_no_grid_or_of_one_station_is_not_refined() -> None:
    local = parse_book((BOOK + ONE).encode(), "book.yaml")
    reduction = reduce_readings(local)
    first = choose_frame(local, reduction)
    assert refined_frame(local, reduction, first, {"A": (0.0, 0.0), "B": (54.0, 27.0)}) is first

    on_grid = parse_book((BOOK + MAGNETIC + ONE).encode(), "book.yaml")
    begun = choose_frame(on_grid, reduction)
    assert refined_frame(on_grid, reduction, begun, {}) is begun
    assert refined_frame(on_grid, reduction, begun, {"A": (90_000.0, 0.0)}) is begun


def test_without_a_height_the_scale_of_a_line_is_that_from_the_ellipsoid() -> None:
    parsed = parse_book((BOOK + MAGNETIC + ONE.replace(" ground_height: 85,", "")).encode(), "book.yaml")
    reduction = reduce_readings(parsed)
    positions = {"A": (0.0, 0.0), "B": (1000.0, 0.0), "C": (90_000.0, 0.0)}
    first = choose_frame(parsed, reduction)

    refined = refined_frame(parsed, reduction, first, positions)

    x, y = first.origin
    utm = Proj("EPSG:32630")
    ends = [*utm(x, y, inverse=True), *utm(x + 1000, y, inverse=True)]
    # In a kilometre chord and geodesic differ by L² / 24 R², 1e-9; a metre of height makes 1.6e-7.
    scale = 1000 / Geod(ellps="WGS84").inv(*ends)[2]
    assert refined.own_scales["A-B"] * refined.scale == pytest.approx(scale, abs=1e-8)


@pytest.mark.parametrize(("change", "refined"), [(0.049e-3, False), (0.051e-3, True)])
@pytest.mark.parametrize("what", ["scale", "bearing", "line"])
def test_what_changes_the_plot_by_less_than_a_twentieth_of_a_millimetre_is_left(
    what: str, change: float, refined: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    parsed = parse_book((BOOK + MAGNETIC + ONE).encode(), "book.yaml")
    reduction = reduce_readings(parsed)
    first = choose_frame(parsed, reduction)
    across = {"A": (0.0, 0.0), "B": (60.0, 80.0)}  # 100 m, by Pythagoras
    other, line = first, first.scale
    match what:
        case "scale":
            other = replace(first, scale=first.scale - change / 100)
            line = other.scale
        case "bearing":
            (bearing,) = first.bearings
            other = replace(first, bearings=(replace(bearing, bearing=bearing.bearing - change / 100),))
        case "line":  # of the line A-B, which was taped as 60 m
            line = first.scale * (1 - change / reduction.lines["A-B"].ground.length)
    monkeypatch.setattr(choice, "choose_frame", lambda *_: other)
    monkeypatch.setattr(crs, "line_scale", lambda *_, height: line)

    found = refined_frame(parsed, reduction, first, across)

    assert (found is not first) is refined
    assert bool(found.own_scales) is (refined and what == "line")


def test_a_frame_is_refined_where_only_its_bearing_changes() -> None:
    # One control point, and a bearing read from another station: 54 m farther east, at 51.6° north, the grid's north
    # turns by 54 / (6.4e6 cos 51.6°) sin 51.6° = 1.1e-5 radians, which 80 m feel as 0.8 mm; the scale hardly changes.
    parsed = parse_book((BOOK + MAGNETIC.replace("A-B:", "B-C:") + ONE).encode(), "book.yaml")
    reduction = reduce_readings(parsed)
    first = choose_frame(parsed, reduction)
    moved = {"A": (0.25, 0.4), "B": (54.0, 27.0), "C": (20.0, 50.0)}
    refined = refined_frame(parsed, reduction, first, moved)
    across = hypot(54.0 - 0.25, 50.0 - 0.4)
    (before,), (after,) = first.bearings, refined.bearings
    assert abs(refined.scale - first.scale) * across < 5e-5
    assert abs(after.bearing - before.bearing) == pytest.approx(54 / 6.38e6 * tan(radians(51.6)), rel=0.2)


LOCAL_BOOK = """
book: 1
title: Weir cottage
unit: m
tapes: {steel: {material: steel, length: 50}}
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 60}
  A-C: {use: side, taped: 50}
  C-B: {use: side, taped: 40}
"""
NAME = "Local survey grid, not turned to north: Weir cottage"


def test_a_survey_without_control_is_in_a_named_engineering_crs_everywhere(tmp_path: Path) -> None:
    (tmp_path / "weir.yaml").write_text(LOCAL_BOOK, encoding="utf-8")
    survey = pegline.reduce(pegline.read(tmp_path / "weir.yaml"))
    pegline.write(survey, tmp_path, formats=("gpkg", "shp", "geoparquet", "dxf"))

    with closing(sqlite3.connect(tmp_path / "weir.gpkg")) as package:
        query = "SELECT definition_12_063 FROM gpkg_spatial_ref_sys WHERE srs_name = ?"
        (wkt2,) = package.execute(query, (NAME,)).fetchone()
    geo = json.loads(pq.read_schema(tmp_path / "weir_stations.parquet").metadata[b"geo"])
    found = [CRS.from_wkt(wkt2), CRS.from_json_dict(geo["columns"][geo["primary_column"]]["crs"])]
    found.append(CRS.from_wkt((tmp_path / "weir_stations.prj").read_text()))
    assert [(crs.name, crs.is_engineering) for crs in found] == [(NAME, True)] * 3
    # A .prj beside a drawing would say that it lies on the earth.
    assert not (tmp_path / "weir.prj").exists()
