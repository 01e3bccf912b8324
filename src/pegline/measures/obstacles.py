"""Legs of a line past an obstacle: what was taped round it, and the length along the line that follows.

Four ways, as handbooks of chain surveying teach them: a line parallel to the chain line, two sides of a triangle and
the angle between them, a perpendicular and its hypotenuse, and two perpendiculars in line with a peg across a river.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import acos, cos, sqrt
from typing import Annotated, Any, Final, Literal

from pegline.errors import Place
from pegline.measures.angles import ANGLE
from pegline.measures.grammar import Grammar, items, schema_of
from pegline.measures.keys import Key, Record
from pegline.measures.lengths import CHAINAGE, READING
from pegline.measures.offset import METHOD, Method
from pegline.measures.reading_log import ReadingLog, Wrong
from pegline.measures.scalars import NOTE, TEXT, to
from pegline.measures.source_tree import Table, Written
from pegline.measures.values import Angle, Reading
from pegline.records import record

__all__ = [
    "KEYS_OF_WAYS",
    "PASSAGE",
    "ChainAngle",
    "Passage",
    "Way",
    "across_a_river",
    "angle_of_chord",
    "by_a_parallel",
    "by_a_right_triangle",
    "by_two_sides",
    "passage_length",
    "passage_working",
]

Way = Literal["parallel", "sides", "perpendicular", "perpendiculars"]
#: The keys that each way of passing takes, in the order in which its readings are listed.
KEYS_OF_WAYS: Final[dict[Way, tuple[str, ...]]] = {
    "parallel": ("parallel", "offsets"),
    "sides": ("sides", "angle"),
    "perpendicular": ("perpendicular", "hypotenuse"),
    "perpendiculars": ("perpendiculars", "apart"),
}


#: Readings that each way of passing takes; the angle of a small triangle takes three more.
COUNTS: Final[dict[Way, int]] = {"parallel": 3, "sides": 2, "perpendicular": 2, "perpendiculars": 3}


# -- the formulae -----------------------------------------------------------------------------------


def by_a_parallel(parallel: float, first_offset: float, second_offset: float) -> float:
    """Return the length along a line from a line taped beside it between the ends of two offsets.

        c = √(p² - (o₁ - o₂)²)

    All lengths in one unit.

    Raises
    ------
    ValueError
        The parallel is shorter than the offsets differ.

    Examples
    --------
    >>> by_a_parallel(5.0, 6.0, 3.0)
    4.0
    """
    return sqrt(parallel**2 - (first_offset - second_offset) ** 2)


def by_two_sides(first: float, second: float, angle: float) -> float:
    """Return the third side of a triangle from two sides and the angle between them, radians.

        c = √(a² + b² - 2 a b cos γ)

    Examples
    --------
    >>> from math import radians
    >>> round(by_two_sides(3.0, 4.0, radians(90)), 9)
    5.0
    """
    return sqrt(first**2 + second**2 - 2 * first * second * cos(angle))


def angle_of_chord(first: float, second: float, chord: float) -> float:
    """Return the angle between two lines, radians, from the chord between a point on each.

        γ = arccos((a² + b² - c²) / 2 a b)

    Raises
    ------
    ValueError
        The three lengths make no triangle.

    Examples
    --------
    >>> from math import degrees
    >>> round(degrees(angle_of_chord(100.0, 100.0, 60.0)), 3)
    34.915
    """
    return acos((first**2 + second**2 - chord**2) / (2 * first * second))


def by_a_right_triangle(perpendicular: float, hypotenuse: float) -> float:
    """Return the length along a line from a perpendicular at one end and the tape from its end to the other.

        c = √(h² - p²)

    Raises
    ------
    ValueError
        The hypotenuse is the shorter.

    Examples
    --------
    >>> by_a_right_triangle(3.0, 5.0)
    4.0
    """
    return sqrt(hypotenuse**2 - perpendicular**2)


def across_a_river(near: float, back: float, apart: float) -> float:
    """Return the width from the near bank to a peg across a river, by similar triangles.

    A perpendicular stands at the near bank and a longer one farther back; their ends are in line with the far peg.

        c = d n / (b - n)

    Parameters
    ----------
    near, back
        The perpendicular at the near bank, and the one farther back.
    apart
        Distance of the two along the line.

    Raises
    ------
    ValueError
        The one farther back is not the longer.

    Examples
    --------
    >>> across_a_river(12.0, 18.0, 10.0)
    20.0
    """
    if back <= near:
        raise ValueError("the perpendicular farther back is not the longer")
    return apart * near / (back - near)


# -- the record -------------------------------------------------------------------------------------


@record(frozen=True, slots=True)
class ChainAngle:
    """An angle found with the tape alone: a small triangle in the corner."""

    along: Annotated[
        tuple[Reading, ...],
        Key(items(READING, "the two lengths", least=2, most=2), "How far along each side: [5, 5].", measured=True),
    ]
    chord: Annotated[Reading, Key(READING, "The distance between the two marks.", measured=True)]
    place: Place


_CHAIN_ANGLE: Final = Record(ChainAngle, "an angle by a small triangle", name="chain_angle")


def _read_angle(written: Written, log: ReadingLog) -> Angle | ChainAngle:
    return _CHAIN_ANGLE.read(written, log) if isinstance(written, Table) else ANGLE.read(written, log)


_ANGLE: Final = Grammar(_read_angle, lambda: {"anyOf": [schema_of(ANGLE), schema_of(_CHAIN_ANGLE.grammar)]})


def _two(help_: str) -> Key:
    return Key(items(READING, "two lengths", least=2, most=2), help_, measured=True)


@record(frozen=True, slots=True)
class Passage:
    """The readings that carry a line past an obstacle."""

    past: Annotated[
        str,
        Key(
            TEXT,
            "What the line passes, in words: pond, river, shed; beside it one way round: parallel and offsets, sides"
            " and angle, perpendicular and hypotenuse, or perpendiculars and apart.",
        ),
    ]
    place: Place
    parallel: Annotated[
        Reading | None, Key(READING, "A line taped beside the chain line, past the obstacle.", measured=True)
    ] = None
    offsets: Annotated[
        tuple[Reading, ...],
        Key(
            items(CHAINAGE, "two offsets", least=2, most=2),
            "Offsets to the two ends of the parallel: [3.00, 3.00].",
            measured=True,
        ),
    ] = ()
    sides: Annotated[
        tuple[Reading, ...], _two("Two sides of a triangle past the obstacle, from its two ends to one point.")
    ] = ()
    angle: Annotated[
        Angle | ChainAngle | None,
        Key(_ANGLE, "The angle between the two sides: 60°, or {along: [5, 5], chord: 5}.", measured=True),
    ] = None
    perpendicular: Annotated[
        Reading | None, Key(READING, "A perpendicular set out at one end of the leg.", measured=True)
    ] = None
    hypotenuse: Annotated[
        Reading | None, Key(READING, "From the end of the perpendicular to the other end of the leg.", measured=True)
    ] = None
    perpendiculars: Annotated[
        tuple[Reading, ...],
        _two("Two perpendiculars, at the near bank and farther back, their ends in line with the far peg."),
    ] = ()
    apart: Annotated[Reading | None, Key(READING, "Distance between the two perpendiculars.", measured=True)] = None
    method: Annotated[Method | None, Key(METHOD, "How the right angles were set out.")] = None
    tape: Annotated[str | None, Key(to("tape"), "The tape used, one of tapes.")] = None
    note: Annotated[str | None, NOTE] = None

    @property
    def way(self) -> Way:
        """Return how the obstacle was passed."""
        return next(way for way, keys in KEYS_OF_WAYS.items() if getattr(self, keys[0]))

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Return every reading off the tape, in the order of `passage_length`."""
        booked: list[Reading] = []
        for key in KEYS_OF_WAYS[self.way]:
            value = getattr(self, key)
            booked += value if isinstance(value, tuple) else [value] if isinstance(value, Reading) else []
        if isinstance(self.angle, ChainAngle):
            booked += [*self.angle.along, self.angle.chord]
        return tuple(booked)


