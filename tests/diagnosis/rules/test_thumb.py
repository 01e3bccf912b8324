"""Each rule of thumb at the edge of its limit, and its formula against plain geometry."""

from __future__ import annotations

from math import acos, asin, atan2, cos, degrees, dist, hypot, radians, sin, sqrt
from types import SimpleNamespace

import numpy as np
import pytest
from builders.records import measure, place

from pegline.book.habits import notation_of
from pegline.diagnosis.rules import thumb
from pegline.measures.values import Pair

RIGHT = (radians(30), radians(120))


def solved_of(book_and_reduction, positions=None, **more):
    """Return what the rules read of a solved survey."""
    book, reduction = book_and_reduction
    by_station: dict[str, list[object]] = {}
    for line in reduction.lines.values():
        by_station.setdefault(line.start, []).append(line)
        by_station.setdefault(line.end, []).append(line)
    told = {
        "book": book,
        "reduction": reduction,
        "notation": notation_of(book),
        "positions": positions or {},
        "stations": (),
        "tie_stations": frozenset(),
        "lines_at": by_station,
        "detail": SimpleNamespace(shapes={}, points=SimpleNamespace(names=(), index={})),
        "scale": 200,
    }
    return SimpleNamespace(**{**told, **more})


def texts(remarks):
    return [text for text, _ in remarks]


BASE = {"A-B": ("base", 60.0)}


# -- lengths ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("offset", "told"), [(10.0, 0), (10.01, 1), (-10.01, 1)])
def test_an_offset_is_long_beyond_the_limit(offset, told):
    found = texts(thumb.long_offset(solved_of(measure(BASE, rows=[("p", "A-B", 20.0, offset)])), 10.0))
    assert len(found) == told
    assert not told or found[0].startswith("the offset of 10.01 m to p is longer than 10 m; tape it from two")


@pytest.mark.parametrize(
    ("arm", "limit", "told"), [(30.0, None, 0), (30.01, None, 1), (12.01, 12.0, 1), (12.0, 12.0, 0)]
)
def test_an_arm_is_long_beyond_one_length_of_its_tape_or_the_books_limit(arm, limit, told):
    # The tape of these books is 30 m long.
    rows = [("p", "A-B", [10.0, 40.0], [arm, 9.0])]
    arcs = [("q", {"A": arm, "B": 9.0}, "left A-B")]
    found = texts(thumb.long_oblique(solved_of(measure(BASE, rows=rows, arcs=arcs)), limit))
    assert [text.split(" is ")[0].rpartition(" ")[2] for text in found] == ["p", "q"] * told
    assert all((", one length of the tape" in text) == (limit is None) for text in found)


def test_the_base_line_is_shorter_than_what_it_carries_where_another_is_longer():
    alike, longer = (measure(BASE | {"A-C": ("side", length), "C-D": ("detail", 99.0)}) for length in (60.0, 60.01))
    assert texts(thumb.base_not_longest(solved_of(alike), None)) == []
    (found,) = texts(thumb.base_not_longest(solved_of(longer), None))
    assert found.startswith("the base line A-B (60.00 m) is shorter than A-C (60.01 m), so its errors grow outward")


@pytest.mark.parametrize(
    ("chainage", "told"),
    [(-0.016, ["-0.02"]), (-0.014, []), (60.014, []), (60.016, ["60.02"])],
)
def test_a_chainage_is_off_its_line_beyond_three_standard_deviations_of_its_length(chainage, told):
    # One reading of these lines is good to 5 mm.
    solved = solved_of(measure(BASE, rows=[("p", "A-B", chainage, 2.0)]))
    found = texts(thumb.chainage_off_line(solved, 3.0))
    assert found == [
        f"chainage {text} m lies before 0 or beyond the end of A-B (60.00 m); correct only if you extended the line"
        for text in told
    ]


# -- angles ----------------------------------------------------------------------------------------------------------


