"""The tape that is used on the ground now: how well it measures, and what it should read for a ground length."""

from __future__ import annotations

import datetime
from dataclasses import replace

from pegline.book.model import Book
from pegline.errors import UsageError
from pegline.measures.spelling import suggest
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.ground import correct_length, reading_sd
from pegline.reduction.model import TapeConstants
from pegline.reduction.tape import Conditions
from pegline.reduction.tape_rack import Rack

__all__ = ["TapeInHand", "tape_in_hand"]

#: Steps by which a reading is found from a length: each divides the error by thousands.
STEPS = 6


@record(frozen=True, slots=True)
class TapeInHand:
    """A tape with the conditions that it is used under."""

    constants: TapeConstants
    conditions: Conditions

    @property
    def length(self) -> float:
        """Return the whole tape's nominal length, metres."""
        return self.constants.nominal

    @property
    def scale_sd(self) -> float:
        """Return the standard deviation of its scale, metres a metre."""
        return self.constants.scale_sd

    def sd(self, length: float) -> float:
        """Return the standard deviation of one taped length, its scale left out, metres."""
        return reading_sd(length, self.constants, None, "m")

    def reads(self, length: float) -> float:
        """Return what the tape should read for a length on the ground, metres: its corrections undone."""
        reading = length
        for _ in range(STEPS):
            reading -= correct_length(reading, self.conditions, self.constants)[0] - length
        return reading

    def covariance(self, lengths: Array) -> Array:
        """Return the covariance (n, n) of lengths (n,) taped with it, what they share by its scale included."""
        import numpy as np

        spread: Array = np.diag([self.sd(float(each)) ** 2 for each in lengths]) + self.scale_sd**2 * np.outer(
            lengths, lengths
        )
        return spread


def tape_in_hand(
    book: Book,
    name: str | None = None,
    *,
    used_for: str = "offsets",
    day: datetime.date | None = None,
    temperature: float | None = None,
    pull: float | None = None,
) -> TapeInHand:
    """Return a tape of the book: the one named, else the one that the book uses.

    Raises
    ------
    UsageError
        The book has no such tape, or it lacks what a correction needs.
    """
    if name is not None and name not in book.tapes:
        raise UsageError(f"no tape {name!r} in the book{suggest(name, list(book.tapes))}")
    rack = Rack(book)
    constants = rack.tape(name or (book.offset_tape if used_for == "offsets" else book.line_tape), used_for)
    conditions = rack.standard(constants, day or book.date)
    if temperature is not None or pull is not None:
        conditions = replace(conditions, temperature=temperature, pull=pull)
    return TapeInHand(constants, conditions)
