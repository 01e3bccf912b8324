"""Questions to a finished survey: lines and lengths in their words; verdict, cautions and JSON in every answer."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

from pegline.diagnosis.rules.phrases import list_names
from pegline.errors import UsageError
from pegline.measures.lengths import length_of_text
from pegline.measures.reading_log import Misread
from pegline.survey import Survey
from pegline.units import METRES_PER

__all__ = [
    "AREA_CAUTION",
    "BOUNDARY_CAUTION",
    "FIELD_CAUTION",
    "GROUND_CAUTION",
    "as_json",
    "caution_lines",
    "is_checked",
    "read_length",
    "read_measured",
    "read_pair",
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


def caution_lines(survey: Survey) -> Iterator[str]:
    """Yield the survey's own verdict where it is not simply passed."""
    if not survey.passed:
        yield "FAILED: a check of this survey failed; pegline check says which. Do not use these values yet."
    elif survey.solved.checked is None:
        names = list_names(list(survey.solved.unchecked))
        yield f"NOT CHECKED: {names}; a mistake there would not be noticed."


def read_pair(text: str, option: str) -> tuple[str, str]:
    """Return the two names of ``P-Q``.

    >>> read_pair("A-B", "--parallel-to")
    ('A', 'B')
    """
    start, dash, end = (part.strip() for part in text.partition("-"))
    if not (start and dash and end) or "-" in end:
        raise UsageError(f"{option} {text!r} is no line; write two names with a dash between them, like A-B")
    return start, end


def read_length(text: str, unit: str, option: str) -> float:
    """Return a length in metres, a bare number taken in ``unit``.

    >>> read_length("12 ft 6 in", "m", "--from")
    3.81
    """
    try:
        reading = length_of_text(text.strip())
    except Misread as misread:
        raise UsageError(f"{option}: {misread}") from None
    metres = reading.value * METRES_PER[reading.unit or unit]
    if not metres > 0:
        raise UsageError(f"{option} {text!r} is no distance; write a length over 0")
    return metres


def read_measured(text: str, unit: str, *, example: str) -> tuple[str, float]:
    """Return the name and the metres of ``NAME=LENGTH``, as ``--from`` takes it.

    >>> read_measured("h1 = 8.79", "m", example="h1=8.79")
    ('h1', 8.79)
    """
    name, equals, length = (part.strip() for part in text.rpartition("="))
    if not (name and equals):
        raise UsageError(f"--from {text!r} is no distance; write it like --from {example}")
    return name, read_length(length, unit, f"--from {name}")
