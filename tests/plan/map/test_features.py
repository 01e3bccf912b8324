"""What is drawn of a survey."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders.drawn import Drawn, house

from pegline.detail.model import Path
from pegline.measures.values import Length
from pegline.plan.compose import compose
from pegline.plan.map.features import K_95
from pegline.plan.model import DrawnFeature, Ellipse, Plan


def by_name(plan: Plan, name: str, layer: str) -> DrawnFeature:
    return next(f for f in plan.features if f.name == name and f.layer == layer)


def plan_with_wall(face: str, bulge: float = 0.0) -> Plan:
    survey = Drawn(
        {"A": (0.0, 0.0), "B": (20.0, 0.0), "C": (9.0, 12.0)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        {"w1": (0.0, 5.0), "w2": (10.0, 5.0)},
        {"wall": ("wall", ("w1", "w2"), (bulge, 0.0) if bulge else (), False)},
    ).survey()
    shape = survey.detail.shapes["wall"]
    booked = replace(shape.booked, thickness=Length(0.3, "m", "0.3 m"), face=face)
    detail = replace(survey.detail, shapes={"wall": replace(shape, booked=booked)})
    return compose(replace(survey, solved=replace(survey.solved, detail=detail)))


@pytest.mark.parametrize(("face", "heights"), [("left", [4.7, 5.0]), ("right", [5.0, 5.3]), ("middle", [4.85, 5.15])])
def test_a_wall_is_one_outline_as_thick_as_booked_on_the_side_away_from_its_taped_face(face, heights):
    # Walked from w1 to w2, which is eastward, left is north.
    (wall,) = [f for f in plan_with_wall(face).features if f.layer == "WALLS"]

    assert wall.geometry.closed
    assert sorted(wall.geometry.vertices[:, 1].tolist()) == pytest.approx(sorted(2 * heights))
    assert sorted(set(wall.geometry.vertices[:, 0].tolist())) == pytest.approx([0.0, 10.0])
    assert not wall.geometry.bulges.any()


def test_a_curved_wall_keeps_its_taped_face_as_an_arc():
    plan = plan_with_wall("left", bulge=0.4)
    (wall,) = [f for f in plan.features if f.layer == "WALLS"]

    # A chord of 10 m and bulge b: radius 10 (1 + b²) / 4b = 7.25 m, its middle north of the chord where it turns left.
    radius = 10 * (1 + 0.4**2) / (4 * 0.4)
    assert wall.geometry.bulges[0] == 0.4
    centre = np.array([5.0, 5.0 + 10 * (1 - 0.4**2) / (4 * 0.4)])
    away = np.hypot(*(wall.geometry.vertices - centre).T)
    assert sorted(away)[:2] == pytest.approx([radius] * 2)
    assert away[2:].tolist() == pytest.approx([radius + 0.3] * (len(away) - 2), abs=0.006)


def test_a_tree_is_as_wide_as_its_spread():
    plan = house().plan()

    assert by_name(plan, "apple", "TREES").size == 5.5


def test_an_offset_runs_from_its_foot_on_the_line_to_the_point():
    offset = by_name(house().plan(), "h1", "OFFSETS")

    assert isinstance(offset.geometry, Path)
    assert offset.geometry.vertices == pytest.approx(np.array([[8.2, 0.0], [8.2, 3.15]]))
    assert offset.attributes["booked"] == "3.15"


def test_an_ellipse_holds_95_per_cent():
    # The 0.95 quantile of chi-square with two degrees of freedom is 5.991 (any table of it).
    assert pytest.approx(5.991, abs=0.001) == K_95**2

    ellipse = by_name(house().plan(), "h1", "ELLIPSES").geometry

    # The point's covariance is 4 cm² east and 6 cm² north: the major axis runs north.
    assert isinstance(ellipse, Ellipse)
    assert ellipse.semi_major == pytest.approx(K_95 * 6e-4**0.5)
    assert ellipse.semi_minor == pytest.approx(K_95 * 4e-4**0.5)
    assert np.sin(ellipse.bearing) == pytest.approx(0.0, abs=1e-9)


def test_a_check_line_has_a_layer_of_its_own():
    plan = house().plan()

    assert by_name(plan, "C-D", "CHECK-LINES").kind == "check"
    assert by_name(plan, "A-B", "CHAIN-LINES").kind == "base"


def test_a_witness_is_drawn_to_its_peg():
    plan = house().plan()

    assert by_name(plan, "h1 to A", "WITNESSES").attributes["distance"] == "8.784 m"


def test_everything_knows_its_row_of_the_book():
    for feature in house().plan().features:
        assert feature.source or feature.layer == "ELLIPSES" or feature.kind == "point", feature.name
