"""Features drawn: their forms, their measures on the ground, and how good these are."""

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
import shapely
from builders.solved import HERE, feature, given_book, ground, local, reduction_of, row, solution_of

from pegline.book.model import At, Circle, Curve, OwnKind, Parallel, Rectangle, Ring, Through
from pegline.detail.model import Detail
from pegline.detail.path import stroke
from pegline.detail.place import place_offset_feet, place_points
from pegline.detail.ruler import Ruler
from pegline.detail.shapes import shapes
from pegline.errors import BookError
from pegline.measures.distance import Wall
from pegline.measures.values import Length, Pair

MILLIMETRE = 1e-3
TRIALS = 500

#: An oblong of 30 by 20 about an origin of its own.
PEGS = {"A": (100.0, 50.0), "B": (130.0, 50.0), "C": (130.0, 70.0), "D": (100.0, 70.0)}


def draw_book(*features, positions=PEGS, rows=(), lines=None, frame=None, walls=None, covariance=None, kinds=None):
    """Return shapes and warnings of a book whose points are solved."""
    reduction = reduction_of(lines or {"A-B": 30.0}, rows, walls=walls)
    ruler = Ruler(reduction, frame or local(), solution_of(positions, covariance=covariance))
    return shapes(given_book(*features, kinds=kinds or {}), reduction, ruler, place_points(reduction, ruler))


def one(geometry, kind="boundary", **keys):
    found, warnings = draw_book(feature("it", kind, geometry), **keys)
    assert not warnings
    return found["it"]


def test_a_ring_of_a_boundary_is_an_area_and_of_a_fence_a_line_that_closes():
    boundary, fence = (one(Ring(("A", "B", "C", "D")), kind) for kind in ("boundary", "fence"))
    assert (boundary.form, boundary.area, boundary.perimeter) == ("area", 600.0, 100.0)
    assert (fence.form, fence.area, fence.perimeter) == ("line", None, 100.0)
    assert boundary.points == ("A", "B", "C", "D")


def test_an_area_does_not_depend_on_the_way_round():
    assert one(Ring(("D", "C", "B", "A"))).area == 600.0


def test_open_lines_and_points():
    path = one(Through(("A", "B", "C")), "path")
    assert (path.form, path.area, path.perimeter) == ("line", None, 50.0)
    tree = one(At("A"), "tree")
    assert (tree.form, tree.path, tree.perimeter, tree.points) == ("point", None, None, ("A",))


def test_a_kind_of_the_books_own_decides_what_closes():
    plot = one(Ring(("A", "B", "C")), "orchard", kinds={"orchard": OwnKind("orchard", "area", HERE)})
    assert (plot.form, plot.area) == ("area", 300.0)


def test_measures_are_on_the_ground():
    frame = local(scale=0.9996)
    found = one(Ring(("A", "B", "C", "D")), frame=frame)
    assert found.area == pytest.approx(600 / 0.9996**2)
    assert found.perimeter == pytest.approx(100 / 0.9996)


def test_circles_by_radius_by_girth_and_through_three_points():
    def length(value):
        return Length(value, None, str(value))

    by_radius = one(Circle("A", length(0.9), None, place=HERE), "well")
    by_girth = one(Circle("A", None, length(2 * pi), place=HERE), "pond")
    through = one(Circle(None, None, None, ("A", "B", "C"), HERE), "pond")
    assert by_radius.area == pytest.approx(pi * 0.81)
    assert (by_girth.area, by_girth.perimeter) == pytest.approx((pi, 2 * pi))
    assert through.area == pytest.approx(pi * (30**2 + 20**2) / 4)
    # One lay of the linen tape is good to 15 mm, its scale (not known here to be off) exact.
    assert by_radius.perimeter_sd == pytest.approx(2 * pi * 15 * MILLIMETRE)
    assert by_girth.area_sd == pytest.approx(15 * MILLIMETRE)


def test_three_points_in_line_have_no_circle():
    positions = {**PEGS, "M": (115.0, 50.0)}
    with pytest.raises(BookError, match="in line"):
        draw_book(feature("it", "pond", Circle(None, None, None, ("A", "M", "B"), HERE)), positions=positions)


def test_a_pond_of_arcs_is_measured_along_its_arcs():
    pond = one(Curve(("A", "B", "C", "D"), closed=True), "pond")
    # The four corners of an oblong stand on one circle.
    assert pond.area == pytest.approx(pi * (30**2 + 20**2) / 4)
    assert pond.perimeter == pytest.approx(pi * sqrt(30**2 + 20**2))


