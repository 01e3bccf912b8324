"""Where two arcs cut, how well, and by how much they fail to meet: by triangles of whole numbers."""

from math import hypot, sqrt

import pytest

from pegline.network.arc_intersection import (
    ArcAboutStation,
    cut_sd,
    cut_sine,
    gap,
    meetings,
    point_between,
    settled_image,
)


def arc(at, radius, sd=0.003):
    return ArcAboutStation(0, "A", at, radius, sd, tie=False)


def test_arcs_meet_left_of_the_line_between_their_centres_then_right_of_it():
    # 13-14-15: the foot of the height of 12 lies 5 along the side of 14.
    left, right = meetings(arc((1.0, 2.0), 13.0), arc((15.0, 2.0), 15.0))
    assert left == pytest.approx((6.0, 14.0))
    assert right == pytest.approx((6.0, -10.0))


def test_arcs_meet_on_the_same_sides_of_a_line_that_runs_aslant():
    # The same triangle along (3, 4) / 5: the foot is at (4, 6), 12 aside is (-9.6, 7.2).
    left, right = meetings(arc((1.0, 2.0), 13.0), arc((9.4, 13.2), 15.0))
    assert left == pytest.approx((-5.6, 13.2))
    assert right == pytest.approx((13.6, -1.2))


@pytest.mark.parametrize(
    ("other", "lacking"),
    [
        (arc((10.0, 0.0), 4.0), 1.0),  # 5 and 4 over 10
        (arc((3.0, 0.0), 10.0), 2.0),  # 5 about a centre 3 away, within 10
        (arc((0.0, 0.0), 7.0), 2.0),  # two lengths of one line
    ],
)
def test_arcs_that_do_not_meet_lack_what_is_between_them(other, lacking):
    one = arc((0.0, 0.0), 5.0)
    assert meetings(one, other) is None
    assert gap(one, other) == pytest.approx(lacking)


def test_arcs_that_meet_lack_nothing():
    assert gap(arc((0.0, 0.0), 5.0), arc((6.0, 0.0), 5.0)) < 0


def test_a_point_is_as_sure_as_its_arcs_over_the_sine_of_their_cut():
    # 5-5-6: the sides meet at an angle whose cosine is 7/25 and whose sine is 24/25.
    one, other = arc((0.0, 0.0), 5.0, 0.003), arc((6.0, 0.0), 5.0, 0.004)
    assert cut_sine(one, other) == pytest.approx(24 / 25)
    assert cut_sd(one, other) == pytest.approx(0.005 * 25 / 24)


def test_arcs_that_touch_cut_at_a_least_sine_and_those_that_do_not_meet_at_none():
    one = arc((0.0, 0.0), 5.0)
    assert cut_sine(one, arc((10.0, 0.0), 5.0)) == -1.0
    assert cut_sine(one, arc((11.0, 0.0), 5.0)) == -1.0
    assert cut_sd(one, arc((11.0, 0.0), 5.0)) == pytest.approx(hypot(0.003, 0.003) / 0.001)
    assert cut_sine(one, arc((sqrt(50), 0.0), 5.0)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("misfits", "image"),
    [
        ((0.0, 4.0), None),  # within four deviations
        ((0.0, 4.001), 0),
        ((6.0, 2.0), 1),  # three times as much
        ((6.0, 2.001), None),
        ((9.0, 9.0), None),
    ],
)
def test_an_image_is_meant_where_the_other_misfits_by_four_deviations_and_three_times_as_much(misfits, image):
    assert settled_image(misfits) == image


def test_a_point_between_lies_at_its_share_of_the_way():
    assert point_between((1.0, 2.0), (4.0, 6.0), 2.0) == pytest.approx((7.0, 10.0))
    assert point_between((1.0, 2.0), (4.0, 6.0), -0.5) == pytest.approx((-0.5, 0.0))
