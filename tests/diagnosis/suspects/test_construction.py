"""Arcs put the points of every variant where a fresh start of the same book puts them."""

from math import atan2, cos, degrees, dist, pi, radians, sin

import numpy as np
import pytest
from builders.networks import NETWORKS
from builders.records import KITE, KITE_SIDES, LOCAL, measure
from builders.simulated import Framework

from pegline.diagnosis.suspects.construction import _arc_intersection, _Arcs, construct, orientations
from pegline.diagnosis.suspects.variants import Variant, Variants
from pegline.measures.values import Pair, Side
from pegline.network.adjust import hints as book_hints
from pegline.network.dependents import change_of, with_reading_changed
from pegline.network.linear_equations import build_network, with_observations
from pegline.network.observation_types import Booking, ControlCoordinate, Distance, LineBearing
from pegline.network.observations import observations
from pegline.network.start import Hints, start_figure

SAME = 1e-6  # metres
NAMES = ["quad with pegs", "farm", "triangle with check line", "fixed by ties"]


def survey(name):
    """Return a network, and the sides on which its stations lie."""
    framework = Framework(NETWORKS[name]())
    local = framework.plot.local()
    first, last = framework.plot.base.ends
    pair = Pair(first, last, framework.true[0].booking.place)
    sides = {name: Side(pair, bool(xy[1] > 0)) for name, xy in local.items() if abs(xy[1]) > 1.0}
    return framework.network, Hints(sides, {}, dict)


@pytest.mark.parametrize("name", NAMES)
def test_with_the_readings_as_booked_points_stand_where_the_start_puts_them(name):
    network, hints = survey(name)
    construction = construct(network, hints, None)
    alone = Variants(network, [Variant()])

    parameters = construction.repeat(alone, alone.given_amounts)[0]

    begun = start_figure(network.names[: network.stations], (), network.observations, hints)
    expected = np.array([begun.positions[name] for name in network.names]).ravel()
    assert parameters[: len(expected)] == pytest.approx(expected, abs=SAME)


@pytest.mark.parametrize("name", NAMES)
def test_with_another_base_line_they_stand_where_a_start_with_that_puts_them(name):
    network, hints = survey(name)
    construction = construct(network, hints, None)
    amount = change_of(network.observations, construction.base)
    longer = Variants(network, [Variant(amounts=(amount,), fixed=(by,)) for by in (-1.5, 1.5)])

    placed = construction.repeat(longer, longer.given_amounts)

    for row, by in zip(placed, (-1.5, 1.5), strict=True):
        other = with_observations(network, with_reading_changed(network.observations, construction.base, by))
        begun = start_figure(network.names[: network.stations], (), other.observations, hints)
        if begun.missing or begun.pairs != start_figure(network.names, (), network.observations, hints).pairs:
            continue  # other arcs are the best-shaped then
        expected = np.array([begun.positions[name] for name in network.names]).ravel()
        assert row[: len(expected)] == pytest.approx(expected, abs=SAME)


def turned_by(places, angle, shift=(0.0, 0.0)):
    """Return places turned against the clock, and moved."""
    c, s = cos(angle), sin(angle)
    return np.asarray(places) @ np.array([[c, s], [-s, c]]) + shift


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("degrees_", range(15, 360, 60))
def test_however_the_base_line_lies_each_point_stays_on_its_side(name, degrees_):
    network, hints = survey(name)
    at = network.begin[: 2 * len(network.names)].reshape(-1, 2)
    there = turned_by(at, radians(degrees_), (100.0, -70.0))
    parameters = np.concatenate((there.ravel(), [0.0]))

    construction = construct(network, hints, parameters)

    alone = Variants(network, [Variant()])
    assert construction.places == pytest.approx(there, abs=SAME)
    assert construction.repeat(alone, alone.given_amounts)[0] == pytest.approx(parameters, abs=SAME)


