"""Angles between two lines at a station, taken with a compass, a square or a triangle."""

from __future__ import annotations

import math
from typing import Annotated, Final

from pegline.errors import Place
from pegline.measures.angles import ANGLE, angle_grammar, degrees
from pegline.measures.grammar import Grammar, one_or_more, scalar
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.reading_log import Misread, NameUse, ReadingLog, Wrong
from pegline.measures.scalars import NOTE, PAGE, name, quote
from pegline.measures.source_tree import Written
from pegline.measures.values import Angle
from pegline.records import record

__all__ = ["ANGLES", "Corner", "StationAngle"]


@record(frozen=True, slots=True)
class Corner:
    """``A-B-C``: at B, from A clockwise to C."""

    back: str
    station: str
    ahead: str
    place: Place

    @property
    def names(self) -> tuple[str, str, str]:
        """Return the three stations in the order in which they are booked."""
        return self.back, self.station, self.ahead

    def __str__(self) -> str:
        return "-".join(self.names)


def _names(text: str) -> tuple[str, ...]:
    parts = [part.strip() for part in text.split("-")]
    if len(parts) != 3 or not all(parts):
        raise Misread(f"{quote(text)} names no angle; write A-B-C: at B, from A clockwise to C")
    return tuple(name(part) for part in parts)


_SPLIT: Final = scalar(_names, "three stations A-B-C", {"type": "string"})
_CORNER_SCHEMA: Final = {
    "type": "string",
    "pattern": "^[^-]+-[^-]+-[^-]+$",
    "description": "A-B-C: at B, from A clockwise to C.",
}


def _read_corner(written: Written, log: ReadingLog) -> Corner:
    back, station, ahead = _SPLIT.read(written, log)
    if len({back, station, ahead}) < 3:
        raise Wrong(f"{back}-{station}-{ahead} names a station twice; name three", written.place, "self-line")
    log.used.extend(NameUse("station", each, written.place) for each in (back, station, ahead))
    return Corner(back, station, ahead, written.place)


CORNER: Final = Grammar(_read_corner, lambda: _CORNER_SCHEMA, "corner")


def turn(text: str) -> float:
    """Return an angle over 0 and under 360 degrees, radians.

    >>> round(math.degrees(turn("272°30'")), 9)
    272.5
    """
    value = degrees(text)
    if not 0 < value < 360:
        raise Misread(f"{quote(text)} is out of range; write an angle over 0 and under 360°, clockwise")
    return math.radians(value)


TURN: Final = angle_grammar(turn, "an angle", "turn", "An angle at a station, clockwise, under 360: 92.5 or 92°30'.")


@record(frozen=True, slots=True)
class StationAngle:
    """The angle at a station from one line clockwise to another, read once or more."""

    corner: Corner
    angles: Annotated[
        tuple[Angle, ...], Key(one_or_more(TURN, "an angle"), "The angle as read.", name="angle", measured=True)
    ]
    place: Place
    accuracy: Annotated[Angle | None, Key(ANGLE, "Standard deviation of one reading; 1° by default.")] = None
    note: Annotated[str | None, NOTE] = None
    page: Annotated[str | None, PAGE] = None


ANGLES: Final = mapping(
    CORNER,
    Record(StationAngle, "an angle", short="angle", name="station_angle"),
    "angles",
    name=lambda corner: {"corner": corner},
)
