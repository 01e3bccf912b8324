"""The compass: declination against official test values and a second library; local attraction."""

from __future__ import annotations

import datetime
from math import degrees, pi, radians
from typing import Any

import numpy as np
import ppigrf
import pytest
import yaml
from builders.paths import PUBLISHED
from pygeomag import GeoMag

from pegline.frame.north import (
    attraction_by_station,
    bearing_sd,
    convergence_words,
    disagreement,
    disagreement_limit,
    dms,
    find_declination,
    igrf_declination,
    local_attraction,
    no_declination_because,
    place_in_degrees,
    rough_place,
    signed_dms,
    turned_bearings,
)
from pegline.readers import parse_book

#: What two models of one field may differ by, horizontally, a few years after the last data: nanotesla. At the places
#: below it is 0.07° near the equator and 0.4° near the poles, where the needle's own pull is weak.
MODELS_APART = 50.0
MINUTE = radians(1 / 60)


def values() -> list[Any]:
    files = sorted((PUBLISHED / "magnetic").glob("*.yaml"))
    return [
        pytest.param(*case["at"], case["declination"], id=f"{file.stem} {case['at']}")
        for file in files
        for case in yaml.safe_load(file.read_text("utf-8"))["expected"]
    ]


def day_of(year: float) -> datetime.date:
    return datetime.date(int(year), 1, 1) + datetime.timedelta(days=(year % 1) * 365.25)


def horizontal_field(day: datetime.date, height: float, latitude: float, longitude: float) -> float:
    east, north, _ = ppigrf.igrf(longitude, latitude, height / 1000, datetime.datetime(day.year, day.month, day.day))
    return float((east[0] ** 2 + north[0] ** 2) ** 0.5)


@pytest.mark.parametrize(("year", "height_km", "latitude", "longitude", "expected"), values())
def test_the_declination_is_that_of_the_world_magnetic_model(
    year: float, height_km: float, latitude: float, longitude: float, expected: float
) -> None:
    day, height = day_of(year), 1000 * height_km
    found = igrf_declination(longitude_deg=longitude, latitude_deg=latitude, day=day, height=height)
    field = horizontal_field(day, height, latitude, longitude)

    assert found is not None
    assert degrees(found) == pytest.approx(expected, abs=degrees(MODELS_APART / field) + 0.005)


@pytest.mark.parametrize("year", [2015.5, 2019.0, 2022.0, 2026.3, 2029.0])
@pytest.mark.parametrize(
    ("latitude", "longitude"), [(51.5, -2.8), (-36.8, 174.8), (40.4, -3.7), (64.1, -21.9), (-1.3, 36.8), (35.7, 139.7)]
)
def test_a_second_library_gives_the_same_declination(year: float, latitude: float, longitude: float) -> None:
    coefficients = f"wmm/WMM_{2025 if year >= 2025 else 2020 if year >= 2020 else '2015v2'}.COF"
    second = GeoMag(coefficients_file=coefficients).calculate(glat=latitude, glon=longitude, alt=0, time=year)
    found = igrf_declination(longitude_deg=longitude, latitude_deg=latitude, day=day_of(year))

    assert found is not None
    assert degrees(found) == pytest.approx(second.d, abs=degrees(MODELS_APART / second.h))


@pytest.mark.parametrize(
    ("seconds", "written"),
    [
        (0.0, "0°00'00\""),
        (0.4, "0°00'00\""),
        (59.6, "0°01'00\""),
        (3599.4, "0°59'59\""),
        (3600 * 359, "359°00'00\""),
        (3600 * 63 + 60 * 5 + 7, "63°05'07\""),
        (3600 * 359 + 60 * 59 + 59.4, "359°59'59\""),
        (3600 * 360 - 0.3, "0°00'00\""),
        (-60.0, "359°59'00\""),
        (3600 * 360 + 61, "0°01'01\""),
    ],
)
def test_a_bearing_is_written_to_the_nearest_second_within_the_circle(seconds: float, written: str) -> None:
    assert dms(radians(seconds / 3600)) == written


