"""What is written down a column: where lines, symbols and words come to stand, by hand."""

from math import cos, pi, sin

import numpy as np
import pytest

from pegline.plan.display import Stroke, Words
from pegline.plan.fonts import text_width
from pegline.plan.labels.placement import Spot
from pegline.plan.sheets.column import (
    A4_BODY,
    SMALL_TEXT_MM,
    Pencil,
    centred_words,
    repeat_symbol,
    shift_items,
    shorten,
    symbol_strokes,
)


def test_lines_of_a_column_follow_one_another_downward():
    pencil = Pencil(50.0)
    pencil.text("one")
    pencil.text("beside", x=20.0, down=False)
    pencil.gap(3.0)
    pencil.text("two", height=2.5, bold=True)
    pencil.rule()
    leading = 1.85
    assert [(item.text, item.x, item.y) for item in pencil.items[:3]] == [
        ("one", 0.0, pytest.approx(-1.8 * leading)),
        ("beside", 20.0, pytest.approx(-1.8 * leading)),
        ("two", 0.0, pytest.approx(-1.8 * leading - 3.0 - 2.5 * leading)),
    ]
    assert pencil.items[3].points.tolist() == [[0.0, pencil.y], [50.0, pencil.y]]


def test_a_paragraph_stays_within_its_column():
    pencil = Pencil(30.0)
    pencil.paragraph("a hedge whose roots are the boundary and not its middle nor its far side", indent=4.0)
    assert len(pencil.items) > 2
    assert all(item.x == 4.0 and 4.0 + text_width(item.text, SMALL_TEXT_MM) <= 30.0 for item in pencil.items)
    assert pencil.y == pytest.approx(-len(pencil.items) * 1.8 * 1.85)


@pytest.mark.parametrize("rotation", [0.0, pi / 2, -0.7])
def test_words_have_the_middle_of_their_capitals_at_their_place(rotation):
    words = centred_words("12.50", Spot(40.0, 70.0, rotation, 0.0), 3.0)
    up = np.array([-sin(rotation), cos(rotation)])
    assert np.array([words.x, words.y]) + 1.5 * up == pytest.approx((40.0, 70.0))
    assert (words.anchor, words.rotation) == ("middle", rotation)


def test_items_are_enlarged_about_their_column_s_corner_and_moved():
    line, words = Stroke("SHEET", np.array([(1.0, -2.0), (5.0, -2.0)])), Words("SHEET-TEXT", "a", 1.0, -3.0, 1.8)
    moved, larger = shift_items([line, words], 100.0, 200.0, 1.5)
    assert moved.points.tolist() == [[101.5, 197.0], [107.5, 197.0]]
    assert (larger.x, larger.y, larger.height) == (101.5, 195.5, pytest.approx(2.7))


def test_a_symbol_is_the_same_at_each_place_turned_and_enlarged():
    places, rotations = np.array([(10.0, 0.0), (0.0, 20.0)]), np.array([0.0, pi / 2])
    drawn = [each.points for each in repeat_symbol("point", places, "KEY", size=2.0, rotations=rotations)]
    alone = [each.points for each in symbol_strokes("point", 0.0, 0.0, "KEY")]
    assert len(drawn) == 2 * len(alone) == 4
    for one, here, there in zip(alone, drawn[:2], drawn[2:], strict=True):
        assert here == pytest.approx(2 * one + (10.0, 0.0))
        assert there == pytest.approx(2 * np.column_stack((-one[:, 1], one[:, 0])) + (0.0, 20.0))  # x to y, y to -x
    (ring, *_) = symbol_strokes("station", 0.0, 0.0, "KEY")
    assert np.hypot(*ring.points.T) == pytest.approx(1.2, abs=0.02)  # as wide as its pen says


def test_what_is_too_long_is_cut_with_a_mark_as_late_as_it_can_be():
    long = "an old wall of rubble with a hedge on it"
    cut = shorten(long, 25.0, 1.8)
    assert cut.endswith("…")
    assert text_width(cut, 1.8) <= 25.0 < text_width(long[: len(cut)] + "…", 1.8)
    assert shorten("wall", 25.0, 1.8) == "wall"


def test_further_sheets_are_a4_within_their_margins():
    left, bottom, right, top = A4_BODY
    assert (left + right, right - left) == (210.0, 190.0)  # ISO 216: 210 by 297, 10 mm left on either side
    assert (bottom, top) == (22.0, 275.0)
