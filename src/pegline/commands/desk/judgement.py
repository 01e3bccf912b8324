"""A survey's judgement as the page shows it: the library's own words and figures, each with its place in the book."""

from __future__ import annotations

from typing import Any

from pegline.book.habits import notation_of
from pegline.diagnosis.model import Survey, Suspect
from pegline.diagnosis.report import advice_sentence, check_rows, do_now, likely_causes, verdict
from pegline.errors import Place

__all__ = ["judgement"]


def judgement(survey: Survey) -> dict[str, Any]:
    """Return verdict, likely causes, what to do now, checks (failed ones first), what would improve it, warnings."""
    judged, diagnosis = verdict(survey.solved), survey.diagnosis
    notation = notation_of(survey.book)
    causes = list(likely_causes(diagnosis.suspects))
    now = list(do_now(survey))
    return {
        "verdict": judged.word,
        "about": judged.about,
        "meaning": judged.meaning,
        "unit": notation.words,
        "suspects": [
            {"text": cause.what, "why": cause.why, "source": _source(cause.place), **_edit(suspect)}
            for cause, suspect in zip(causes, diagnosis.suspects, strict=False)
        ],
        "now": now,
        "improve": [sentence for sentence in map(advice_sentence, diagnosis.advice) if sentence not in now],
        "checks": [
            {
                "label": row.label,
                "passed": row.check.passed,
                "figures": [row.booked, row.computed, row.difference, row.allowed, row.on_plan],
                "source": _source(row.check.place),
            }
            for row in check_rows(survey, survey.scale, notation)
        ],
        "warnings": [
            {"rule": each.rule, "text": each.text, "source": _source(each.place)} for each in diagnosis.warnings
        ],
    }


def _edit(suspect: Suspect) -> dict[str, str]:
    """Return what 'try what it would be' changes."""
    return {"reading": suspect.reading, "would_be": suspect.would_be}


def _source(place: Place | None) -> str | None:
    return place.source if place else None
