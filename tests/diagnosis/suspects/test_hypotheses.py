"""Each hypothesis undoes the mistake that it is of: put into the survey, everything is booked as it was measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from math import dist, pi

import numpy as np
import pytest
from builders.records import KITE, KITE_SIDES, LOCAL, measure

from pegline.diagnosis.suspects import hypotheses
from pegline.diagnosis.suspects.hypotheses import Hypothesis, Situation
from pegline.diagnosis.suspects.hypothesis_table import HYPOTHESES, every_hypothesis
from pegline.diagnosis.suspects.variants import Variant
from pegline.errors import Place
from pegline.measures.values import Pair, Side
from pegline.network.dependents import changed_by
from pegline.network.growing_figure import Hints
from pegline.network.linear_equations import Network, build_network
from pegline.network.observation_types import (
    Booking,
    Chainage,
    ControlCoordinate,
    Distance,
    LineBearing,
    Oblique,
    Observation,
    Offset,
    Ranging,
    Square,
    with_value,
)
from pegline.network.observations import observations

AT = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (33.2, 37.3866), "D": (33.0667, -34.7945)}
WHERE = Place("made.yaml", 1, 1)


def booking(label: str, kind: str, value: float, **more: object) -> Booking:
    """Return the booking of an observation without a tape."""
    told = {"part": kind, "group": (kind, label), "sd": 0.01, "tape": None, "place": WHERE} | more
    return Booking(label, kind, value=value, **told)  # type: ignore[arg-type]


def bearing(start: str, end: str, value: float) -> LineBearing:
    return LineBearing(booking(f"{start}-{end}", "bearing", value), start, end)


def known(station: str, x: float, y: float) -> list[ControlCoordinate]:
    axes = ((x, (1.0, 0.0)), (y, (0.0, 1.0)))
    return [ControlCoordinate(booking(station, "control", value), station, along) for value, along in axes]


def square(walk: str, turn: float, house: str = "barn") -> Square:
    before, corner, after = walk
    return Square(
        booking(corner, "square", turn * pi / 2, part="wall", group=("feature", house)), before, corner, after
    )


def wall(start: str, end: str, value: float, house: str = "barn") -> Distance:
    return Distance(booking(f"{start}-{end}", "wall", value, part="wall", group=("feature", house)), start, end)


def offset(point: str, value: float, side: int, row: int, *, back: bool = False) -> Offset:
    return Offset(
        booking(f"A-B {point}", "offset", value, part="row", row=row, line="A-B", back=back), point, "A", "B", side
    )


def oblique(point: str, value: float, side: int, row: int) -> Oblique:
    one = booking(f"A-B {point}", "oblique", value, part="row", row=row, line="A-B")
    return Oblique(one, point, "A", "B", 20.0, 60.0, side)


def network_of(ones: Sequence[Observation], more: Sequence[str] = (), held: Sequence[int] = (0, 1, 3)) -> Network:
    """Return a network of four stations of which A and the direction of A-B are held, and of other points."""
    names = (*AT, *more)
    at = np.array([AT.get(name, (10.0, 5.0)) for name in names])
    return build_network(names, len(AT), ones, {"steel": 0.0002}, at, held=held)


def situation(ones: Sequence[Observation], more: Sequence[str] = (), hints: Hints | None = None, **told) -> Situation:
    network = network_of(ones, more)
    return Situation(network, hints or Hints({}, {}, dict), (network.begin,), **told)


def lines_of(rows=(), dimensions=None, **changed: float) -> list[Observation]:
    """Return the observations of two triangles with a check line, some lines otherwise, and rows on them."""
    lines = KITE | {"C-D": ("check", 72.18)}
    lines |= {name.replace("_", "-"): (lines[name.replace("_", "-")][0], value) for name, value in changed.items()}
    book, reduction = measure(lines, sides=KITE_SIDES, rows=rows, dimensions=dimensions)
    return list(observations(book, reduction, LOCAL, {*AT, *(row[0] for row in rows)}))


def undone(one: Hypothesis, ones: Sequence[Observation], amounts: Sequence[float] = ()) -> list[Observation]:
    """Return the observations as they are if a hypothesis is right."""
    booked = list(ones)
    variant = one.variant
    for number, instead in variant.instead.items():
        booked[number] = instead
    for change, amount in zip(variant.amounts, variant.fixed or amounts, strict=True):
        for number, rate in change.items():
            booked[number] = changed_by(booked[number], rate, amount)
    return booked


def by_label(ones: Sequence[Observation]) -> dict[str, float]:
    return {one.booking.label: one.booking.value for one in ones}


# -- the survey ------------------------------------------------------------------------------------------------------


def test_the_redundant_measurements_are_those_beyond_the_unknowns():
    # Six lines and what is known of the tape; five coordinates and the tape's scale.
    assert situation(lines_of()).freedom == 1
    # A tie station adds two unknowns, its chainage and its place in the line; a bearing adds itself.
    pegged = [*lines_of(rows=[("T", "A-B", 20.0, "station")]), bearing("A", "B", 0.0)]
    assert situation(pegged, ("T",)).freedom == 2


@pytest.mark.parametrize(
    ("c", "d", "sided"), [(37.0, -34.0, True), (-0.09, -34.0, True), (-0.11, -34.0, False), (37.0, 0.11, False)]
)
def test_a_point_lies_on_its_booked_side_or_within_a_decimetre_of_the_line(c, d, sided):
    hints = Hints(
        {"C": Side(Pair("A", "B", WHERE), True), "D": Side(Pair("B", "A", WHERE), True)}, {}, dict
    )  # D left of B-A lies right of A-B
    of = situation(lines_of(), hints=hints)
    parameters = of.begins[0].copy()
    parameters[[5, 7]] = c, d
    assert of.on_booked_sides(parameters) == sided


def test_a_point_that_is_taken_to_lie_on_the_other_side_must_lie_there():
    of = situation(lines_of(), hints=Hints({"C": Side(Pair("A", "B", WHERE), True)}, {}, dict))
    there = of.begins[0].copy()
    there[5] *= -1
    assert (of.on_booked_sides(of.begins[0]), of.on_booked_sides(of.begins[0], (2,))) == (True, False)
    assert (of.on_booked_sides(there), of.on_booked_sides(there, (2,))) == (False, True)


def test_an_oblique_row_tells_a_side_once_and_what_is_held_or_not_solved_has_none():
    ones = [*lines_of(), oblique("t", 22.0, -1, 0), oblique("t", 21.0, -1, 0), oblique("u", 22.0, 0, 1)]
    hints = Hints({name: Side(Pair("C", "D", WHERE), True) for name in ("A", "B", "elsewhere")}, {}, dict)
    assert situation(ones, ("t", "u"), hints).sides == ((1, 2, 3, True), (4, 0, 1, False))


def test_what_nobody_reads_is_no_reading_and_rows_are_known_by_their_line():
    ones = [*lines_of(rows=[("T", "A-B", 20.0, "station")]), square("ABC", 1.0), offset("t", 3.0, 1, 7)]
    of = situation(ones, ("T", "t"))
    kinds = [type(one) for one in ones]
    assert {kinds[n] for n in range(len(ones)) if n not in of.readings} == {Ranging, Square}
    assert [ones[n].booking.label for n in of.lengths] == ["A-B", "A-C", "C-B", "A-D", "D-B", "C-D"]
    assert {line: len(numbers) for line, numbers in of.on_line.items()} == {"A-B": 3}


# -- lines and their rows --------------------------------------------------------------------------------------------


def test_two_lines_exchanged_are_put_back():
    right = by_label(lines_of())
    of = situation(lines_of(A_C=right["C-B"], C_B=right["A-C"]))
    found = list(hypotheses.lines_exchanged(of))
    assert [one.numbers for one in found] == list(combinations(range(6), 2))
    assert hypotheses.pairs_of_lines(of) == 15
    assert [one.numbers for one in found if by_label(undone(one, of.observations)) == pytest.approx(right)] == [(1, 2)]


def test_of_many_lines_those_are_looked_at_that_would_fit_best_exchanged(monkeypatch):
    right = by_label(lines_of())
    of = situation(lines_of(A_C=right["C-B"], C_B=right["A-C"]))
    monkeypatch.setattr(hypotheses, "MOST_PAIRS", 15)
    assert len(list(hypotheses.lines_exchanged(of))) == 15
    monkeypatch.setattr(hypotheses, "MOST_PAIRS", 14)
    found = [one.numbers for one in hypotheses.lines_exchanged(of)]
    assert (len(found), found[0]) == (14, (1, 2))

    # How much worse a pair fits, by hand: a misclosure v counts ln(1 + (v / 3 σ)²).
    at = [dist(AT[one.start], AT[one.end]) for one in of.observations]
    booked = [one.booking.value for one in of.observations]

    def misfit(i: int, j: int) -> float:
        def cost(n: int, value: float) -> float:
            return float(np.log1p(((value - at[n]) / (3 * of.observations[n].booking.sd)) ** 2))

        return cost(i, booked[j]) + cost(j, booked[i]) - cost(i, booked[i]) - cost(j, booked[j])

    assert found == sorted(combinations(range(6), 2), key=lambda two: misfit(*two))[:14]


def test_chainages_begun_a_metre_late_are_all_put_back_by_one_amount():
    right = lines_of(rows=[("s", "A-B", 12.0, 3.0), ("t", "A-B", 30.0, 4.0), ("u", "A-C", 9.0, 2.0)])
    wrong = lines_of(rows=[("s", "A-B", 13.0, 3.0), ("t", "A-B", 31.0, 4.0), ("u", "A-C", 9.0, 2.0)])
    of = situation(wrong, ("s", "t", "u"))
    (found,) = hypotheses.chainages_begun_wrong(of)  # one row alone is a chainage misread
    assert [one.booking.value for one in undone(found, wrong, [-1.0])] == [one.booking.value for one in right]
    assert {type(wrong[n]) for n in found.numbers} == {Chainage}


def test_a_line_booked_backwards_counts_from_its_other_end():
    ones = lines_of(rows=[("s", "A-B", 12.0, 3.0), ("t", "A-B", 30.0, 4.0), ("u", "A-C", 9.0, 2.0)])
    (found,) = hypotheses.lines_backwards(situation(ones, ("s", "t", "u")))
    turned = undone(found, ones)
    assert {ones[n].booking.line for n in found.numbers} == {"A-B"}
    assert {(turned[n].start, turned[n].end) for n in found.numbers} == {("B", "A")}
    assert all(turned[n] == ones[n] for n in range(len(ones)) if n not in found.numbers)


def test_a_peg_out_of_line_moves_in_its_line_and_nothing_else():
    ones = lines_of(rows=[("T", "A-B", 20.0, "station")])
    (found,) = hypotheses.pegs_astray(situation(ones, ("T",)))
    moved = undone(found, ones, [0.4])
    changed = [n for n in range(len(ones)) if moved[n] != ones[n]]
    assert [type(ones[n]) for n in changed] == [Ranging]
    assert moved[changed[0]].booking.value == pytest.approx(0.4)


@pytest.mark.parametrize(("share", "found"), [(0.0199, True), (-0.0199, True), (0.0201, False), (-0.0201, False)])
def test_a_line_may_lead_to_a_station_that_is_as_far_within_a_fiftieth_of_it(share, found):
    # Without it, A-C would be as long as A-E, which nobody taped; its rows go with it.
    ones = lines_of(rows=[("u", "A-C", 9.0, 2.0)])
    names = ("A", "B", "C", "D", "E", "u")
    reach = 50.0 * (1 + share)
    at = np.array([*AT.values(), (reach * 0.6, reach * 0.8), (5.0, 5.0)])
    network = build_network(names, 5, ones, {"steel": 0.0002}, at, held=(0, 1, 3))
    of = Situation(network, Hints({}, {}, dict), (network.begin,), {1: at})
    told = list(hypotheses.lines_to_other_stations(of))
    assert [one.words for one in told] == (["C booked for E"] if found else [])
    assert hypotheses.other_stations_of_lines(of) == 2 * 6 * 3
    if found:
        assert {network.observations[n].booking.label for n in told[0].variant.instead} == {
            "A-C", *(one.booking.label for one in ones if one.booking.line == "A-C")
        }  # fmt: skip
        assert {"E"} == {name for one in told[0].variant.instead.values() for name in one.points} - {"A", "u"}


def test_a_line_leads_to_no_station_that_another_line_joins_already():
    # D is as far from A as C is, but A-D is taped as well.
    of = replace(situation(lines_of()), places_without={1: np.array([(0, 0), (60, 0), (30, 40), (30, -40)], float)})
    assert list(hypotheses.lines_to_other_stations(of)) == []


def test_lengths_on_the_ground_are_compared_with_those_of_the_frame_by_its_scale():
    at = np.array([*AT.values(), (30.0 * 0.9, 40.0 * 0.9)])
    network = build_network((*AT, "E"), 5, lines_of(), {"steel": 0.0002}, at, scale=0.9, held=(0, 1, 3))
    of = Situation(network, Hints({}, {}, dict), (network.begin,), {1: at})
    assert [one.words for one in hypotheses.lines_to_other_stations(of)] == ["C booked for E"]


def test_a_tape_wrong_is_wrong_in_all_that_it_read():
    ones = [*lines_of(), bearing("A", "B", 0.0)]
    (found,) = hypotheses.tapes_wrong(situation(ones))
    assert found.numbers == tuple(range(6))
    assert found.variant == Variant(loose_tape=0)
    assert found.words == "the length of tape steel wrong"
    assert list(hypotheses.tapes_wrong(situation([bearing("A", "B", 0.0)]))) == []


# -- bearings and control --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("booked", "meant"), [(0.5, 0.5 + pi), (4.0, 4.0 - pi)])
def test_a_bearing_read_from_the_other_end_is_turned_half_round(booked, meant):
    (found,) = hypotheses.bearings_turned(situation([*lines_of(), bearing("A", "C", booked)]))
    assert found.variant.instead[6].booking.value == pytest.approx(meant)


def test_a_bearing_may_be_of_any_other_line_either_way():
    ones = [*lines_of(), bearing("A", "C", 0.5)]
    found = list(hypotheses.bearings_of_other_lines(situation(ones)))
    ways = {(one.variant.instead[6].start, one.variant.instead[6].end) for one in found}
    others = [one.points for one in lines_of() if one.points != ("A", "C")]
    assert ways == {*others, *((end, start) for start, end in others)}
    assert len(found) == 10
    assert {one.words for one in found} == {f"the bearing of {start}-{end}" for start, end in ways}


def test_a_needle_drawn_aside_turns_all_bearings_of_its_station_by_one_amount():
    right = [bearing("A", "B", 0.0), bearing("A", "C", 0.7), bearing("B", "A", pi), bearing("B", "C", 5.0)]
    right.append(bearing("C", "A", 4.0))  # one bearing alone is a bearing misread
    at_a, at_b = ([with_value(one, one.booking.value + 0.1 * (one.start == name)) for one in right] for name in "AB")
    one, other = hypotheses.needle_attracted(situation(at_a))
    assert (one.words, other.words) == ("local attraction at A", "local attraction at B")
    assert by_label(undone(one, at_a, [-0.1])) == pytest.approx(by_label(right))
    assert by_label(undone(other, at_b, [-0.1])) == pytest.approx(by_label(right))
    (both,) = hypotheses.local_attraction_twice(situation(right))
    turned = [with_value(one, one.booking.value + {"A": 0.1, "B": -0.2}.get(one.start, 0.0)) for one in right]
    assert by_label(undone(both, turned, [-0.1, 0.2])) == pytest.approx(by_label(right))
    assert both.words == "local attraction at A and at B"
    assert both.numbers == (0, 1, 2, 3)


def test_two_control_points_exchanged_are_put_back():
    right = [*known("A", 1.0, 2.0), *known("B", 3.0, 4.0), *known("C", 5.0, 6.0)]
    wrong = [*known("B", 1.0, 2.0), *known("A", 3.0, 4.0), *known("C", 5.0, 6.0)]
    found = [undone(one, wrong) for one in hypotheses.control_exchanged(situation(wrong))]
    told = [{(one.station, one.along, one.booking.value) for one in ones} for ones in found]
    assert [{(one.station, one.along, one.booking.value) for one in right} == one for one in told] == [1, 0, 0]


def test_both_coordinates_of_a_control_point_may_be_wrong():
    ones = [*known("A", 1.0, 2.0), *known("B", 3.0, 4.0)]
    first, second = hypotheses.control_points_wrong(situation(ones))
    assert [one.booking.value for one in undone(first, ones, [0.5, -0.5])] == [1.5, 1.5, 3.0, 4.0]
    assert [one.booking.value for one in undone(second, ones, [0.5, -0.5])] == [1.0, 2.0, 3.5, 3.5]


# -- buildings and sides ---------------------------------------------------------------------------------------------

BARN = [square("hkm", 1.0), square("kmn", 1.0), wall("k", "m", 5.0), wall("m", "n", 8.0)]


def test_a_building_on_the_other_side_turns_every_corner_the_other_way():
    ones = [*lines_of(), *BARN, square("ABC", -1.0, "shed")]
    barn, shed = hypotheses.buildings_on_other_side(situation(ones, "hkmn"))
    turned = undone(barn, ones)
    assert [one.booking.value for one in turned if isinstance(one, Square)] == pytest.approx([-pi / 2] * 3)
    assert [n for n in range(len(ones)) if turned[n] != ones[n]] == [6, 7]
    index = {name: n for n, name in enumerate((*AT, *"hkmn"))}
    assert barn.reflected == tuple(index[name] for name in "hkmn")  # the ends of the edge first
    assert (barn.words, shed.words) == ("left booked for right", "right booked for left")


def test_a_building_that_says_no_right_angle_has_no_side():
    assert list(hypotheses.buildings_on_other_side(situation([*lines_of(), wall("k", "m", 5.0)], "km"))) == []


def test_two_corners_in_the_wrong_order_are_put_back():
    def booked(walls):
        return {(type(one), *one.points) for one in walls}

    right = [*BARN[:2], wall("k", "m", 5.0), wall("m", "n", 8.0)]
    ones = [square("hkn", 1.0), square("knm", 1.0), wall("k", "n", 5.0), wall("n", "m", 8.0)]
    found = list(hypotheses.corners_exchanged(situation([*lines_of(), *ones], "hkmn")))
    assert [one.words for one in found] == ["n and m exchanged"]  # the ends of its edge have rows of their own
    assert booked(undone(found[0], [*lines_of(), *ones])[6:]) == booked(right)
    assert {*found[0].exchanged} == {6, 7}


@pytest.mark.parametrize(
    ("side", "back", "words"),
    [
        (1, False, "left booked for right"),
        (-1, False, "right booked for left"),
        (1, True, "right booked for left"),  # as seen walking from the end
        (-1, True, "left booked for right"),
    ],
)
def test_an_offset_on_the_other_side_is_told_as_it_was_seen(side, back, words):
    ones = [*lines_of(), offset("t", 3.0, side, 0, back=back)]
    (found,) = hypotheses.rows_on_other_side(situation(ones, ("t",)))
    assert (found.variant.instead[6].side, found.words) == (-side, words)


def test_an_oblique_row_on_the_other_side_is_one_hypothesis_of_all_its_arms():
    ones = [*lines_of(), oblique("t", 22.0, -1, 4), oblique("t", 21.0, -1, 4), oblique("u", 22.0, 0, 5)]
    (found,) = hypotheses.rows_on_other_side(situation(ones, ("t", "u")))
    assert (found.numbers, found.mirrored, found.words) == ((6, 7), (4,), "right booked for left")


def test_a_station_on_the_other_side_is_mirrored():
    sides = {"C": Side(Pair("A", "B", WHERE), True), "D": Side(Pair("A", "B", WHERE), False)}
    of = situation(lines_of(), hints=Hints(sides | {"elsewhere": sides["C"]}, {}, dict))
    found = [(one.mirrored, one.words) for one in hypotheses.stations_on_other_side(of)]
    assert found == [((2,), "left booked for right"), ((3,), "right booked for left")]


def test_a_row_of_another_point_says_nothing_of_this_one():
    ones = lines_of(rows=[("t", "A-B", 30.0, 4.0)], dimensions={"t-C": 33.0})
    alone = [*ones, oblique("u", 22.0, 1, 9)]
    (found,) = hypotheses.rows_of_other_points(situation(alone, ("t", "u")))
    assert {alone[n].booking.part for n in found.numbers} == {"row"}
    assert [type(alone[n]) for n in found.numbers] == [Chainage, Offset]
    assert [n for change in found.variant.amounts for n in change] == list(found.numbers)
    assert found.words == "the name t used for two points"


# -- how likely each is ----------------------------------------------------------------------------------------------


def test_those_of_one_kind_share_what_their_kind_has():
    sides = {"C": Side(Pair("A", "B", WHERE), True)}
    ones = [*lines_of(), bearing("A", "B", 0.0), bearing("A", "C", 0.7), *known("A", 0.0, 0.0), *known("B", 60.0, 0.0)]
    of = situation(ones, hints=Hints(sides, {}, dict))
    shares: dict[str, float] = {}
    for one in every_hypothesis(of):
        shares[one.kind] = shares.get(one.kind, 0.0) + float(np.exp(one.log_prior))
    expected = {kind: HYPOTHESES[kind].share for kind in shares}
    assert shares == pytest.approx(expected)
    assert {"lines-exchanged", "bearing-turned", "control-exchanged", "tape-length", "station-side"} <= shares.keys()


def test_lines_that_are_not_as_far_take_their_part_too():
    at = np.array([*AT.values(), (30.0, 40.0)])
    network = build_network((*AT, "E"), 5, lines_of(), {"steel": 0.0002}, at, held=(0, 1, 3))
    of = Situation(network, Hints({}, {}, dict), (network.begin,), {1: at})
    (one,) = (one for one in every_hypothesis(of) if one.kind == "other-station")
    assert np.exp(one.log_prior) == pytest.approx(HYPOTHESES["other-station"].share / (2 * 6 * 3))
