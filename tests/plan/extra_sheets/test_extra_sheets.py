"""Peg cards, the diagram of lines, and the field book drawn."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from builders.drawn import house
from builders.paths import SAMPLES

import pegline
from pegline.plan.display import Words
from pegline.plan.extra_sheets.peg_cards import SKETCH_AIR_MM, SKETCH_SCALES, SKETCH_SIDE_MM, SketchGround, sketch
from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import box
from pegline.plan.map.features import map_content
from pegline.plan.model import Options, Plan, Sheet
from pegline.plan.render import plan_pages

ALLOWED = 0.01  #: share of the words' area that may overlap


def sheets(*names: str, **changes: object) -> tuple[Plan, tuple[Sheet, ...]]:
    plan = house(**changes).plan(Options(sheets=names))
    return plan, plan.sheets[1:]


def texts(sheet: Sheet) -> list[str]:
    return [item.text for item in sheet.page.items if isinstance(item, Words)]


def test_no_further_sheet_comes_unasked():
    assert len(house().plan().sheets) == 1


def test_every_station_has_a_card_with_its_mark_and_witnesses():
    _, cards = sheets("pegs")

    told = [text for sheet in cards for text in texts(sheet)]
    for name in ("A", "B", "C", "D", "T1"):
        assert name in told
    assert told.count("wooden peg") == 5
    assert "8.78 m" in told  # A to h1: hypot(8.20, 3.15) = 8.784
    assert told.count("No witnesses were booked.") == 4


def test_the_diagram_shows_each_line_with_its_length_and_each_check_with_its_verdict():
    _, (diagram,) = sheets("diagram")

    told = texts(diagram)
    assert "52.30" in told
    assert any(text.endswith("(0.00 PASSED)") for text in told)
    assert "line C-D" in told


def test_a_failed_check_is_marked():
    _, (diagram,) = sheets("diagram", passed=False)

    assert any("FAILED" in text for text in texts(diagram))


def test_the_field_pages_run_from_the_foot_up():
    _, drawn = sheets("pages")

    heights = {item.text: item.y for item in drawn[0].page.items if isinstance(item, Words)}
    assert heights["8.20"] < heights["16.95"] < heights["20.00"]
    assert heights["3.15  h1"] == heights["8.20"]


@pytest.mark.parametrize("names", [("pegs",), ("diagram", "pages"), ("pegs", "diagram", "pages")])
def test_sheets_are_numbered_through(names):
    plan, _ = sheets(*names)

    numbers = [next(t for t in texts(s) if t.startswith("Sheet ")) for s in plan.sheets]
    assert numbers == [f"Sheet {i} of {len(plan.sheets)}" for i in range(1, len(plan.sheets) + 1)]
    assert len(list(plan_pages(plan))) == len(plan.sheets)


def test_each_further_sheet_says_what_it_is_not():
    _, drawn = sheets("pegs", "diagram", "pages")

    for sheet in drawn:
        assert any("This is not a boundary survey." in text for text in texts(sheet))


def test_each_further_sheet_says_how_the_checks_came_out():
    for passed, verdict in ((True, "PASSED: 1 check"), (False, "FAILED: 1 of"), (None, "NOT CHECKED")):
        plan = house(passed=passed).plan(Options(sheets=("pegs", "diagram", "pages")))
        assert len(plan.sheets) > 3
        assert all(any(verdict in text for text in texts(sheet)) for sheet in plan.sheets)


def test_nothing_stands_off_the_paper():
    plan, _ = sheets("pegs", "diagram", "pages")

    for sheet in plan.sheets:
        for item in sheet.page.items:
            if not isinstance(item, Words):
                assert item.points.min() >= 0.0
                assert (item.points <= (sheet.page.width, sheet.page.height)).all()


def boxes(words: list[Words]):
    """Return the boxes of words."""
    width = np.array([text_width(w.text, w.height, bold=w.bold) for w in words])
    height, turn = np.array([w.height for w in words]), np.array([w.rotation for w in words])
    along = np.array([{"left": 0.5, "middle": 0.0, "right": -0.5}[w.anchor] for w in words]) * width
    x = np.array([w.x for w in words]) + along * np.cos(turn) - height / 2 * np.sin(turn)
    y = np.array([w.y for w in words]) + along * np.sin(turn) + height / 2 * np.cos(turn)
    return box(x, y, turn, width, height)


def sample_sheets(name: str, which: str) -> list[Sheet]:
    plan = pegline.reduce(pegline.read(SAMPLES / f"{name}.yaml")).plan(Options(sheets=(which,)))
    return [sheet for sheet in plan.sheets if sheet.window is None]


@pytest.mark.parametrize("which", ["pegs", "diagram", "pages"])
@pytest.mark.parametrize("name", ["house-plot", "old-farm", "paddock", "estate"])
def test_words_of_further_sheets_of_the_samples_hardly_overlap(name, which):
    for sheet in sample_sheets(name, which):
        told = boxes([item for item in sheet.page.items if isinstance(item, Words)])
        one, two = shapely.STRtree(told).query(told, predicate="intersects")
        pair = one < two
        over = shapely.area(shapely.intersection(told[one[pair]], told[two[pair]])).sum()
        assert over / shapely.area(told).sum() < ALLOWED


@pytest.mark.parametrize("name", ["house-plot", "old-farm", "paddock", "estate"])
def test_all_of_a_sketch_stands_inside_its_frame(name):
    survey = pegline.reduce(pegline.read(SAMPLES / f"{name}.yaml"))
    plan = survey.plan()
    told = map_content(plan.survey.solved)
    ground = SketchGround.of(told)
    for peg, booked in plan.survey.book.witnesses.items():
        arms = [(w, 12.34, np.array(told.where.position(w.object))) for w in booked if w.object in told.where]
        items = list(sketch(told, ground, np.array(told.where.position(peg)), arms, 10.0, 20.0))

        frame = shapely.box(10.0, 20.0, 10.0 + SKETCH_SIDE_MM, 20.0 + SKETCH_SIDE_MM).buffer(1e-6)
        words = [item for item in items if isinstance(item, Words) and "1:" not in item.text]  # that stands beside it
        assert {w.object for w in booked if w.object in told.where} <= {item.text for item in words}
        assert shapely.covers(frame, boxes(words)).all()
        for item in items:
            assert isinstance(item, Words) or frame.covers(shapely.MultiPoint(item.points))


def test_a_sketch_is_as_large_as_its_peg_and_witnesses_need():
    plan = house(witnesses={"A": ["h1", "well"]}).plan()
    told = map_content(plan.survey.solved)
    seen = np.array([told.where.position(name) for name in ("A", "h1", "well")])
    arms = [(w, 1.0, np.array(told.where.position(w.object))) for w in plan.survey.book.witnesses["A"]]

    items = list(sketch(told, SketchGround.of(told), seen[0], arms, 0.0, 0.0))

    arms_drawn = [item.points for item in items if not isinstance(item, Words) and item.line_type == "SHORT-DASH"]
    reach = np.ptp(np.concatenate([points for points in arms_drawn if len(points) == 2]), axis=0).max()
    (scale,) = [int(item.text.partition("1:")[2]) for item in items if isinstance(item, Words) and "1:" in item.text]
    assert reach == pytest.approx(np.ptp(seen, axis=0).max() * 1000 / scale)
    larger = SKETCH_SCALES[SKETCH_SCALES.index(scale) - 1]
    assert reach <= SKETCH_SIDE_MM - 2 * SKETCH_AIR_MM < reach * scale / larger


def test_a_peg_without_witnesses_is_shown_with_what_lies_nearest():
    plan = house(witnesses={}).plan()
    told = map_content(plan.survey.solved)

    items = list(sketch(told, SketchGround.of(told), np.array((80.0, 2.0)), [], 0.0, 0.0))

    # The corner f4 of the plot at 55, 2 is the nearest of all, 25 m to the west.
    (scale,) = [int(item.text.partition("1:")[2]) for item in items if isinstance(item, Words) and "1:" in item.text]
    corners = np.concatenate([item.points for item in items if not isinstance(item, Words)])
    corner = (SKETCH_SIDE_MM / 2 - 12.5 * 1000 / scale, SKETCH_SIDE_MM / 2)
    assert np.hypot(*(corners - corner).T).min() == pytest.approx(0.0, abs=1e-6)


def test_the_field_pages_of_a_house_plot_are_packed_onto_one():
    plan = pegline.reduce(pegline.read(SAMPLES / "house-plot.yaml")).plan(Options(sheets=("pages",)))
    (page,) = [sheet.page for sheet in plan.sheets if sheet.name.startswith("Field book")]

    # Six lines with 42 rows in all; two thirds of the page's height are taken by one column or the other.
    heights = [item.y for item in page.items if isinstance(item, Words)]
    bands = np.histogram(heights, bins=12, range=(30.0, 270.0))[0]
    assert (bands > 0).sum() >= 8
