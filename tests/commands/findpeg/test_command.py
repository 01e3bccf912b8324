"""The command ``pegline findpeg``."""

import json
from pathlib import Path

import pytest

from pegline.cli import main

SAMPLE = Path(__file__).parents[3] / "samples" / "house-plot.yaml"


def answer(capsys, *words):
    status = main(["findpeg", str(SAMPLE), *words, "--json"])
    return status, json.loads(capsys.readouterr().out)


def test_a_peg_with_sound_witnesses(capsys):
    status, found = answer(capsys, "A")
    assert status == 0
    assert [w["to"] for w in found["witnesses"]] == ["h1", "post", "wall end"]
    assert all(w["surveyed"] and w["agrees"] for w in found["witnesses"])
    assert 0.01 < found["search_radius"] < 0.1
    assert found["disagrees"] is None
    assert found["move"] is None
    text = " ".join(found["steps"])
    for part in ("Hook the tape on h1, hold 10.54", "on the right as seen from h1", "under the ground"):
        assert part in text


def test_words_are_used_on_the_ground_and_not_compared(capsys):
    _, found = answer(capsys, "B")
    box = found["witnesses"][-1]
    assert box == {
        "to": "letter box", "distance": 3.75, "surveyed": False,
        "computed": None, "difference": None, "test": None, "agrees": None,
    }  # fmt: skip
    assert any("letter box (to the hinge of its door), hold 3.75" in step for step in found["steps"])
    assert found["others"]


def test_where_witnesses_are_gone_others_take_their_place(capsys):
    _, before = answer(capsys, "C")
    _, after = answer(capsys, "C", "--gone", "h3", "--gone", "meter", "--gone", "h4")
    assert not before["others"]
    gains = [other["gain"] for other in after["others"]]
    assert gains == sorted(gains, reverse=True)
    assert not {"h3", "meter", "h4"} & {other["to"] for other in after["others"]}
    assert after["search_radius"] > 0


def test_with_nothing_left_the_peg_is_found_from_the_survey(capsys):
    _, found = answer(capsys, "T")
    assert not found["witnesses"]
    assert found["search_radius"] < 0.1
    assert any("computed from the survey" in step for step in found["steps"])


def test_a_witness_that_was_moved_gives_status_1(capsys, tmp_path):
    book = tmp_path / "moved.yaml"
    text = SAMPLE.read_text(encoding="utf-8").replace("A: {h1: 10.54, post: 14.87", "A: {h1: 10.54, post: 14.37")
    book.write_text(text, encoding="utf-8")
    assert main(["findpeg", str(book), "A"]) == 1
    out = capsys.readouterr().out
    assert "Leave post out: booked 14.37, the survey makes it 14.88 m" in out


def test_a_trial_peg_is_moved(capsys):
    status, found = answer(capsys, "A", "--from", "h1=10.84", "--from", "post=14.87")
    assert status == 0
    assert found["move"]["distance"] == pytest.approx(0.3, abs=0.08)
    assert any(step.startswith("Move the trial peg") for step in found["steps"])


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["Z"], "no peg 'Z'"),
        (["A", "--gone", "oak"], "neither a witness nor surveyed"),
        (["A", "--from", "h1"], "write it like --from h1=8.79"),
        (["A", "--from", "h1=long"], "is no length"),
    ],
)
def test_what_cannot_be_asked_is_told(capsys, words, message):
    assert main(["findpeg", str(SAMPLE), *words]) == 2
    assert message in capsys.readouterr().err


def test_a_witness_taped_to_a_face_is_held_there_and_compared_to_the_middle(capsys):
    cards = SAMPLE.parent / "how-to" / "witness-cards.yaml"
    assert main(["findpeg", str(cards), "A", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    oak = next(witness for witness in found["witnesses"] if witness["to"] == "oak")
    assert oak["distance"] > 4.13 + 0.05  # half the oak's width is added
    assert any("hold 4.13 to its near face" in step for step in found["steps"])


def test_what_an_untrue_tape_booked_is_held_as_it_is_on_the_ground(capsys):
    farm = SAMPLE.parent / "old-farm.yaml"
    assert main(["findpeg", str(farm), "B"]) == 0
    assert "hold 124.4 (booked 124.6 with a tape that was not true)" in capsys.readouterr().out


def test_one_distance_at_a_trial_peg_leads_along_the_tape_and_promises_no_radius(capsys):
    status, found = answer(capsys, "B", "--from", "fence.1=10.87")
    assert status == 0
    assert found["search_radius"] is None
    assert "These distances lead along the tape only: measure from one more thing, across it." in found["steps"]


def test_the_radius_of_a_trial_peg_is_of_what_it_was_led_by(capsys):
    _, by_all = answer(capsys, "A")
    _, by_two = answer(capsys, "A", "--from", "h1=10.54", "--from", "post=14.87")
    # Two arcs hold the peg less well than the three that are booked.
    assert by_two["search_radius"] > by_all["search_radius"]
    assert "Leave the trial peg where it is: the distances agree." in by_two["steps"]


def test_no_accuracy_is_told_of_a_place_that_the_survey_holds(capsys, tmp_path):
    book = tmp_path / "own-frame.yaml"
    head, _, _ = SAMPLE.read_text(encoding="utf-8").partition("control:")
    book.write_text(head, encoding="utf-8")
    assert main(["findpeg", str(book), "A"]) == 0
    out = capsys.readouterr().out
    assert "± 0" not in out
    assert "The survey begins at A: its place is held" in out
