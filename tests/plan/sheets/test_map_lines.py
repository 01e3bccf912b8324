"""Sheets that join say where they go on, clear of what the map shows; ticks of the grid stand off walls and names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from builders.drawn import Drawn, house, random_survey
from pyproj import CRS

from pegline.book.model import BookedSheet
from pegline.frame.model import Frame
from pegline.plan.display import Stroke, Words
from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import box
from pegline.plan.map.features import outline_points
from pegline.plan.model import Plan
from pegline.plan.render import plan_pages
from pegline.plan.sheets.map_lines import round_step
from pegline.plan.sheets.papers import Paper


def boxes_of(words: list[Words]):
    """Return the boxes of words that stand about their middle."""
    rows = [(w.x, w.y, w.rotation, text_width(w.text, w.height), w.height) for w in words]
    x, y, rotation, width, height = np.array(rows, dtype=float).T
    return box(x - height / 2 * np.sin(rotation), y + height / 2 * np.cos(rotation), rotation, width, height)


def cut_up(plan: Plan) -> list[tuple[list[Words], list[Words]]]:
    """Return for each sheet what says where it joins, and the words on its map."""
    found = []
    for page in plan_pages(plan):
        joins = [w for w in page.items if isinstance(w, Words) and w.text.startswith("joins sheet")]
        found.append((joins, [w for w in page.map if isinstance(w, Words)]))
    return found


@pytest.mark.parametrize(
    "survey",
    [
        house(sheet=BookedSheet(paper="A4"), scale=100),
        house(sheet=BookedSheet(paper="A4"), scale=50),
        *(random_survey(seed, 8, 60) for seed in range(4)),
    ],
)
def test_where_sheets_join_is_told_off_the_names_of_the_map(survey):
    sheets = cut_up(replace(survey, sheet=BookedSheet(paper="A4"), scale=survey.scale or 300).plan())

    assert sum(len(joins) for joins, _ in sheets) > 1
    for joins, words in sheets:
        if joins and words:
            one, _ = shapely.STRtree(boxes_of(words)).query(boxes_of(joins), predicate="intersects")
            assert not len(one), [joins[i].text for i in one]


ORIGIN = (512_340.25, 5_712_806.4)


def on_a_grid(drawn: Drawn) -> Plan:
    frame = Frame("grid", "grid", CRS.from_epsg(32630).to_wkt("WKT2_2019"), "WGS 84 / UTM zone 30N", origin=ORIGIN)
    return Drawn(**{**drawn.__dict__, "frame": frame}).plan()


def crosses(plan: Plan) -> np.ndarray:
    """Return the middles of the ticks inside the map, on the paper."""
    strokes = [i.points for i in plan.sheets[0].page.items if isinstance(i, Stroke) and i.layer == "GRID"]
    return np.array([points.mean(axis=0) for points in strokes if abs(np.hypot(*(points[1] - points[0])) - 3.0) < 1e-9])


def paper_of(plan: Plan) -> Paper:
    first = plan.sheets[0]
    return Paper(first.window, first.centre, plan.scale, first.turn)


@pytest.mark.parametrize("seed", range(6))
def test_ticks_stand_on_round_coordinates_and_off_all_that_is_drawn(seed):
    plan = on_a_grid(random_survey(seed))
    paper = paper_of(plan)
    places = crosses(plan)

    assert len(places)
    coordinates = paper.metres(places) + ORIGIN
    step = round_step(45.0 * plan.scale / 1000)
    assert coordinates / step == pytest.approx(np.round(coordinates / step), abs=1e-6)
    drawn = [
        shapely.LineString(paper.points(outline_points(feature)))
        for feature in plan.features
        if plan.layers[feature.layer].plots
        and len(outline_points(feature)) > 1
        and not isinstance(feature.geometry, tuple)
    ]
    names = [
        box(*paper.points(np.array(label.centre)), label.rotation + plan.turn, label.width, label.height)
        for label in plan.labels
        if plan.layers[label.layer].plots
    ]
    ticks = shapely.box(*(places - 1.5).T, *(places + 1.5).T)
    assert not len(shapely.STRtree([*drawn, *names]).query(ticks, predicate="intersects")[0])


def test_on_a_turned_sheet_the_coordinates_along_the_edges_are_those_of_their_lines():
    angle = np.radians(40)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    corners = {f"f{i}": tuple(x * along + y * across) for i, (x, y) in enumerate([(0, 0), (375, 0), (375, 9), (0, 9)])}
    strip = Drawn(
        {"A": (0.0, 0.0), "B": tuple(375 * along), "C": tuple(180 * along + 9 * across)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        corners,
        {"fence": ("fence", tuple(corners), (), True)},
        scale=1000,
    )
    plan = on_a_grid(strip)
    paper = paper_of(plan)
    left, bottom, _, _ = plan.sheets[0].window

    assert plan.turn == pytest.approx(-angle)
    told = [i for i in plan.sheets[0].page.items if isinstance(i, Words) and i.text.endswith((" E", " N"))]
    strokes = [i.points for i in plan.sheets[0].page.items if isinstance(i, Stroke) and i.layer == "GRID"]
    edges = np.array([p[0] for p in strokes if abs(p[0][0] - left) < 1e-9 or abs(p[0][1] - bottom) < 1e-9])
    assert len(told) == len(edges) > 4
    for item in told:
        axis = "EN".index(item.text[-1])
        near = edges[np.hypot(*(edges - (item.x, item.y)).T).argmin()]
        assert (paper.metres(near) + ORIGIN)[axis] == pytest.approx(float(item.text[:-2]), abs=1e-6)


def test_a_tick_inside_a_house_is_left_out():
    plan = on_a_grid(house())
    places = paper_of(plan).metres(crosses(plan))

    rooms = [shapely.Polygon(f.geometry.vertices) for f in plan.features if f.layer == "BUILDINGS"]
    assert rooms
    assert not any(room.contains(shapely.Point(place)) for room in rooms for place in places)
