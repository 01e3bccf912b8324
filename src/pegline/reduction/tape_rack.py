"""The tapes of a book with all their constants, what they make of plain readings, and what is to be told of them."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from math import ceil, hypot, sqrt
from typing import Any, Final

from pegline.book.habits import notation_of
from pegline.book.model import Book, Tape
from pegline.errors import Finding, Place
from pegline.measures.values import Accuracy, Reading
from pegline.records import record
from pegline.reduction.ground import mean_of_readings, reduce_reading, spread_limit, spread_passes
from pegline.reduction.model import Ground, TapeConstants
from pegline.reduction.tape import PLAIN_CONDITIONS, Conditions

__all__ = [
    "CLASS_LIMITS",
    "COMPARISON_SD",
    "MATERIALS",
    "Rack",
    "class_limit",
    "tape_constants",
    "true_length",
    "usual_tape",
]


#: Limit of error of a tape of nominal length L: a + b L millimetres, L in metres rounded up to a whole metre.
#: Directive 2014/32/EU, annex X (MI-008), chapter I, table 1; the classes are those of OIML R 35.
CLASS_LIMITS: Final[Mapping[str, tuple[float, float]]] = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}

#: Standard deviation of a tape's comparison with a standard where the book tells none, metres. Common practice.
COMPARISON_SD: Final = 0.001


@record(frozen=True, slots=True)
class Material:
    """What is taken for a tape of a material where the book does not say."""

    lay_sd: float  #: standard deviation of one lay, metres
    scale_sd: float  #: standard deviation of its scale, metres a metre
    expansion: float | None = None  #: per degree Celsius
    modulus: float | None = None  #: pascals
    standard_pull: float | None = None  #: newtons
    standard_temperature: float = 20.0  #: degrees Celsius; Directive 2014/32/EU, annex X, chapter I, 1


#: Common practice, but for the steel tape's 50 N (Directive 2014/32/EU, annex X, chapter I, 1: tapes of 5 m and over).
MATERIALS: Final[Mapping[str, Material]] = {
    "steel": Material(0.005, 1 / 5000, expansion=11.5e-6, modulus=200e9, standard_pull=50.0),
    "fibreglass": Material(0.010, 1 / 2000, standard_pull=20.0),
    "linen": Material(0.015, 1 / 1000),
    "chain": Material(0.020, 1 / 1000, expansion=12e-6),
}

#: Length of the tape that is taken for granted where the book names none, metres. Common practice.
USUAL_LENGTH: Final = 30.0


def class_limit(accuracy_class: str, nominal: float) -> float:
    """Return the limit of error of a tape of an accuracy class at its nominal length, metres.

        a + b ⌈L⌉ millimetres

    >>> round(class_limit("II", 50.0), 6)
    0.0103
    """
    a, b = CLASS_LIMITS[accuracy_class]
    return (a + b * ceil(nominal - 1e-9)) / 1000


def tape_constants(tape: Tape, unit: str) -> TapeConstants:
    """Return a tape with every constant filled in: from the book, else from the table of materials."""
    nominal = tape.length.metres(unit)
    booked = {
        "lay_sd": (tape.accuracy.fixed.metres(unit) or None) if tape.accuracy else None,
        "scale_sd": _booked_scale_sd(tape, nominal, unit),
        "standard_temperature": tape.standard_temperature,
        "standard_pull": tape.standard_pull,
        "modulus": None if tape.modulus is None else tape.modulus * 1e9,
        "expansion": tape.expansion,
    }
    section = None if tape.section is None else tape.section / 1e6
    return _fill_constants(tape.name, tape.material, nominal, {**booked, "mass": tape.mass, "section": section})


def _booked_scale_sd(tape: Tape, nominal: float, unit: str) -> float | None:
    """Return the standard deviation of a tape's scale as the book gives it: by itself, by a comparison, by its class.

    Of several comparisons the least accurate counts, for the scale is one for the whole survey.
    """
    if tape.accuracy and tape.accuracy.per_length:  # an accuracy that is a bare length says nothing of the scale
        return tape.accuracy.per_length
    if tape.true_length:
        return max(one.accuracy.metres(unit) if one.accuracy else COMPARISON_SD for one in tape.true_length) / nominal
    if tape.accuracy_class:
        return class_limit(tape.accuracy_class, nominal) / nominal / sqrt(3)
    return None


def usual_tape(name: str) -> TapeConstants:
    """Return the fibreglass tape that is assumed where the book names none."""
    return _fill_constants(name, "fibreglass", USUAL_LENGTH, {"mass": None, "section": None})


def _fill_constants(name: str, material: str, nominal: float, booked: Mapping[str, float | None]) -> TapeConstants:
    """Return a tape with what is booked, and the usual value of its material for the rest, which is noted."""
    usual = {field.name: getattr(MATERIALS[material], field.name) for field in fields(Material)}
    given = {constant: value for constant, value in booked.items() if constant not in usual or value is not None}
    taken = tuple(constant for constant, value in usual.items() if constant not in given and value is not None)
    constants: dict[str, Any] = usual | given
    return TapeConstants(name, material, nominal, from_table=taken, **constants)


def true_length(tape: Tape, day: datetime.date | None, unit: str) -> float | None:
    """Return the tape's length found against a standard, as it stood on a day, metres; None where none is known.

    Of several, the last one that was found on or before the day holds.
    """
    comparisons = [one for one in tape.true_length if one.date is None or (day is not None and one.date <= day)]
    return comparisons[-1].value.metres(unit) if comparisons else None


@dataclass(slots=True)
class Rack:
    """The tapes of one book."""

    book: Book
    tapes: dict[str, TapeConstants] = field(default_factory=dict)  #: those taken up so far, by name
    taken: dict[tuple[str | None, str], TapeConstants] = field(default_factory=dict)  #: by name told and use
    scales: dict[str, float] = field(default_factory=dict)  #: standard deviation of their scales, metres a metre
    standards: dict[tuple[str, datetime.date | None], Conditions] = field(default_factory=dict)
    #: the offset tape as it stood on each day
    for_offsets: dict[datetime.date | None, tuple[TapeConstants, Conditions]] = field(default_factory=dict)
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
            self.tapes[name] = tape_constants(booked, self.book.unit) if booked else usual_tape(name)
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
        conditions = self.standards.get((tape.name, day))
        if conditions is None:
            booked = self.book.tapes.get(tape.name)
            true = true_length(booked, day, self.book.unit) if booked else None
            conditions = PLAIN_CONDITIONS if true is None else Conditions(true_length=true)
            self.standards[tape.name, day] = conditions
            if booked and true is None:
                self._tell_standard(booked, day)
        return conditions

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
        what: str,
        unit: str | None = None,
        day: datetime.date | None = None,
        accuracy: Accuracy | None = None,
    ) -> Ground:
        """Return the mean of readings of the offset tape on the ground."""
        book = self.book
        if day not in self.for_offsets:
            offset_tape = self.tape(book.offset_tape, "offsets")
            self.for_offsets[day] = offset_tape, self.standard(offset_tape, day or book.date)
        tape, conditions = self.for_offsets[day]
        unit = unit or book.unit
        if len(readings) == 1:
            return reduce_reading(readings[0], unit, conditions, tape, accuracy)
        grounds = [reduce_reading(reading, unit, conditions, tape, accuracy) for reading in readings]
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
        small = notation_of(self.book).finer.small
        self.warn(
            sure[0].place,
            "spread",
            f"{what}: the readings differ by {small(max(lengths) - min(lengths))}, more than the"
            f" {small(spread_limit(sds, self.book.limits.significance))} that the tape explains; tape it again",
            sure[0].place,
        )
