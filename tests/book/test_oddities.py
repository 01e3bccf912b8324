"""What is odd in a book but not wrong is a warning with its place."""

import pytest

from pegline.readers import parse_book

FIGURE = (
    "book: 1\nunit: m\npages: {12: p12.jpg, 13: p13.jpg}\n"
    "lines:\n  A-B: {use: base, taped: 52.31, details: [{at: 8, left: 3, point: gate}, {at: 9, left: 3, point: p}]}\n"
)


def faults_of(text):
    return [str(finding).removeprefix("b.yaml:") for finding in parse_book(text.encode(), "b.yaml").warnings]


ODD = [
    ("witnesses: {A: {Gate: 3.1}}", "6:17: the witness 'Gate' is nearly 'gate'; write that, if it is meant"),
    ("witnesses: {A: {gatte: 3.1}}", "6:17: the witness 'gatte' is nearly 'gate'"),
    (
        "  A-C: {use: side, taped: 3, details: [{at: 1, feature: wall}]}\n"
        "features: {wall: {kind: wall, through: [booked, p]}}\nwitnesses: {A: {w1: 3.1}}",
        "8:17: the witness 'w1' is nearly 'wall.1'; write that, if it is meant",
    ),
    ("  A-С: {use: side, taped: 30}\n  C-B: {use: side, taped: 30}", "7:3: 'C' looks like 'С' (book 6)"),
    ("  b-A: {use: side, taped: 30}", "6:3: 'b' looks like 'B' (book 5)"),
    ("  A-C: {use: side, taped: 30, page: 14}", "6:37: page '14' is not among pages; use one of 12, 13"),
    (
        "  A-C: {use: side, taped: 3, details: [{at: 1, feature: f}]}\nfeatures: {f: {kind: path, through: [p, gate]}}",
        "6:40: f does not go through this row; write booked in its through",
    ),
    ("  A-C: {use: side, taped: 30, slope: 4.4}", "6:38: slope: 4.4 is taken as degrees; write 4.4° or 4.4 %"),
    (
        "features: {way: {kind: hedge, through: [p, gate], thickness: 1.2}}",
        "6:12: way has a thickness and no face, so one line is drawn; for both edges write face: left, right or middle",
    ),
    (
        "features: {way: {kind: path, through: [p, gate], width: 1.2}}",
        "6:12: way has a width, which is a note only: one line is drawn; for both edges write thickness and face",
    ),
]


@pytest.mark.parametrize(("text", "says"), ODD)
def test_what_is_odd_is_told_at_its_place(text, says):
    (only,) = faults_of(FIGURE + text + "\n")

    assert only.startswith(says)


@pytest.mark.parametrize(
    "text", ["witnesses: {A: {gate: 3, gate post: 4, oak: 5}}", "  A-C: {use: side, taped: 3, page: 12}"]
)
def test_what_is_usual_is_not_told(text):
    assert faults_of(FIGURE + text + "\n") == []


def test_chainages_off_the_line_are_sound():
    assert faults_of(FIGURE.replace("at: 9", "at: -9").replace("at: 8", "at: 80")) == []
