"""What a book observes: the figures of an observation that its equation does not show."""

from dataclasses import replace
from math import hypot, radians, sqrt

import numpy as np
import pytest
from builders.little_book import TWO_TRIANGLES, head, stations_on_a_line
from builders.records import LAY_SD, LOCAL, measure
from builders.solved import HERE, feature

from pegline import reduce
from pegline.book.model import Rectangle
from pegline.cli import main
from pegline.frame.model import FrameBearing, FrameControl
from pegline.measures.distance import Wall
from pegline.measures.station_angle import Corner, StationAngle
from pegline.measures.values import Angle, Pair
from pegline.network.observation_types import Chainage, Distance, Oblique, Offset, Ranging, TieChainage
from pegline.network.observations import Stops, observations, shared_points, stops_by_line
from pegline.readers import parse_book
from pegline.writers.gis.dataframes import layers

BASE = {"A-B": ("base", 60.0)}


def arms(chainages, lengths):
    """Return the observations of a point taped from three chainages of the base line."""
    book, reduction = measure(BASE, rows=[("p", "A-B", chainages, lengths)])
    return [one for one in observations(book, reduction, LOCAL, {"A", "B", "p"}) if isinstance(one, Oblique)]


def test_an_error_in_chainage_enters_an_oblique_distance_by_the_cosine_at_its_foot():
    # 3-4-5 triangles: p stands 12 m off the line at 26, so it is 20 m from 10, 15 m from 35 and 12 m from 26.
    first, second, third = arms((10.0, 35.0, 26.0), (20.0, 15.0, 12.0))
    # By hand: the cosines at the feet are 16/20 and 9/15; straight out from the line nothing of the chainage enters.
    assert first.booking.sd == pytest.approx(LAY_SD * hypot(1, 16 / 20))
    assert second.booking.sd == pytest.approx(LAY_SD * hypot(1, 9 / 15))
    assert third.booking.sd == pytest.approx(LAY_SD)


def test_arms_from_one_chainage_take_its_error_whole():
    # No triangle tells the angle at the foot: on the safe side the arm counts as if it lay along the line.
    found = arms((20.0, 20.0, 20.0), (12.0, 12.0, 12.0))
    assert [one.booking.sd for one in found] == pytest.approx([LAY_SD * hypot(1, 1)] * 3)


def test_the_corners_and_the_edge_of_a_rectangle_share_equations():
    rows = [(name, "A-B", at, 5.0) for name, at in (("h1", 10.0), ("h2", 20.0), ("alone", 30.0))]
    geometry = Rectangle(Pair("h1", "h2", HERE), True, Wall(True, (), HERE), ("far", "near"))
    book, reduction = measure(BASE, rows=rows, features={"house": feature("house", "building", geometry)})
    assert shared_points(book, reduction) == ("h1", "h2", "far", "near")


@pytest.mark.parametrize(("back", "kind"), [(False, TieChainage), (True, Chainage)])
def test_a_tie_station_booked_on_the_way_back_counts_on_the_whole_line_and_else_from_its_start(back, kind):
    book, reduction = measure(BASE, rows=[("T", "A-B", 20.0, "station")])
    (row,) = reduction.rows
    reduction = replace(reduction, rows=(replace(row, booked=replace(row.booked, back=back)),))
    (chainage,) = (one for one in observations(book, reduction, LOCAL, {"A", "B", "T"}) if isinstance(one, Chainage))
    assert type(chainage) is kind
    assert (chainage.points, chainage.booking.value, chainage.length) == (("T", "A", "B"), 20.0, 60.0)
    assert chainage.booking.tape == (None if back else "steel")


