"""Where targets lie, by hand from four pegs that stand on whole metres, and what they owe to the pegs."""

from math import pi, sqrt

import numpy as np
import pytest
from builders.four_pegs import PEGS, four_pegs

from pegline.commands.positions import Positions
from pegline.commands.setout.target_file import read_targets
from pegline.commands.setout.targets import targets_from_file, targets_from_names
from pegline.errors import BookError, UsageError


@pytest.fixture(scope="module")
def survey():
    return four_pegs()


@pytest.fixture
def target_set(survey, tmp_path):
    def read(text, survey=survey):
        path = tmp_path / "targets.yaml"
        path.write_text(text, encoding="utf-8")
        return targets_from_file(Positions(survey), read_targets(str(path), survey.book.unit))

    return read


#: A-C runs along (0.8, 0.6) and A-D along (0.6, -0.8).
POINTS = {
    "{line: A-B, at: 30, left: 4}": (30.0, 4.0),
    "{line: A-B, at: 30, right: 4}": (30.0, -4.0),
    "{line: B-A, at: 30, left: 4}": (20.0, -4.0),
    "{line: A-C, at: 25}": (20.0, 15.0),
    "{line: A-C, at: 25, left: 5}": (17.0, 19.0),
    "{line: A-C, at: 25, right: 5}": (23.0, 11.0),
    "{line: A-D, at: -10, left: 5}": (-2.0, 11.0),
    "{line: A-B, at: 10 ft, left: 3 in}": (3.048, 0.0762),
    "{meet: [A-B, C-D]}": (25.0, 0.0),
    "{meet: [h2-h1, A-C]}": (8.0, 6.0),
    "{meet: [C-D, h1-h2]}": (26.75, 6.0),
    "{from: {A: 40, B: 30}, left_of: A-B}": (32.0, 24.0),
    "{from: {A: 40, B: 30}, right_of: A-B}": (32.0, -24.0),
    "{from: {B: 30, A: 40}, right_of: A-B}": (32.0, -24.0),
    "{from: {A: 24, C: 32}, left_of: A-C}": (0.0, 24.0),
    "{from: {A: 24, C: 32}, right_of: A-C}": (23.04, -6.72),
    "{easting: 12.5, northing: -7}": (12.5, -7.0),
}


@pytest.mark.parametrize("given", POINTS)
def test_points_are_where_they_are_given(target_set, given):
    assert target_set(f"points: {{q: {given}}}").at["q"] == pytest.approx(POINTS[given], abs=1e-9)


def test_lengths_of_a_file_are_in_its_unit_and_come_into_the_frame_by_its_scale(target_set):
    scaled = four_pegs(scale=0.5)
    assert target_set("points: {q: {line: A-B, at: 30, left: 4}}", scaled).at["q"] == pytest.approx((15.0, 2.0))
    feet = target_set("unit: ft\npoints: {q: {line: A-B, at: 30, left: 4}}")
    assert feet.at["q"] == pytest.approx((9.144, 1.2192))


def test_coordinates_are_in_the_unit_of_the_frame_and_from_its_own_origin(target_set):
    moved = four_pegs(origin=(3000.0, 6000.0), metres_per_unit=0.3048)
    found = target_set("points: {q: {easting: 10010, northing: 20020}}", moved).at["q"]
    assert found == pytest.approx((10010 * 0.3048 - 3000.0, 20020 * 0.3048 - 6000.0))


SIDE = "points: {q1: {line: A-B, at: 10}, q2: {line: A-B, at: 22}}\nfeatures: {f: {kind: fence, "
ARC = "points: {q1: {line: A-B, at: 35}, q2: {line: A-B, at: 25, left: 10}, q3: {line: A-B, at: 15}}\n"
#: A feature and the points that it makes. The hedge of the survey runs from (10, 6) to (22, 6).
FEATURES = {
    SIDE + "rectangle: {edge: q1-q2, left: 6}, corners: [c1, c2]}}": {"c1": (22, 6), "c2": (10, 6)},
    SIDE + "rectangle: {edge: q1-q2, right: 6}, corners: [c1, c2]}}": {"c1": (22, -6), "c2": (10, -6)},
    SIDE + "taped_round: {edge: q1-q2, walls: [left 2, right 4, left 1]}}}": {
        "f.1": (22, 2),
        "f.2": (26, 2),
    },
    SIDE + "circle: {centre: h1, radius: 3}}}": {"f.1": (10, 9), "f.2": (13, 6), "f.3": (10, 3), "f.4": (7, 6)},
    SIDE + f"circle: {{centre: h1, girth: {6 * pi}}}}}}}": {"f.1": (10, 9), "f.2": (13, 6)},
    SIDE + "parallel: {to: hedge, left: 2}}}": {"f.1": (10, 8), "f.2": (22, 8)},
    SIDE + "parallel: {to: hedge, right: 2}}}": {"f.1": (10, 4), "f.2": (22, 4)},
    SIDE + "through: [q1, q2]}, g: {kind: fence, parallel: {to: f, right: 3}}}": {"g.1": (10, -3), "g.2": (22, -3)},
    # on a circle about (25, 0): the corners between are half way round
    ARC + "features: {f: {kind: fence, curve: [q1, q2, q3]}}": {
        "f.1": (25 + 5 * sqrt(2), 5 * sqrt(2)),
        "f.2": (25 - 5 * sqrt(2), 5 * sqrt(2)),
    },
}


