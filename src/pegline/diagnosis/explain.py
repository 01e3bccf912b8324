"""Errors of the network said more fully: arcs that do not meet get the slips that would make them meet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from pegline.book.model import Book
from pegline.diagnosis.readings import Booking, bookings
from pegline.diagnosis.slips import Meant, meant
from pegline.errors import Finding
from pegline.network.start import Gap
from pegline.plane import arc_gap
from pegline.reduction.model import Reduction

__all__ = ["Mend", "explain", "mends"]

MOST: Final = 6  #: slips that one message names


@dataclass(frozen=True, slots=True)
class Mend:
    """One reading of arcs that do not meet, and what it may have been for them to meet."""

    what: str
    booking: Booking
    meant: Meant


def explain(findings: Iterable[Finding], book: Book, reduction: Reduction) -> tuple[Finding, ...]:
    """Return the findings, with the slips that would mend them where arcs do not meet."""
    findings = tuple(findings)
    if not any(isinstance(finding.data, Gap) for finding in findings):
        return findings
    readings = bookings(book, reduction)
    told = []
    for finding in findings:
        if isinstance(finding.data, Gap):
            found = list(mends(finding.data, [readings.get(one.place, ()) for one in finding.data.observations]))
            told.append(replace(finding, text=finding.text + _sentence(found)))
        else:
            told.append(finding)
    return tuple(told)


def mends(gap: Gap, readings: Sequence[Sequence[Booking]]) -> Iterator[Mend]:
    """Yield the slips after whose undoing the arcs meet, for each arc and the line between the centres."""
    if len(gap.observations) < 3:
        return
    lengths = [one.value for one in gap.observations]
    for number, (one, booked) in enumerate(zip(gap.observations, readings, strict=True)):
        for booking in booked:
            for may in meant(booking.reading):
                changed = list(lengths)
                changed[number] += booking.share * (may.metres - booking.reading.metres)
                if changed[number] > 0 and arc_gap(changed[2], changed[0], changed[1]) < 0:
                    yield Mend(one.what, booking, may)


def _sentence(found: Sequence[Mend]) -> str:
    if not found:
        return ""
    texts = [f"{m.what} {m.meant.text} ({m.meant.slip})" for m in found[:MOST]]
    more = f", or {len(found) - MOST} more slips" if len(found) > MOST else ""
    return f"; they would meet with {'; or '.join(texts)}{more}"