def angle_told(remarks):
    """Return the whole degrees that a rule tells, and nothing where it tells nothing."""
    return [int(text.split("meet at ")[1].split("°")[0]) for text in texts(remarks)]


@pytest.mark.parametrize("degrees_", [29, 31, 90, 119, 121])
def test_the_arms_of_a_row_meet_at_the_angle_of_their_triangle(degrees_):
    # An isosceles triangle: the feet 2 a sin(γ / 2) apart, both arms a.
    apart = 2 * 8.0 * sin(radians(degrees_) / 2)
    rows = [("p", "A-B", [20.0, 20.0 + apart], [8.0, 8.0])]
    assert angle_told(thumb.weak_angle(solved_of(measure(BASE, rows=rows)), RIGHT)) == [degrees_] * (
        not 30 <= degrees_ <= 120
    )


def test_of_three_arms_one_good_angle_is_enough_and_else_the_nearest_to_a_right_one_is_told():
    def row(*feet):
        arms = [hypot(foot - 30.0, 10.0) for foot in feet]
        return solved_of(measure(BASE, rows=[("p", "A-B", list(feet), arms)]))

    assert angle_told(thumb.weak_angle(row(28.0, 29.0, 40.0), RIGHT)) == []
    # Seen from 10 m the feet are 2 m and 1 m apart: 11°, 6° and 17°.
    seen = [degrees(atan2(foot, 10.0)) for foot in (-2.0, 0.0, 1.0)]
    assert angle_told(thumb.weak_angle(row(28.0, 30.0, 31.0), RIGHT)) == [round(seen[2] - seen[0])]


def test_an_arm_of_no_length_has_no_angle():
    assert (
        angle_told(thumb.weak_angle(solved_of(measure(BASE, rows=[("p", "A-B", [20.0, 21.0], [0.0, 1.0])])), RIGHT))
        == []
    )


def about(name: str, *bearings: float) -> dict[str, tuple[float, float]]:
    """Return a point, and others 20 m from it at so many degrees."""
    at = {name: (5.0, 7.0)}
    at |= {f"s{n}": (5.0 + 20 * cos(radians(b)), 7.0 + 20 * sin(radians(b))) for n, b in enumerate(bearings)}
    return at


@pytest.mark.parametrize(
    ("bearings", "told"), [((10, 39), [29]), ((10, 41), []), ((0, 125), [125]), ((0, 15, 170), [155])]
)
def test_arcs_and_lines_meet_at_the_angle_between_them(bearings, told):
    at = about("p", *bearings)
    arms = {name: 20.0 for name in at if name != "p"}
    arcs = solved_of(measure(BASE, arcs=[("p", arms, "left s0-s1")]), at)
    assert angle_told(thumb.weak_angle(arcs, RIGHT)) == told
    lines = {f"p-{name}": ("side", 20.0) for name in arms}
    station = solved_of(measure(BASE | lines), at, stations=("p",))
    assert angle_told(thumb.weak_angle(station, RIGHT)) == told


def test_a_station_is_fixed_by_what_fixes_it_alone():
    at = about("p", 0, 10)
    lines = {"p-s0": ("side", 20.0), "p-s1": ("tie", 20.0)}
    assert angle_told(thumb.weak_angle(solved_of(measure(BASE | lines), at, stations=("p",)), RIGHT)) == [10]
    for more, tied in (
        ({"p-s1": ("check", 20.0)}, ()),  # a check line fixes nothing: there is no second line
        ({"p-s1": ("base", 20.0)}, ()),  # the ends of the base line are where the plan begins
        ({}, ("p",)),
    ):
        book = measure(BASE | lines | more)
        assert (
            angle_told(thumb.weak_angle(solved_of(book, at, stations=("p",), tie_stations=frozenset(tied)), RIGHT))
            == []
        )