def test_a_small_angle_is_written_with_its_sign() -> None:
    for seconds, written in ((61.4, "+0°01'01\""), (-61.4, "-0°01'01\""), (0.3, "+0°00'00\""), (-0.3, "+0°00'00\"")):
        assert signed_dms(radians(seconds / 3600)) == written


@pytest.mark.parametrize(
    ("place", "words"),
    [((0.0, 0.0), "0.00° N, 0.00° E"), ((-0.5, -0.5), "0.50° S, 0.50° W"), ((0.5, 0.5), "0.50° N, 0.50° E")],
)
def test_a_place_is_told_with_its_halves_of_the_earth(place: tuple[float, float], words: str) -> None:
    assert place_in_degrees(longitude_deg=place[0], latitude_deg=place[1]) == words


@pytest.mark.parametrize("pole", [90.0, -90.0])
def test_at_a_pole_the_needle_is_asked_for_just_beside_it(pole: float) -> None:
    beside = pole - 0.0001 if pole > 0 else pole + 0.0001
    asked = [igrf_declination(longitude_deg=30.0, latitude_deg=at, day=day_of(2020.0)) for at in (pole, beside)]
    assert asked[0] is not None
    assert asked[0] == asked[1]


@pytest.mark.parametrize("latitude", [89.5, -89.5])
def test_half_a_degree_from_a_pole_the_needle_is_asked_for_there(latitude: float) -> None:
    found = igrf_declination(longitude_deg=30.0, latitude_deg=latitude, day=day_of(2020.0))
    east, north, _ = ppigrf.igrf(30.0, latitude, 0.0, datetime.datetime(2020, 1, 1, 12))
    assert found == pytest.approx(np.arctan2(east.item(), north.item()), abs=1e-6)


def test_the_day_of_a_declination_is_its_noon() -> None:
    day = datetime.date(2012, 5, 7)
    found = igrf_declination(longitude_deg=8.0, latitude_deg=49.0, day=day)
    east, north, _ = ppigrf.igrf(8.0, 49.0, 0.0, datetime.datetime(2012, 5, 7, 12))
    assert found == igrf_declination(longitude_deg=8.0, latitude_deg=49.0, day=day, height=0.0)
    # Of a year's change of some 9 minutes half a day is 0.7", which is 3.6e-6 radians.
    assert found == pytest.approx(np.arctan2(east.item(), north.item()), abs=1e-7)


@pytest.mark.parametrize(
    ("convergence", "words"),
    [
        (0.0, "true north is grid north"),
        (radians(0.4 / 3600), "true north is grid north"),
        (radians(1.5), "true north lies 1°30'00\" west of grid north"),
        (radians(-1.5), "true north lies 1°30'00\" east of grid north"),
    ],
)
def test_where_true_north_lies_is_told_in_words(convergence: float, words: str) -> None:
    assert convergence_words(convergence) == words


@pytest.mark.parametrize("year", [1899, 2030])
def test_outside_its_years_the_model_says_nothing(year: int) -> None:
    assert igrf_declination(longitude_deg=0, latitude_deg=50, day=datetime.date(year, 6, 1)) is None


def test_the_model_reaches_back_to_1900() -> None:
    # London stood near 16.5° west in 1900: common knowledge of the trade, from memory.
    found = igrf_declination(longitude_deg=-0.1, latitude_deg=51.5, day=datetime.date(1900, 1, 1))

    assert found is not None
    assert degrees(found) == pytest.approx(-16.5, abs=1)


def book_of(*more: str) -> Any:
    lines = "A-B: {use: base, taped: 60}, A-C: {use: side, taped: 50}, C-B: {use: side, taped: 40}"
    return parse_book(
        "\n".join(["book: 1", "unit: m", "stations: {C: {left_of: A-B}}", f"lines: {{{lines}}}", *more]).encode(),
        "b.yaml",
    )


