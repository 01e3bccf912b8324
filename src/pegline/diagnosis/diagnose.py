"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.diagnosis.explain import explain
from pegline.diagnosis.model import Diagnosis
from pegline.diagnosis.rules import silence_findings, told
from pegline.diagnosis.seen import Seen
from pegline.frame.model import Frame
from pegline.network.model import Adjustment
from pegline.reduction.model import Reduction

__all__ = ["diagnose", "explain"]


def diagnose(book: Book, reduction: Reduction, frame: Frame, adjustment: Adjustment, detail: Detail) -> Diagnosis:
    """Return suspects, advice and all warnings of a survey.

    Parameters
    ----------
    book, reduction, frame, adjustment, detail
        The records of the survey so far; none of them is changed.
    """
    seen = Seen(book, reduction, frame, adjustment, detail)
    before = (book.warnings, reduction.warnings, frame.warnings, adjustment.warnings, detail.warnings)
    warnings = [finding for stage in before for finding in stage]
    return Diagnosis((), (), (*warnings, *silence_findings(book), *told(seen)))
