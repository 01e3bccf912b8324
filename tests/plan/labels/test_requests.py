"""Which labels a plan wants and where they may go: figures, names on several lines, crowns, by hand on a plain map."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import shapely
from builders.drawn import Drawn, house

from pegline.book.model import BookedSheet
from pegline.detail.path import straight
from pegline.frame.model import Frame
from pegline.measures.lengths import length_of_text
from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import LabelPaper, box
from pegline.plan.labels.requests import (
    CIRCLE,
    DimensionLine,
    label_requests,
    obstacles,
    point_label,
    room_outlines,
    symbol_radius,
    way_labels,
)
from pegline.plan.map.features import map_content
from pegline.plan.model import DrawnFeature, Tuft
from pegline.plan.style import SYMBOLS


def test_a_long_name_is_written_on_several_lines():
    long = "the old walnut tree that the neighbours planted in the year of the flood"
    plan = house(labels={"apple": long}).plan()

    lines = [label.text for label in plan.labels if label.owner == "apple" and label.layer == "NAMES"]
    assert len(lines) > 1
    assert " ".join(lines) == long


def test_a_shared_wall_is_figured_once_and_figures_stand_outside_their_rooms():
    corners = {f"c{i}": xy for i, xy in enumerate([(5, 5), (15, 5), (25, 5), (25, 12), (15, 12), (5, 12)])}
    drawn = Drawn(
        {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (20.0, 30.0)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        corners,
        {
            "house": ("building", ("c0", "c1", "c4", "c5"), (), True),
            "wing": ("building", ("c1", "c2", "c3", "c4"), (), True),
        },
    )
    plan = drawn.plan()

    figures = [label for label in plan.labels if label.layer == "DIMENSIONS"]
    assert sorted(label.text for label in figures) == ["10.00"] * 4 + ["7.00"] * 3
    rooms = [shapely.Polygon(f.geometry.vertices) for f in plan.features if f.layer == "BUILDINGS"]
    inside = [label for label in figures if any(room.contains(shapely.Point(label.centre)) for room in rooms)]
    assert len(inside) == 1  # the wall between the two has no other place


def test_boundaries_have_no_figures_unless_the_book_asks_and_then_no_finer_than_they_are_known():
    silent = house().plan()
    assert not [label for label in silent.labels if label.layer == "BOUNDARY-FIGURES"]
    assert not [item for item in silent.sheets[0].page.items if getattr(item, "text", "") == "BOUNDARY LINES"]

    plan = house(sheet=BookedSheet(boundary_figures=True)).plan()

    texts = [label.text for label in plan.labels if label.layer == "BOUNDARY-FIGURES"]
    assert {"a", "b", "c"} <= set(texts)
    figures = [text for text in texts if text[0].isdigit()]
    # The corners are known to 2 cm and 2.4 cm each way: a length between two to 3 cm, so to a decimetre.
    assert figures
    for figure in figures:
        assert len(figure.partition(".")[2]) == 1
        assert length_of_text(f"{figure} m").metres("m") > 0
    page_texts = [getattr(item, "text", "") for sheet in plan.sheets for item in sheet.page.items]
    assert "BOUNDARY LINES" in page_texts
    assert "a-b" in page_texts


def test_the_area_of_a_boundary_is_called_what_it_is():
    plan = house().plan()

    texts = [label.text for label in plan.labels]
    assert "area within the marks" in texts
    assert "plot" not in texts


PAPER = LabelPaper(0.2)  # 1:200
TRIANGLE = {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (20.0, 30.0)}
SIDES = [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")]


def requests(points, features, **more):
    """Return the labels that a map of some features wants, those of stations left out."""
    content = map_content(Drawn(TRIANGLE, SIDES, points, features, **more).plan().survey.solved)
    return [each for each in label_requests(content, PAPER) if each.kind != "station"], content


HOUSE = {"h1": (5.0, 5.0), "h2": (15.0, 5.0), "h3": (15.0, 12.0), "h4": (5.0, 12.0)}


@pytest.mark.parametrize("corners", [("h1", "h2", "h3", "h4"), ("h4", "h3", "h2", "h1")])
def test_walls_have_their_lengths_outside_their_room_first_whichever_way_round_it_is_booked(corners):
    wanted, _ = requests(HOUSE, {"house": ("building", corners, (), True)})
    figures = [each for each in wanted if each.kind == "figure"]
    assert sorted(each.wanted.text for each in figures) == ["10.00", "10.00", "7.00", "7.00"]
    room = shapely.box(25, 25, 75, 60)  # millimetres
    for each in figures:
        best = each.wanted.spots[np.argmin(each.wanted.spots[:, 3])]
        assert not room.contains(shapely.Point(best[:2]))
        inside = [room.contains(shapely.Point(spot[:2])) for spot in each.wanted.spots]
        assert each.wanted.spots[inside, 3].min() > each.wanted.spots[np.invert(inside), 3].max() + 30
        (x0, y0), (x1, y1) = each.measures
        assert f"{np.hypot(x1 - x0, y1 - y0):.2f}" == each.wanted.text


@pytest.mark.parametrize(("deep", "figured"), [(0.79, 2), (0.81, 4)])
def test_a_wall_shorter_than_four_millimetres_has_no_figure(deep, figured):
    narrow = {"h1": (5.0, 5.0), "h2": (15.0, 5.0), "h3": (15.0, 5.0 + deep), "h4": (5.0, 5.0 + deep)}
    wanted, _ = requests(narrow, {"shed": ("building", ("h1", "h2", "h3", "h4"), (), True)})
    assert sum(each.kind == "figure" for each in wanted) == figured


def test_the_figures_of_walls_are_lengths_on_the_ground():
    frame = Frame("local", None, "", "local", scale=0.5)
    wanted, _ = requests(HOUSE, {"house": ("building", tuple(HOUSE), (), True)}, frame=frame)
    assert {each.wanted.text for each in wanted if each.kind == "figure"} == {"20.00", "14.00"}


def test_the_name_of_a_bent_line_hangs_on_its_middle():
    bend = {"p": (0.0, 10.0), "q": (10.0, 10.0), "r": (10.0, 40.0)}
    wanted, _ = requests(bend, {"fence": ("fence", ("p", "q", "r"), (), False)})
    (line,) = [each for each in wanted if each.kind == "line"]
    assert (line.anchor.x, line.anchor.y) == pytest.approx((50.0, 100.0))  # 20 m along: 10 m up the second piece


def test_beside_a_curve_names_run_along_it_off_it_by_the_same_on_either_side():
    # Half a circle of 20 m about (20, 0): 100 mm on paper. Its places are the last twenty, by share, side and gap.
    wanted, _ = requests({"p": (0.0, 0.0), "q": (40.0, 0.0)}, {"lane": ("road edge", ("p", "q"), (1.0,), False)})
    (line,) = [each for each in wanted if each.kind == "line"]
    spots, height, width = line.wanted.spots[-20:], line.wanted.height, line.wanted.width
    off = spots[:, :2] - (100.0, 0.0)
    sagitta = 100 - np.sqrt(100**2 - (width / 2) ** 2)
    gaps = np.hypot(*off.T) - 100
    assert np.sort(np.unique(np.abs(gaps).round(1))) == pytest.approx([height / 2 + 1.2, height / 2 + 4.0], abs=0.1)
    assert sagitta < 3
    assert (np.sign(gaps) > 0).sum() == 10
    tangents = np.arctan2(off[:, 1], off[:, 0]) + pi / 2
    assert np.abs(np.sin(tangents - spots[:, 2])).max() < 0.03
    shares = np.degrees(np.arctan2(np.abs(off[:, 1]), off[:, 0])) / 180
    assert np.unique(shares.round(2)).tolist() == pytest.approx([0.2, 0.35, 0.5, 0.65, 0.8], abs=0.011)


def symbol(symbol, size=None, at=(10.0, 20.0)):
    return DrawnFeature("TREES", "tree", "tree", at, "", symbol=symbol, size=size)


def test_a_symbol_reaches_as_far_as_it_is_drawn_or_as_wide_as_it_was_measured():
    assert symbol_radius(symbol("station"), 0.2) == SYMBOLS["station"].radius
    assert symbol_radius(symbol("tree", 6.0), 0.2) == pytest.approx(15.0)  # 3 m at 1:200


def test_a_short_name_stands_in_a_wide_crown_under_its_stem_and_a_long_one_outside():
    wide = point_label("point", "NAMES", symbol("tree", 6.0), "oak", 1.8, PAPER, rank=2)
    assert (wide.anchor.x, wide.anchor.y, wide.anchor.radius) == pytest.approx((50.0, 100.0, 1.8))
    best = wide.wanted.spots[np.argmin(wide.wanted.spots[:, 3])]
    assert best[:3] == pytest.approx((50.0, 100.0 - 1.8 - 0.4 - 0.9, 0.0))
    small = point_label("point", "NAMES", symbol("tree", 0.8), "the old oak", 1.8, PAPER, rank=2)  # 2 mm
    assert small.anchor.radius == pytest.approx(0.5)
    best = small.wanted.spots[np.argmin(small.wanted.spots[:, 3])]
    drawn = box(*best[:3], small.wanted.width, 1.8)
    assert shapely.Point(50.0, 100.0).distance(drawn) >= 2.0


def test_a_name_of_several_lines_is_as_high_as_they_and_the_gaps_between_them():
    long = "the old walnut tree that the neighbours planted in the year of the flood"
    wanted = point_label("point", "NAMES", symbol("station"), long, 1.8, PAPER, rank=2)
    count = len(wanted.lines)
    assert count == int(text_width(long, 1.8) / 38.0) + 1  # none longer than 38 mm
    assert wanted.wanted.height == pytest.approx(count * 1.8 + (count - 1) * 1.1)
    widths = [text_width(line.text, 1.8) for line in wanted.lines]
    assert wanted.wanted.width == pytest.approx(max(widths))
    assert max(widths) <= 38.0
    assert min(widths) > max(widths) / 2


def test_the_figure_of_a_way_stands_along_it_and_belongs_to_its_middle():
    way = DimensionLine((10.0, 0.0), (10.0, 20.0), "20.0", symbol("station"))
    (wanted,) = way_labels([way], PAPER)
    assert wanted.measures == (way.start, way.end)
    assert (wanted.anchor.x, wanted.anchor.y) == pytest.approx((50.0, 50.0))
    assert np.abs(wanted.wanted.spots[:, 2]) == pytest.approx(pi / 2)
    assert wanted.wanted.width == text_width("20.0", 1.8, bold=True)


def test_labels_keep_off_lines_symbols_stems_and_the_edges_of_crowns():
    fence = DrawnFeature("FENCES", "f", "fence", straight([np.zeros(2), np.array([8.0, 0.0])], closed=False), "")
    tuft = Tuft("HEDGES", "tree-unsized", (4.0, 2.0), 0.0)
    lines, discs = obstacles([fence, symbol("station"), symbol("tree", 6.0)], [tuft], PAPER)
    assert lines[0] == pytest.approx(np.array([(0, 0), (40, 0)]))
    crown = lines[1] - (50.0, 100.0)
    assert np.hypot(*crown.T) == pytest.approx(15.0)
    assert len(crown) == len(CIRCLE)
    assert crown[0] == pytest.approx(crown[-1])
    assert discs == [
        pytest.approx((50.0, 100.0, SYMBOLS["station"].radius)),
        pytest.approx((50.0, 100.0, 1.8)),
        pytest.approx((20.0, 10.0, SYMBOLS["tree-unsized"].radius)),
    ]


def test_rooms_are_the_outlines_of_buildings_on_paper():
    _, content = requests(
        HOUSE, {"house": ("building", tuple(HOUSE), (), True), "bed": ("bed", tuple(HOUSE), (), True)}
    )
    (room,) = room_outlines(content.features, PAPER)
    assert room.bounds == pytest.approx((25.0, 25.0, 75.0, 60.0))


def test_the_name_of_a_house_is_inside_it_with_its_area_below():
    wanted, _ = requests(HOUSE, {"house": ("building", tuple(HOUSE), (), True)})
    (area,) = [each for each in wanted if each.kind == "area"]
    assert [line.text for line in area.lines] == ["house", "70.00 m²"]
    best = area.wanted.spots[np.argmin(area.wanted.spots[:, 3])]
    assert best[:2] == pytest.approx((50.0, 42.5), abs=0.5)
    assert area.anchor.radius == pytest.approx(12.0)  # FAR_OUT, for half its diagonal is 30.5 mm
