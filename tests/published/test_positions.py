"""Published points by distances from known ones, where arcs meet."""

from pathlib import Path

import numpy as np
import pytest
import yaml

from pegline.commands.taping import position_by

CASES = sorted((Path(__file__).parent / "positions").glob("*.yaml"))


@pytest.mark.parametrize("path", CASES, ids=[path.stem for path in CASES])
def test_arcs_meet_where_it_is_printed(path):
    case = yaml.safe_load(path.read_text(encoding="utf-8"))
    known, expected = case["given"]["anchors"], case["expected"]
    for name, point in case["given"]["points"].items():
        anchors = np.array([known[anchor] for anchor in point["distances"]], float)
        distances = np.array(list(point["distances"].values()))
        found = position_by(anchors, distances, np.ones(len(anchors)), np.array(point["near"], float))
        residuals = distances - np.hypot(*(anchors - found).T)
        if "positions" in expected:
            assert found == pytest.approx(np.array(expected["positions"][name], float), abs=case["tolerance"])
        if "mean_residual" in expected:
            assert np.sqrt((residuals**2).mean()) == pytest.approx(expected["mean_residual"], abs=case["tolerance"])
            assert np.abs(residuals).max() <= expected["largest_residual"]
