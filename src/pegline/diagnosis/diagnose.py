"""The judgement of a survey: every warning, the suspects where a check fails, and what to measure next."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

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
    suspects, find_advice = _suspects_and_advice(solved)
    warnings += (*silence_findings(solved.book), *rule_findings(solved))
    return Diagnosis(suspects, tuple(warnings), find_advice=find_advice)


def _suspects_and_advice(solved: Solved) -> tuple[tuple[Suspect, ...], Callable[[], tuple[Advice, ...]]]:
    """Return the suspects where something fails, and what finds what to measure next."""
    if not something_fails(solved.adjustment):
        return (), partial(_strengthening_lines, solved)
    # Most books are sound: the search, half of this room, is loaded for those that are not.
    from pegline.diagnosis.advice.reinforcement import NewLineTape
    from pegline.diagnosis.advice.telling_apart import telling_apart
    from pegline.diagnosis.suspects.suspicion import suspicion

    # Some are so wrong that they cannot be solved as a whole: where what agrees puts the points.
    suspected = suspicion(solved, fit_of_everything(solved.adjustment) or solved.adjustment.fit)
    tape = NewLineTape.of_base(solved.reduction)
    advice = telling_apart(suspected, tape, is_clear=partial(runs_clear, solved))
    return suspected.rows, partial(tuple, advice)


def _strengthening_lines(solved: Solved) -> tuple[Advice, ...]:
    """Return the lines that best check what is weakest in a sound survey; none where it is a large one."""
    from pegline.diagnosis.advice.more_lines import MoreLines
    from pegline.diagnosis.advice.reinforcement import NewLineTape, strengthening_lines

    if solved.adjustment.adjusted.stations > MAX_STATIONS_ADVISED:
        return ()
    fit = fit_of_everything(solved.adjustment)
    if fit is None:
        return ()
    tape = NewLineTape.of_base(solved.reduction)
    more = MoreLines(solved, tape.name)
    return strengthening_lines(fit, tape, more, solved.notation, is_clear=partial(runs_clear, solved))
