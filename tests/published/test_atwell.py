"""The oldest of the published books: two fields of George Atwell's, reduced as he did."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
import yaml

from pegline import reduce
from pegline.detail.place import place
from pegline.readers import parse_book
from pegline.units import METRES_PER

LINK = METRES_PER["lk"]
POLE = 625  # square links


def case(name):
    return yaml.safe_load((Path(__file__).parent / f"atwell-1658-{name}.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def close():
    return case("church-close")


@pytest.fixture(scope="module")
def survey(close):
    return reduce(parse_book(close["given"].encode(), "church-close.yaml"))


def test_the_framework_as_he_plotted_it(close, survey):
    plotting = survey.adjustment.plotting
    for name, printed in close["expected"]["stations"].items():
        found = plotting.position(name) / LINK
        assert found == pytest.approx(printed, abs=close["tolerance"]["stations"]), name


def test_the_proof_line_shuts_within_his_twenty_links(close, survey):
    expected, tolerance = close["expected"]["check"], close["tolerance"]["check"]
    (proof,) = [check for check in survey.adjustment.checks if check.what == expected["line"]]

    assert proof.taped / LINK == pytest.approx(expected["taped"], abs=tolerance)
    assert proof.computed / LINK == pytest.approx(expected["computed"], abs=tolerance)
    assert proof.allowed / LINK <= expected["allowed"]
    assert proof.passed


def between(detail, start, end):
    """Return the square links between two breadths of a line, from the points as placed and their feet."""
    points, feet = detail.points, detail.offset_feet

    def foot(name):
        (row,) = points.rows[points.index[name]]
        offsets = feet.rows.tolist()  # a point on its line has none, and is its own foot
        return feet.positions[offsets.index(row)] if row in offsets else points.positions[points.index[name]]

    corners = [foot(start), points.positions[points.index[start]]]
    corners += [points.positions[points.index[end]], foot(end)]
    twice = sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise([*corners, corners[0]]))
    return abs(twice) / 2 / LINK**2


@pytest.fixture(scope="module")
def plotted(survey):
    """Return the detail as he plotted it: on the stations that his arcs fix, not on the adjusted ones."""
    adjustment = replace(survey.adjustment, delivered="plotting")
    return place(survey.book, survey.reduction, survey.frame, adjustment)


@pytest.mark.parametrize("number", range(9))
def test_the_partial_areas_that_his_arithmetic_has_right(close, plotted, number):
    trapezium = close["expected"]["trapezia"][number]
    start, end = trapezium["between"]
    stretch = 1.0
    if start.startswith("da"):  # on the plot the proof line is shorter than he chained it
        proof = close["expected"]["check"]
        stretch = proof["computed"] / proof["taped"]

    area = between(plotted, start, end) / stretch

    right = trapezium.get("right", trapezium["printed"])
    assert area == pytest.approx(right, abs=close["tolerance"]["trapezia"])


def test_his_two_slips_of_arithmetic(close):
    slips = [trapezium for trapezium in close["expected"]["trapezia"] if "right" in trapezium]

    assert [slip["right"] - slip["printed"] for slip in slips] == [70, 4050]
    printed = sum(trapezium["printed"] for trapezium in close["expected"]["trapezia"])
    assert printed == close["expected"]["borders"]["printed"]  # so his total really uses both


def test_the_strip_with_irregular_breadths():
    strip = case("strip")
    survey = reduce(parse_book(strip["given"].encode(), "strip.yaml"))
    area = survey.detail.shapes["strip"].area / LINK**2

    assert area == pytest.approx(strip["expected"]["areas"]["strip"], abs=strip["tolerance"]["areas"])
    poles = area / POLE - 40 * strip["expected"]["roods"]
    assert poles == pytest.approx(strip["expected"]["poles"], abs=strip["tolerance"]["poles"])
