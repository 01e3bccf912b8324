"""The lines as chained: to scale, lengths beside their own line, arrows that point as they were chained."""

from __future__ import annotations

from math import atan2, hypot, pi

import numpy as np
import pytest
import shapely
from builders.further_sheets import boxes, sheets, texts

from pegline.plan.display import Stroke, Words
from pegline.plan.sheets.column import A4_BODY, SMALL_TEXT_MM


def test_the_diagram_shows_each_line_with_its_length_and_each_check_with_its_verdict():
    _, (diagram,) = sheets("diagram")

    told = texts(diagram)
    assert "52.30" in told
    assert any(text.endswith("(0.00 PASSED)") for text in told)
    assert "line C-D" in told


def test_a_failed_check_is_marked():
    _, (diagram,) = sheets("diagram", passed=False)

    assert any("FAILED" in text for text in texts(diagram))


STATIONS = {"A": (0.0, 0.0), "B": (52.3, 0.0), "C": (19.5, 26.6), "D": (24.7, -26.2)}
CHAINED = ["AB", "AC", "CB", "AD", "DB", "CD"]


def strokes_and_words():
    _, (diagram,) = sheets("diagram")
    items = diagram.page.items
    return [each for each in items if isinstance(each, Stroke)], [each for each in items if isinstance(each, Words)]


def drawn_lines():
    """Return the ends of the survey's lines on paper, in the order in which they were chained."""
    strokes, _ = strokes_and_words()
    base = next(i for i, each in enumerate(strokes) if each.layer == "SHEET-FRAME" and len(each.points) == 2)
    ends = [each.points for each in strokes[base:] if len(each.points) == 2 and not each.closed]
    return dict(zip(CHAINED, ends, strict=False))


def test_the_lines_are_drawn_to_one_scale_and_as_they_lie():
    ends = drawn_lines()
    mm = hypot(*(ends["AB"][1] - ends["AB"][0])) / 52.3
    for name, (start, end) in ends.items():
        true = np.subtract(STATIONS[name[1]], STATIONS[name[0]])
        assert end - start == pytest.approx(mm * true, abs=1e-6)


def test_the_figure_is_as_large_as_its_room_and_in_its_middle():
    # 14 mm are left about it; here it is the breadth that decides.
    left, _, right, _ = A4_BODY
    points = np.concatenate([*drawn_lines().values()])
    assert (points[:, 0].min(), points[:, 0].max()) == pytest.approx((left + 14.0, right - 14.0))


def test_arrows_point_as_the_lines_were_chained():
    strokes, _ = strokes_and_words()
    heads = [each.points for each in strokes if len(each.points) == 3 and each.closed]
    assert len(heads) == len(CHAINED)
    for (start, end), (one, tip, other) in zip(drawn_lines().values(), heads, strict=True):
        assert tip == pytest.approx(start + 0.42 * (end - start))
        way = (end - start) / hypot(*(end - start))
        for wing in (one, other):
            assert hypot(*(wing - tip)) == pytest.approx(2.2)
            assert (wing - tip) @ way == pytest.approx(-2.2 * np.cos(0.35))
        assert (one + other) / 2 - tip == pytest.approx(-2.2 * np.cos(0.35) * way)  # one on either side


def test_each_length_stands_nearest_to_its_own_line():
    _, words = strokes_and_words()
    lines = {name: shapely.LineString(ends) for name, ends in drawn_lines().items()}
    for name in CHAINED:
        length = f"{hypot(*np.subtract(STATIONS[name[1]], STATIONS[name[0]])):.2f}"
        figures = [each for each in words if each.text.split(" ")[0] == length and each.anchor == "middle"]
        (figure,) = figures or [None]
        assert figure is not None, name
        (drawn,) = boxes([figure])
        assert min(lines, key=lambda other: lines[other].distance(drawn)) == name
        turned = atan2(*(lines[name].coords[1][i] - lines[name].coords[0][i] for i in (1, 0)))
        assert np.sin(figure.rotation - turned) == pytest.approx(0.0, abs=1e-9)
        assert abs(figure.rotation) <= pi / 2 + 1e-9
        assert figure.height == SMALL_TEXT_MM
