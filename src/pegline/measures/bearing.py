"""Bearings to lines, and what north they are from."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pegline.errors import Place
from pegline.measures.angles import ANGLE, BEARING, DECLINATION
from pegline.measures.grammar import one_or_more
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.reading_log import ReadingLog
from pegline.measures.scalars import one_of, pair_of
from pegline.measures.source_tree import Table
from pegline.measures.values import Angle, Pair
from pegline.records import record

__all__ = ["NORTH", "Bearing", "North", "NorthFrom"]

NorthFrom = Literal["magnetic", "true", "grid"]


@record(frozen=True, slots=True)
class Bearing:
    """The bearing of a line walked from start to end, read once or more."""

    pair: Pair
    angles: Annotated[
        tuple[Angle, ...], Key(one_or_more(BEARING, "a bearing"), "The bearing as read.", name="bearing", measured=True)
    ]
    place: Place


_BEARINGS: Final = mapping(
    pair_of("station"),
    Record(Bearing, "a bearing", short="bearing", name="bearings"),
    "bearings",
    name=lambda pair: {"pair": pair},
)


@record(frozen=True, slots=True)
class North:
    """All bearings of a book."""

    reference: Annotated[NorthFrom, Key(one_of(NorthFrom), "The north that the bearings are from.", name="from")]
    bearings: Annotated[
        tuple[Bearing, ...], Key(_BEARINGS, "Bearings of lines, P-Q: angle, forward and back.", measured=True)
    ]
    place: Place
    declination: Annotated[
        Angle | None, Key(DECLINATION, "What magnetic north lies east or west of true north: 2.4° E.")
    ] = None  #: east positive
    accuracy: Annotated[
        Angle | None,
        Key(ANGLE, "Standard deviation of one bearing; default 1° for magnetic, 0.1° for true and grid north."),
    ] = None


def _north(values: dict[str, Any], table: Table, log: ReadingLog) -> North:
    values["bearings"] = tuple(values["bearings"].values())
    return North(**values)


NORTH: Final = Record(North, "north", _north, name="north")
