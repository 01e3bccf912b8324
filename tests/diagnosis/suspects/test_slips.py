"""Every slip turns what was read into what is booked; undone, the reading that was meant is on the list."""

from math import nan
from unittest.mock import patch

import pytest
from builders.slips import SLIPS as MADE

from pegline.diagnosis.suspects.booked_reading import BookedReading
from pegline.diagnosis.suspects.slips import SLIPS, SlipKind, meant_readings, slips, spread_of
from pegline.measures.values import Length

#: what was booked, its unit, the tape in metres, what was meant, in words. By hand.
CASES = [
    ("46.05", "m", 30.0, "76.05", "a whole tape length of 30 m dropped"),
    ("46.05", "m", 30.0, "16.05", "a whole tape length of 30 m added"),
    ("46.05", "m", 30.0, "106.05", "two whole tape lengths dropped"),
    ("46.05", "m", 30.0, "47.05", "1 m misread"),
    ("46.05", "m", 30.0, "41.05", "5 m misread"),
    ("46.05", "m", 30.0, "56.05", "10 m misread"),
    ("5.40", "m", 30.0, "0.40", "5 m misread"),
    ("46.05", "m", 30.0, "64.05", "the digits 4 and 6 exchanged"),
    ("46.05", "m", 30.0, "40.65", "the digits 6 and 0 exchanged"),
    ("46.05", "m", 30.0, "49.05", "a 9 booked as a 6"),
    ("31.70", "m", 30.0, "81.70", "an 8 booked as a 3"),
    ("31.70", "m", 30.0, "37.70", "a 7 booked as a 1"),
    ("31.70", "m", 30.0, "31.10", "a 1 booked as a 7"),
    ("4.605", "m", 30.0, "46.05", "the decimal point booked one place too far left"),
    ("46.05", "m", 30.0, "4.605", "the decimal point booked one place too far right"),
    ("46", "m", 30.0, "460", "the decimal point booked one place too far left"),
    ("46", "m", 30.0, "4.6", "the decimal point booked one place too far right"),
    ("46.05", "m", 31.0, "66.05", "20 m, the length of a usual tape, dropped"),
    ("46.05", "m", 31.0, "96.05", "50 m, the length of a usual tape, dropped"),
    ("46.05", "m", 31.0, "16.05", "30 m, the length of a usual tape, added"),
    ("46.05", "ft", 31.0, "112.05", "66 ft, the length of a usual tape, dropped"),
    ("146.05", "ft", 31.0, "96.05", "50 ft, the length of a usual tape, added"),
    ("146.05", "ft", 31.0, "46.05", "100 ft, the length of a usual tape, added"),
    ("12.40", "m", 30.0, "17.60", "read from the wrong end of the tape"),
    ("40.50", "m", 30.0, "40.50 ft", "feet booked as metres"),
    ("40.5", "ft", 30.48, "40.5 lk", "links booked as feet"),
    ("40 ft 6 in", "m", 30.48, "50 ft 6 in", "10 ft misread"),
    ("40 ft 6 in", "m", 30.48, "140 ft 6 in", "a whole tape length of 100 ft dropped"),
    ("3 ch 45 lk", "lk", 20.1168, "4 ch 45 lk", "a whole tape length of 1 ch dropped"),
    ("3 ch 45 lk", "lk", 20.1168, "3 ch 55 lk", "10 lk misread"),
    ("3 ch 45 lk", "lk", 20.1168, "3 ch 54 lk", "the digits 4 and 5 exchanged"),
    ("~46.05", "m", 30.0, "47.05", "1 m misread"),
]


def booked_reading(text: str, unit: str, tape: float, **more: object) -> BookedReading:
    """Return a reading as the reader of books gives it."""
    compound = {"40 ft 6 in": (40.5, "ft"), "3 ch 45 lk": (3.45, "ch")}
    value, own = compound.get(text, (float(text.lstrip("~")) if text not in compound else 0.0, None))
    return BookedReading(Length(value, own, text), unit, (tape,), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("text", "unit", "tape", "right", "words"), CASES)
def test_the_reading_that_was_meant_is_listed_in_the_books_own_manner(text, unit, tape, right, words):
    assert (right, words) in [(m.text, m.words) for m in meant_readings(booked_reading(text, unit, tape))]


def test_a_chainage_may_be_read_from_the_far_end_of_its_line():
    (found,) = (m for m in meant_readings(booked_reading("8.20", "m", 50.0, whole=52.30)) if m.kind == "wrong-end")
    assert found.text == "44.10"
    assert found.metres == pytest.approx(44.10)


def test_only_an_offset_can_lie_on_the_other_side():
    assert not [m for m in meant_readings(booked_reading("3.15", "m", 30.0)) if m.kind == "other-side"]
    (found,) = (m for m in meant_readings(booked_reading("3.15", "m", 30.0, side=1)) if m.kind == "other-side")
    assert (found.text, found.metres) == ("right 3.15", pytest.approx(-3.15))


@pytest.mark.parametrize(("text", "forward"), [("16.58", True), ("-3.05", False)])
def test_no_slip_turns_a_chainage_about(text, forward):
    # Who lays the tape back from the begin of a line reads what lies behind it, however badly.
    reading = BookedReading(Length(float(text), None, text), "m", (30,), whole=39.03)
    assert {meant.metres >= 0 for meant in meant_readings(reading)} == {forward}


