"""Readings of one length brought together: means, spreads, and χ², against another library and by hand."""

from math import hypot, sqrt

import pytest
from scipy.stats import chi2, norm

from pegline.errors import Place
from pegline.reduction.ground import (
    chi2_exceeded,
    mean_of_readings,
    missing_constants,
    reading_sd,
    spread_limit,
    spread_passes,
    sum_of_legs,
)
from pegline.reduction.model import Ground, TapeConstants
from pegline.reduction.tape import Conditions

HERE, THERE = Place("b.yaml", 1, 1), Place("b.yaml", 2, 1)
SCALES = {"steel": 1 / 5000, "linen": 1 / 1000}
STEEL = TapeConstants("steel", "steel", 50.0, 0.005, 1 / 5000, 20.0, 50.0, None, None, 200e9, 11.5e-6)


def test_chi2_is_that_of_scipy():
    for freedom in (1, 2, 3, 10, 25, 100, 299, 300):
        for value in (0.0, 0.5 * freedom, freedom, 1.5 * freedom + 3):
            assert chi2_exceeded(value, freedom) == pytest.approx(chi2.sf(value, freedom), abs=1e-12)
    for freedom in (301, 5000):  # Wilson and Hilferty's cube root
        for value in (0.9 * freedom, freedom, 1.1 * freedom):
            assert chi2_exceeded(value, freedom) == pytest.approx(chi2.sf(value, freedom), abs=1e-4)


def ground(length, sd, tape="steel", **more):
    return Ground(length - 0.5, length, sd, tape, more.pop("place", HERE), **more)


def test_a_mean_shares_the_scale_of_the_tape_that_taped_most_of_it():
    linen = [ground(39.0, 0.015, "linen"), ground(39.2, 0.015, "linen")]
    found = mean_of_readings([ground(40.0, 0.005, place=THERE), *linen], SCALES)

    # A third of each: of the linen tape 26.1 m, of the steel one 13.3 m, whose scale is an error of the mean's own.
    assert (found.tape, found.count, found.place) == ("linen", 3, THERE)
    assert found.length == pytest.approx(118.2 / 3)
    assert found.reading == pytest.approx(118.2 / 3 - 0.5)
    own = (0.005**2 + 2 * 0.015**2) / 9
    assert found.sd == pytest.approx(sqrt(own + (40 / 3 / 5000) ** 2))


def test_legs_are_added_up_with_all_that_is_known_of_them():
    one = ground(40.0, 0.005, corrections={"sag": -0.2, "slope": -0.1}, either=(40.0, 41.0))
    other = ground(30.0, 0.015, "linen", corrections={"slope": -0.4}, doubtful=True, place=THERE)
    found = sum_of_legs([one, other], SCALES)

    assert (found.length, found.reading, found.tape, found.place) == (70.0, 69.0, "steel", HERE)
    assert found.sd == pytest.approx(hypot(0.005, 0.015, 0.030))
    assert found.corrections == {"sag": pytest.approx(-0.2), "slope": pytest.approx(-0.5)}
    assert (found.either, found.doubtful, found.count) == ((70.0, 71.0), True, 1)
    plain = sum_of_legs([ground(40.0, 0.005), ground(30.0, 0.005)], SCALES)
    assert (plain.either, plain.doubtful) == ((), False)
    assert sum_of_legs([one], SCALES) is one
    assert mean_of_readings([one], SCALES) is one


def test_the_limit_of_two_readings_is_that_of_their_difference_under_the_normal_distribution():
    assert spread_limit([0.003, 0.004], 0.01) == pytest.approx(norm.isf(0.005) * 0.005)
    assert spread_limit([0.004] * 5, 0.001) == pytest.approx(norm.isf(0.0005) * sqrt(2) * 0.004)


@pytest.mark.parametrize(
    ("sds", "shape"),
    [((0.005, 0.005), (0.0, 1.0)), ((0.002, 0.010), (0.0, 1.0)), ((0.005, 0.002, 0.008), (0.0, 1.0, -2.0))],
)
@pytest.mark.parametrize("significance", [0.001, 0.05])
def test_readings_may_spread_as_far_as_chi2_of_their_number_allows(sds, shape, significance):
    # Their weighted sum of squares about the weighted mean grows with the square of their spread.
    weights = [sd**-2 for sd in sds]
    mean = sum(w * x for w, x in zip(weights, shape, strict=True)) / sum(weights)
    square = sum(w * (x - mean) ** 2 for w, x in zip(weights, shape, strict=True))
    size = sqrt(chi2.isf(significance, len(sds) - 1) / square)
    for share, passes in ((0.999, True), (1.001, False)):
        assert spread_passes([52.3 + share * size * x for x in shape], sds, significance) is passes


def test_what_is_asked_for_and_cannot_be_made_is_told_with_what_lacks():
    def lacking(**booked):
        return missing_constants(Conditions(**booked), STEEL)

    assert lacking(pull=80.0, spans=2) == [("pull", ["section"]), ("sag", ["mass"])]
    assert lacking(pull=50.0, temperature=20.0, rise=1.0) == []
    linen = TapeConstants("old", "linen", 30.0, 0.015, 0.001, 20.0, None, None, None, None, None)
    assert missing_constants(Conditions(temperature=20.0), linen) == []
    assert missing_constants(Conditions(temperature=21.0, spans=1), linen) == [
        ("temperature", ["expansion"]),
        ("sag", ["mass", "standard_pull"]),
    ]


def test_a_reading_is_as_good_as_the_lays_that_it_took():
    for length, lays in ((0.0, 1), (50.0, 1), (50.1, 2), (-120.0, 3)):
        assert reading_sd(length, STEEL, None, "m") == pytest.approx(0.005 * sqrt(lays))
