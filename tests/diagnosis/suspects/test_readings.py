"""Each reading stands behind the measurement that changes when the book has another figure there, by as much."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from math import isnan

import pytest
from builders.paths import ROOT

from pegline.book.model import Book
from pegline.diagnosis.open_readings.choices import with_readings
from pegline.diagnosis.suspects.booked_reading import BookedReading
from pegline.diagnosis.suspects.readings import readings_by_number
from pegline.errors import Place
from pegline.frame.choice import choose_frame
from pegline.measures.values import Length
from pegline.network.observation_types import Observation
from pegline.network.observations import observations
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

#: Of a change of 4 mm: slopes and obstacles are followed by a straight line.
STRAIGHT = 0.01
BY = 0.004

BOOKS = [
    "obstacle",  # legs, three of them worked out from several readings
    "walking-back",  # chainages that count from the line's end
    "tape-corrections",  # lengths that are corrected, two tapings of one line
    "extension-wall-by-wall",  # walls
    "sloping-ground",
    "old-chain",  # chains and links
]

#: Everything that a tape reads, in feet, all points solved: arms, a dimension, arcs, two readings of one offset.
PLENTY = """\
book: 1
unit: ft
tapes:
  band: {material: steel, length: 100, true_length: 100.05}
  cloth: {material: fibreglass, length: 66}
default_tape: {lines: band, offsets: cloth}
default_method: optical square
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B:
    use: base
    taped: [160.0, 160.1, 160.0]
    details:
      - {at: 60.0, left: [20.0, 20.1], point: h1}
      - {at: 70.0, station: T}
      - {at: [80.0, 90.0, 100.0], right: [22.4, 20.0, 22.4], point: oak}
      - {at: 120.0, left: 20.0, point: h2}
  A-C: {use: side, taped: 100.0}
  C-B: {use: side, taped: 100.0}
  A-D: {use: side, taped: 100.0}
  D-B: {use: side, taped: 100.0}
  C-D: {use: check, taped: 120.0}
