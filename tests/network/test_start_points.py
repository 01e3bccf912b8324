"""Which of two places a further distance or a side settles for a point that shares equations."""

from math import dist, pi, sqrt

import pytest

from pegline.errors import Place
from pegline.measures.values import Pair, Side
from pegline.network.arc_intersection import ArcAboutStation
from pegline.network.observation_types import Booking, Chainage, Distance, Oblique, Offset, Produced, Ranging, Square
from pegline.network.start_points import _by_rays, _image, bookings, corners_beside, place_point

SD = 0.01
ONE, OTHER = (
    ArcAboutStation(0, "A", (0.0, 0.0), 5.0, SD, tie=False),
    ArcAboutStation(1, "B", (6.0, 0.0), 5.0, SD, tie=False),
)
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
    third = ArcAboutStation(2, "C", (30.0, low), dist((30.0, low), IMAGES[1]) - good * SD, SD, tie=False)
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER, third], AT, None, (None, 0)) == settled


def test_a_side_that_is_told_settles_without_a_further_distance():
    here = Place("made.yaml", 1, 1)
    for left, image in ((True, 0), (False, 1)):
        side = Side(Pair("A", "B", here), left)
        assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], AT, side, (None, 0)) == image
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], AT, None, (("A", "B"), -1)) == 1


def test_a_side_settles_images_that_are_a_hand_from_the_line():
    near = ((3.0, 0.05), (3.0, -0.05))
    for left, image in ((True, 0), (False, 1)):
        side = Side(Pair("A", "B", Place("made.yaml", 1, 1)), left)
        assert _image(near, (ONE, OTHER), [ONE, OTHER], AT, side, (None, 0)) == image


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


def test_two_walls_place_a_corner_however_the_house_is_turned():
    # 3-4-5 and square to it: from (0, 0) ten along (4, 3)/5, and five back to there along (-3, 4)/5.
    rays = [(0, (0.0, 0.0), (0.8, 0.6), "A"), (1, (11.0, 2.0), (-0.6, 0.8), "B")]
    assert _by_rays(rays, [])[0] == pytest.approx((8.0, 6.0))


@pytest.mark.parametrize("x", [5.0, -5.0])
def test_two_walls_place_no_corner_behind_one_they_start_from(x):
    # Along x from (0, 0), and upwards from beside it: they cut at (5, 0), or 5 behind, where no wall goes.
    rays = [(0, (0.0, 0.0), (1.0, 0.0), "A"), (1, (x, -5.0), (0.0, 1.0), "B")]
    for order in (rays, rays[::-1]):
        placed = _by_rays(order, [])
        assert placed is None if x < 0 else placed[0] == pytest.approx((5.0, 0.0))


def test_two_walls_place_no_corner_where_one_of_them_starts():
    # Along x from (0, 0), and upwards from (5, 0), which lies on it: the wall between would have no length.
    rays = [(0, (0.0, 0.0), (1.0, 0.0), "A"), (1, (5.0, 0.0), (0.0, 1.0), "B")]
    for order in (rays, rays[::-1]):
        assert _by_rays(order, []) is None


def booking(value, sd=0.01):
    here = Place("made.yaml", 1, 1)
    return Booking("made", "wall", "detail", ("feature", "house"), value, sd, None, here)


def test_a_corner_is_looked_for_by_its_walls_before_its_dimensions():
    here = Place("made.yaml", 1, 1)

    def length(start, part):
        return Distance(Booking("made", "wall", part, (part, "house"), 4.0, 0.01, None, here), start, "r")

    ones = [length("p", "dimension"), length("q", "wall"), length("s", "dimension"), length("t", "arc")]
    assert bookings(["r"], ones) == {"r": [[3], [1], [0, 2]]}


#: A house whose first wall runs along x, from (0, 0) to (6, 0); its corner r is 4 m up from q = (6, 0).
WALL = {"p": (0.0, 0.0), "q": (6.0, 0.0)}


@pytest.mark.parametrize(("turn", "y"), [(pi / 2, 4.0), (-pi / 2, -4.0)])
def test_a_right_angle_walked_on_and_a_length_place_the_next_corner(turn, y):
    ones = [Square(booking(turn), "p", "q", "r"), Distance(booking(4.0), "q", "r")]
    placed = place_point("r", [range(2)], ones, WALL, None)
    assert placed[0] == pytest.approx((6.0, y))
    assert placed[1] == (0, 1)


