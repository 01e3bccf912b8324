"""What changed between two books or two measurings."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from math import hypot, log

import numpy as np
import pytest
from builders.book import book_text
from builders.networks import NETWORKS, with_details
from builders.party import REALISTIC
from hypothesis import given
from hypothesis import strategies as st

from pegline.errors import BookError, OpenError
from pegline.jobs.diff import of_book, of_json, run, told
from pegline.jobs.diff.booked import changes
from pegline.jobs.diff.moved import Measured, compared, limit
from pegline.plane import turned
from pegline.readers import parse_book
from pegline.survey import reduce
from pegline.writers.result import result

PLOT = NETWORKS["six stations, twelve lines"]()
EAST, NORTH = 0.12, 0.09  # metres by which peg D is moved in the direction away from the middle
MILLIMETRE = 1e-3


def book(plot, seed):
    return parse_book(book_text(plot, errors=REALISTIC, seed=seed).encode(), f"measured-{seed}.yaml")


def by_book(plot, seed):
    return of_book(book(plot, seed))


def by_json(plot, seed):
    return of_json(json.loads(json.dumps(result(reduce(book(plot, seed)).plan()))))


def with_d_moved(plot):
    x, y = plot.stations["D"]
    return replace(plot, stations={**plot.stations, "D": (x + EAST, y + NORTH)})


def not_standing(comparison):
    return {peg.name: peg.verdict for peg in comparison.pegs if peg.verdict != "stands"}


@pytest.mark.parametrize("measured", [by_book, by_json])
def test_pegs_that_stand_are_left_in_peace(measured):
    # 5 % of comparisons may name a peg by chance: 0.4 of 8.
    found = [compared(measured(PLOT, seed).stations, measured(PLOT, 50 + seed).stations) for seed in range(8)]
    assert sum(bool(not_standing(comparison)) for comparison in found) <= 2


@pytest.mark.parametrize("measured", [by_book, by_json])
@pytest.mark.parametrize("seed", range(3))
def test_a_peg_that_moved_is_named_with_its_way(measured, seed):
    comparison = compared(measured(PLOT, seed).stations, measured(with_d_moved(PLOT), 20 + seed).stations)
    assert not_standing(comparison)["D"] == "moved"
    (peg,) = [peg for peg in comparison.pegs if peg.name == "D"]
    assert peg.distance == pytest.approx(hypot(EAST, NORTH), abs=peg.limit)


def test_a_moved_peg_does_not_shift_the_others():
    comparison = compared(by_book(PLOT, 1).stations, by_book(with_d_moved(PLOT), 21).stations)
    standing = [peg for peg in comparison.pegs if peg.verdict == "stands"]
    assert len(standing) == 5
    assert all(peg.distance <= peg.limit for peg in standing)


def exact(positions, sd=0.005):
    names = tuple(positions)
    return Measured(names, np.array([positions[n] for n in names], float), sd**2 * np.eye(2 * len(names)))


SQUARE = {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (40.0, 30.0), "D": (0.0, 30.0)}


@given(angle=st.floats(-3, 3), east=st.floats(-1e5, 1e5), north=st.floats(-1e5, 1e5))
def test_the_frames_of_the_two_surveys_do_not_matter(angle, east, north):
    # C moved by 60 mm in x; the new survey faces anywhere.
    new = {**SQUARE, "C": (40.06, 30.0)}
    away = {name: tuple(turned(np.array(xy), angle) + np.array([east, north])) for name, xy in new.items()}
    comparison = compared(exact(SQUARE), exact(away))
    assert not_standing(comparison) == {"C": "moved"}
    (peg,) = [peg for peg in comparison.pegs if peg.name == "C"]
    assert peg.difference == pytest.approx((0.06, 0.0), abs=MILLIMETRE)


def test_of_two_pegs_neither_can_be_blamed():
    comparison = compared(exact({"A": (0, 0), "B": (40, 0)}), exact({"A": (0, 0), "B": (40.1, 0)}))
    assert not_standing(comparison) == {"A": "may have moved", "B": "may have moved"}


def test_one_peg_cannot_be_compared():
    assert compared(exact({"A": (0, 0)}), exact({"A": (0, 0), "B": (1, 1)})) is None


def test_the_limit_is_that_of_chi_squared():
    # exp(-t / 2) = 0.001 for few pegs, 0.05 / n for many.
    assert limit(5, 0.001) == pytest.approx(-2 * log(0.001))
    assert limit(500, 0.001) == pytest.approx(-2 * log(0.0001))


# --- the books themselves ---------------------------------------------------------------------------------------

BOOK = """book: 1
unit: m
title: Weir cottage
stations:
  C: {left_of: A-B}
lines:
  A-B:
    use: base
    taped: [50.01, 50.00]
    details:
      - {at: 8.20, left: 3.15, point: h1}
      - {at: 16.95, left: ~3.22, point: h2}
      - {at: 20, right: 4, point: apple, kind: tree, spread: 5.5}
  A-C: {use: side, taped: 30.00}
  C-B: {use: side, taped: 40.00}
