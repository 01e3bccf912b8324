"""Tape corrections against published examples, the curve that a tape hangs in, and small changes."""

from __future__ import annotations

from math import asin, asinh, cos, radians, sqrt
from typing import Any

import pytest
import scipy.constants
import yaml
from builders.paths import PUBLISHED

from pegline.reduction import tape

POUND = 0.45359237  # kg, exact, 1959
UNITS = {
    "m": 1.0,
    "ft": 0.3048,
    "pole": 5.0292,
    "N": 1.0,
    "lbf": POUND * tape.GRAVITY,
    "in2": 0.0254**2,
    "mm2": 1e-6,
    "psi": POUND * tape.GRAVITY / 0.0254**2,
    "N/mm2": 1e6,
    "lb/ft": POUND / 0.3048,
    "N/mm": 1000 / tape.GRAVITY,
    "C": 1.0,
    "F": 5 / 9,  # differences only
    "/F": 9 / 5,
    "deg": radians(1),
}


CASES = [
    pytest.param(yaml.safe_load(file.read_text("utf-8")), id=file.stem)
    for file in sorted((PUBLISHED / "tape").glob("*.yaml"))
]


def si(text: Any) -> float:
    number, _, unit = str(text).partition(" ")
    return float(number) * (UNITS[unit] if unit else 1.0)


@pytest.mark.parametrize("case", CASES)
def test_a_correction_agrees_with_the_printed_one(case: dict[str, Any]) -> None:
    given = dict(case["given"])
    correction = getattr(tape, f"{given.pop('correction')}_correction")
    pieces = given.pop("pieces", None)
    figures = {name: si(value) for name, value in given.items()}
    if pieces:
        found = sum(correction(si(length), spans=spans, **figures) for length, spans in pieces)
    else:
        found = correction(figures.pop("length"), **figures)

    assert found == pytest.approx(si(case["expected"]), abs=si(case["tolerance"]))


def test_at_the_normal_tension_pull_and_sag_cancel() -> None:
    # 30 m tape, 0.02 cm², 22 g/m, E 2e6 kg/cm², standard pull 5 kg: 11 kg is its normal tension. Inputs read in a
    # teaching page (after Chandra, Surveying), arithmetic by hand; grade C.
    kilogram = tape.GRAVITY
    pull = tape.pull_correction(30.0, pull=11 * kilogram, standard=5 * kilogram, section=2e-6, modulus=2e10 * kilogram)
    sag = tape.sag_correction(30.0, spans=1, mass=0.022, pull=11 * kilogram)

    assert pull == pytest.approx(0.0045, abs=0.00005)
    assert pull + sag == pytest.approx(0.0, abs=0.00005)


@pytest.mark.parametrize("spans", [1, 2, 5])
@pytest.mark.parametrize("pull", [50.0, 100.0])
def test_the_sag_is_that_of_the_catenary(pull: float, spans: int) -> None:
    # An arc s of w newtons a metre, drawn by P, has the chord 2 (P / w) asinh(w s / 2 P). The correction is the first
    # term of its series, and the next takes 9/80 of the square of w s / P off it.
    weight, arc = 0.018 * tape.GRAVITY, 50.0 / spans
    chord = 2 * pull / weight * asinh(weight * arc / (2 * pull))

    found = tape.sag_correction(50.0, spans=spans, mass=0.018, pull=pull)

    next_term = 9 / 80 * (weight * arc / pull) ** 2
    assert found * (1 - next_term) == pytest.approx(spans * (chord - arc), rel=max(2 * next_term**2, 1e-9))


def test_a_slope_of_a_right_triangle_is_level_by_its_rise_and_by_its_angle() -> None:
    # 20-21-29; and a slight slope, whose cosine is 1 - 1.25e-11.
    for rise in (20.0, -20.0):
        assert tape.slope_correction(29.0, rise=rise) == pytest.approx(21.0 - 29.0, rel=1e-14)
    assert tape.slope_correction(29.0, slope=asin(-20 / 29)) == pytest.approx(21.0 - 29.0, rel=1e-14)
    assert tape.slope_correction(100.0, rise=5e-4) == pytest.approx(-1.25e-9, rel=1e-9)
    assert tape.slope_correction(100.0, slope=5e-6) == pytest.approx(-1.25e-9, rel=1e-9)
    with pytest.raises(ValueError, match="rise"):
        tape.slope_correction(2.0, rise=-2.0)


@pytest.mark.parametrize("rise", [3.0, -17.0])
def test_an_error_of_the_rise_or_of_the_angle_goes_on_to_the_length_as_small_changes_do(rise: float) -> None:
    by_rise = (sqrt(40.0**2 - (abs(rise) + 1e-4) ** 2) - sqrt(40.0**2 - (abs(rise) - 1e-4) ** 2)) / 2e-4
    given = {"rise_sd": 0.07, "angle_sd": 0.012}
    assert tape.slope_sd(40.0, rise=rise, slope=None, **given) == pytest.approx(-0.07 * by_rise, rel=1e-6)

    angle = radians(2 * rise)
    by_angle = 40.0 * (cos(abs(angle) + 1e-4) - cos(abs(angle) - 1e-4)) / 2e-4
    assert tape.slope_sd(40.0, rise=None, slope=angle, **given) == pytest.approx(-0.012 * by_angle, rel=1e-6)
    assert tape.slope_sd(40.0, rise=None, slope=None, **given) == 0.0


def test_a_kilogram_weighs_what_the_standards_say() -> None:
    assert scipy.constants.g == tape.GRAVITY


def test_what_is_known_of_a_tape_stays_when_its_use_is_booked() -> None:
    known = tape.Conditions(true_length=50.01)

    assert known.with_use(temperature=None, pull=80.0) == tape.Conditions(true_length=50.01, pull=80.0)
    assert known.with_use(spans=None) is known


def test_each_whole_tape_is_a_lay_and_so_is_what_is_left() -> None:
    assert [tape.lays(length, 20.0) for length in (0.0, 0.5, 20.0, 20.0001, -39.0, 40.0, 41.0)] == [1, 1, 1, 2, 2, 2, 3]
    assert tape.lays(330 * 0.9144, 30 * 0.9144) == 11  # yards, whose quotient comes out above 11
