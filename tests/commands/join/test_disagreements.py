"""What two surveys of one package tell differently: squares, strips and pegs of which every size is known."""

from dataclasses import replace

import numpy as np
import pytest
from pyproj import Geod

from pegline.commands.join.disagreements import find_disagreements
from pegline.writers.gis.reprojection import OtherCRS


def areas(*rows):
    """Return a package of one layer of squares: name, kind, west edge, side."""
    from pegline.writers.gis.geometries import of_parts
    from pegline.writers.gis.layers import GIS_LAYERS, FilledLayer
    from pegline.writers.gis.package import Package

    (layer,) = [each for each in GIS_LAYERS if each.name == "detail_areas"]
    rings = [np.array([(x, 0), (x + side, 0), (x + side, side), (x, side), (x, 0)], float) for _, _, x, side in rows]
    values = {column.name: [None] * len(rows) for column in layer.columns}
    values |= {"name": [row[0] for row in rows], "kind": [row[1] for row in rows]}
    filled = FilledLayer(layer.name, layer.about, layer.columns, of_parts("Polygon", rings), values)
    return Package("EPSG:32630", None, "", (filled,), (), {}, (), (), {})


def overlaps(one, other):
    return [each.text for each in find_disagreements({"old": areas(*one), "new": areas(*other)})]


def test_a_house_within_anothers_boundary_is_no_overlap():
    assert overlaps([("plot", "boundary", 0, 30)], [("house", "building", 5, 10), ("bed", "bed", 1, 2)]) == []


def test_like_is_compared_with_like_and_gathered():
    # Squares: the plots share 25 m by 25 m, the house and the barn 6 m by 6 m, the sheds 2 m by 2 m.
    one = [("plot", "boundary", 0, 30), ("house", "building", 5, 10), ("shed", "outbuilding", 20, 2)]
    other = [("field", "boundary", 5, 25), ("barn", "outbuilding", 7, 6), ("shed", "outbuilding", 20, 2)]
    assert overlaps(one, other) == [
        "plot of old and field of new overlap by 625.00 m²",
        "old and new overlap in buildings by 40.00 m² in all: house with barn 36.00 m² and shed 4.00 m²",
    ]


def test_kinds_of_a_books_own_are_compared_with_themselves():
    assert overlaps([("a", "greenhouse", 0, 4)], [("b", "greenhouse", 2, 4), ("c", "sand pit", 0, 4)]) == [
        "a of old and b of new overlap by 8.00 m²"
    ]


def test_a_strip_between_two_boundaries_is_a_gap(tmp_path):
    found = list(
        find_disagreements({"old": areas(("plot", "boundary", 0, 30)), "new": areas(("field", "boundary", 30.4, 30))})
    )

    assert [(each.rule, each.beyond) for each in found] == [("gap", False)]
    assert found[0].text == "plot of old and field of new leave 12.00 m² between them"
    (pair,) = found[0].pairs
    assert pair.shape.bounds == pytest.approx((30, 0, 30.4, 30))


def test_a_long_list_ends_with_how_many_more():
    one, other = ([(f"h{n}", "building", 20 * n, side) for n in range(11)] for side in (10, 9))
    (text,) = overlaps(one, other)
    assert text.startswith("old and new overlap in buildings by 891.00 m² in all: h0 81.00 m², h1 ")
    assert text.endswith("h7 81.00 m² and 3 more")


def plots(moved=(), by=(0.8, 0.3), sd=0.02, noise=0.01, across=0.0):
    """Return plots of 40 m by 30 m, four by three, with pegs at their corners that each names as it likes.

    ``moved``: plots that lie off ``by`` so many metres; ``across``: the breadth of lanes between them.
    """
    random = np.random.default_rng(21)
    found = {}
    for row in range(3):
        for column in range(4):
            west, south = 5e5 + (40 + across) * column, 4e6 + (30 + across) * row
            corners = np.array([(west, south), (west + 40, south), (west + 40, south + 30), (west, south + 30)])
            corners += random.normal(0, noise, corners.shape) + (by if (row, column) in moved else (0, 0))
            found[f"plot {row}{column}"] = pegs(dict(zip(random.permutation(list("PQRS")), corners, strict=True)), sd)
    return found


def pegs(places, sd):
    """Return a package of one layer of stations."""
    from pegline.writers.gis.geometries import of_parts
    from pegline.writers.gis.layers import GIS_LAYERS, FilledLayer
    from pegline.writers.gis.package import Package

    (layer,) = [each for each in GIS_LAYERS if each.name == "stations"]
    values = {column.name: [None] * len(places) for column in layer.columns}
    values |= {"name": [str(name) for name in places], "sd_x": [sd] * len(places), "sd_y": [sd] * len(places)}
    shapes = of_parts("Point", [np.array([place]) for place in places.values()])
    return Package("EPSG:32630", None, "", (FilledLayer(layer.name, "", layer.columns, shapes, values),), *FEW)


