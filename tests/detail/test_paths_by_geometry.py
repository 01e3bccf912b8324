"""What area and perimeter change by when points move: against GEOS on paths whose points were moved."""

import numpy as np
import pytest
import shapely
from builders.little_book import head

from pegline.detail.paths_by_geometry import Made, gradients, making_of
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

STEP = 1e-4  #: metres
ROUNDING = 1e-6  #: of a quotient of areas of some hundred square metres
FEATURES = """\
  ring: {kind: boundary, ring: [p, q, r, s]}
  eight: {kind: path, through: [p, q, r, q, s]}
  fence: {kind: fence, through: [p, q, r, s]}
  lane: {kind: road edge, curve: [p, q, r, s]}
  round: {kind: pond, circle: {through: [p, q, r]}}
"""
ROWS = "".join(
    f"      - {{at: {at}, {side}: {off}, point: {name}}}\n"
    for name, at, side, off in (("p", 5, "left", 3), ("q", 24, "left", 8), ("r", 40, "right", 6), ("s", 12, "right", 9))
)
BOOK = f"""{head()}lines:
  A-C: {{use: side, taped: 40}}
  C-B: {{use: side, taped: 40}}
  A-B:
    use: base
    taped: 60
    details:
{ROWS}features:
{FEATURES}"""
POSITIONS = {"p": (5.0, 3.0), "q": (24.0, 8.0), "r": (40.0, -6.0), "s": (12.0, -9.0)}


def measures(path):
    """Return area, positive anticlockwise, and length of a path of straight pieces."""
    if not path.closed:
        return np.array([0.0, shapely.LineString(path.vertices).length])
    ring = shapely.LinearRing(path.vertices)
    area = shapely.Polygon(path.vertices).area
    return np.array([area if ring.is_ccw else -area, ring.length])


def chords(path):
    """Return what GEOS has for a curved path stroked so finely that its area is right to a part in ten million."""
    from pegline.detail.path import stroke

    points = stroke(path, 1e-7)
    ring = shapely.LinearRing(points) if path.closed else shapely.LineString(points)
    area = shapely.Polygon(points).area * (1 if ring.is_ccw else -1) if path.closed else 0.0
    return np.array([area, ring.length])


def slopes(made, path, positions):
    """Return what area and perimeter of one path change by with x and y of each point: (2, 2 n)."""
    (one,) = gradients([Made(made, path, positions, np.zeros(0))])
    return one.by_point.swapaxes(0, 1).reshape(2, -1).copy()


@pytest.mark.parametrize(
    ("name", "of", "within"),
    [
        ("ring", measures, ROUNDING),
        ("eight", measures, ROUNDING),
        ("fence", measures, ROUNDING),
        ("round", chords, 2e-3),
    ],
)
def test_gradients_are_those_of_moved_points(name, of, within):
    book = parse_book(BOOK.encode(), "paths.yaml")
    made = making_of(book.features[name], book, reduce_readings(book))
    positions, own = np.array([POSITIONS[point] for point in made.names]), np.zeros(0)
    path = made.make(positions, own)
    computed = slopes(made, path, positions)
    if not path.closed:  # nobody asks for its area
        computed[0] = 0.0
    for number in range(positions.size):
        move = np.zeros(positions.size)
        move[number] = STEP
        up, down = (of(made.make(positions + sign * move.reshape(-1, 2), own)) for sign in (1, -1))
        assert computed[:, number] == pytest.approx((up - down) / (2 * STEP), abs=within)


def test_two_vertices_in_one_place_have_no_way_between_them_that_could_grow():
    book = parse_book(BOOK.encode(), "paths.yaml")
    for name, closed in (("fence", False), ("ring", True)):
        made = making_of(book.features[name], book, reduce_readings(book))
        positions = np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 4.0], [3.0, 0.0]])
        _, by_length = slopes(made, made.make(positions, np.zeros(0)), positions)
        back = [-1, 0] if closed else [0, 0]
        expected = np.array([np.add([-0.6, -0.8], back), [0.6, 0.8], [0, 1], np.subtract([0, -1], back)])
        assert by_length.reshape(4, 2) == pytest.approx(expected)


def test_the_area_and_length_of_a_curve_change_as_the_figure_does_when_all_is_stretched():
    # Stretched by 1 + ε every length grows by ε and every area by 2 ε: Euler's rule for homogeneous functions.
    book = parse_book(BOOK.encode(), "paths.yaml")
    for name in ("lane", "round", "ring", "fence"):
        made = making_of(book.features[name], book, reduce_readings(book))
        positions, own = np.array([POSITIONS[point] for point in made.names]), np.zeros(0)
        path = made.make(positions, own)
        by_stretching = slopes(made, path, positions) @ positions.ravel()
        area, length = chords(path)
        assert by_stretching[1] == pytest.approx(length, rel=1e-5)
        if path.closed:
            assert by_stretching[0] == pytest.approx(2 * area, rel=1e-5)


def test_a_copy_of_itself_is_refused():
    text = BOOK + "  copy: {kind: fence, parallel: {to: fence, left: 1.20}}\n"
    book = parse_book(text.encode(), "paths.yaml")
    with pytest.raises(ValueError, match="a copy of"):
        making_of(book.features["copy"], book, reduce_readings(book), ("copy", "fence"))
