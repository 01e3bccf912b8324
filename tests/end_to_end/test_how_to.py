"""The small books of samples/how-to: one situation each, three lines of comment, and all of them hold."""

from pathlib import Path

import pytest

from pegline import read, reduce
from pegline.cli import main
from pegline.readers import parse_book

BOOKS = sorted((Path(__file__).parents[2] / "samples" / "how-to").glob("*.yaml"))
#: Books that show something that is wrong: what they end with, and how many checks fail.
FAILING = {"magnetic-bearing": 1}
#: Books in which something is still to be measured.
UNFINISHED = ("half-finished", "layout-to-measure", "sketch-of-a-walk")


def test_there_are_twenty():
    assert len(BOOKS) >= 20


@pytest.mark.parametrize("path", BOOKS, ids=[path.stem for path in BOOKS])
def test_each_says_in_three_lines_what_it_shows(path):
    lines = path.read_text(encoding="utf-8").splitlines()

    assert all(line.startswith("# ") for line in lines[:3])
    assert not lines[3].startswith("#")


@pytest.mark.parametrize("path", BOOKS, ids=[path.stem for path in BOOKS])
def test_each_checks_out(path, capsys):
    assert main(["check", str(path)]) == (1 if path.stem in FAILING else 0), capsys.readouterr()


@pytest.mark.parametrize("path", [path for path in BOOKS if path.stem not in UNFINISHED], ids=lambda path: path.stem)
def test_each_is_drawn_with_all_its_features(path, tmp_path):
    survey = reduce(read(path))

    assert set(survey.detail.shapes) == set(survey.book.features)
    assert sum(not check.passed for check in survey.adjustment.checks) == FAILING.get(path.stem, 0)


@pytest.mark.parametrize(
    ("old", "new"),
    [("at: 34.60", "at: 36.40"), ("at: 34.60, left: 3.10", "at: 34.60, left: 13.10"), ("left: 3.10", "right: 3.10")],
)
def test_what_is_suspected_in_a_row_booked_walking_back_is_in_its_own_terms(old, new):
    text = next(path for path in BOOKS if path.stem == "walking-back").read_text(encoding="utf-8")
    assert text.count(old) == 1
    survey = reduce(parse_book(text.replace(old, new).encode(), "b.yaml"))

    suspects = [each for each in survey.diagnosis.suspects if "B-A" in each.what]
    assert suspects
    # Put into the book in the reading's place, the suggestion lets everything pass.
    written, meant = new.split()[-2:], suspects[0].would_be
    cure = f"{meant}: {written[1]}" if meant in ("left", "right") else f"{written[0]} {meant}"
    cured = reduce(parse_book(text.replace(old, new.replace(" ".join(written), cure)).encode(), "b.yaml"))
    assert cured.passed
