"""The judgement in words: one verdict, the mistake with its reading, the checks in the book's own units."""

import re
from dataclasses import replace

import numpy as np
import pytest
from builders.mistaken import MISTAKES, survey_of
from builders.paths import SAMPLES
from builders.sound_book import SOUND

from pegline.book.habits import notation_of
from pegline.diagnosis.causes import likely_causes
from pegline.diagnosis.model import Diagnosis, Suspect
from pegline.diagnosis.report import accuracy_in_full, accuracy_sentences, check_rows, do_now, verdict
from pegline.errors import Place
from pegline.readers import parse_book, read
from pegline.survey import reduce


def survey(text):
    return reduce(parse_book(text.encode(), "report.yaml"))


def rows(text):
    found = survey(text)
    return {row.label: row for row in check_rows(found, 100, notation_of(found.book))}


BARE = (
    SOUND.replace("  C-D: {use: check, taped: 54.23}\n", "")
    .replace("dimensions:\n  h1-h2: 8.00\n", "")
    .replace("A-B: 90°, B-A: 270°", "A-B: 90°")
)
WRONG = SOUND.replace("taped: 54.23", "taped: 59.23")
PADDOCK = (SAMPLES / "paddock.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "headline", "meaning"),
    [
        (SOUND, "PASSED: 3 checks", "The extra measurements agree within what the tapes allow."),
        (WRONG, "FAILED: 1 of 3 checks", "Do not use the plan yet."),
        (BARE, "NOT CHECKED: nothing was measured that could show a mistake", "A mistake in any line would not show."),
        (
            SOUND.replace("h1-h2: 8.00", "h1-h2: 8.60"),
            "FAILED: 1 of 3 checks",
            "The framework of stations passed; do not use h1-h2 yet.",
        ),
    ],
)
def test_the_verdict_is_one_word_and_what_it_is_about(text, headline, meaning):
    judged = verdict(survey(text).solved)

    assert judged.headline == headline
    assert judged.meaning.endswith(meaning)


#: D hangs on two lines that no check reaches; T-C checks the triangle of C alone. T is at 11 on A-B, C at 14.0, 12.0.
HALF_CHECKED = """\
book: 1
unit: UNIT
scale: 100
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 30.00, details: [{at: 11.0, station: T}]}
  A-C: {use: side, taped: 18.44}
  C-B: {use: side, taped: 22.80}
  T-C: {use: check, taped: 14.03}
  A-D: {use: side, taped: 20.25}
  D-B: {use: side, taped: 17.03}
CONTROL"""


def half_checked(control="", unit="m"):
    return survey(HALF_CHECKED.replace("UNIT", unit).replace("CONTROL", control))


def test_what_no_check_reaches_is_named_with_its_reading_and_what_to_tape():
    judged = verdict(half_checked().solved)

    assert judged.headline == "NOT CHECKED: D (1 check passed)"
    assert re.fullmatch(r"A mistake in (A-D|D-B) would not show and could put D anywhere\.", judged.meaning)
    assert any("D" in sentence for sentence in do_now(half_checked()))


def test_a_failed_check_does_not_hide_what_nothing_checks():
    wrong = survey(HALF_CHECKED.replace("UNIT", "m").replace("CONTROL", "").replace("14.03", "15.03"))

    assert verdict(wrong.solved).meaning == "Do not use the plan yet. Nothing checks D."


@pytest.mark.parametrize(("checks", "seed"), [(1, 5), (3, 5)])
def test_a_figure_that_a_mistake_has_spoilt_says_nothing_of_what_checks_it(checks, seed):
    random = np.random.default_rng([checks, seed, 9])
    sound = survey_of(random, checks)
    wrong = survey(MISTAKES["base short"](sound, random).text)

    assert "C" in wrong.solved.unchecked
    assert "C" not in survey(sound.text).solved.unchecked
    assert "C" not in verdict(wrong.solved).meaning


def test_control_that_nothing_checks_is_told_in_the_same_breath():
    control = "north: {from: grid, bearings: {A-B: 90°}}\ncontrol:\n  crs: EPSG:25830\n  points:\n"
    one = control + "    A: {easting: 500000.0, northing: 4600000.0, accuracy: 0.05}\n"
    two = one + "    B: {easting: 500030.0, northing: 4600000.0, accuracy: 0.05}\n"

    assert "Nothing checks the control" in verdict(half_checked(one).solved).meaning
    assert "Nothing checks the control" not in verdict(half_checked(two).solved).meaning


