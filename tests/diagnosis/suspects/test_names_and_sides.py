"""Sides, names and directions that were mixed up are suspects like readings, and found the same way."""

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from builders.book import book_text
from builders.mistaken import survey_of
from builders.networks import NETWORKS
from builders.party import REALISTIC
from builders.plot import Row
from builders.sound_book import SOUND

from pegline.diagnosis.report import do_now
from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.survey import reduce

#: E at 10, 40, and a tie station T at 20, 0 with a line to C; the oak again from A-C.
RICH = (
    SOUND.replace("  D: {right_of", "  E: {left_of: A-C}\n  D: {right_of", 1)
    .replace("      - {at: 30.00, right: 2.00", "      - {at: 20.00, station: T}\n      - {at: 30.00, right: 2.00", 1)
    .replace(
        "  C-D: {use",
        "  A-E: {use: side, taped: [41.23, 41.23]}\n  E-C: {use: side, taped: [19.21, 19.21]}\n"
        "  E-T: {use: tie, taped: 41.23}\n  T-C: {use: tie, taped: 28.44}\n"
        "  D-T: {use: tie, taped: 27.86}\n  C-D: {use",
    )
    .replace("h1-h2: 8.00", "h1-h2: 8.00\n  oak-A: 25.32\n  oak-h2: 7.09")
)

#: what is booked wrongly, and who is then suspected of what
CASES = [
    ("C: {left_of: A-B}", "C: {right_of: A-B}", "C", "right booked for left"),
    ("E-T: {use: tie, taped: 41.23}", "E-B: {use: tie, taped: 41.23}", "E-B", "B booked for T"),
    ("left: [5.00, 5.00]", "right: [5.00, 5.00]", "A-B at 22.00", "right booked for left"),
]


def names_wrong_side(seed: int) -> bool:
    """Return whether a row with left for right is named, of a point that is booked from two lines."""
    random = Random(seed)
    plot = NETWORKS["diagonal base"]()
    (ax, ay), (bx, by), (cx, cy) = (plot.stations[name] for name in "ABC")
    u, v = random.uniform(0.2, 0.4), random.uniform(0.2, 0.4)
    points = {"h": (ax + u * (bx - ax) + v * (cx - ax), ay + u * (by - ay) + v * (cy - ay))}
    lines = tuple(replace(ln, rows=(Row("h"),)) if ln.name in ("A-B", "A-C") else ln for ln in plot.lines)
    wrong = random.choice(["A-B", "A-C"])
    text = book_text(
        replace(plot, lines=lines, points=points),
        errors=REALISTIC,
        seed=seed,
        slips={f"h on {wrong}": "left for right"},
    )
    suspects = reduce(parse_book(text.encode(), "swap.yaml")).diagnosis.suspects
    # Seen from two lines alone, either row may be the swapped one: both are named.
    return any(s.what.startswith(wrong) and s.slip and "booked for" in s.slip for s in suspects)


@pytest.mark.parametrize("surveys", [2, pytest.param(60, marks=pytest.mark.long)])
def test_left_for_right_of_a_point_booked_twice_is_among_the_suspects(surveys):
    found = sum(names_wrong_side(seed) for seed in range(surveys))
    print(f"left for right named in {found} of {surveys}")
    assert found >= 0.95 * surveys


def first_suspects(text: str) -> list[tuple[str, str | None]]:
    """Return the suspects, or the words of the error, of a book."""
    try:
        return [(s.what, s.slip) for s in reduce(parse_book(text.encode(), "mixed.yaml")).diagnosis.suspects]
    except BookError as error:
        return [("error", str(error))]


def test_the_rich_book_closes():
    survey = reduce(parse_book(RICH.encode(), "mixed.yaml"))
    assert all(check.passed for check in survey.adjustment.checks)
    assert survey.diagnosis.suspects == ()


@pytest.mark.parametrize(("good", "bad", "what", "words"), CASES)
def test_what_was_mixed_up_is_the_first_suspect(good, bad, what, words):
    assert good in RICH
    (first, slip), *_ = first_suspects(RICH.replace(good, bad))
    assert (first == what and slip == words) or (first == "error" and f"{what} " in slip and words in slip)


def test_a_line_booked_backwards_is_found_by_its_tie_station():
    # Walked from B, T stands at 40 and everything lies on the other hand.
    text = RICH.replace("at: 20.00, station: T", "at: 40.00, station: T")
    found = first_suspects(text)
    assert any("wrong end" in (slip or "") or "backwards" in (slip or "") for _, slip in found[:2])


def test_a_point_name_used_twice_is_found():
    # The pump is booked again far off, under the name of h1.
    again = "  A-C: {use: side, taped: [37.54, 37.54], details: [{at: 30.00, right: 1.50, point: h1}]}"
    found = first_suspects(RICH.replace("  A-C: {use: side, taped: [37.54, 37.54]}", again))
    assert any("the name h1 used for two points" in (slip or "") for _, slip in found)


@pytest.mark.parametrize(("seed", "checks"), [(0, 1), (4, 2), (3, 3)])
def test_of_two_stations_on_one_side_either_may_be_the_wrong_one(seed, checks):
    # C and D mirrored together look the same from A-B: nothing taped tells which side was booked wrong.
    survey = survey_of(np.random.default_rng([checks, seed, 5]), checks)
    judged = reduce(parse_book(survey.text.replace("C: {left_of", "C: {right_of").encode(), "side.yaml"))
    shares = {one.what: one.score for one in judged.diagnosis.suspects}
    assert shares["C"] == pytest.approx(shares["D"], abs=0.01)
    assert shares["C"] + shares["D"] > 0.9
    assert list(do_now(judged)) == ["Look on which side of its line C and D stand."]
