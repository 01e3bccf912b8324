"""The slips that would explain what a measurement has to change by: of one reading, or of all its readings alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pegline.diagnosis.readings import Booking
from pegline.diagnosis.slips import as_booked, meant
from pegline.errors import Place
from pegline.measures.values import Length
from pegline.records import record

__all__ = ["Explanation", "bare", "explanations"]


@record(frozen=True, slots=True)
class Explanation:
    """A slip that would explain a correction."""

    words: str
    reading: str  #: as booked
    would_be: str  #: as the book would write it
    place: Place
    change: float  #: of the measurement
    edits: tuple[tuple[Place, Length], ...]  #: what the book would have to say where
    kind: str  #: the slip's row in ``SLIPS``


def explanations(booked: Sequence[Booking]) -> Iterator[Explanation]:
    """Yield the slips of one reading, and those that spoil all readings of a measurement alike."""
    several = len(booked) > 1 and all(abs(b.share * len(booked) - 1) < 0.1 for b in booked)
    for booking in booked:
        reading = booking.reading
        others = [b.reading.metres for b in booked if b is not booking]
        for may in meant(reading):
            if several and _apart(may.metres, others) > _apart(reading.metres, others):
                continue  # the readings agree better as they are booked
            change = booking.share * (may.metres - reading.metres)
            edits = ((booking.place, Length(may.metres, "m", may.text)),)
            yield Explanation(may.slip, bare(reading.length.text), may.text, booking.place, change, edits, may.kind)
    if several:
        yield from _alike(booked)


def _apart(metres: float, others: Sequence[float]) -> float:
    return min(abs(metres - other) for other in others)


def _alike(booked: Sequence[Booking]) -> Iterator[Explanation]:
    """Yield the slips that are made the same way each time: whole tapes and whole units."""
    first = booked[0]
    for may in meant(first.reading):
        if may.kind in ("whole-tape", "misread-unit"):
            change = may.metres - first.reading.metres
            would = ", ".join(as_booked(b.reading.metres + change, b.reading) for b in booked)
            told = ", ".join(bare(b.reading.length.text) for b in booked)
            edits = tuple((b.place, Length(b.reading.metres + change, "m", "")) for b in booked)
            yield Explanation(f"{may.slip} each time", told, would, first.place, change, edits, may.kind)


def bare(text: str) -> str:
    """Return a reading as written, without the mark of doubt."""
    return text.lstrip("~ ")
