"""Layouts measured in simulation, the sketch being the truth: points scatter as was expected of them."""

import numpy as np
import pytest
from builders.book import fill
from builders.party import Errors, Party
from builders.plot import Line, Plot

from pegline.commands.prepare.expectation import expect, read_intention
from pegline.detail.place import place
from pegline.readers import parse_book
from pegline.readers.yaml import parse
from pegline.survey import refine_frame, solve

USUAL = Errors(lays=1.0, scale=1.0, angle=1.0)
HEAD = """\
book: 1
unit: m
tapes:
  steel: {material: steel, length: 50}
  fibreglass: {material: fibreglass, length: 30}
default_tape: {lines: steel, offsets: fibreglass}
default_method: optical square
"""


def random_layout(rng):
    """Return stations and points of a braced quadrilateral on a base line, metres."""
    length = rng.uniform(30, 70)
    stations = {
        "A": (0.0, 0.0),
        "B": (length, 0.0),
        "C": (length * rng.uniform(0.3, 0.7), length * rng.uniform(0.35, 0.6)),
        "D": (length * rng.uniform(0.3, 0.7), -length * rng.uniform(0.35, 0.6)),
    }
    points = {f"p{n}": (length * rng.uniform(0.1, 0.9), rng.uniform(-12, 12)) for n in range(1, 6)}
    return stations, points


def sketch_book(stations, points):
    """Return the book that means to measure a layout."""
    places = "\n".join(f"  {name}: {{sketch: [{x:.6f}, {y:.6f}]}}" for name, (x, y) in stations.items())
    things = "\n".join(f"  {name}: {{sketch: [{x:.6f}, {y:.6f}]}}" for name, (x, y) in points.items())
    uses = {"A-B": "base", "A-C": "side", "C-B": "side", "A-D": "side", "D-B": "side", "C-D": "check"}
    lines = "\n".join(f"  {name}: {{use: {use}, taped: }}" for name, use in uses.items())
    return f"{HEAD}stations:\n{places}\npoints:\n{things}\nlines:\n{lines}\n", uses


def expectation_of(text):
    return expect(read_intention(parse(text, "layout.yaml"), parse_book(text.encode(), "layout.yaml")))


def deviations(solution, points):
    """Return the deviations of x and y of every station and point, by name."""
    names = [*solution.names, *points.names]
    variances = np.concatenate([solution.local_variances, points.local_variances])
    return {name: np.sqrt(np.diag(variance)) for name, variance in zip(names, variances, strict=True)}


def measure_layout(expectation, stations, points, uses, seed):
    """Return x and y of everything, once the layout is measured by a party that errs as usual."""
    plot = Plot(stations, tuple(Line(name) for name in uses), points=points)
    rows = {name: [] for name in uses}
    for point, booking in expectation.bookings.items():
        arms = "" if len(booking.chainages) == 1 else " from " + " ".join(f"{at:.3f}" for at in booking.chainages)
        rows[booking.line].append(f"      - {{<{point} on {booking.line}{arms}>, point: {point}}}")
    lines = "".join(
        f"  {name}:\n    use: {use}\n    taped: <{name}>\n"
        + ("    details:\n" + "\n".join(rows[name]) + "\n" if rows[name] else "")
        for name, use in uses.items()
    )
    sides = "stations: {C: {left_of: A-B}, D: {right_of: A-B}}\n"
    text = fill(f"{HEAD}{sides}lines:\n{lines}", Party(plot, errors=USUAL, seed=seed))
    framework = refine_frame(solve(parse_book(text.encode(), "layout.yaml")))
    solution, detail = framework.adjustment.solution, place(*framework)
    positions = dict(zip(solution.names, solution.positions, strict=True))
    return positions | dict(zip(detail.points.names, detail.points.positions, strict=True))


def ratios(layouts, runs, seed):
    """Yield what was found over what was expected, for x and y of everything."""
    rng = np.random.default_rng(seed)
    for number in range(layouts):
        stations, points = random_layout(rng)
        text, uses = sketch_book(stations, points)
        expectation = expectation_of(text)
        told = deviations(expectation.survey.adjustment.solution, expectation.survey.detail.points)
        found = [measure_layout(expectation, stations, points, uses, f"{seed} {number} {run}") for run in range(runs)]
        for name, sds in told.items():
            scatter = np.std([places[name] for places in found], axis=0, ddof=1)
            yield from (scatter[axis] / sds[axis] for axis in (0, 1) if sds[axis] > 1e-6)


def test_what_is_expected_is_what_is_found():
    # 60 runs give a deviation to 9 %; the mean of 25 of them to about 3 %.
    found = np.array(list(ratios(1, 60, 1)))
    assert len(found) > 10
    assert found.mean() == pytest.approx(1.0, abs=0.12)


@pytest.mark.long
def test_what_is_expected_of_100_layouts_is_found_within_a_tenth():
    # 1,000 runs give a deviation to 2.2 %: of 1,500 the worst lies at about 8 %.
    found = np.array(list(ratios(100, 1000, 2)))
    print(
        f"{len(found)} deviations: found over expected {found.min():.3f} to {found.max():.3f}, mean {found.mean():.3f}"
    )
    assert found.min() > 0.9
    assert found.max() < 1.1