def test_the_accuracy_says_which_it_is_and_on_what_it_rests():
    sound, half = (" ".join(accuracy_sentences(each.solved)) for each in (survey(SOUND), half_checked()))

    pattern = r"A typical point is within \d+ mm, the weakest \(.+?\) within .+? \(95 %, relative to the base line\)\."
    assert re.match(pattern, sound)
    # Its details are booked once each, which nothing checks.
    assert sound.endswith("This holds only if the book has no mistake.")
    assert half.endswith("This holds only if the book has no mistake.")


def test_boundary_corners_that_one_offset_holds_are_named_beside_their_area():
    rows = "      - {at: 50.00, left: 6, point: p1}\n      - {at: 5.00, left: 7, point: p2}\n"
    bounded = SOUND.replace("  lane: {kind", "  plot: {kind: boundary, ring: [h1, oak, p1, p2]}\n  lane: {kind")
    bounded = bounded.replace("      - {at: 48.00,", f"{rows}      - {{at: 48.00,")

    (sentence,) = [each for each in accuracy_sentences(survey(bounded).solved) if each.startswith("Area of plot")]
    assert "p1" in sentence
    assert "p2" in sentence
    assert "a mistake there changes the area unseen" in sentence


def test_accuracies_are_in_the_books_unit():
    sentences = " ".join(accuracy_sentences(half_checked(unit="ft").solved))

    assert re.search(r"within \d+\.\d\d ft", sentences)
    assert " mm" not in sentences


def test_a_check_shows_what_was_booked_what_should_have_been_and_the_plan():
    # C-D from the positions: √(5² + 54²) = 54.231 m; booked 0.10 m more, 1 mm on a plan at 1:100.
    row = rows(SOUND.replace("taped: 54.23", "taped: 54.33"))["line C-D"]

    assert (row.booked, row.computed, row.difference, row.on_plan) == ("54.33", "54.23", "+0.10", "1.0 mm")
    assert not row.check.passed


def test_a_bearing_is_shown_as_the_book_has_it():
    # The book's north is magnetic, the frame's may be another: 270° is booked, 270° shown.
    text = SOUND.replace("from: true", "from: magnetic\n  declination: 12° E")
    row = rows(text)["bearing B-A"]

    assert row.booked == "270°"
    assert row.difference[0] in "+-0"


def test_a_corrected_line_is_shown_as_booked():
    # 30 °C over the standard on 54 m of steel is 54 · 11.5e-6 · 30 = 19 mm: the tape still reads what it reads.
    warm = SOUND.replace("C-D: {use: check, taped: 54.23}", "C-D: {use: check, taped: 54.21, temperature: 50}")

    assert rows(warm)["line C-D"].booked == "54.21"


def test_failed_checks_come_first():
    found = survey(WRONG)
    passed = [row.check.passed for row in check_rows(found, 100, notation_of(found.book))]

    assert passed == sorted(passed)


def test_the_likely_mistake_is_told_with_reading_probability_and_line():
    # The sample's own mistake: B-C is 149.21 and booked with a 6.
    (cause,) = likely_causes(survey(PADDOCK).diagnosis.suspects)

    assert cause.what == "B-C: booked 146.21, perhaps 149.21"
    assert cause.why == "a 9 booked as a 6; all checks then pass (probability over 99 %, if nothing else is wrong)"
    assert PADDOCK.splitlines()[cause.place.line - 1].strip().startswith("B-C")


def test_what_to_do_now_follows_a_failed_check_and_nothing_else():
    assert list(do_now(survey(PADDOCK))) == ["Tape B-C again."]
    assert list(do_now(survey(SOUND))) == []


def test_a_judgement_is_compared_and_shown_without_the_survey_in_which_advice_is_looked_for():
    first, second = (survey(PADDOCK).diagnosis for _ in range(2))
    assert first == second
    assert "Solved(" not in repr(first)


