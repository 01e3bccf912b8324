"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

from functools import partial
from typing import Final

from pegline.diagnosis.advice.more_lines import MoreLines
from pegline.diagnosis.advice.reinforcement import NewLineTape, strengthening_lines
from pegline.diagnosis.effects import fit_of_everything, something_fails
from pegline.diagnosis.model import Advice, Diagnosis, Suspect
from pegline.diagnosis.open_readings.settlement import settle_open_readings
from pegline.diagnosis.rules.impossible import runs_clear
from pegline.diagnosis.rules.table import rule_findings, silence_findings
from pegline.solved import Solved

__all__ = ["diagnose", "settle_open_readings"]

MAX_STATIONS_ADVISED: Final = 2000  #: stations of a sound survey that needs no advice


def diagnose(solved: Solved) -> Diagnosis:
    """Return suspects, advice and all warnings of a survey."""
    stages = (solved.book, solved.reduction, solved.frame, solved.adjustment, solved.detail)
    warnings = [finding for stage in stages for finding in stage.warnings]
    suspects, advice = _suspects_and_advice(solved)
    return Diagnosis(suspects, advice, (*warnings, *silence_findings(solved.book), *rule_findings(solved)))


def _suspects_and_advice(solved: Solved) -> tuple[tuple[Suspect, ...], tuple[Advice, ...]]:
    """Return the suspects where something fails, and what to measure next."""
    adjustment, reduction = solved.adjustment, solved.reduction
    wrong = something_fails(adjustment)
    fit = fit_of_everything(adjustment) if wrong or adjustment.adjusted.stations <= MAX_STATIONS_ADVISED else None
    if wrong and fit is None:  # so wrong that it cannot be solved as a whole: where what agrees puts the points
        fit = adjustment.fit
    base = next((line.ground for line in reduction.lines.values() if line.use == "base"), None)
    if fit is None or base is None:
        return (), ()
    constants = reduction.tapes[base.tape]
    tape = NewLineTape(base.tape, constants.nominal, constants.lay_sd)
    is_clear = partial(runs_clear, solved)
    if not wrong:
        more = MoreLines(solved, base.tape)
        return (), strengthening_lines(fit, tape, more, solved.notation, is_clear=is_clear)
    # Most books are sound: the search, half of this room, is loaded for those that are not.
    from pegline.diagnosis.advice.telling_apart import telling_apart
    from pegline.diagnosis.suspects.suspicion import suspicion

    suspected = suspicion(solved, fit)
    return suspected.rows, telling_apart(suspected, tape, is_clear=is_clear)
