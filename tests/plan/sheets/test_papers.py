"""Scale, paper and joined sheets."""

from __future__ import annotations

from itertools import pairwise

import pytest

from pegline.plan.sheets.papers import AIR, FOOT, LAP, MARGIN, PAPERS, choose_layout

STRIP = 60.0


def layout(width: float, height: float, **asked: object):
    given = {"scale": None, "paper": None, "landscape": None}
    return choose_layout(
        (0.0, 0.0, width, height), lambda paper, across: STRIP, lambda paper, across: STRIP, **{**given, **asked}
    )


def test_the_sheets_are_iso_216():
    # ISO 216:2007, A series, millimetres (from memory; each is half of the one above, rounded down).
    assert PAPERS == {"A4": (210, 297), "A3": (297, 420), "A2": (420, 594), "A1": (594, 841), "A0": (841, 1189)}


@pytest.mark.parametrize(("metres", "scale"), [(5, 50), (12, 50), (25, 100), (50, 200), (120, 500), (250, 1000)])
def test_without_a_scale_the_largest_that_fits_a3_is_taken(metres, scale):
    assert layout(metres, metres).scale == scale


def test_a_scale_takes_the_smallest_paper_that_holds_it():
    papers = [layout(metres, metres, scale=100).paper for metres in (5, 20, 35, 45, 70)]

    assert papers == ["A4", "A3", "A2", "A1", "A0"]


def test_a_tall_plot_stands_upright_and_a_wide_one_lies():
    assert not layout(10, 24, scale=100).landscape
    assert layout(24, 10, scale=100).landscape


def test_what_is_drawn_lies_within_the_map_with_air_about_it():
    found = layout(20, 15, scale=100)
    left, bottom, right, top = found.window

    assert right - left >= 200 + 2 * AIR
    assert top - bottom >= 150 + 2 * AIR
    assert left == MARGIN
    assert bottom == MARGIN + FOOT


def test_joined_sheets_cover_everything_and_meet_at_their_match_lines():
    found = layout(100, 60, scale=100, paper="A3", landscape=True)
    left, bottom, right, top = found.window
    wide, high = (right - left - 2 * LAP) / 10, (top - bottom - 2 * LAP) / 10

    xs, ys = sorted({t.centre[0] for t in found.tiles}), sorted({t.centre[1] for t in found.tiles})
    assert len(found.tiles) == len(xs) * len(ys) > 1
    assert xs[0] - wide / 2 <= 0.0
    assert xs[-1] + wide / 2 >= 100.0
    assert ys[0] - high / 2 <= 0.0
    assert ys[-1] + high / 2 >= 60.0
    assert [b - a for a, b in pairwise(xs)] == pytest.approx([wide] * (len(xs) - 1))


def test_tables_that_fit_no_a3_do_not_keep_a_scale_from_being_found():
    found = choose_layout(
        (0.0, 0.0, 20.0, 20.0), lambda *_: None, lambda *_: None, scale=None, paper=None, landscape=None
    )

    assert found.scale == 100


def test_a_plot_that_reaches_to_infinity_is_refused():
    with pytest.raises(ValueError, match="infinity"):
        layout(float("inf"), 10.0)