@pytest.mark.parametrize(("turn", "y"), [(pi / 2, 4.0), (-pi / 2, -4.0)])
def test_a_right_angle_walked_back_and_a_length_place_the_corner_before(turn, y):
    # From o over p to q the walk turns: left where o is above, for one who comes down from it.
    ones = [Square(booking(turn), "o", "p", "q"), Distance(booking(4.0), "o", "p")]
    placed = place_point("o", [range(2)], ones, WALL, None)
    assert placed[0] == pytest.approx((0.0, y))


def test_a_wall_of_another_corner_says_nothing_along_a_right_angle():
    # r is square to the wall at q, and 5 m from p, which is no length along that ray: what is known does not place it.
    ones = [Square(booking(pi / 2), "p", "q", "r"), Distance(booking(7.0), "p", "r")]
    assert place_point("r", [range(2)], ones, WALL, None) is None


def test_a_side_of_a_line_that_is_not_placed_or_that_both_images_lie_on_settles_nothing():
    here = Place("made.yaml", 1, 1)
    unknown = Side(Pair("A", "Z", here), True)
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], AT, unknown, (None, 0)) is None
    across = Side(Pair("A", "C", here), True)  # from A straight up: both images are right of it
    assert _image(IMAGES, (ONE, OTHER), [ONE, OTHER], {**AT, "C": (0.0, 9.0)}, across, (None, 0)) is None


def test_a_right_angle_at_a_corner_that_is_not_placed_says_nothing():
    ones = [Square(booking(pi / 2), "p", "x", "r"), Distance(booking(4.0), "x", "r")]
    assert place_point("r", [range(2)], ones, WALL, None) is None
    ones = [Square(booking(pi / 2), "x", "q", "r"), Distance(booking(4.0), "q", "r")]
    assert place_point("r", [range(2)], ones, WALL, None) is None


def test_two_walls_produced_meet_in_a_point_and_one_alone_does_not():
    at = {**WALL, "s": (10.0, 3.0), "t": (10.0, 8.0)}
    ones = [Produced(booking(0.0), "c", "p", "q"), Produced(booking(0.0), "c", "s", "t")]
    placed = place_point("c", [range(2)], ones, at, None)
    assert placed[0] == pytest.approx((10.0, 0.0))
    assert place_point("c", [range(1)], ones, at, None) is None
    parallel = {**at, "t": (14.0, 3.0)}
    assert place_point("c", [range(2)], ones, parallel, None) is None


@pytest.mark.parametrize(("side", "y"), [(1, 3.0), (-1, -3.0)])
def test_two_obliques_place_a_point_on_the_side_booked(side, y):
    # On a line of 20 m from a: from chainages 4 and 12 five metres each, so 3 m off chainage 8.
    at = {"a": (0.0, 0.0), "b": (20.0, 0.0)}
    ones = [Oblique(booking(5.0), "h", "a", "b", chainage, 20.0, side) for chainage in (4.0, 12.0)]
    placed = place_point("h", [range(2)], ones, at, None)
    assert placed[0] == pytest.approx((8.0, y))
    assert place_point("h", [range(2)], ones, {"a": (0.0, 0.0)}, None) is None


def test_a_chainage_and_an_offset_place_a_point_together_and_neither_does_alone():
    at = {"a": (0.0, 0.0), "b": (0.0, 20.0)}
    ones = [Chainage(booking(5.0), "h", "a", "b", 20.0), Offset(booking(3.0), "h", "a", "b", 1)]
    assert place_point("h", [range(2)], ones, at, None)[0] == pytest.approx((-3.0, 5.0))
    assert place_point("h", [[0]], ones, at, None) is None
    assert place_point("h", [[1]], ones, at, None) is None


def test_distances_that_do_not_meet_place_nothing():
    ones = [Distance(booking(2.0), "p", "r"), Distance(booking(3.0), "r", "q")]
    assert place_point("r", [range(2)], ones, WALL, Side(Pair("p", "q", Place("made.yaml", 1, 1)), True)) is None


def test_dimensions_to_a_point_place_it_together_after_what_is_booked_of_it_by_itself():
    def booking(label, part, group):
        return Booking(label, "distance", part, group, 5.0, SD, None, Place("made.yaml", 1, 1))

    observations = [
        Distance(booking("A-p", "dimension", ("dimension", "A-p")), "A", "p"),
        Distance(booking("w", "wall", ("feature", "shed")), "q", "p"),
        Distance(booking("B-p", "dimension", ("dimension", "B-p")), "B", "p"),
        Distance(booking("r", "row", ("row", "1")), "A", "p"),
        Distance(booking("v", "wall", ("feature", "house")), "p", "s"),
    ]

    assert bookings(["p"], observations) == {"p": [[3], [1], [4], [0, 2]]}