NEEDLE, NEAR = "north: {from: magnetic, bearings: {A-B: 63}}", "near: {latitude: 52.1, longitude: -2.3}"


def test_a_declination_is_the_book_s_or_else_the_model_s_of_its_day_and_place() -> None:
    booked = find_declination(book_of(NEEDLE.replace("bearings", "declination: 2.5° W, bearings")), None)
    assert booked is not None
    assert booked.east == pytest.approx(radians(-2.5))
    assert (booked.step.value, booked.step.note) == ("-2°30'00\"", "from the book; east is +")

    for day in ("1900-01-01", "2029-12-31"):
        book = book_of(NEEDLE, NEAR, f"date: {day}")
        found = find_declination(book, rough_place(book))
        east, north, _ = ppigrf.igrf(-2.3, 52.1, 0.0, datetime.datetime.fromisoformat(f"{day}T12:00"))
        assert found is not None
        assert found.east == pytest.approx(np.arctan2(east.item(), north.item()), abs=1e-7)
        assert found.step.note == f"IGRF-14 for {day} at 52.10° N, 2.30° W; east is +"


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ([NEAR], "the book has no date to ask the field model for; book the date,"),
        ([NEAR, "date: 1899-12-31"], "the field model covers 1900 to 2029, and the book is of 1899; book declination"),
        ([NEAR, "date: 2030-01-01"], "the field model covers 1900 to 2029, and the book is of 2030; book declination"),
        (["date: 1900-01-01"], "the book does not say where the place is;"),
        (["date: 2029-12-31"], "the book does not say where the place is;"),
    ],
)
def test_where_there_is_no_declination_what_to_book_is_told(more: list[str], why: str) -> None:
    book = book_of(NEEDLE, *more)
    assert rough_place(book) == ((-2.3, 52.1) if NEAR in more else None)
    assert find_declination(book, rough_place(book)) is None
    assert no_declination_because(book).startswith(why)


# --- local attraction ---


def at(degrees_: float, minutes: float) -> float:
    return radians(degrees_ + minutes / 60)


def test_local_attraction_is_carried_from_the_line_that_agrees() -> None:
    # ques10.com item 29407 (teaching page, printed answers read there): D and E are free; B -0°40', C +1°22', A 0.
    read = {
        ("A", "B"): [at(44, 40)],
        ("B", "A"): [at(225, 20)],
        ("B", "C"): [at(96, 20)],
        ("C", "B"): [at(274, 18)],
        ("C", "D"): [at(30, 40)],
        ("D", "C"): [at(212, 2)],
        ("D", "E"): [at(320, 12)],
        ("E", "D"): [at(140, 12)],
    }

    turned, freed = attraction_by_station(read, radians(0.05))

    assert turned == pytest.approx({"A": 0, "B": -at(0, 40), "C": at(1, 22), "D": 0, "E": 0}, abs=MINUTE / 2)
    printed = {"AB": at(44, 40), "BC": at(95, 40), "CD": at(32, 2), "DE": at(320, 12)}
    assert {p + q: freed[p, q] for p, q in (("A", "B"), ("B", "C"), ("C", "D"), ("D", "E"))} == pytest.approx(
        printed, abs=MINUTE / 2
    )


def test_where_no_line_agrees_with_itself_no_station_is_accused() -> None:
    assert attraction_by_station({("A", "B"): [1.0], ("B", "A"): [1.1 + pi]}, 0.01) == ({}, {})


def test_bearings_without_any_error_agree() -> None:
    assert attraction_by_station({("A", "B"): [0.0], ("B", "A"): [pi]}, 0.0)[0] == {"A": 0.0, "B": 0.0}


def test_a_bearing_is_freed_where_the_needle_s_turn_is_known_at_the_station_it_was_read_at() -> None:
    read = {("A", "B"): [1.0], ("B", "A"): [1.0 + pi], ("B", "C"): [2.0], ("D", "A"): [0.5]}
    turned, freed = attraction_by_station(read, 0.01)

    assert turned == {"A": 0.0, "B": 0.0}
    assert freed == pytest.approx({("A", "B"): 1.0, ("B", "A"): 1.0 + pi, ("B", "C"): 2.0})


