"""The likely causes of witness distances that do not agree with the survey: nothing else checks them.

No probability is told of them: the witness, the object and the object's own row are each in one measurement only.
"""

from __future__ import annotations

from collections.abc import Iterator

from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import Likely
from pegline.diagnosis.suspects.slips import BookedReading, as_booked, slips
from pegline.network.model import Check
from pegline.reduction.model import ReducedWitness

__all__ = ["witness_causes"]


def witness_causes(survey: Survey) -> Iterator[Likely]:
    """Yield for each witness distance that fails what may have been read, and what else may be the cause."""
    failed = [check for check in survey.adjustment.checks if check.kind == "witness" and not check.passed]
    if not failed:
        return
    witnesses = {one.ground.place: one for each in survey.reduction.witnesses.values() for one in each}
    rows = {row.name: row.booked.place for row in reversed(survey.reduction.rows)}
    for check in failed:
        if witness := witnesses.get(check.place):
            booked, meant, slip = _reading_meant(survey, check, witness)
            thing = witness.booked.object
            own_row = f", or its own row (book {rows[thing].line}) is wrong" if thing in rows else ""
            why = f"{slip}; or {thing} was moved{own_row}"
            yield Likely(f"witness {check.what}: booked {booked}, perhaps {meant}", why, check.place)


def _reading_meant(survey: Survey, check: Check, witness: ReducedWitness) -> tuple[str, str, str]:
    """Return a witness reading as booked, what it may have been, and the mistake that made the one of the other."""
    nominal = survey.reduction.tapes[witness.ground.tape].nominal
    readings = [
        BookedReading(reading.length, survey.book.unit, (nominal,), place=reading.place)
        for reading in witness.booked.readings
    ]
    wanted = -check.difference
    fitting = [one for one in slips(readings[:1], check.sd) if abs(one.change - wanted) <= check.allowed]
    best = min(fitting, key=lambda one: abs(one.change - wanted), default=None)
    texts = ", ".join(reading.text for reading in readings)
    if best is not None and len(readings) == 1:
        return texts, best.would_be, best.words
    return texts, as_booked(readings[0].metres + wanted, readings[0]), "an unusual mistake"
