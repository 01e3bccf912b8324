"""Slips of the pen in a small book: each is told at its line, with the cause and what to do.

A row of the table is a slip, what the pen wrote in place of what, the line that is told, and what is told; after the
semicolon stands what the reader does.
"""

import random
from pathlib import Path

import pytest

from pegline import reduce
from pegline.errors import BookError
from pegline.readers import parse_book

SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.yaml"))
BOOK = """\
book: 1
title: Mill garden
date: 2026-04-18
unit: m
near: {latitude: 51.5, longitude: -2.5}
tapes:
  steel: {material: steel, length: 50}
  linen: {material: linen, length: 30}
default_tape: {lines: steel, offsets: linen}
default_method: optical square
stations:
  A: {mark: peg}
  B: {mark: peg}
  C: {mark: peg, left_of: A-B}
  D: {mark: nail, right_of: A-B}
lines:
  A-B:
    use: base
    taped: [52.31, 52.33]
    details:
      - {at: 8.20, left: 3.15, point: h1}
      - {at: 16.95, left: 3.22, point: h2}
      - {at: [20.00, 30.00], right: [5.39, 8.24], kind: tree, point: apple, girth: 0.95}
      - {at: 31.50, right: 2.05, feature: lane}
      - {at: 36.00, right: 2.40, feature: lane}
      - {at: 41.20, right: 2.10, feature: lane}
  A-C:
    use: side
    taped: 33.08
  C-B: {use: side, taped: 38.46, slope: 1 in 12}
  A-D: {use: side, taped: 36.12}
  D-B: {use: side, taped: 30.77}
  C-D: {use: check, taped: 45.45}
dimensions:
  h1-h2: 8.75
features:
  cottage: {kind: building, rectangle: {edge: h1-h2, left: 6.40}, corners: [h3, h4]}
  lane: {kind: road edge, curve: booked A-B}
witnesses:
  A: {h1: 8.79, gate post: 4.12, hydrant: 5.5}
north:
  from: magnetic
  bearings: {A-B: 63°30', B-A: 243°30'}
  declination: 1.8° W
sheet: {paper: A4}
"""

