"""Unit factors against the EPSG register that pyproj carries."""

import pytest
from pyproj.database import get_units_map

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
PRINTED = 1e-14  # the register prints 15 to 16 digits


@pytest.mark.parametrize(("unit", "code"), EPSG.items())
def test_a_unit_is_the_one_of_the_register(unit, code):
    register = {entry.code: entry for entry in get_units_map(auth_name="EPSG", category="linear").values()}

    assert METRES_PER[unit] == pytest.approx(register[code].conv_factor, rel=PRINTED)


@pytest.mark.parametrize(("unit", "metres"), EXACT_OTHERWISE.items())
def test_a_unit_that_the_register_lacks(unit, metres):
    # in: 25.4 mm, international yard and pound agreement, 1959; the chains by their names.
    assert METRES_PER[unit] == metres


def test_every_unit_is_compared():
    assert set(METRES_PER) == EPSG.keys() | EXACT_OTHERWISE.keys()