# -- however the figure is turned --------------------------------------------------------------------


def turned(place):
    """Return a place of the plane turned to the left by 3-4-5 and moved."""
    x, y = place
    return (0.8 * x - 0.6 * y + 5.0, 0.6 * x + 0.8 * y - 7.0)


LINE = {"a": (0.0, 0.0), "b": (20.0, 0.0), "c": (0.0, 10.0), "d": (9.0, 22.0)}
ON_LINE = ("h", "a", "b")


@pytest.mark.parametrize(
    ("ones", "side", "at", "by", "centres"),
    [
        ([Chainage(booking(5.0), *ON_LINE, 20.0), Offset(booking(3.0), *ON_LINE, 1)], None, (5.0, 3.0), (0, 1), None),
        ([Chainage(booking(5.0), *ON_LINE, 40.0), Offset(booking(3.0), *ON_LINE, -1)], None, (2.5, -3.0), (0, 1), None),
        ([Chainage(booking(24.0), *ON_LINE, 20.0), Ranging(booking(0.0), *ON_LINE)], None, (24.0, 0.0), (0, 1), None),
        (
            [Produced(booking(0.0), "h", "a", "b"), Produced(booking(0.0), "h", "c", "d")],  # y = 10 + 4 x / 3
            None,
            (-7.5, 0.0),
            (0, 1),
            None,
        ),
        ([Square(booking(pi / 2), "a", "b", "h"), Distance(booking(4.0), "b", "h")], None, (20.0, 4.0), (0, 1), None),
        ([Square(booking(-pi / 2), "a", "b", "h"), Distance(booking(4.0), "h", "b")], None, (20.0, -4.0), (0, 1), None),
        ([Square(booking(pi / 2), "h", "a", "b"), Distance(booking(4.0), "h", "a")], None, (0.0, 4.0), (0, 1), None),
        (
            [Square(booking(pi / 2), "a", "b", "h"), Square(booking(pi / 2), "h", "c", "a")],
            None,
            (20.0, 10.0),
            (1, 0),
            None,
        ),
        (
            [Oblique(booking(5.0), *ON_LINE, at, 40.0, -1) for at in (4.0, 20.0)],  # 2 and 10 along the line of 20
            None,
            (6.0, -3.0),
            (0, 1),
            ("a-b", "a-b"),
        ),
        (  # 13-14-15 along the line from a to c, enlarged so that they are 14 apart
            [Distance(booking(13 / 1.4), "a", "h"), Distance(booking(15 / 1.4), "h", "c")],
            Side(Pair("a", "c", Place("made.yaml", 1, 1)), True),
            (-12 / 1.4, 5 / 1.4),
            (0, 1),
            ("a", "c"),
        ),
    ],
)
def test_a_point_is_placed_as_its_bookings_say_however_the_figure_is_turned(ones, side, at, by, centres):
    places = {name: turned(place) for name, place in LINE.items()}
    placed = place_point("h", [range(2)], ones, places, side)

    assert placed[0] == pytest.approx(turned(at))
    assert placed[1:] == (by, centres)


def test_the_walls_of_a_corner_are_looked_at_before_its_row_where_that_is_asked_for():
    here = Place("made.yaml", 1, 1)

    def length(start, part):
        return Distance(Booking("made", "wall", part, (part, "house"), 4.0, 0.01, None, here), start, "r")

    ones = [length("p", "dimension"), length("q", "wall"), length("t", "arc")]
    assert bookings(["r"], ones, {"r"}) == {"r": [[1], [2], [0]]}
    assert bookings(["r"], ones, {"p"}) == {"r": [[2], [1], [0]]}


def test_the_corners_of_a_house_are_those_of_its_right_angles():
    def square(house, *corners):
        return Square(Booking("", "wall", "wall", ("feature", house), 1.6, 0.01, None, Place("m", 1, 1)), *corners)

    ones = [square("barn", "a", "b", "c"), square("shed", "k", "m", "n"), square("barn", "b", "c", "d")]
    ones.append(Distance(booking(4.0), "z", "a"))
    assert corners_beside(frozenset("dz"), ones) == frozenset("abcd")
    assert corners_beside(frozenset("z"), ones) == frozenset()