def test_an_arm_from_a_station_is_a_distance_with_the_deviation_of_its_own_reading():
    book, reduction = measure(BASE, rows=[("p", "A-B", (0.0, 32.0), (20.0, 20.0))])
    (row,) = reduction.rows
    by_station = replace(reduction, rows=(replace(row, at_stations=("A", None)),))
    (arm,) = (
        one
        for one in observations(book, by_station, LOCAL, {"A", "B", "p"})
        if isinstance(one, Distance) and one.booking.kind == "oblique"
    )
    # No chainage was read at a peg, so that none enters.
    assert (arm.start, arm.end, arm.booking.value, arm.booking.sd) == ("A", "p", 20.0, LAY_SD)


def test_a_group_is_what_stands_or_falls_together():
    three = arms((10.0, 35.0, 26.0), (20.0, 15.0, 12.0))
    assert {one.booking.group for one in three} == {("row", 0)}
    assert {one.booking.line for one in three} == {"A-B"}
    assert {one.booking.measured_line for one in three} == {None}


@pytest.mark.parametrize(
    ("chainages", "lengths", "cosines"),
    [
        ((10.0, 20.0), (1.0, 12.0), (-1.0, 1.0)),  # arms that do not meet: as if the point lay in the line
        ((10.0, 20.0), (20.0, 2.0), (1.0, -1.0)),
        ((10.0, 13.0), (4.0, 5.0), (0.0, 0.6)),  # 3-4-5: straight out from 10
        ((10.0, 13.0), (0.0, 3.0), (1.0, 1.0)),
    ],
)
def test_the_cosine_at_a_foot_is_that_of_its_triangle_or_of_the_line(chainages, lengths, cosines):
    found = arms(chainages, lengths)

    assert [one.booking.sd for one in found] == pytest.approx([LAY_SD * hypot(1, cosine) for cosine in cosines])


def test_a_chainage_counts_on_the_piece_between_the_stations_beside_it():
    stops = Stops(("A", "S", "T", "B"), (0.0, 20.0, 30.0, 60.0))

    assert stops.piece(25.0) == ("S", "T", 5.0, 10.0)
    assert stops.piece(30.0) == ("S", "T", 10.0, 10.0)  # at a station the piece ends that leads to it
    assert stops.piece(0.0) == ("A", "S", 0.0, 20.0)
    assert stops.piece(-2.0) == ("A", "S", -2.0, 20.0)
    assert stops.piece(61.0) == ("T", "B", 31.0, 30.0)


def test_the_stations_of_a_line_stand_in_the_order_of_their_chainage_between_its_ends():
    rows = [("T", "A-B", 30.0, "station"), ("S", "A-B", 20.0, "station"), ("U", "A-B", 60.0, "station")]
    _, reduction = measure({**BASE, "A-C": ("side", 50.0)}, rows=rows)

    # U was booked at the end of the line, where B stands.
    assert stops_by_line(reduction) == {
        "A-B": Stops(("A", "S", "T", "B"), (0.0, 20.0, 30.0, 60.0)),
        "A-C": Stops(("A", "C"), (0.0, 50.0)),
    }


def test_points_share_equations_that_have_more_than_they_need():
    rows = [("three", "A-B", (10.0, 20.0, 30.0), (5.0, 6.0, 7.0)), ("two", "A-B", (10.0, 20.0), (5.0, 6.0))]
    rows += [("one", "A-B", 9.0, 5.0), ("again", "A-B", 9.0, 6.0), ("again", "A-B", 9.0, 6.1)]
    rows += [("T", "A-B", 25.0, "station"), ("T", "A-C", 12.0, 3.0), ("k", "A-B", 14.0, 3.0), ("m", "A-B", 15.0, 3.0)]
    lines = {**BASE, "A-C": ("side", 50.0), "h-T": ("detail", 8.0), "C-D": ("check", 4.0)}
    arcs = [("p", {"A": 20.0, "q": 4.0}, None)]
    book, reduction = measure(lines, rows=rows, dimensions={"k-A": 14.3}, arcs=arcs, sides={"T": "left A-C"})

    assert shared_points(book, reduction) == ("three", "again", "h", "k", "p", "q")


# -- field by field ----------------------------------------------------------------------------------