def test_a_copy_of_a_lane_between_two_points():
    lane = feature("lane", "road edge", Through(("A", "B", "C")))
    across = Parallel("lane", True, Wall(True, (), HERE), start="P", until="C")
    positions = {**PEGS, "P": (110.0, 57.0)}
    found, _ = draw_book(lane, feature("it", "road edge", across), positions=positions, walls={"it": (ground(5.0),)})
    assert found["it"].path.vertices == pytest.approx(np.array([[110, 55], [125, 55], [125, 70]]))
    assert found["it"].perimeter == pytest.approx(30)


def test_a_copy_that_is_its_own_original_is_an_error():
    wall = Wall(True, (), HERE)
    two = [feature("a", "kerb", Parallel("b", True, wall)), feature("b", "kerb", Parallel("a", True, wall))]
    with pytest.raises(BookError, match="a copy of") as error:
        draw_book(*two, walls={"a": (ground(1.0),), "b": (ground(1.0),)})
    assert len(error.value.findings) == 2


def test_a_ring_that_crosses_itself_has_no_area_and_the_place_is_told():
    frame = local(origin=(500_000.0, 4_000_000.0))
    found, warnings = draw_book(feature("it", "boundary", Ring(("A", "B", "D", "C"))), frame=frame)
    assert found["it"].area is found["it"].area_sd is None
    assert found["it"].perimeter == pytest.approx(60 + 2 * sqrt(30**2 + 20**2))
    (warning,) = warnings
    assert "it crosses itself at x 500115.00 m, y 4000060.00 m" in warning.text
    assert warning.rule == "ring-crosses"


def test_features_of_a_half_finished_book_are_left_out():
    found, _ = draw_book(
        feature("it", "fence", Through(("A", "nowhere"))), feature("that", "fence", Through(("A", "B")))
    )
    assert list(found) == ["that"]


def test_a_copy_whose_distance_is_not_known_yet_or_whose_original_is_a_point_is_left_out():
    copy = Wall(True, (), HERE)
    found, _ = draw_book(
        feature("lane", "road edge", Through(("A", "B"))),
        feature("tree", "tree", At("C")),
        feature("not yet", "road edge", Parallel("lane", True, copy)),
        feature("of a tree", "road edge", Parallel("tree", True, copy)),
        walls={"of a tree": (ground(5.0),)},
    )
    assert list(found) == ["lane", "tree"]


# --- how good ----------------------------------------------------------------------------------------------------


def full_covariance(size, seed):
    root = np.random.default_rng(seed).normal(size=(size, size)) * 4 * MILLIMETRE
    root[-1] *= 0.1
    return root @ root.T


def test_the_deviations_of_a_square_plot_by_hand():
    # Every coordinate good to 10 mm by itself: an oblong a by b has σ² = σ₀² (a² + b²) for its area
    # (each vertex moves it by half a diagonal) and σ² = 2 σ₀² for each side along itself, shared at no corner.
    covariance = np.diag([0.01**2] * 8 + [0.0])
    found = one(Ring(("A", "B", "C", "D")), covariance=covariance)
    assert found.area_sd == pytest.approx(0.01 * sqrt(30**2 + 20**2))
    assert found.perimeter_sd == pytest.approx(0.01 * sqrt(8))


def test_a_path_that_comes_back_to_its_first_point_is_as_sure_as_the_ring():
    covariance = full_covariance(9, seed=8)
    back = one(Through(("A", "B", "C", "A")), "path", covariance=covariance)
    ring = one(Ring(("A", "B", "C")), covariance=covariance)
    assert (back.perimeter, back.perimeter_sd) == pytest.approx((ring.perimeter, ring.perimeter_sd))


