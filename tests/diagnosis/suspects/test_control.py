"""Control that is wrong within the reach of its lines: named, in the book's own figures, with the slip of a digit."""

from __future__ import annotations

import pytest

from pegline.readers import parse_book
from pegline.survey import Survey, reduce

#: On the middle meridian of UTM zone 30N, where grid north is true north and the scale 0.9996.
PLACES = {"A": (0.0, 0.0), "B": (120.0, 0.0), "C": (110.0, 90.0), "D": (-10.0, 80.0)}
ORIGIN = (500_000.0, 5_713_240.0)
LINES = {"A-B": 120.0, "A-C": 142.13, "A-D": 80.62, "B-C": 90.55, "B-D": 152.64, "C-D": 120.42}


def survey(*control: str, north: str = "") -> Survey:
    uses = {"A-B": "base", "C-D": "check"}
    lines = [
        f"  {name}: {{use: {uses.get(name, 'side')}, taped: {taped / 0.9996:.2f}}}" for name, taped in LINES.items()
    ]
    text = "\n".join(
        [
            "book: 1",
            "unit: m",
            "tapes: {steel: {material: steel, length: 50}}",
            "stations: {C: {left_of: A-B}, D: {left_of: A-B}}",
            "lines:",
            *lines,
            north,
            f"control: {{crs: EPSG:32630, points: {{{', '.join(control)}}}}}",
        ]
    )
    return reduce(parse_book(text.encode(), "plot.yaml"))


def control_line(name: str, east: float = 0.0, north: float = 0.0) -> str:
    x, y = PLACES[name]
    return f"{name}: {{easting: {ORIGIN[0] + x + east:.2f}, northing: {ORIGIN[1] + y + north:.2f}, accuracy: 0.02}}"


@pytest.mark.parametrize(
    ("east", "north", "would_be", "slip"),
    [
        (5.0, 0.0, "easting 500110.000", "a wrong digit in the easting"),
        (20.0, 0.0, "easting 500110.000", "a wrong digit in the easting"),
        (0.0, 400.0, "northing 5713330.000", "a wrong digit in the northing"),
        (900.0, 0.0, "easting 500110.000", "two digits are exchanged in the easting"),  # 500110 as 501010
        (0.0, -27.0, "northing 5713330.000", "two digits are exchanged in the northing"),  # 5713330 as 5713303
    ],
)
def test_a_slip_of_a_digit_is_named(east: float, north: float, would_be: str, slip: str) -> None:
    found = survey(control_line("A"), control_line("B"), control_line("C", east, north))

    assert found.solved.checked is False
    first = found.diagnosis.suspects[0]
    assert (first.what, first.kind, first.would_be, first.slip) == ("C", "control", would_be, slip)
    assert first.reading.split()[0] == would_be.split()[0]


def test_an_error_that_no_digit_explains_is_told_without_a_slip() -> None:
    found = survey(control_line("A"), control_line("B"), control_line("C", 3.47, 0.0))

    first = found.diagnosis.suspects[0]
    assert (first.what, first.slip) == ("C", None)
    assert first.would_be.startswith("easting 500110.")


def test_a_bearing_that_disagrees_with_the_control_is_named() -> None:
    found = survey(control_line("A"), control_line("B"), north="north: {from: grid, bearings: {A-B: 95}}")

    assert found.solved.checked is False
    assert [(s.what, s.kind) for s in found.diagnosis.suspects[:1]] == [("A-B", "bearing")]


def test_sound_control_raises_no_doubt() -> None:
    found = survey(
        control_line("A"), control_line("B"), control_line("C"), north="north: {from: grid, bearings: {A-B: 90}}"
    )

    assert found.solved.checked is True
    assert found.diagnosis.suspects == ()
