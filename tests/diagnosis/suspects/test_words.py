"""What a suspect is told to be booked as, and as what it should be: legs add up, several tapings are of one length."""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians
from types import SimpleNamespace

import numpy as np
import pytest
from builders.records import place

from pegline.diagnosis.suspects import words
from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Hypothesis
from pegline.diagnosis.suspects.slips import Slip
from pegline.diagnosis.suspects.variants import Variant
from pegline.diagnosis.suspects.words import Terms
from pegline.frame.choice import choose_frame
from pegline.measures.values import Pair, Side
from pegline.network.dependents import change_of
from pegline.network.observation_types import (
    AngleAtStation,
    Booking,
    Chainage,
    ControlCoordinate,
    LineBearing,
    Oblique,
    Offset,
    Ranging,
    Square,
    with_value,
)
from pegline.network.observations import observations
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings
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
        ("legs: [0.40, 15.17]", "0.40, 15.17", "14.60 (or another leg)"),  # no leg is shorter than nothing
    ],
)
def test_of_legs_one_is_to_be_put_right_and_of_tapings_each(taped, read, would_be):
    said = suspects(taped)["C-B"]
    assert (said.reading, said.would_be) == (read, would_be)


def test_an_angle_wrong_by_two_degrees_is_told_where_no_length_explains_it():
    said = suspects("taped: 15.00", "{angle: 272°00', accuracy: 0°10'}")
    assert said["A-C-B"].would_be == "270°00'"
    assert said["A-C-B"].score > 0.9


# -- one hypothesis in the book's own terms --------------------------------------------------------------------------

ROWS = """book: 1
unit: m
tapes: {steel: {material: steel, length: 50}, cloth: {material: fibreglass, length: 20}}
default_tape: {lines: steel, offsets: cloth}
default_method: optical square
stations: {C: {left_of: A-B}}
lines:
  A-B:
    use: base
    taped: [60.00, 60.04]
    details:
      - {at: 12.00, left: 3.00, point: h}
      - {at: 20.00, station: T}
    details_back:
      - {at: 10.00, left: 3.00, point: k}
  A-C: {use: side, legs: [{past: pond, sides: [27.00, 36.00], angle: 90°}]}
  C-B: {use: side, taped: 45.00}
  A-D: {use: side, legs: [0.40, {past: shed, perpendicular: 5.00, hypotenuse: 13.00}]}
  D-B: {use: side, taped: 50.00}
north: {from: magnetic, bearings: {A-B: [90°, 89.5°], B-C: 300°}, accuracy: 0.5}
control: {crs: EPSG:32630, points: {A: {easting: 500000.0, northing: 5713240.0, accuracy: 0.05}}}
"""


def terms_of(more=(), text=ROWS, **frame):
    """Return the terms of a book, each of whose points is solved, with some observations more."""
    book = parse_book(text.encode(), "terms.yaml")
    reduction = reduce_readings(book)
    points = {row.name for row in reduction.rows}
    local = replace(choose_frame(replace(book, control=None, north=None), reduction), **frame)
    ones = [*observations(book, reduction, local, {*book.station_names, *points}), *more]
    names = tuple(dict.fromkeys(name for one in ones for name in one.points))
    network = SimpleNamespace(names=names, index={name: n for n, name in enumerate(names)}, tapes=("cloth", "steel"))
    hints = SimpleNamespace(sides={"C": Side(Pair("A", "B", place(6)), True)}, places={"C": place(6)})
    return Terms(SimpleNamespace(observations=tuple(ones), network=network, hints=hints), book, reduction, local)


def numbered(terms, kind, label=""):
    """Return the number of an observation of a type."""
    return next(
        n for n, one in enumerate(terms.of.observations) if isinstance(one, kind) and label in one.booking.label
    )


def weighed(numbers, amounts=(), parameters=(), **hypothesis):
    one = Hypothesis(tuple(numbers), hypothesis.pop("variant", Variant()), **hypothesis)
    return WeighedHypothesis(one, 0.0, 0.0, 0.0, 0.0, tuple(amounts), np.zeros((0, 0)), np.array(parameters))


def told(accused):
    return [(one.what, one.reading, one.would_be) for one in accused]


@pytest.mark.parametrize(
    ("label", "amount", "reading", "would_be"),
    [
        ("C-B", 1.37, "45.00", "46.37"),
        ("A-B", -0.5, "60.00, 60.04", "59.50, 59.54"),  # each taping by the whole amount
        # 45² = 27² + 36²: of the two sides the longer does more, and 47² = 27² + 38.47².
        ("A-C", 2.0, "27.00, 36.00", "38.47 (or another leg)"),
        ("A-D", 2.0, "0.40, 5.00, 13.00", "2.40 (or another leg)"),  # a leg that was taped as it is
        ("A-D", -2.0, "0.40, 5.00, 13.00", "11.18 (or another leg)"),  # (12 - 2)² + 5² = 11.18²
    ],
)
def test_what_a_reading_would_be_has_all_of_the_amount_in_it(label, amount, reading, would_be):
    terms = terms_of()
    number = [one.booking.label for one in terms.of.observations].index(label)
    assert told(terms.changed_readings(weighed([number], [amount]))) == [(label, reading, would_be)]