@pytest.mark.parametrize(
    "geometry",
    [
        Ring(("A", "p", "q", "C")),
        Curve(("A", "p", "q", "C", "D"), closed=True),
        Circle(None, None, None, ("p", "q", "D"), HERE),
    ],
    ids=["straight", "curved", "circle"],
)
def test_the_deviations_of_areas_agree_with_trials(geometry):
    rows = [
        row("A-B", "p", 12.0, -6.0, chainage_sd=0.01, foot_sd=0.02, sd=0.01),
        row("A-B", "q", 25.0, -3.0, chainage_sd=0.01, foot_sd=0.01, sd=0.01),
    ]
    covariance = full_covariance(9, seed=5)
    keys = {"rows": rows, "kind": "pond"}
    found = one(geometry, covariance=covariance, **keys)
    rng, areas, perimeters = np.random.default_rng(6), [], []
    for error in rng.multivariate_normal(np.zeros(9), covariance, TRIALS):
        at = np.array(list(PEGS.values())) + error[:8].reshape(-1, 2)
        disturbed = [
            replace(
                r,
                chainages=(r.chainages[0] + rng.normal(0, np.hypot(r.chainage_sd, r.foot_sd)),),
                offsets=(ground((r.offsets[0].length + rng.normal(0, 0.01)) / (1 + error[8])),),
            )
            for r in rows
        ]
        shape = one(geometry, positions=dict(zip(PEGS, map(tuple, at), strict=True)), **{**keys, "rows": disturbed})
        areas.append(shape.area)
        perimeters.append(shape.perimeter)
    by_chance = 4 / sqrt(2 * len(areas))
    assert found.area_sd == pytest.approx(np.std(areas), rel=by_chance)
    assert found.perimeter_sd == pytest.approx(np.std(perimeters), rel=by_chance)


def test_a_feature_on_one_piece_has_the_deviations_that_it_has_among_others():
    # Two ways lead to the covariance: at hand for one piece, solved for where there are several.
    rows = [row("A-B", n, at, o, sd=0.01) for n, at, o in (("p", 5.0, 4.0), ("q", 15.0, 6.0), ("r", 20.0, 2.0))]
    positions = {**PEGS, "s": (110.0, 54.0)}
    covariance = full_covariance(11, seed=7)
    alone = one(Ring(("p", "q", "r")), rows=rows, covariance=covariance, positions=positions)
    values = []
    for sign in (1, -1):
        for step in np.eye(9):
            at = np.array(list(PEGS.values())) + (sign * 1e-4 * step[:8]).reshape(-1, 2)
            shifted = [replace(r, offsets=(ground(r.offsets[0].length / (1 + sign * 1e-4 * step[8])),)) for r in rows]
            shape = one(Ring(("p", "q", "r")), rows=shifted, positions=dict(zip(PEGS, map(tuple, at), strict=True)))
            values.append(shape.area)
    gradient = (np.array(values[:9]) - values[9:]) / 2e-4
    keep = [*range(8), 10]
    shared = gradient @ covariance[np.ix_(keep, keep)] @ gradient
    own = one(Ring(("p", "q", "r")), rows=rows).area_sd ** 2
    assert alone.area_sd == pytest.approx(sqrt(shared + own), rel=1e-6)


def test_stroked_areas_agree_with_shapely():
    pond = one(Curve(("A", "B", "C", "D"), closed=True), "pond", positions={**PEGS, "C": (126.0, 75.0)})
    assert shapely.Polygon(stroke(pond.path, 1e-5)).area == pytest.approx(pond.area, abs=0.01)


def test_a_rectangle_is_drawn_through_its_corners():
    depth = Wall(True, (), HERE)
    rectangle = Rectangle(Pair("A", "B", HERE), True, depth, ("C", "D"))
    house = one(rectangle, "building")
    assert (house.form, house.area) == ("area", 600.0)


def test_a_circle_hangs_on_its_middle_and_a_copy_on_what_its_original_hangs_on():
    size, aside = Length(2.0, None, "2"), Wall(True, (), HERE)
    found, _ = draw_book(
        feature("lane", "road edge", Through(("A", "B", "C"))),
        feature("copy", "road edge", Parallel("lane", True, aside)),
        feature("copy of it", "road edge", Parallel("copy", True, aside)),
        feature("well", "well", Circle("D", size, None, place=HERE)),
        feature("pond", "pond", Circle(None, None, None, ("A", "B", "C"), HERE)),
        walls={"copy": (ground(5.0),), "copy of it": (ground(1.0),)},
    )
    reduction = reduction_of({"A-B": 30.0})
    ruler = Ruler(reduction, local(), solution_of(PEGS))
    points = place_points(reduction, ruler)
    detail = Detail(points, found, place_offset_feet(reduction, ruler, points))
    assert {name: detail.points_under(shape) for name, shape in found.items()} == {
        "lane": ("A", "B", "C"),
        "copy": ("A", "B", "C"),
        "copy of it": ("A", "B", "C"),
        "well": ("D",),
        "pond": ("A", "B", "C"),
    }
