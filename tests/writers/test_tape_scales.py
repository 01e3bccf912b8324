"""What control finds of a tape's scale, in words."""

from __future__ import annotations

from pegline.readers import parse_book
from pegline.survey import reduce
from pegline.writers.page.computation_sheet import _reads

#: A tape that reads 1 mm in 1 m short, on control of 5 mm.
BOOK = """
book: 1
unit: m
tapes: {steel: {material: steel, length: 50, accuracy: {fixed: 0.002, per_length: 0.002}}}
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 119.928}
  A-C: {use: side, taped: 149.910}
  B-C: {use: side, taped: 89.946}
"""
CONTROL = """
control:
  crs: EPSG:32630
  points:
    A: {easting: 500000, northing: 5713240, accuracy: 0.005}
    B: {easting: 500120, northing: 5713240, accuracy: 0.005}
    C: {easting: 500120, northing: 5713330, accuracy: 0.005}
"""


def test_the_tape_reads_short_or_long_by_the_control() -> None:
    survey = reduce(parse_book((BOOK + CONTROL).encode(), "plot.yaml"))

    # Grid lengths 120, 150, 90 m are 120.048, … on the ground at scale 0.9996: the tape reads 1 mm in 1 m short.
    assert _reads(survey, survey.reduction.tapes["steel"]).startswith("10.0 ± 0.")
    assert _reads(survey, survey.reduction.tapes["steel"]).endswith(" mm in 10 m short")


def test_without_control_nothing_is_told_of_it() -> None:
    survey = reduce(parse_book(BOOK.encode(), "plot.yaml"))

    assert _reads(survey, survey.reduction.tapes["steel"]) == "–"
