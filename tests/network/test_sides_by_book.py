"""What only the book puts on its side of a line passes every check on the other side; what is not told fails there."""

from collections import Counter
from dataclasses import replace
from itertools import combinations, pairwise
from math import atan2, pi, radians

import numpy as np
import pytest
from builders.networks import NETWORKS, between, net, random_plot
from builders.records import KITE, KITE_SIDES, LOCAL, measure, simulate

from pegline.errors import BookError, Place
from pegline.frame.model import Frame, FrameBearing, FrameControl
from pegline.measures.station_angle import Corner, StationAngle
from pegline.measures.values import Angle
from pegline.network.adjust import adjust, hints
from pegline.network.observation_types import Booking, Distance
from pegline.network.sides_by_book import BookedSide, _Figure, sides_by_book
from pegline.network.unnoticed_mistakes import find_unnoticed


def told(book, reduction, adjustment=None, frame=LOCAL):
    adjustment = adjustment or adjust(book, reduction, frame)
    return sides_by_book(adjustment, hints(book, reduction), find_unnoticed(book, reduction, adjustment))


TIES = (("S", "A-B", 22.0, "station"), ("T", "A-B", 38.0, "station"))


def kite(**more):
    """Return two triangles on a base, each checked by a line from a tie station; figures worked by hand.

    C is at (33.2, 37.387), D at (33.067, -34.795).
    """
    checks = {"S-C": ("check", 39.020), "T-D": ("check", 35.143)}
    lines = KITE | checks | more.pop("lines", {})
    return measure(lines, sides=KITE_SIDES, **({"rows": TIES} | more))


def test_lines_from_a_tie_station_on_the_base_do_not_tell_the_side_of_the_apex():
    assert told(*kite()) == (BookedSide("A-B", ("C",)), BookedSide("A-B", ("D",)), BookedSide(None))


def test_a_line_across_the_base_leaves_only_the_whole():
    assert told(*kite(lines={"C-D": ("check", 72.182)})) == (BookedSide(None),)


def test_of_a_survey_that_fails_nothing_is_told():
    assert told(*kite(lines={"C-D": ("check", 75.0)})) == ()


@pytest.mark.parametrize("shown", [False, True])
def test_a_building_taken_from_one_line_may_lie_on_its_other_side(shown):
    # h and k at 10 and 18 on A-B, 5 to the left, booked twice; arcs to h from A and C tell its side.
    def taken(side):
        twice = [("h", "A-B", 10.0, 5.0 * side), ("k", "A-B", 18.0, 5.0 * side)] * 2
        arcs = [("h", {"A": 11.1803, "C": 39.8388}, "right A-C")] if shown else []
        return kite(rows=[*TIES, *twice], dimensions={"h-k": 8.0}, arcs=arcs)

    found = told(*taken(1))
    assert [side for side in found if side.points] == ([] if shown else [BookedSide("A-B", points=("h", "k"))])
    # The building, which is booked left of A-B, tells by its arcs the side of C as well; of D nothing does.
    open_sides = [BookedSide("A-B", ("D",)), BookedSide(None)]
    assert [side for side in found if not side.points] == ([] if shown else [BookedSide("A-B", ("C",))]) + open_sides

    try:
        otherwise = adjust(*taken(-1), LOCAL)
    except BookError:
        assert shown
    else:
        assert all(check.passed for check in otherwise.checks) != shown


def test_a_building_whose_walls_are_taped_all_round_is_told_once():
    # h, k and m at 10, 18 and 14, 5, 5 and 8 to the left: sides of 8, 5 and 5.
    rows = [("h", "A-B", 10.0, 5.0), ("k", "A-B", 18.0, 5.0), ("m", "A-B", 14.0, 8.0)] * 2
    found = told(*kite(rows=[*TIES, *rows], dimensions={"h-k": 8.0, "k-m": 5.0, "h-m": 5.0}))

    assert [side for side in found if side.points] == [BookedSide("A-B", points=("h", "k", "m"))]


@pytest.mark.parametrize(("offset", "is_told"), [(0.2, False), (0.5, True)])
def test_a_wall_along_the_line_is_told_where_its_other_side_is_farther_than_what_counts_as_checked(offset, is_told):
    # Its image is twice the offset away; C-D is the longest extent, and a hundredth of it, 0.72, counts as checked.
    rows = [("h", "A-B", 10.0, offset), ("k", "A-B", 18.0, offset)] * 2
    found = told(*kite(rows=[*TIES, *rows], dimensions={"h-k": 8.0}))

    assert any(side.points for side in found) == is_told


EAST = FrameBearing("A", "B", pi / 2, radians(0.5), pi / 2, Place("made.yaml", 50, 1))
BACK = replace(EAST, start="B", end="A", bearing=3 * pi / 2)
TO_C = replace(EAST, end="C", bearing=atan2(33.2, 37.387))