FEW = ((), {}, (), (), {})


def test_one_plot_of_a_village_that_lies_off_is_told_whatever_its_neighbours_call_the_pegs():
    assert not [each for each in find_disagreements(plots()) if each.beyond]

    (told,) = [each for each in find_disagreements(plots({(1, 1)}, noise=0.0)) if each.beyond]

    assert told.rule == "shift"
    assert told.text.startswith("the whole of plot 11 lies 0.80 m east and 0.30 m north of what is round it (plot 00, ")
    assert "look at its control" in told.text
    assert {pair.survey for pair in told.pairs} == {"plot 11"}


def test_corners_across_a_lane_are_no_survey_that_lies_off():
    assert not [each for each in find_disagreements(plots(across=3.0)) if each.rule == "shift"]


def test_in_degrees_the_same_is_told_in_metres():
    degrees = OtherCRS("EPSG:4326")
    for moved in ({(1, 1)}, {(0, 0), (2, 3)}):
        on_grid = plots(moved)
        on_earth = {name: in_degrees(package, degrees) for name, package in on_grid.items()}
        both = [[each for each in find_disagreements(found) if each.beyond] for found in (on_grid, on_earth)]
        assert [each.surveys for each in both[0]] == [each.surveys for each in both[1]]
        sizes = [[pair.size for each in some for pair in each.pairs] for some in both]
        assert sizes[0]
        assert sizes[0] == pytest.approx(sizes[1], rel=2e-3)  # the scale of the grid is 0.9996


def in_degrees(package, degrees):
    from pyproj import Transformer

    (layer,) = package.layers
    way = Transformer.from_crs("EPSG:32630", "EPSG:4326", always_xy=True)
    corners = np.stack(way.transform(*layer.shapes.corners.T), axis=-1)
    moved = replace(layer, shapes=replace(layer.shapes, corners=corners))
    return replace(package, wkt=degrees.crs.to_wkt(), layers=(moved,))


def test_pegs_of_one_name_on_two_continents_are_not_one():
    wkt = OtherCRS("EPSG:4326").crs.to_wkt()
    places = {name: np.array(place) for name, place in {"A": (0, 0), "B": (4e-4, 0), "C": (0, 3e-4)}.items()}
    here, there = (
        replace(pegs({name: place + at for name, place in places.items()}, 0.02), wkt=wkt)
        for at in ((146.6, -42.1), (146.6 - 2e-3, -42.1))
    )
    assert list(find_disagreements({"here": here, "there": there})) == []


def test_what_agrees_is_told_one_by_one_only_where_it_is_little():
    from pegline.commands.join import _texts

    found = list(find_disagreements(plots({(1, 1)})))
    texts = list(_texts(found))

    assert len(texts) == 2
    assert texts[0].startswith("the whole of plot 11")
    assert (
        texts[1]
        == f"{len(found) - 1} times surveys share pegs or areas and agree within their accuracy; see the table warnings"
    )


def rules_of(apart, *, sd=0.0, other_name="A"):
    here, there = pegs({"A": (0.0, 0.0)}, sd), pegs({other_name: apart}, sd)
    return [(each.rule, each.pairs[0].size) for each in find_disagreements({"old": here, "new": there})]


@pytest.mark.parametrize(("sd", "allowed"), [(0.0, 0.05), (0.005, 0.05), (0.02, 3 * 0.04), (0.5, 3 * 1.0)])
def test_pegs_are_one_within_three_deviations_of_what_lies_between_them_or_five_centimetres(sd, allowed):
    # Of two pegs that are good to σ in x and in y the difference is good to 2 σ, both axes together.
    for name in ("A", "B"):
        ((rule, size),) = rules_of((0.6 * 0.99 * allowed, 0.8 * 0.99 * allowed), sd=sd, other_name=name)
        assert (rule, size) == ("duplicate-station", pytest.approx(0.99 * allowed))
    (one,) = find_disagreements({"old": pegs({"A": (0, 0)}, sd), "new": pegs({"A": (0, 0)}, 2 * sd)})
    assert one.pairs[0].variance == pytest.approx(5 * sd**2)  # of the difference in one axis
    ((rule, size),) = rules_of((-0.6 * 1.01 * allowed, 0.8 * 1.01 * allowed), sd=sd)
    assert (rule, size) == ("same-name", pytest.approx(1.01 * allowed))
    assert rules_of((1.01 * allowed, 0.0), sd=sd, other_name="B") == []


def test_pegs_of_one_name_more_than_five_metres_apart_are_two():
    assert rules_of((2.99, 4.0)) == [("same-name", pytest.approx((2.99**2 + 16) ** 0.5))]
    assert rules_of((3.01, 4.0)) == []


