"""The earth's field against the package whose coefficients are read, and by hand for a field of one term."""

from __future__ import annotations

import datetime
import subprocess
import sys
from math import cos, pi, radians, sin

import numpy as np
import ppigrf
import pytest
from pyproj import Transformer

from pegline.frame import geomagnetism
from pegline.frame.geomagnetism import field_at


def test_the_field_is_that_of_the_package_whose_coefficients_are_read() -> None:
    # ppigrf comes back from the sphere to the ellipsoid with an angle for its sine: up to 3e-4 nanotesla to the north.
    rng = np.random.default_rng(5)
    for longitude, latitude, height, year in zip(
        rng.uniform(-180, 180, 60),
        rng.uniform(-89, 89, 60),
        rng.uniform(0, 5000, 60),
        rng.integers(1900, 2030, 60),
        strict=True,
    ):
        moment = datetime.datetime(int(year), int(rng.integers(1, 13)), 17, 12)
        east, north = field_at(longitude_deg=longitude, latitude_deg=latitude, height=height, moment=moment)
        their_east, their_north, _ = ppigrf.igrf(longitude, latitude, height / 1000, moment)

        assert east == pytest.approx(their_east.item(), abs=1e-9)
        assert north == pytest.approx(their_north.item(), abs=4e-4)


def test_the_field_is_theirs_from_the_first_moment_on() -> None:
    first = datetime.datetime(1900, 1, 1)
    east, north = field_at(longitude_deg=12.5, latitude_deg=50.0, height=0.0, moment=first)
    their_east, their_north, _ = ppigrf.igrf(12.5, 50.0, 0.0, first)

    assert (east, north) == pytest.approx((their_east.item(), their_north.item()), abs=4e-4)


@pytest.mark.parametrize("latitude", [-71.0, -20.0, 0.0, 35.0, 68.0])
def test_on_the_sphere_the_field_is_theirs_to_the_last_digit(latitude: float) -> None:
    moment = datetime.datetime(1987, 3, 9, 12)
    colatitude, radius, _, _ = ppigrf.ppigrf.geod2geoc(np.array([latitude]), np.array([0.2]), 0.0, 0.0)
    up, south, _ = (each.item() for each in ppigrf.igrf_gc(radius, colatitude, 12.5, moment))
    lean = radians(latitude) - (pi / 2 - radians(colatitude.item()))

    _, north = field_at(longitude_deg=12.5, latitude_deg=latitude, height=200.0, moment=moment)

    assert north == pytest.approx(-south * cos(lean) - up * sin(lean), abs=1e-9)


def test_a_declination_does_not_wait_for_pandas() -> None:
    ask = "import datetime, sys; from pegline.frame.north import igrf_declination as d; "
    ask += "d(longitude_deg=1, latitude_deg=50, day=datetime.date(2020, 1, 1)); print('pandas' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True).stdout == "False\n"


def test_without_the_package_of_the_coefficients_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(geomagnetism, "find_spec", lambda name: None)
    geomagnetism._model.cache_clear()

    with pytest.raises(ModuleNotFoundError, match="ppigrf"):
        field_at(longitude_deg=0.0, latitude_deg=52.0, height=0.0, moment=datetime.datetime(2020, 1, 1))
    monkeypatch.undo()
    geomagnetism._model.cache_clear()


@pytest.mark.parametrize(("longitude", "latitude"), [(0.0, 52.0), (-103.5, -17.25), (68.0, 0.0), (171.0, 81.0)])
def test_a_dipole_pulls_along_its_own_meridian(
    monkeypatch: pytest.MonkeyPatch, longitude: float, latitude: float
) -> None:
    # The three terms of degree 1 are a magnet at the centre, of field a³ (3 (g·r) r / r⁵ - g / r³) with g = (g₁₁, h₁₁,
    # g₁₀): no harmonics are needed, nor angles. Half way between two moments the field is the mean of theirs.
    listed = {(1, 0): (-31000.0, -29000.0), (1, 1): (-2300.0, -1500.0), (1, -1): (5900.0, 5100.0)}
    g = np.array([-1900.0, 5500.0, -30000.0])
    moments = datetime.datetime(1900, 1, 1), datetime.datetime(1950, 1, 1)
    monkeypatch.setattr(geomagnetism, "_model", lambda: (moments, listed))
    half_way = moments[0] + (moments[1] - moments[0]) / 2
    east, north = field_at(longitude_deg=longitude, latitude_deg=latitude, height=1500.0, moment=half_way)

    to_centre = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    r = np.array(to_centre.transform(longitude, latitude, 1500.0)) / 6_371_200.0
    field = 3 * (g @ r) * r / np.linalg.norm(r) ** 5 - g / np.linalg.norm(r) ** 3
    turn, tilt = radians(longitude), radians(latitude)
    assert east == pytest.approx(field @ [-sin(turn), cos(turn), 0.0], rel=1e-9)
    assert north == pytest.approx(field @ [-sin(tilt) * cos(turn), -sin(tilt) * sin(turn), cos(tilt)], rel=1e-9)
