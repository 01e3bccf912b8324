"""Cells of all kinds of tables: what is shown beside a number, and how far a table may go."""

import math

import pytest

from pegline.errors import BookError, Place, UsageError
from pegline.measures.source_tree import Text
from pegline.readers.cells import (
    beside_digits,
    beside_format,
    check_extent,
    filled_part,
    names_things,
    number_text,
    put_sheet,
    what_to_write,
)


@pytest.mark.parametrize(
    ("number_format", "beside"),
    [
        # A format has up to four parts: of numbers above nought, below it, of nought, and of texts.
        ('0" ft";-0" ft"', "ft"),
        ('0;-0" below"', "below"),
        ('0" ft', "ft"),  # a quotation that is not closed goes as far as the format does
        (r"0.0\m", "m"),
        ("0%", "%"),
        ("[$kr-41D] 0", "kr"),
        ("[$€]0", "€"),
        ("[Red][<5]0_)* ", ""),
        ("GENERAL", ""),
        ("0km", "km"),
        ("# ??/??", ""),
    ],
)
def test_what_a_number_format_shows_beside_the_digits(number_format, beside):
    assert beside_format(number_format) == beside


@pytest.mark.parametrize(
    ("shown", "beside"),
    [("12.50", ""), ("\u22121 234,5", ""), ("1'234", ""), ("1’234", ""), ("12'", "'"), ("3e-4", ""), ("3 eggs", "eggs"),
     ("(4.2)", ""), ("63°", "°"), ("12 1/2", "")],
)  # fmt: skip
def test_what_is_shown_beside_the_digits(shown, beside):
    assert beside_digits(shown) == beside


@pytest.mark.parametrize(
    ("beside", "says"),
    [("%", "this is a percentage"), ("€", "this is a currency"), ("US$", "this is a currency"),
     ("ft", "ft is shown here and is no part of the number; write both as text, such as 3.5 ft")],
)  # fmt: skip
def test_what_to_write_for_it(beside, says):
    assert what_to_write("3.5", beside).startswith(says)


def far(cells, line, column):
    """Return where a table is told to go too far; None where it does not."""
    try:
        check_extent(cells, Place("t", line, column))
    except BookError as error:
        (finding,) = error.findings
        assert finding.rule == "far"
        return finding.place.line, finding.place.column, finding.text
    return None


def test_a_table_may_have_100000_rows_200_columns_and_500000_cells():
    assert far(500_000, 100_000, 200) is None

    beyond = "cells stand beyond 100000 rows or 200 columns; delete what lies out there"
    assert far(1, 100_001, 7) == (100_000, 7, beyond)
    assert far(1, 7, 201) == (7, 200, beyond)
    (line, column, text) = far(500_001, 9, 8)
    assert (line, column) == (9, 8)
    assert text.startswith("as far as here, the tables span more than 500000 cells")


def test_a_row_goes_as_far_as_its_last_cell_that_is_not_blank():
    def row(*values):
        return [Text(value, Place("t", 1, 1)) for value in values]

    assert filled_part(row("", "a", "", "")) == row("", "a")
    assert filled_part(row("a")) == row("a")
    assert filled_part(row("", "")) == []


def test_heads_of_columns_that_name_things_are_known_however_they_are_typed():
    assert names_things(" Line ")
    assert not names_things("left")


def test_a_sheet_is_put_among_the_others_once():
    sheets = {}
    put_sheet(sheets, "lines", [], "t")
    put_sheet(sheets, "tapes", [], "t")

    assert list(sheets) == ["lines", "tapes"]
    with pytest.raises(UsageError, match="t: a second sheet lines; keep one of them"):
        put_sheet(sheets, "lines", [], "t")


@pytest.mark.parametrize(
    ("value", "text"),
    # A double holds every whole number of fifteen digits.
    [(30.5, "30.5"), (0.1 + 0.2, "0.3"), (-7.0, "-7"), (999_999_999_999_999.0, "999999999999999"), (0, "0")],
)
def test_a_number_is_written_as_a_person_would(value, text):
    faults = []

    assert number_text(value, "", Place("t", 2, 3), faults) == text
    assert faults == []


@pytest.mark.parametrize("value", [1e15, -1e15, math.inf, math.nan])
def test_a_number_whose_digits_would_be_lost_is_told(value):
    faults = []

    assert number_text(value, "", Place("t", 2, 3), faults) == ""
    assert [(fault.rule, fault.place, fault.text[:31]) for fault in faults] == [
        ("number", Place("t", 2, 3), "no book has a number as large a")
    ]


def test_a_number_that_is_shown_with_more_than_its_digits_is_told():
    faults = []

    assert number_text(3.5, "ft", Place("t", 2, 3), faults) == "3.5"
    assert [fault.text.split(";")[0] for fault in faults] == ["ft is shown here and is no part of the number"]
