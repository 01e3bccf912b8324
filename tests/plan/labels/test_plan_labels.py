"""Labels of whole plans: each belongs to its own symbol, none lies on another, none is cut, crowds have numbers."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from builders.drawn import Drawn, house, random_survey
from builders.paths import SAMPLES
from builders.placed_labels import boxes, nearer_to_another, overlaps, plotted_labels, struck, texts_cut
from builders.stress import grove

import pegline
from pegline.plan.labels.boxes import LabelPaper
from pegline.plan.labels.requests import symbol_radius
from pegline.plan.model import Options, Plan


@pytest.fixture(scope="module")
def crowd() -> Plan:
    return grove(500).plan()


def test_in_a_crowd_numbers_stand_for_names_and_a_schedule_tells_them(crowd):
    numbers = {str(number): feature.name for number, feature in crowd.numbered}
    shown = {label.text: label.owner for label in crowd.labels if label.layer == "NAMES"}

    assert len(numbers) == 500
    assert shown.items() <= numbers.items()
    texts = [item.text for sheet in crowd.sheets for item in sheet.page.items if hasattr(item, "text")]
    assert {feature.name for _, feature in crowd.numbered} <= set(texts)


def test_in_a_crowd_no_label_lies_on_another_is_struck_or_seems_to_name_another_tree(crowd):
    assert overlaps(crowd) == []
    assert nearer_to_another(crowd) == []
    assert struck(crowd) == []


def test_in_a_crowd_what_finds_no_room_is_told_in_a_line(crowd):
    missing = 500 - sum(label.layer == "NAMES" for label in crowd.labels)

    texts = [item.text for item in crowd.sheets[0].page.items if hasattr(item, "text")]
    assert 0 < missing < 50
    assert any(text.startswith(f"{missing} names have no room on this plan") for text in texts)


def test_leaders_meet_no_label_and_lead_to_their_own_symbol(crowd):
    paper = LabelPaper(crowd.metres_per_mm, crowd.turn)
    labels = plotted_labels(crowd)
    tree = shapely.STRtree(boxes(crowd, labels))
    places = {f.name: np.array(f.geometry) for f in crowd.features if isinstance(f.geometry, tuple)}
    led = [(i, label) for i, label in enumerate(labels) if label.leader is not None]

    assert led
    for i, label in led:
        start, end = paper.points(np.array(label.leader))
        crossed = tree.query(shapely.LineString([start, end]), predicate="crosses").tolist()
        assert set(crossed) <= {i}
        radius = symbol_radius(next(f for f in crowd.features if f.name == label.owner), crowd.metres_per_mm)
        assert np.hypot(*(end - paper.points(places[label.owner]))) <= radius + 1e-6


def test_a_few_trees_keep_their_names():
    plan = grove(20).plan()

    assert plan.numbered == ()
    assert {label.text for label in plan.labels if label.layer == "NAMES"} >= {"oak 0", "ash 1"}


@pytest.mark.parametrize("seed", range(8))
def test_labels_of_invented_plots_belong_to_their_own_symbols_and_stay_on_the_map(seed):
    plan = random_survey(seed).plan()

    assert nearer_to_another(plan) == []
    assert texts_cut(plan) == []


@pytest.mark.parametrize("name", ["estate", "house-plot", "old-farm"])
def test_figures_of_the_samples_stand_outside_the_rooms_that_they_measure(name):
    plan = pegline.reduce(pegline.read(SAMPLES / f"{name}.yaml")).plan()

    rooms = {f.name: shapely.Polygon(f.geometry.vertices) for f in plan.features if f.layer == "BUILDINGS"}
    figures = [label for label in plan.labels if label.layer == "DIMENSIONS"]
    assert figures
    assert [f.text for f in figures if rooms[f.owner].contains(shapely.Point(f.centre))] == []


def two_fences(apart: float) -> Plan:
    """Return a plan of two fences side by side, so far apart on the ground in metres, at 1:200."""
    points = {"f0": (5.0, 8.0), "f1": (25.0, 8.0), "f2": (5.0, 8.0 - apart), "f3": (25.0, 8.0 - apart)}
    features = {"north fence": ("fence", ("f0", "f1"), (), False), "south fence": ("fence", ("f2", "f3"), (), False)}
    stations = {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (20.0, 30.0)}
    return Drawn(stations, [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")], points, features).plan()


@pytest.mark.parametrize("apart", [0.3, 0.6, 1.0, 2.0, 4.0])
def test_the_name_of_a_line_is_nearer_to_it_than_to_another_line(apart):
    plan = two_fences(apart)

    lines = {f.name: shapely.LineString(f.geometry.vertices) for f in plan.features if f.layer == "FENCES"}
    named = [label for label in plan.labels if label.text in lines]
    assert len(named) == 2
    for label in named:
        place = shapely.Point(label.centre)
        (other,) = (line for name, line in lines.items() if name != label.text)
        assert label.leader is not None or lines[label.text].distance(place) < other.distance(place)


def test_no_name_is_led_into_a_room_that_is_not_its_own():
    for plan in (grove(60).plan(), house().plan(Options(sheets=("owner",)))):
        rooms = [(f.name, shapely.Polygon(f.geometry.vertices)) for f in plan.features if f.layer == "BUILDINGS"]
        for label in plan.labels:
            if label.leader is not None:
                assert not any(room.contains(shapely.Point(label.centre)) for _, room in rooms)


def test_a_schedule_says_sizes_as_booked():
    plan = grove(200).plan()
    (page,) = [sheet.page for sheet in plan.sheets if sheet.name.startswith("Schedule")][:1]
    texts = [item.text for item in page.items if hasattr(item, "text")]

    assert any(text.startswith("SCHEDULE (metres)") for text in texts)
    booked = {shape.booked.spread.text for shape in plan.survey.detail.shapes.values()}
    assert len(booked & set(texts)) > 50
