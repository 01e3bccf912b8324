"""Layouts measured in simulation, the sketch being the truth: points scatter as was expected of them.

The party lays its tape down each line once, as chainmen do: every full lay brings an error of its own, which all that
is read farther along the line has in common, the line's length too; each reading brings one more. (A party that errs
anew for every chainage, as if it chained the line again for each, finds points beyond the first lay some 3 % worse than
is expected of them, and rightly so.)
"""

from math import floor
from statistics import NormalDist

import numpy as np
import pytest
from builders.book import fill
from builders.little_book import TWO_TAPES
from builders.party import Chain, Errors, Party
from builders.plot import Line, Plot

from pegline.commands.prepare.expectation import expect, read_intention
from pegline.detail.place import place
from pegline.readers import parse_book
from pegline.readers.yaml import parse
from pegline.survey import refine_frame, solve

USUAL = Errors(lays=1.0, scale=1.0, angle=1.0)


class ChainingParty(Party):
    """A party that lays its tape down each line once."""

    def running_total(self, line, what="", *, leg=0):
        return self.read_along(line, Chain.of(self.plot, line).length, line.name)

    def chainage(self, line, level, what):
        return self.read_along(line, level, what)

    def read_along(self, line, level, what):
        """Return what is read off the tape at a distance from the start, metres."""
        tape = self.plot.tapes[self.plot.line_tape]
        scale = self.draw(f"scale of {self.plot.line_tape}", tape.b * self.errors.scale)
        before = range(floor(max(level, 0.0) / tape.length))
        lays = sum(self.draw(f"lay {number} of {line.name}", tape.a * self.errors.lays) for number in before)
        return level * (1 + scale) + lays + self.draw(what, tape.a * self.errors.lays)


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
    return f"{TWO_TAPES}stations:\n{places}\npoints:\n{things}\nlines:\n{lines}\n", uses


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
    text = fill(f"{TWO_TAPES}{sides}lines:\n{lines}", ChainingParty(plot, errors=USUAL, seed=seed))
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
    """Every one of some 1,500 deviations found lies within a tenth of the one expected.

    1,000 runs give a deviation to 1 / √(2 · 999) = 2.24 %. Were every expectation exact, the largest of 1,500 would
    differ by more than 10 % in about one of 100 such tests (Šidák); so the limit is not widened for their number,
    and one expectation that is 15 % too small would be told in 97 of 100.

    Run whole on 2026-11-29, a quarter of an hour on one processor: passed.
    """
    found = np.array(list(ratios(100, 1000, 2)))
    spread = 1 / np.sqrt(2 * 999)
    by_chance = 1 - (2 * NormalDist().cdf(0.1 / spread) - 1) ** len(found)
    print(
        f"{len(found)} deviations: found over expected {found.min():.3f} to {found.max():.3f}, mean {found.mean():.4f},"
        f" spread {found.std():.4f} ({spread:.4f} by chance alone); beyond a tenth by chance {by_chance:.4f}"
    )
    assert by_chance < 0.02
    assert found.min() > 0.9
    assert found.max() < 1.1
    assert found.mean() == pytest.approx(1.0, abs=0.01)