SLIPS = [
    ("a colon left out after a key", "    use: side", "    use side", 28, "a colon is missing; write 'use: side'"),
    ("a colon left out before a brace", "  C: {mark", "  C {mark", 14, "a colon is missing after 'C'; write 'C: {'"),
    ("a colon left out of a section", "stations:", "stations", 11, "a colon is missing; write 'stations:'"),
    (
        "no space behind a colon",
        "    use: base",
        "    use:base",
        18,
        "the colon after 'use' needs a space behind it; write 'use: base'",
    ),
    (
        "the colon before the space",
        "    taped: 33.08",
        "    taped :33.08",
        29,
        "the colon after 'taped' needs a space behind it; write 'taped: 33.08'",
    ),
    ("a brace not closed", "point: h2}", "point: h2", 22, "the bracket { opened in this line is not closed; close it"),
    (
        "a bracket not closed",
        "[52.31, 52.33]",
        "[52.31, 52.33",
        19,
        "the bracket [ opened in this line is not closed; close it",
    ),
    (
        "a brace not opened",
        "  - {at: 8.20, left",
        "  - at: 8.20, left",
        21,
        "the bracket { is missing at the start of this; add it",
    ),
    (
        "a comma left out",
        "at: 16.95, left",
        "at: 16.95 left",
        22,
        "a bracket or a comma is missing before this; close the list or map",
    ),
    (
        "a semicolon for a comma",
        "at: 16.95, left",
        "at: 16.95; left",
        22,
        "a bracket or a comma is missing before this; close the list or map",
    ),
    ("an equals sign for a colon", "left: 3.22", "left= 3.22", 22, "unknown key 'left= 3.22'; check its spelling"),
    (
        "one space too few",
        "    use: side",
        "   use: side",
        28,
        "this line is indented by 3, those about it by 2 or 4; line them up",
    ),
    (
        "one space too many",
        "    taped: 33.08",
        "     taped: 33.08",
        29,
        "this line is indented by 5, those about it by 4; line them up",
    ),
    ("a tab for an indent", "    use: side", "\tuse: side", 28, "this is a tab; use spaces"),
    (
        "an en dash before a row",
        "      - {at: 36.00",
        "      – {at: 36.00",
        25,
        "an en dash (–) begins this line; write a plain hyphen and a space before an entry of a list",
    ),
    (
        "no space behind the hyphen of a row",
        "      - {at: 36.00",
        "      -{at: 36.00",
        25,
        "a space is missing behind the hyphen that begins an entry of a list; write '- '",
    ),
    (
        "a quotation not closed",
        "title: Mill garden",
        "title: 'Mill garden",
        2,
        "the quotation that begins here is not closed in its line; add its sign, or leave both out",
    ),
    (
        "a colon in a title",
        "title: Mill garden",
        "title: Mill: the garden",
        2,
        "a second ': ' is in this line; put the text in quotes",
    ),
    (
        "a non-breaking space in the indent",
        "    use: side",
        "\xa0   use: side",
        28,
        "this is a non-breaking space, which YAML does not take for a space; type a plain space",
    ),
    (
        "a non-breaking space behind a colon",
        "    use: side",
        "    use:\xa0side",
        28,
        "this is a non-breaking space, which YAML does not take for a space; type a plain space",
    ),
    (
        "a row at the edge of the page",
        "      - {at: 36.00",
        "- {at: 36.00",
        25,
        "this does not line up with what is above; mend the indent",
    ),
    (
        "the whole line twice",
        "  A-D: {use: side, taped: 36.12}",
        "  A-D: {use: side, taped: 36.12}\n  A-D: {use: side, taped: 36.12}",
        32,
        "the key 'A-D' is already in book 31; keep one of them",
    ),
    (
        "a key twice",
        "{at: 16.95, left: 3.22",
        "{at: 16.95, at: 16.95, left: 3.22",
        22,
        "the key 'at' is already in book 22; keep one of them",
    ),
    ("a key misspelt", "taped: 36.12", "tapped: 36.12", 31, "unknown key 'tapped'; did you mean 'taped'?"),
    ("a key of a row misspelt", "left: 3.22", "lfet: 3.22", 22, "unknown key 'lfet'; did you mean 'left'?"),
    ("a capital in a key", "    use: side", "    Use: side", 28, "unknown key 'Use'; did you mean 'use'?"),
    ("a section misspelt", "features:", "featurs:", 36, "unknown key 'featurs'; did you mean 'features'?"),
    (
        "a key that stands elsewhere",
        "taped: 36.12}",
        "taped: 36.12, kind: fence}",
        31,
        "unknown key 'kind'; check its spelling",
    ),
    ("a word misspelt", "use: check", "use: chek", 33, "use: 'chek' is none of its words; did you mean 'check'?"),
    (
        "a material that is none",
        "material: linen",
        "material: cotton",
        8,
        "material: 'cotton' is none of its words; write one of steel, linen, fibreglass, chain",
    ),
    ("a kind misspelt", "kind: building", "kind: bilding", 37, "there is no kind 'bilding'; did you mean 'building'?"),
    (
        "a method misspelt",
        "default_method: optical square",
        "default_method: optical sqaure",
        10,
        "default_method: 'optical sqaure' is none of its words; did you mean 'optical square'?",
    ),
    (
        "a decimal comma in a row",
        "at: 16.95",
        "at: 16,95",
        22,
        "'95' after a comma is no key; if a decimal comma is meant, write a point",
    ),
    ("a decimal comma alone", "taped: 33.08", "taped: 33,08", 29, "taped: '33,08' has a decimal comma; write 33.08"),
    (
        "a decimal comma in brackets",
        "[52.31, 52.33]",
        "[52,31]",
        19,
        "A-B: the readings 52 and 31 differ by more than a tenth; strike the wrong one,"
        " or 52.31 with a point if a decimal comma was meant",
    ),
    (
        "decimal commas in brackets",
        "[52.31, 52.33]",
        "[52,31, 52,33]",
        19,
        "A-B: the readings 52 and 31 and 52 and 33 differ by more than a tenth; strike the wrong one,"
        " or 52.31 and 52.33 with a point if a decimal comma was meant",
    ),
    (
        "a thousands sign",
        "taped: 33.08",
        "taped: 1 033.08",
        29,
        "taped: '1 033.08' has a sign between thousands; write 1033.08",
    ),
    (
        "a letter O for a nought",
        "taped: 33.08",
        "taped: 33.O8",
        29,
        "taped: '33.O8' is no length; write 33.08",
    ),
    (
        "two points",
        "taped: 33.08",
        "taped: 33..08",
        29,
        "taped: '33..08' is no length; write it like 12.45, 12.45 m or 40 ft 6 in",
    ),
    ("a question mark", "left: 3.22", "left: 3.22?", 22, "left: '3.22?' is no length; write ~3.22"),
    (
        "two readings with or",
        "left: 3.22",
        "left: 3.22 or 2.32",
        22,
        "left: '3.22 or 2.32' is no length; write {either: [3.22, 2.32]}",
    ),
    ("a unit that is none", "taped: 36.12", "taped: 36.12 mtrs", 31, "taped: unknown unit 'mtrs'; write m"),
    ("a unit in capitals", "unit: m", "unit: M", 4, "unit: unknown unit 'M'; write m"),
    (
        "inches above twelve",
        "taped: 36.12",
        "taped: 118 ft 14 in",
        31,
        "taped: '118 ft 14 in': 14 in does not fit there; write it like 40 ft 6 in",
    ),
    (
        "a fraction without a unit",
        "left: 3.22",
        "left: 1/4",
        22,
        "left: '1/4' is a fraction without a unit; write a unit or a whole number with it, such as 1/2 in",
    ),
    ("a negative offset", "left: 3.22", "left: -3.22", 22, "left: '-3.22' is below zero; write a length over 0"),
    ("an offset of nothing", "left: 3.22", "left: 0", 22, "left: '0' is zero; write a length over 0"),
    (
        "a length in kilometres",
        "taped: 36.12",
        "taped: 361200",
        31,
        "taped: '361200' is over 100 km, which no tape reaches; check the value and its unit",
    ),
    (
        "digits exchanged in a second reading",
        "[52.31, 52.33]",
        "[52.31, 25.33]",
        19,
        "A-B: the readings 52.31 and 25.33 differ by more than a tenth; strike the wrong one",
    ),
    (
        "both sides",
        "left: 3.22, point",
        "left: 3.22, right: 1.0, point",
        22,
        "both left and right are given; keep the one that was measured",
    ),
    (
        "one chainage too few",
        "[20.00, 30.00]",
        "[20.00]",
        23,
        "the readings 5.39 and 8.24 differ by more than a tenth; strike the wrong one",
    ),
    (
        "one offset too few",
        "[5.39, 8.24]",
        "[5.39]",
        23,
        "2 chainages but 1 offset; write one distance for each chainage",
    ),
    (
        "no side",
        "at: 36.00, right: 2.40, feature",
        "at: [36.00, 38.00], feature",
        25,
        "2 chainages and no offset; write left or right with one distance for each chainage",
    ),
    (
        "nothing named",
        "right: 2.40, feature: lane}",
        "right: 2.40}",
        25,
        "nothing says what is here; add point, feature or station",
    ),
    (
        "a slope as one to so many",
        "slope: 1 in 12",
        "slope: 1:12",
        30,
        "slope: '1:12' may be read in two ways; write '1 in 12', or an angle",
    ),
    (
        "a slope that is a wall",
        "slope: 1 in 12",
        "slope: 95°",
        30,
        "slope: '95°' is no slope to tape along; write an angle under 90°, or '1 in 12'",
    ),
    (
        "a hyphen in a name",
        "point: h2}",
        "point: h-2}",
        22,
        "point: 'h-2' has a hyphen, which means 'from … to'; leave it out of names",
    ),
    (
        "a station misspelt in a side",
        "left_of: A-B",
        "left_of: A-V",
        14,
        "there is no station 'V'; use one of A, B, C, D",
    ),
    (
        "a point misspelt in an edge",
        "edge: h1-h2",
        "edge: h1-h22",
        37,
        "there is no point or station 'h22'; did you mean 'h2'?",
    ),
    (
        "a point misspelt in a dimension",
        "  h1-h2: 8.75",
        "  h1-g2: 8.75",
        35,
        "there is no point or station 'g2'; use one of A, B, C, D, apple, h1, h2, h3, h4, lane.1, lane.2, lane.3",
    ),
    ("a tape misspelt", "lines: steel", "lines: stele", 9, "there is no tape 'stele'; did you mean 'steel'?"),
    (
        "a line booked both ways",
        "  D-B: {use: side, taped: 30.77}",
        "  D-B: {use: side, taped: 30.77}\n  B-D: {use: side, taped: 30.75}",
        33,
        "D-B (book 32) is the same line; add its back reading to taped there",
    ),
    (
        "a booked line turned round",
        "booked A-B",
        "booked B-A",
        38,
        "there is no line 'B-A', but A-B; write that, for the line's key gives its direction",
    ),
    (
        "a feature misspelt in a row",
        "right: 2.40, feature: lane",
        "right: 2.40, feature: land",
        25,
        "there is no feature 'land'; did you mean 'lane'?",
    ),
    ("a corner's name left out", "[h3, h4]", "[h3]", 37, "cottage: corners: 1 names for 2 corners; name each one"),
    (
        "an en dash in a line",
        "  A-D: {use",
        "  A–D: {use",
        31,
        "A–D: 'A–D' has an en dash (–); write a plain hyphen, P-Q",
    ),
    ("a line without an end", "  A-D: {use", "  A-: {use", 31, "A-: 'A-' lacks an end; write P-Q"),
    (
        "a line of three",
        "  A-D: {use",
        "  A-D-B: {use",
        31,
        "A-D-B: 'A-D-B' has more than one hyphen; write P-Q, and no hyphen in a name",
    ),
    (
        "a station named as a point",
        "point: h2}",
        "point: C}",
        22,
        "'C' is a station and a point, the other in book 14; give one another name",
    ),
    (
        "a second base",
        "  A-D: {use: side",
        "  A-D: {use: base",
        31,
        "A-B (book 17) is the base line already; write use: side or tie",
    ),
    ("no base", "    use: base", "    use: side", 17, "no line is the base line; write use: base in the longest one"),
    (
        "a date day first",
        "date: 2026-04-18",
        "date: 18.04.2026",
        3,
        "date: '18.04.2026' is no date; write year-month-day, such as 2026-04-18",
    ),
    (
        "a day that is not",
        "date: 2026-04-18",
        "date: 2026-02-30",
        3,
        "date: '2026-02-30' is no day of the calendar; write year-month-day, such as 2026-04-18",
    ),
    (
        "a bearing above a circle",
        "A-B: 63°30'",
        "A-B: 363°30'",
        43,
        "A-B: \"363°30'\" is more than 360°; write a bearing from 0 to 360, or like N 63°30' E",
    ),
    (
        "minutes above sixty",
        "A-B: 63°30'",
        "A-B: 63°75'",
        43,
        'A-B: "63°75\'": 75 minutes or seconds do not fit; write 0 to 59 after a whole number',
    ),
    (
        "a declination with a minus",
        "1.8° W",
        "-2 W",
        44,
        "declination: '-2 W' has a minus sign and W too; write 2° W, or 2° E",
    ),
    (
        "a declination without a side",
        "1.8° W",
        "1.8°",
        44,
        "declination: '1.8°' does not say east or west; write it like 2.4° E",
    ),
    (
        "a latitude for a longitude",
        "latitude: 51.5",
        "latitude: 151.5",
        5,
        "latitude: '151.5' cannot be a latitude; it is at most 90",
    ),
    (
        "a paper that is none",
        "paper: A4",
        "paper: A7",
        45,
        "paper: 'A7' is none of its words; write one of A4, A3, A2, A1, A0",
    ),
    (
        "a side left out",
        "C: {mark: peg, left_of: A-B}",
        "C: {mark: peg}",
        14,
        "C may lie on either side of A-B; add 'left_of: A-B' or 'right_of: A-B' to its entry",
    ),
]


