"""The tapes of a book as they are taken up, what they make of plain readings, and what is to be told about them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import hypot

from pegline.book.model import Book, Tape
from pegline.errors import Finding, Place
from pegline.measures.values import Accuracy, Reading
from pegline.reduction.ground import mean_of_readings, reduce_reading, spread_limit, spread_passes
from pegline.reduction.model import Ground, TapeConstants
from pegline.reduction.tape import PLAIN, Conditions, constants, true_length, usual_tape

__all__ = ["Rack"]


@dataclass(slots=True)
class Rack:
    """The tapes of one book."""

    book: Book
    tapes: dict[str, TapeConstants] = field(default_factory=dict)  #: those taken up so far, by name
    taken: dict[tuple[str | None, str], TapeConstants] = field(default_factory=dict)  #: by name told and use
    scales: dict[str, float] = field(default_factory=dict)  #: standard deviation of their scales, metres a metre
    standards: dict[tuple[str, datetime.date | None], Conditions] = field(default_factory=dict)
    warnings: dict[object, Finding] = field(default_factory=dict)  #: one for each key
    faults: list[Finding] = field(default_factory=list)

    def tape(self, named: str | None, used_for: str) -> TapeConstants:
        """Return a tape by the name it is booked by; where none is named, the book's only one, else a usual one."""
        taken = self.taken.get((named, used_for))
        if taken is None:
            taken = self.taken[named, used_for] = self._taken_up(named, used_for)
        return taken

    def _taken_up(self, named: str | None, used_for: str) -> TapeConstants:
        name = named or (next(iter(self.book.tapes)) if len(self.book.tapes) == 1 else "fibreglass")
        booked = self.book.tapes.get(name)
        if name not in self.tapes:
            self.tapes[name] = constants(booked, self.book.unit) if booked else usual_tape(name)
            self.scales[name] = self.tapes[name].scale_sd
        if not booked:
            self.warn(
                ("no-tape", used_for),
                "no-tape",
                f"no tape is named for {used_for}: a fibreglass tape of {self.tapes[name].nominal:g} m is taken for"
                " granted; name yours under tapes and default_tape",
                None,
            )
        return self.tapes[name]

    def standard(self, tape: TapeConstants, day: datetime.date | None) -> Conditions:
        """Return what is known of a tape on a day, and nothing of how it was used."""
        key = (tape.name, day)
        if key not in self.standards:
            booked = self.book.tapes.get(tape.name)
            true = true_length(booked, day, self.book.unit) if booked else None
            self.standards[key] = PLAIN if true is None else Conditions(true_length=true)
            if booked and true is None:
                self._tell_standard(booked, day)
        return self.standards[key]

    def _tell_standard(self, tape: Tape, day: datetime.date | None) -> None:
        if tape.true_length:
            when = f"on {day}" if day else "for a line without a date"
            text = f"no true_length of tape {tape.name!r} is known {when}: no correction; add one that holds then"
        elif tape.material == "chain":
            text = f"chain {tape.name!r} has no true_length and chains stretch; compare it with a standard and book it"
        else:
            return
        self.warn((tape.name, day), "tape-length", text, tape.place)

    def warn(self, key: object, rule: str, text: str, place: Place | None) -> None:
        """Keep a warning, the first of its key only."""
        self.warnings.setdefault(key, Finding(rule, text, place))

    def offset(
        self,
        readings: Sequence[Reading],
        *,
        what: str,
        unit: str | None = None,
        day: datetime.date | None = None,
        accuracy: Accuracy | None = None,
    ) -> Ground:
        """Return the mean of readings of the offset tape on the ground."""
        tape = self.tape(self.book.offset_tape, "offsets")
        conditions = self.standard(tape, day or self.book.date)
        unit = unit or self.book.unit
        if len(readings) == 1:
            return reduce_reading(readings[0], unit=unit, conditions=conditions, tape=tape, accuracy=accuracy)
        grounds = [reduce_reading(r, unit=unit, conditions=conditions, tape=tape, accuracy=accuracy) for r in readings]
        self.test_spread(grounds, what)
        return mean_of_readings(grounds, self.scales)

    def test_spread(self, grounds: Sequence[Ground], what: str) -> None:
        """Warn where readings of one length differ by more than the tape should give."""
        sure = [ground for ground in grounds if not ground.either]
        if len(sure) < 2:
            return
        lengths = [ground.length for ground in sure]
        # Two tapes differ by their scales too.
        several = len({ground.tape for ground in sure}) > 1
        sds = [hypot(g.sd, self.scales[g.tape] * g.length) if several else g.sd for g in sure]
        if spread_passes(lengths, sds, self.book.limits.significance):
            return
        self.warn(
            sure[0].place,
            "spread",
            f"{what}: the readings differ by {max(lengths) - min(lengths):.3f} m, more than the"
            f" {spread_limit(sds, self.book.limits.significance):.3f} m that the tape explains; tape it again",
            sure[0].place,
        )
