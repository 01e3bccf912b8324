"""Slips of sides, names and directions: each is undone in the book, which is then solved anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from math import log
from typing import Final

from pegline.book.model import Book
from pegline.diagnosis.book_edits import (
    in_other_name,
    on_other_side,
    other_ends,
    reversed_line,
    row_on_other_side,
    split_point,
)
from pegline.diagnosis.explanations import Explanation
from pegline.diagnosis.full_solution import failing
from pegline.diagnosis.suspects import Doubt
from pegline.errors import BookError, Place
from pegline.frame.choice import choose_frame
from pegline.network.adjust import adjust
from pegline.network.model import Adjustment, MeasurementKind
from pegline.records import record
from pegline.reduction.reduce import reduce_readings

__all__ = ["MIXUPS", "Mixup", "mixed_up", "mixups", "solved"]

TRIALS: Final = 80  #: books that are solved
NEAR: Final = 0.02  #: a line may be another when their lengths differ by no more than so much of it
SHARE: Final = 0.2  #: of the gross errors that are slips, how many are of this kind (a guess)


@record(frozen=True, slots=True)
class Mixup:
    """What may have been meant instead of a side, a name or a direction."""

    what: str
    kind: MeasurementKind
    place: Place
    reading: str  #: as booked
    would_be: str
    words: str
    book: Book  #: with it undone

    def __str__(self) -> str:
        return f"{self.what} {self.would_be} ({self.words})"


def stations_on_other_side(book: Book) -> Iterator[Mixup]:
    """Left for right of a station, or of a point fixed by arcs."""
    sides = [(name, s.side, s.place) for name, s in book.stations.items() if s.side]
    sides += [(arc.point, arc.side, arc.place) for arc in book.arcs if arc.side]
    for name, side, place in sides:
        booked, other = ("left", "right") if side.left else ("right", "left")
        words = f"{booked} booked for {other}"
        yield Mixup(
            name, "length", place, f"{booked} of {side.of}", f"{other} of {side.of}", words, on_other_side(book, name)
        )


def reversed_lines(book: Book) -> Iterator[Mixup]:
    """A line booked from its other end, so that its chainages and sides are the wrong way round."""
    for name, line in book.lines.items():
        if line.details:
            back = f"{line.end}-{line.start}"
            yield Mixup(name, "length", line.place, name, back, "the line booked backwards", reversed_line(book, name))


def rows_on_other_side(book: Book) -> Iterator[Mixup]:
    """Left for right of a row that other measurements check."""
    uses = _uses(book)
    for line in book.lines.values():
        for row in line.details:
            if row.side and uses[row.name] > 1:
                booked, other = ("left", "right") if row.side > 0 else ("right", "left")
                words = f"{booked} booked for {other}"
                yield Mixup(
                    f"{line.name} to {row.name}",
                    "offset",
                    row.place,
                    booked,
                    other,
                    words,
                    row_on_other_side(book, row.place),
                )


def names_used_twice(book: Book) -> Iterator[Mixup]:
    """One name for two points that were booked from different places."""
    rows = [(line, row) for line in book.lines.values() for row in line.details if row.form != "station"]
    count = Counter(row.name for _, row in rows)
    for line, row in rows:
        if count[row.name] > 1:
            words = f"the name {row.name} used for two points"
            other = "a point of its own"
            yield Mixup(
                f"{line.name} to {row.name}", "offset", row.place, row.name, other, words, split_point(book, row.place)
            )


def other_names(book: Book) -> Iterator[Mixup]:
    """One end of a line booked under the name of another station."""
    for name, line in book.lines.items():
        if line.use in ("side", "tie", "check") and not line.details:
            for end, other in other_ends(book, name):
                meant = f"{other}-{line.end}" if end == line.start else f"{line.start}-{other}"
                yield Mixup(
                    name,
                    "length",
                    line.place,
                    name,
                    meant,
                    f"{end} booked for {other}",
                    in_other_name(book, name, end, other),
                )


#: Every slip of sides, names and directions, by name.
MIXUPS: Final = {
    "station-side": stations_on_other_side,
    "line-reversed": reversed_lines,
    "row-side": rows_on_other_side,
    "name-twice": names_used_twice,
    "other-name": other_names,
}


def _uses(book: Book) -> Counter[str]:
    """Return how often each point is measured."""
    uses = Counter(row.name for line in book.lines.values() for row in line.details)
    uses.update(name for d in book.dimensions for name in (d.pair.start, d.pair.end))
    uses.update(name for arc in book.arcs for name in (arc.point, *(arm.start for arm in arc.arms)))
    return uses


def mixups(book: Book, adjustment: Adjustment | None = None) -> Iterator[Mixup]:
    """Yield what may have been mixed up; of other names those that the figure makes likely."""
    for find in MIXUPS.values():
        for mixup in find(book):
            if adjustment is None or find is not other_names or _fits(adjustment, book, mixup):
                yield mixup


def _fits(adjustment: Adjustment, book: Book, mixup: Mixup) -> bool:
    """Return whether the stations that may be meant are about as far apart as was taped."""
    solution, line = adjustment.plotting, mixup.book.lines[mixup.what]
    taped = next((m.value for m in adjustment.measurements if m.booking.measured_line == mixup.what), None)
    taped = taped or next((c.taped for c in adjustment.checks if c.booking.measured_line == mixup.what), None)
    if taped is None or line.start not in solution.index or line.end not in solution.index:
        return False
    apart = solution.position(line.start) - solution.position(line.end)
    return bool(abs(float((apart @ apart) ** 0.5) - taped) < NEAR * taped)


def mixed_up(book: Book, adjustment: Adjustment) -> list[Doubt]:
    """Return the mixed up sides, names and directions after whose undoing everything closes."""
    found = []
    likely = list(mixups(book, adjustment))[:TRIALS]
    for mixup in likely:
        tried = solved(mixup.book)
        if tried is None or failing(tried) or tried.freedom < 1:
            continue
        slip = Explanation(mixup.words, mixup.reading, mixup.would_be, mixup.place, 0.0, (), "mixup")
        weight = -tried.misfit / 2 + log(SHARE / len(likely))
        found.append(
            Doubt(
                number=-1,
                what=mixup.what,
                kind=mixup.kind,
                place=mixup.place,
                reading=mixup.reading,
                would_be=mixup.would_be,
                correction=0.0,
                sd=0.0,
                square=tried.misfit,
                closes=True,
                slip=slip,
                weight=weight,
                begin=adjustment.plotting.positions,
            )
        )
    return found


def solved(book: Book) -> Adjustment | None:
    """Return a book as far as the stations, None where it cannot be solved."""
    try:
        reduction = reduce_readings(book)
        return adjust(book, reduction, choose_frame(book, reduction))
    except BookError:
        return None