def test_a_side_is_looked_at_first_where_it_is_suspected_first_and_not_where_a_reading_has_its_name():
    found, place = survey(PADDOCK), Place("report.yaml", 4, 9)
    side = Suspect("C", 2, place, "left of A-B", "right of A-B", None, True, 0.4)
    known = Suspect("C", 1, place, "500000.0", "500001.0", None, True, 0.6, "control")
    told = {
        first.kind: list(do_now(replace(found, diagnosis=Diagnosis((first, other), ()))))
        for first, other in ((known, side), (side, known))
    }
    assert told["control"] == ["Compare the coordinates of C with their source."]
    assert told[None] == ["Look on which side of its line C stands."]


def test_a_check_that_fails_by_a_limit_too_fine_for_any_cause_is_measured_again():
    # 30² + 40² = 50² on both sides of A-B: C-D is 48.000, and 0.2 mm more is more than the book allows.
    lines = "A-B: {use: base, taped: 50}\n  A-C: {use: side, taped: 30}\n  C-B: {use: side, taped: 40}\n  "
    lines += "A-D: {use: side, taped: 30}\n  D-B: {use: side, taped: 40}\n  C-D: {use: check, taped: 48.0002}\n"
    head = "book: 1\nunit: m\nlimits: {check: 0.0001 m}\nstations: {C: {left_of: A-B}, D: {right_of: A-B}}\nlines:\n  "
    assert list(do_now(survey(head + lines))) == ["Measure again: C-D."]


def test_suspects_are_shown_until_they_are_nearly_sure():
    place = Place("report.yaml", 4, 9)

    def suspect(name, group, score):
        return Suspect(name, group, place, "10.00", "10.50", None, True, score)

    clear = [suspect("A-B", 1, 0.97), suspect("B-C", 2, 0.03)]
    open_ = [suspect("A-B", 1, 0.4), suspect("B-C", 1, 0.4), suspect("A-C", 2, 0.15), suspect("C-D", 3, 0.05)]

    assert [cause.what.split(":")[0] for cause in likely_causes(clear)] == ["A-B"]
    assert [cause.what.split(":")[0] for cause in likely_causes(open_)] == ["A-B", "B-C", "A-C", "C-D"]


def test_what_is_not_shown_keeps_its_share():
    place = Place("report.yaml", 4, 9)
    rows = [Suspect(name, 1, place, "10.0", "11.0", None, True, 0.15) for name in ("A-B", "B-C", "A-C", "C-D", "B-D")]
    rows.append(Suspect("something else", 2, None, "", "", None, False, 0.25))

    *_, rest = likely_causes(rows)

    assert (rest.what, rest.why) == ("B-D or something else", "together probability 40 %")


def test_no_probability_is_quite_certain():
    (cause,) = likely_causes([Suspect("A-B", 1, Place("b", 1, 1), "10.0", "11.0", "1 m misread", True, 1.0)])

    assert "probability over 99 %" in cause.why


COMMON = "A mistake that all lengths share, such as a wrong unit, would not show."


def test_a_wrong_unit_shows_by_two_known_pegs_and_only_by_them():
    known = (SAMPLES / "how-to" / "two-control-points.yaml").read_text(encoding="utf-8")
    free = known[: known.index("control:")]
    assert COMMON in accuracy_in_full(survey(free).solved)
    assert COMMON not in accuracy_in_full(survey(known).solved)

    assert verdict(survey(free.replace("unit: m", "unit: yd")).solved).word == "PASSED"
    assert verdict(survey(known.replace("unit: m", "unit: yd")).solved).word == "FAILED"


def test_a_corner_of_a_boundary_where_walls_meet_is_told_with_the_points_that_fix_it():
    text = (SAMPLES / "how-to/unreachable-corner.yaml").read_text(encoding="utf-8")
    text = text.replace("barn: {kind: outbuilding,", "plot: {kind: boundary,")
    text = "\n".join(line for line in text.splitlines() if "produced" not in line)
    sentences = " ".join(accuracy_sentences(reduce(parse_book(text.encode(), "b.yaml")).solved))
    # h1, g1 and k are its corners; h2 and g2 fix k as well.
    assert "Area of plot: nothing checks h1, k, g1, h2 and g2" in sentences


def test_what_is_said_of_a_corner_where_walls_meet_stands_at_its_own_entry():
    survey = reduce(read(SAMPLES / "how-to/unreachable-corner.yaml"))
    (told,) = [one for one in survey.diagnosis.warnings if one.rule == "coarse-detail" and one.text.startswith("k ")]
    assert told.place.line == 26
    assert told.text.endswith("book the walls that meet there by points farther apart")
