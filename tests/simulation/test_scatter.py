"""The deviations that are told are those that surveys scatter by: of stations, details, areas and lengths round.

A small plot is measured many times, each time by other tapes whose scale is drawn once for the survey, and
by other hands. The readings are worked out here from the true figure; nothing of pegline makes them.
"""

from math import ceil, dist, hypot, radians, sqrt, tan

import numpy as np
import pytest
from shapely.geometry import Polygon

from pegline import reduce
from pegline.readers import parse_book

SURVEYS = 80
STEEL, LINEN = (0.005, 1 / 5000, 30.0), (0.015, 1 / 1000, 20.0)  # a, b and length (common practice)
SET_SQUARE, NOT_TOLD = radians(0.5), radians(1.0)  # of a right angle (common practice)

AT = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (20.0, 25.0), "D": (30.0, -22.0)}
ALONG = (20 / hypot(20, 25), 25 / hypot(20, 25))  # A-C
BED = {"q1": (3.0, 2.0), "q2": (7.0, 5.0), "q3": (12.0, 4.0), "q4": (15.0, 1.5)}  # chainage and offset right of A-C
TRUE = AT | {"h": (10.0, 3.0), "o": (24.0, -9.0)}
TRUE |= {n: (c * ALONG[0] + o * ALONG[1], c * ALONG[1] - o * ALONG[0]) for n, (c, o) in BED.items()}
RINGS = {"plot": "A D B C", "bed": "q1 q2 q3 q4"}


def book_of(seed):
    """Return the book of one party."""
    draw = np.random.default_rng(seed)
    scales = {tape: 1 + tape[1] * draw.normal() for tape in (STEEL, LINEN)}

    def read(length, tape=STEEL):
        return f"{length * scales[tape] + tape[0] * sqrt(max(1, ceil(length / tape[2]))) * draw.normal():.9f}"

    def line(pair):
        return read(dist(*(AT[name] for name in pair.split("-"))))

    def row(name, along, offset, side, square):
        at = read(along + offset * tan(square * draw.normal()))
        return f"{{at: {at}, {side}: {read(offset, LINEN)}, point: {name}"

    house = row("h", 10.0, 3.0, "left", SET_SQUARE) + ", method: set square}"
    arms = ", ".join(read(dist((along, 0.0), TRUE["o"]), LINEN) for along in (20.0, 32.0))
    oblique = f"{{at: [{read(20.0)}, {read(32.0)}], right: [{arms}], point: o}}"
    bed = ", ".join(row(name, *where, "right", NOT_TOLD) + "}" for name, where in BED.items())
    return (
        "book: 1\nunit: m\n"
        "tapes: {s: {material: steel, length: 30}, l: {material: linen, length: 20}}\n"
        "default_tape: {lines: s, offsets: l}\n"
        "stations: {A: , B: , C: {left_of: A-B}, D: {right_of: A-B}}\n"
        "lines:\n"
        f"  A-B: {{use: base, taped: [{line('A-B')}, {line('A-B')}], details: [{house}, {oblique}]}}\n"
        f"  A-C: {{use: side, taped: {line('A-C')}, details: [{bed}]}}\n"
        + "".join(f"  {pair}: {{use: side, taped: {line(pair)}}}\n" for pair in ("C-B", "A-D", "D-B"))
        + f"  C-D: {{use: check, taped: {line('C-D')}}}\n"
        "features:\n"
        + "".join(f"  {name}: {{kind: boundary, ring: [{', '.join(ring.split())}]}}\n" for name, ring in RINGS.items())
    )


def standardised_errors(seed):
    """Return every error of one survey over the deviation told for it."""
    survey = reduce(parse_book(book_of(seed).encode(), "scatter.yaml"))
    solution, points = survey.adjustment.solution, survey.detail.points
    found = {n: (solution.position(n), solution.local_variances[solution.index[n]]) for n in AT}
    found |= {n: (points.positions[i], points.local_variances[i]) for n, i in points.index.items()}
    errors = {}
    for name, true in TRUE.items():
        position, variances = found[name]
        for axis in (0, 1):
            if variances[axis, axis] > 1e-18:  # the base line is held
                errors[name, "xy"[axis]] = (position[axis] - true[axis]) / sqrt(variances[axis, axis])
    for name, ring in RINGS.items():
        true, shape = Polygon([TRUE[corner] for corner in ring.split()]), survey.detail.shapes[name]
        errors[name, "area"] = (shape.area - true.area) / shape.area_sd
        errors[name, "perimeter"] = (shape.perimeter - true.length) / shape.perimeter_sd
    return errors


@pytest.fixture(scope="module")
def errors():
    surveys = [standardised_errors(seed) for seed in range(SURVEYS)]
    return {what: np.array([survey[what] for survey in surveys]) for what in surveys[0]}


def test_results_scatter_by_what_is_told(errors):
    # Four deviations of a sample's own deviation, which is 1/√(2n).
    assert len(errors) == 5 + 2 * 6 + 4
    assert {what: e.std() for what, e in errors.items() if abs(e.std() - 1) > 4 / sqrt(2 * SURVEYS)} == {}


def test_results_lie_about_the_truth(errors):
    assert {what: e.mean() for what, e in errors.items() if abs(e.mean()) > 4 / sqrt(SURVEYS)} == {}