@pytest.mark.parametrize("text", FEATURES)
def test_features_make_points(target_set, text):
    found = target_set(text)
    for name, at in FEATURES[text].items():
        assert found.at[name] == pytest.approx(at, abs=1e-9)
    made = {name for name in found.names if name not in ("q1", "q2", "q3")}
    assert made >= FEATURES[text].keys()


def test_a_rectangle_is_told_in_its_order_all_round_and_is_square(target_set):
    (outline,) = target_set(next(iter(FEATURES))).outlines
    assert (outline.points, outline.closed, outline.square) == (("q1", "q2", "c1", "c2"), True, True)


def test_a_target_moves_with_the_ends_of_its_line(target_set):
    # 25 m along A-C and 5 m to its left. A turn of C by a metre across takes 25/40 of it across and 5/40 back along.
    found = target_set("points: {q: {line: A-C, at: 25, left: 5}}")
    along, across = np.array([0.8, 0.6]), np.array([-0.6, 0.8])
    at_c = np.outer(25 / 40 * across - 5 / 40 * along, across)
    at_a = np.outer(along, along) + np.outer(15 / 40 * across + 5 / 40 * along, across)
    assert found.used == ("A", "C")
    assert found.by_survey["q"] == pytest.approx(np.hstack((at_a, at_c)), abs=1e-7)
    assert found.hangs_on("q") == ("A", "C")


def test_where_lines_meet_moves_with_their_four_ends(target_set):
    found = target_set("points: {q: {meet: [A-B, C-D]}}")

    def crossing(ends):
        (p, q), (r, s) = ends.reshape(2, 2, 2)
        share, _ = np.linalg.solve(np.column_stack((q - p, r - s)), r - p)
        return p + share * (q - p)

    ends = np.array([PEGS[name] for name in "ABCD"]).ravel()
    by = [(crossing(ends + 1e-4 * unit) - crossing(ends - 1e-4 * unit)) / 2e-4 for unit in np.eye(8)]
    assert found.used == ("A", "B", "C", "D")
    assert found.by_survey["q"] == pytest.approx(np.transpose(by), abs=1e-7)


def test_what_does_not_move_a_target_has_no_part_in_it(target_set):
    found = target_set("points: {q: {line: A-C, at: 0}, r: {easting: 3, northing: 4}, s: {line: A-B, at: 0.04}}")
    assert found.hangs_on("q") == ("A",)
    assert found.hangs_on("r") == ()
    assert found.hangs_on("s") == ("A",)  # B moves it by 0.04/50 of what it moves itself
    assert target_set("points: {s: {line: A-B, at: 0.06}}").hangs_on("s") == ("A", "B")
    assert target_set("points: {r: {easting: 3, northing: 4}}").by_survey["r"].shape == (2, 0)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("{from: {A: 19, B: 30}, left_of: A-B}", "do not meet, A and B are 50.00 m apart"),
        ("{from: {A: 40, B: 30}, left_of: D-h1}", "not meet on that side"),
        ("{meet: [A-B, h2-h1]}", "nearly side by side"),
    ],
)
def test_what_cannot_be_there_is_told(target_set, given, said):
    with pytest.raises(BookError, match=said):
        target_set(f"points: {{q: {given}}}")


@pytest.mark.parametrize(("degrees", "meets"), [(14.9, False), (15.1, True)])
def test_lines_meet_from_fifteen_degrees_on(target_set, degrees, meets):
    to_east, to_north = 20 * np.cos(np.radians(degrees)), 20 * np.sin(np.radians(degrees))
    text = f"points: {{e: {{easting: {to_east}, northing: {to_north}}}, q: {{meet: [A-B, A-e]}}}}"
    if meets:
        assert target_set(text).at["q"] == pytest.approx((0.0, 0.0), abs=1e-9)
    else:
        with pytest.raises(BookError, match="nearly side by side"):
            target_set(text)


def test_points_of_the_survey_are_targets_where_they_stand(survey):
    found = targets_from_names(Positions(survey), ["h1", "C"])
    assert found.at["h1"] == pytest.approx((10.0, 6.0))
    assert found.at["C"] == pytest.approx((32.0, 24.0))
    with pytest.raises(UsageError, match="Z"):
        targets_from_names(Positions(survey), ["Z"])
