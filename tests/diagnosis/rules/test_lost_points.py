"""A lost decimal point or a wrong unit is told at its own row, with what it was meant to be."""

from types import SimpleNamespace

import pytest
from builders.records import measure
from builders.sound_book import SOUND

from pegline.book.habits import notation_of
from pegline.commands.check import Screen, survey_lines
from pegline.diagnosis.rules.lost_points import SIZE_RULES, far_chainages, moved_point, usual_decimals
from pegline.diagnosis.rules.thumb import chainage_off_line
from pegline.errors import BookError
from pegline.measures.values import Length
from pegline.readers import parse_book
from pegline.survey import reduce

#: Slips of the pen in the sound book: what is booked, what is booked instead, and what was meant.
IN_ROWS = [
    ("at: 30.00, right: 2.00", "at: 3000, right: 2.00", "30.00"),
    ("at: 30.00, right: 2.00", "at: 30.00, right: 200", "2.00"),
    ("at: 36.00, right: 2.05", "at: 36.00, right: 2.05 cm", "2.05 m"),
    ("at: 36.00, right: 2.05", "at: 36.00, right: 2.05 mm", "2.05 m"),
    ("at: 48.00, right: 2.10", "at: 48.00, right: 87", "0.87"),
    ("h1-h2: 8.00", "h1-h2: 8.00 cm", "8.00 m"),
]
#: Slips in a line of the framework, so gross that nothing can be computed.
IN_LINES = [
    ("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: 3754}", "perhaps 37.54"),
    ("C-B: {use: side, taped: [44.82, 44.82]}", "C-B: {use: side, taped: 4482}", "perhaps 44.82"),
    ("D-B: {use: side, taped: [39.70, 39.70]}", "D-B: {use: side, taped: 39.70 mm}", "39.7 m is meant"),
    ("10.00, left: 3.00, point: h1", "10.00, left: 87, point: h1", "perhaps 0.87, or the unit or the line is another"),
]


def line_of(text, words):
    """Return the number of the line that has some words."""
    return next(number for number, line in enumerate(text.splitlines(), 1) if words in line)


@pytest.mark.parametrize(("good", "bad", "meant"), IN_ROWS)
def test_a_row_of_the_wrong_size_is_named_first_with_what_it_was_meant_to_be(good, bad, meant):
    text = SOUND.replace(good, bad)
    survey = reduce(parse_book(text.encode(), "b.yaml"))
    odd = [finding for finding in survey.diagnosis.warnings if finding.rule in SIZE_RULES]

    assert [finding.place.line for finding in odd] == [line_of(text, bad)]
    assert meant in odd[0].text

    screen = "\n".join(survey_lines(survey, Screen()))
    before = screen.split("Likely")[0].split("  in metres")[0]
    assert "Look at" in before
    assert f"book {line_of(text, bad)}" in before.split("Look at")[1]


@pytest.mark.parametrize(("good", "bad", "meant"), IN_LINES)
def test_a_line_of_the_wrong_size_is_named_where_arcs_do_not_meet(good, bad, meant):
    text = SOUND.replace(good, bad)
    with pytest.raises(BookError) as error:
        reduce(parse_book(text.encode(), "b.yaml"))

    (finding,) = error.value.findings
    assert finding.place.line == line_of(text, bad)
    assert finding.text.endswith(meant)


def test_lengths_of_arcs_that_do_not_meet_are_in_the_book_s_units():
    text = SOUND.replace("C-B: {use: side, taped: [44.82, 44.82]}", "C-B: {use: side, taped: 9 ft 6 in}")
    text = text.replace("unit: m", "unit: ft")
    with pytest.raises(BookError, match=r"the arcs to C do not meet: 9\.50 ft from B and 37\.54 ft from A"):
        reduce(parse_book(text.encode(), "b.yaml"))


def test_a_sound_offset_over_the_limit_is_long_and_no_mistake():
    text = SOUND.replace("at: 48.00, right: 2.10", "at: 48.00, right: 14.10")
    rules = {finding.rule for finding in reduce(parse_book(text.encode(), "b.yaml")).diagnosis.warnings}

    assert "long-offset" in rules
    assert not rules & SIZE_RULES


def test_decimals_among_feet_and_inches_are_told_with_how_they_are_read():
    feet = (
        "book: 1\nunit: ft\nstations: {C: {left_of: A-B}}\nlines:\n"
        "  A-B: {use: base, taped: 100 ft 6 in, details: [{at: 20 ft 3 in, left: 4 ft, point: p},\n"
        "    {at: 40 ft 2 in, left: 5.10, point: q}]}\n"
        "  A-C: {use: side, taped: 80 ft 3 in}\n  C-B: {use: side, taped: 70 ft 9 in}\n"
    )
    warnings = reduce(parse_book(feet.encode(), "b.yaml")).diagnosis.warnings
    told = [str(finding) for finding in warnings if finding.rule == "decimals-among-inches"]

    # 5.10 ft is 5 ft 1.2 in; the book writes whole inches.
    assert told == [
        "b.yaml:6:28: 5.10 among feet and inches is read as 5 ft 1 in; write it so, or 5 ft 10 in if that is meant"
    ]


def test_the_point_is_moved_to_where_the_book_has_it():
    assert moved_point(Length(2661.0, None, "2661"), 2, lambda value: value < 60) == "26.61"
    assert moved_point(Length(2661.0, None, "2661"), 1, lambda value: value < 300) == "266.1"
    assert moved_point(Length(5.0, None, "5"), 2, lambda value: value < 1) == "0.05"
    assert moved_point(Length(40.5, "ft", "40 ft 6 in"), 2, lambda value: True) is None
    assert usual_decimals(parse_book(SOUND.encode(), "b.yaml")) == 2


@pytest.mark.parametrize(("chainage", "far"), [(119.9, False), (120.0, True), (-119.9, False), (-120.0, True)])
def test_a_chainage_at_twice_its_line_and_more_is_of_the_wrong_size_and_a_shorter_one_beyond_the_line(chainage, far):
    book, reduction = measure({"A-B": ("base", 60.0)}, rows=[("p", "A-B", chainage, 2.0), ("q", "A-B", 30.0, 2.0)])
    solved = SimpleNamespace(book=book, reduction=reduction, notation=notation_of(book))

    assert [name for name, _, _ in far_chainages(book, reduction)] == ["p"] * far
    beyond = [text for text, _ in chainage_off_line(solved, 3.0)]  # each is told by one rule
    assert len(beyond) == (not far)
