"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

import numpy as np

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.diagnosis.explain import explain
from pegline.diagnosis.model import Diagnosis
from pegline.diagnosis.readings import bookings
from pegline.diagnosis.rules import silence_findings, told
from pegline.diagnosis.seen import Seen
from pegline.diagnosis.suspects import Doubt, doubts, grouped
from pegline.diagnosis.suspects import told as told_suspects
from pegline.errors import BookError
from pegline.frame.model import Frame
from pegline.network.adjust import DERIVED
from pegline.network.model import Adjustment
from pegline.network.solve import Fit, solve
from pegline.reduction.model import Reduction

__all__ = ["diagnose", "everything", "explain", "failing"]


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


def failing(adjustment: Adjustment) -> bool:
    """Return whether something is wrong: a check, or a test of the adjusted solution."""
    checks = any(not check.passed for check in adjustment.checks)
    return checks or any(abs(m.test) > adjustment.critical for m in adjustment.measurements)


def everything(adjustment: Adjustment) -> Fit | None:
    """Return the solution from everything that was measured, what fails included; None where there is none."""
    network = adjustment.network
    if network is None:
        return None
    keep = np.array([one.what != DERIVED for one in network.observations])
    begin = np.concatenate((adjustment.adjusted.positions.ravel(), adjustment.adjusted.scales))
    try:
        return solve(network, keep, begin)
    except BookError:
        return None


def _groups(book: Book, reduction: Reduction, adjustment: Adjustment) -> list[list[Doubt]]:
    fit = everything(adjustment) if failing(adjustment) else None
    if fit is None:
        return []
    return grouped(fit, doubts(fit, adjustment.critical, bookings(book, reduction)))
