"""What a layout takes: pegs, poles, people, tape laid, hours."""

from __future__ import annotations

from math import ceil
from typing import Final, NamedTuple

from pegline.commands.prepare.expectation import Expectation
from pegline.commands.tape_in_hand import tape_in_hand

__all__ = ["RATES", "Needs", "needs_of"]

#: Minutes that things take, by what they are for (common practice of two people with tapes on a garden or field).
RATES: Final = {"peg": 5.0, "line": 6.0, "lay": 2.0, "row": 2.0}
ARROWS: Final = 10  #: a set, for counting whole tapes
RODS: Final = 3  #: two at the ends and one to range


class Needs(NamedTuple):
    """What it takes."""

    pegs: int
    arrows: int
    rods: int
    people: int
    taped: float  #: metres, chain lines and offsets
    lays: int  #: whole and broken tapes along the chain lines
    hours: float

    @property
    def sentence(self) -> str:
        """Return how the hours are reckoned."""
        rates = ", ".join(f"{minutes:g} min a {what}" for what, minutes in RATES.items())
        return f"about {self.hours:.1f} hours by common practice ({rates}); wood, slopes and traffic take longer"


def needs_of(expectation: Expectation) -> Needs:
    """Return what a layout takes, what is taped already left out."""
    intention = expectation.intention
    layout, book = intention.layout, intention.book
    to_tape = [line for line in layout.lines if line.name not in book.lines]
    tape = tape_in_hand(book, used_for="lines").length
    lays = sum(ceil(layout.length(line) / tape - 1e-9) for line in to_tape)
    offsets = sum(abs(offset) for booking in expectation.bookings.values() for offset in booking.offsets)
    pegs = len([name for name in layout.stations if name not in intention.measured])
    taped = sum(layout.length(line) for line in to_tape)
    minutes = (
        RATES["peg"] * pegs
        + RATES["line"] * len(to_tape)
        + RATES["lay"] * lays
        + RATES["row"] * len(expectation.bookings)
    )
    return Needs(
        pegs=pegs,
        arrows=ARROWS if any(layout.length(line) > tape for line in to_tape) else 0,
        rods=RODS if to_tape else 0,
        people=2,
        taped=taped + offsets,
        lays=lays,
        hours=minutes / 60,
    )
