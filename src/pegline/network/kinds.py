"""The kinds of measurement and of check, one row each: what differs between them for everybody who tells of them.

What differs in computing stands in the table of equations, by type of observation.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from pegline.records import record

__all__ = [
    "CHECKS",
    "CHECK_OF_PART",
    "MEASURE",
    "MEASUREMENTS",
    "CheckKind",
    "CheckRow",
    "MeasurementKind",
    "MeasurementRow",
    "Part",
]

MeasurementKind = Literal[
    "length",
    "chainage",
    "ranging",
    "offset",
    "oblique",
    "dimension",
    "wall",
    "bearing",
    "control",
    "produced",
    "angle",
    "witness",
]
CheckKind = Literal["line", "dimension", "point", "walls", "bearing", "control", "angle", "witness"]

#: What an observation is there for. It decides what the plotting solution may use and how a failing check is told.
Part = Literal[
    "base",
    "side",
    "tie",
    "check",
    "station",
    "row",
    "arc",
    "dimension",
    "wall",
    "bearing",
    "control",
    "angle",
    "witness",
]


@record(frozen=True, slots=True)
class MeasurementRow:
    """A kind of measurement."""

    word: str  #: before its name, where a row or a station has more than one: 'offset of '
    again: str  #: how it is measured again, with ``{}`` for its name


@record(frozen=True, slots=True)
class CheckRow:
    """A kind of check."""

    label: str  #: before its name
    framework: bool  #: a failing one touches more than its own feature
    compared: Literal["length", "offset", "place", "bearing", "angle"]  #: a ratio is told of lengths only
    adjusted: bool = True  #: what is compared is adjusted too, so that a failing check has suspects


#: Of kinds for which nothing better is to be said.
MEASURE: Final = "Measure again: {}."

MEASUREMENTS: Final[Mapping[MeasurementKind, MeasurementRow]] = {
    "length": MeasurementRow("", "Tape {} again."),
    "chainage": MeasurementRow("chainage of ", MEASURE),
    "ranging": MeasurementRow("peg in line ", MEASURE),
    "offset": MeasurementRow("offset of ", MEASURE),
    "oblique": MeasurementRow("distance of ", MEASURE),
    "dimension": MeasurementRow("", MEASURE),
    "wall": MeasurementRow("", MEASURE),
    "bearing": MeasurementRow("bearing ", "Read the bearing of {} again, away from iron."),
    "control": MeasurementRow("", "Compare the coordinates of {} with their source."),
    "produced": MeasurementRow("wall ", MEASURE),
    "angle": MeasurementRow("angle ", "Read the angle {} again."),
    "witness": MeasurementRow("witness ", "Tape the witness distance {} again."),
}

CHECKS: Final[Mapping[CheckKind, CheckRow]] = {
    "line": CheckRow("line", framework=True, compared="length"),
    "dimension": CheckRow("dimension", framework=False, compared="length"),
    "point": CheckRow("point", framework=False, compared="offset"),
    "walls": CheckRow("wall", framework=False, compared="offset"),
    "bearing": CheckRow("bearing", framework=True, compared="bearing"),
    "control": CheckRow("control", framework=True, compared="place"),
    "angle": CheckRow("angle", framework=True, compared="angle"),
    "witness": CheckRow("witness", framework=False, compared="length", adjusted=False),
}

CHECK_OF_PART: Final[Mapping[Part, CheckKind]] = {
    "base": "line",
    "side": "line",
    "tie": "line",
    "check": "line",
    "station": "line",
    "row": "point",
    "arc": "point",
    "dimension": "dimension",
    "wall": "walls",
    "bearing": "bearing",
    "control": "control",
    "angle": "angle",
    "witness": "witness",
}
