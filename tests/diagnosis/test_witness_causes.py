"""A witness distance that does not agree is told with what was likely read, and what else may be the cause."""

import pytest
from builders.paths import SAMPLES

from pegline.commands.batch.one_book import _first_concerns
from pegline.commands.desk.jobs import judgement
from pegline.commands.screen import Screen, survey_lines
from pegline.readers import parse_book
from pegline.survey import reduce

CARDS = (SAMPLES / "how-to/witness-cards.yaml").read_text(encoding="utf-8")


def survey_of(good, bad):
    """Return the survey of the sample of witnesses with one slip of the pen."""
    assert good in CARDS
    return reduce(parse_book(CARDS.replace(good, bad).encode(), "b.yaml"))


@pytest.mark.parametrize(
    ("good", "bad", "cause"),
    [
        ("h1: 7.21", "h1: 7.12", "witness h1-A: booked 7.12, perhaps 7.21"),
        ("gate post: 5.00", "gate post: 6.00", "witness gate post-A: booked 6.00, perhaps 5.00"),
        ("distance: 4.13", "distance: 1.43", "witness oak-A: booked 1.43, perhaps 4.13"),
    ],
)
def test_the_reading_that_was_likely_meant_is_told_with_the_other_causes(good, bad, cause):
    screen = " ".join("\n".join(survey_lines(survey_of(good, bad), Screen())).split())
    thing = cause.split()[1].rsplit("-", 1)[0] if "gate" not in cause else "gate post"

    assert f"Likely {cause} book 26" in screen
    assert f"or {thing} was moved, or its own row (book " in screen
    assert "Do now Tape the witness distance" in screen
    assert "Tape one more line" not in screen


def test_sound_witnesses_have_no_cause():
    screen = "\n".join(survey_lines(survey_of("h1: 7.21", "h1: 7.22"), Screen()))
    assert "Likely" not in screen


def test_batch_and_desk_tell_the_cause_as_the_screen_does():
    survey = survey_of("h1: 7.21", "h1: 7.12")
    (told,) = judgement(survey)["suspects"]

    assert told["text"] == "witness h1-A: booked 7.12, perhaps 7.21"
    assert _first_concerns(survey)["suspect"] == f"{told['text']}; {told['why']}"