def passage_length(passage: Passage, lengths: Sequence[float], turn: float = 0.0) -> float:
    """Return the length along the line of a leg past an obstacle.

    Parameters
    ----------
    lengths
        Those of ``passage.readings``, in one unit.
    turn
        Radians that are added to the angle between the two sides, to see what it does.

    Raises
    ------
    ValueError
        The lengths make no such figure.
    """
    match passage.way:
        case "parallel":
            return by_a_parallel(*lengths)
        case "perpendicular":
            return by_a_right_triangle(*lengths)
        case "perpendiculars":
            return across_a_river(*lengths)
        case "sides":
            booked = passage.angle
            angle = booked.radians if isinstance(booked, Angle) else angle_of_chord(*lengths[2:])
            return by_two_sides(lengths[0], lengths[1], angle + turn)


def passage_working(passage: Passage) -> str:
    """Return the working of a leg past an obstacle, with the readings as booked."""
    texts = [reading.length.text for reading in passage.readings]
    match passage.way:
        case "parallel":
            return f"√({texts[0]}² - ({texts[1]} - {texts[2]})²)"
        case "perpendicular":
            return f"√({texts[1]}² - {texts[0]}²)"
        case "perpendiculars":
            return f"{texts[2]} × {texts[0]} / ({texts[1]} - {texts[0]})"
        case "sides":
            angle = (
                passage.angle.text
                if isinstance(passage.angle, Angle)
                else f"the angle of chord {texts[4]} at {texts[2]} and {texts[3]}"
            )
            return f"√({texts[0]}² + {texts[1]}² - 2 × {texts[0]} × {texts[1]} × cos {angle})"