def test_a_row_walked_back_is_wrong_the_other_way():
    terms = terms_of()
    back = numbered(terms, Chainage, "10.00")  # as read from B; counted from A it lies at 50
    assert terms.of.observations[back].booking.value > 20
    (accused,) = terms.changed_readings(weighed([back], [1.0]))
    assert (accused.reading, accused.would_be) == ("10.00", "9.00")


def test_of_a_slip_its_own_words_are_told_and_of_two_each_its_own():
    terms = terms_of()
    slip = Slip("1 m misread", "45.00", "46.00", place(7), 1.0, "misread-unit", 0.15)
    first, second = (numbered(terms, object, label) for label in ("C-B", "D-B"))
    (accused,) = terms.changed_readings(weighed([first], [1.0], slip=slip))
    assert (accused.would_be, accused.place) == ("46.00", place(7))
    both = weighed([first, second], [1.0, -0.37], both=(slip, None))
    assert told(terms.changed_readings(both)) == [("C-B", "45.00", "46.00"), ("D-B", "50.00", "49.63")]
    nowhere = weighed([first], [1.0], slip=replace(slip, place=None))
    assert terms.changed_readings(nowhere)[0].place == terms.of.observations[first].booking.place


def other(kind, value, what, *points, **more):
    return kind(Booking("x", "length", "check", ("x", 1), value, 0.01, None, place(3)), *points, **more), what


@pytest.mark.parametrize(
    ("one", "amount", "text"),
    [
        (*other(Ranging, 0.0, 0.0, "T", "A", "B"), "in the line"),
        (*other(Ranging, 0.0, 0.4, "T", "A", "B"), "0.40 m left of the line"),
        (*other(Ranging, 0.0, -0.4, "T", "A", "B"), "0.40 m right of the line"),
        (*other(Square, -pi / 2, radians(-2.0), "h", "A", "B"), "92.0°"),
        (*other(AngleAtStation, pi, radians(-1.5), "A", "B", "C"), "178.5°"),
        (*other(Oblique, 3.0, 0.5, "h", "A", "B", chainage=2.0, length=9.0, side=1), "3.50 m"),
        (*other(LineBearing, radians(10.0), radians(2.0), "C", "A"), "12.0°"),
        (*other(LineBearing, radians(90.0), radians(0.0), "A", "B"), "90°, 89.5°"),  # as it is written
        (*other(LineBearing, radians(90.0), radians(2.0), "A", "B"), "92.0°"),
    ],
)
def test_what_no_tape_reads_is_told_in_its_own_units(one, amount, text):
    assert terms_of().plain_text(one, amount) == text


@pytest.mark.parametrize(
    ("along", "station", "text"),
    [
        ((1.0, 0.0), "A", "easting 500000.500"),
        ((0.0, 1.0), "A", "northing 5713240.500"),
        ((1.0, 0.0), "B", "easting 500100.500 on the grid"),  # not booked: what it makes, from the frame's origin
    ],
)
def test_a_coordinate_is_told_in_the_books_own_figures(along, station, text):
    terms = terms_of(origin=(500_000.0, 5_713_000.0))
    booking = Booking("x", "control", "control", ("x", 1), 100.0, 0.05, None, place(3))
    assert terms.plain_text(ControlCoordinate(booking, station, along), 0.5) == text
    feet = replace(terms, frame=replace(terms.frame, metres_per_unit=0.5))
    assert feet.plain_text(ControlCoordinate(booking, "B", (0.0, 1.0)), 0.5) == "northing 11426201.000 on the grid"
    assert feet.plain_text(ControlCoordinate(booking, "A", (0.0, 1.0)), 0.5) == "northing 5713241.000"


# -- hypotheses beyond single readings -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("way", "side", "told_as"),
    [
        ("h", 1, ("left", "right")),
        ("h", -1, ("right", "left")),
        ("k", 1, ("right", "left")),
        ("k", -1, ("left", "right")),
    ],
)
def test_a_side_is_told_as_it_was_seen(way, side, told_as):
    # k was booked walking back: what lies left of A-B was seen on the right.
    terms = terms_of()
    number = next(n for n, one in enumerate(terms.of.observations) if isinstance(one, Offset) and one.point == way)
    ones = list(terms.of.observations)
    ones[number] = replace(ones[number], side=side)
    terms = replace(terms, of=SimpleNamespace(**{**vars(terms.of), "observations": tuple(ones)}))
    (accused,) = words.accuse_row_side(terms, weighed([number]))
    assert (accused.reading, accused.would_be) == told_as


def test_a_station_and_a_building_are_told_with_the_line_that_they_lie_beside():
    group = ("feature", "barn")
    corners = [
        Square(Booking("h", "square", "wall", group, turn * pi / 2, 0.01, None, place(9)), "A", "h", "k")
        for turn in (1, -1)
    ]
    terms = terms_of(corners)
    index = terms.of.network.index
    assert told(words.accuse_station_side(terms, weighed([], mirrored=(index["C"],)))) == [
        ("C", "left of A-B", "right of A-B")
    ]
    reflected = (index["A"], index["h"], index["k"])
    last = len(terms.of.observations)
    left, right = (
        told(words.accuse_building_side(terms, weighed([n], reflected=reflected))) for n in (last - 2, last - 1)
    )
    assert left == [("barn", "left of A-h", "right of A-h")]
    assert right == [("barn", "right of A-h", "left of A-h")]