def test_rows_are_counted_on_their_pieces_with_what_their_foot_and_their_chainage_vary_by():
    rows = [("T", "A-B", 24.0, "station"), ("h", "A-B", 30.0, -5.0), ("h", "A-B", (30.0, 44.0), (5.0, 16.0))]
    rows += [("g", "A-B", 6.0, None), ("g", "A-B", 6.1, None)]
    book, reduction = measure(BASE, rows=rows)

    tape, chainage, *others = observations(book, reduction, LOCAL, {"A", "B", "T", "h", "g"})
    assert (type(tape), tape.points, tape.booking.value, tape.booking.sd) == (Distance, ("A", "B"), 60.0, LAY_SD)
    assert (tape.booking.part, tape.booking.kind, tape.booking.group) == ("base", "length", ("line", "A-B"))
    assert (tape.booking.line, tape.booking.row, tape.booking.tape) == ("A-B", None, "steel")
    assert (chainage.booking.part, chainage.booking.sd, chainage.booking.row) == ("station", LAY_SD, 0)
    found = [
        (type(one), one.points, one.booking.kind, one.booking.value, one.booking.sd, one.booking.row) for one in others
    ]
    tied = ("h", "T", "B")
    assert found[0] == (Ranging, ("T", "A", "B"), "ranging", 0.0, 0.02, 0)
    assert found[1] == (Chainage, tied, "chainage", 6.0, pytest.approx(hypot(LAY_SD, 0.01)), 1)
    assert found[2] == (Offset, tied, "offset", 5.0, LAY_SD, 1)
    assert [one[:4] for one in found[3:5]] == [(Oblique, tied, "oblique", 5.0), (Oblique, tied, "oblique", 16.0)]
    assert found[5] == (Chainage, ("g", "A", "T"), "chainage", 6.0, LAY_SD, 3)
    assert found[6] == (Ranging, ("g", "A", "T"), "ranging", 0.0, 0.02, 3)
    offset, arm = others[2], others[4]
    assert (offset.side, others[1].length, arm.chainage, arm.length, arm.side) == (-1, 36.0, 20.0, 36.0, 1)
    assert [others[n].booking.label for n in (1, 3, 4)] == ["A-B at 30.00", "A-B at 30.00", "A-B at 44.00"]
    assert {one.booking.part for one in others[1:]} == {"row"}


def test_lines_dimensions_and_arcs_are_distances():
    lines = {"A-B": ("base", 60.0), "A-C": ("check", 50.0), "h-k": ("detail", 8.0)}
    arcs = [("p", {"A": 20.0, "B": 45.0}, None), ("q", {"k": 3.0}, None)]
    book, reduction = measure(lines, dimensions={"k-p": 6.0}, arcs=arcs)
    found = observations(book, reduction, LOCAL, {"A", "B"})

    assert [(one.points, one.booking.value, one.booking.part, one.booking.kind) for one in found] == [
        (("A", "B"), 60.0, "base", "length"),
        (("A", "C"), 50.0, "check", "length"),
        (("h", "k"), 8.0, "dimension", "dimension"),
        (("k", "p"), 6.0, "dimension", "dimension"),
        (("A", "p"), 20.0, "arc", "dimension"),
        (("B", "p"), 45.0, "arc", "dimension"),
        (("k", "q"), 3.0, "arc", "dimension"),
    ]
    assert [one.booking.group for one in found[3:]] == [("line", "k-p"), ("arc", 0), ("arc", 0), ("arc", 1)]


def test_a_line_whose_grid_is_its_own_is_turned_into_the_grid_of_the_survey():
    # A-B lies where the grid's scale is 1.0002 of that of the frame; its tie station stands on it.
    book, reduction = measure({**BASE, "A-C": ("side", 50.0)}, rows=[("T", "A-B", 20.0, "station")])
    frame = replace(LOCAL, own_scales={"A-B": 1.0002})

    assert [one.booking.value for one in observations(book, reduction, frame, {"A", "B", "C", "T"})] == [
        60.0 * 1.0002,
        50.0,
        20.0 * 1.0002,
        0.0,
    ]


