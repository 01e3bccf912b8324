"""Published divisions of land: where the dividing line meets the sides."""

from pathlib import Path

import numpy as np
import pytest
import yaml

from pegline.commands.area.division import RingFunction, divide
from pegline.commands.area.request import DivisionRequest, read_cut_off
from pegline.detail.path import straight

CASES = sorted((Path(__file__).parent / "division").glob("*.yaml"))


@pytest.mark.parametrize("file", CASES, ids=lambda file: file.stem)
def test_the_line_meets_the_sides_where_it_is_printed(file):
    case = yaml.safe_load(file.read_text(encoding="utf-8"))
    given, corners = case["given"], {name: np.array(at, float) for name, at in case["given"]["corners"].items()}
    values = np.concatenate(list(corners.values()))
    ring = RingFunction(
        name="field",
        path_of=lambda values: straight(values.reshape(-1, 2), closed=True),
        values=values,
        covariance=np.zeros((len(values), len(values))),
        corners=tuple(enumerate(corners)),
        columns={},
    )
    cut_off = given.get("cut_off")
    request = DivisionRequest(
        "field",
        cut_off=read_cut_off(cut_off) if isinstance(cut_off, str) else cut_off,
        into=given.get("into", 2),
    )

    division = divide(
        ring,
        lambda _: _guide(given, corners),
        request.shares(ring.area),
        through="through" in given,
        scale=1.0,
        near=corners[given["near"]] if "near" in given else None,
        keep=[tuple(corners[name]) for name in given.get("keep", [])],
    )

    lengths = dict(zip(_sides(corners), _lengths(corners), strict=True))
    for wanted in case["expected"]["ends"]:
        told = [
            end.distance if end.start == wanted["from"] else lengths[end.side] - end.distance
            for end in division.ends
            if end.side == wanted["side"]
        ]
        assert min(abs(distance - wanted["distance"]) for distance in told) <= case["tolerance"]


def _guide(given, corners):
    if "through" in given:
        return corners[given["through"]]
    if "direction" in given:
        return np.array(given["direction"])
    start, end = (corners[name] for name in given["parallel_to"].split("-"))
    return (end - start) / np.hypot(*(end - start))


def _sides(corners):
    names = list(corners)
    return [f"{one}-{other}" for one, other in zip(names, names[1:] + names[:1], strict=True)]


def _lengths(corners):
    at = np.array(list(corners.values()))
    return np.hypot(*(np.roll(at, -1, axis=0) - at).T)
