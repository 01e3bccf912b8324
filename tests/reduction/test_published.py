"""Tape corrections and accuracy classes against published examples."""

from __future__ import annotations

from math import radians
from typing import Any

import pytest
import yaml
from builders.paths import PUBLISHED

from pegline.reduction import tape, tape_rack

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


def cases(family: str) -> list[Any]:
    files = sorted((PUBLISHED / family).glob("*.yaml"))
    return [pytest.param(yaml.safe_load(file.read_text("utf-8")), id=file.stem) for file in files]


def si(text: Any) -> float:
    number, _, unit = str(text).partition(" ")
    return float(number) * (UNITS[unit] if unit else 1.0)


@pytest.mark.parametrize("case", cases("tape"))
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


@pytest.mark.parametrize("case", cases("classes"))
def test_the_limit_of_a_class_is_that_of_the_directive(case: dict[str, Any]) -> None:
    for nominal, limit in case["expected"].items():
        found = 1000 * tape_rack.class_limit(case["given"]["class"], float(nominal))

        assert found == pytest.approx(limit, abs=case["tolerance"])


def test_at_the_normal_tension_pull_and_sag_cancel() -> None:
    # 30 m tape, 0.02 cm², 22 g/m, E 2e6 kg/cm², standard pull 5 kg: 11 kg is its normal tension. Inputs read in a
    # teaching page (after Chandra, Surveying), arithmetic by hand; grade C.
    kilogram = tape.GRAVITY
    pull = tape.pull_correction(30.0, pull=11 * kilogram, standard=5 * kilogram, section=2e-6, modulus=2e10 * kilogram)
    sag = tape.sag_correction(30.0, spans=1, mass=0.022, pull=11 * kilogram)

    assert pull == pytest.approx(0.0045, abs=0.00005)
    assert pull + sag == pytest.approx(0.0, abs=0.00005)
