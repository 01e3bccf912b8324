"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

from typing import Final

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.diagnosis.advice import Tape, strengthening, telling_apart
from pegline.diagnosis.anew import Anew
from pegline.diagnosis.coordinates import in_figures
from pegline.diagnosis.either import choose_readings
from pegline.diagnosis.everything import everything, failing
from pegline.diagnosis.explain import explain
from pegline.diagnosis.mixups import mixed_up
from pegline.diagnosis.model import Advice, Diagnosis, Suspect
from pegline.diagnosis.pairs import pair
from pegline.diagnosis.readings import bookings
from pegline.diagnosis.rules import silence_findings, told
from pegline.diagnosis.seen import Seen
from pegline.diagnosis.suspects import closed, doubts, grouped, ranked, settled, undecided
from pegline.diagnosis.suspects import told as told_suspects
from pegline.frame.model import Frame
from pegline.network.adjust import hints
from pegline.network.model import Adjustment
from pegline.reduction.model import Reduction

__all__ = ["choose_readings", "diagnose", "explain"]

SMALL: Final = 200  #: stations of a survey that is solved anew for each slip of names and sides
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
    anew = Anew(fit.network, hints(book, reduction), adjustment.plotting.base, fit.parameters)
    readings = bookings(book, reduction)
    found = doubts(fit, adjustment.critical, readings, anew)
    two = pair(fit, found, adjustment.critical, readings)
    groups = [[one] for one in two] if two else grouped(fit, found)
    groups = in_figures(groups, fit.network.observations, book, frame)
    if adjustment.adjusted.stations <= SMALL and not settled(groups):
        groups = ranked([*groups, *([doubt] for doubt in mixed_up(book, adjustment))])
    open_ = [doubt for doubt in undecided(groups) if doubt.number >= 0]
    if two or len(open_) < 2:
        return told_suspects(groups), ()
    return told_suspects(groups), telling_apart(closed(fit, open_[0]), open_, tape)
