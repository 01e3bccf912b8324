"""What a book observes: the figures of an observation that its equation does not show."""

from dataclasses import replace
from math import hypot

import pytest
from builders.records import LAY_SD, LOCAL, measure

from pegline.network.observation_types import Distance, Oblique
from pegline.network.observations import observations

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
