"""Forty networks of our own, certified in sixty digits by ``build.py``: solved to nine digits, or refused."""

import json
from math import log10
from pathlib import Path

import numpy as np
import pytest
from builders.figures import keep
from builders.records import LOCAL, measure

from pegline.errors import BookError
from pegline.network.adjust import adjust

CASES = [json.loads(path.read_text()) for path in sorted((Path(__file__).parent / "networks").glob("*.json"))]
BEST = 15.0  #: digits that a float can agree in
DIGITS = {"positions": 9, "deviations": 8}


def digits(found, certified, size):
    """Return in how many digits two figures agree, relative to a size."""
    return BEST if found == certified else min(BEST, -log10(abs(found - certified) / size))


def judged(case):
    """Return in how many digits positions and deviations agree at the least; None where it is refused or marked."""
    lines = {name: (use, float(taped), 0.005) for name, (use, taped) in case["lines"].items()}
    rows = [(point, line, float(at), "station") for point, line, at in case["stops"]]
    book, reduction = measure(lines, sketches=case["about"], rows=rows, scale_sd=0.0002)
    try:
        adjustment = adjust(book, reduction, LOCAL)
    except BookError:
        return None
    solution, certified = adjustment.adjusted, case["certified"]
    if adjustment.unreliable and case["level"] == "hard":
        return None
    assert certified, f"{case['name']} has no minimum and is solved without a word"
    extent = np.ptp(solution.positions, axis=0).max()
    positions = [
        digits(found, float(told), extent)
        for name, xy in certified["positions"].items()
        for found, told in zip(solution.position(name), xy, strict=True)
    ]
    deviations = []
    for key, told in certified["deviations"].items():
        name, axis = key.split(" ")
        at = "xy".index(axis)
        deviations.append(digits(solution.variances[solution.index[name], at, at] ** 0.5, float(told), float(told)))
    return {"positions": min(positions), "deviations": min(deviations)}


@pytest.fixture(scope="module")
def found():
    return {case["name"]: judged(case) for case in CASES}


def test_there_are_forty_of_three_levels():
    levels = [case["level"] for case in CASES]

    assert len(CASES) == 40
    assert {level: levels.count(level) for level in levels} == {"easy": 16, "average": 14, "hard": 10}


@pytest.mark.parametrize("name", [case["name"] for case in CASES if case["level"] != "hard"])
def test_a_sound_network_is_solved_to_nine_digits(found, name):
    assert found[name] is not None
    for what, least in DIGITS.items():
        assert found[name][what] >= least, found[name]


@pytest.mark.parametrize("name", [case["name"] for case in CASES if case["level"] == "hard"])
def test_a_flat_network_is_solved_to_nine_digits_or_not_given_for_sure(found, name):
    if found[name] is not None:
        for what, least in DIGITS.items():
            assert found[name][what] >= least, found[name]


def test_the_flattest_are_not_given_for_sure_and_the_others_are_solved(found):
    refused = [name for name, digits in found.items() if digits is None]

    assert {"flat 0.3", "flat 0.6"} <= set(refused)
    assert not {"flat 25", "flat 12", "flat 6"} & set(refused)
    solved = [digits for digits in found.values() if digits]
    for what in DIGITS:
        least = min(digits[what] for digits in solved)
        keep("G5", f"digits of {what} at the least, of those solved", f"{least:.1f}", len(solved))
    keep("G5", "flat networks refused, or marked as not to be relied on", f"{len(refused)} of 10", 10)