@pytest.mark.parametrize(
    ("bearings", "is_open"), [([EAST], True), ([EAST, BACK], True), ([EAST, TO_C], False)], ids=["one", "back", "two"]
)
def test_bearings_of_two_lines_tell_the_hand_of_the_whole_and_of_one_line_do_not(bearings, is_open):
    found = told(*kite(), frame=Frame("north", "magnetic", "", "north", bearings=tuple(bearings)))

    assert (BookedSide(None) in found) == is_open
    assert (BookedSide("A-B", ("C",)) in found) == is_open
    assert BookedSide("A-B", ("D",)) in found


HERE = Place("made.yaml", 51, 1)
KNOWN = {"A": (10.0, 20.0), "B": (70.0, 20.0), "C": (43.2, 57.387), "D": (43.067, -14.795)}


@pytest.mark.parametrize(
    ("control", "bearings", "is_open"),
    [
        ("A", [], True),
        ("AB", [], True),  # one direction, along which the whole may be mirrored
        ("ABC", [], False),
        ("A", [EAST], True),
        ("AB", [EAST], True),
        ("AB", [TO_C], False),
        ("ST", [EAST], True),
        ("AST", [], True),  # all in one line
    ],
)
def test_two_directions_between_what_is_known_tell_the_hand_of_the_whole(control, bearings, is_open):
    known = KNOWN | {"S": (32.0, 20.0), "T": (48.0, 20.0)}
    points = tuple(FrameControl(name, *known[name], 0.02, HERE) for name in control)
    found = told(*kite(), frame=Frame("grid", "grid", "", "a grid", control=points, bearings=tuple(bearings)))

    assert (BookedSide(None) in found) == is_open


def test_an_angle_tells_the_hand_of_the_whole_and_the_side_of_its_stations():
    book, reduction = kite()
    angle = StationAngle(Corner("A", "C", "B", HERE), (Angle(radians(282.756), "", HERE),), HERE)

    assert told(replace(book, angles=(angle,)), reduction) == (BookedSide("A-B", ("D",)),)


@pytest.mark.parametrize("scale", [0.5, 2.0])
def test_sides_are_told_alike_in_a_grid_of_any_scale(scale):
    book, reduction = kite(
        rows=[*TIES, *[("h", "A-B", 10.0, 0.5), ("k", "A-B", 18.0, 0.5)] * 2], dimensions={"h-k": 8.0}
    )

    assert told(book, reduction, frame=replace(LOCAL, scale=scale)) == told(book, reduction)


def test_a_line_is_told_by_the_longest_that_was_taped_along_it_else_by_its_two_stations():
    figure = _Figure.__new__(_Figure)
    figure.at = {"A": (0.0, 0.0), "B": (60.0, 0.09), "S": (20.0, 0.0), "C": (30.0, 40.0), "D": (70.0, 0.2)}

    def length(name, value, kind="length"):
        booking = Booking(name, kind, "side", ("line", name), value, 0.005, None, HERE)
        return Distance(booking, *name.split("-"))

    taped = [length("A-S", 20.0), length("B-A", 60.0), length("S-B", 40.0)]
    others = [length("A-C", 50.0), length("S-D", 50.0), length("A-B", 60.01, "dimension"), length("A-D", 70.0)]
    figure.__dict__["observations"] = [*taped, *others]
    assert figure.line_on(("A", "S")) == "B-A"
    figure.__dict__["observations"] = others
    assert figure.line_on(("A", "S")) == "A-S"


@pytest.mark.parametrize(("count", "looked_at"), [(50, True), (51, False)])
def test_up_to_50_stations_are_looked_at_as_lying_together(count, looked_at):
    # A chain of poles 10 m left of a line, 5 m from one to the next.
    figure = _Figure.__new__(_Figure)
    names = [f"P{number}" for number in range(count)]
    neighbours = {name: [] for name in names}
    for one, other in pairwise(names):
        neighbours[one].append((other, 0.01))
        neighbours[other].append((one, 0.01))
    figure.at = {"A": (0.0, 0.0), "B": (300.0, 0.0)} | {name: (5.0 * n, 10.0) for n, name in enumerate(names)}
    figure.__dict__ |= {"lengths": neighbours, "known_sides": frozenset(), "base": frozenset("AB")}

    assert figure.together("P0", ("A", "B")) == (frozenset(names) if looked_at else None)
    figure.__dict__["known_sides"] = frozenset(names[1:2])
    assert figure.together("P0", ("A", "B")) is None


@pytest.mark.parametrize(("other", "most", "tells"), [((4.0, 3.0), 5.0, True), ((4.0, 3.0), 5.1, False)])
def test_a_length_tells_a_side_that_would_change_by_more_than_what_passes(other, most, tells):
    # 8 and 3 left of the line, 5 above and 4 along: √41 is one length, √(41 + 4 · 8 · 3) = √137 the other.
    figure = _Figure.__new__(_Figure)
    figure.at = {"X": (0.0, 8.0), "Y": other}
    change = 137**0.5 - 41**0.5

    assert figure._tells("X", "Y", 24.0, change * most / 5.05) == tells


