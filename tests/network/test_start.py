"""What the start settles, what it refuses, and what it says then."""

from dataclasses import replace
from itertools import combinations
from math import dist, hypot, sqrt

import numpy as np
import pytest
from builders.records import LOCAL, apart, ground, measure
from builders.solved import feature

from pegline.book.model import Rectangle
from pegline.errors import BookError, Place
from pegline.frame.model import Frame, FrameBearing, FrameControl
from pegline.measures.distance import Wall
from pegline.measures.values import Pair
from pegline.network.adjust import adjust, hints
from pegline.network.arc_intersection import ArcAboutStation
from pegline.network.growing_figure import Figure
from pegline.network.observation_types import Chainage, Distance, Ranging
from pegline.network.observations import observations
from pegline.network.start import (
    Gap,
    Hints,
    _by_further_lines,
    _place_by_arcs,
    _prolong,
    _sketch_placement,
    start_figure,
)

MILLIMETRE = 1e-3
AT = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (20.0, 30.0), "D": (30.0, -28.0), "E": (70.0, 25.0)}


def lines(*told: str, at=AT):
    """Return ``A-B base`` and the like with their true lengths."""
    uses = dict(one.split(" ") for one in told)
    return {name: (use, length) for (name, use), length in zip(uses.items(), apart(at, *uses).values(), strict=True)}


def findings(book, reduction, frame=LOCAL):
    with pytest.raises(BookError) as error:
        adjust(book, reduction, frame)
    return {finding.rule: finding for finding in error.value.findings}


def placed_stations(book, reduction, frame=LOCAL):
    solution = adjust(book, reduction, frame).solution
    return {name: tuple(solution.position(name)) for name in solution.names}


def close(one, other, far=MILLIMETRE):
    return dist(one, other) < far


TRIANGLE = ("A-B base", "A-C side", "B-C side")


def test_a_side_that_nothing_settles_is_an_error_naming_all_concerned():
    figure = (*TRIANGLE, "A-D side", "B-D side")
    told = findings(*measure(lines(*figure), sides={"C": "left A-B"}))
    assert set(told) == {"side-unsettled"}
    assert all(name in told["side-unsettled"].text for name in "ABD")


@pytest.mark.parametrize("further", [(), ("E-F side",), ("E-F side", "A-F check")])
def test_a_part_that_hangs_on_two_stations_may_lie_mirrored_however_well_it_is_braced(further):
    # D, E and F hang on C and B; that E and F have their sides within the part says nothing of D's.
    at = {**AT, "D": (75.0, 45.0), "E": (95.0, 20.0), "F": (50.0, 80.0)}
    part = ("B-D side", "C-D side", "B-E side", "D-E side", "C-F side", "D-F side")
    sides = {"C": "left A-B", "E": "right B-D", "F": "left C-D"}
    told = findings(*measure(lines(*TRIANGLE, *part, *further, at=at), sides=sides))
    assert set(told) == {"side-unsettled"}
    assert all(name in told["side-unsettled"].text for name in "BCD")


@pytest.mark.parametrize(
    ("sides", "sketches"),
    [
        ({"C": "left A-B", "D": "right A-B"}, None),
        ({"C": "right B-A", "D": "left B-A"}, None),
        (None, {"A": (0, 0), "B": (9, 0), "C": (4, 5), "D": (5, -4)}),
        (None, {"A": (0, 0), "B": (0, 3), "C": (-2, 1), "D": (1.5, 2)}),  # the sketch turned a quarter to the left
        ({"C": "left A-B"}, {"C": (4, 5), "A": (0, 0), "D": (5, -4)}),  # B not drawn: the sketch as a whole
    ],
)
def test_sides_and_sketches_settle(sides, sketches):
    at = placed_stations(*measure(lines(*TRIANGLE, "A-D side", "B-D side"), sides=sides, sketches=sketches))
    assert all(close(at[name], AT[name]) for name in "ABCD")


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_side_settles_a_figure_smaller_than_a_metre(side):
    at = {name: (x / 80, y / 80) for name, (x, y) in AT.items()}
    at["D"] = (at["D"][0], at["D"][1] * (1 if side == "right" else -1))
    figure = lines(*TRIANGLE, "A-D side", "B-D side", at=at)
    placed = placed_stations(*measure(figure, sides={"C": "left A-B", "D": f"{side} A-B"}))

    assert all(close(placed[name], at[name]) for name in "ABCD")


