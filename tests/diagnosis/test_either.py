"""A reading left open is chosen by how the survey closes, and refused where nothing tells."""

import pytest
from builders.sound_book import SOUND

from pegline.diagnosis.either import ENOUGH, choose_readings
from pegline.errors import BookError
from pegline.readers import parse_book


def book(good: str, bad: str):
    """Return the sound book with something booked otherwise."""
    assert good in SOUND
    return parse_book(SOUND.replace(good, bad).encode(), "either.yaml")


def test_the_reading_that_lets_the_survey_close_is_chosen_and_the_odds_are_told():
    chosen = choose_readings(book("taped: 54.23", "taped: {either: [54.93, 54.23]}"))
    (warning,) = (w for w in chosen.warnings if w.rule == "either-chosen")
    assert "54.23 m agrees with the rest of the book (odds over 1000000 to 1)" in warning.text
    assert str(warning.place).startswith("either.yaml:")
    assert chosen.lines["C-D"].taped[0].reading.length.text == "54.23"


def test_two_open_readings_are_chosen_together():
    open_ = SOUND.replace("taped: 54.23", "taped: {either: [54.93, 54.23]}")
    open_ = open_.replace("h1-h2: 8.00", "h1-h2: {either: [8.00, 3.00]}")
    chosen = choose_readings(parse_book(open_.encode(), "either.yaml"))
    assert chosen.lines["C-D"].taped[0].reading.length.text == "54.23"
    assert chosen.dimensions[0].readings[0].length.text == "8.00"


def test_where_nothing_tells_the_book_is_refused_and_not_guessed():
    # No other measurement holds lane.1, so either offset is as good.
    with pytest.raises(BookError, match=r"nothing tells whether this is 2\.00 m or 2\.60 m \(odds 1\.0 to 1\)"):
        choose_readings(book("at: 30.00, right: 2.00", "at: 30.00, right: {either: [2.00, 2.60]}"))


def test_the_odds_are_those_of_two_normal_misfits():
    # χ² of 1 and 9: exp(4) = 54.6 to 1 (by hand).
    either = book("taped: 54.23", "taped: {either: [54.93, 54.23]}")

    def misfit(one):
        return 1.0 if one.lines["C-D"].taped[0].reading.length.text == "54.23" else 9.0

    (warning,) = (w for w in choose_readings(either, misfit).warnings if w.rule == "either-chosen")
    assert "odds 55 to 1" in warning.text


def test_odds_just_short_of_enough_are_refused():
    either = book("taped: 54.23", "taped: {either: [54.93, 54.23]}")

    def misfit(one):  # exp(2.9) = 18 to 1, by hand
        return 0.0 if one.lines["C-D"].taped[0].reading.length.text == "54.23" else 5.8

    assert ENOUGH > 18.2
    with pytest.raises(BookError, match="odds 18 to 1"):
        choose_readings(either, misfit)


def test_many_open_readings_are_chosen_one_after_another():
    text = SOUND
    for row, near in (("30.00", "2.00"), ("36.00", "2.05"), ("42.00", "2.10"), ("48.00", "2.10")):
        text = text.replace(f"at: {row}, right: {near}", f"at: {row}, right: {{either: [{near}, 9.00]}}")
    for name in ("h1: 5.00", "h2: 6.00", "h1-h2: 8.00"):
        key, _, value = name.partition(": ")
        text = text.replace(name, f"{key}: {{either: [9.50, {value}]}}")
    calls = 0

    def misfit(one):
        nonlocal calls
        calls += 1
        from pegline.diagnosis.whatif import with_readings

        wrong = []
        with_readings(one, lambda r: wrong.append(r.length.text) or r if r.length.text in ("9.00", "9.50") else r)
        return 20.0 * len(wrong)

    chosen = choose_readings(parse_book(text.encode(), "either.yaml"), misfit)
    assert misfit(chosen) == 0
    assert calls < 2**7


def test_alternatives_are_told_in_the_unit_of_their_line():
    # 177.92 ft are 54.23 m.
    chosen = choose_readings(book("taped: 54.23", "taped: {either: [187.92, 177.92]}, unit: ft"))
    (warning,) = (w for w in chosen.warnings if w.rule == "either-chosen")
    assert "of 187.92 ft or 177.92 ft, 177.92 ft agrees" in warning.text
