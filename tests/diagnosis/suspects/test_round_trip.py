"""A suggestion put into the book in the reading's place does what is foretold: every check passes.

For every unit and spelling of lengths, and every kind of measurement.
"""

from __future__ import annotations

from fractions import Fraction
from math import dist

import pytest

from pegline.readers import parse_book
from pegline.survey import Survey, reduce

AT = {"A": (0.0, 0.0), "B": (52.3, 0.0), "C": (22.0, 30.0), "D": (28.0, -26.0), "T": (20.7, 0.0)}
LINES = {
    "A-B": "base",
    "A-C": "side",
    "C-B": "side",
    "A-D": "side",
    "D-B": "side",
    "C-D": "check",
    "T-C": "check",
    "T-D": "check",
}


def feet_and_inches(metres: float, marks: tuple[str, str] = (" ft ", " in")) -> str:
    quarters = round(metres / 0.0254 * 8)
    feet, rest = divmod(quarters, 96)
    whole, eighths = divmod(rest, 8)
    fraction = f" {Fraction(eighths, 8)}" if eighths else ""
    return f"{feet}{marks[0]}{whole}{fraction}{marks[1]}"


def chains_and_links(metres: float) -> str:
    tenths = round(metres / 0.201168 * 10)
    chains, rest = divmod(tenths, 1000)
    return f"{chains} ch {rest / 10:.1f} lk"


#: unit of the book, how a length is written in it
SPELLINGS = {
    "metres": ("m", lambda x: f"{x:.2f}"),
    "metres with their unit": ("ft", lambda x: f"{x:.3f} m"),
    "centimetres": ("cm", lambda x: f"{100 * x:.0f}"),
    "feet": ("ft", lambda x: f"{x / 0.3048:.2f}"),
    "US survey feet": ("ft-us", lambda x: f"{x * 3937 / 1200:.2f}"),
    "yards": ("yd", lambda x: f"{x / 0.9144:.2f}"),
    "feet, inches and eighths": ("ft", feet_and_inches),
    "feet and inches with marks": ("ft", lambda x: feet_and_inches(x, ("' ", '"'))),
    "inches": ("in", lambda x: f"{x / 0.0254:.1f}"),
    "links": ("lk", lambda x: f"{x / 0.201168:.1f}"),
    "chains and links": ("ch", chains_and_links),
    "doubtful": ("m", lambda x: f"~{x:.2f}"),
}


def quote(text: str) -> str:
    return "'" + text.replace("'", "''") + "'" if any(sign in text for sign in "\"'") else text


def book(spelling: str, wrong: dict[str, float]) -> str:
    """Return a book in which some lines, or the chainage of T, are booked longer by so many metres."""
    unit, write = SPELLINGS[spelling]
    told = {line: dist(*(AT[end] for end in line.split("-"))) for line in LINES} | {"T": AT["T"][0]}
    text = {name: quote(write(length + wrong.get(name, 0.0))) for name, length in told.items()}
    rows = [
        f"  {line}: {{use: {use}, taped: {text[line]}"
        + (f", details: [{{at: {text['T']}, station: T}}]" if line == "A-B" else "")
        + "}"
        for line, use in LINES.items()
    ]
    head = ["book: 1", f"unit: {unit}", "tapes: {s: {material: steel, length: 30 m}}", "default_tape: {lines: s}"]
    sides = ["stations: {C: {left_of: A-B}, D: {right_of: A-B}}", "lines:"]
    return "\n".join([*head, *sides, *rows, ""])


def survey_of(text: str) -> Survey:
    return reduce(parse_book(text.encode(), "trip.yaml"))


def put_in(text: str, survey: Survey) -> str:
    """Return a book with what the first suspect suggests in the place of what is booked."""
    first = survey.diagnosis.suspects[0]
    rows = text.splitlines()
    for place, reading, would_be in (
        (first.place, first.reading, first.would_be),
        *((other.place, other.reading, other.would_be) for other in first.also),
    ):
        row = rows[place.line - 1]
        before, after = row[: place.column - 1], row[place.column - 1 :]
        found = quote(reading) if quote(reading) in after else reading
        assert found in after, (row, reading)
        rows[place.line - 1] = before + after.replace(found, quote(would_be), 1)
    return "\n".join(rows) + "\n"


WRONG = [{"D-B": 1.27}, {"A-B": -3.333}, {"T": 2.75}, {"C-D": 30.0}, {"A-C": -0.81}, {"T": -5.0}]
#: Each spelling with half of the mistakes and each mistake in half of the spellings; the others take longer.
EVERY = [
    pytest.param(spelling, wrong, marks=[pytest.mark.long] * ((i + j) % 2))
    for i, spelling in enumerate(SPELLINGS)
    for j, wrong in enumerate(WRONG)
]


@pytest.mark.parametrize(("spelling", "wrong"), EVERY)
def test_the_suggestion_lets_every_check_pass(spelling, wrong):
    text = book(spelling, wrong)
    survey = survey_of(text)
    assert survey.diagnosis.suspects[0].closes

    mended = survey_of(put_in(text, survey))

    assert mended.passed
    assert mended.diagnosis.suspects == ()


KINDS = {
    "length": ("taped: 39.05", "taped: 44.05"),
    "chainage": ("{at: 20.00, station: T}", "{at: 22.00, station: T}"),
    "offset": ("{at: 10.00, left: 3.00, point: h1}", "{at: 10.00, left: 4.30, point: h1}"),
    "oblique": ("left: [5.39, 5.00, 5.39]", "left: [5.39, 5.00, 6.39]"),
    "dimension": ("h1-h2: 8.00", "h1-h2: 9.00"),
    "wall": ("left 6.00, left 8.00, left 6.00", "left 6.00, left 8.00, left 6.90"),
    "bearing": ("A-C: 39.81°", "A-C: 49.81°"),
}

MANY = """\
book: 1
unit: m
tapes: {s: {material: steel, length: 50}}
default_tape: {lines: s, offsets: s}
default_method: optical square
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B:
    use: base
    taped: 60.00
    details:
      - {at: 10.00, left: 3.00, point: h1}
      - {at: 18.00, left: 3.00, point: h2}
      - {at: 20.00, station: T}
      - {at: [38.00, 40.00, 42.00], left: [5.39, 5.00, 5.39], kind: tree, point: oak}
  A-C: {use: side, taped: 39.05}
  C-B: {use: side, taped: 46.10}
  A-D: {use: side, taped: 39.70}
  D-B: {use: side, taped: 39.70}
  C-D: {use: check, taped: 56.22}
  T-C: {use: tie, taped: 30.41}
  T-D: {use: check, taped: 27.86}
dimensions: {h1-h2: 8.00, h1-oak: 30.07, h2-oak: 22.09}
features:
  shed: {kind: building, taped_round: {edge: h1-h2, walls: [left 6.00, left 8.00, left 6.00]}, corners: [h3, h4]}
north: {from: true, bearings: {A-B: 90.00°, B-A: 270.00°, A-C: 39.81°, C-A: 219.81°}, accuracy: 0.2}
"""


def test_the_rich_book_is_sound():
    assert survey_of(MANY).passed


@pytest.mark.parametrize("kind", KINDS)
def test_so_does_one_of_any_kind(kind):
    right, wrong = KINDS[kind]
    assert right in MANY
    text = MANY.replace(right, wrong)
    survey = survey_of(text)
    first = survey.diagnosis.suspects[0]
    assert first.kind == kind
    assert first.closes

    mended = survey_of(put_in(text, survey))

    assert mended.passed
    assert mended.diagnosis.suspects == ()
