"""Which of two places a further distance or a side settles for a point that shares equations."""

from math import dist, sqrt

import pytest

from pegline.errors import Place
from pegline.measures.values import Pair, Side
from pegline.network.arc_intersection import Arc
from pegline.network.start_points import _by_rays, _image

SD = 0.01
ONE, OTHER = Arc(0, "A", (0.0, 0.0), 5.0, SD, tie=False), Arc(1, "B", (6.0, 0.0), 5.0, SD, tie=False)
IMAGES = ((3.0, 4.0), (3.0, -4.0))
AT = {"A": (0.0, 0.0), "B": (6.0, 0.0)}


@pytest.mark.parametrize(
    ("bad", "good", "settled"),
    [(4.1, 0.0, 1), (3.9, 0.0, None), (6.0, 1.9, 1), (6.0, 2.1, None)],
)
def test_a_further_distance_settles_from_four_deviations_and_three_times_the_other(bad, good, settled):
    # A third centre on the line A-B prolonged and a little up: to the lower image it is farther by 2 h 4 / distance.
    length = (bad + good) * SD
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        centre = (30.0, middle)
        low, high = (middle, high) if dist(centre, IMAGES[1]) - dist(centre, IMAGES[0]) < length else (low, middle)
    third = Arc(2, "C", (30.0, low), dist((30.0, low), IMAGES[1]) - good * SD, SD, tie=False)
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER, third], AT, None, (None, 0)) == settled


def test_a_side_that_is_told_settles_without_a_further_distance():
    here = Place("made.yaml", 1, 1)
    for left, image in ((True, 0), (False, 1)):
        side = Side(Pair("A", "B", here), left)
        assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], AT, side, (None, 0)) == image
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], AT, None, (("A", "B"), -1)) == 1


def test_nothing_settles_two_arcs_alone():
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], AT, None, (None, 0)) is None
    assert dist(*IMAGES) == pytest.approx(2 * sqrt(5**2 - 3**2))


@pytest.mark.parametrize(("sine", "cut"), [(0.09, False), (0.11, True), (1.0, True)])
def test_two_walls_place_a_corner_where_they_do_not_cut_too_flat(sine, cut):
    # From (0, 0) along x, and from a point beside it back to the same corner at (10, 0).
    along, across = sqrt(1 - sine**2), sine
    rays = [(0, (0.0, 0.0), (1.0, 0.0), "A"), (1, (10.0 - 5 * along, -5 * across), (along, across), "B")]
    placed = _by_rays(rays, [])
    assert (placed is not None) == cut
    if placed:
        assert placed[0] == pytest.approx((10.0, 0.0))
        assert placed[1] == (1, 0)