@pytest.mark.parametrize("flip", [1, -1])
def test_a_sketch_as_a_whole_settles_a_station_whose_centres_are_not_both_drawn(flip):
    # D, cut flatter than C, comes after it; B is not drawn, and the sketch lies on A and C, turned a quarter.
    at = {**AT, "D": (45.0, -10.0)}
    figure = lines(*TRIANGLE, "A-D side", "B-D side", at=at)
    sketches = {name: (-flip * at[name][1] if name == "D" else -at[name][1], at[name][0]) for name in "ACD"}
    placed = placed_stations(*measure(figure, sides={"C": "left A-B"}, sketches=sketches))
    assert close(placed["D"], (45.0, -10.0 * flip))


def test_a_sketch_with_everything_at_one_place_settles_nothing():
    nowhere = dict.fromkeys("ABCD", (5.0, 5.0))
    told = findings(*measure(lines(*TRIANGLE, "A-D side", "B-D side"), sides={"C": "left A-B"}, sketches=nowhere))
    assert "D" in told["side-unsettled"].text


def test_a_further_line_settles_a_side():
    at = placed_stations(*measure(lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie"), sides={"C": "left A-B"}))
    assert close(at["D"], AT["D"])


def test_a_check_line_settles_nothing():
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-D check")
    assert "side-unsettled" in findings(*measure(figure, sides={"C": "left A-B"}))


def test_a_further_line_that_fits_both_images_settles_nothing():
    # E lies on the line A-B prolonged, so the mirror image of D is as far from it.
    at = {**AT, "E": (80.0, 0.0)}
    figure = lines(
        "A-B base", "A-C side", "B-C side", "A-D side", "B-D side", "C-E side", "B-E side", "D-E side", at=at
    )
    told = findings(*measure(figure, sides={"C": "left A-B", "E": "left C-B"}))
    assert "D" in told["side-unsettled"].text


def test_a_station_is_settled_by_a_line_to_one_placed_later():
    # D can be cut at once but its side is told only by the line to E, which needs C first.
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-E side", "B-E side", "D-E tie")
    at = placed_stations(*measure(figure, sides={"C": "left A-B", "E": "left C-B"}))
    assert all(close(at[name], AT[name]) for name in "DE")


def test_a_figure_that_could_be_mirrored_as_a_whole_is_an_error():
    told = findings(*measure(lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie")))
    assert set(told) == {"mirrored"}
    assert told["mirrored"].text.endswith("base line D and C lie; add 'left_of' or 'right_of' to one of them")
    (alone,) = findings(*measure(lines(*TRIANGLE))).values()
    assert alone.text.endswith("base line C lies; add 'left_of' or 'right_of' to its entry")


def test_a_side_told_of_a_later_station_turns_the_whole_figure():
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie")
    for side, flip in (("right A-B", 1), ("left A-B", -1)):
        at = placed_stations(*measure(figure, sides={"D": side}))
        assert all(close(at[name], (AT[name][0], flip * AT[name][1])) for name in "CD")


@pytest.mark.parametrize(("side", "flip"), [("right A-C", 1), ("left A-C", -1)])
def test_a_side_told_of_a_line_that_is_placed_later_turns_the_whole_figure(side, flip):
    # The side of D speaks of C, which stands on a hand that was guessed when D can be told which side it is on.
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie")
    at = placed_stations(*measure(figure, sides={"D": side}))
    assert all(close(at[name], (AT[name][0], flip * AT[name][1])) for name in "CD")


@pytest.mark.parametrize(("side", "other", "flip"), [("right A-C", "left A-C", 1), ("left A-C", "right A-C", -1)])
def test_a_station_that_waits_for_the_hand_is_placed_once_that_is_told(side, other, flip):
    # E is booked by its side of A-C too: until D tells the hand nothing can be said of it.
    at = {**AT, "E": (5.0, 28.0)}
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie", "A-E side", "B-E side", at=at)
    placed = placed_stations(*measure(figure, sides={"D": side, "E": other}))
    assert all(close(placed[name], (at[name][0], flip * at[name][1])) for name in "CDE")


@pytest.mark.parametrize("small", [10, 1000])  # a sketch may have any measure
@pytest.mark.parametrize("flip", [1, -1])
def test_a_sketch_of_later_stations_turns_the_whole_figure(flip, small):
    # A is not drawn, so that the sketch says nothing of C; of E it does, whose lines are from B and C.
    figure = lines(*TRIANGLE, "B-E side", "C-E side", "A-E tie")
    sketches = {name: (AT[name][0] / small, flip * AT[name][1] / small) for name in "BCE"}
    at = placed_stations(*measure(figure, sketches=sketches))
    assert all(close(at[name], (AT[name][0], flip * AT[name][1])) for name in "CE")


@pytest.mark.parametrize("flip", [1, -1])
def test_two_bearings_tell_a_figure_from_its_mirror_image(flip):
    book, reduction = measure(lines(*TRIANGLE))
    place = book.lines["A-B"].place
    true = {name: (x, flip * y) for name, (x, y) in AT.items()}
    bearings = [
        FrameBearing(a, b, float(np.arctan2(true[b][0] - true[a][0], true[b][1] - true[a][1])), 0.01, 0.0, place)
        for a, b in (("A", "B"), ("A", "C"))
    ]
    at = placed_stations(book, reduction, Frame("north", "true", "", "n", bearings=tuple(bearings)))
    assert close(at["C"], true["C"])


def test_the_two_bearings_of_one_line_do_not():
    book, reduction = measure(lines(*TRIANGLE))
    place = book.lines["A-B"].place
    bearings = tuple(FrameBearing(a, b, turn, 0.01, 0.0, place) for a, b, turn in (("A", "B", 1.5), ("B", "A", 4.65)))
    assert "mirrored" in findings(book, reduction, Frame("north", "true", "", "n", bearings=bearings))


def test_three_control_points_tell_a_figure_from_its_mirror_image():
    book, reduction = measure(lines(*TRIANGLE))
    control = tuple(FrameControl(name, *AT[name], 0.05, book.lines["A-B"].place) for name in "ABC")
    at = placed_stations(book, reduction, Frame("grid", "grid", "", "a grid", control=control))
    assert close(at["C"], AT["C"])


def test_a_half_finished_book_without_its_bearing_lies_along_its_base():
    book, reduction = measure(lines(*TRIANGLE, "A-D side"), sides={"C": "left A-B"})
    bearing = FrameBearing("A", "D", 1.0, 0.01, 1.0, book.lines["A-B"].place)
    frame = Frame("north", "true", "", "n", bearings=(bearing,))
    adjustment = adjust(book, reduction, frame, allow_missing=True)
    assert close(adjustment.solution.position("C"), AT["C"])


def test_a_station_held_by_one_line_can_swing():
    told = findings(*measure(lines(*TRIANGLE, "A-D side"), sides={"C": "left A-B"}))
    assert (
        told["too-few-lines"].text == "station D is on one line only (A-D); tape one more to it, or is the name wrong?"
    )


def test_a_station_at_the_dead_end_of_another_that_waits_for_it_is_the_one_told():
    # E has a line to the figure and one to D; D has no other: one more line to D would hold neither, one to it both.
    told = findings(*measure(lines(*TRIANGLE, "A-E side", "D-E side"), sides={"C": "left A-B"}))
    assert set(told) == {"too-few-lines"}
    assert told["too-few-lines"].text.startswith("station D is on one line only (D-E), and E waits for it")
    assert told["too-few-lines"].data == ("D", "E")


def test_arcs_to_a_point_that_do_not_meet_carry_the_gap():
    arcs = [("p", {"A": 20.0, "B": 29.0}, "left A-B")]
    told = findings(*measure(lines(*TRIANGLE), sides={"C": "left A-B"}, arcs=arcs))
    assert set(told) == {"arcs-do-not-meet"}
    assert told["arcs-do-not-meet"].data.gap == pytest.approx(1.0)
    assert "the arcs to p do not meet" in told["arcs-do-not-meet"].text


def test_a_sketch_does_not_place_a_station_whose_arcs_do_not_meet():
    figure = {**lines(*TRIANGLE, "A-D side", "B-D side"), "A-C": ("side", 20.0), "B-C": ("side", 29.0)}
    assert set(findings(*measure(figure, sketches=AT))) == {"arcs-do-not-meet"}


def test_arcs_that_do_not_meet_carry_the_gap():
    figure = lines(*TRIANGLE)
    figure["A-C"], figure["B-C"] = ("side", 20.0), ("side", 29.0)
    told = findings(*measure(figure, sides={"C": "left A-B"}))["arcs-do-not-meet"]
    assert isinstance(told.data, Gap)
    assert told.data.gap == pytest.approx(1.0)
    assert {one.booking.label for one in told.data.observations} == {"A-B", "A-C", "B-C"}
    assert "short by 1.000 m" in told.text


def test_an_arc_that_is_too_long_is_told():
    figure = lines(*TRIANGLE)
    figure["A-C"] = ("side", 95.0)
    told = findings(*measure(figure, sides={"C": "left A-B"}))["arcs-do-not-meet"]
    assert told.data.gap == pytest.approx(95 - 50 - dist(AT["B"], AT["C"]))


def test_stations_that_no_line_joins_to_the_base_are_told_together():
    at = {**AT, "X": (200.0, 0.0), "Y": (250.0, 0.0), "Z": (220.0, 40.0)}
    figure = lines(*TRIANGLE, "X-Y side", "X-Z side", "Y-Z side", at=at)
    told = findings(*measure(figure, sides={"C": "left A-B", "Z": "left X-Y"}))
    assert all(name in told["disconnected"].text for name in "XYZ")


def test_all_that_is_wrong_is_told_together():
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-E side")
    assert set(findings(*measure(figure, sides={"C": "left A-B"}))) == {"side-unsettled", "too-few-lines"}


def test_stations_that_hold_one_another_start_from_the_sketch():
    # No triangle: D, E, F are held by lines to A, B, C crosswise (six lines, six unknowns).
    at = {
        "A": (0.0, 0.0),
        "B": (60.0, 0.0),
        "C": (25.0, 50.0),
        "D": (90.0, 40.0),
        "E": (-20.0, 45.0),
        "F": (30.0, -35.0),
    }
    figure = lines(*TRIANGLE, "A-D side", "D-E side", "B-E side", "E-F side", "C-F side", "D-F side", at=at)
    told = findings(*measure(figure, sides={"C": "left A-B"}))
    assert "sketch" in told["cannot-start"].text
    sketch = {name: (x + 3 * (n % 2), y - 2 * (n % 3)) for n, (name, (x, y)) in enumerate(at.items())}
    placed = placed_stations(*measure(figure, sketches=sketch))
    assert all(close(placed[name], at[name]) for name in at)


def test_a_tie_station_stands_in_proportion_and_lines_can_start_from_it():
    at = {**AT, "T": (20.0, 0.0)}
    figure = lines("A-B base", "T-C side", "B-C side", at=at)
    placed = placed_stations(*measure(figure, sides={"C": "left A-B"}, rows=[("T", "A-B", 20.0, "station")]))
    assert close(placed["T"], at["T"])
    assert close(placed["C"], at["C"])


def test_the_far_end_of_a_prolonged_line_is_found():
    # F lies on A-C prolonged: the line A-F passes C, which stands on it at its chainage.
    at = {**AT, "F": (30.0, 45.0)}
    figure = lines(*TRIANGLE, "A-F side", at=at)
    placed = placed_stations(
        *measure(figure, sides={"C": "left A-B"}, rows=[("C", "A-F", dist(AT["A"], AT["C"]), "station")])
    )
    assert close(placed["F"], at["F"])


def test_a_far_end_is_found_by_the_tie_station_that_is_placed_and_places_the_other():
    # Of the two that stand on A-F only C is placed; G, booked before it, follows once F is found.
    at = {**AT, "F": (30.0, 45.0), "G": (10.0, 15.0)}
    rows = [(name, "A-F", dist(at["A"], at[name]), "station") for name in "GC"]
    placed = placed_stations(*measure(lines(*TRIANGLE, "A-F side", at=at), sides={"C": "left A-B"}, rows=rows))
    assert all(close(placed[name], at[name]) for name in "FG")


def test_a_check_line_through_a_tie_station_places_no_far_end():
    at = {**AT, "F": (30.0, 45.0)}
    rows = [("C", "A-F", dist(at["A"], at["C"]), "station")]
    told = findings(*measure(lines(*TRIANGLE, "A-F check", at=at), sides={"C": "left A-B"}, rows=rows))
    assert "F" in told["cannot-start"].text


def test_half_a_book_is_solved_as_far_as_it_goes():
    book, reduction = measure(lines(*TRIANGLE, "A-D side"), sides={"C": "left A-B"})
    adjustment = adjust(book, reduction, LOCAL, allow_missing=True)
    assert adjustment.missing == ("D",)
    assert close(adjustment.solution.position("C"), AT["C"])
    assert [finding.rule for finding in adjustment.warnings] == ["too-few-lines"]


def house(*rows):
    """Return a triangle and a house of 10 by 4 on the edge h1-h2, its depth taped and its corners booked as told."""
    here = Place("made.yaml", 20, 1)
    rectangle = Rectangle(Pair("h1", "h2", here), True, Wall(True, (), here), ("far", "near"))
    features = {"house": feature("house", "building", rectangle)}
    booked = [("h1", "A-B", 10.0, 5.0), *rows]
    book, reduction = measure(lines(*TRIANGLE), sides={"C": "left A-B"}, rows=booked, features=features)
    return book, replace(reduction, walls={"house": (ground(4.0),)})


def test_a_corner_booked_on_the_wrong_side_fails_its_row_and_leaves_no_other_corner_without_a_place():
    # The house lies left of A-B, and left of its edge; far is booked 9 to the right of A-B, not to the left.
    found = adjust(*house(("h2", "A-B", 20.0, 5.0), ("far", "A-B", 20.0, -9.0)), LOCAL)

    assert found.missing == ()
    assert close(found.solution.position("near"), (10.0, 9.0), far=0.05)
    assert [check.booking.place.line for check in found.checks if not check.passed] == [102]  # that of far


def test_a_house_with_one_end_of_its_edge_booked_has_no_place():
    assert adjust(*house(), LOCAL, allow_missing=True).missing == ("h2", "far", "near")


def test_a_point_of_two_arcs_without_a_side_is_an_error():
    told = findings(*measure(lines(*TRIANGLE), sides={"C": "left A-B"}, arcs=[("p", {"A": 20.0, "B": 40.0}, None)]))
    assert "p" in told["point-unfixed"].text


def test_a_booked_side_that_the_lines_contradict_is_an_error():
    # Both places where the arcs to D meet are right of C-B; it is booked left.
    at = {**AT, "D": (25.0, -6.0)}
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie", at=at)
    told = findings(*measure(figure, sides={"C": "left A-B", "D": "left C-B"}))
    assert told["wrong-side"].text.startswith("D is booked left of C-B")


@pytest.mark.parametrize(("across", "refused"), [(0.03, False), (0.09, False), (0.12, True)])
def test_a_booked_side_of_a_line_in_which_the_station_all_but_stands_is_no_error(across, refused):
    # D stands in C-B but for a hand's breadth to the right: who looks along the line may well book it left of it.
    at = {**AT, "D": (35.0 - across / sqrt(2), 15.0 - across / sqrt(2))}
    booked = measure(
        lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie", at=at), sides={"C": "left A-B", "D": "left C-B"}
    )
    if refused:
        assert set(findings(*booked)) == {"wrong-side"}
    else:
        assert close(placed_stations(*booked)["D"], at["D"])


# --- how far a mirror image must misfit ----------------------------------------------------------------------------


def settled_by_a_further_line(bad, good):
    """Return which of D's images a line to C settles, whose misfits are so many standard deviations.

    Two arcs of 5 mm cut at D at a sine of 0.6, from places known to 10 and 20 mm; the line to C has 5 mm and C is
    known to 40 mm. By the rule that this is held against, what two arcs make of their deviations is divided by the
    sine: σ² = 5² + 40² + 10² + 20² + (5² + 5²) / 0.6², in millimetres.
    """
    sigma = sqrt(5**2 + 40**2 + 10**2 + 20**2 + (5**2 + 5**2) / 0.6**2) * MILLIMETRE
    # Legs of 30 m at whose meeting the sine is 0.6: their feet lie 30 √(2 (1 - 0.8)) apart.
    apart = 30 * sqrt(2 * (1 - 0.8))
    height = sqrt(30**2 - (apart / 2) ** 2)
    images = ((apart / 2, height), (apart / 2, -height))
    figure = Figure((), Hints({}, {}, dict))
    one = ArcAboutStation(0, "A", (0.0, 0.0), 30.0, 5 * MILLIMETRE, tie=False)
    other = ArcAboutStation(1, "B", (apart, 0.0), 30.0, 5 * MILLIMETRE, tie=False)
    # From C, straight above, the lower image is farther: the line is that much longer than to the one, and shorter.
    c = (apart / 2, 100.0 * sqrt(2))
    line = dist(c, images[1]) - good * sigma
    rise = (dist(c, images[1]) - dist(c, images[0]) - (good + bad) * sigma) / 2
    images = ((images[0][0], images[0][1] - 2 * rise), images[1])
    further = ArcAboutStation(2, "C", c, line, 5 * MILLIMETRE, tie=True)
    figure.rough = {"A": 10 * MILLIMETRE, "B": 20 * MILLIMETRE, "C": 40 * MILLIMETRE}
    figure.arcs["D"] = [one, other, further]
    return _by_further_lines(figure, "D", images, one, other)


@pytest.mark.parametrize(
    ("bad", "good", "settled"),
    [
        (4.1, 0.0, 1),
        (3.9, 0.0, None),  # under four deviations
        (6.0, 1.9, 1),
        (6.0, 2.1, None),  # under three times the other
    ],
)
def test_a_further_line_settles_a_side_from_four_deviations_and_three_times_the_other_image(bad, good, settled):
    assert settled_by_a_further_line(bad, good) == settled


def test_a_station_is_as_rough_as_its_centres_and_what_two_arcs_make_of_their_deviations():
    # √(20² + (3² + 4²) / 0.6²) mm: the rougher centre, and 5 mm over the sine at which the arcs cut.
    apart = 30 * sqrt(2 * (1 - 0.8))
    one = ArcAboutStation(0, "A", (0.0, 0.0), 30.0, 3 * MILLIMETRE, tie=False)
    other = ArcAboutStation(1, "B", (apart, 0.0), 30.0, 4 * MILLIMETRE, tie=False)
    figure = Figure((), Hints({}, {}, dict))
    figure.rough = {"A": 10 * MILLIMETRE, "B": 20 * MILLIMETRE}
    _place_by_arcs(figure, "D", (apart / 2, 1.0), one, other)
    assert figure.rough["D"] == pytest.approx(hypot(20, 5 / 0.6) * MILLIMETRE)
    assert (figure.at["D"], figure.pairs["D"], figure.used) == ((apart / 2, 1.0), ("A", "B"), {0, 1})


def test_a_far_end_is_rougher_by_as_much_as_its_line_is_prolonged():
    # T stands a third of the way from A to F: by similar triangles an error of T is three times as large at F.
    book, reduction = measure(
        {"A-B": ("base", 50.0), "A-F": ("side", 60.0)}, rows=[("T", "A-F", 20.0, "station")], sides={"F": "left A-B"}
    )
    told = observations(book, reduction, LOCAL, {"A", "B", "F", "T"})
    figure = Figure(told, Hints({}, {}, dict))
    figure.at, figure.rough = {"A": (0.0, 0.0), "T": (12.0, 16.0)}, {"A": 2 * MILLIMETRE, "T": 5 * MILLIMETRE}
    for number, one in enumerate(told):
        if isinstance(one, Chainage):
            figure.on_lines["A"].append((number, one))
        if isinstance(one, Ranging):
            figure.rangings[one.booking.group] = number
        if isinstance(one, Distance) and "F" in one.points:
            figure.lines["F"].append((number, one, "A"))
    assert _prolong(figure)
    assert figure.at["F"] == pytest.approx((36.0, 48.0))
    assert figure.rough["F"] == pytest.approx(15 * MILLIMETRE)


def test_a_tie_station_is_placed_by_its_own_ranging_wherever_that_stands_among_the_observations():
    at = AT | {"S": (20.0, 0.0), "T": (35.0, 0.0)}
    told = lines(*TRIANGLE, "S-D side", "T-D side", at=at)
    book, reduction = measure(
        told,
        rows=[("S", "A-B", 20.0, "station"), ("T", "A-B", 35.0, "station")],
        sides={"C": "left A-B", "D": "right A-B"},
    )
    booked = observations(book, reduction, LOCAL, set(at) - {"E"})
    by_kind = sorted(booked, key=lambda one: one.booking.kind)
    names, side_hints = book.station_names, hints(book, reduction)
    used = [{ones[number] for number in start_figure(names, (), ones, side_hints).used} for ones in (booked, by_kind)]
    assert used[0] == used[1]
    assert {one.point for one in used[1] if isinstance(one, Ranging)} == {"S", "T"}


# --- what is placed from what --------------------------------------------------------------------------------------


def begun(book, reduction):
    """Return the observations of a survey without shared points, and its start."""
    told = observations(book, reduction, LOCAL, set(book.station_names))
    return told, start_figure(book.station_names, (), told, hints(book, reduction))


def used_by(told, start):
    """Return labels and kinds of the observations that placed the points."""
    return {(told[number].booking.label, told[number].booking.kind) for number in start.used}


def test_a_figure_begins_at_its_base_line_and_tells_what_placed_it():
    at = {**AT, "T": (20.0, 0.0)}
    figure = lines(*TRIANGLE, "A-D side", "B-D side", "C-D check", "T-C check", at=at)
    told, start = begun(
        *measure(figure, sides={"C": "left A-B", "D": "right A-B"}, rows=[("T", "A-B", 20.0, "station")])
    )

    assert {name: start.positions[name] for name in at if name != "E"} == {
        name: pytest.approx(place) for name, place in at.items() if name != "E"
    }
    assert (start.positions["A"], start.positions["B"]) == ((0.0, 0.0), (50.0, 0.0))
    lengths = {("A-B", "length"), *((name, "length") for name in ("A-C", "B-C", "A-D", "B-D"))}
    assert used_by(told, start) == {*lengths, ("A-B at 20.00", "chainage"), ("A-B at 20.00", "ranging")}
    assert {name: set(pair) for name, pair in start.pairs.items()} == {"C": {"A", "B"}, "D": {"A", "B"}}
    assert (start.handed, start.missing, start.findings) == (True, (), ())


@pytest.mark.parametrize("e", [(70.0, 25.0), (60.0, 60.0), (-15.0, 20.0), (25.0, 60.0)])
def test_of_several_pairs_of_arcs_the_one_that_cuts_best_places_a_station(e):
    at = {**AT, "E": e}
    _, start = begun(
        *measure(lines(*TRIANGLE, "A-E side", "B-E side", "C-E side", at=at), sides={"C": "left A-B", "E": "left A-B"})
    )

    def sine(pair):
        (x, y), (u, v) = (np.subtract(at[name], e) / dist(at[name], e) for name in pair)
        return abs(x * v - y * u)

    assert set(start.pairs["E"]) == set(max(combinations("ABC", 2), key=sine))


@pytest.mark.parametrize("tie", "ABC")
def test_sides_place_a_station_before_a_tie_line_does_however_they_cut(tie):
    figure = lines(*TRIANGLE, *(f"{name}-E {'tie' if name == tie else 'side'}" for name in "ABC"))
    _, start = begun(*measure(figure, sides={"C": "left A-B", "E": "left A-B"}))

    assert set(start.pairs["E"]) == set("ABC") - {tie}


def test_a_figure_whose_hand_nothing_tells_has_its_best_cut_station_left_of_the_base_line():
    _, start = begun(*measure(lines(*TRIANGLE, "A-D side", "B-D side", "C-D tie")))

    # The arms of D meet at 83°, those of C at 79°; C-D settles C on the other side.
    assert start.positions["D"] == pytest.approx((30.0, 28.0))
    assert start.positions["C"] == pytest.approx((20.0, -30.0))
    assert not start.handed


def test_a_base_line_alone_has_no_hand():
    told, start = begun(*measure(lines("A-B base")))

    assert (start.handed, used_by(told, start)) == (False, {("A-B", "length")})


def test_of_arcs_that_do_not_meet_those_are_told_that_lack_least():
    # 5 from A and 10 from B over 50: 35 m lack. 20 from C over 36.056 from A: 11.056, over 42.426 from B: 12.426.
    figure = lines(*TRIANGLE) | {"A-D": ("side", 5.0), "B-D": ("side", 10.0), "C-D": ("side", 20.0)}
    told = findings(*measure(figure, sides={"C": "left A-B", "D": "right A-B"}))["arcs-do-not-meet"]

    assert told.data.gap == pytest.approx(dist(AT["A"], AT["C"]) - 25.0)


@pytest.mark.parametrize("name", ["F-A", "A-F"])
def test_either_end_of_a_line_is_found_from_the_other_and_what_stands_on_it(name):
    at = {**AT, "F": (30.0, 45.0)}
    chainage = dist(at[name[0]], at["C"])
    rows = [("C", name, chainage, "station")]
    told, start = begun(*measure(lines(*TRIANGLE, f"{name} side", at=at), sides={"C": "left A-B"}, rows=rows))

    assert start.positions["F"] == pytest.approx(at["F"])
    assert (name, "length") in used_by(told, start)
    assert (f"{name} at {chainage:.2f}", "ranging") in used_by(told, start)


def sketched(sketches, at):
    figure = Figure((), Hints({}, sketches, dict))
    figure.at = dict(at)
    return _sketch_placement(figure)


def test_a_sketch_lies_on_the_figure_turned_moved_and_enlarged_by_least_squares():
    # Drawn a fifth as large, turned by 3-4-5 and moved, and C drawn a little off. By linear least squares of complex
    # numbers, t = a z + b.
    drawn = {name: (0.2 * (0.8 * x - 0.6 * y) + 7.0, 0.2 * (0.6 * x + 0.8 * y) - 3.0) for name, (x, y) in AT.items()}
    drawn["C"] = (drawn["C"][0] + 0.4, drawn["C"][1] - 0.3)
    placed = {name: AT[name] for name in "ABC"}
    lay = sketched(drawn, placed)

    z, to = (np.array([complex(*places[name]) for name in "ABC"]) for places in (drawn, placed))
    (a, b), *_ = np.linalg.lstsq(np.column_stack((z, np.ones(3))), to, rcond=None)
    for name in "ABCDE":
        there = a * complex(*drawn[name]) + b
        assert lay(drawn[name]) == pytest.approx((there.real, there.imag))


def test_a_sketch_of_one_placed_station_or_of_one_place_lies_nowhere():
    assert sketched(AT, {"A": AT["A"]}) is None
    assert sketched({"A": (3.0, 4.0), "B": (3.0, 4.0)}, AT) is None
    assert sketched({"A": (3.0, 4.0), "B": (3.0, 5.0)}, AT)((3.0, 5.0)) == pytest.approx(AT["B"])