dimensions: {h1-h2: 8.76}
features:
  wall: {kind: wall, through: [h1, h2]}
"""


def changed(*swaps, text=BOOK):
    new = text
    for was, now in swaps:
        assert was in new
        new = new.replace(was, now)
    return list(changes(*(parse_book(t.encode(), "weir.yaml") for t in (text, new))))


@pytest.mark.parametrize(
    ("was", "now", "sentence"),
    [
        ("taped: 30.00", "taped: 30.10", "line A-C: taped 30.00 became 30.10 (+100 mm)"),
        ("[50.01, 50.00]", "[50.01, 49.98]", "line A-B: taped 2 50.00 became 49.98 (-20 mm)"),
        ("left: 3.15", "left: 3.05", "line A-B h1: left 3.15 became 3.05 (-100 mm)"),
        ("at: 8.20, left: 3.15", "at: 8.20, right: 3.15", "line A-B h1: right 3.15 added, left 3.15 taken out"),
        ("~3.22", "3.22", "line A-B h2: left ~3.22 became 3.22"),
        ("h1-h2: 8.76", "h1-h2: 8.79", "dimension h1-h2: 8.76 became 8.79 (+30 mm)"),
        ("left_of", "right_of", "station C: side left of A-B became right of A-B"),
        ("spread: 5.5", "spread: 6", "line A-B apple: spread 5.5 became 6 (+500 mm)"),
        ("[h1, h2]", "[h2, h1]", "feature wall: through h1, h2 became h2, h1"),
        ("Weir cottage", "Weir house", "title: Weir cottage became Weir house"),
        ("use: side, taped: 40.00", "use: tie, taped: 40.00", "line C-B: use side became tie"),
    ],
)
def test_a_change_is_told_in_words_and_millimetres(was, now, sentence):
    assert changed((was, now)) == [sentence]


def test_the_same_length_written_otherwise_is_no_change():
    assert changed(("taped: 30.00", "taped: 30 m"), ("8.76", "876 cm"), ("Weir cottage", "'Weir cottage'")) == []


def test_what_is_new_and_what_is_gone_stands_by_itself():
    row = "      - {at: 16.95, left: ~3.22, point: h2}\n"
    more = row + "      - {at: 30, left: 2, point: h3}\n"
    assert changed((row, more)) == ["line A-B h3: new (at 30, left 2, to centre)"]
    (gone,) = changed(("  A-C: {use", "  A-D: {use: tie, taped: 20}\n  D-B: {use: tie, taped: 35}\n  A-C: {use"))[:1]
    assert gone == "line A-D: new (use tie, taped 20)"


# --- the command ------------------------------------------------------------------------------------------------


def command(tmp_path, old, new):
    paths = []
    for name, text in (("old.yaml", old), ("new.yaml", new)):
        (tmp_path / name).write_text(text, encoding="utf-8")
        paths.append(str(tmp_path / name))
    said = []
    status = run(argparse.Namespace(old=paths[0], new=paths[1]), said.append, said.append)
    return status, said


def test_the_command_says_what_moved_and_fails(tmp_path):
    plot = with_details(PLOT, 3)
    texts = [book_text(p, errors=REALISTIC, seed=s) for p, s in ((plot, 1), (with_d_moved(plot), 2))]
    status, said = command(tmp_path, *texts)
    assert status == 1
    assert any(line.startswith("  D MOVED 1") and "along the base line" in line for line in said)
    assert any(line.startswith("Points in both: ") for line in said)


def test_a_book_beside_itself_has_nothing_to_tell(tmp_path):
    status, said = command(tmp_path, BOOK, BOOK)
    assert status == 0
    assert "The two books say the same." in said
    assert [line for line in said if "MOVED" in line or "elsewhere" in line] == [
        "Points in both: 3; none elsewhere than before."
    ]


def test_a_house_that_grew_is_told_with_its_area():
    old = by_book(PLOT, 1)
    one, two = (replace(old, features={"house": (area, 0.1)}) for area in (42.0, 45.0))
    assert "  house: 42.00 m² became 45.00 m² (+3.00)" in [line for line, _ in told(one, two)]


@pytest.mark.parametrize("content", ["{}", "[]", "not json", '{"frame": 3, "book": 4}'])
def test_a_file_that_holds_no_results_is_told(tmp_path, content):
    path = tmp_path / "odd.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(OpenError, match="holds no results"):
        run(argparse.Namespace(old=str(path), new=str(path)), print, print)


def test_a_file_that_is_not_there_and_a_book_that_is_wrong(tmp_path):
    with pytest.raises(OpenError):
        run(argparse.Namespace(old=str(tmp_path / "none.json"), new="x"), print, print)
    with pytest.raises(BookError):
        command(tmp_path, "book: 1\nunit: parsec\n", BOOK)