@pytest.mark.parametrize(("turn", "told"), [(29.0, [29]), (31.0, []), (151.0, [29]), (149.0, [])])
def test_walls_that_are_produced_meet_at_the_sharper_angle(turn, told):
    at = {"a": (0.0, 0.0), "b": (10.0, 0.0), "c": (20.0, 1.0)}
    at["d"] = (20.0 + 5 * cos(radians(turn)), 1.0 + 5 * sin(radians(turn)))
    book, reduction = measure(BASE)
    meets = SimpleNamespace(name="k", place=place(9), meet=(Pair("a", "b", place(9)), Pair("c", "d", place(9))))
    solved = solved_of((book, reduction), at)
    solved.book = SimpleNamespace(points={"k": meets})
    assert angle_told(thumb.weak_angle(solved, RIGHT)) == told


@pytest.mark.parametrize(("second", "told"), [(29.0, [29]), (31.0, []), (151.0, [29]), (149.0, [])])
def test_witnesses_find_their_peg_by_the_best_cut_of_their_distances(second, told):
    at = about("A", 0.0, 4.0, second) | {"oak": (0.0, 0.0)}
    solved = solved_of(measure(BASE), at)
    witnesses = tuple(SimpleNamespace(object=f"s{n}", place=place(4)) for n in (0, 2))
    solved.book = SimpleNamespace(witnesses={"A": witnesses})
    found = texts(thumb.weak_witnesses(solved, radians(30)))
    assert [int(text.split("cut at ")[1].split("°")[0]) for text in found] == told
    # Of objects that the survey does not know the angle is not known either.
    solved.positions = {name: xy for name, xy in at.items() if name != "s2"}
    assert texts(thumb.weak_witnesses(solved, radians(30))) == []


# -- accuracies and curves -------------------------------------------------------------------------------------------


def test_the_larger_axis_of_an_ellipse_is_the_root_of_the_larger_eigenvalue():
    random = np.random.default_rng(3)
    half = random.normal(size=(20, 2, 2))
    variances = half @ half.transpose(0, 2, 1)
    expected = [sqrt(np.linalg.eigvalsh(one)[-1]) for one in variances]
    assert thumb._larger_axes(variances) == pytest.approx(expected)


def circle_through(points):
    """Return centre and radius of the circle through three points, by two perpendicular bisectors."""
    p, q, r = (np.array(point) for point in points)
    rows = np.array([q - p, r - q])
    centre = np.linalg.solve(rows, [(q @ q - p @ p) / 2, (r @ r - q @ q) / 2])
    return centre, dist(centre, p)


def midway(points, start, end):
    """Return how far the circle through three points bulges from the chord of two of them, left positive."""
    centre, radius = circle_through(points)
    chord = np.array(end) - start
    normal = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
    to_centre = float((centre - start) @ normal)
    sagitta = radius - sqrt(radius**2 - np.hypot(*chord) ** 2 / 4)
    return -sagitta if to_centre > 0 else sagitta


def test_the_gap_of_a_curve_is_between_the_circles_with_the_point_before_and_after():
    curve = [(0.0, 0.0), (4.0, 0.6), (8.0, 0.9), (12.0, 0.7), (16.0, 1.4)]
    found = thumb._gaps(np.array(curve))
    expected = [
        abs(
            midway(curve[n : n + 3], curve[n + 1], curve[n + 2])
            - midway(curve[n + 1 : n + 4], curve[n + 1], curve[n + 2])
        )
        for n in range(2)
    ]
    assert found == pytest.approx(expected, rel=0.01)  # the sagitta is c² κ / 8 of a flat arc
    straight = np.array([(0.0, 0.0), (3.0, 0.0), (5.0, 0.0), (9.0, 0.0)])
    assert thumb._gaps(straight) == pytest.approx([0.0])