@pytest.mark.parametrize(
    ("radii", "side", "meeting"),
    [
        ((3.0, 4.0), 1.0, (1.8, 2.4)),  # by similar triangles of 3, 4 and 5
        ((3.0, 4.0), -1.0, (1.8, -2.4)),
        ((1.0, 1.0), 1.0, (1.0, 0.0)),  # too short: towards the other centre
        ((1.0, 9.0), 1.0, (-1.0, 0.0)),  # one within the other: away from it
        ((9.0, 1.0), 1.0, (9.0, 0.0)),
    ],
)
@pytest.mark.parametrize("degrees_", [0, 70, 200])
def test_arcs_meet_on_their_side_or_come_nearest_on_the_line_between_their_centres(radii, side, meeting, degrees_):
    centres = turned_by([(0.0, 0.0), (5.0, 0.0)], radians(degrees_), (2.0, 3.0))
    one, other = (np.array([radius]) for radius in radii)
    found = _arc_intersection(centres[:1], centres[1:], one, other, side)
    assert found == pytest.approx(turned_by([meeting], radians(degrees_), (2.0, 3.0)))


def test_a_point_that_is_mirrored_lies_as_far_from_its_centres_on_their_other_side_and_takes_others_with_it():
    network, hints = survey("quad with pegs")
    construction = construct(network, hints, None)
    step = next(step for step in construction.steps if isinstance(step, _Arcs))
    mirrored = construction.mirror(step.point)[: 2 * len(network.names)].reshape(-1, 2)
    for number in (step.one, step.other):
        start, end = (network.index[name] for name in network.observations[number].points)
        assert dist(mirrored[start], mirrored[end]) == pytest.approx(network.observations[number].booking.value)
    first, second = (
        next(network.index[name] for name in network.observations[n].points if network.index[name] != step.point)
        for n in (step.one, step.other)
    )

    def side_of(places):
        line, arm = places[second] - places[first], places[step.point] - places[first]
        return np.sign(line[0] * arm[1] - line[1] * arm[0])

    assert side_of(mirrored) == -side_of(construction.places)


# -- which way the figure lies ---------------------------------------------------------------------------------------

SQUARE = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (50.0, 30.0), "D": (0.0, 40.0)}


def lying(*ones):
    """Return a figure of four stations with some directions or control, as it stands."""
    where = Framework(NETWORKS["braced quad"]()).true[0].booking.place
    booked = [
        Distance(Booking("A-B", "length", "base", ("line", "A-B"), 50.0, 0.01, None, where, line="A-B"), "A", "B"),
        *(one(where) for one in ones),
    ]
    return build_network(tuple(SQUARE), 4, booked, {}, np.array(list(SQUARE.values())))


def bearing(start, end, turn_deg):
    """Return a bearing of the figure if it lay turned clockwise by so many degrees."""
    (x, y), (u, v) = SQUARE[start], SQUARE[end]
    value = (atan2(u - x, v - y) + radians(turn_deg)) % (2 * pi)
    return lambda where: LineBearing(
        Booking("b", "bearing", "bearing", (start, 1), value, 0.01, None, where), start, end
    )


def known(station, xy):
    """Return the two coordinates of a control point."""
    return [
        lambda where, along=along, value=value: ControlCoordinate(
            Booking(station, "control", "control", (station, 1), value, 0.05, None, where), station, along
        )
        for along, value in (((1.0, 0.0), xy[0]), ((0.0, 1.0), xy[1]))
    ]


@pytest.mark.parametrize(("turn", "turned"), [(11.0, False), (12.0, True), (-12.0, True), (170.0, True)])
def test_a_figure_is_turned_as_most_of_its_bearings_say_where_it_lies_otherwise(turn, turned):
    # A fifth of a radian, 11.46°, is no more than a needle may be out. One bearing is of the other direction.
    network = lying(bearing("A", "B", turn), bearing("B", "C", turn), bearing("A", "D", turn + 180.0))
    found = orientations(network, network.begin)
    assert len(found) == turned
    for parameters in found:
        at = parameters[:8].reshape(-1, 2)
        assert at[0] == pytest.approx((0.0, 0.0), abs=SAME)  # about the begin of the base line
        for (x, y), (u, v) in ((at[0], at[1]), (at[1], at[2])):
            (p, q), (r, s) = ((0.0, 0.0), (50.0, 0.0)) if x == at[0][0] else ((50.0, 0.0), (50.0, 30.0))
            told = degrees(atan2(r - p, s - q)) + turn
            assert (degrees(atan2(u - x, v - y)) - told + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-6)


