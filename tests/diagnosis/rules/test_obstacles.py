"""A chain line that runs through what no tape can cross is told by the check as it is before the measuring."""

import pytest
from builders.paths import SAMPLES
from builders.sound_book import SOUND

from pegline.diagnosis.report import do_now
from pegline.diagnosis.rules.impossible import runs_clear
from pegline.readers import parse_book
from pegline.survey import reduce

#: Something that lies across the line C-D, from 26, 1 to 30, 6: at y 1 to 6 that line is at x 27.5 to 27.0.
ACROSS = SOUND.replace(
    "      - {at: 30.00, right: 2.00, feature: lane}",
    "      - {at: 25.00, left: 1.00, point: q1}\n      - {at: 30.00, left: 1.00, point: q2}\n"
    "      - {at: 30.00, right: 2.00, feature: lane}",
).replace("  lane: {kind", "  it: {kind: KIND, rectangle: {edge: q1-q2, left: 3.00}}\n  lane: {kind")


def crossed(text):
    """Return what is told of lines that run through something, and whether C-D is clear."""
    survey = reduce(parse_book(text.encode(), "b.yaml"))
    told = [str(one) for one in survey.diagnosis.warnings if one.rule == "line-through-house"]
    return told, runs_clear(survey.solved, "C", "D")


@pytest.mark.parametrize("kind", ["building", "outbuilding", "porch", "pond"])
def test_a_line_through_a_shed_or_a_pond_is_told(kind):
    told, clear = crossed(ACROSS.replace("KIND", kind))
    assert len(told) == 1
    assert "the line C-D runs through it; look at the side and the rows of it, and at the line" in told[0]
    assert not clear


def test_what_can_be_crossed_is_not_told():
    assert crossed(ACROSS.replace("KIND", "bed")) == ([], True)


def test_the_book_says_itself_what_no_line_can_cross():
    assert crossed("obstacles: [bed]\n" + ACROSS.replace("KIND", "pond")) == ([], True)
    assert len(crossed("obstacles: [bed]\n" + ACROSS.replace("KIND", "bed"))[0]) == 1
    assert len(crossed("obstacles: [it]\n" + ACROSS.replace("KIND", "bed"))[0]) == 1


def test_where_only_a_line_through_a_house_is_left_a_peg_is_advised():
    # A, B, C and D are joined but for C-D, which the barn stands across, from 21.5 to 29 beside A-B.
    text = (SAMPLES / "how-to/extension-wall-by-wall.yaml").read_text(encoding="utf-8")
    text = text.replace("  C-D: {use: check, taped: 46.81}\n", "").replace(
        "point: h2}\n",
        "point: h2}\n      - {at: 21.50, right: 3.00, point: q1}\n      - {at: 29.00, right: 3.00, point: q2}\n",
    )
    barn = "features:\n  barn: {kind: KIND, rectangle: {edge: q1-q2, right: 5}}\n"

    def advised(kind):
        book = parse_book(text.replace("features:\n", barn.replace("KIND", kind)).encode(), "b.yaml")
        return list(do_now(reduce(book)))

    assert [one.split(",")[0] for one in advised("bed")] == ["Tape C-D"]
    (peg,) = advised("building")
    assert peg.startswith("Set one more peg that sees B and two more stations, and tape it to each")
