"""Labels that do not plot keep off those that do and off one another, or are left out."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import shapely
from builders.drawn import house, random_survey
from hypothesis import given
from hypothesis import strategies as st

from pegline.plan.labels.boxes import Boxes, LabelPaper
from pegline.plan.labels.plan_labels import place_labels
from pegline.plan.labels.unplotted_labels import first_free
from pegline.plan.map.features import map_content
from pegline.plan.model import Plan

NOTHING = np.empty((0, 5))
SIZE = (10.0, 2.0)


def spots(*rows: tuple[float, ...]) -> np.ndarray:
    """Return places at some heights on one upright line, a row a label."""
    return np.array([[(0.0, y, 0.0, 0.0) for y in row] for row in rows])


def test_a_label_takes_the_first_place_that_is_free():
    taken = np.array([(0.0, 0.0, 0.0, *SIZE)])

    assert first_free(spots((0.5, -1.5, 3.0)), np.array([SIZE]), taken).tolist() == [2]


def test_boxes_that_only_touch_are_free():
    taken = np.array([(0.0, 0.0, 0.0, *SIZE)])

    assert first_free(spots((2.0,)), np.array([SIZE]), taken).tolist() == [0]


def test_of_two_that_want_one_place_the_earlier_has_it():
    assert first_free(spots((0.0, 5.0), (0.0, 9.0)), np.array([SIZE, SIZE]), NOTHING).tolist() == [0, 1]


def test_a_label_without_room_is_left_out():
    assert first_free(spots((0.0, 1.0), (0.0, 1.0)), np.array([SIZE, SIZE]), NOTHING).tolist() == [0, -1]


def test_a_label_that_has_to_go_makes_room_for_the_next():
    # The second lies on the first and on the third; the third only on the second.
    assert first_free(spots((0.0,), (1.5,), (3.0,)), np.array([SIZE] * 3), NOTHING).tolist() == [0, -1, 0]


@given(st.lists(st.tuples(st.floats(0, 40), st.floats(0, 40), st.floats(-1.5, 1.5)), min_size=1, max_size=30))
def test_none_that_is_placed_lies_on_another_and_none_left_out_has_room(rows):
    places = np.array([[(x, y, turn, 0.0), (x + 3.0, y, turn, 0.0)] for x, y, turn in rows])
    sizes = np.array([SIZE] * len(rows))

    chosen = first_free(places, sizes, NOTHING)

    shape = np.concatenate([places[..., :3], np.broadcast_to(SIZE, (*places.shape[:2], 2))], axis=-1)
    kept = shape[chosen >= 0, chosen[chosen >= 0]]
    assert len(boxes_meet(kept, kept)[0]) == len(kept)  # each meets itself
    for tried in shape[chosen < 0]:
        assert set(boxes_meet(tried, kept)[0]) == {0, 1}


def boxes_meet(one: np.ndarray, two: np.ndarray):
    there = Boxes.of(two)
    return Boxes.of(one).meet(there, shapely.STRtree(there.reach))


def test_a_point_whose_feature_bears_its_name_has_it_once():
    plan = house().plan()

    told = Counter(label.text for label in plan.labels)
    assert {told[name] for name in ("apple", "pear", "pole", "cover", "well")} == {1}
    assert {told[name] for name in ("h1", "h2", "g1", "f5")} == {1}


def test_no_point_and_no_offset_goes_without_its_text():
    plan = random_survey(3, 6, 40).plan()
    texts = Counter((label.layer, label.owner) for label in plan.labels)
    named = {label.owner for label in plan.labels if label.layer in ("NAMES", "STATION-NAMES")}

    for feature in plan.features:
        if feature.layer == "POINTS":
            assert texts["POINT-NAMES", feature.name] or feature.name in named
        elif feature.layer == "OFFSETS":
            assert texts["OFFSET-FIGURES", feature.name]


def paper_of(plan: Plan) -> LabelPaper:
    """Return the paper of a plan that has one sheet."""
    paper = LabelPaper(plan.metres_per_mm, plan.turn)
    left, bottom, right, top = plan.sheets[0].window
    x, y = paper.at(plan.sheets[0].centre)
    wide, high = (right - left) / 2, (top - bottom) / 2
    return replace(paper, window=(x - wide, y - high, x + wide, y + high))


def test_labels_that_plot_do_not_depend_on_those_that_do_not():
    survey = house()
    plan = survey.plan()
    plotting = tuple(feature for feature in plan.features if feature.layer not in ("POINTS", "OFFSETS"))
    content = replace(map_content(plan.survey.solved), features=plotting)

    alone = place_labels(content, plan.tufts, paper_of(plan)).labels

    assert alone == plan.labels[: len(alone)]
    assert {label.layer for label in plan.labels[len(alone) :]} == {"POINT-NAMES", "OFFSET-FIGURES"}


def test_names_that_do_not_plot_keep_off_stations():
    plan = house(points={**house().points, "f5": (0.5, 0.5)}).plan()
    stations = [(*plan.survey.adjustment.solution.positions[0] / plan.metres_per_mm, 0.0, 2.4, 2.4)]

    (name,) = (label for label in plan.labels if label.text == "f5")

    at = np.array(name.centre) / plan.metres_per_mm
    assert not len(boxes_meet(np.array([(*at, 0.0, name.width, name.height)]), np.array(stations))[0])
