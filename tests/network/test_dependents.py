"""A reading is followed through every equation that holds it, by the same amount as in a changed book."""

from dataclasses import replace

import numpy as np
import pytest
from builders.records import LOCAL, measure

from pegline.network.adjust import adjust
from pegline.network.dependents import dependents_of, residual_rates, with_reading_changed
from pegline.network.least_squares import linearise, misclosures, with_observations
from pegline.network.observation_types import Oblique

STEP = 1e-5  # metres
SAME = 5e-4  # metres a metre: the rates leave out by how much a tape was found to read long, here 1.7e-4


@pytest.fixture(scope="module")
def fit():
    """A line with a tie station, a perpendicular and an oblique offset before and after it, all checked."""
    rows = (
        ("T", "A-B", 30.0, "station"),
        ("h", "A-B", 12.0, 5.0),
        ("k", "A-B", 40.0, -4.0),
        ("p", "A-B", (16.0, 24.0), (7.2, 6.3)),
        ("q", "A-B", (34.0, 44.0), (7.6, 5.9)),
    )
    lines = {"A-B": ("base", 60.0), "A-C": ("side", 50.0), "C-B": ("side", 46.0), "T-C": ("check", 39.0)}
    ties = {"h-p": 8.0, "p-q": 20.0, "k-q": 11.0}
    return adjust(*measure(lines, sides={"C": "left A-B"}, rows=rows, dimensions=ties), LOCAL).fit


def positions(fit):
    points = fit.parameters[: 2 * len(fit.network.names)].reshape(-1, 2).tolist()
    return dict(zip(fit.network.names, map(tuple, points), strict=True))


def change(fit, observations):
    """Return what other observations add to the residuals where the points stand."""
    other = with_observations(fit.network, observations)
    return misclosures(other, linearise(other, fit.parameters)) - misclosures(
        fit.network, linearise(fit.network, fit.parameters)
    )


def test_rates_are_those_of_the_changed_observations(fit):
    observations = fit.network.observations
    rates = [rate for rate in residual_rates(observations, positions(fit)) if rate[1] is not None]
    for number in range(len(observations)):
        expected = change(fit, with_reading_changed(observations, number, STEP)) / STEP
        expected[number] -= 1.0
        told = np.zeros(len(observations))
        for row, reading, rate in rates:
            if reading == number:
                told[row] += rate
        assert told == pytest.approx(expected, abs=SAME)


def test_an_arm_s_own_chainage_is_a_reading_too(fit):
    observations = fit.network.observations
    rates = {row: rate for row, reading, rate in residual_rates(observations, positions(fit)) if reading is None}
    assert set(rates) == {n for n, one in enumerate(observations) if isinstance(one, Oblique)}
    for row, rate in rates.items():
        other = list(observations)
        other[row] = replace(other[row], chainage=other[row].chainage + STEP)
        assert rate == pytest.approx(change(fit, other)[row] / STEP, abs=SAME)


def test_the_line_reaches_what_stands_after_its_tie_station_and_the_station_what_is_on_both_sides(fit):
    observations = fit.network.observations
    number = {(one.booking.label, one.booking.kind): n for n, one in enumerate(observations)}
    line, station = number["A-B", "length"], number["A-B at 30.00", "chainage"]
    by_line = {observations[n].booking.label for n in dependents_of(observations, line)}
    by_station = {observations[n].booking.label for n in dependents_of(observations, station)}
    # T stands in proportion to the whole line; rows before it end at T, rows after it begin there and end at B.
    assert by_line == {"A-B at 30.00", "A-B at 40.00", "A-B at 34.00", "A-B at 44.00"}
    assert by_station == {"A-B at 12.00", "A-B at 16.00", "A-B at 24.00", *by_line} - {"A-B at 30.00"}
