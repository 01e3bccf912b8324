"""Features drawn: their forms, their measures on the ground, and how good these are."""

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
import shapely
from builders.solved import HERE, feature, given_book, ground, local, reduction_of, row, solution_of

import pegline.detail.shapes
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


@pytest.mark.parametrize(
    ("limits", "vertices"),
    [
        ({"start": "P"}, [[110, 55], [125, 55], [125, 70]]),
        ({"until": "P"}, [[100, 55], [110, 55]]),
        ({}, [[100, 55], [125, 55], [125, 70]]),
    ],
)
def test_a_copy_runs_from_and_to_the_ends_of_its_original_where_nothing_else_is_booked(limits, vertices):
    lane, wall = feature("lane", "road edge", Through(("A", "B", "C"))), Wall(True, (), HERE)
    copy = feature("it", "road edge", Parallel("lane", True, wall, **limits))
    found, _ = draw_book(lane, copy, positions={**PEGS, "P": (110.0, 57.0)}, walls={"it": (ground(5.0),)})
    assert found["it"].path.vertices == pytest.approx(np.array(vertices))


def test_a_copy_of_a_ring_begins_at_a_point_and_goes_on_to_its_last_corner():
    ring, wall = feature("plot", "boundary", Ring(("A", "B", "C", "D"))), Wall(True, (), HERE)
    copy = feature("it", "fence", Parallel("plot", True, wall, start="P"))
    found, _ = draw_book(ring, copy, positions={**PEGS, "P": (130.0, 60.0)}, walls={"it": (ground(2.0),)})
    # From the middle of B-C by C and D back to A.
    assert found["it"].path.vertices == pytest.approx(np.array([[128, 60], [128, 68], [102, 68], [102, 50]]))


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


SIZES = {"A": (100.0, 50.0), "B": (130.0, 52.0), "C": (128.0, 70.0), "D": (98.0, 71.0)}
POINT_ROWS = tuple(
    row("A-B", name, at, offset, chainage_sd=0.01, foot_sd=0.02, sd=0.01)
    for name, at, offset in (("p", 12.0, -6.0), ("q", 25.0, -3.0), ("r", 18.0, 4.0))
)
#: What was read of a feature itself: its radius or girth, or how far off the copies are.
READ = {"radius": (4.0, 0.015), "girth": (25.0, 0.015), "aside": (3.0, 0.02), "further": (1.5, 0.03)}


def measured_features(vector, read, rows=POINT_ROWS, covariance=None):
    """Return every feature as its stations and the tape, and what was read of itself, have it."""
    radius, girth, aside, further = (Length(value, None, str(value)) for value in read)
    wall = Wall(True, (), HERE)
    features = [
        feature("ring", "pond", Ring(("A", "p", "q", "C"))),
        feature("ring on one piece", "pond", Ring(("p", "q", "r"))),
        feature("path back", "path", Through(("p", "C", "q", "p"))),
        feature("fence", "fence", Through(("q", "r", "p"))),
        feature("curve", "road edge", Curve(("A", "p", "q", "C"), closed=False)),
        feature("pond", "pond", Curve(("A", "p", "q", "C", "D"), closed=True)),
        feature("pool", "pond", Curve(("A", "p", "C"), closed=True)),
        feature("through", "pond", Circle(None, None, None, ("p", "D", "q"), HERE)),
        feature("well", "well", Circle("r", radius, None, place=HERE)),
        feature("tank", "pond", Circle("D", None, girth, place=HERE)),
        feature("lane", "road edge", Through(("D", "p", "q"))),
        feature("kerb", "road edge", Parallel("lane", True, wall, start="r", until="q")),
        feature("far kerb", "road edge", Parallel("kerb", False, wall)),
        feature("rim", "pond", Parallel("well", True, wall)),
    ]
    walls = {"kerb": (ground(aside.value, 0.02),), "far kerb": (ground(further.value, 0.03),)}
    walls["rim"] = (ground(further.value, 0.03),)
    reduction = reduction_of({"A-B": 30.0}, rows, walls=walls)
    at = dict(zip(SIZES, map(tuple, vector[:8].reshape(-1, 2)), strict=True))
    ruler = Ruler(reduction, local(scale=0.9), solution_of(at, covariance=covariance, scales=vector[8:]))
    return shapes(given_book(*features), reduction, ruler, place_points(reduction, ruler))[0]


def test_the_deviations_are_those_of_what_small_changes_of_every_reading_do(monkeypatch):
    vector = np.array([*np.ravel(list(SIZES.values())), 0.02])
    read, own_sds = np.array(list(READ.values())).T
    of_rows = np.array([value for one in POINT_ROWS for value in (one.chainages[0], one.offsets[0].length)])
    everything = np.concatenate((vector, read, of_rows))
    variances = np.zeros((len(everything), len(everything)))
    variances[:9, :9] = covariance = full_covariance(9, seed=5)
    variances[9:, 9:] = np.diag([*own_sds**2, *[np.hypot(0.01, 0.02) ** 2, 0.01**2] * 3])

    def measures(values):
        pairs = values[13:].reshape(-1, 2)
        rows = [
            replace(one, chainages=(at,), offsets=(replace(one.offsets[0], length=off),))
            for one, (at, off) in zip(POINT_ROWS, pairs, strict=True)
        ]
        found = measured_features(values[:9], values[9:13], rows)
        return np.array([(shape.area or 0.0, shape.perimeter) for shape in found.values()])

    found = [measured_features(vector, read, covariance=covariance)]
    monkeypatch.setattr(pegline.detail.shapes, "ENTRIES", 1)
    found.append(measured_features(vector, read, covariance=covariance))
    # Here only the measures are asked for.
    monkeypatch.setattr(pegline.detail.shapes, "_deviations", lambda drawn, *_: {d.feature.name: (0, 0) for d in drawn})
    step = 1e-4
    moves = step * np.eye(len(everything))
    slopes = np.stack([(measures(everything + m) - measures(everything - m)) / (2 * step) for m in moves], axis=-1)
    expected = np.sqrt(np.einsum("fmi,ij,fmj->fm", slopes, variances, slopes))

    for by_name in found:
        for shape, (area_sd, perimeter_sd) in zip(by_name.values(), expected, strict=True):
            assert (shape.name, shape.perimeter_sd) == (shape.name, pytest.approx(perimeter_sd, rel=1e-5))
            assert shape.area_sd == (None if shape.area is None else pytest.approx(area_sd, rel=1e-5))


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
    detail = Detail(points, found, place_offset_feet(reduction, ruler))
    assert {name: detail.points_under(shape) for name, shape in found.items()} == {
        "lane": ("A", "B", "C"),
        "copy": ("A", "B", "C"),
        "copy of it": ("A", "B", "C"),
        "well": ("D",),
        "pond": ("A", "B", "C"),
    }
