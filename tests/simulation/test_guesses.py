"""What is told at 90 % stays right when a guess of the prior is halved or doubled: nobody has counted these shares."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Final
from unittest.mock import patch

import pytest
from builders.trust import Tally, trials

from pegline.diagnosis.suspects import evidence, posterior, words
from pegline.diagnosis.suspects.hypothesis_table import HYPOTHESES
from pegline.diagnosis.suspects.slips import SLIPS

FEW, MANY = 20, 400
USUAL: Final = ("whole-tape", "misread-unit", "exchanged-digits", "confused-digits")


@contextmanager
def guess(name: str, factor: float) -> Iterator[None]:
    """Hold one guess, or one kind of them, at so many times its value."""
    if name in ("NOTHING_WRONG_SHARE", "ANY_AMOUNT", "MORE_THAN_TWO_SHARE"):
        with patch.object(posterior, name, factor * getattr(posterior, name)):
            yield
    elif name == "SOMETHING_ELSE_SHARE":
        with patch.object(evidence, name, factor * getattr(evidence, name)):
            yield
    elif name == "other kinds":
        scaled = {kind: replace(row, share=factor * row.share) for kind, row in HYPOTHESES.items()}
        with patch.dict(HYPOTHESES, scaled):
            yield
    else:
        kinds = {
            "usual slips": USUAL,
            "other slips": [kind for kind in SLIPS if kind not in USUAL],
        }.get(name, [name])
        scaled = {kind: replace(SLIPS[kind], share=factor * SLIPS[kind].share) for kind in kinds}
        of_digit = (factor if name == "other slips" else 1.0) * words.DIGIT_SHARE
        with patch.dict(SLIPS, scaled), patch.object(words, "DIGIT_SHARE", of_digit):
            yield


GUESSES = [
    "NOTHING_WRONG_SHARE",
    "SOMETHING_ELSE_SHARE",
    "MORE_THAN_TWO_SHARE",
    "ANY_AMOUNT",
    "other kinds",
    "usual slips",
    "other slips",
    *USUAL,
]


def tally(name: str, factor: float, checks: int, surveys: int) -> Tally:
    """Return how often what is told is right with one guess so many times as large."""
    with guess(name, factor):
        found = Tally.of(trials("one", checks, range(surveys)))
    print(f"{name} times {factor:g}, {checks} check lines: {found}", flush=True)
    return found


@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize("name", ["usual slips", "SOMETHING_ELSE_SHARE"])
def test_what_is_told_stays_right_with_other_guesses(name, factor):
    found = tally(name, factor, 2, FEW)
    assert found.false <= 2  # of 20 surveys; 1.5 % are allowed


@pytest.mark.long
@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize("checks", [2, 3])
@pytest.mark.parametrize("name", GUESSES)
def test_what_is_told_at_90_percent_stays_right_when_a_guess_is_halved_or_doubled(name, checks, factor):
    found = tally(name, factor, checks, MANY)
    allowed = 3 * (0.015 * 0.985 / MANY) ** 0.5  # the level of the test
    assert found.false / MANY <= 0.015 + allowed
    assert found.sure_right >= (0.95 - 3 * (0.95 * 0.05 / found.sure) ** 0.5) * found.sure