@pytest.mark.parametrize(("more", "told"), [(0.99, 0), (1.01, 1)])
@pytest.mark.parametrize("sd", [0.0, 0.004])
def test_a_curve_is_coarse_where_paper_and_the_points_own_accuracy_do_not_explain_the_gap(sd, more, told):
    from pegline.book.model import Curve

    curve = {"a": (0.0, 0.0), "b": (4.0, 0.6), "c": (8.0, 0.9), "d": (12.0, 0.7)}
    gap = float(thumb._gaps(np.array(list(curve.values())))[0])
    # As far apart as 0.25 mm on paper and three deviations of a point (both axes) together.
    paper = sqrt(gap**2 - (3 * sd * sqrt(2)) ** 2) / more
    shape = SimpleNamespace(
        name="lane", points=tuple(curve), place=place(5), booked=SimpleNamespace(geometry=Curve(tuple(curve), False))
    )
    points = SimpleNamespace(index={"b": 0, "c": 1}, local_variances=np.array([sd**2 * np.eye(2)] * 2))
    detail = SimpleNamespace(shapes={"lane": shape}, points=points)
    solved = solved_of(measure(BASE), curve, detail=detail, scale=200)
    found = texts(thumb.coarse_curve(solved, paper / 200))
    assert found == ["too few points on the curve lane; book one more between b and c"] * told


@pytest.mark.parametrize(("sd", "told"), [(0.0499, 0), (0.0501, 1)])
def test_a_point_is_coarse_that_is_less_sure_than_the_finest_that_the_plan_shows(sd, told):
    # 0.25 mm at 1:200 are 5 cm on the ground; the smaller axis does not count.
    book, reduction = measure(BASE, rows=[("p", "A-B", 20.0, 3.0)])
    points = SimpleNamespace(names=("p",), rows=((0,),), local_variances=np.array([np.diag([sd**2, 0.2 * sd**2])]))
    solved = solved_of((book, reduction), detail=SimpleNamespace(shapes={}, points=points), scale=200)
    found = texts(thumb.coarse_detail(solved, 0.25e-3))
    assert (
        found
        == [
            "p is uncertain by 50 mm (1 σ, relative to the base line); the plan at 1:200 can show 50 mm; take a"
            " shorter offset, or tape it from two chainages"
        ]
        * told
    )


# -- readings and witnesses ------------------------------------------------------------------------------------------


def test_linen_is_told_on_chain_lines_and_not_on_those_of_details():
    book, reduction = measure(BASE | {"p-q": ("detail", 9.0)})
    linen = SimpleNamespace(material="linen")
    solved = solved_of((book, reduction))
    solved.reduction = SimpleNamespace(lines=reduction.lines, tapes={"steel": linen})
    (found,) = texts(thumb.linen_on_line(solved, None))
    assert found.startswith("A-B taped with a linen tape")


@pytest.mark.parametrize(("count", "told"), [(2, ["A has 2 witnesses"]), (3, []), (1, ["A has 1 witness"])])
def test_a_peg_wants_as_many_witnesses_as_the_limit(count, told):
    solved = solved_of(measure(BASE), stations=("A", "B", "T"), tie_stations=frozenset("T"))
    one = SimpleNamespace(object="oak", readings=[SimpleNamespace(place=place(4))])
    solved.book = SimpleNamespace(witnesses={"A": (one,) * count}, lines=solved.book.lines)
    *few, bare = texts(thumb.few_witnesses(solved, 3.0))
    assert [text.split(";")[0] for text in few] == told
    assert bare.startswith("B has no witness distances; tape 3 lasting objects to each peg")


def test_the_cosine_rule_by_hand():
    # Sides of 3, 4 and 5: the right angle is between the arms, acos(0); that of arms 5 and 4 on 3 is asin(3 / 5).
    rows = [("p", "A-B", [10.0, 15.0], [3.0, 4.0]), ("q", "A-B", [10.0, 13.0], [5.0, 4.0])]
    _, reduction = measure(BASE, rows=rows)
    assert list(thumb._row_cuts(reduction.rows[0])) == pytest.approx([acos(0.0)])
    assert list(thumb._row_cuts(reduction.rows[1])) == pytest.approx([asin(3 / 5)])
