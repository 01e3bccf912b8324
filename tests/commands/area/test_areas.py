"""Areas by ordinates against shapely, integrals and another library's rule; strips by hand on whole metres."""

from math import sqrt

import numpy as np
import pytest
from builders.four_pegs import BOOK, four_pegs
from scipy.integrate import simpson as simpson_of_scipy
from shapely import Polygon

from pegline.commands.area.areas import (
    areas,
    in_units,
    ordinates_at_equal_intervals,
    simpson,
    small_area,
    trapezoidal,
)
from pegline.commands.area.request import read_strip
from pegline.commands.positions import Positions
from pegline.errors import UsageError
from pegline.measures.notation import METRES
from pegline.readers import parse_book
from pegline.survey import reduce


def test_customary_units_stand_beside_the_others():
    assert in_units(1257.72, {"tarea": 628.86})["tarea"] == pytest.approx(2.0)


def test_acres_have_four_roods_of_forty_perches():
    # 3 acres, 2 roods and 25 perches are 585 square poles of 16 1/2 feet.
    found = in_units(585 * (16.5 * 0.3048) ** 2, {})
    assert found["acre-rood-perch"] == pytest.approx([3, 2, 25.0])
    assert found["acre"] == pytest.approx(585 / 160)
    assert found["square chains"] == pytest.approx(585 / 16)
    assert found["hectare"] == pytest.approx(585 * 25.29285264 / 10_000)
    assert found["square feet"] == pytest.approx(585 * 272.25)
    assert in_units(4046.8564224 - 1e-9, {})["acre-rood-perch"] == [1, 0, 0.0]  # no 40th perch


def test_trapezoids_have_the_area_of_the_polygon_that_they_make():
    rng = np.random.default_rng(4)
    chainages = np.cumsum(rng.uniform(0.5, 9, 12))
    ordinates = rng.uniform(1, 8, 12)
    side = np.column_stack((chainages, ordinates))
    polygon = Polygon([*side, (chainages[-1], 0.0), (chainages[0], 0.0)])
    assert trapezoidal(chainages, ordinates) == pytest.approx(polygon.area)
    assert trapezoidal(chainages, -ordinates) == pytest.approx(-polygon.area)
    assert trapezoidal(chainages[::-1], ordinates[::-1]) == pytest.approx(-polygon.area)


@pytest.mark.parametrize("intervals", [2, 6, 10])
def test_at_equal_intervals_simpson_s_rule_is_another_library_s(intervals):
    chainages = np.linspace(3.0, 45.0, intervals + 1)
    ordinates = np.random.default_rng(intervals).uniform(-2, 9, intervals + 1)
    assert simpson(chainages, ordinates) == (pytest.approx(simpson_of_scipy(ordinates, x=chainages)), 0)


def test_simpson_s_rule_is_exact_for_cubics_along_every_run_of_equal_intervals():
    # 4 intervals of 5 m, 2 of 3 m; and one of 7 m between them, which is taken as a trapezoid.
    chainages = np.cumsum([0.0, 5, 5, 5, 5, 7, 3, 3])

    def cubic(x):
        return 2 + 0.3 * x - 0.02 * x**2 + 0.0004 * x**3

    def integral(x):
        return 2 * x + 0.15 * x**2 - 0.02 / 3 * x**3 + 0.0001 * x**4

    trapezoid = 7 * (cubic(20.0) + cubic(27.0)) / 2
    found, odd = simpson(chainages, cubic(chainages))
    assert found == pytest.approx(integral(20.0) + trapezoid + integral(33.0) - integral(27.0))
    assert odd == 1


def test_without_two_equal_neighbours_there_is_no_area_by_simpson_s_rule():
    ordinates = np.array([1.0, 2.0, 4.0])
    assert simpson(np.array([0.0, 10.0, 19.0]), ordinates) is None
    assert simpson(np.array([0.0, 10.0, 10.0]), ordinates) is None
    assert simpson(np.array([0.0, 10.0]), ordinates[:2]) is None
    # Chainages are adjusted by a little: intervals that differ by less than half of one in a hundred are equal.
    assert simpson(np.array([0.0, 10.0, 20.04]), ordinates) is not None
    assert simpson(np.array([0.0, 10.0, 20.06]), ordinates) is None


