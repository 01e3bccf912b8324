"""What is told about a survey: suspects, advice, warnings."""

from __future__ import annotations

from pegline.errors import Finding, Place
from pegline.network.model import MeasurementKind
from pegline.records import record

__all__ = ["Advice", "Diagnosis", "Suspect"]


@record(frozen=True, slots=True)
class Suspect:
    """A measurement that may be wrong, and how."""

    what: str
    group: int  #: from 1; suspects of one group cannot be told apart
    place: Place
    reading: str  #: as booked
    would_be: str  #: as the book would write it
    slip: str | None  #: the slip that explains it, in words
    closes: bool  #: whether everything then closes
    score: float  #: 0 to 1
    kind: MeasurementKind | None = None  #: what kind of measurement it is
    beside: str | None = None  #: the measurement that must be wrong at the same time for everything to close


@record(frozen=True, slots=True)
class Advice:
    """One new line worth measuring."""

    measure: str  #: ``P-Q``
    gain: float
    why: str  #: a sentence


@record(frozen=True, slots=True)
class Diagnosis:
    """The judgement of a survey."""

    suspects: tuple[Suspect, ...]
    advice: tuple[Advice, ...]
    warnings: tuple[Finding, ...]  #: all of them: the book's, the reduction's, the frame's, the rules of thumb
