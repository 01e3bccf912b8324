"""Cards of pegs: distances and bearings by hand, sketches at their scale and inside their frame."""

from __future__ import annotations

from math import radians

import numpy as np
import pytest
import shapely
from builders.drawn import house, turned_frame
from builders.further_sheets import boxes, sheets, texts
from builders.paths import SAMPLES

import pegline
from pegline.errors import Place
from pegline.frame.model import Frame, FrameBearing
from pegline.plan.display import Stroke, Words
from pegline.plan.extra_sheets.peg_cards import SKETCH_AIR_MM, SKETCH_SCALES, SKETCH_SIDE_MM, SketchGround, sketch
from pegline.plan.map.features import map_content
from pegline.plan.sheets.column import A4_BODY


def test_every_station_has_a_card_with_its_mark_and_witnesses():
    _, cards = sheets("pegs")

    told = [text for sheet in cards for text in texts(sheet)]
    for name in ("A", "B", "C", "D", "T1"):
        assert name in told
    assert told.count("wooden peg") == 5
    assert "8.78 m" in told  # A to h1: hypot(8.20, 3.15) = 8.784
    assert told.count("No witnesses were booked.") == 4


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


def test_peg_cards_print_the_bearing_that_a_compass_reads():
    _, drawn = sheets("pegs", frame=turned_frame())

    # A to B runs due east on the grid: 90°. The needle points 2.5° west of grid north, so a compass reads 92.5°;
    # models of the needle are good to some 0.4°. The stations, known to 2 cm each, are 52 m apart: the line's own
    # bearing is known to 0.03°.
    cards = texts(drawn[0])
    assert any(text.startswith("B: ") and text.endswith(" 90.0°, mag. 92°") for text in cards)
    assert any(text == "To other stations, bearings from grid north; mag.: magnetic:" for text in cards)


@pytest.mark.parametrize(("accuracy", "told"), [(0.5, "90°"), (0.05, "90.0°")])
def test_bearings_on_peg_cards_are_no_finer_than_the_compass(accuracy, told):
    bearing = FrameBearing("A", "B", radians(90.0), radians(accuracy), radians(90.0), Place("weir.yaml", 1, 1))
    frame = Frame("north", "true", "", "turned to north", bearings=(bearing,))
    _, drawn = sheets("pegs", frame=frame)

    (line,) = [text for text in texts(drawn[0]) if text.startswith("B: 52.30 m, ")]
    assert line.removeprefix("B: 52.30 m, ") == told


def test_peg_cards_are_in_the_units_of_the_book():
    _, drawn = sheets("pegs", "diagram", unit="ft")

    assert any(text.startswith("B: 171.59 ft") for text in texts(drawn[0]))  # 52.30 m
    assert "Lengths in feet, on the ground." in texts(drawn[1])
    assert "171.59" in texts(drawn[1])


def test_a_card_without_witnesses_says_what_to_do():
    said = " ".join(texts(sheets("pegs", witnesses={})[1][0]))

    assert "No witnesses were booked. Measure to three lasting objects" in said.replace("  ", " ")


def test_cards_of_a_survey_that_failed_are_marked_each():
    plan, drawn = sheets("pegs", passed=False)

    said = texts(drawn[0])
    assert sum(text.startswith("FAILED: 1 of") for text in said) == 1 + min(6, len(plan.survey.solved.stations))


def test_distances_to_other_stations_are_on_the_ground():
    frame = Frame("local", None, "", "local", scale=0.5)
    told = texts(sheets("pegs", frame=frame)[1][0])
    assert "To other stations:" in told
    assert any(text == "B: 104.60 m" for text in told)  # 52.30 m in the frame


def test_cards_stand_two_by_three_on_a_page_and_fill_it():
    _, (page,) = sheets("pegs")
    left, bottom, right, top = A4_BODY
    closed = [each.points for each in page.page.items if isinstance(each, Stroke) and each.closed]
    cards = [points for points in closed if len(points) == 4 and 60 < np.ptp(points[:, 0]) < 120]
    wide, high = (right - left) / 2, (top - bottom) / 3
    corners = [(left + i % 2 * wide, top - i // 2 * high) for i in range(5)]
    assert [tuple(points[0]) for points in cards] == [pytest.approx(corner) for corner in corners]
    for points in cards:
        assert np.ptp(points, axis=0) == pytest.approx((wide, high))


def test_in_a_sketch_what_lies_north_of_the_peg_is_above_it_at_its_scale():
    plan = house(witnesses={"A": ["h1", "well"]}).plan()
    told = map_content(plan.survey.solved)
    here = {name: np.array(told.where.position(name)) for name in ("A", "h1", "well")}
    arms = [(w, 1.0, here[w.object]) for w in plan.survey.book.witnesses["A"]]

    items = list(sketch(told, SketchGround.of(told), here["A"], arms, 10.0, 20.0))

    (scale,) = [int(item.text.partition("1:")[2]) for item in items if isinstance(item, Words) and "1:" in item.text]
    drawn = [item.points for item in items if isinstance(item, Stroke) and item.line_type == "SHORT-DASH"]
    arms_drawn = [points for points in drawn if len(points) == 2]
    for points, name in zip(arms_drawn[-2:], ("h1", "well"), strict=True):
        assert points[1] - points[0] == pytest.approx((here[name] - here["A"]) * 1000 / scale, abs=1e-9)
    # All of them together are in the middle of the frame.
    every = np.concatenate(arms_drawn[-2:])
    middle = (every.min(axis=0) + every.max(axis=0)) / 2
    assert middle == pytest.approx((10.0 + SKETCH_SIDE_MM / 2, 20.0 + SKETCH_SIDE_MM / 2))