dimensions: {h1-h2: 60.0, h1-oak: [50.0, 50.1]}
arcs: [{point: well, from: {A: 60.0, D: 50.0}, left_of: A-D}]
"""


@cache
def book_of(name: str) -> Book:
    path = ROOT / "samples" / "how-to" / f"{name}.yaml"
    return parse_book(PLENTY.encode() if name == "plenty" else path.read_bytes(), f"{name}.yaml")


def observed(book: Book) -> tuple[Observation, ...]:
    """Return everything that a book measures, each of its points taken to be solved."""
    reduction = reduce_readings(book)
    points = {row.name for row in reduction.rows} | {arc.point for arc in reduction.arcs}
    return observations(book, reduction, choose_frame(book, reduction), {*book.station_names, *points})


def with_longer(book: Book, place: Place, by: float) -> Book:
    """Return a book with one reading longer by some metres."""

    def longer(reading):
        if reading.place != place:
            return reading
        metres = reading.length.metres(unit_at[place])
        return replace(reading, length=Length(metres + by, "m", f"{metres + by:.6f} m"))

    unit_at = {place: next(r.unit for all_of in behind(book).values() for r in all_of if r.place == place)}
    return with_readings(book, longer)


def behind(book: Book) -> dict[int, tuple[BookedReading, ...]]:
    return dict(readings_by_number(book, reduce_readings(book), observed(book)))


@pytest.mark.parametrize("name", [*BOOKS, "plenty"])
def test_another_figure_in_the_book_changes_the_measurement_by_what_is_foretold(name):
    book = book_of(name)
    before = observed(book)
    tried = 0
    for number, readings in behind(book).items():
        for reading in readings:
            after = observed(with_longer(book, reading.place, BY))
            by = after[number].booking.value - before[number].booking.value
            assert by == pytest.approx(reading.change_to(reading.metres + BY), abs=STRAIGHT * BY)
            assert abs(by) > BY / 10 or reading.effect is not None  # two equal offsets of a parallel do nothing
            tried += 1
    assert tried >= 5


@pytest.mark.parametrize("name", BOOKS)
def test_behind_a_measurement_stands_what_the_tape_read_and_in_the_books_words(name):
    book = book_of(name)
    rows = (ROOT / "samples" / "how-to" / f"{name}.yaml").read_text(encoding="utf-8").splitlines()
    for readings in behind(book).values():
        for reading in readings:
            assert (
                rows[reading.place.line - 1][reading.place.column - 1 :]
                .lstrip("'\"{ ")
                .startswith((reading.text, "reading:", "left", "right", "past", f"'{reading.text}"))
            ), reading
            assert reading.tape_words == ("chain" if name == "old-chain" and reading.tapes[0] > 20 else "tape")


def test_every_measurement_of_a_tape_has_its_readings():
    book = book_of("plenty")
    ones, readings = observed(book), behind(book)
    kinds = Counter(one.booking.kind for number, one in enumerate(ones) if number in readings)
    assert kinds == Counter(
        length=6, chainage=3, offset=2, oblique=3, dimension=4
    )  # two dimensions and two arms of an arc
    assert {one.booking.kind for number, one in enumerate(ones) if number not in readings} == {"ranging"}
    by_label = {one.booking.label: readings[n] for n, one in enumerate(ones) if n in readings}
    assert [len(by_label[name]) for name in ("A-B", "A-C", "h1-h2", "h1-oak")] == [3, 1, 1, 2]


def test_a_reading_knows_its_line_its_side_and_the_tapes_that_may_have_been_laid():
    book = book_of("plenty")
    ones, readings = observed(book), behind(book)
    chainage = next(readings[n][0] for n, one in enumerate(ones) if one.booking.kind == "chainage")
    offset = next(readings[n][0] for n, one in enumerate(ones) if one.booking.kind == "offset")
    # The line's mean as read; the tape that was laid comes first, whichever the others are.
    assert chainage.whole == pytest.approx((160.0 + 160.1 + 160.0) / 3 * 0.3048)
    assert offset.whole is None
    assert (chainage.side, offset.side) == (0, 1)
    assert chainage.tapes[:2] == pytest.approx((100 * 0.3048, 66 * 0.3048))
    assert offset.tapes[:2] == pytest.approx((66 * 0.3048, 100 * 0.3048))


@pytest.mark.parametrize(("way", "side"), [("details", 1), ("details_back", -1)])
def test_the_side_is_as_the_book_writes_it(way, side):
    # Walking back, what lies left of the line lies to the right.
    text = (
        PLENTY.split("    details:")[0]
        + f"    {way}: [{{at: 60.0, {'left' if side > 0 else 'right'}: 20.0, point: t}}]\n"
    )
    text += "  A-C: {use: side, taped: 100.0}\n  C-B: {use: side, taped: 100.0}\n"
    book = parse_book(text.replace(", D: {right_of: A-B}", "").encode(), "sides.yaml")
    (offset,) = (all_of[0] for n, all_of in behind(book).items() if observed(book)[n].booking.kind == "offset")
    assert offset.side == side


def test_legs_add_up_and_tapings_are_of_one_length():
    legs, tapings = behind(book_of("obstacle"))[0], behind(book_of("plenty"))[0]
    assert all(one.part for one in legs)
    assert [one.part for one in tapings] == [False] * 3
    # Of three tapings a mistake goes into the mean by a third, with the band's own length: 100.05 for 100.
    assert [one.share for one in tapings] == pytest.approx([1.0005 / 3] * 3)
    assert [one.share for one in legs if one.effect is None] == pytest.approx([1.0] * 4, abs=0.001)


def test_where_an_obstacle_could_not_be_passed_with_a_reading_it_has_no_effect():
    # A hypotenuse shorter than its perpendicular makes no triangle.
    legs = behind(book_of("obstacle"))[0]
    (hypotenuse,) = (one for one in legs if one.text == "10.55")
    assert isnan(hypotenuse.change_to(4.99))
    # By Pythagoras: from 10.55 to 13.00 over 5.00 the leg grows from 9.29 to 12.00.
    assert hypotenuse.change_to(13.0) == pytest.approx(12.0 - (10.55**2 - 5.0**2) ** 0.5, abs=0.001)


@pytest.mark.parametrize("change", [-3.0, -0.5, 0.5, 3.0])
@pytest.mark.parametrize(
    ("way", "length"),
    [
        ("sides: [27.00, 36.00], angle: 90°", lambda a, b: (a**2 + b**2) ** 0.5),
        ("perpendicular: 5.00, hypotenuse: 13.00", lambda a, b: (b**2 - a**2) ** 0.5),
    ],
)
def test_what_a_reading_would_be_makes_the_line_by_so_much_longer(way, length, change):
    text = PLENTY.replace("unit: ft", "unit: m").replace(
        "C-B: {use: side, taped: 100.0}", f"C-B: {{use: side, legs: [{{past: pond, {way}}}]}}"
    )
    book = parse_book(text.encode(), "pond.yaml")
    number = [one.booking.label for one in observed(book)].index("C-B")
    one, other = behind(book)[number]
    expected = pytest.approx(length(one.metres, other.metres) + change, abs=0.001)
    assert length(one.metres, other.metres_for(change)) == expected
    if "perpendicular" in way and change == 3.0:  # no perpendicular makes of 13 m a leg of 15 m
        assert isnan(one.metres_for(change))
    else:
        assert length(one.metres_for(change), other.metres) == expected
