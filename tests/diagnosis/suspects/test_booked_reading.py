"""Lengths written as the book writes them, and what a reading's change does to its measurement."""

from math import hypot, isnan, nan, sqrt

import pytest

from pegline.diagnosis.suspects.booked_reading import BookedReading, as_booked, bare, number_parts, with_number
from pegline.measures.lengths import length_of_text
from pegline.measures.values import Length


def booked_reading(text, unit="m", tape=30.0, **more):
    """Return a reading as the reader of books gives it."""
    return BookedReading(length_of_text(text), unit, (tape,), **more)


def test_a_length_is_written_as_the_book_writes_it():
    assert as_booked(47.0512, booked_reading("46.05", "m", 30.0)) == "47.05"
    assert as_booked(12.5, BookedReading(Length(3.5, "m", "3.5 m"), "ft", (30.0,))) == "12.5 m"
    assert as_booked(20.1168 * 2 + 0.201168 * 7, booked_reading("3 ch 45 lk", "lk", 20.1168)) == "2 ch 7 lk"
    # 11.9 inches round up to a whole foot, not to 12 inches.
    assert as_booked(0.3048 * 6 + 0.0254 * 11.9, booked_reading("40 ft 6 in", "m", 30.0)) == "7 ft 0 in"


@pytest.mark.parametrize(
    ("metres", "written", "told"),
    [
        (12.3456, "12", "12.35"),  # whole metres say nothing of 35 cm
        (12.0004, "12", "12"),  # unless what is meant is round
        (12.0006, "12", "12.00"),
        (12.3456, "12.3", "12.35"),
        (12.3456, "12.345", "12.346"),
        (-3.456, "-3.10", "-3.46"),
    ],
)
def test_a_suggestion_is_written_to_a_centimetre_unless_it_is_a_round_one(metres, written, told):
    assert as_booked(metres, booked_reading(written, "m", 30.0)) == told


@pytest.mark.parametrize(
    ("inches", "like", "told"),
    [
        (150.6, "12 ft 6 in", "12 ft 6 1/2 in"),  # a quarter of an inch is finer than a centimetre
        (150.0, "12 ft 6 in", "12 ft 6 in"),
        (155.9, "12 ft 6 1/8 in", "12 ft 11 7/8 in"),
        (155.99, "12 ft 6 1/8 in", "13 ft 0 in"),
        (0.25, "12 ft 6 1/4 in", "0 ft 1/4 in"),
    ],
)
def test_feet_and_inches_keep_their_fractions(inches, like, told):
    reading = BookedReading(Length(12.5, "ft", like), "m", (30.0,))
    assert as_booked(inches * 0.0254, reading) == told


def test_where_no_number_is_written_the_books_unit_is():
    assert as_booked(3.048, BookedReading(Length(1.0, None, "?"), "ft", (30.0,))) == "10.00"


def test_a_length_below_nought_has_one_sign():
    assert as_booked(-3.05, BookedReading(Length(-3.5, None, "-3.50"), "m", (30,))) == "-3.05"
    assert as_booked(3.05, BookedReading(Length(-3.5, None, "-3.50"), "m", (30,))) == "3.05"


def test_a_reading_is_in_its_own_unit_or_in_that_of_its_place():
    assert booked_reading("12.5", "ft").metres == pytest.approx(12.5 * 0.3048)
    assert booked_reading("12.5 m", "ft").metres == 12.5
    assert bare("~ 12.5") == "12.5"
    marked = BookedReading(Length(46.05, None, "~46.05"), "m", (30.0,))
    assert (marked.text, as_booked(47.0, marked)) == ("46.05", "47.00")


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("12.50", [("12.50", "m", 0, 2)]),
        ("12", [("12", "m", 0, 0)]),
        ("40 ft 6 in", [("40", "ft", 0, 0), ("6", "in", 0, 0)]),
        ("9 3/4 in", [("9 3/4", "in", 4, 0)]),
        ("3 ch 45.5 lk", [("3", "ch", 0, 0), ("45.5", "lk", 0, 1)]),
        ("40' 6\"", [("40", "ft", 0, 0), ("6", "in", 0, 0)]),
        ("-3.10", [("3.10", "m", 0, 2)]),
    ],
)
def test_each_number_of_a_length_has_its_unit_its_fraction_and_its_decimals(text, parts):
    found = number_parts(booked_reading(text))
    assert [(part.number, part.unit, part.denominator, part.decimals) for part in found] == parts
    for part in found:
        assert text.lstrip("-")[part.start : part.end] == part.number


@pytest.mark.parametrize(
    ("text", "which", "number", "metres", "written"),
    [
        ("46.05", 0, "49.05", 49.05, "49.05"),
        ("40 ft 6 in", 0, "50", 50.5 * 0.3048, "50 ft 6 in"),
        ("40 ft 6 in", 1, "9", 40.75 * 0.3048, "40 ft 9 in"),
        ("-3.10", 0, "3.70", -3.70, "-3.70"),
    ],
)
def test_one_number_written_otherwise_leaves_the_rest(text, which, number, metres, written):
    reading = booked_reading(text)
    found, otherwise = with_number(reading, number_parts(reading)[which], number)
    assert (found, otherwise) == (pytest.approx(metres), written)


def test_what_is_no_length_is_not_written():
    reading = booked_reading("46.05")
    assert with_number(reading, number_parts(reading)[0], "4.6.05") is None


def test_a_share_of_a_change_goes_into_the_measurement_and_comes_back():
    # One of four readings of a mean: 40 cm of it are 10 cm of the mean.
    reading = booked_reading("46.05", share=0.25)
    assert reading.change_to(46.45) == pytest.approx(0.10)
    assert reading.metres_for(-0.10) == pytest.approx(45.65)
    assert isnan(booked_reading("46.05", share=0.0).metres_for(0.1))


@pytest.mark.parametrize("change", [-0.9, -0.05, 0.3, 6.0])
def test_a_leg_of_a_right_triangle_is_found_from_what_the_hypotenuse_changes_by(change):
    # Beside a leg of 5 m one of 12 m: the hypotenuse is 13 m, and √((13 + c)² - 5²) is the other leg.
    reading = booked_reading("12.00", share=12 / 13, effect=lambda metres: hypot(5.0, metres))
    assert reading.change_to(0.0) == pytest.approx(-8.0)
    leg = sqrt((13.0 + change) ** 2 - 25.0)
    assert reading.change_to(leg) == pytest.approx(change)
    assert reading.metres_for(change) == pytest.approx(leg, abs=5e-4)


def test_no_reading_makes_a_measurement_that_none_can():
    # No hypotenuse is shorter than its other leg, and no triangle has one leg longer than the hypotenuse.
    shortest = booked_reading("12.00", share=12 / 13, effect=lambda metres: hypot(5.0, metres))
    assert isnan(shortest.metres_for(-9.0))
    leg = booked_reading("13.00", share=13 / 12, effect=lambda m: sqrt(m * m - 25.0) if m >= 5.0 else nan)
    assert isnan(leg.metres_for(-12.5))
