"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.diagnosis.anew import Anew
from pegline.diagnosis.either import choose_readings
from pegline.diagnosis.everything import everything, failing
from pegline.diagnosis.explain import explain
from pegline.diagnosis.model import Diagnosis
from pegline.diagnosis.readings import bookings
from pegline.diagnosis.rules import silence_findings, told
from pegline.diagnosis.seen import Seen
from pegline.diagnosis.suspects import Doubt, doubts, grouped
from pegline.diagnosis.suspects import told as told_suspects
from pegline.frame.model import Frame
from pegline.network.adjust import hints
from pegline.network.model import Adjustment
from pegline.reduction.model import Reduction

__all__ = ["choose_readings", "diagnose", "explain"]


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
    groups = _groups(book, reduction, adjustment)
    return Diagnosis(told_suspects(groups), (), (*warnings, *silence_findings(book), *told(seen)))


def _groups(book: Book, reduction: Reduction, adjustment: Adjustment) -> list[list[Doubt]]:
    fit = everything(adjustment) if failing(adjustment) else None
    if fit is None:
        return []
    anew = Anew(fit.network, hints(book, reduction), adjustment.plotting.base, fit.parameters)
    return grouped(fit, doubts(fit, adjustment.critical, bookings(book, reduction), anew))