# -- against surveys that are booked on the other side ------------------------------------------------


def on_other_side(book, names, start, end):
    """Return a book with the sketches of some stations mirrored in a line between two others."""
    at = {name: np.array(station.sketch) for name, station in book.stations.items()}
    along = (at[end] - at[start]) / np.hypot(*(at[end] - at[start]))
    stations = dict(book.stations)
    for name in names:
        away = at[name] - at[start]
        stations[name] = replace(stations[name], sketch=tuple(at[start] + 2 * (away @ along) * along - away))
    return replace(book, stations=stations)


def differs(one, other, names):
    """Return by how much the distances between stations differ at most, metres: a mirrored whole is the same."""
    pairs = list(combinations(names, 2))
    apart = [[np.hypot(*(each.position(i) - each.position(j))) for i, j in pairs] for each in (one, other)]
    return float(np.abs(np.subtract(*apart)).max(initial=0.0))


def plots():
    """Yield plots without end: the named ones, some lines left out, and triangles checked from the base."""
    draw = np.random.default_rng(8)
    names = list(NETWORKS)
    while True:
        plot = NETWORKS[names[int(draw.integers(len(names)))]]()
        spare = [line.name for line in plot.lines if line.use in ("check", "tie") and not line.rows]
        out = {name for name in spare if draw.random() < 0.4}
        yield replace(plot, lines=tuple(line for line in plot.lines if line.name not in out))
        yield random_plot(int(draw.integers(100_000)), stations=int(draw.integers(4, 9)), details=0)
        yield chained(draw)


def chained(draw):
    """Return a triangle on each side of a base, a further one on one of them, each with a line from a tie station."""
    a, b = (0.0, 0.0), (float(draw.uniform(50, 80)), 0.0)
    c = (float(draw.uniform(0.3, 0.7)) * b[0], float(draw.uniform(25, 45)))
    d = (float(draw.uniform(0.3, 0.7)) * b[0], -float(draw.uniform(25, 45)))
    s, t, r = between(a, b, 0.45), between(a, b, 0.6), between(a, c, 0.5)
    e = (r[0] - float(draw.uniform(20, 30)), r[1] + float(draw.uniform(10, 20)))
    at = {"A": a, "B": b, "C": c, "D": d, "E": e, "S": s, "T": t, "R": r}
    more = [name for name in ("C-D", "E-B", "E-D") if draw.random() < 0.25]
    checks = " ".join(["S-C", "T-D", "R-E", *more])
    return net(at, "A-B", "A-C C-B A-D D-B A-E E-C", checks=checks, on="S on A-B, T on A-B, R on A-C")


@pytest.mark.parametrize("count", [60, pytest.param(2000, marks=pytest.mark.long)])
def test_what_is_told_passes_on_the_other_side_and_what_is_not_told_does_not(count):
    tried = Counter()
    for number, plot in zip(range(count), plots(), strict=False):
        try:
            book, reduction = simulate(plot, number)
            sound = adjust(book, reduction, LOCAL)
        except BookError:
            continue
        if not sound.checks or not all(check.passed for check in sound.checks):
            continue
        unnoticed = find_unnoticed(book, reduction, sound)
        sides = [side for side in told(book, reduction, sound) if side.stations]
        stations = sound.adjusted.names[: sound.adjusted.stations]
        for side in sides:
            passes = passes_elsewhere(book, reduction, sound, side.stations, side.line.split("-"), stations)
            tried["told", passes] += 1
        # What is told, or not checked at all, may lie elsewhere; of the others none may. A side is booked neither of
        # tie stations nor of the ends of the base line.
        named = {name for side in sides for name in side.stations}
        others = [name for name in stations if name not in named and unnoticed.is_checked(name)]
        free = {row.name for row in reduction.rows} | {sound.adjusted.names[row] for row in sound.adjusted.base}
        for name in set(others) - free:
            ends = [(line.start, line.end) for line in reduction.lines.values() if name in (line.start, line.end)]
            axes = combinations(sorted({*sum(ends, ())} - {name}), 2)
            passes = any(passes_elsewhere(book, reduction, sound, [name], axis, others) for axis in axes)
            tried["not told", passes] += 1
    print(f"passes on the other side: {dict(tried)}")
    assert tried["told", True] > count / 8
    assert tried["not told", False] > count / 2
    assert tried["told", False] <= 0.02 * (tried["told", True] + tried["told", False])
    assert tried["not told", True] <= 0.01 * tried["not told", False]


def passes_elsewhere(book, reduction, sound, names, axis, others):
    """Return whether a survey passes, and is another figure, with some stations on the other side of a line."""
    try:
        found = adjust(on_other_side(book, names, *axis), reduction, LOCAL)
    except BookError:
        return False
    limit = find_unnoticed(book, reduction, sound).limit
    return all(check.passed for check in found.checks) and differs(sound.adjusted, found.adjusted, others) > limit
