"""Where stations could stand on a plot of 60 by 40 metres, by hand, and what lines between them see and pick up."""

from math import atan2, degrees

import numpy as np
import pytest
from builders.little_book import TWO_TAPES
from shapely import LineString, Polygon, box

from pegline.commands.prepare.candidates import MORE_PLACES, Terrain, terrain_of
from pegline.commands.prepare.expectation import read_intention
from pegline.readers import parse_book
from pegline.readers.yaml import parse

PLOT = {"p1": (0, 0), "p2": (60, 0), "p3": (60, 40), "p4": (0, 40)}
HOUSE = {"h1": (26, 16), "h2": (34, 16), "h3": (34, 24), "h4": (26, 24)}


def intention_of(*, plot=PLOT, house=HOUSE, boundary=True, more=""):
    """Return the intention of a book that is sketched only."""
    places = "".join(f"  {name}: {{sketch: [{x}, {y}]}}\n" for name, (x, y) in {**plot, **house}.items())
    rings = [f"  plot: {{kind: boundary, ring: [{', '.join(plot)}]}}\n"] if boundary else []
    rings += [f"  house: {{kind: building, ring: [{', '.join(house)}]}}\n"] if house else []
    text = f"{TWO_TAPES}{more}points:\n{places}" + ("features:\n" + "".join(rings) if rings else "")
    return read_intention(parse(text, "plot.yaml"), parse_book(text.encode(), "plot.yaml"))


def terrain(*places, outline=None, **sketch):
    outline = outline or box(0, 0, 60, 40)
    return Terrain(intention_of(**sketch), outline, [np.array(at, float) for at in places])


def angle_deg(at, end, to):
    """Return the angle between a line at a place on it and the way to another place, at most a right angle."""
    (x, y), (u, v) = np.subtract(to, at), np.subtract(end, at)
    return degrees(atan2(abs(x * v - y * u), abs(x * u + y * v)))


@pytest.mark.parametrize(
    ("start", "end", "sees"),
    [
        ((5, 20), (55, 20), False),  # through the house
        ((5, 5), (55, 5), True),
        ((5, 15.1), (55, 15.1), True),  # 0.9 m off the house
        ((5, 15.5), (55, 15.5), False),  # sketches are rough: half a metre is too near
        ((5, -0.5), (55, -0.5), True),  # as far may a sight line leave the plot
        ((5, -0.7), (55, -0.7), False),
        ((5, 5), (9.9, 5), False),  # no chain line is shorter than 5 m
        ((5, 5), (10.1, 5), True),
    ],
)
def test_a_line_is_long_enough_inside_the_plot_and_off_the_house(start, end, sees):
    found = terrain(start, end)
    assert found.sees(0, 1) == found.sees(1, 0) == sees
    assert found.length(0, 1) == pytest.approx(np.hypot(*np.subtract(start, end)))


def test_a_hedge_is_no_plot_where_it_turns_in():
    corner = Polygon([(0, 0), (60, 0), (60, 15), (20, 15), (20, 40), (0, 40)])
    found = terrain((5, 35), (55, 5), (15, 5), outline=corner, house={})
    assert (found.sees(0, 1), found.sees(0, 2), found.sees(1, 2)) == (False, True, True)


@pytest.mark.parametrize("place", [(20, 10), (31, 4), (5, 13), (38, 38), (22, -0.3)])
def test_a_tie_station_sees_a_place_neither_squarely_nor_flatly(place):
    # Between 25° and 72°, by the angle itself, and from 5 m on.
    found = terrain((2, 2), (42, 2), place, house={})
    shares = (0.5, 0.25, 0.75, 0.375, 0.625, 0.125, 0.875)
    stations = {share: (2 + 40 * share, 2) for share in shares}
    angles = {share: angle_deg(at, (42, 2), place) for share, at in stations.items()}
    far = {share: np.hypot(*np.subtract(place, at)) >= 5 for share, at in stations.items()}
    assert not any(24.9 < angle < 25.2 or 71.8 < angle < 72.1 for angle in angles.values())
    assert found.tie_shares(2, (0, 1)) == tuple(s for s in shares if 25 < angles[s] < 72 and far[s])
    assert found.far_shares(2, (0, 1)) == tuple(s for s in shares if angles[s] < 25)


def test_what_a_house_hides_is_no_tie():
    # From beyond the house only the ways past its corners are clear.
    place, shares = (30, 30), (0.25, 0.75, 0.125, 0.875)
    found = terrain((2, 10), (58, 10), place)
    house = box(26, 16, 34, 24).buffer(0.7)
    clear = [s for s in shares if not LineString([(2 + 56 * s, 10), place]).intersects(house)]
    assert set(found.tie_shares(2, (0, 1))) == {
        s for s in clear if 25 < angle_deg((2 + 56 * s, 10), (58, 10), place) < 72
    }
    assert found.tie_shares(2, (0, 1))


@pytest.mark.parametrize(
    ("place", "chainages"),
    [
        # Foot at 20, 10 m off: 45° on either side of it, and 10 / tan 32° = 16.00 before it to check.
        ((22, 12), (10, 30, 4)),
        # 10.3 m off: 9.7 and 30.3 to the nearest half metre; 20 - 10.3 / tan 32° = 3.52.
        ((22, 12.3), (9.5, 30.5, 3.5)),
        # Foot at 7: 45° leaves the line, 60° is 5.77 before it; 7 + 10 and, to check, 7 + 16.
        ((9, 12), (1, 17, 23)),
    ],
)
def test_two_feet_on_a_line_fix_a_place_by_a_good_triangle_and_a_third_checks_it(place, chainages):
    found = terrain((2, 2), (42, 2), place, house={})
    assert [40 * share for share in found.feet(2, (0, 1))] == pytest.approx(chainages)


