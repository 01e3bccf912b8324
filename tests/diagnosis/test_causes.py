"""The likely causes of failed checks: walls of a round that do not make their edge, and witness distances."""

import pytest
from builders.paths import SAMPLES

from pegline.commands.batch.one_book import _first_concerns
from pegline.commands.check import Screen, survey_lines
from pegline.commands.desk.jobs import judgement
from pegline.diagnosis.causes import ONLY, likely_causes
from pegline.diagnosis.model import Suspect
from pegline.readers import parse_book
from pegline.survey import reduce

EXTENSION = (SAMPLES / "how-to/extension-wall-by-wall.yaml").read_text(encoding="utf-8")
WALLS, CORNERS = "[left 6.40, left 3.10, right 2.00, left 5.42, left 8.41]", "[h3, e1, e2, h4]"


def survey_of(walls, corners=CORNERS):
    """Return the survey of the sample of an extension, its walls booked otherwise."""
    assert WALLS in EXTENSION
    assert CORNERS in EXTENSION
    text = EXTENSION.replace(WALLS, walls).replace(CORNERS, corners)
    return reduce(parse_book(text.encode(), "b.yaml"))


@pytest.mark.parametrize(
    ("walls", "corners", "readings"),
    [
        # An extension 3 m narrower than the wall it leans on, booked on the whole of that wall.
        ("[left 3.00, left 5.51, left 3.00]", "[h3, h4]", "h3-h4 5.51"),
        ("[left 3.00, left 5.51]", "[h3, h4]", "h3-h4 5.51"),
        # One wall of the sample read 3 m short.
        (WALLS.replace("3.10", "0.10"), CORNERS, "h3-e1 0.10 and e2-h4 5.42"),
        (WALLS.replace("5.42", "2.42"), CORNERS, "h3-e1 3.10 and e2-h4 2.42"),
    ],
)
def test_walls_that_are_short_of_their_edge_are_told_first_and_without_a_probability(walls, corners, readings):
    survey = survey_of(walls, corners)
    screen = " ".join("\n".join(survey_lines(survey, Screen())).replace(" book 25", "").split())

    told = "house: its walls cannot meet at h1; along h1-h2 they make 5.5"
    after = screen.split("Likely ")[1]
    assert after.startswith(told)
    assert f" m, not 8.53 m ({readings}) either one of these" in after
    assert "an edge of its own, between two points on that wall" in after
    assert "%" not in after[: after.index("between two points on that wall")]


def test_batch_and_desk_tell_the_same_first_cause():
    survey = survey_of("[left 3.00, left 5.51, left 3.00]", "[h3, h4]")
    concerns, told = _first_concerns(survey), judgement(survey)["suspects"]

    assert concerns["suspect"].startswith("house: its walls cannot meet at h1")
    assert concerns["suspect_line"] == 25
    assert told[0]["text"].startswith("house: its walls cannot meet at h1")
    assert (told[0]["reading"], told[0]["would_be"]) == ("", "")
    assert (told[1]["reading"], told[1]["would_be"]) == ("5.51", "8.53")


@pytest.mark.parametrize(
    ("walls", "corners"),
    [
        (WALLS, CORNERS),
        (WALLS.replace("8.41", "5.41"), CORNERS),  # across the edge: the walls along it do make it
        (WALLS.replace("left 3.10", "left 3.11"), CORNERS),
    ],
)
def test_walls_that_make_their_edge_are_not_told(walls, corners):
    assert "cannot meet" not in "\n".join(survey_lines(survey_of(walls, corners), Screen()))


CARDS = (SAMPLES / "how-to/witness-cards.yaml").read_text(encoding="utf-8")


def survey_with_slip(good, bad):
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
    screen = " ".join("\n".join(survey_lines(survey_with_slip(good, bad), Screen())).split())
    thing = cause.split()[1].rsplit("-", 1)[0] if "gate" not in cause else "gate post"

    assert f"Likely {cause} book 26" in screen
    assert f"or {thing} was moved, or its own row (book " in screen
    assert "Do now Tape the witness distance" in screen
    assert "Tape one more line" not in screen


def test_sound_witnesses_have_no_cause():
    screen = "\n".join(survey_lines(survey_with_slip("h1: 7.21", "h1: 7.22"), Screen()))
    assert "Likely" not in screen


def test_batch_and_desk_tell_the_cause_as_the_screen_does():
    survey = survey_with_slip("h1: 7.21", "h1: 7.12")
    (told,) = judgement(survey)["suspects"]

    assert told["text"] == "witness h1-A: booked 7.12, perhaps 7.21"
    assert _first_concerns(survey)["suspect"] == f"{told['text']}; {told['why']}"


def suspects(*scores, closes=True):
    """Return suspects with their probabilities, the last without a reading: something else."""
    lines = [
        Suspect(f"A-{n}", n, None, f"{n}.00", f"{n}.50", None, closes, score) for n, score in enumerate(scores[:-1], 1)
    ]
    return [*lines, Suspect("something else", len(scores), None, "", "", None, False, scores[-1])]


@pytest.mark.parametrize(
    ("scores", "told", "rest"),
    [
        ((0.97, 0.02, 0.01), 1, None),  # nearly sure: the rest makes less than 4 %
        ((0.955, 0.03, 0.015), 2, None),
        ((0.90, 0.05, 0.05), 2, "something else: probability 5 %"),
        ((0.3, 0.2, 0.2, 0.1, 0.1, 0.1), 4, "A-5 or something else: together probability 20 %"),
    ],
)
def test_causes_are_told_until_they_are_nearly_sure_and_at_most_four(scores, told, rest):
    found = list(likely_causes(suspects(*scores)))
    causes = [f"{one.what}: {one.why}" for one in found]

    assert len(found) == told + (rest is not None)
    assert causes[0].endswith(f"all checks then pass (probability {100 * scores[0]:.0f} %{ONLY})")
    assert [one.likelihood for one in found[:told]] == [
        "likely" if score >= 0.5 else "perhaps" for score in scores[:told]
    ]
    assert causes[told:] == ([rest] if rest else [])
    assert [one.suspect.what for one in found[:told]] == [f"A-{n}" for n in range(1, told + 1)]


def test_where_no_hypothesis_lets_every_check_pass_it_is_said_that_several_may_be_wrong():
    first, second, *others = likely_causes(suspects(None, None, None, closes=False))
    assert (first.what, first.why) == (
        "no one reading explains it",
        "two or more are wrong, or the base, a name or a tape",
    )
    assert (first.likelihood, second.likelihood) == ("likely", "perhaps")
    assert second.why == "an unusual mistake; the checks then fit better, but not all pass"
    assert len(others) == 1  # and nothing of what is left: no share is known
