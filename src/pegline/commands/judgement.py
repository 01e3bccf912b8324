"""What the commands after the measuring print and return in common: the survey's own verdict, cautions, JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

from pegline.diagnosis.rules.phrases import list_names
from pegline.survey import Survey

__all__ = [
    "AREA_CAUTION",
    "BOUNDARY_CAUTION",
    "FIELD_CAUTION",
    "GROUND_CAUTION",
    "as_json",
    "is_checked",
    "survey_lines",
]

AREA_CAUTION: Final = "Areas for sale, tax or partition are for a licensed surveyor to certify."
BOUNDARY_CAUTION: Final = "A legal boundary is set out by a licensed surveyor."
FIELD_CAUTION: Final = "Mind wires overhead, traffic, water, and what lies under the ground."
GROUND_CAUTION: Final = (
    "Before you dig or drive a peg, find out what lies under the ground: cables, gas, water, drains."
)


def as_json(entries: dict[str, Any]) -> str:
    """Return an answer as one line of JSON, in ASCII, which every terminal and pipe carries."""
    return json.dumps(entries, allow_nan=False)


def is_checked(survey: Survey) -> bool:
    """Return whether every station that counts is checked and no check failed."""
    return survey.passed and survey.solved.checked is True


def survey_lines(survey: Survey) -> Iterator[str]:
    """Yield the survey's own verdict where it is not simply passed."""
    if not survey.passed:
        yield "FAILED: a check of this survey failed; pegline check says which. Do not use these values yet."
    elif survey.solved.checked is None:
        names = list_names(list(survey.solved.unchecked))
        yield f"NOT CHECKED: {names}; a mistake there would not be noticed."
