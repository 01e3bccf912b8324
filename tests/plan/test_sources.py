"""What is drawn says where in the book it comes from, so that a tap on the plan finds the row."""

import re
from math import hypot

import numpy as np
import pytest
from builders import paths

import pegline
from pegline.plan.display import Stroke
from pegline.plan.model import Ellipse
from pegline.plan.render import plan_pages
from pegline.web.plan_svg import inline_pages

SAMPLE = paths.SAMPLES / "house-plot.yaml"
ON_PAPER = 1e-3  # millimetres


@pytest.fixture(scope="module")
def plan():
    return pegline.reduce(pegline.read(SAMPLE)).plan()


def test_every_point_booked_by_a_row_leads_to_that_row(plan):
    lines = SAMPLE.read_text(encoding="utf-8").splitlines()
    (svg,) = inline_pages(plan, ["POINT-NAMES"])
    (group,) = re.findall(r'<g class="POINT-NAMES".*?</g>', svg)
    found = re.findall(r'data-source="(\d+):(\d+)">([^<]*)</text>', group)
    rows = [(int(line), name) for line, _, name in found if "point:" in lines[int(line) - 1]]

    assert len(rows) > 15
    for line, name in rows:
        assert f"point: {name}" in lines[line - 1]


def test_ellipses_are_drawn_so_many_times_their_size(plan):
    (page,) = plan_pages(plan, also=["ELLIPSES"])
    drawn = [item for item in page.map if isinstance(item, Stroke) and item.layer == "ELLIPSES"]
    true = [feature.geometry for feature in plan.features if isinstance(feature.geometry, Ellipse)]

    assert len(drawn) == len(true) > 20
    for stroke, ellipse in zip(drawn, true, strict=True):
        arms = stroke.points - stroke.points.mean(axis=0)
        reach = np.hypot(*arms.T).max()
        dx, dy = arms[np.hypot(*arms.T).argmax()]
        assert reach == pytest.approx(1000 * ellipse.semi_major * plan.ellipse_scale / plan.scale, abs=ON_PAPER)
        along = dx * np.sin(ellipse.bearing) + dy * np.cos(ellipse.bearing)
        assert abs(along) == pytest.approx(hypot(dx, dy), abs=ON_PAPER)


def test_a_sheet_on_paper_has_only_what_plots(plan):
    (page,) = plan_pages(plan)
    assert all(plan.layers[item.layer].plots for item in page.map)
