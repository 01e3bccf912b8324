"""A line taped from end to end: one running total, several, or legs."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from pegline.errors import Place
from pegline.measures.values import Length, Reading


@dataclass(frozen=True, slots=True)
class Taped:
    """One taping of a line, or one leg of it. What is None is as told for the whole line."""

    reading: Reading
    place: Place
    tape: str | None = None
    temperature: float | None = None  #: of the tape, degrees Celsius
    pull: float | None = None  #: newtons
    rise: Length | None = None  #: height difference of the ends
    slope: float | None = None  #: radians from the level ('1 in 12' is atan(1/12))
    spans: int | None = None  #: equal unsupported spans; None: the tape lay on the ground
    date: datetime.date | None = None
