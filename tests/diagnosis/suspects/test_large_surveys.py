"""In a survey of more stations than are solved as a whole, the mistake is looked for about what disagrees."""

from __future__ import annotations

from math import dist

import pytest

from pegline.diagnosis.suspects.neighbourhood import SMALL_SURVEY_UNKNOWNS
from pegline.readers import parse_book
from pegline.survey import Survey, reduce

#: Six rows of six stations, some 25 m apart, none on a line with others.
AT = {
    f"{row}{column}": (
        25.0 * column + 2.0 * (row % 2) + 0.7 * ((3 * row + column) % 4),
        22.0 * row + 1.3 * (column % 3),
    )
    for row in range(6)
    for column in range(6)
}


def mesh(*, wrong: dict[str, float]) -> Survey:
    """Return a survey of triangles, with the second diagonal of each square as a check line; some lines read wrong."""
    uses = {"00-01": "base"}
    for name in AT:
        row, column = int(name[0]), int(name[1])
        for other, use in ((f"{row}{column + 1}", "side"), (f"{row + 1}{column}", "side")):
            if other in AT:
                uses.setdefault(f"{name}-{other}", use)
        if row < 5 and column < 5:
            uses[f"{name}-{row + 1}{column + 1}"] = "side"
            uses[f"{row}{column + 1}-{row + 1}{column}"] = "check"
    lines = [
        f'  "{line}": {{use: {use}, taped: {wrong.get(line, dist(AT[line[:2]], AT[line[3:]])):.2f}}}'
        for line, use in uses.items()
    ]
    head = ["book: 1", "unit: m", "tapes: {s: {material: steel, length: 30}}", "default_tape: {lines: s, offsets: s}"]
    drawn = [f'  "{name}": {{sketch: [{x / 10:.1f}, {y / 10:.1f}]}}' for name, (x, y) in AT.items()]
    text = "\n".join([*head, "stations:", *drawn, "lines:", *lines, ""])
    return reduce(parse_book(text.encode(), "mesh.yaml"))


def true(line: str) -> float:
    return dist(AT[line[:2]], AT[line[3:]])


def test_a_sound_one_passes():
    assert 2 * len(AT) - 3 > SMALL_SURVEY_UNKNOWNS
    assert mesh(wrong={}).diagnosis.suspects == ()


@pytest.mark.parametrize("line", ["33-43", "24-33", "54-55"])
def test_the_line_that_is_wrong_is_named_with_what_it_was(line):
    first = mesh(wrong={line: true(line) + 5.0}).diagnosis.suspects[0]

    assert (first.what, first.would_be) == (line, f"{true(line):.2f}")
    assert first.score >= 0.9


@pytest.mark.parametrize("off", [5.0, 1.0, -1.0])
def test_at_the_corner_where_the_frame_begins_no_innocent_line_is_told_as_sure(off):
    # Three lines place the corner: any one of them may be wrong, and only its size tells which.
    told = mesh(wrong={"00-01": true("00-01") + off}).diagnosis.suspects

    assert (told[0].what, told[0].would_be) == ("00-01", f"{true('00-01'):.2f}")
    assert {one.what for one in told if one.closes} == {"00-01", "00-10", "00-11"}


def test_two_far_from_each_other_are_told_together():
    wrong = {"11-12": true("11-12") + 1.0, "44-45": true("44-45") - 0.6}
    first = mesh(wrong=wrong).diagnosis.suspects[0]

    assert first.what == "11-12 and 44-45"
    assert (first.would_be, first.also[0].would_be) == tuple(f"{true(line):.2f}" for line in wrong)
