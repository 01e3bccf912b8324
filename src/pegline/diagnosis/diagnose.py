"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

from typing import Final

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.diagnosis.advice import Tape, strengthening
from pegline.diagnosis.full_solution import everything, failing
from pegline.diagnosis.model import Advice, Diagnosis, Suspect
from pegline.diagnosis.open_readings import choose_readings
from pegline.diagnosis.rules import silence_findings, told
from pegline.diagnosis.seen import Seen
from pegline.frame.model import Frame
from pegline.network.model import Adjustment
from pegline.reduction.model import Reduction

__all__ = ["choose_readings", "diagnose"]

LARGE: Final = 2000  #: stations of a sound survey that needs no advice


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
    suspects, advice = _judged(book, reduction, frame, adjustment)
    return Diagnosis(suspects, advice, (*warnings, *silence_findings(book), *told(seen)))


def _judged(
    book: Book, reduction: Reduction, frame: Frame, adjustment: Adjustment
) -> tuple[tuple[Suspect, ...], tuple[Advice, ...]]:
    """Return the suspects where something fails, and what to measure next."""
    wrong = failing(adjustment)
    fit = everything(adjustment) if wrong or adjustment.adjusted.stations <= LARGE else None
    base = next((line.ground for line in reduction.lines.values() if line.use == "base"), None)
    if fit is None or base is None:
        return (), ()
    constants = reduction.tapes[base.tape]
    tape = Tape(base.tape, constants.nominal, constants.lay_sd)
    if not wrong:
        return (), strengthening(fit, tape, adjustment.critical)
    # Most books are sound: the search, half of this room, is loaded for those that are not.
    from pegline.diagnosis.search import searched

    return searched(book, reduction, frame, adjustment, fit, tape)
