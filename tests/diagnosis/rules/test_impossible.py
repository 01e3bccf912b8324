"""What can hardly be is told from a quarter of a metre inside on, of a line from half a one: against shapely's."""

from __future__ import annotations

from math import cos, radians, sin
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from builders.records import measure, place
from scipy.spatial import cKDTree

from pegline.book.habits import notation_of
from pegline.diagnosis.rules import impossible
from pegline.diagnosis.rules.impossible import _near_pairs, runs_clear


def turned(points, degrees):
    c, s = cos(radians(degrees)), sin(radians(degrees))
    return np.asarray(points, float) @ np.array([[c, s], [-s, c]]) + (100.0, -40.0)


def shape(name, kind, vertices, *, closed=True):
    path = SimpleNamespace(vertices=np.asarray(vertices, float), closed=closed)
    return SimpleNamespace(name=name, kind=kind, path=path, points=(), place=place(9))


def solved_of(*shapes, positions=None, lines=None, obstacles=()):
    book, reduction = measure(lines or {"A-B": ("base", 60.0)})
    book_stub = SimpleNamespace(obstacles=obstacles, unit="m")
    return SimpleNamespace(
        book=book_stub,
        reduction=reduction,
        notation=notation_of(book),
        positions=positions or {},
        detail=SimpleNamespace(shapes={one.name: one for one in shapes}),
    )


def texts(remarks):
    return [text.split(";")[0] for text, _ in remarks]


HOUSE = [(0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0)]


@pytest.mark.parametrize("degrees", [0, 33])
@pytest.mark.parametrize(("deep", "told"), [(0.24, False), (0.26, True)])
def test_a_path_stands_in_the_way_of_a_house_a_quarter_of_a_metre_deep(deep, told, degrees):
    house = shape("barn", "building", turned(HOUSE, degrees))
    lane = shape("lane", "path", turned([(4.0, -9.0), (4.0, deep)], degrees), closed=False)
    assert texts(impossible.house_in_the_way(solved_of(house, lane), None)) == ["barn stands across lane"] * told
    # A hedge along a wall, and what is no house, stand across nothing.
    beside = shape("lane", "path", turned([(-9.0, -0.1), (20.0, -0.1)], degrees), closed=False)
    assert texts(impossible.house_in_the_way(solved_of(house, beside), None)) == []


@pytest.mark.parametrize(("deep", "told"), [(0.24, False), (0.26, True)])
def test_two_buildings_overlap_a_quarter_of_a_metre_deep_whichever_is_named_first(deep, told):
    barn = shape("barn", "building", HOUSE)
    shed = shape("shed", "outbuilding", [(8.0 - deep, 2.0), (12.0, 2.0), (12.0, 4.0), (8.0 - deep, 4.0)])
    assert texts(impossible.buildings_overlap(solved_of(barn, shed), None)) == ["barn and shed overlap"] * told
    assert texts(impossible.buildings_overlap(solved_of(shed, barn), None)) == ["shed and barn overlap"] * told


@pytest.mark.parametrize("degrees", [0, 57])
@pytest.mark.parametrize(("deep", "told"), [(0.49, False), (0.51, True)])
def test_a_line_runs_through_a_house_half_a_metre_deep(deep, told, degrees):
    ends = turned([(-20.0, deep), (30.0, deep)], degrees).tolist()
    positions = {"A": tuple(ends[0]), "B": tuple(ends[1])}
    house = shape("barn", "building", turned(HOUSE, degrees))
    solved = solved_of(house, positions=positions)
    assert texts(impossible.line_through_house(solved, None)) == ["the line A-B runs through barn"] * told
    assert runs_clear(solved, "A", "B") is not told
    # What the book names as an obstacle goes before the kinds that are one as a rule.
    solved.book.obstacles = ("wood",)
    assert texts(impossible.line_through_house(solved, None)) == []
    assert runs_clear(solved, "A", "B")


def test_a_peg_amid_three_stations_sees_them_past_what_lies_between_two():
    house = shape("barn", "building", HOUSE)
    at = {"A": (-10.0, 3.0), "B": (18.0, 3.0), "C": (4.0, 40.0)}
    solved = solved_of(house, positions=at)
    assert not runs_clear(solved, "A", "B")
    assert runs_clear(solved, "A", "B", "C")  # from 4, 15.3 each way passes above the house
    ways = [shapely.LineString([(4.0, 46.0 / 3), xy]) for xy in at.values()]
    assert not any(way.intersects(shapely.Polygon(HOUSE).buffer(-0.5)) for way in ways)


@pytest.mark.parametrize(("apart", "told"), [(0.099, True), (0.1001, False)])
def test_two_names_within_a_decimetre_may_be_one_point(apart, told):
    positions = {"p": (5.0, 5.0), "q": (5.0 + 0.6 * apart, 5.0 - 0.8 * apart), "far": (9.0, 9.0)}
    found = texts(impossible.same_point(solved_of(positions=positions), 0.1))
    assert found == ["p and q lie 0.10 m apart and may be one point"] * told


def test_near_pairs_are_those_of_a_tree_of_scipys():
    at = np.random.default_rng(1).uniform(0, 12, (400, 2))
    found = {frozenset(pair[:2]): pair[2] for pair in _near_pairs(at, 0.5)}
    assert set(found) == {frozenset(map(int, pair)) for pair in cKDTree(at).query_pairs(0.5)}
    for (one, other), apart in ((sorted(pair), apart) for pair, apart in found.items()):
        assert apart == pytest.approx(np.hypot(*(at[one] - at[other])))
    assert list(_near_pairs(np.zeros((0, 2)), 0.5)) == []
