"""What the workers of the desk do with a book's text: each job takes texts and gives back texts and figures."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from pegline.book.habits import notation_of
from pegline.book.model import Book
from pegline.diagnosis.causes import causes
from pegline.diagnosis.model import Survey, Suspect
from pegline.diagnosis.report import ShownCheck, advice_sentence, check_rows, do_now, verdict
from pegline.errors import BookError, Finding, Place
from pegline.readers.sound_part import parse_sound_part

__all__ = ["JOBS", "draw_text", "judge_layout_of_file", "judge_text", "warm_up"]


def judgement(survey: Survey) -> dict[str, Any]:
    """Return verdict, likely causes, what to do now, checks (failed ones first), what would improve it, warnings."""
    survey_verdict, diagnosis = verdict(survey.solved), survey.diagnosis
    notation = notation_of(survey.book)
    now = list(do_now(survey))
    return {
        "verdict": survey_verdict.word,
        "about": survey_verdict.about,
        "meaning": survey_verdict.meaning,
        "unit": notation.words,
        "suspects": [
            {"text": cause.what, "why": cause.why, "source": _source(cause.place), **_edit(cause.suspect)}
            for cause in causes(survey)
        ],
        "now": now,
        "improve": [sentence for sentence in map(advice_sentence, diagnosis.advice) if sentence not in now],
        "checks": [_check_entry(row) for row in check_rows(survey, survey.scale, notation)],
        "warnings": [
            {**_warning_entry(warning), "sides": _unbooked_side(warning, survey.book)} for warning in diagnosis.warnings
        ],
    }


def _check_entry(row: ShownCheck) -> dict[str, Any]:
    return {
        "label": row.label,
        "passed": row.check.passed,
        "figures": [row.booked, row.computed, row.difference, row.allowed, row.on_plan],
        "source": _source(row.check.place),
    }


def _warning_entry(warning: Finding) -> dict[str, Any]:
    return {"rule": warning.rule, "text": warning.text, "source": _source(warning.place)}


def _edit(suspect: Suspect | None) -> dict[str, str]:
    """Return what 'try what it would be' changes: nothing where the cause is no one reading."""
    return {"reading": suspect.reading, "would_be": suspect.would_be} if suspect else {"reading": "", "would_be": ""}


def _source(place: Place | None) -> str | None:
    return place.source if place else None


Answer = dict[str, Any]

#: A book that makes every part of the work load what it needs.
_WARMING: Final = """\
book: 1
unit: m
lines:
  A-B: {use: base, taped: 40, details: [{at: 5, left: 2, point: t, kind: tree}, {at: 9, left: 3, feature: f},
        {at: 15, left: 3, feature: f}]}
  A-C: {use: side, taped: 30}
  C-B: {use: side, taped: 30}
stations: {C: {left_of: A-B}}
features: {f: {kind: fence, through: booked}}
"""


def warm_up(kind: str) -> None:
    """Do a kind of job once, so that the first entry is not the one that waits."""
    JOBS[kind](_WARMING, "book")


def draw_text(text: str, file: str, also: str = "") -> Answer:
    """Return the plan of a book's text as far as it goes: its sheets as SVG, and what is wrong or missing.

    Parameters
    ----------
    also
        Layers that the page shows though they do not plot, separated by commas.
    """
    from pegline.diagnosis.model import Diagnosis, Survey
    from pegline.plan.compose import compose
    from pegline.survey import solve_as_far_as_it_goes
    from pegline.web.plan_svg import inline_pages

    book, wrong = _sound_part(text, file)
    missing: Sequence[Finding] = ()
    pages: list[str] = []
    scale = None
    if book is not None:
        try:
            solved, missing = solve_as_far_as_it_goes(book)
            if solved is not None:
                plan = compose(Survey(solved, Diagnosis((), ())))
                pages, scale = list(inline_pages(plan, also.split(","))), plan.scale
        except BookError as error:
            wrong = (*wrong, *error.findings)
    return {
        "pages": pages,
        "scale": scale,
        "wrong": _findings_as_answers(wrong),
        "missing": _findings_as_answers(missing, book),
    }


def judge_text(text: str, file: str) -> Answer:
    """Return the verdict on a book's text as far as it goes: checks, suspects, what to measure, what is weak."""
    from pegline.survey import judge, solve_as_far_as_it_goes

    book, wrong = _sound_part(text, file)
    if book is None:
        return {"verdict": None, "missing": [], "wrong": _findings_as_answers(wrong)}
    try:
        solved, missing = solve_as_far_as_it_goes(book)
        survey = judge(solved) if solved is not None else None
    except BookError as error:
        return {
            "verdict": None,
            "missing": _findings_as_answers(book.missing, book),
            "wrong": _findings_as_answers((*wrong, *error.findings)),
        }
    if survey is None:
        return {"verdict": None, "missing": _findings_as_answers(missing, book), "wrong": _findings_as_answers(wrong)}
    return {**judgement(survey), "missing": _findings_as_answers(missing, book), "wrong": _findings_as_answers(wrong)}


def judge_layout_of_file(path: str, file: str) -> Answer:
    """Return what ``prepare`` says of the layout that a saved book's sketch shows."""
    from pegline.commands.prepare import json_of_preparation, prepare

    try:
        preparation = prepare(path)
    except BookError as error:
        return {"fault": "; ".join(finding.text for finding in error.findings), "judgement": []}
    return {"judgement": json_of_preparation(preparation)["judgement"], "sound": preparation.sound}


def _sound_part(text: str, file: str) -> tuple[Book | None, tuple[Finding, ...]]:
    """Return what can be read of a text that is being written (None where nothing can), and what is wrong in it."""
    try:
        return parse_sound_part(text.encode(), file)
    except BookError as error:
        return None, error.findings


def _findings_as_answers(findings: Sequence[Finding], book: Book | None = None) -> list[Answer]:
    return [
        {
            "rule": finding.rule,
            "text": finding.text,
            "line": finding.place.line if finding.place else None,
            "column": finding.place.column if finding.place else None,
            "sides": None if book is None else _unbooked_side(finding, book),
        }
        for finding in findings
    ]


def _unbooked_side(finding: Finding, book: Book) -> Answer | None:
    """Return the station whose side is not booked, and the line that it may be booked against: one tap says it."""
    if finding.rule not in ("side-unsettled", "mirrored") or not isinstance(finding.data, tuple):
        return None
    station, *line = finding.data
    if station not in book.station_names:
        return None
    base = next((name for name, each in book.lines.items() if each.use == "base"), None)
    return {"station": station, "line": "-".join(line) if line else base}


JOBS: Final[Mapping[str, Callable[..., Answer]]] = {
    "draw": draw_text,
    "judge": judge_text,
    "layout": judge_layout_of_file,
}
