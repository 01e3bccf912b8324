"""What a book observes: the figures of an observation that its equation does not show."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest
from builders.little_book import TWO_TRIANGLES, head
from builders.records import LAY_SD, LOCAL, measure
from builders.solved import HERE, feature

from pegline import reduce
from pegline.book.model import Rectangle
from pegline.cli import main
from pegline.measures.distance import Wall
from pegline.measures.values import Pair
from pegline.network.observation_types import Chainage, Distance, Oblique, TieChainage
from pegline.network.observations import observations, shared_points
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
