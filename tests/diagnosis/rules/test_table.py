"""Each rule of thumb warns of the book that breaks it, and of no sound one."""

import datetime
import re

import pytest
from builders.sound_book import SOUND

from pegline.diagnosis.rules.impossible import future_dates
from pegline.diagnosis.rules.table import RULES
from pegline.readers import parse_book
from pegline.survey import reduce

#: for each rule what is replaced in the sound book to break it, and words that it says
BROKEN = {
    "long-offset": (
        "18.00, left: 3.00, point: h2",
        "18.00, left: 3.00, point: h2}\n      - {at: 50, left: 10.4, point: p",
        "10.40 m to p",
    ),
    "long-oblique": (
        "[22.00, 28.00], left: [5.00, 5.00]",
        "[2.00, 50.00], left: [32.00, 31.00]",
        "to oak is longer than 30 m",
    ),
    "weak-angle": ("[22.00, 28.00], left: [5.00, 5.00]", "[22.00, 28.00], left: [15.00, 15.00]", "23°"),
    "base-not-longest": (
        "C-D: {use: check, taped: 54.23}",
        "C-D: {use: check, taped: 62.00}",
        "shorter than C-D (62.00 m)",
    ),
    "unchecked-figure": ("  C-D: {use: check, taped: 54.23}\n", "", "no check would show a mistake in"),
    "no-bearing": ("north:\n  from: true\n  bearings: {A-B: 90°, B-A: 270°}\n", "", "no north"),
    "linen-on-line": ("material: steel", "material: linen", "stretches"),
    "few-witnesses": (
        "A: {gate post: 4.12, kerb: 3.15, ash: 7.02}",
        "A: {gate post: 4.12, ash: 7.02}",
        "A has 2 witnesses",
    ),
    "chainage-off-line": (
        "at: 48.00, right: 2.10, feature: lane",
        "at: 60.40, right: 2.10, point: p",
        "60.40 m lies before 0 or beyond the end of A-B (60.00 m)",
    ),
    "coarse-curve": ("at: 42.00, right: 2.10", "at: 42.00, right: 4.10", "too few points on the curve lane"),
    "coarse-detail": ("at: 30.00, right: 2.00", "at: 30.00, right: 2.00, method: eye", "lane.1 is uncertain by"),
    "single-reading": ("taped: [60.00, 60.01]", "taped: 60.00", "A-B measured one way only"),
    "weak-witnesses": (
        "A: {gate post: 4.12, kerb: 3.15, ash: 7.02}",
        "A: {h1: 10.44, h2: 18.25, oak: 25.32}",
        "the witnesses of A cut at 8° at best",
    ),
    "same-point": (
        "18.00, left: 3.00, point: h2",
        "18.00, left: 3.00, point: h2}\n      - {at: 18.03, left: 3.02, point: post",
        "h2 and post lie 0.04 m apart",
    ),
    "house-in-the-way": ("at: 30.00, right: 2.00", "at: 13.00, left: 4.50", "cottage stands across lane"),
    "buildings-overlap": (
        "features:",
        "features:\n  shed: {kind: outbuilding, rectangle: {edge: h1-h2, left: 3.00}}",
        "shed and cottage overlap",
    ),
    "line-through-house": ("10.00, left: 3.00, point: h1", "10.00, right: 3.00, point: h1", "A-B runs through cottage"),
    "far-chainage": (
        "at: 48.00, right: 2.10, feature: lane",
        "at: 480.0, right: 2.10, point: p",
        "chainage 480.0 m to p on a line of 60.00 m",
    ),
    "far-offset": (
        "at: 48.00, right: 2.10, feature: lane",
        "at: 48.00, right: 210, point: p",
        "the offset of 210 m to p on a survey whose longest line is 60.0",
    ),
    "finer-than-a-tape": ("right: 2.05", "right: 2.05 cm", "2.05 cm is finer than a tape is read"),
    "odd-size": ("kind: tree, point: oak", "kind: tree, girth: 190, point: oak", "the girth of oak is 190 m"),
}


def rules_told(text: str) -> dict[str, str]:
    """Return the rules of thumb that a book's survey tells, with what they say."""
    told = reduce(parse_book(text.encode(), "rules.yaml")).diagnosis.warnings
    return {finding.rule: str(finding) for finding in told if finding.rule in RULES}


def test_a_sound_book_trips_no_rule():
    assert rules_told(SOUND) == {}


@pytest.mark.parametrize("rule", BROKEN)
def test_a_broken_rule_is_told_with_its_place_and_what_to_do(rule):
    good, bad, words = BROKEN[rule]
    assert good in SOUND
    said = rules_told(SOUND.replace(good, bad))[rule]
    assert words in said
    assert said.startswith("rules.yaml:")
    assert ";" in said


@pytest.mark.parametrize("rule", BROKEN)
def test_a_silenced_rule_is_not_told(rule):
    good, bad, _ = BROKEN[rule]
    assert rule not in rules_told(SOUND.replace(good, bad) + f"limits: {{silence: [{rule}]}}\n")


def test_every_rule_of_the_table_is_tried():
    # decimals-among-inches is tried in a book of feet and inches.
    assert {*BROKEN, "future-date", "decimals-among-inches"} == set(RULES)