def test_bearings_control_and_angles_are_observed_as_they_are_known():
    book, reduction = measure(BASE)
    corner = Corner("A", "B", "C", HERE)
    readings = tuple(Angle(value, "", HERE) for value in (1.52, 1.50))
    surer = Angle(0.002, "", HERE)
    book = replace(book, angles=(StationAngle(corner, readings, HERE), StationAngle(corner, readings[:1], HERE, surer)))
    bearings = (FrameBearing("A", "B", 1.25, 0.01, 1.2, HERE),)
    frame = replace(LOCAL, bearings=bearings, control=(FrameControl("B", 7.0, 9.0, 0.05, HERE),))
    _, bearing, x, y, mean, single = observations(book, reduction, frame, {"A", "B"})

    assert (bearing.points, bearing.booking.value, bearing.booking.sd, bearing.booking.read) == (
        ("A", "B"),
        1.25,
        0.01,
        1.2,
    )
    assert [(one.points, one.booking.value, one.along, one.booking.sd) for one in (x, y)] == [
        (("B",), 7.0, (1.0, 0.0), 0.05),
        (("B",), 9.0, (0.0, 1.0), 0.05),
    ]
    # Read with a compass an angle is good to a degree; the mean of two to 1/√2 of it.
    assert (mean.points, mean.booking.value) == (("A", "B", "C"), pytest.approx(1.51))
    assert (mean.booking.sd, single.booking.sd) == (pytest.approx(radians(1.0) / 2**0.5), 0.002)


# -- what lays of a tape have in common --------------------------------------------------------------


def lays_of(taped, ties):
    """Return by reading of A-B what its lays of 5 mm share with others: from and to which one, how many millimetres."""
    found = reduce(parse_book(stations_on_a_line(taped, ties).encode(), "lays.yaml")).adjustment.network.observations
    return {
        one.points[0] if one.booking.row is not None else "B": [
            (name.removeprefix("A-B lays "), pytest.approx(size * 1000)) for name, size in one.booking.shared
        ]
        for one in found
        if one.booking.line == "A-B" and isinstance(one, Distance | TieChainage)
    }


def test_readings_share_the_full_lays_before_the_last_of_each_and_a_mean_of_two_tapings_half_of_them():
    # Lays of 30 m: 1 to R, 3 to S, 4 to T, 5 to U and to B. The last of each, a part of a lay, is its own.
    two, one = 5 * sqrt(2), 5.0

    assert lays_of("[140.02, 139.99]", {"R": "29.01", "S": "61.03", "T": "118.02", "U": "139.00"}) == {
        "R": [],
        "S": [("1 to 2", two)],
        "T": [("1 to 2", two), ("3 to 3", one)],
        "U": [("1 to 2", two), ("3 to 3", one), ("4 to 4", one)],
        "B": [("1 to 2", two / 2), ("3 to 3", one / 2), ("4 to 4", one / 2)],
    }


def test_what_the_longest_reading_has_beyond_the_next_is_its_own():
    assert lays_of("140.00", {"S": "61.03", "T": "118.02"}) == {
        "S": [("1 to 2", 5 * sqrt(2))],
        "T": [("1 to 2", 5 * sqrt(2)), ("3 to 3", 5.0)],
        "B": [("1 to 2", 5 * sqrt(2)), ("3 to 3", 5.0)],
    }


def test_a_reading_that_is_surer_than_its_lays_shares_nothing():
    assert lays_of("140.00", {"S": "61.03, accuracy: 1 mm", "T": "118.02"}) == {
        "S": [],
        "T": [("1 to 3", 5 * sqrt(3))],
        "B": [("1 to 3", 5 * sqrt(3))],
    }


