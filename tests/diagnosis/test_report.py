"""What a party reads in the field: one screen, the sentence first."""

import pytest
from builders.sound_book import SOUND

from pegline.diagnosis.model import Suspect
from pegline.diagnosis.report import lines, suspect_sentences, verdict
from pegline.errors import Place
from pegline.readers import parse_book
from pegline.survey import reduce

WIDTH = 100


def told(text: str) -> tuple[str, ...]:
    """Return the screen of a book."""
    survey = reduce(parse_book(text.encode(), "tell.yaml"))
    return lines(survey.adjustment, survey.diagnosis, scale=100)


def test_a_sound_survey_is_said_to_be_sound_in_the_first_line():
    screen = told(SOUND)
    assert screen[0].startswith("All 3 checks pass")
    assert "Look at these first" not in screen


def test_a_check_line_tells_ground_paper_and_ratio():
    # C-D computed: √(5² + 54²) = 54.231 m from the positions; 0.10 m is 1 mm at 1:100 and 1/542 of 54.23 m.
    text = "\n".join(told(SOUND.replace("taped: 54.23", "taped: 54.33")))
    assert "C-D" in text
    assert "FAILS: taped 0.1" in text
    assert "1.0 mm on paper" in text


def test_a_survey_without_a_check_is_said_to_be_unchecked():
    bare = SOUND.replace("  C-D: {use: check, taped: 54.23}\n", "").replace("dimensions:\n  h1-h2: 8.00\n", "")
    bare = bare.replace("A-B: 90°, B-A: 270°", "A-B: 90°")
    assert told(bare)[0].startswith("Not checked")


@pytest.mark.parametrize("slip", ["taped: 54.23", "taped: 24.23", "taped: 54.83"])
def test_every_line_fits_the_screen(slip):
    assert max(map(len, told(SOUND.replace("taped: 54.23", slip)))) < WIDTH


def test_a_failing_survey_names_the_slip_with_its_reading_and_line():
    text = " ".join("\n".join(told(SOUND.replace("taped: 54.23", "taped: 59.23"))).split())
    assert "C-D: booked 59.23, perhaps 54.23: 5 m misread; everything then closes" in text


def test_suspects_that_cannot_be_told_apart_are_named_together():
    place = Place("tell.yaml", 4, 9)
    tied = [Suspect(name, 1, place, "10.00", "10.50", None, True, 0.5) for name in ("A-B", "B-C")]
    first, *rest = suspect_sentences(tied)
    assert first == "Cannot be told apart by what was measured: A-B, B-C."
    assert len(rest) == 2


def test_the_verdict_of_a_half_checked_survey_counts_the_checks():
    survey = reduce(parse_book(SOUND.replace("taped: 54.23", "taped: 55.23").encode(), "tell.yaml"))
    assert verdict(survey.adjustment).startswith("One check of 3 fails")