def test_the_book_without_a_slip_is_sound():
    assert reduce(parse_book(BOOK.encode(), "b.yaml")).passed


def test_there_are_75():
    assert len(SLIPS) >= 75


@pytest.mark.parametrize(("slip", "old", "new", "line", "says"), SLIPS, ids=[slip for slip, *_ in SLIPS])
def test_a_slip_of_the_pen_is_told_at_its_line_with_its_cause_and_cure(slip, old, new, line, says):
    with pytest.raises(BookError) as caught:
        reduce(parse_book(BOOK.replace(old, new, 1).encode(), "b.yaml"))

    assert (line, says) in [(finding.place.line, finding.text) for finding in caught.value.findings if finding.place]
    assert any(mark in says for mark in ";?")  # what to do


SEED = 20260418
COUNT = 500
SHARE = 0.95


def slip_of_the_pen(draw, lines):
    """Return a book's lines with a key missed, two keys exchanged, or a line twice; and the numbers of those lines."""
    while True:
        number = draw.randrange(len(lines))
        line = lines[number]
        body = line.split("  #")[0]
        if not body.strip() or body.lstrip().startswith("#"):
            continue
        way = draw.choice(("missed", "exchanged", "twice"))
        if way == "twice":
            return [*lines[:number], line, *lines[number:]], {number + 1, number + 2}
        at = draw.randrange(len(body))
        wrong = line[:at] + line[at + 1 :] if way == "missed" else line[:at] + line[at : at + 2][::-1] + line[at + 2 :]
        if wrong != line:
            return [*lines[:number], wrong, *lines[number + 1 :]], {number + 1}


def test_of_500_random_slips_that_are_refused_nearly_all_are_told_at_their_line():
    draw = random.Random(SEED)
    books = [path.read_text(encoding="utf-8").split("\n") for path in SAMPLES]
    refused = right = 0
    while refused < COUNT:
        lines, where = slip_of_the_pen(draw, draw.choice(books))
        try:
            parse_book("\n".join(lines).encode(), "b.yaml")
        except BookError as error:
            refused += 1
            right += any(finding.place is not None and finding.place.line in where for finding in error.findings)

    assert right >= SHARE * refused
