"""Two readings differ by no more than measuring twice explains, by the tape's own deviation worked by hand."""

from __future__ import annotations

from math import hypot, radians, sqrt
from types import SimpleNamespace

import pytest
from builders.records import measure

from pegline.book.habits import notation_of
from pegline.commands.diff.correction import count_shared_readings
from pegline.commands.diff.second_measuring import _areas, _reading_sd, reading_noise


def tape(lay_sd=0.005, scale_sd=0.0002, nominal=30.0):
    return SimpleNamespace(lay_sd=lay_sd, scale_sd=scale_sd, nominal=nominal)


@pytest.mark.parametrize(("length", "lays"), [(0.0, 1), (29.9, 1), (30.0, 1), (30.1, 2), (90.1, 4)])
def test_a_reading_is_as_sure_as_its_lays_and_its_tape(length, lays):
    assert _reading_sd(tape(), length) == pytest.approx(hypot(0.005 * sqrt(lays), 0.0002 * length))


def compared(*tapes, bearing_sd=0.0, **more):
    return SimpleNamespace(tapes=tapes, bearing_sd=bearing_sd, **more)


@pytest.mark.parametrize(("share", "same"), [(0.99, True), (-0.99, True), (1.01, False)])
def test_two_readings_of_one_length_lie_within_that_of_999_in_1000(share, same):
    # The worst tape of either book, over two lays of 40 m: √2 · 3.29 √(2 · 8² + (40 · 0.3)²) millimetres.
    allowed = 3.29 * sqrt(2) * hypot(0.008 * sqrt(2), 0.0003 * 40.0)
    noise = reading_noise(compared(tape()), compared(tape(0.008, 0.0003)))
    assert noise(40.0 - share * allowed, 40.0) is same
    assert not noise(40.0, "40.00")
    assert not reading_noise(compared(), compared())(40.0, 40.001)


@pytest.mark.parametrize(("apart", "same"), [(0.46, True), (0.47, False)])
def test_two_bearings_of_one_line_too_also_about_north(apart, same):
    noise = reading_noise(compared(bearing_sd=radians(0.05)), compared(bearing_sd=radians(0.1)))
    assert 3.29 * sqrt(2) * 0.1 == pytest.approx(0.4653, abs=1e-4)
    for at in (0.2, 90.0, 359.9):
        assert noise(("angle", at), ("angle", (at + apart) % 360)) is same
        assert noise(("angle", (at + apart) % 360), ("angle", at)) is same


@pytest.mark.parametrize(("area", "told"), [(499.9, 0), (500.1, 0), (484.9, 1), (515.1, 1), (None, 0)])
def test_an_area_differs_beyond_three_standard_deviations_of_both(area, told):
    # √(3² + 4²) = 5 square metres.
    book, _ = measure({"A-B": ("base", 60.0)})
    old = compared(features={"field": (500.0, 3.0), "pond": (9.0, None)}, notation=notation_of(book))
    new = compared(features={"field": (area, 4.0), "pond": (99.0, 1.0), "yard": (7.0, 1.0)})
    assert len(list(_areas(old, new))) == told


def test_half_of_the_readings_of_one_day_make_one_measuring():
    def read(date, **lines):
        return compared(book=None, date=date, lines=lines)

    old = read("2025-03-01", a=1.0, b=2.0, c=3.0, d=4.0)
    assert count_shared_readings(old, read("2025-03-01", a=1.0, b=2.0, c=3.5, d=4.5)) == (2, 4)
    assert count_shared_readings(old, read("2025-03-01", a=1.0, b=2.5, c=3.5, d=4.5)) is None
    assert count_shared_readings(old, read("2025-03-02", a=1.0, b=2.0, c=3.0, d=4.0)) is None
    assert count_shared_readings(old, read("2025-03-01", e=1.0)) is None
