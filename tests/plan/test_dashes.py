"""Dashes: ink at every corner and end, and as much of it as the pattern says."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline.plan.dashes import dash_pieces, is_smooth
from pegline.plan.style import LINE_TYPES

SQUARE = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
DASHED = sorted(name for name, pattern in LINE_TYPES.items() if pattern and pattern[0] > 0)


def length(piece: np.ndarray) -> float:
    return float(np.hypot(*np.diff(piece, axis=0).T).sum())


@pytest.mark.parametrize("name", DASHED)
@given(sides=st.lists(st.floats(3.0, 90.0), min_size=1, max_size=6), closed=st.booleans())
def test_there_is_ink_on_both_sides_of_every_corner_and_at_every_end(name, sides, closed):
    # A rectangle or a staircase, whose every vertex is a corner.
    if closed:
        points = np.array([(0.0, 0.0), (sides[0], 0.0), (sides[0], sides[-1]), (0.0, sides[-1])])
    else:
        steps = np.array([(side, 0.0) if i % 2 else (0.0, side) for i, side in enumerate(sides)])
        points = np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])

    pieces = dash_pieces(points, closed, LINE_TYPES[name])

    for i, corner in enumerate(points):
        (through,) = [piece for piece in pieces if (np.abs(piece - corner).sum(axis=1) < 1e-6).any()]
        inner = closed or 0 < i < len(points) - 1
        ends = np.abs(through[[0, -1]] - corner).sum(axis=1) < 1e-6
        whole = closed and len(pieces) == 1  # sides too short for gaps
        assert not ends.any() or whole if inner else ends.any()


@given(span=st.floats(0.5, 400.0))
def test_dashes_and_gaps_keep_their_proportion_and_are_stretched_by_a_half_at_most(span):
    dash, gap = 2.0, 1.0
    pieces = dash_pieces(np.array([[0.0, 0.0], [span, 0.0]]), False, (dash, -gap))

    if len(pieces) == 1:
        assert span < 0.5 * (dash + gap) + 1e-9  # too short for a gap
    else:
        assert sum(map(length, pieces)) / span == pytest.approx(dash / (dash + gap))
        gaps = [b[0, 0] - a[-1, 0] for a, b in pairwise(pieces)]
        assert gaps == pytest.approx([gaps[0]] * len(gaps))
        assert 0.5 * gap <= gaps[0] <= 2.0 * gap


def test_along_a_curve_dashes_do_not_begin_anew_at_its_vertices():
    angles = np.linspace(0.0, 2 * np.pi, 400)[:-1]
    circle = 20.0 * np.stack([np.cos(angles), np.sin(angles)], axis=1)

    pieces = dash_pieces(circle, True, (5.0, -1.5))

    # The circumference is 125.66: nineteen patterns of 6.5, each a little longer.
    assert len(pieces) == 19
    assert [length(piece) for piece in pieces] == pytest.approx([length(pieces[0])] * 19, rel=1e-3)
    assert is_smooth(circle, np.zeros(len(circle)), True)


def test_a_square_has_corners_and_a_stadium_none():
    assert not is_smooth(SQUARE, np.zeros(4), True)
    # Two straight sides and a half circle, which turns left, at either end.
    ends = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [0.0, 4.0]])
    assert is_smooth(ends, np.array([0.0, 1.0, 0.0, 1.0]), True)
    assert not is_smooth(ends, np.array([0.0, -1.0, 0.0, 1.0]), True)
