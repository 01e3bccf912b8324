"""Legs past an obstacle: worked examples in print, invented figures, and what is refused."""

from math import acos, cos, degrees, radians
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from pegline.errors import BookError
from pegline.measures import obstacles
from pegline.readers import parse_book

CASES = sorted((Path(__file__).parents[1] / "published" / "obstacles").glob("*.yaml"))
MILLIMETRE = 1e-3
side = st.floats(1.0, 200.0)


def book(leg, rows="", head=""):
    text = f"book: 1\nunit: m\n{head}lines:\n  A-B: {{use: base, legs: [20.00, {leg}, 30.00], details: [{rows}]}}\n"
    return parse_book(text.encode(), "b.yaml")


def leg(text):
    return book(text).lines["A-B"].legs[1]


@pytest.mark.parametrize("path", CASES, ids=[path.stem for path in CASES])
def test_a_worked_example_in_print_comes_out(path):
    case = yaml.safe_load(path.read_text(encoding="utf-8"))
    if "leg" in case["given"]:
        found = leg(case["given"]["leg"]).reading.length.value
        expected = case["expected"]["length"]
    else:
        found = cos(getattr(obstacles, case["given"]["formula"])(*case["given"]["lengths"]))
        expected = case["expected"]["cosine"]

    assert found == pytest.approx(expected, abs=case["tolerance"])


@given(first=side, second=side, angle=st.floats(radians(5), radians(175)), share=st.floats(0.01, 0.2))
def test_a_small_triangle_in_the_corner_gives_the_angle_of_the_large_one(first, second, angle, share):
    chord = obstacles.by_two_sides(share * first, share * second, angle)

    assert obstacles.angle_of_chord(share * first, share * second, chord) == pytest.approx(angle, abs=1e-5)


@given(width=side, near=st.floats(1, 50), apart=st.floats(1, 50))
def test_the_ends_of_two_perpendiculars_in_line_with_a_far_peg_give_its_distance(width, near, apart):
    # The line from the peg at (width, 0) over (0, near) reaches (-apart, near (width + apart) / width).
    back = near * (width + apart) / width

    assert obstacles.across_a_river(near, back, apart) == pytest.approx(width, rel=1e-6)


def test_an_angle_by_chain_is_that_of_its_chord():
    # 100 links on each line, chord 60 (Atwell, The Faithfull Surveyour, 1658, ch. 12): 2 asin 0.3.
    assert degrees(obstacles.angle_of_chord(100, 100, 60)) == pytest.approx(34.915, abs=0.001)


WAYS = [
    ("{past: pond, parallel: 24.60, offsets: [3.00, 3.00]}", 24.60),
    ("{past: pond, parallel: 24.60, offsets: [3.00, 5.00]}", (24.6**2 - 4) ** 0.5),
    ("{past: pond, sides: [18.20, 21.05], angle: 60°}", (18.2**2 + 21.05**2 - 18.2 * 21.05) ** 0.5),
    ("{past: pond, sides: [18.20, 21.05], angle: {along: [5, 5], chord: 5.00}}", 19.7796),
    ("{past: pond, perpendicular: 12.00, hypotenuse: 26.40}", (26.4**2 - 144) ** 0.5),
    ("{past: river, perpendiculars: [12.00, 18.00], apart: 10.00}", 20.0),
]


@pytest.mark.parametrize(("text", "length"), WAYS)
def test_what_a_leg_adds_to_the_line(text, length):
    taped = leg(text)

    assert taped.reading.length.value == pytest.approx(length, abs=0.1 * MILLIMETRE)
    assert taped.reading.length.text == f"{length:.2f}"
    assert obstacles.passage_working(taped.passage).startswith(("√(", "10.00 × "))


def test_a_triangle_of_equal_sides_and_chords_has_sixty_degrees():
    assert acos(0.5) == pytest.approx(obstacles.angle_of_chord(5, 5, 5), abs=1e-12)


REFUSED = [
    ("{past: pond, parallel: 24.60}", "offsets is missing; parallel needs it"),
    ("{past: pond}", "taped in one way; write parallel and offsets, or sides and angle"),
    ("{past: pond, parallel: 3, offsets: [3, 3], perpendicular: 2}", "taped in one way"),
    ("{past: pond, parallel: 1.00, offsets: [3.00, 5.00]}", "the parallel is shorter than its offsets differ"),
    ("{past: pond, perpendicular: 26.40, hypotenuse: 12.00}", "look whether they are exchanged"),
    ("{past: river, perpendiculars: [18, 12], apart: 10}", "write the one at the near bank first"),
    ("{past: pond, sides: [18, 21], angle: {along: [5, 5], chord: 12}}", "make no triangle"),
    (
        "{past: pond, perpendicular: {either: [3, 14]}, hypotenuse: 12.00}",
        "with 14 of those it may be, the hypo",
    ),
    ("{past: pond, sides: [18.20, 2l.05], angle: 60°}", "'2l.05' is no length"),
    ("{parallel: 24.60, offsets: [3, 3]}", "past is missing"),
    ("{past: pond, parallel: 24.60, offset: [3, 3]}", "unknown key 'offset'; did you mean 'offsets'?"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_a_leg_that_makes_no_figure_is_refused(text, says):
    with pytest.raises(BookError) as caught:
        book(text)

    assert says in str(caught.value)
    assert caught.value.findings[0].place.line == 4


@pytest.mark.parametrize("at", ["20.00", "46.40", "12.5", "47.0"])
def test_a_chainage_beside_the_leg_is_taken(at):
    assert book("{past: pond, perpendicular: 3, hypotenuse: 26.5688}", f"{{at: {at}, left: 3, point: p}}")


def test_a_chainage_within_the_leg_is_refused_walking_either_way():
    pond = "{past: pond, perpendicular: 3, hypotenuse: 26.5688}"  # 26.40 along the line
    with pytest.raises(BookError, match="at: 30 is within the leg past pond"):
        book(pond, "{at: 30, left: 3, point: p}")
    text = f"book: 1\nunit: m\nlines:\n  A-B: {{use: base, legs: [20, {pond}], details_back: [{{at: 3, point: p}}]}}\n"
    with pytest.raises(BookError, match="at: 3 is within the leg past pond"):
        parse_book(text.encode(), "b.yaml")
