"""What a suspect is told to be booked as, and as what it should be: legs add up, several tapings are of one length."""

import pytest

from pegline.readers import parse_book
from pegline.survey import reduce

YARD = """book: 1
unit: m
tapes: {steel: {material: steel, length: 50}}
default_tape: {lines: steel, offsets: steel}
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 25.00}
  A-C: {use: side, taped: 20.00}
  C-B: {use: side, TAPED}
  A-D: {use: side, taped: 20.00}
  D-B: {use: side, taped: 15.00}
  C-D: {use: check, taped: 24.00}
ANGLES
"""


def suspects(taped, angle=""):
    text = YARD.replace("TAPED", taped).replace("ANGLES", f"angles: {{A-C-B: {angle}}}" if angle else "")
    return {one.what: one for one in reduce(parse_book(text.encode(), "yard.yaml")).diagnosis.suspects}


# Too long by 0.57 m: with sides of 15 and 20 m on 25 m the apices lie 12 m off (Euclid, Elements I, 47), 24 m apart.
@pytest.mark.parametrize(
    ("taped", "read", "would_be"),
    [
        ("taped: [15.57, 15.57]", "15.57, 15.57", "15.00, 15.00"),
        ("legs: [7.50, 8.07]", "7.50, 8.07", "6.93 (or another leg)"),
    ],
)
def test_of_legs_one_is_to_be_put_right_and_of_tapings_each(taped, read, would_be):
    said = suspects(taped)["C-B"]
    assert (said.reading, said.would_be) == (read, would_be)


def test_an_angle_wrong_by_two_degrees_is_told_where_no_length_explains_it():
    said = suspects("taped: 15.00", "{angle: 272°00', accuracy: 0°10'}")
    assert said["A-C-B"].would_be == "270°00'"
    assert said["A-C-B"].score > 0.9
