"""Limits of offsets in print; e in centimetres, the scale in metres to the centimetre."""

from math import radians

import pytest

from pegline.commands.prepare.rules import longest_offset, longest_offset_by_both

PRINTED = 0.005  # to the centimetre


@pytest.mark.parametrize(
    ("plotting", "scale", "angle_deg", "printed"),
    [
        (0.025, 100, 2.0, 71.63),  # civinnovate.com, 23 September 2025
        (0.025, 20, 5.0, 5.74),  # B. C. Punmia, Surveying (from memory)
    ],
)
def test_by_the_angle_alone(plotting, scale, angle_deg, printed):
    assert longest_offset(plotting * scale, radians(angle_deg)) == pytest.approx(printed, abs=PRINTED)


@pytest.mark.parametrize(
    ("plotting", "scale", "ratio", "printed"),
    [
        (0.05, 20, 40, 28.28),  # indiabix 896, curioustab 47915
        (0.025, 20, 40, 14.14),  # B. C. Punmia, Surveying (from memory)
        (0.025, 30, 25, 13.26),  # civinnovate.com, 3 April 2025
    ],
)
def test_by_angle_and_length(plotting, scale, ratio, printed):
    assert longest_offset_by_both(plotting * scale, ratio) == pytest.approx(printed, abs=PRINTED)
