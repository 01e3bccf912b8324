"""Shapes of whole little books, from the text to the areas."""

from math import pi, sqrt

import pytest
from builders.little_book import head

from pegline import reduce
from pegline.errors import BookError
from pegline.readers import parse_book

MICROMETRE = 1e-6

#: A right-angled triangle of 30, 40 and 50 with everything booked without error.
PLOT = (
    head(method="optical square")
    + """\
lines:
  A-B:
    use: base
    taped: 50
    details:
      - {at: 10, left: 2, point: h1}
      - {at: 18, left: 2, point: h2}
      - {at: 5, right: 4, feature: lane}
      - {at: 25, right: 4, feature: lane}
      - {at: 45, right: 4, feature: lane}
      - {at: 30, left: 9, point: w}
  A-C: {use: side, taped: 30}
  C-B: {use: side, taped: 40}
features:
  lane: {kind: road edge, curve: booked}
"""
)


def shapes(features, plot=PLOT):
    return reduce(parse_book((plot + features).encode(), "plot.yaml")).detail.shapes


def test_a_rectangle_keeps_its_sides():
    house = shapes("  house: {kind: building, rectangle: {edge: h1-h2, left: 5.5}, corners: [h3, h4]}")["house"]
    assert house.area == pytest.approx(8 * 5.5, abs=MICROMETRE)
    assert house.perimeter == pytest.approx(27, abs=MICROMETRE)
    assert house.points == ("h1", "h2", "h3", "h4")
    # By hand: two corners of 0.2° turn the far wall against the edge by 8 x 0.28° = 39 mm, half of it over 8 m;
    # the other two shift its ends by 19 mm each, half of both over 5.5 m; edge and depth bring 7 mm x 5.5 m and
    # 5 mm x 8 m, the setting out of the edge 7 mm x 1.4 x 5.5 m.
    assert house.area_sd == pytest.approx(0.2, rel=0.15)


def test_a_round_is_the_area_within_its_walls():
    # An L: 8 along the edge, 6 deep, less a corner of 3 by 2.
    walls = "walls: [left 6, left 5, left 2, right 3]"
    house = shapes(f"  house: {{kind: building, taped_round: {{edge: h1-h2, {walls}}}}}")["house"]
    assert house.area == pytest.approx(8 * 6 - 3 * 2, abs=MICROMETRE)
    assert house.perimeter == pytest.approx(28, abs=MICROMETRE)
    assert house.points == ("h1", "h2", "house.1", "house.2", "house.3", "house.4")


def test_a_circle_and_a_copy_of_a_straight_lane():
    found = shapes(
        "  well: {kind: well, circle: {centre: w, radius: 0.9}}\n"
        "  far: {kind: road edge, parallel: {to: lane, right: 5.5}}\n"
    )
    assert found["well"].area == pytest.approx(pi * 0.81)
    assert found["far"].perimeter == pytest.approx(40, abs=MICROMETRE)
    along = found["far"].path.vertices - found["lane"].path.vertices
    assert (along**2).sum(axis=1) == pytest.approx(5.5**2)


def test_every_direction_of_the_plot_draws_the_same_house():
    text = "  house: {kind: building, taped_round: {edge: h1-h2, walls: [left 6, left 5, left 2, right 3]}}"
    north = "north: {from: true, bearings: {A-B: 211.5}}\nfeatures:\n"
    turned = shapes(text, PLOT.replace("features:\n", north))["house"]
    same = shapes(text)["house"]
    assert (turned.area, turned.perimeter) == pytest.approx((same.area, same.perimeter))
    assert turned.area_sd == pytest.approx(same.area_sd, rel=1e-6)


def test_an_outline_out_of_order_is_told_and_has_no_area():
    survey = reduce(parse_book((PLOT + "  plot: {kind: boundary, ring: [h1, w, h2, C]}").encode(), "plot.yaml"))
    assert survey.detail.shapes["plot"].area is survey.detail.shapes["plot"].area_sd is None
    (warning,) = [finding for finding in survey.diagnosis.warnings if finding.rule == "ring-crosses"]
    assert warning.place.line == 22
    assert "at x 18.00 m, y 4.80 m, near h2 and h1" in warning.text


def test_arms_that_do_not_meet_stop_the_survey():
    plot = PLOT.replace("{at: 30, left: 9, point: w}", "{at: [20, 30], left: [4.1, 5.1], point: w}")
    with pytest.raises(BookError, match=r"w \(4\.1 and 5\.1 from A-B\) do not meet: 0\.80 m between"):
        shapes("  well: {kind: well, at: w}", plot)


def test_arms_that_do_not_meet_are_told_in_the_units_of_the_book():
    rows = "{at: [20 ft 0 in, 30 ft 0 in], left: [4 ft 0 in, 5 ft 3 in], point: w}"
    text = f"book: 1\nunit: ft\nlines:\n  A-B: {{use: base, taped: 60 ft 6 in, details: [{rows}]}}\n"
    with pytest.raises(BookError, match=r"do not meet: 9 in between"):  # 10 ft less 4 ft and 5 ft 3 in
        reduce(parse_book(text.encode(), "plot.yaml"))


def test_the_area_of_the_plot_itself():
    plot = shapes("  plot: {kind: boundary, ring: [A, B, C]}")["plot"]
    assert plot.area == pytest.approx(600, abs=MICROMETRE)
    # The steel tape's scale, 1 in 5000, alone moves it by 2 * 600 / 5000.
    assert sqrt(plot.area_sd**2 - (2 * 600 / 5000) ** 2) < 0.25
    assert plot.area_sd > 2 * 600 / 5000


def test_an_outline_that_crosses_itself_is_told_in_the_book_s_units():
    rows = ", ".join(f"{{at: {at} ft 0 in, left: {left} ft, point: p{n}}}" for n, (at, left) in enumerate(CROSSED))
    text = (
        "book: 1\nunit: ft\nstations: {C: {left_of: A-B}}\nlines:\n"
        f"  A-B: {{use: base, taped: 100 ft 0 in, details: [{rows}]}}\n"
        "  A-C: {use: side, taped: 80 ft 0 in}\n  C-B: {use: side, taped: 70 ft 0 in}\n"
        "features: {shed: {kind: outbuilding, ring: [p0, p1, p2, p3]}}\n"
    )
    told = [finding.text for finding in reduce(parse_book(text.encode(), "b.yaml")).diagnosis.warnings]
    # The diagonals of the square from 10 to 30 and 5 to 25 meet in its middle; the first station is 0, 0.
    assert any("crosses itself at x 20 ft, y 15 ft" in text for text in told)


#: Corners of a square of 20 ft, in an order that crosses.
CROSSED = ((10, 5), (30, 25), (30, 5), (10, 25))