def test_no_distance_is_meant_to_be_negative_and_each_value_is_listed_once():
    found = meant_readings(booked_reading("6.30", "m", 30.0))
    assert all(m.metres > 0 for m in found)
    assert len({round(m.metres, 6) for m in found}) == len(found)


#: what the party of the tests does to a right reading: another row of its own table for each of ours
MADE_BY = {
    "whole-tape": ["tape dropped", "tape added"],
    "misread-unit": ["one unit more", "one unit less", "five units more", "ten units more", "ten units less"],
    "exchanged-digits": ["digits exchanged"],
    "confused-digits": ["6 and 9", "1 and 7", "3 and 8"],
    "moved-point": ["point moved right", "point moved left"],
    "wrong-end": ["wrong end"],
    "wrong-unit": ["feet for metres"],
}


@pytest.mark.parametrize(("kind", "made"), [(kind, made) for kind, names in MADE_BY.items() for made in names])
def test_every_slip_made_by_a_party_is_undone(kind, made):
    right, tape, whole = "36.87", 30.0, 81.35  # holds 3, 6, 7 and 8, and is longer than the tape
    right = {"1 and 7": "41.87", "6 and 9": "36.87"}.get(made, right)
    wrong = MADE[made](right, tape, whole)
    found = meant_readings(booked_reading(wrong, "m", tape, whole=whole if kind == "wrong-end" else None))
    assert [m for m in found if m.kind == kind and m.metres == pytest.approx(float(right), abs=0.005)]


def test_every_slip_of_the_table_is_tried():
    assert set(MADE_BY) | {"other-side", "two-tapes", "unnamed-tape"} == set(SLIPS)


def test_a_slip_is_one_function_and_one_row():
    def half_booked(reading):
        yield 2 * reading.metres, f"{2 * reading.metres:.2f}", "half of it booked"

    reading = booked_reading("3.13", "m", 30.0)
    meant_readings.cache_clear()
    with patch.dict(SLIPS, {"half": SlipKind(half_booked, 0.03)}):
        found = [slip for slip in slips([reading], 0.01) if slip.kind == "half"]
    meant_readings.cache_clear()
    assert [(slip.would_be, slip.share) for slip in found] == [("6.26", 0.03)]


def test_the_usual_slips_are_half_of_the_mistakes_in_a_reading_and_the_others_fewer():
    usual = {"whole-tape", "misread-unit", "exchanged-digits", "confused-digits"}
    assert sum(SLIPS[kind].share for kind in usual) == pytest.approx(0.5)
    assert all(
        0 < row.share < min(SLIPS[kind].share for kind in usual) for kind, row in SLIPS.items() if kind not in usual
    )


def test_the_spread_of_readings_is_chi_square_about_their_mean():
    readings = [10.0, 10.02, 10.07]
    mean = sum(readings) / 3
    assert spread_of(readings, 0.01) == pytest.approx(sum((r - mean) ** 2 for r in readings) / 0.01**2)
    assert spread_of([10.0, 10.0], 0.01) == 0.0


def test_of_several_readings_a_slip_is_undone_in_one_or_in_all_and_each_knows_the_spread_that_is_left():
    pair = [booked_reading(text, "m", 30.0, share=0.5) for text in ("46.05", "47.06")]
    found = {(slip.reading, slip.would_be): slip for slip in slips(pair, 0.01)}
    one, each = found["46.05", "47.05"], found["46.05, 47.06", "47.05, 48.06"]
    # In one of two the mean changes by half; 47.05 and 47.06 are then 1 cm apart: χ² = 2 (5 mm / 10 mm)² = 0.5.
    assert (one.change, one.spread) == (pytest.approx(0.5), pytest.approx(0.5))
    assert (each.change, each.spread) == (pytest.approx(1.0), pytest.approx(2 * 50.5**2))
    assert each.words == "1 m misread each time"
    legs = [booked_reading(text, "m", 30.0, part=True) for text in ("46.05", "47.06")]
    alone = {(slip.reading, slip.would_be): slip for slip in slips(legs, 0.01)}
    assert ("46.05, 47.06", "47.05, 48.06") not in alone
    assert (alone["46.05", "47.05"].change, alone["46.05", "47.05"].spread) == (pytest.approx(1.0), 0.0)


def test_what_would_be_meant_and_makes_no_figure_is_no_slip():
    reading = booked_reading("46.05", "m", 30.0, effect=lambda metres: nan if metres > 50 else 2 * metres)
    found = list(slips([reading], 0.01))
    assert found
    assert all(float(slip.would_be.split()[0]) <= 50 for slip in found if slip.would_be.split()[-1] != "ft")
    assert next(slip.change for slip in found if slip.would_be == "47.05") == pytest.approx(2.0)


def test_a_fraction_has_no_digits_to_be_exchanged_or_confused():
    reading = BookedReading(Length(0.75, "in", "13/16 in"), "m", (30.0,))
    assert not {"exchanged-digits", "confused-digits", "moved-point"} & {m.kind for m in meant_readings(reading)}
