"""Errors of the network said more fully: arcs that do not meet get the slips that would make them meet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from pegline.book.model import Book
from pegline.diagnosis.book_edits import with_edits
from pegline.diagnosis.explanations import Explanation, explanations
from pegline.diagnosis.mixups import MIXUPS, Mixup, solved
from pegline.diagnosis.readings import Booking, bookings
from pegline.diagnosis.suspects import SLACK
from pegline.errors import Finding, Place
from pegline.network.model import Adjustment
from pegline.network.start import Gap
from pegline.plane import arc_gap
from pegline.records import record
from pegline.reduction.model import Reduction

__all__ = ["Mend", "explain", "mends"]

MOST: Final = 4  #: slips that one message names
#: Rules of the findings that a slip in a line may have caused.
MISFITS: Final = frozenset({"arcs-do-not-meet", "too-flat", "wrong-side"})
TRIALS: Final = 60  #: books that are solved for one message
LARGE: Final = 200  #: stations of a survey that is too large for trials

Readings = Mapping[Place, tuple[Booking, ...]]


@record(frozen=True, slots=True)
class Mend:
    """One measurement of arcs that do not meet, and the slip after whose undoing they would."""

    what: str
    slip: Explanation

    def __str__(self) -> str:
        return f"{self.what} {self.slip.would_be} ({self.slip.words})"


def explain(findings: Iterable[Finding], book: Book, reduction: Reduction) -> tuple[Finding, ...]:
    """Return the findings, with the slips that would mend them where lines do not fit together."""
    findings = tuple(findings)
    if not any(finding.rule in MISFITS for finding in findings):
        return findings
    readings = bookings(book, reduction)
    return tuple(
        replace(finding, text=finding.text + _sentence(finding.data, book, reduction, readings))
        if finding.rule in MISFITS
        else finding
        for finding in findings
    )


def _sentence(data: object, book: Book, reduction: Reduction, readings: Readings) -> str:
    near = list(mends(data, readings)) if isinstance(data, Gap) else []
    if len(book.station_names) <= LARGE:
        # A slip in a line farther off may be the one: whole tapes are dropped most.
        far = sorted(_of_lines(reduction, readings), key=_rarity)
        for some in (near[:TRIALS], list(_sides(book)), far[: TRIALS - len(near)]):
            good = [mend for _, mend in sorted(_closing(book, some), key=lambda pair: pair[0])]
            if good:
                return f"; all would fit with {_listed(good)}"
    return f"; they would meet with {_listed(near)}" if near else ""


def _sides(book: Book) -> Iterator[Mixup]:
    for name in ("station-side", "line-reversed"):
        yield from MIXUPS[name](book)


def _rarity(mend: Mend) -> tuple[bool, bool]:
    return mend.slip.kind != "whole-tape", mend.slip.words.startswith("two")


def _listed(found: Sequence[Mend | Mixup]) -> str:
    left = len(found) - MOST
    more = f", or {left} other mistake{'s' if left > 1 else ''}" if left > 0 else ""
    return "; or ".join(map(str, found[:MOST])) + more


def mends(gap: Gap, readings: Readings) -> Iterator[Mend]:
    """Yield the slips after whose undoing the arcs meet: of each arc, and of the line between the centres."""
    lengths = [one.booking.value for one in gap.observations]
    apart = lengths[2] if len(lengths) > 2 else gap.gap + lengths[0] + lengths[1]
    if arc_gap(apart, lengths[0], lengths[1]) < 0:
        apart = abs(lengths[0] - lengths[1]) - gap.gap  # one arc lies within the other
    for number, one in enumerate(gap.observations):
        for slip in explanations(readings.get(one.booking.place, ())):
            changed = [*lengths[:2], apart]
            changed[number] += slip.change
            if changed[number] > 0 and arc_gap(changed[2], changed[0], changed[1]) < 0:
                yield Mend(one.booking.label, slip)


def _of_lines(reduction: Reduction, readings: Readings) -> Iterator[Mend]:
    for line in reduction.lines.values():
        for slip in explanations(readings.get(line.ground.place, ())):
            yield Mend(line.name, slip)


def _closing(book: Book, some: Iterable[Mend | Mixup]) -> Iterator[tuple[float, Mend | Mixup]]:
    """Yield the slips after whose undoing every check of the survey passes, where it has any, with the misfit left."""
    for mend in some:
        adjustment = solved(mend.book if isinstance(mend, Mixup) else with_edits(book, mend.slip.edits))
        if adjustment is not None and adjustment.freedom > 0 and _closes(adjustment):
            yield adjustment.misfit, mend


def _closes(adjustment: Adjustment) -> bool:
    """Return whether what is left can be the readings' own errors; a gross one hides that they are a little large."""
    tests = [check.test for check in adjustment.checks] + [one.test for one in adjustment.measurements]
    return all(abs(test) <= SLACK * adjustment.critical for test in tests)
