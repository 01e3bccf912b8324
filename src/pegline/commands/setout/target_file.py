"""The file of targets: points given by coordinates, from a line, by distances or where lines meet; and features."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, Any, Final, NamedTuple

from pegline.book.feature import FEATURES, Feature
from pegline.errors import BookError, Place, in_order
from pegline.measures.grammar import items
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.lengths import ANY_LENGTH, LENGTH, UNIT
from pegline.measures.reading_log import ReadingLog, Wrong
from pegline.measures.scalars import NAME, NUMBER, pair_of, sides, to
from pegline.measures.source_tree import Table
from pegline.measures.values import Length, Pair, Side
from pegline.readers.file_text import read_bytes, text_of_bytes
from pegline.readers.yaml import parse
from pegline.records import record

__all__ = ["TargetFile", "TargetPoint", "read_targets"]


@record(frozen=True, slots=True)
class TargetPoint:
    """A point to be set out, given in one of four ways."""

    name: str
    place: Place
    easting: Annotated[float | None, Key(NUMBER, "x or easting, as the survey's results give it.")] = None
    northing: Annotated[float | None, Key(NUMBER, "y or northing, as the survey's results give it.")] = None
    line: Annotated[Pair | None, Key(pair_of("point"), "The line that it is measured from, P-Q.")] = None
    at: Annotated[Length | None, Key(ANY_LENGTH, "Chainage along the line.")] = None
    left: Annotated[Length | None, Key(LENGTH, "Offset to the left of the line.")] = None
    right: Annotated[Length | None, Key(LENGTH, "Offset to the right of the line.")] = None
    arms: Annotated[
        Mapping[str, Length],
        Key(mapping(to("point"), LENGTH, "distances"), "Distances from two known points.", name="from"),
    ] = field(default_factory=dict)
    side: Annotated[Side | None, sides("point")] = None
    meet: Annotated[
        tuple[Pair, ...], Key(items(pair_of("point"), "two lines", least=2, most=2), "Two lines that meet there.")
    ] = ()


class PointForm(NamedTuple):
    """One way to give a point."""

    keys: frozenset[str]  #: the fields that it fills
    choice: frozenset[str]  #: fields of which it may fill one besides
    words: str  #: what to write


BY_COORDINATES: Final = PointForm(frozenset({"easting", "northing"}), frozenset(), "easting and northing")
FROM_LINE: Final = PointForm(frozenset({"line", "at"}), frozenset({"left", "right"}), "line, at, and left or right")
BY_ARMS: Final = PointForm(frozenset({"arms", "side"}), frozenset(), "from two points and left_of")
WHERE_LINES_MEET: Final = PointForm(frozenset({"meet"}), frozenset(), "meet")
POINT_FORMS: Final = (BY_COORDINATES, FROM_LINE, BY_ARMS, WHERE_LINES_MEET)


def _point(values: dict[str, Any], table: Table, log: ReadingLog) -> TargetPoint:
    keys = values.keys() - {"name", "place"}
    form = next((one for one in POINT_FORMS if one.keys == keys - one.choice and len(keys & one.choice) <= 1), None)
    if form is None:
        ways = "; ".join(one.words for one in POINT_FORMS)
        raise Wrong(f"write one of: {ways}", table.place, "target")
    if form is BY_ARMS and len(values["arms"]) != 2:
        raise Wrong("from: two distances fix a point; write two", table.place, "target")
    return TargetPoint(**values)


@record(frozen=True, slots=True)
class TargetFile:
    """A file of targets."""

    unit: Annotated[str | None, Key(UNIT, "Unit of its bare lengths; the book's where left out.")] = None
    points: Annotated[
        Mapping[str, TargetPoint],
        Key(
            mapping(
                NAME, Record(TargetPoint, "a target", _point, name="target"), "points", name=lambda name: {"name": name}
            ),
            "Points to be set out, by name.",
        ),
    ] = field(default_factory=dict)
    features: Annotated[Mapping[str, Feature], Key(FEATURES, "Features to be set out, as a book writes them.")] = field(
        default_factory=dict
    )


_FILE: Final = Record(TargetFile, "a file of targets", name="targets", has_unit=True)


def read_targets(path: str, unit: str) -> TargetFile:
    """Return what a file of targets says; bare lengths are in ``unit`` where it names none.

    Raises
    ------
    OpenError
        The file cannot be opened.
    BookError
        Everything that is wrong in it, in the order of the file.
    """
    written = parse(text_of_bytes(read_bytes(path), path), path)
    log = ReadingLog(unit=unit)
    targets: TargetFile | None = log.attempt(lambda: _FILE.read(written, log), written)
    faults = [*log.faults, *log.blanks]
    if faults or targets is None:
        raise BookError(in_order(faults))
    return targets