def test_a_date_later_than_today_is_told_on_screen_and_changes_no_file():
    text = "date: 2031-05-01\n" + SOUND.replace(
        "use: side, taped: [44.82", "use: side, date: 2031-05-02, taped: [44.82"
    )
    book = parse_book(text.encode(), "rules.yaml")
    assert "future-date" not in rules_told(text)

    told = [str(finding) for finding in future_dates(book, datetime.date(2031, 4, 30))]

    assert [one.split(";")[0].rpartition(": ")[2] for one in told] == [
        "the date 2031-05-01 is later than today",
        "the date 2031-05-02 is later than today",
    ]
    assert not list(future_dates(book, datetime.date(2031, 5, 2)))
    silent = parse_book((text + "limits: {silence: [future-date]}\n").encode(), "rules.yaml")
    assert not list(future_dates(silent, datetime.date(2031, 4, 30)))


@pytest.mark.parametrize(
    ("limits", "rule"),
    [("offset: 2.5", "long-offset"), ("oblique: 4.5", "long-oblique"), ("angle: [30°, 70°]", "weak-angle")],
)
def test_the_book_moves_a_limit(limits, rule):
    assert rule in rules_told(SOUND + f"limits: {{{limits}}}\n")


def test_a_silence_that_names_no_rule_is_told_with_a_likely_one():
    told = reduce(parse_book((SOUND + "limits: {silence: [long-ofset]}\n").encode(), "rules.yaml")).diagnosis.warnings
    (finding,) = (f for f in told if f.rule == "unknown-rule")
    assert "did you mean long-offset?" in finding.text


def test_a_station_that_hangs_on_unchecked_lines_is_named():
    # E hangs on two lines of its own beside a figure that C-D checks.
    more = "  A-E: {use: side, taped: [30.00, 30.00]}\n  E-C: {use: side, taped: [30.00, 30.00]}\n"
    text = SOUND.replace("  C-D: {use", more + "  C-D: {use").replace(
        "  D: {right_of", "  E: {left_of: A-C}\n  D: {right_of", 1
    )
    assert "no check would show a mistake in A-E: it could put E anywhere" in rules_told(text)["unchecked-figure"]


def test_building_corners_with_one_offset_each_are_named():
    text = SOUND.replace("dimensions:\n  h1-h2: 8.00\n", "").replace(", pump]", ", oak]")
    text = text.replace("arcs:\n  - {point: pump, from: {h1: 5.00, h2: 6.00}, left_of: h1-h2}\n", "")
    assert "h1 and h2 measured by one offset only" in rules_told(text)["single-reading"]


COARSE = (
    "book: 1\nunit: m\nscale: 50\nlines:\n"
    "  A-B: {use: base, taped: 50, details: [{at: 8, left: 3, point: p}, {at: 16, left: 3, point: q}]}\n"
)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("arcs:\n  - {point: z, from: {p: 9, q: 9}, left_of: p-q}\n", {"p": (5, 41), "q": (5, 69), "z": (7, 5)}),
        # Four and more are told in one sentence, the worst first: farther from A the tape itself is less sure.
        (
            "features:\n  hut: {kind: building, rectangle: {edge: p-q, left: 4}}\n",
            {"hut.1, hut.2, q and p": (7, 3)},
        ),
    ],
)
def test_points_that_are_not_sure_enough_are_told_with_their_places(more, told):
    warnings = reduce(parse_book((COARSE + more).encode(), "rules.yaml")).diagnosis.warnings
    coarse = [finding for finding in warnings if finding.rule == "coarse-detail"]
    places = {f.text.split(" is ")[0].split(" are ")[0]: (f.place.line, f.place.column) for f in coarse}

    assert places == told


def test_many_points_that_are_not_sure_enough_are_one_note_with_the_least_and_the_most():
    rows = "".join(f"      - {{at: {at}, left: {at / 2:.2f}, point: p{at}, method: eye}}\n" for at in range(1, 31))
    text = f"book: 1\nunit: m\nscale: 50\nlines:\n  A-B:\n    use: base\n    taped: 50\n    details:\n{rows}"
    survey = reduce(parse_book(text.encode(), "rules.yaml"))
    (told,) = [finding.text for finding in survey.diagnosis.warnings if finding.rule == "coarse-detail"]
    # An offset of 15 m is set out by eye to 2°, more than 12.5 mm even of the shortest.
    assert told.startswith("p30, p29, p28, p27, p26, p25 and ")
    assert re.search(r" more are uncertain by \d+ mm to 0\.\d\d m \(1 σ", told)


def test_of_many_warnings_of_one_kind_the_first_are_told_and_the_others_counted():
    rows = "".join(f"      - {{at: {at}, left: {10 + at:.2f}, point: p{at}}}\n" for at in range(1, 31))
    text = f"book: 1\nunit: m\nscale: 50\nlines:\n  A-B:\n    use: base\n    taped: 50\n    details:\n{rows}"
    told = reduce(parse_book(text.encode(), "rules.yaml")).diagnosis.warnings
    *long, last = [str(finding) for finding in told if finding.rule == "long-offset"]
    counted = 30 - len(long)

    assert ["to p1 is" in long[0], "to p2 is" in long[1], f"to p{len(long)} is" in long[-1]] == [True] * 3
    assert last.startswith(f"{counted} more of the rule long-offset")
    assert 10 <= len(long) < 30
