"""What a change of one observation does, compared with doing it."""

from dataclasses import replace

import numpy as np
import pytest
from builders.book import book_text
from builders.networks import NETWORKS
from builders.plot import Row
from builders.records import LOCAL, measure
from builders.simulated import Framework

from pegline.diagnosis.effects import Effects, jacobian
from pegline.diagnosis.open_readings.choices import with_readings
from pegline.diagnosis.suspects.readings import readings_by_number
from pegline.frame.choice import choose_frame
from pegline.measures.values import Length
from pegline.network.adjust import adjust
from pegline.network.dependents import dependents_of, with_reading_changed
from pegline.network.equations import EQUATIONS
from pegline.network.least_squares import solve_network
from pegline.network.linear_equations import with_observations
from pegline.network.observations import observations, shared_points
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings

ROUNDING = 1e-9
#: The straight equations hold to second order: with errors of centimetres on 50 m, to this share.
STRAIGHT = 0.01

each_class = pytest.mark.parametrize("name", NETWORKS)


def measured_survey(name, seed=1):
    """Return a simulated survey of a class, solved."""
    framework = Framework(NETWORKS[name]())
    return solve_network(framework.measure(np.random.default_rng(seed)))


@each_class
def test_redundancy_numbers_sum_to_the_freedom(name):
    # The trace of R is the number of redundant measurements; the tape's scale, itself measured, takes its own part.
    fit = measured_survey(name)
    effects = Effects(fit)
    last = np.array(fit.network.columns.max())
    scale = fit.factor.pairs(last, last)
    of_scale = 1 - scale / fit.network.shared_sds[0] ** 2
    assert effects.spread.sum() + of_scale == pytest.approx(fit.freedom, abs=1e-6)


@each_class
def test_what_errors_do_to_the_residuals_is_the_hat_matrix(name):
    fit = measured_survey(name)
    rows = np.arange(len(fit.residuals))
    mine = jacobian(fit, rows)
    hat = np.eye(len(rows)) - mine @ fit.factor.solve(mine.T)
    assert np.abs(Effects(fit).residual_effects(np.eye(len(rows))) - hat).max() < ROUNDING


@pytest.mark.parametrize("name", ["six stations, all lines", "grid", "two hubs", "quad with pegs"])
def test_leaving_out_is_foretold(name):
    fit = measured_survey(name)
    effects = Effects(fit)
    for number in range(0, len(fit.residuals), 3):
        if dependents_of(fit.network.observations, number) or effects.spread[number] < 0.05:
            continue
        told = effects.explain(np.array([number]))
        keep = np.ones(len(fit.residuals), bool)
        keep[number] = False
        without = solve_network(fit.network, keep, fit.parameters)
        assert -told.tests[0] * told.sd[0] == pytest.approx(-without.residuals[number], rel=STRAIGHT, abs=1e-5)
        assert fit.square_sum - told.tests[0] ** 2 == pytest.approx(without.square_sum, rel=STRAIGHT, abs=1e-4)
        assert told.worst[0] == pytest.approx(Effects(without).worst(), rel=STRAIGHT, abs=1e-3)


def test_an_error_in_a_line_reaches_the_chainages_along_it():
    lines = {"A-B": ("base", 60.0), "A-C": ("side", 50.0), "C-B": ("side", 46.0)}
    rows = [("h", "A-B", 27.0, 5.0), ("k", "A-C", 20.0, -4.0)]
    book, reduction = measure(lines, sides={"C": "left A-B"}, rows=rows, dimensions={"C-h": 32.98})
    fit = adjust(book, reduction, LOCAL).fit
    ones = fit.network.observations
    number = [one.booking.label for one in ones].index("A-B")
    direction = Effects(fit).directions(np.array([number]))[:, 0]
    (chainage,) = dependents_of(ones, number)
    # h lies at 0.45 of A-B: its computed chainage grows by as much of the error, its misclosure shrinks.
    assert direction[number] * ones[number].booking.sd == pytest.approx(1.0)
    assert direction[chainage] * ones[chainage].booking.sd == pytest.approx(-0.45, abs=0.001)
    assert np.count_nonzero(np.abs(direction) > ROUNDING) == 2


@pytest.mark.parametrize(("what", "kind"), [("A-B", "length"), ("A-B at", "chainage")])
def test_a_changed_observation_is_what_a_changed_book_gives(what, kind):
    plot = NETWORKS["quad with pegs"]()
    points = {"h1": (12.0, 4.0), "h2": (40.0, 5.0), "oak": (48.0, 3.0)}
    rows = (Row("S", "station"), Row("h1"), Row("h2"), Row("oak", "oblique", (41.0, 52.0)))
    lines = tuple(replace(ln, rows=rows) if ln.name == "A-B" else ln for ln in plot.lines)
    plot = replace(plot, lines=lines, points=points, dimensions=("h1-h2", "h2-oak"))
    book = parse_book(book_text(plot).encode(), "changed.yaml")

    def of(one):
        reduction = reduce_readings(one)
        solved = {*one.station_names, *shared_points(one, reduction)}
        return observations(one, reduction, choose_frame(one, reduction), solved)

    before = of(book)
    number = next(
        n
        for n, one in enumerate(before)
        if one.booking.kind == kind
        and one.booking.label.startswith(what)
        and one.booking.part in ("base", "side", "station")
    )
    place = readings_by_number(book, reduce_readings(book), before)[number][0].place
    by = 0.25

    def longer(reading):
        length = reading.length
        return (
            replace(reading, length=Length(length.value + by, length.unit, "")) if reading.place == place else reading
        )

    after, told = of(with_readings(book, longer)), with_reading_changed(before, number, by)
    for one, other in zip(after, told, strict=True):
        assert one.booking.value == pytest.approx(other.booking.value, abs=1e-4)
        numbers = EQUATIONS[type(one)].numbers
        assert numbers(one) == pytest.approx(numbers(other), abs=1e-4)


def test_nothing_hangs_on_most_observations():
    framework = Framework(NETWORKS["fan"]())
    assert all(not dependents_of(framework.true, number) for number in range(len(framework.true)))
    same = with_observations(framework.network, with_reading_changed(framework.true, 3, 0.5))
    assert np.flatnonzero(same.values - framework.network.values).tolist() == [3]