def test_a_figure_is_laid_on_its_control_as_booked_and_with_each_two_points_exchanged():
    there = dict(zip(SQUARE, turned_by(list(SQUARE.values()), radians(70), (500.0, 300.0)).tolist(), strict=True))
    names = ["A", "B", "D"]
    right = lying(*(one for name in names for one in known(name, there[name])))
    found = orientations(right, right.begin)
    assert len(found) == 4
    assert found[0][:8].reshape(-1, 2) == pytest.approx(np.array(list(there.values())), abs=SAME)

    swapped = {"A": there["A"], "B": there["D"], "D": there["B"]}
    wrong = lying(*(one for name in names for one in known(name, swapped[name])))
    assert any(
        one[:8].reshape(-1, 2) == pytest.approx(np.array(list(there.values())), abs=SAME)
        for one in orientations(wrong, wrong.begin)[1:]
    )


def test_of_two_control_points_exchanged_nothing_tells():
    two = lying(*(one for name in "AB" for one in known(name, SQUARE[name])))
    assert orientations(two, two.begin) == []


# -- what places a point ---------------------------------------------------------------------------------------------


def constructed(lines, rows=(), sides=KITE_SIDES):
    """Return the construction of a book of lines and rows, all its points solved."""
    book, reduction = measure(lines, sides=sides, rows=rows)
    points = {end for name in lines for end in name.split("-")}
    others = [row[0] for row in rows if row[0] not in points]
    ones = observations(book, reduction, LOCAL, {*points, *others})
    names = (*sorted(points), *others)
    network = build_network(names, len(points), ones, {"steel": 0.0002}, np.zeros((len(names), 2)), held=(0, 1, 3))
    return network, construct(network, book_hints(book, reduction), None)


def test_a_row_is_carried_beside_its_line_and_a_tie_station_stands_on_it_whichever_side_is_looked_at():
    rows = [("h", "A-B", 12.0, 5.0), ("T", "A-B", 20.0, "station")]
    network, construction = constructed(KITE | {"T-C": ("check", 39.65)}, rows)
    at = {name: construction.places[n] for name, n in network.index.items()}
    assert (at["h"], at["T"]) == (pytest.approx((12.0, 5.0)), pytest.approx((20.0, 0.0)))
    for name, expected in (("h", (12.0, -5.0)), ("T", (20.0, 0.0)), ("C", (33.2, -37.3866))):
        mirrored = construction.mirror(network.index[name])[: 2 * len(network.names)].reshape(-1, 2)
        assert mirrored[network.index[name]] == pytest.approx(expected, abs=0.001)
    labels = {network.observations[n].booking.label for n in construction.readings}
    assert labels == {*KITE, "A-B at 20.00"}  # what carries a point stays where it is beside its line


def test_a_check_line_places_a_station_where_nothing_else_does():
    network, construction = constructed(KITE | {"C-B": ("check", 46.0)})
    assert construction.places[network.index["C"]] == pytest.approx((33.2, 37.3866), abs=0.001)
    # Of one line alone nothing is placed, whatever it is.
    assert constructed({name: line for name, line in KITE.items() if name != "C-B"})[1] is None


@pytest.mark.parametrize("short", ["A-C", "C-B"])
@pytest.mark.parametrize("by", [-45.0, 75.0])
def test_arcs_that_do_not_meet_are_made_to_so_that_a_figure_is_there_to_begin_with(short, by):
    use, length = KITE[short]
    _, construction = constructed(KITE | {short: (use, length + by)})
    assert construction is not None
    assert np.isfinite(construction.places).all()
