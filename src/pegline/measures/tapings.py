"""A line taped from end to end: one running total, several, or legs."""

from __future__ import annotations

import datetime
from typing import Annotated, Final

from pegline.errors import Place
from pegline.measures.angles import SLOPE
from pegline.measures.grammar import Grammar, reference
from pegline.measures.keys import Key, Record
from pegline.measures.lengths import ANY_LENGTH, READING
from pegline.measures.obstacles import PASSAGE, WAYS, Passage, passage_length
from pegline.measures.reading_log import ReadingLog
from pegline.measures.scalars import DATE, INTEGER, PULL, TEMPERATURE, to
from pegline.measures.source_tree import Table, Written
from pegline.measures.values import Length, Reading
from pegline.records import record
from pegline.units import METRES_PER

__all__ = ["LEG", "STEPPED", "TAPED", "Taped", "reading_past"]

STEPPED: Final = Key(
    INTEGER, "Taped level in so many drops down a slope: no slope correction, and 10 mm (1 σ) for each drop."
)


@record(frozen=True, slots=True)
class Taped:
    """One taping of a line, or one leg of it. What is None is as told for the whole line."""

    reading: Annotated[Reading, Key(READING, "The reading off the tape.", measured=True)]
    place: Place
    tape: Annotated[str | None, Key(to("tape"), "The tape used, one of tapes.")] = None
    temperature: Annotated[float | None, Key(TEMPERATURE, "Temperature of the tape, degrees Celsius.")] = None
    pull: Annotated[float | None, Key(PULL, "Pull on the tape, newtons.")] = None
    rise: Annotated[Length | None, Key(ANY_LENGTH, "Height difference of the ends.")] = None
    slope: Annotated[float | None, Key(SLOPE, "Slope along the tape: 3°, 1 in 12, or 4.4 %.")] = (
        None  #: radians from level
    )
    spans: Annotated[int | None, Key(INTEGER, "Equal unsupported spans; left out, the tape lay on the ground.")] = None
    stepped: Annotated[int | None, STEPPED] = None
    date: Annotated[datetime.date | None, Key(DATE, "Day it was taped.")] = None
    passage: Passage | None = None  #: of a leg past an obstacle; the reading is then what the leg adds to the chainage


TAPED: Final = Record(Taped, "a taping", short="reading", name="taped")


def _read_leg(written: Written, log: ReadingLog) -> Taped:
    if not (isinstance(written, Table) and written.entries.keys() & _PASSAGE_KEYS):
        return TAPED.read(written, log)
    passage = PASSAGE.read(written, log)
    return Taped(reading_past(passage, log.unit), passage.place, tape=passage.tape, passage=passage)


def reading_past(passage: Passage, unit: str) -> Reading:
    """Return what a leg past an obstacle adds to the chainage, in the unit of its line."""
    metres = passage_length(passage, [reading.length.metres(unit) for reading in passage.readings])
    value = metres / METRES_PER[unit]
    return Reading(Length(value, None, f"{value:.2f}"), passage.place)


_PASSAGE_KEYS: Final = frozenset({"past", *(key for keys in WAYS.values() for key in keys)})
LEG: Final = Grammar(_read_leg, lambda: {"anyOf": [reference(TAPED.grammar), reference(PASSAGE.grammar)]})
