"""A book's own units: what is written reads back as the same length, and differs from it by half a step at most."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline.measures.lengths import length_of_text
from pegline.measures.notation import AREA_TEXTS, Notation, area_text, length_notation
from pegline.units import METRES_PER

NOTATIONS = [
    Notation(("m",), Fraction(1, 100), ("m2",)),
    Notation(("lk",), Fraction(1, 10), ("acre",)),
    Notation(("ft",), Fraction(1, 100), ("square feet",)),
    Notation(("ft", "in"), Fraction(1), ("square feet",)),
    Notation(("ft", "in"), Fraction(1, 8), ("square feet",)),
    Notation(("ft", "in"), Fraction(1, 10), ("square feet",)),
    Notation(("ch", "lk"), Fraction(1, 10), ("acre",)),
    Notation(("yd", "ft"), Fraction(1, 10), ("acre",)),
    Notation(("m", "cm"), Fraction(1), ("m2",)),
]


@pytest.mark.parametrize("notation", NOTATIONS, ids=lambda one: f"{one.name}, {one.step}")
@given(metres=st.floats(0, 3000))
def test_a_length_reads_back_within_half_a_step(notation, metres):
    step = float(notation.step) * METRES_PER[notation.units[-1]]

    back = length_of_text(notation.length(metres)).metres(notation.units[0])

    assert back == pytest.approx(metres, abs=step / 2 * (1 + 1e-6))


@given(metres=st.floats(0, 3000))
def test_feet_and_inches_in_a_column_read_back_too(metres):
    notation = Notation(("ft", "in"), Fraction(1, 4), ("square feet",))

    back = length_of_text(notation.figure(metres)).metres("ft")

    assert back == pytest.approx(metres, abs=0.0254 / 8 * (1 + 1e-6))


def test_inches_never_come_to_a_foot():
    notation = Notation(("ft", "in"), Fraction(1, 2), ("square feet",))

    assert notation.length(40.99 * 0.3048) == "41 ft"
    assert notation.figure(40.99 * 0.3048) == "41'"


def test_a_difference_has_its_sign_and_nought_has_none():
    feet = Notation(("ft", "in"), Fraction(1), ("square feet",))
    metres = Notation(("m",), Fraction(1, 100), ("m2",))

    assert (feet.difference(0.5588), feet.difference(-0.019), feet.difference(0.001)) == ("+1' 10\"", '-3/4"', '0"')
    assert (metres.difference(0.556), metres.difference(-0.004)) == ("+0.56", "0.00")
    assert [feet.signed_length(each) for each in (0.5588, -0.05715, 0.001)] == ["+1 ft 10 in", "-2 1/4 in", "0 in"]
    assert [metres.signed_length(each) for each in (1.834, -1.834, -0.004)] == ["+1.83 m", "-1.83 m", "0.00 m"]


def test_a_round_length_has_no_needless_decimals():
    assert Notation(("m",), Fraction(1, 100), ("m2",)).limit(30.0) == "30 m"
    assert Notation(("ft",), Fraction(1, 100), ("square feet",)).limit(30.48) == "100 ft"
    assert Notation(("ft", "in"), Fraction(1), ("square feet",)).limit(12.3444) == "40 ft 6 in"


@pytest.mark.parametrize("notation", NOTATIONS, ids=lambda one: f"{one.name}, {one.step}")
@given(metres=st.floats(0.001, 0.2))
def test_a_small_length_is_never_nought(notation, metres):
    assert any(digit in "123456789" for digit in notation.small(metres))


def test_a_book_is_compound_where_most_of_its_lengths_are():
    mixed = [length_of_text(text) for text in ("97 ft 9 3/4 in", "12' 6 1/2\"", "8 ft", "9 in")]

    assert length_notation(mixed, "ft") == (("ft", "in"), Fraction(1, 4))
    assert length_notation([length_of_text(text) for text in ("97.4", "12.35", "3 ft 6 in")], "ft") == (
        ("ft",),
        Fraction(1, 100),
    )
    assert length_notation([length_of_text("3 ch 45.5 lk")], "ch") == (("ch", "lk"), Fraction(1, 10))


def test_areas_have_the_sizes_of_their_units():
    # An acre is 10 square chains of 66 ft, 43,560 sq ft, 160 perches; 1 a 0 r 0 p.
    acre = 10 * 20.1168**2

    assert area_text(acre, "square feet") == "43560 sq ft"
    assert area_text(acre, "square chains") == "10.000 sq ch"
    assert area_text(acre * (1 + 3 / 4 + 39.96 / 160), "acre-rood-perch") == "2 a 0 r 0.0 p"
    assert all(area_text(acre, unit) for unit in AREA_TEXTS)


def test_a_bearing_says_its_north():
    assert Notation(("m",), Fraction(1, 100), ("m2",)).bearing(-0.0001, "magnetic") == "0°00' magnetic"
    decimals = Notation(("m",), Fraction(1, 100), ("m2",), minutes=False, bearing_decimals=1)
    assert decimals.bearing(6.28318) == "0.0°"
