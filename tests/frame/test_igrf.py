"""Our reading of the IGRF's coefficients against the package that carries them."""

from __future__ import annotations

import datetime

import ppigrf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pegline.frame.igrf import horizontal_field

#: The two count the days of a leap year differently: some hours of secular change. 0.5 nT is 0.002° of declination.
HOURS_APART = 0.5  # nanotesla


@settings(max_examples=40, deadline=None)
@given(
    day=st.dates(datetime.date(1900, 1, 1), datetime.date(2029, 12, 31)),
    longitude=st.floats(-180, 180),
    latitude=st.floats(-85, 85),
    height=st.floats(-100, 9000),
)
def test_the_field_is_that_of_the_package(day: datetime.date, longitude: float, latitude: float, height: float) -> None:
    noon = datetime.datetime(day.year, day.month, day.day)
    east, north, _ = ppigrf.igrf(longitude, latitude, height / 1000, noon)

    found = horizontal_field(day, longitude_deg=longitude, latitude_deg=latitude, height=height)

    assert found == pytest.approx((float(east[0]), float(north[0])), abs=HOURS_APART)


def test_at_the_pole_itself_there_is_a_field() -> None:
    east, north = horizontal_field(datetime.date(2020, 1, 1), longitude_deg=0, latitude_deg=90, height=0)

    # WMM 2020: about 1.8 µT horizontally at the north pole (from memory, coarse).
    assert 1000 < (east**2 + north**2) ** 0.5 < 3000
