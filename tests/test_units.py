"""Unit factors against the EPSG register that pyproj carries, and against the constants of scipy."""

import math

import pytest
from pyproj.database import get_units_map
from scipy import constants

from pegline.measures import angles, notation
from pegline.reduction import tape
from pegline.units import METRES_PER

EPSG = {
    "m": "9001",
    "cm": "1033",
    "mm": "1025",
    "ft": "9002",
    "ft-us": "9003",
    "ft-indian": "9080",
    "yd": "9096",
    "ch": "9097",
    "lk": "9098",
    "ch-us": "9033",
    "lk-us": "9034",
}
EXACT_OTHERWISE = {"in": 0.0254, "lk-eng": 0.3048, "ch-eng": 30.48, "lk-20cm": 0.2, "ch-20m": 20.0, "ch-30m": 30.0}
DIGITS = 15  #: that the register prints


def printed(factor):
    return f"{factor:.{DIGITS}g}"


@pytest.mark.parametrize(("unit", "code"), EPSG.items())
def test_a_unit_is_the_one_of_the_register(unit, code):
    register = {entry.code: entry for entry in get_units_map(auth_name="EPSG", category="linear").values()}

    assert printed(METRES_PER[unit]) == printed(register[code].conv_factor)


@pytest.mark.parametrize(("unit", "metres"), EXACT_OTHERWISE.items())
def test_a_unit_that_the_register_lacks(unit, metres):
    # in: 25.4 mm, international yard and pound agreement, 1959; the chains by their names.
    assert METRES_PER[unit] == metres


def test_every_unit_is_compared():
    assert set(METRES_PER) == EPSG.keys() | EXACT_OTHERWISE.keys()


@pytest.mark.parametrize(
    ("own", "registered"),
    [
        (METRES_PER["ft"], constants.foot),
        (METRES_PER["ft-us"], constants.survey_foot),
        (METRES_PER["in"], constants.inch),
        (METRES_PER["yd"], constants.yard),
        (notation.ACRE, constants.acre),
        (METRES_PER["ch"] ** 2 * 10, constants.acre),
        (tape.GRAVITY, constants.g),
    ],
)
def test_a_constant_is_that_of_a_second_register(own, registered):
    assert printed(own) == printed(registered)


def test_angles_are_those_of_the_register():
    register = {entry.code: entry.conv_factor for entry in get_units_map(auth_name="EPSG", category="angular").values()}
    read = [math.radians(angles.degrees(text)) for text in ("1°", "1'", '1"')]

    # The register rounds these twice: its minute is 1 less in the fifteenth digit than π / 10800.
    assert read == pytest.approx([register[code] for code in ("9102", "9103", "9104")], rel=1e-14)
    assert read == pytest.approx([constants.degree, constants.arcmin, constants.arcsec], rel=1e-15)
