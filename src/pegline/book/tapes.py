"""The tapes and chains of a book, and what was found when they were compared with a standard."""

from __future__ import annotations

import datetime
from typing import Annotated, Final, Literal

from pegline.errors import Place
from pegline.measures.grammar import Grammar, one_or_more
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.lengths import ACCURACY, LENGTH
from pegline.measures.reading_log import ReadingLog, Wrong
from pegline.measures.scalars import DATE, NAME, NUMBER, PULL, TEMPERATURE, number_within, one_of
from pegline.measures.source_tree import Written
from pegline.measures.values import Accuracy, Length
from pegline.records import record

__all__ = ["TAPES", "Material", "Tape", "TapeClass", "TrueLength"]

Material = Literal["steel", "linen", "fibreglass", "chain"]
TapeClass = Literal["I", "II", "III"]  #: by OIML R 35


@record(frozen=True, slots=True)
class TrueLength:
    """The length of a tape as found against a standard."""

    value: Annotated[Length, Key(LENGTH, "The true length found.", measured=True, after="from")]
    date: Annotated[datetime.date | None, Key(DATE, "From which day it holds.", name="from")] = None  #: None: always
    accuracy: Annotated[Length | None, Key(LENGTH, "Standard deviation of the comparison; 1 mm by default.")] = None


_TRUE_LENGTH: Final = Record(TrueLength, "a true length", short="value", name="true_length")


def _read_true_lengths(written: Written, log: ReadingLog) -> tuple[TrueLength, ...]:
    lengths = one_or_more(_TRUE_LENGTH.grammar, "a true length").read(written, log)
    dates = [entry.date for entry in lengths]
    if len(lengths) > 1 and (None in dates or len(set(dates)) < len(dates)):
        raise Wrong("each of several true lengths holds from a day of its own; write from in each", written.place)
    return tuple(sorted(lengths, key=lambda entry: entry.date or datetime.date.min))


_TRUE_LENGTHS: Final = Grammar(_read_true_lengths, lambda: one_or_more(_TRUE_LENGTH.grammar, "").schema())


@record(frozen=True, slots=True)
class Tape:
    """A tape or chain. What is None was not booked."""

    name: str
    material: Annotated[Material, Key(one_of(Material), "What it is made of.")]
    length: Annotated[Length, Key(LENGTH, "Nominal length of the whole tape.")]
    place: Place
    accuracy_class: Annotated[TapeClass | None, Key(one_of(TapeClass), "Class by OIML R 35.", name="class")] = None
    true_length: Annotated[
        tuple[TrueLength, ...],
        Key(
            _TRUE_LENGTHS,
            "Length found against a standard: one value, {value: …, accuracy: …}, or a list with from: DATE in each.",
        ),
    ] = ()  #: by the day from which each holds
    standard_temperature: Annotated[
        float | None, Key(TEMPERATURE, "Temperature at which it is right, degrees Celsius; default 20.")
    ] = None
    standard_pull: Annotated[float | None, Key(PULL, "Pull at which it is right, newtons.")] = None
    mass: Annotated[float | None, Key(number_within("a mass", above=0), "Mass of the tape, kilograms a metre.")] = None
    section: Annotated[float | None, Key(number_within("a section", above=0), "Cross-section of the tape, mm².")] = None
    modulus: Annotated[
        float | None, Key(number_within("a modulus", above=0), "Modulus of elasticity of the tape, gigapascals.")
    ] = None
    expansion: Annotated[float | None, Key(NUMBER, "Thermal expansion per degree Celsius: 11.5e-6.")] = None
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "fixed: of one lay of the tape; per_length: of its scale.")] = (
        None
    )


TAPES: Final = mapping(NAME, Record(Tape, "a tape", name="tape"), "tapes", name=lambda name: {"name": name})
