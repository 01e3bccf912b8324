"""A line taped from end to end: one running total, several, or legs."""

from __future__ import annotations

import datetime
from typing import Annotated, Final

from pegline.errors import Place
from pegline.measures.angles import SLOPE
from pegline.measures.keys import Key, Record
from pegline.measures.lengths import ANY_LENGTH, READING
from pegline.measures.scalars import DATE, INTEGER, PULL, TEMPERATURE, to
from pegline.measures.values import Length, Reading
from pegline.records import record

__all__ = ["TAPED", "Taped"]


@record(frozen=True, slots=True)
class Taped:
    """One taping of a line, or one leg of it. What is None is as told for the whole line."""

    reading: Annotated[Reading, Key(READING, "The reading off the tape.", measured=True)]
    place: Place
    tape: Annotated[str | None, Key(to("tape"), "The tape used, one of tapes.")] = None
    temperature: Annotated[float | None, Key(TEMPERATURE, "Temperature of the tape, degrees Celsius.")] = None
    pull: Annotated[float | None, Key(PULL, "Pull on the tape, newtons.")] = None
    rise: Annotated[Length | None, Key(ANY_LENGTH, "Height difference of the ends.")] = None
    slope: Annotated[float | None, Key(SLOPE, "Slope along the tape: an angle, or 1 in 12.")] = (
        None  #: radians from level
    )
    spans: Annotated[int | None, Key(INTEGER, "Equal unsupported spans; left out, the tape lay on the ground.")] = None
    date: Annotated[datetime.date | None, Key(DATE, "Day it was taped.")] = None


TAPED: Final = Record(Taped, "a taping", short="reading", name="taped")
