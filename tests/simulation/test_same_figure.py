"""However a plot lies and however its book is written, the figure is the same."""

import re
from dataclasses import replace
from itertools import combinations
from math import pi
from random import Random

import numpy as np
import pytest
from builders.book import book_text
from builders.figures import keep
from builders.networks import random_plot
from builders.party import REALISTIC, UNITS, Errors
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pegline import reduce
from pegline.readers import parse_book

SOLVED = 1e-7  # metres: what the steps of the solution may leave
UNROUNDED = Errors(lays=1.0, scale=1.0, angle=1.0)

few = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
seeds = st.integers(0, 50)


def plot_of(seed):
    return random_plot(seed, stations=7, details=1)


def figure(text):
    """Return every position in the frame of the base line, by name."""
    survey = reduce(parse_book(text.encode(), "plot.yaml"))
    solution, points = survey.adjustment.solution, survey.detail.points
    found = {name: solution.positions[row] for name, row in solution.index.items()}
    return found | {name: points.positions[row] for name, row in points.index.items()}


def same(found, wanted, *, sign=1.0):
    assert found.keys() == wanted.keys()
    for name, place in found.items():
        assert place == pytest.approx(wanted[name] * np.array([1.0, sign]), abs=SOLVED), name


@few
@given(seed=seeds, turn=st.floats(0, 2 * pi), east=st.floats(-1e4, 1e4), north=st.floats(-1e4, 1e4))
def test_a_plot_turned_and_shifted(seed, turn, east, north):
    plot = plot_of(seed)
    moved = plot.move(turn=turn, east=east, north=north)

    same(figure(book_text(moved, errors=UNROUNDED)), figure(book_text(plot, errors=UNROUNDED)))


@few
@given(seed=seeds)
def test_a_plot_mirrored(seed):
    plot = plot_of(seed)

    mirrored = figure(book_text(plot.move(mirror=True), errors=UNROUNDED))

    same(mirrored, figure(book_text(plot, errors=UNROUNDED)), sign=-1.0)


@few
@given(seed=seeds, unit=st.sampled_from(sorted(UNITS)))
def test_a_book_in_another_unit(seed, unit):
    plot = plot_of(seed)

    same(figure(book_text(plot, unit=unit, errors=UNROUNDED)), figure(book_text(plot, errors=UNROUNDED)))


@few
@given(seed=seeds, order=st.integers(0, 10**6))
def test_lines_and_stations_in_another_order(seed, order):
    plot = plot_of(seed)
    random = Random(order)
    lines, stations = list(plot.lines), list(plot.stations.items())
    random.shuffle(lines)
    random.shuffle(stations)
    shuffled = replace(plot, lines=tuple(lines), stations=dict(stations))

    same(figure(book_text(shuffled, errors=UNROUNDED)), figure(book_text(plot, errors=UNROUNDED)))


@few
@given(seed=seeds)
def test_other_names(seed):
    text = book_text(plot_of(seed), errors=UNROUNDED)

    def other(name):
        # 9 - digit turns the alphabetical order round as well.
        return re.sub(r"\b([STp])(\d+)\b", lambda found: f"{found[1].swapcase()}x{99 - int(found[2])}", name)

    renamed = figure(other(text))

    same(renamed, {other(name): place for name, place in figure(text).items()})


def turn(a, b, c):
    """Return twice the area of a triangle, positive where its corners run to the left."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


@pytest.mark.parametrize("plans", [30, pytest.param(10_000, marks=pytest.mark.long)])
def test_no_plan_is_mirrored(plans):
    triangles = mirrored = 0
    for seed in range(plans):
        plot = random_plot(seed, stations=4 + seed % 3, details=seed % 2)
        found = figure(book_text(plot, errors=REALISTIC, seed=seed))
        for names in combinations(plot.stations, 3):
            true = turn(*(plot.stations[name] for name in names))
            if abs(true) > 10:  # flatter ones may well be turned over by errors of readings
                triangles += 1
                mirrored += true * turn(*(found[name] for name in names)) < 0

    assert triangles > plans
    assert mirrored == 0
    if plans > 30:
        keep("G12", "random plans with real errors of reading", f"0 of {triangles} triangles mirrored", plans)
