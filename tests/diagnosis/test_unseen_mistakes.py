"""What no check would show is said in plain words, beside the verdict and in full."""

import re
from math import dist

import pytest
from builders.paths import SAMPLES
from builders.sound_book import SOUND

from pegline.book.habits import notation_of
from pegline.commands.check import Screen, survey_lines
from pegline.diagnosis.report import accuracy_sentences, verdict
from pegline.diagnosis.rules.phrases import reading_name
from pegline.diagnosis.unseen_mistakes import sides_sentences, unseen_in_rows, unseen_in_short
from pegline.readers import parse_book, read
from pegline.survey import reduce
from pegline.writers.result import result

#: S at 25 on A-B, the foot of C at 33: from 41 S-C is as long. C at 33, 37; D at 18, -30.
ON_A_TIE = """\
book: 1
unit: m
scale: 200
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 60.00, details: [{at: 25.00, station: S}, {at: 45.00, station: T}]}
  A-C: {use: side, taped: 49.58}
  C-B: {use: side, taped: 45.80}
  S-C: {use: tie, taped: 37.85, details: [{at: 10.00, left: 3.00, point: p}]}
  A-D: {use: side, taped: 34.99}
  D-B: {use: side, taped: 51.61}
  T-C: {use: check, taped: 38.90}
  T-D: {use: check, taped: 40.36}
"""


def survey(text):
    return reduce(parse_book(text.encode(), "unseen.yaml"))


def test_a_chainage_is_named_by_its_peg_and_its_line():
    judged = verdict(survey(ON_A_TIE).solved)

    assert judged.headline == "NOT CHECKED: S (3 checks passed)"
    told = r"A mistake of 16\.0\d m in the chainage of S on A-B would not show and could put S off by 16\.0\d m\."
    assert re.fullmatch(told, judged.meaning)


def test_every_reading_of_a_row_is_named_by_its_point():
    found = reduce(read(SAMPLES / "house-plot.yaml"))
    bookings = {each.kind: each.booking for each in found.adjustment.measurements}
    names = {kind: reading_name(booking, found.reduction) for kind, booking in bookings.items()}
    rows = [row.name for row in found.reduction.rows]

    for kind, begin in (("chainage", "the chainage of "), ("offset", "the offset of "), ("ranging", "how ")):
        assert names[kind].startswith(begin + rows[bookings[kind].row])
    assert names["length"] == bookings["length"].label
    assert names["bearing"].startswith("the bearing ")


ONE_SIDE = """\
book: 1
unit: m
stations: {C: {left_of: A-B}}
lines:
  A-B:
    use: base
    taped: 50.00
    details:
      - {at: 12.00, left: 4.00, point: p}
      - {at: 25.00, station: T}
      - {at: 40.00, right: 3.00, point: q}
  A-C: {use: side, taped: 40.00}
  C-B: {use: side, taped: 30.00}
  T-C: {use: check, taped: 25.00}
"""


def test_the_one_side_that_tells_left_from_right_is_named_beside_points():
    # 30² + 40² = 50², and the middle of A-B is 25 from C on whichever side that lies: nothing measured tells.
    for text in (ONE_SIDE, ONE_SIDE.replace("left_of", "right_of")):
        found = survey(text)
        assert verdict(found.solved).word == "PASSED"
        assert "Only the book says on which side C lies." in unseen_in_short(found.solved)


def test_a_side_that_a_second_one_would_contradict_is_not_named_for_the_hand():
    two = ONE_SIDE.replace("}\nlines", ", D: {right_of: A-B}}\nlines")
    two += "  A-D: {use: side, taped: 40.00}\n  D-B: {use: side, taped: 30.00}\n  C-D: {use: check, taped: 48.00}\n"
    assert not any("on which side" in sentence for sentence in unseen_in_short(survey(two).solved))


def test_sides_that_only_the_book_tells_are_named_once_with_their_line():
    found = survey(ON_A_TIE)

    assert "Only the book says on which side C and D lie." in unseen_in_short(found.solved)
    assert list(sides_sentences(found.solved)) == [
        "Only the book says on which side of A-B these lie: C and D.",
        "No measurement would show any of this on the other side.",
        "Only the book says which is left and which is right: no measurement would show the whole plan mirrored.",
    ]
    assert result(found)["solution"]["sides_by_book"] == [
        {"line": "A-B", "stations": ["C"], "points": []},
        {"line": "A-B", "stations": ["D"], "points": []},
        {"line": None, "stations": [], "points": []},
    ]


def test_a_line_across_tells_both_sides():
    across = ON_A_TIE + "  C-D: {use: check, taped: 68.66}\n"

    assert not any("side" in sentence for sentence in unseen_in_short(survey(across).solved))
    assert [side.line for side in survey(across).solved.sides_by_book] == [None]


@pytest.mark.parametrize("moved", ["left_of", "right_of"])
def test_a_station_on_the_other_side_passes_as_it_is_told(moved):
    other = ON_A_TIE.replace("D: {right_of: A-B}", f"D: {{{moved}: A-B}}")

    assert survey(other).passed