YARD = (
    head(TWO_TRIANGLES, method="optical square")
    + """\
lines:
  A-B:
    use: base
    taped: 50.00
    details:
      - {at: 8.00, left: 6.00, point: h1}
      - {at: 20.00, left: 5.00, kind: tree, point: oak}
  A-C: {use: side, taped: 40.00}
  C-B: {use: side, taped: 30.00}
  A-D: {use: side, taped: 40.00}
  D-B: {use: side, taped: 30.00}
  C-D: {use: check, taped: 48.00}
"""
)
WITNESSES = "witnesses: {A: {h1: 10.00, oak: 20.62, old gate: 3.30}}\n"  # √(8² + 6²), √(20² + 5²)
WRONG = WITNESSES.replace("10.00", "13.00")


def survey(text):
    return reduce(parse_book(text.encode(), "yard.yaml"))


def witnesses(found):
    return {check.what: check for check in found.adjustment.checks if check.kind == "witness"}


def test_a_witness_to_a_point_or_a_thing_is_compared_and_one_in_words_is_not():
    found = witnesses(survey(YARD + WITNESSES))
    assert set(found) == {"h1-A", "oak-A"}
    assert all(check.passed for check in found.values())
    assert found["h1-A"].computed == pytest.approx(10.0, abs=0.005)


def test_a_witness_without_a_reading_leaves_each_other_its_own_length():
    book = parse_book((YARD + WITNESSES).encode(), "yard.yaml")
    first, *others = book.witnesses["A"]

    found = layers(reduce(replace(book, witnesses={"A": (replace(first, readings=()), *others)})))["witnesses"]

    assert dict(zip(found["object"], found["taped"], strict=True)) == {"oak": 20.62, "old gate": 3.30}


def test_a_witness_moves_nothing():
    without = survey(YARD)
    for other in (survey(YARD + WITNESSES), survey(YARD + WRONG)):
        for name in ("A", "B", "C", "D"):
            there = other.adjustment.solution.position(name)
            assert there == pytest.approx(without.adjustment.solution.position(name), abs=1e-9)
        one, two = (each.detail.points.positions[each.detail.points.index["h1"]] for each in (without, other))
        assert two == pytest.approx(one, abs=1e-9)
        assert other.adjustment.freedom == without.adjustment.freedom
        assert {m.redundancy for m in other.adjustment.measurements if m.kind == "witness"} == {None}


def test_a_wrong_witness_fails_for_itself_and_the_exit_status_alone(tmp_path, capsys):
    found = survey(YARD + WRONG)
    assert not witnesses(found)["h1-A"].passed
    assert (found.passed, found.checked, found.adjustment.delivered) == (False, True, "adjusted")
    assert found.diagnosis.suspects == ()
    path = tmp_path / "yard.yaml"
    path.write_text(YARD + WRONG, encoding="utf-8")
    assert main(["check", str(path)]) == 1
    shown = " ".join(capsys.readouterr().out.split())
    assert "witness h1-A" in shown
    assert "The framework of stations passed" in shown


def test_a_witness_checks_the_point_that_it_was_taped_to():
    # One offset holds h1. The witness shows a mistake in it, more sharply along the tape than across.
    alone, found = survey(YARD).solved.unnoticed, survey(YARD + WITNESSES)
    unnoticed = found.solved.unnoticed
    assert alone.distance("h1") is None
    assert 0.02 < unnoticed.distance("h1") < 0.5
    # The offset's part along the tape is 6/10: what is allowed and 0.84 deviations of what is compared, over that.
    check = witnesses(found)["h1-A"]
    (noticed,) = [size for one, size in unnoticed.smallest_noticed.items() if one.kind == "offset" and one.row == 0]
    assert noticed == pytest.approx((check.allowed + 0.84 * check.sd) / 0.6, rel=0.01)


def test_a_survey_with_witnesses_alone_is_not_checked():
    found = survey(YARD.replace("  C-D: {use: check, taped: 48.00}\n", "") + WITNESSES)
    assert found.checked is None
    assert (found.adjustment.freedom, found.adjustment.delivered) == (0, "plotting")
    assert np.isfinite(found.adjustment.critical)
