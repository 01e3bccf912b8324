"""Every likely cause of a survey's failed checks, in the order in which it is told everywhere."""

from __future__ import annotations

from collections.abc import Iterator

from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import Likely, likely_causes
from pegline.diagnosis.round_causes import round_causes
from pegline.diagnosis.witness_causes import witness_causes

__all__ = ["causes"]


def causes(survey: Survey) -> Iterator[Likely]:
    """Yield what cannot be as booked at all, then the suspected readings, then what only witnesses tell."""
    yield from round_causes(survey)
    yield from likely_causes(survey.diagnosis.suspects)
    yield from witness_causes(survey)