@pytest.mark.parametrize(("every", "count"), [(5.0, 4), (4.9, 6), (10.0, 2), (30.0, 2), (20 / 3, 4)])
def test_intervals_are_even_in_number_and_no_longer_than_asked_for(every, count):
    at, ordinates = ordinates_at_equal_intervals(np.array([10.0, 16.0, 30.0]), np.array([3.0, 6.0, -1.0]), every)
    assert at == pytest.approx(np.linspace(10, 30, count + 1))
    straight = [3 + (c - 10) / 2 if c <= 16 else 6 - (c - 16) / 2 for c in at]
    assert ordinates == pytest.approx(straight)


def test_a_side_that_turns_back_has_no_ordinates_between():
    with pytest.raises(ValueError, match="turns back"):
        ordinates_at_equal_intervals(np.array([0.0, 8.0, 8.0]), np.array([1.0, 2.0, 3.0]), 1.0)


# -- strips: along A-B a hedge, 6 m to the left of it from 10 to 22, and 2 m at 30 -----------------------------------

HEDGE = BOOK.replace("point: h2}", "point: h2}\n      - {at: 30, left: 2, point: h3}").replace(
    "[h1, h2]", "[h1, h2, h3]"
)


def strip(text, *, book=HEDGE, every=None):
    survey = reduce(parse_book(book.encode(), "strip.yaml"))
    (found,) = areas(survey, strips=[read_strip(text, every)]).areas.values()
    return found, survey


def test_a_strip_is_the_same_from_either_end_of_its_line():
    # 12 m of 6, and 8 m of 4 in the mean; round it 12, 4 √5, 2, 20 and 6.
    for text in ("A-B:hedge", "B-A:hedge"):
        found, _ = strip(text)
        assert found.area == pytest.approx(104.0)
        assert found.trapezoidal == pytest.approx(104.0)
        assert found.perimeter == pytest.approx(40.0 + sqrt(80.0))
        assert Polygon(found.outline.vertices).area == pytest.approx(104.0)


def test_a_strip_is_no_less_land_on_the_right_of_its_line():
    found, _ = strip("A-B:hedge", book=HEDGE.replace("left: 6", "right: 6").replace("left: 2", "right: 2"))
    assert (found.area, found.trapezoidal) == pytest.approx((104.0, 104.0))


def test_the_deviation_of_a_strip_is_what_its_points_and_its_line_do_to_it():
    # The area is the sum over its four corners and two feet; the feet follow the line and the points.
    found, survey = strip("A-B:hedge")
    names = ("A", "B", "h1", "h2", "h3")
    positions = Positions(survey)

    def size(values):
        a, b, *points = values.reshape(-1, 2)
        u = (b - a) / np.hypot(*(b - a))
        feet = [a + u * (u @ (point - a)) for point in (points[-1], points[0])]
        return Polygon([*points, *feet]).area

    at = positions.all(names).ravel()
    by = np.array([(size(at + 1e-4 * unit) - size(at - 1e-4 * unit)) / 2e-4 for unit in np.eye(len(at))])
    assert found.area_sd == pytest.approx(sqrt(by @ positions.covariance(names) @ by), rel=1e-5)
    assert found.area_sd > 0.05


def test_ordinates_between_are_told_and_interpolated():
    # 6, 6, 6, 4.5 and 2 every 5 m: 30 + 30 + 26.25 + 16.25, and by Simpson's rule 5/3 (6 + 4 · 10.5 + 2 · 6 + 2).
    found, _ = strip("A-B:hedge", every=5.0)
    assert found.trapezoidal == pytest.approx(102.5)
    assert found.simpson == pytest.approx(5 / 3 * 62)
    assert found.area == pytest.approx(104.0)
    assert "ordinates interpolated every 5.000 m" in found.note


def test_on_the_ground_a_strip_is_larger_by_the_square_of_the_frame_s_scale():
    survey = four_pegs(scale=0.5)
    (found,) = areas(survey, strips=[read_strip("A-B:hedge", None)]).areas.values()
    assert (found.area, found.perimeter) == pytest.approx((12 * 6 * 4, (12 + 6) * 2 * 2))


def test_a_point_has_no_side_and_a_hedge_of_one_point_none_either():
    with pytest.raises(UsageError, match="no line of points"):
        strip("A-B:h1")
    with pytest.raises(UsageError, match="fewer than two points"):
        strip("A-h1:hedge", book=HEDGE.replace("[h1, h2, h3]", "[h1, h2]"))


def test_a_small_deviation_is_never_nought():
    assert small_area(0.00012, METRES) == "0.00012 m²"
    assert small_area(12.0, METRES) == METRES.area(12.0)