def test_points_that_no_check_reaches_are_counted_beside_the_verdict():
    found = survey(SOUND)
    names = found.detail.points.names
    loose = [name for name in names if not found.solved.unnoticed.is_checked(name)]
    lines = list(survey_lines(found, Screen()))

    assert loose
    (sentence,) = unseen_in_rows(found.solved)
    assert sentence.startswith(f"Nothing checks {len(loose)} of {len(names)} points")
    assert any(f"Nothing checks {len(loose)} of {len(names)} points" in line for line in lines[:6])


def test_corners_of_buildings_among_them_are_named():
    (sentence,) = unseen_in_rows(reduce(read(SAMPLES / "house-plot.yaml")).solved)

    assert "corners of buildings among them (s3)" in sentence


def test_a_bearing_read_forward_and_back_checks_no_station():
    lines = "  A-B: {use: base, taped: 60}\n  A-C: {use: side, taped: 50}\n  C-B: {use: side, taped: 46}\n"
    head = "book: 1\nunit: m\nstations: {C: {left_of: A-B}}\nnorth: {from: true, bearings: {A-B: 90°, B-A: 270°}}\n"

    judged = verdict(survey(f"{head}lines:\n{lines}").solved)

    assert judged.headline == "NOT CHECKED: B and C (1 check passed)"


def test_a_flat_framework_is_told_beside_the_accuracy_wherever_that_is():
    # C stands 0.2 m beside A-B: its lines run almost in one direction. The screen, the plan and the computation
    # sheet say these sentences; rows of tables say it of each place.
    lines = "  A-B: {use: base, taped: 60.00}\n  A-C: {use: side, taped: 30.00}\n  C-B: {use: side, taped: 30.00}\n"
    flat = survey(f"book: 1\nunit: m\nstations: {{C: {{left_of: A-B}}}}\nlines:\n{lines.replace('30.00', '30.01')}")

    assert "C" in flat.adjustment.unreliable
    assert any(text.startswith("The framework is too flat at C") for text in accuracy_sentences(flat.solved))
    assert result(flat)["stations"]["C"]["reliable"] is False
    assert result(flat)["stations"]["A"]["reliable"] is True


@pytest.mark.parametrize(
    ("unit", "words"), [("ft-us", "US survey feet"), ("ft", "feet"), ("lk", "links"), ("yd", "yards"), ("m", "metres")]
)
def test_a_screen_names_its_unit_in_the_plural(unit, words):
    assert notation_of(survey(ON_A_TIE.replace("unit: m", f"unit: {unit}")).book).words == words


@pytest.mark.parametrize(("spread", "told"), [(5.5, False), (75, True)])
def test_a_crown_wider_than_the_plot_is_told(spread, told):
    book = SOUND.replace("kind: tree, point: oak", f"kind: tree, spread: {spread}, point: oak")
    words = [finding.text for finding in survey(book).diagnosis.warnings if finding.rule == "odd-size"]

    assert any("the spread of oak" in text for text in words) == told


TIED = """
book: 1
unit: m
stations: {C: {left_of: A-B}, SIDES}
lines:
  A-B: {use: base, taped: 90.00, details: [{at: 47.00, station: T}]}
  A-C: {use: side, taped: 60.21}
  C-B: {use: side, taped: 60.21}
  T-C: {use: tie, taped: 40.00}
"""


def test_a_tie_station_that_nothing_checks_is_told_and_the_accuracy_then_holds_of_a_book_without_mistakes():
    # C stands 40 m over the middle, 60.21 m from both ends (Pythagoras): 2 m beside the middle T-C is longer by 4 cm.
    solved = survey(TIED.replace(", SIDES", "")).solved

    assert verdict(solved).headline.startswith("PASSED")
    assert "Nothing checks where T stands." in unseen_in_short(solved)
    assert "This holds only if the book has no mistake." in list(accuracy_sentences(solved))


def test_stations_of_which_one_alone_on_the_other_side_would_show_are_named_together():
    # E is held by lengths to A, B and C: in a mirror it goes with C, or one of them fails.
    at = {"A": (0.0, 0.0), "B": (90.0, 0.0), "C": (45.0, 40.0), "E": (20.0, 48.0), "T": (20.0, 0.0), "D": (60.0, -35.0)}
    of_ce = {"A-C": "side", "C-B": "side", "A-E": "side", "C-E": "side", "E-B": "check", "T-C": "check"}
    uses = of_ce | {"A-D": "side", "D-B": "side", "T-D": "check"}
    lengths = {line: dist(at[line[0]], at[line[-1]]) for line in uses}
    lines = [f"  {line}: {{use: {use}, taped: {lengths[line]:.2f}}}" for line, use in uses.items()]
    sides = "D: {right_of: A-B}, E: {left_of: A-C}"
    head = TIED.split("  A-C")[0].rstrip().replace("47.00", "20.00").replace("SIDES", sides)
    found = survey("\n".join([head, *lines, ""]))

    said = "Only the book says on which side of A-B these lie: C with E and D."
    assert next(sides_sentences(found.solved)).startswith(said)