def test_fore_and_back_are_compared_across_north() -> None:
    assert disagreement(radians(359), radians(178)) == pytest.approx(radians(-1))
    assert disagreement_limit(radians(1)) == pytest.approx(radians(4.2426), abs=1e-5)


def bearings_of(text: str) -> Any:
    known = "control: {crs: EPSG:32630, points: {A: {easting: 500000, northing: 5700000, accuracy: 1}}}"
    lines = "A-B: {use: base, taped: 60}, A-C: {use: side, taped: 50}, C-B: {use: side, taped: 40}"
    book = f"book: 1\nunit: m\nstations: {{C: {{left_of: A-B}}}}\nlines: {{{lines}}}\nnorth: {{{text}}}\n{known}\n"
    return parse_book(book.encode(), "book.yaml").north


def test_a_bearing_that_the_book_tells_nothing_of_is_as_good_as_its_kind() -> None:
    for kind, told in (("magnetic", 1.0), ("true", 0.1), ("grid", 0.1)):
        north = bearings_of(f"from: {kind}, bearings: {{A-B: 63}}")
        assert bearing_sd(north) == pytest.approx(radians(told))
    assert bearing_sd(bearings_of("from: true, accuracy: 0.25°, bearings: {A-B: 63}")) == pytest.approx(radians(0.25))


def test_bearings_are_turned_within_the_circle_and_their_readings_meaned() -> None:
    north = bearings_of("from: true, accuracy: 0.3°, bearings: {A-B: [359, 1, 3], B-C: 350}")
    one, other = turned_bearings(north, north.bearings, radians(15))
    assert (one.start, one.end, other.start, other.end) == ("A", "B", "B", "C")
    assert degrees(one.booked) == pytest.approx(1)
    assert [degrees(one.bearing), degrees(other.bearing)] == pytest.approx([16, 5])
    assert [degrees(one.sd), degrees(other.sd)] == pytest.approx([0.3 / 3**0.5, 0.3])


def test_a_needle_is_said_to_be_turned_where_it_is_by_more_than_a_bearing_is_good_to() -> None:
    # A-B agrees with itself; at C the needle points 0.9°, or 1.1°, too far, where one reading is good to 0.25° or 1°.
    for sd, off, told in ((0.25, 1.1, "at C (+1°06'00\")"), (0.25, 1.0, None), (0.5, 2.2, "at C (+2°12'00\")")):
        north = bearings_of(
            f"from: magnetic, accuracy: {sd}°, bearings: {{A-B: 60, B-A: 240, B-C: 330, C-B: {150 + off}}}"
        )
        found = [finding.text for finding in local_attraction(north, north.bearings)]
        assert len(found) == (told is not None)
        if told:
            assert f"of B-C disagree by {off:.2f}°: the needle was turned {told};" in found[0]
    nobody = bearings_of("from: magnetic, accuracy: 0.25°, bearings: {A-B: 60, B-A: 246}")
    assert [f.text.split(";")[0] for f in local_attraction(nobody, nobody.bearings)] == [
        "fore and back bearing of A-B disagree by 6.00°: iron was near A or B"
    ]


def test_a_line_agrees_with_itself_up_to_the_limit() -> None:
    limit = disagreement_limit(0.01)
    for share, agrees in ((0.999, True), (1.001, False)):
        read = {("A", "B"): [1.0], ("B", "A"): [1.0 + pi + share * limit], ("B", "C"): [2.0], ("C", "B"): [2.1 + pi]}
        turned, freed = attraction_by_station(read, 0.01)
        assert bool(turned) == agrees
        if agrees:
            # What is off between fore and back is the needle's at C; A and B are taken as they are.
            assert turned == pytest.approx({"A": 0.0, "B": 0.0, "C": -0.1})
            assert freed["C", "B"] == pytest.approx(2.0 + pi)
