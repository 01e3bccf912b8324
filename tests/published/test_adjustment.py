"""Least squares of distances, as books print it."""

from itertools import combinations
from math import dist, sqrt
from pathlib import Path

import numpy as np
import pytest
import yaml
from builders.records import measure, place

from pegline.frame.model import Frame, FrameControl
from pegline.network.adjust import adjust

FOLDER = Path(__file__).parent / "adjustment"
CASES = {path.stem: yaml.safe_load(path.read_text(encoding="utf-8")) for path in FOLDER.glob("*.yaml")}
KNOWN = 1e-3  # what is held by the author is given this standard deviation; a reading has one of 1


@pytest.mark.parametrize("name", CASES)
def test_free_points_of_distances_to_known_ones(name):
    case = CASES[name]
    given, expected = case["given"], case["expected"]
    known, taped = given["known"], given["taped"]
    between = [f"{a}-{b}" for a, b in combinations(known, 2)]
    figure = {pair: ("side", dist(*(known[end] for end in pair.split("-"))), 0.01) for pair in between}
    figure[between[0]] = ("base", *figure[between[0]][1:])
    lines = figure | {pair: ("side", value, 1.0) for pair, value in taped.items()}
    book, reduction = measure(lines, sketches=known | given["near"], scale_sd=1e-12)
    control = tuple(FrameControl(station, x, y, KNOWN, place(9)) for station, (x, y) in known.items())
    adjustment = adjust(book, reduction, Frame("grid", "grid", "", "a grid", control=control))

    residuals = {m.what: m.residual for m in adjustment.measurements if m.what in taped}
    s0 = sqrt(sum(v * v for v in residuals.values()) / (len(taped) - 2 * len(given["near"])))
    assert s0 == pytest.approx(expected["s0"], abs=case["tolerance_sd"])
    adjusted = {pair: taped[pair] - residuals[pair] for pair in taped}
    assert adjusted == pytest.approx(expected["adjusted"], abs=case["tolerance"])
    solution = adjustment.adjusted
    for point, at in expected["positions"].items():
        cofactors = solution.variances[solution.index[point]]
        assert solution.position(point) == pytest.approx(at, abs=case["tolerance"])
        assert cofactors == pytest.approx(np.array(expected["cofactors"][point]), abs=case["tolerance_cofactor"])
        assert s0 * np.sqrt(np.diag(cofactors)) == pytest.approx(expected["sds"][point], abs=case["tolerance_sd"])
