"""Published bearings: quadrants, and the declination on its way from magnetic to true."""

from __future__ import annotations

from math import degrees
from typing import Any

import pytest
import yaml
from builders import paths

from pegline.frame.choice import choose_frame
from pegline.measures.angles import degrees as read
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

PUBLISHED = paths.PUBLISHED / "bearings"
BOOK = """
book: 1
unit: m
tapes: {steel: {material: steel, length: 50}}
lines: {A-B: {use: base, taped: 60}}
"""


def rows(name: str) -> list[Any]:
    case = yaml.safe_load((PUBLISHED / f"{name}.yaml").read_text("utf-8"))
    return [pytest.param(*row, case["tolerance"], id=row[0]) for row in case["expected"]]


def bearing(north: str) -> float:
    book = parse_book(f"{BOOK}north: {north}\n".encode(), "book.yaml")
    return degrees(choose_frame(book, reduce_readings(book)).bearings[0].bearing)


@pytest.mark.parametrize(("quadrant", "whole", "tolerance"), rows("punmia-quadrants"))
def test_a_quadrant_bearing_is_the_whole_circle_one(quadrant: str, whole: str, tolerance: float) -> None:
    assert bearing(f"{{from: true, bearings: {{A-B: {quadrant}}}}}") == pytest.approx(read(whole), abs=tolerance)


@pytest.mark.parametrize(("magnetic", "declination", "true", "tolerance"), rows("punmia-declination"))
def test_a_magnetic_bearing_and_its_declination_make_the_true_one(
    magnetic: str, declination: str, true: str, tolerance: float
) -> None:
    found = bearing(f"{{from: magnetic, declination: {declination}, bearings: {{A-B: {magnetic}}}}}")

    assert found == pytest.approx(read(true), abs=tolerance)