def test_there_are_no_feet_where_there_is_no_room_for_them():
    assert terrain((2, 2), (12, 2), (7, 30), house={}).feet(2, (0, 1)) == ()
    assert terrain((2, 2), (42, 2), (37, 12), house={}).feet(2, (0, 1)) == ()  # even 60° is beyond the end
    assert terrain((2, 10), (58, 10), (30, 30)).feet(2, (0, 1)) == ()  # behind the house


def test_a_triangle_is_good_within_the_limits_of_the_book():
    # 3-4-5 has 36.87°; the other is 5 m high on a base of 36 m. Where the book says nothing, 30° to 120°.
    corners = [(0, 0), (40, 0), (40, 30), (2, 1), (38, 1), (20, 6)]
    found = terrain(*corners, house={})
    assert found.well_conditioned([0, 1, 2]) == pytest.approx(36.8698976)
    assert found.well_conditioned([3, 4, 5]) is None
    wide = terrain(*corners, house={}, more="limits: {angle: [10, 160]}\n")
    assert wide.well_conditioned([3, 4, 5]) == pytest.approx(degrees(atan2(5, 18)))
    narrower = terrain(*corners, house={}, more="limits: {angle: [10, 120]}\n")
    assert narrower.well_conditioned([3, 4, 5]) is None
    strict = terrain(*corners, house={}, more="limits: {angle: [40, 160]}\n")
    assert strict.well_conditioned([0, 1, 2]) is None


def test_a_line_reaches_points_within_the_limit_of_offsets_and_a_little_beyond_its_ends():
    # 10 m off, and 2 m beyond: the house's near corners 7 m off, those of the plot 5 m off and 1 and 2 m beyond; p1 and
    # p2 are 9 m off the first line and 4 m before it, and 20 m beyond.
    found = terrain((4, 9), (40, 9), (1, 5), (58, 5), more="limits: {oblique: 10}\n")
    assert found.picked_up(0, 1) == found.picked_up(1, 0) == {"h1", "h2"}
    assert found.picked_up(2, 3) == {"p1", "p2"}
    assert found.points_to_pick_up == {*PLOT, *HOUSE}


# -- where stations could stand --------------------------------------------------------------------------------------


def test_places_are_a_metre_inside_the_corners_and_along_long_sides_then_all_over():
    found = terrain_of(intention_of(house={}))
    corners = [(1, 1), (59, 1), (59, 39), (1, 39)]
    thirds = [(1 + 58 / 3, 1), (1 + 116 / 3, 1), (1 + 58 / 3, 39), (1 + 116 / 3, 39)]
    halves = [(1, 20), (59, 20)]
    first = {tuple(np.round(at, 6)) for at in found.places[:10]}
    assert first == {tuple(np.round(at, 6)) for at in [*corners, *thirds, *halves]}
    assert {tuple(np.round(at, 6)) for at in found.places[:4]} == {tuple(map(float, at)) for at in corners}
    assert found.outline.equals(box(0, 0, 60, 40))
    assert len(found.places) == 14  # four more all over the ground


def test_more_places_are_spread_over_the_ground_the_farthest_from_all_others_first():
    found = terrain_of(intention_of(house={}), most=MORE_PLACES)
    assert len(found.places) == MORE_PLACES
    meshes = (58 * 38) ** 0.5 / 20
    net = [(x, y) for x in np.arange(1, 59, meshes) for y in np.arange(1, 39, meshes)]
    for number in range(10, MORE_PLACES):
        before = np.array(found.places[:number])
        apart = [np.hypot(*(before - at).T).min() for at in net]
        assert np.hypot(*(before - found.places[number]).T).min() == pytest.approx(max(apart))


def test_places_stand_off_the_corners_of_the_house_and_none_within_it():
    found = terrain_of(intention_of())
    house = box(26, 16, 34, 24)
    assert {tuple(at.tolist()) for at in found.places} >= {(24.5, 14.5), (35.5, 14.5), (35.5, 25.5), (24.5, 25.5)}
    assert all(house.distance(LineString([at, at + 1e-9]).centroid) >= 0.3 for at in found.places)


def test_without_a_boundary_the_ground_is_what_holds_everything_and_two_metres_about_it():
    found = terrain_of(intention_of(boundary=False))
    assert found.outline.bounds == pytest.approx((-2, -2, 62, 42), abs=1e-9)
    assert found.outline.area == pytest.approx(60 * 40 + 2 * 2 * (60 + 40) + np.pi * 4, rel=1e-3)
    assert terrain_of(intention_of(plot={"p1": (0, 0), "p2": (9, 0)}, house={}, boundary=False)) is None


def test_of_two_boundaries_the_larger_is_the_plot():
    inner = "  yard: {kind: boundary, ring: [h1, h2, h3, h4]}\n"
    places = "".join(f"  {name}: {{sketch: [{x}, {y}]}}\n" for name, (x, y) in {**PLOT, **HOUSE}.items())
    text = f"{TWO_TAPES}points:\n{places}features:\n{inner}  plot: {{kind: boundary, ring: [p1, p2, p3, p4]}}\n"
    found = terrain_of(read_intention(parse(text, "plot.yaml"), parse_book(text.encode(), "plot.yaml")))
    assert found.outline.area == pytest.approx(2400)
