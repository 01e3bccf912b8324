"""A plot is drawn, booked, and reduced: the reduction must give the plot back."""

from dataclasses import replace
from statistics import median

import numpy as np
import pytest
from builders.book import book_text
from builders.networks import NETWORKS, random_plot, slope_lines, with_details
from builders.party import EXACT, ROUNDED, UNITS
from builders.plot import Tape

from pegline import reduce
from pegline.readers import parse_book

NANOMETRE = 1e-9
ROUNDING_SD = 0.29e-3  # of a reading rounded to the millimetre: 1 mm / √12
NO_SCALE = 1e-9  # metres a metre: as good as none, which a book may not claim
MEDIAN_ALLOWED = 3e-3  # for plots of up to 10 stations booked to the millimetre

#: all 200 plots; the first ones have every unit once and sizes from 4 to 40
PLOTS = [(seed, 4 + (seed * 7) % 37, list(UNITS)[seed % len(UNITS)]) for seed in range(200)]
FEW = len(UNITS) + 3
MANY = [pytest.param(*plot, marks=[] if plot[0] < FEW else pytest.mark.long) for plot in PLOTS]


def survey_of(text):
    return reduce(parse_book(text.encode(), "plot.yaml"))


def errors(survey, plot):
    """Return for each station and point how far it is from the truth, metres, in the frame of the base line."""
    truth = plot.local()
    solution, points = survey.adjustment.solution, survey.detail.points
    found = {name: solution.position(name) for name in plot.stations}
    found |= {name: points.positions[points.index[name]] for name in plot.points}
    return {name: float(np.hypot(*(found[name] - truth[name]))) for name in found}


@pytest.mark.parametrize(("seed", "stations", "unit"), MANY)
def test_an_unrounded_book_gives_the_truth(seed, stations, unit):
    plot = random_plot(seed, stations=stations)

    off = errors(survey_of(book_text(plot, unit=unit, errors=EXACT)), plot)

    assert max(off.values()) < NANOMETRE, max(off, key=off.get)


@pytest.mark.parametrize("name", NETWORKS)
def test_so_does_every_class_of_network_with_sides_told_in_words(name):
    plot = replace(with_details(NETWORKS[name](), 2), sides="named")

    off = errors(survey_of(book_text(plot)), plot)

    assert max(off.values()) < NANOMETRE, max(off, key=off.get)


@pytest.mark.parametrize(("seed", "unit"), [(1, "m"), (2, "ft"), (3, "lk-us")])
def test_so_does_a_plot_taped_over_slopes_with_a_false_tape(seed, unit):
    plot = slope_lines(random_plot(seed, stations=7), seed)

    off = errors(survey_of(book_text(plot, unit=unit)), plot)

    assert max(off.values()) < 10 * NANOMETRE, max(off, key=off.get)  # modulus and mass are booked to nine digits


def to_the_millimetre(seed, stations):
    """Return a plot whose tapes have the error of rounding and no other, and its survey."""
    tapes = {
        "steel": Tape("steel", 1000.0, ROUNDING_SD, NO_SCALE),
        "fibreglass": Tape("fibreglass", 1000.0, ROUNDING_SD, NO_SCALE),
    }
    plot = replace(random_plot(seed, stations=stations, details=1), tapes=tapes)
    return plot, survey_of(book_text(plot, errors=ROUNDED))


@pytest.mark.parametrize(("seed", "stations"), [plot[:2] for plot in PLOTS[:12]])
def test_rounding_moves_no_station_beyond_four_deviations(seed, stations):
    plot, survey = to_the_millimetre(seed, stations)
    solution, truth = survey.adjustment.solution, plot.local()

    for name in plot.stations:
        off = np.abs(solution.position(name) - truth[name])
        sd = np.sqrt(np.diagonal(solution.local_variances[solution.index[name]]))
        assert (off <= 4 * sd + NANOMETRE).all(), name


def test_rounding_moves_stations_of_small_plots_by_less_than_three_millimetres():
    off = []
    for seed in range(20):
        plot, survey = to_the_millimetre(seed, 4 + seed % 7)
        off += [error for name, error in errors(survey, plot).items() if name in plot.stations]

    assert median(off) < MEDIAN_ALLOWED
