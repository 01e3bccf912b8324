"""Distances as they are taped: lines by one total, several or legs; dimensions, arcs from known points, walls,
witnesses.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Any, Final

from pegline.errors import Place
from pegline.measures.angles import SLOPE
from pegline.measures.grammar import Grammar, schema_of
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.lengths import ACCURACY, ANY_LENGTH, READING, READINGS, read_reading
from pegline.measures.obstacles import KEYS_OF_WAYS, PASSAGE, Passage, passage_length
from pegline.measures.offset import TapedTo
from pegline.measures.reading_log import NameUse, ReadingLog, Wrong
from pegline.measures.scalars import (
    DATE,
    INTEGER,
    NAME,
    NOTE,
    PAGE,
    PULL,
    TEMPERATURE,
    TEXT,
    one_of,
    pair_of,
    quote,
    sides,
    to,
)
from pegline.measures.source_tree import Table, Text, Written
from pegline.measures.values import Accuracy, Length, Pair, Reading, Side
from pegline.records import record
from pegline.units import METRES_PER

__all__ = [
    "ARC",
    "DIMENSIONS",
    "LEG",
    "STEPPED",
    "TAPED",
    "WALL",
    "WITNESSES",
    "Arc",
    "Arm",
    "Dimension",
    "Taped",
    "Wall",
    "Witness",
    "reading_past",
    "side_wall",
]


@record(frozen=True, slots=True)
class Dimension:
    """A distance between two points, or a point and a station."""

    pair: Pair
    readings: Annotated[tuple[Reading, ...], Key(READINGS, "The distance as taped.", name="taped", measured=True)]
    place: Place
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "Standard deviation of the reading as a whole.")] = None
    note: Annotated[str | None, NOTE] = None
    page: Annotated[str | None, PAGE] = None


DIMENSIONS: Final = mapping(
    pair_of("point"),
    Record(Dimension, "a dimension", short="taped", name="dimension"),
    "dimensions",
    name=lambda pair: {"pair": pair},
)


@record(frozen=True, slots=True)
class Arm:
    """One distance of an arc: from a known point."""

    start: str
    readings: Annotated[tuple[Reading, ...], Key(READINGS, "The distance as taped.", name="taped", measured=True)]
    place: Place


_ARMS: Final = mapping(
    to("point"), Record(Arm, "a distance", short="taped", name="arm"), "distances", name=lambda start: {"start": start}
)


@record(frozen=True, slots=True)
class Arc:
    """A point fixed by distances from two or more others."""

    point: Annotated[str, Key(NAME, "The point that the arcs fix.")]
    arms: Annotated[
        tuple[Arm, ...],
        Key(_ARMS, "The distances, each with the point or station it was taped from.", name="from", measured=True),
    ]
    place: Place
    side: Annotated[Side | None, sides("point")] = None
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "Standard deviation of each distance as a whole.")] = None
    note: Annotated[str | None, NOTE] = None
    page: Annotated[str | None, PAGE] = None


def _arc(values: dict[str, Any], table: Table, log: ReadingLog) -> Arc:
    point_text = table.entries["point"][1]
    log.defined.append(NameUse("point", values["point"], point_text.place))
    values["arms"] = tuple(values["arms"].values())
    written = table.entries["from"][1]
    if isinstance(written, Table) and len(written.entries) < 2:
        raise Wrong("from: one distance fixes no point; tape it from two or more others", written.place, "arc")
    if values["point"] in (arm.start for arm in values["arms"]):
        raise Wrong(f"{quote(values['point'])} is taped from itself; name other points", point_text.place, "self-line")
    return Arc(**values)


ARC: Final = Record(Arc, "an arc", _arc, name="arc")


@record(frozen=True, slots=True)
class Wall:
    """One wall of a right-angled round: a turn (left or right), then its length."""

    left: bool
    readings: tuple[Reading, ...]
    place: Place


_WALL: Final = re.compile(r"(left|right)\s+(.+)")


def _read_wall(written: Written, log: ReadingLog) -> Wall:
    match = _WALL.fullmatch(written.value) if isinstance(written, Text) else None
    if not match:
        what = f"{quote(written.value)} is no wall" if isinstance(written, Text) else "one wall is expected"
        raise Wrong(f"{what}; write its turn, then its length, like 'left 6.4'", written.place)
    reading = read_reading(Text(match[2], written.place), log, "over")
    return Wall(match[1] == "left", (reading,), written.place)


WALL: Final = Grammar(
    _read_wall,
    lambda: {
        "type": "string",
        "pattern": "^(left|right) ",
        "description": "A wall: its turn, then its length: left 6.4.",
    },
    "wall",
)


def side_wall(*, left: bool) -> Grammar[Wall]:
    """Return the grammar of a distance to one side."""

    def read(written: Written, log: ReadingLog) -> Wall:
        return Wall(left, READINGS.read(written, log), written.place)

    return Grammar(read, READINGS.schema, READINGS.name)


@record(frozen=True, slots=True)
class Witness:
    """A distance from a lasting object to a peg."""

    object: str
    readings: Annotated[tuple[Reading, ...], Key(READINGS, "The distance as taped.", name="distance", measured=True)]
    place: Place
    to: Annotated[
        TapedTo,
        Key(one_of(TapedTo), "face: taped to the near face of something round; centre by default."),
    ] = "centre"
    note: Annotated[str | None, Key(TEXT, "To what part of the object, and the like.")] = None


_WITNESS: Final = mapping(
    TEXT,
    Record(Witness, "a witness", short="distance", name="witness"),
    "objects",
    name=lambda found: {"object": found},
)
WITNESSES: Final = mapping(to("point"), _WITNESS, "witnesses")


STEPPED: Final = Key(
    INTEGER, "Taped level in so many drops down a slope: no slope correction, and 10 mm (1 σ) for each drop."
)


@record(frozen=True, slots=True)
class Taped:
    """One taping of a line, or one leg of it. What is None is as told for the whole line."""

    reading: Annotated[Reading, Key(READING, "The reading off the tape.", measured=True)]
    place: Place
    tape: Annotated[str | None, Key(to("tape"), "The tape used, one of tapes.")] = None
    temperature: Annotated[float | None, Key(TEMPERATURE, "Temperature of the tape, degrees Celsius.")] = None
    pull: Annotated[float | None, Key(PULL, "Pull on the tape, newtons.")] = None
    rise: Annotated[Length | None, Key(ANY_LENGTH, "Height difference of the ends.")] = None
    slope: Annotated[float | None, Key(SLOPE, "Slope along the tape: 3°, 1 in 12, or 4.4 %.")] = (
        None  #: radians from level
    )
    spans: Annotated[int | None, Key(INTEGER, "Equal unsupported spans; left out, the tape lay on the ground.")] = None
    stepped: Annotated[int | None, STEPPED] = None
    date: Annotated[datetime.date | None, Key(DATE, "Day it was taped.")] = None
    passage: Passage | None = None  #: of a leg past an obstacle; the reading is then what the leg adds to the chainage


TAPED: Final = Record(Taped, "a taping", short="reading", name="taped")


def _read_leg(written: Written, log: ReadingLog) -> Taped:
    if not (isinstance(written, Table) and written.entries.keys() & _PASSAGE_KEYS):
        return TAPED.read(written, log)
    passage = PASSAGE.read(written, log)
    return Taped(reading_past(passage, log.unit), passage.place, tape=passage.tape, passage=passage)


def reading_past(passage: Passage, unit: str) -> Reading:
    """Return what a leg past an obstacle adds to the chainage, in the unit of its line."""
    metres = passage_length(passage, [reading.length.metres(unit) for reading in passage.readings])
    value = metres / METRES_PER[unit]
    return Reading(Length(value, None, f"{value:.2f}"), passage.place)


_PASSAGE_KEYS: Final = frozenset({"past", *(key for keys in KEYS_OF_WAYS.values() for key in keys)})
LEG: Final = Grammar(_read_leg, lambda: {"anyOf": [schema_of(TAPED.grammar), schema_of(PASSAGE.grammar)]})