def squares_and_accuracy(west, ellipse):
    """Return a square of 10 m, and a point of its survey that is good to an ellipse of so many metres."""
    from pegline.writers.gis.geometries import of_parts
    from pegline.writers.gis.layers import GIS_LAYERS, FilledLayer

    whole = areas(("plot", "boundary", west, 10))
    (layer,) = [each for each in GIS_LAYERS if each.name == "detail_points"]
    values = {column.name: [None, None] for column in layer.columns} | {"name": ["p", "q"], "ellipse_a": [ellipse, 0.0]}
    points = of_parts("Point", [np.zeros((1, 2)), np.zeros((1, 2))])
    return replace(whole, layers=(*whole.layers, FilledLayer(layer.name, "", layer.columns, points, values)))


@pytest.mark.parametrize(
    ("ellipses", "allowed"), [((0.0, 0.0), 0.05), ((0.03, 0.03), 0.05), ((0.3, 0.4), 0.5), ((None, 0.2), 0.2)]
)
def test_an_overlap_is_more_than_measuring_explains_where_it_is_deeper(ellipses, allowed):
    # A strip b wide and 10 m long is 2 · 10 b / 2 (10 + b) deep: allowed = 10 b / (10 + b).
    breadth = 10 * allowed / (10 - allowed)
    for share, beyond in ((0.99, False), (1.01, True)):
        old, new = squares_and_accuracy(0.0, ellipses[0]), squares_and_accuracy(10.0 - share * breadth, ellipses[1])
        (found,) = find_disagreements({"old": old, "new": new})
        assert (found.rule, found.beyond) == ("overlap", beyond)
        assert found.pairs[0].size == pytest.approx(10 * share * breadth)


@pytest.mark.parametrize(
    ("west", "rules"),
    [
        (29.9996, ["overlap"]),
        (29.9998, []),
        (30.0002, []),
        (30.0004, ["gap"]),
        (30.99, ["gap"]),
        (31.01, []),
    ],
)
def test_a_sliver_is_none_and_neighbours_are_within_a_metre(west, rules):
    # Along 30 m a hundredth of a square metre is a third of a millimetre.
    surveys = {"old": areas(("plot", "boundary", 0, 30)), "new": areas(("field", "boundary", west, 30))}
    assert [each.rule for each in find_disagreements(surveys)] == rules


def in_degrees_at_60(package):
    """Return a package as it stands, its coordinates degrees from 10° and 60°."""
    (layer,) = package.layers
    corners = np.add(layer.shapes.corners, (10.0, 60.0))
    wkt = OtherCRS("EPSG:4326").crs.to_wkt()
    return replace(package, wkt=wkt, layers=(replace(layer, shapes=replace(layer.shapes, corners=corners)),))


def on_ellipsoid(west, east, height=1e-3):
    """Return the square metres between two meridians, from the 60th parallel up."""
    wests, norths = [10 + west, 10 + east, 10 + east, 10 + west], [60.0, 60.0, 60 + height, 60 + height]
    return Geod(ellps="WGS84").polygon_area_perimeter(wests, norths)[0]


def square_in_degrees(west, side=1e-3):
    whole = areas(("plot", "boundary", 0, 1))
    (layer,) = whole.layers
    shapes = replace(layer.shapes, corners=layer.shapes.corners * side + (west, 0.0))
    return in_degrees_at_60(replace(whole, layers=(replace(layer, shapes=shapes),)))


def test_where_degrees_are_short_the_size_of_an_overlap_is_in_metres():
    # At 60° a degree of longitude is about half as long as one of latitude.
    (found,) = find_disagreements({"old": square_in_degrees(0.0), "new": square_in_degrees(0.0005)})
    assert found.rule == "overlap"
    assert found.pairs[0].size == pytest.approx(on_ellipsoid(0.0005, 0.001), rel=1e-4)


def test_where_degrees_are_short_a_gap_is_as_wide_as_on_the_ground_and_drawn_in_degrees():
    # 1.5e-5 degrees of longitude are 84 cm; of latitude they would be 1.67 m.
    (found,) = find_disagreements({"old": square_in_degrees(0.0), "new": square_in_degrees(0.001015)})
    assert found.rule == "gap"
    assert found.pairs[0].size == pytest.approx(on_ellipsoid(0.001, 0.001015), rel=1e-3)
    assert found.pairs[0].shape.bounds == pytest.approx((10.001, 60.0, 10.001015, 60.001), abs=1e-8)
    assert not list(find_disagreements({"old": square_in_degrees(0.0), "new": square_in_degrees(0.00102)}))


def test_where_degrees_are_short_pegs_are_looked_for_as_far_as_on_the_ground():
    # 8e-5 degrees of longitude are 4.46 m, 9e-5 are 5.02 m.
    for east, rules in ((8e-5, ["same-name"]), (9e-5, [])):
        here, there = (in_degrees_at_60(pegs({"A": (each, 0.0)}, 0.01)) for each in (0.0, east))
        assert [each.rule for each in find_disagreements({"old": here, "new": there})] == rules
