"""The figures of a boundary's sides: no finer than they are known, by the law of propagation worked by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import cos, degrees, hypot, inf, radians, sin, sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from pegline.measures.notation import Notation
from pegline.plan.map.boundaries import (
    bearing_no_finer_than,
    boundary_corners,
    boundary_sides,
    letters,
    no_finer_than,
    north_sd,
)
from pegline.plan.map.features import Where

METRES = Notation(("m",), Fraction(1, 100), ("m2",))
FEET_AND_INCHES = Notation(("ft", "in"), Fraction(1, 4), ("square feet",))


@pytest.mark.parametrize(
    ("sd", "figure"),
    [(0.0, "43.21"), (0.0099, "43.21"), (0.0101, "43.2"), (0.0999, "43.2"), (0.101, "43"), (7.0, "43")],
)
def test_metres_are_written_to_the_power_of_ten_that_is_no_finer_than_their_deviation(sd, figure):
    assert no_finer_than(METRES, sd).figure(43.2123) == figure


@pytest.mark.parametrize(
    ("inches", "step"), [(0.2, Fraction(1, 4)), (0.26, Fraction(1, 2)), (0.49, Fraction(1, 2)), (0.51, 1), (3.0, 1)]
)
def test_inches_are_written_to_the_half_that_is_no_finer_than_their_deviation(inches, step):
    assert no_finer_than(FEET_AND_INCHES, inches * 0.0254).step == step


def test_what_is_written_coarser_already_stays_as_it_is():
    coarse = replace(METRES, step=Fraction(1, 2))
    assert no_finer_than(coarse, 0.001) == coarse
    assert no_finer_than(coarse, 0.6).step == 1


@pytest.mark.parametrize(
    ("sd_deg", "text"),
    [
        (0.0166, "63°30'"),  # a minute
        (0.0168, "63.5°"),
        (0.0999, "63.5°"),
        (0.101, "64°"),
        (5.0, "64°"),
        (5.01, None),
    ],
)
def test_a_bearing_is_written_to_minutes_tenths_or_degrees_as_it_is_known(sd_deg, text):
    assert bearing_no_finer_than(METRES, radians(63.504), sd_deg) == text


# -- how well north is known -------------------------------------------------------------------------------------------


def solved_with(bearings=(), control=(), positions=None, shapes=(), north="true", scale=1.0):
    """Return what boundaries read of a solved survey."""
    frame = SimpleNamespace(
        bearings=[SimpleNamespace(sd=sd) for sd in bearings],
        control=[SimpleNamespace(station=name, sd=sd) for name, sd in control],
        north=north,
        scale=scale,
    )
    detail = SimpleNamespace(shapes={shape.name: shape for shape in shapes})
    return SimpleNamespace(frame=frame, positions=positions or {}, detail=detail)


def test_north_is_known_as_the_weighted_mean_of_its_bearings():
    assert north_sd(solved_with([0.01])) == pytest.approx(0.01)
    assert north_sd(solved_with([0.01] * 4)) == pytest.approx(0.005)  # σ / √n
    assert north_sd(solved_with([0.03, 0.04])) == pytest.approx(0.024)  # 3 · 4 / 5, as of two sides of a triangle


def test_else_it_is_known_from_the_two_control_points_that_are_farthest_apart():
    at = {"A": (0.0, 0.0), "B": (30.0, 40.0), "C": (3.0, 4.0)}
    three = [("A", 0.02), ("B", 0.05), ("C", 0.01), ("away", 9.0)]
    # The worst of them at either end of 50 m.
    assert north_sd(solved_with(control=three[:3], positions=at)) == pytest.approx(0.05 * sqrt(2) / 50)
    assert north_sd(solved_with(control=three[:1], positions=at)) == 0.0
    twice = {"A": (0.0, 0.0), "B": (0.0, 0.0)}
    assert north_sd(solved_with(control=three[:2], positions=twice)) == inf


# -- sides -------------------------------------------------------------------------------------------------------------

TURN = radians(63.504)  #: bearing of the first side, clockwise from north
ALONG, ACROSS = np.array([sin(TURN), cos(TURN)]), np.array([-cos(TURN), sin(TURN)])


def boundary(*vertices, name="land", kind="boundary", closed=True, bulges=None, points=None):
    path = SimpleNamespace(vertices=np.array(vertices), closed=closed, bulges=bulges or [0.0] * len(vertices))
    names = tuple(points) if points is not None else tuple(f"{name} {n}" for n in range(len(vertices)))
    return SimpleNamespace(name=name, kind=kind, path=path, points=names)


def known(shape, along, across):
    """Return where the points of a shape are, each with such deviations along and across the first side."""
    variance = along**2 * np.outer(ALONG, ALONG) + across**2 * np.outer(ACROSS, ACROSS)
    rows = {name: n for n, name in enumerate(shape.points)}
    return Where(shape.points, rows, (), np.array([variance] * len(rows)), ())


def side(length, along, across, **more):
    """Return the only side of an open boundary of two corners."""
    shape = boundary((2.0, 3.0), tuple(np.array([2.0, 3.0]) + length * ALONG), closed=False)
    (found,) = boundary_sides(solved_with(shapes=[shape], **more), known(shape, along, across), METRES)
    return found


def test_a_side_is_as_long_on_the_ground_and_known_along_itself():
    # Two independent ends of 5 mm make 7 mm along, of 8 mm make 11 mm, whatever they are across.
    assert (side(43.2123, 0.005, 0.3).name, side(43.2123, 0.005, 0.3).length) == ("a-b", "43.21")
    assert side(43.2123, 0.008, 0.0).length == "43.2"
    assert side(43.2123, 0.005, 0.0, scale=0.999).length == f"{43.2123 / 0.999:.2f}"


@pytest.mark.parametrize("turn", range(0, 360, 20))
def test_a_side_along_the_base_line_has_its_bearing_whatever_rounding_makes_of_what_is_known_exactly(turn):
    # The end of a base line is known exactly across it: of nought rounding may make a hair less.
    way = np.array([sin(radians(turn)), cos(radians(turn))])
    shape = boundary((0.0, 0.0), tuple(43.2 * way), closed=False)
    where = replace(known(shape, 0.0, 0.0), variances=np.array([np.zeros((2, 2)), 0.005**2 * np.outer(way, way)]))
    (found,) = boundary_sides(solved_with(shapes=[shape]), where, METRES)
    assert (found.length, found.bearing) == ("43.20", f"{turn}°00'")


def test_its_bearing_is_known_by_its_ends_across_it_and_by_north():
    assert side(40.0, 0.3, 0.008).bearing == "63°30'"  # √2 · 8 mm / 40 m is 58″
    assert side(40.0, 0.3, 0.0085).bearing == "63.5°"
    north = 0.02  # degrees; with 58″ across the side together 1′33″
    assert degrees(hypot(sqrt(2) * 0.008 / 40, radians(north))) < 0.1
    assert side(40.0, 0.3, 0.008, bearings=[radians(north)]).bearing == "63.5°"
    assert side(40.0, 0.3, 0.008, bearings=[radians(0.11)]).bearing == "64°"
    assert side(40.0, 0.3, 0.008, north=None).bearing is None


def test_corners_that_a_shape_made_and_those_that_nothing_tells_of_are_taken_as_exact():
    made = boundary((0.0, 0.0), (0.0, 40.0), (30.0, 40.0), points=["a", "b"])
    ((first, *_), strangers) = (
        list(boundary_sides(solved_with(shapes=[shape]), Where((), {}, (), np.zeros((0, 2, 2)), ()), METRES))
        for shape in (made, boundary((0.0, 0.0), (0.0, 40.0), closed=False))
    )
    assert (first.length, first.bearing) == ("40.00", "0°00'")
    assert (strangers[0].length, strangers[0].bearing) == ("40.00", "0°00'")


def test_every_straight_side_of_every_boundary_has_the_letters_of_its_corners():
    field = boundary((0.0, 0.0), (0.0, 40.0), (30.0, 40.0), name="field", bulges=[0.0, 0.2, 0.0])
    lane = boundary((50.0, 0.0), (60.0, 0.0), (60.0, 0.0), (90.0, 0.0), name="lane", closed=False)
    hedge = boundary((0.0, 1.0), (5.0, 1.0), name="hedge", kind="hedge")
    solved = solved_with(shapes=[field, hedge, lane])
    sides = list(boundary_sides(solved, Where((), {}, (), np.zeros((0, 2, 2)), ()), METRES))

    # A bent side, and one of no length, have no figure; an open one has no last side back.
    assert [(one.name, one.owner) for one in sides] == [
        ("a-b", "field"), ("c-a", "field"), ("d-e", "lane"), ("f-g", "lane")
    ]  # fmt: skip
    assert [one.length for one in sides] == ["40.00", "50.00", "10.00", "30.00"]
    assert (sides[1].start, sides[1].end) == ((30.0, 40.0), (0.0, 0.0))
    corners = list(boundary_corners(solved))
    assert "".join(corner.letters for corner in corners) == "abcdefg"
    assert corners[3].position == (50.0, 0.0)
    assert {corner.owner for corner in corners} == {"field", "lane"}


def test_after_z_come_two_letters():
    assert [letters(n) for n in (0, 25, 26, 51, 52, 701, 702)] == ["a", "z", "aa", "az", "ba", "zz", "aaa"]
