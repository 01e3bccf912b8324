"""A survey with some of its stages' records exchanged, for tests of what comes after them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pegline.diagnosis.model import Survey

__all__ = ["with_stages"]


def with_stages(survey: Survey, **stages: Any) -> Survey:
    """Return a survey with other records: ``book``, ``frame``, ``adjustment`` and so on."""
    return replace(survey, solved=replace(survey.solved, **stages))