_NO_FIGURE: Final[dict[Way, str]] = {
    "parallel": "the parallel is shorter than its offsets differ; look at the three lengths",
    "sides": "these lengths make no triangle; look at along and chord",
    "perpendicular": "the hypotenuse is not longer than the perpendicular; look whether they are exchanged",
    "perpendiculars": "the perpendicular farther back is not the longer; write the one at the near bank first",
}


def _passage(values: dict[str, Any], table: Table, log: ReadingLog) -> Passage:
    ways_given = [way for way, keys in KEYS_OF_WAYS.items() if any(values.get(key) for key in keys)]
    if len(ways_given) != 1:
        text = "a leg past an obstacle is taped in one way; write " + ", or ".join(
            " and ".join(keys) for keys in KEYS_OF_WAYS.values()
        )
        raise Wrong(text, table.place, "obstacle")
    lacking = [key for key in KEYS_OF_WAYS[ways_given[0]] if not values.get(key)]
    if lacking:
        raise Wrong(f"{lacking[0]} is missing; {ways_given[0]} needs it", table.place, "missing-key")
    passage = Passage(**values)
    expected = 5 if isinstance(passage.angle, ChainAngle) else COUNTS[passage.way]
    if len(passage.readings) < expected:  # one of them could not be read, which is told already
        raise Wrong("", table.place)
    choices = [reading.either or (reading.length,) for reading in passage.readings]
    for lengths in product(*choices):
        try:
            length = passage_length(passage, [one.metres(log.unit) for one in lengths])
        except ValueError:
            length = 0.0
        if not length > 0:
            open_ones = [one.text for one, choice in zip(lengths, choices, strict=True) if len(choice) > 1]
            which = f"with {' and '.join(open_ones)} of those it may be, " if open_ones else ""
            raise Wrong(f"{which}{_NO_FIGURE[passage.way]}", table.place, "obstacle")
    return passage


PASSAGE: Final = Record(Passage, "a leg past an obstacle", _passage, name="passage")