def test_the_tape_that_is_wrong_is_named_with_what_it_would_be():
    # Its readings are 1 % too long: 50 m of it are 50 / 1.01 on the ground.
    terms = terms_of()
    size = 2 * len(terms.of.network.names)
    for number, name, nominal in ((0, "cloth", 20.0), (1, "steel", 50.0)):
        scales = [0.0, 0.0]
        scales[number] = 0.01
        one = weighed([0], parameters=[*[7.0] * size, *scales], variant=Variant(loose_tape=number))
        (accused,) = words.accuse_tape_length(terms, one)
        assert (accused.what, accused.reading) == (f"tape {name}", f"{nominal:.3f} m")
        assert accused.would_be == f"{nominal / 1.01:.3f} m"


def test_readings_wrong_by_one_amount_and_bearings_by_that_of_their_station():
    bearings = [
        LineBearing(Booking(f"{a}-{b}", "bearing", "bearing", (a, 1), radians(10.0), 0.01, None, place(3)), a, b)
        for a, b in ("CA", "CB", "DA")
    ]
    terms = terms_of(bearings)
    count = len(terms.of.observations) - 3
    lines = [numbered(terms, object, label) for label in ("C-B", "D-B")]
    assert [one.would_be for one in words.accuse_together(terms, weighed(lines, [2.0]))] == ["47.00", "52.00"]
    changes = tuple(
        {n: change_of(terms.of.observations, n)[n] for n in some} for some in ((count, count + 1), (count + 2,))
    )
    one = weighed(range(count, count + 3), [radians(2.0), radians(-3.0)], variant=Variant(amounts=changes))
    assert [accused.would_be for accused in words.accuse_by_station(terms, one)] == ["12.0°", "12.0°", "7.0°"]
    (turned,) = words.accuse_bearing_turned(terms, weighed([count]))
    assert (turned.reading, turned.would_be) == ("10.0°", "190.0°")


def test_names_lines_and_rows_that_were_mixed_up_are_told_by_what_stands_in_the_book():
    terms = terms_of()
    ones = terms.of.observations
    i, j, row = numbered(terms, object, "C-B"), numbered(terms, object, "A-B"), numbered(terms, Chainage, "12.00")
    assert told(words.accuse_readings_exchanged(terms, weighed([i, j]))) == [
        ("C-B", "45.00", "60.00, 60.04"),
        ("A-B", "60.00, 60.04", "45.00"),
    ]
    variant = Variant({i: replace(ones[i], end="D"), row: replace(ones[row], end="D")})
    assert told(words.accuse_other_line(terms, weighed([i], variant=variant))) == [("C-B", "C-B", "C-D")]
    changed = words.accuse_names_changed(
        terms, weighed([i], variant=Variant({i: replace(ones[i], start="B", end="C")}))
    )
    assert told(changed) == [("C-B", "C", "B"), ("C-B", "B", "C")]
    assert told(words.accuse_line_backwards(terms, weighed([row]))) == [("A-B", "A-B", "B-A")]
    assert told(words.accuse_name_twice(terms, weighed([row]))) == [("A-B at 12.00", "h", "a point of its own")]
    same = Variant({i: with_value(ones[i], 3.0)})
    assert told(words.accuse_names_changed(terms, weighed([i], variant=same))) == []


def test_a_digit_of_a_coordinate_is_looked_for_where_the_book_has_the_coordinate():
    bookings = [Booking(name, "control", "control", (name, 1), 0.0, 0.05, None, place(3)) for name in "AB"]
    known = [
        ControlCoordinate(booking, booking.label, along) for booking in bookings for along in ((1.0, 0.0), (0.0, 1.0))
    ]
    terms = terms_of(
        known,
        text=ROWS.replace("accuracy: 0.05}}}", "accuracy: 0.05}, B: {latitude: 51.5, longitude: -3, accuracy: 1}}}"),
    )
    count = len(terms.of.observations) - 4
    slips = terms.coordinate_slips()
    assert {n - count: bool(found) for n, found in slips.items()} == {0: True, 1: True, 2: False, 3: False}
    easting = next(slip for slip in slips[count] if slip.would_be == "easting 500100.000")
    assert (easting.reading, easting.change, easting.kind) == ("easting 500000.000", pytest.approx(100.0), "digit")
    assert easting.words.endswith("in the easting")
    assert all(slip.would_be.startswith("northing") for slip in slips[count + 1])
    (point, *others) = terms.book.control.points
    no_easting = replace(terms.book.control, points=(replace(point, easting=None), *others))
    one = replace(terms, book=replace(terms.book, control=no_easting))
    assert [bool(found) for found in one.coordinate_slips().values()] == [False, True, False, False]
