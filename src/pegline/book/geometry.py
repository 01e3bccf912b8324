"""The geometries that a book may give a feature."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final

from pegline.errors import Place
from pegline.measures.distance import WALL, Wall, side_wall
from pegline.measures.grammar import Grammar, items, schema_of
from pegline.measures.keys import Key, OneOf, Record
from pegline.measures.lengths import LENGTH
from pegline.measures.reading_log import NameUse, ReadingLog, Wrong
from pegline.measures.scalars import NAME, PAIR, pair_of, to
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.measures.values import Length, Pair
from pegline.records import record

__all__ = [
    "GEOMETRY",
    "LEAST_POINTS_OF_GEOMETRY",
    "At",
    "Booked",
    "Circle",
    "Curve",
    "Geometry",
    "Parallel",
    "Rectangle",
    "Ring",
    "TapedRound",
    "Through",
]


@record(frozen=True, slots=True)
class Booked:
    """The feature's own rows, in place of points: all of them, or those of one line."""

    line: str | None
    place: Place


@record(frozen=True, slots=True)
class At:
    """A point feature."""

    point: str


@record(frozen=True, slots=True)
class Through:
    """An open line through points."""

    points: tuple[str, ...]


@record(frozen=True, slots=True)
class Ring:
    """A closed area; it closes on its first point by itself."""

    points: tuple[str, ...]


@record(frozen=True, slots=True)
class Curve:
    """A smooth curve through points."""

    points: tuple[str, ...]
    closed: bool = False


_SIDE_KEYS: Final = OneOf(
    {
        "left": Key(side_wall(left=True), "Distance to the left, as seen walking the edge or the line.", measured=True),
        "right": Key(
            side_wall(left=False), "Distance to the right, as seen walking the edge or the line.", measured=True
        ),
    },
    "left or right",
)
_POINT_NAME: Final = to("point")
_FEATURE: Final = to("feature")
_EDGE: Final = Key(pair_of("point"), "The edge it starts from, P-Q.")


@record(frozen=True, slots=True)
class Rectangle:
    """A rectangle from one edge and a depth; ``corners`` from the edge's end onward, always two."""

    edge: Annotated[Pair, _EDGE]
    left: bool
    depth: Annotated[Wall, _SIDE_KEYS]
    corners: tuple[str, ...]


@record(frozen=True, slots=True)
class TapedRound:
    """A right-angled outline: walls go on from the edge's end; each turns, then runs.

    ``corners`` names the far end of each wall, in order, without a last one that comes back to the start.
    """

    edge: Annotated[Pair, _EDGE]
    walls: Annotated[
        tuple[Wall, ...],
        Key(
            items(WALL, "the walls", least=2),
            "The walls in order, each with its turn: [left 6.4, right 3.1].",
            measured=True,
        ),
    ]
    corners: tuple[str, ...]
    closing: bool  #: the last wall comes back to the edge's start and is a check


@record(frozen=True, slots=True)
class Circle:
    """A circle about a centre, or through three points."""

    centre: Annotated[str | None, Key(to("point"), "The point in its middle.")] = None
    radius: Annotated[Length | None, Key(LENGTH, "From the middle to the edge.", measured=True)] = None
    girth: Annotated[Length | None, Key(LENGTH, "Once round it.", measured=True)] = None
    through: Annotated[
        tuple[str, ...], Key(items(to("point"), "a circle", least=3, most=3), "Three points on its edge.")
    ] = ()
    place: Place | None = None


@record(frozen=True, slots=True)
class Parallel:
    """An offset copy of another line feature."""

    to: Annotated[str, Key(_FEATURE, "The feature that it is a copy of.")]
    left: bool
    distance: Annotated[Wall, _SIDE_KEYS]
    start: Annotated[str | None, Key(_POINT_NAME, "Where it begins; left out, with the other.", name="from")] = None
    until: Annotated[str | None, Key(_POINT_NAME, "Where it ends; left out, with the other.")] = None


Geometry = At | Through | Ring | Curve | Rectangle | TapedRound | Circle | Parallel


def _rectangle(values: dict[str, Any], table: Table, log: ReadingLog) -> Rectangle:
    return Rectangle(**values, left=values["depth"].left, corners=())


def _round(values: dict[str, Any], table: Table, log: ReadingLog) -> TapedRound:
    # Walls are by turns across and along the edge, and the one that comes back to its start lies across.
    return TapedRound(**values, corners=(), closing=len(values["walls"]) % 2 == 1)


def _circle(values: dict[str, Any], table: Table, log: ReadingLog) -> Circle:
    if ("through" in values) == ("centre" in values):
        raise Wrong("a circle has a centre, or three points to go through; write one of them", table.place, "circle")
    sizes = values.keys() & {"radius", "girth"}
    if len(sizes) != ("centre" in values):
        raise Wrong("a circle about a centre has one size; write radius or girth", table.place, "circle")
    return Circle(**values, place=table.place)


def _parallel(values: dict[str, Any], table: Table, log: ReadingLog) -> Parallel:
    return Parallel(**values, left=values["distance"].left)


# -- points in a row --------------------------------------------------------------------------------

_POINT: Final = to("point")


def _read_member(written: Written, log: ReadingLog) -> str | Booked:
    if isinstance(written, Text) and (written.value == "booked" or written.value.startswith("booked ")):
        return _read_booked(written, log)
    return _POINT.read(written, log)


def _read_booked(written: Text, log: ReadingLog) -> Booked:
    line = written.value.removeprefix("booked").strip()
    if not line:
        return Booked(None, written.place)
    pair = PAIR.read(Text(line, written.place), log)
    log.used.append(NameUse("line", str(pair), written.place))
    return Booked(str(pair), written.place)


BOOKED: Final = {
    "type": "string",
    "pattern": "^booked",
    "description": "booked: the feature's own rows; booked A-B: those on line A-B.",
}
_MEMBERS: Final = items(
    Grammar(_read_member, lambda: {"anyOf": [schema_of(NAME), BOOKED]}), "the points in order, or 'booked',", least=1
)


def _read_points(written: Written, log: ReadingLog) -> tuple[str | Booked, ...]:
    if isinstance(written, Items):
        return _MEMBERS.read(written, log)
    member = _read_member(written, log)
    if isinstance(member, Booked):
        return (member,)
    raise Wrong(f"one point {member!r} makes no line; write the points in brackets, or 'booked'", written.place)


def _points(make: type[Through] | type[Ring] | type[Curve]) -> Grammar[Geometry]:
    def read(written: Written, log: ReadingLog) -> Geometry:
        # Members that are 'booked' become names once all rows are read.
        return make(_read_points(written, log))  # type: ignore[arg-type]

    def schema() -> dict[str, Any]:
        return {"anyOf": [BOOKED, _MEMBERS.schema()]}

    return Grammar(read, schema)


def _at(written: Written, log: ReadingLog) -> At:
    return At(_read_member(written, log))  # type: ignore[arg-type]


GEOMETRY: Final = OneOf(
    {
        "at": Key(Grammar(_at, NAME.schema, NAME.name), "One point."),
        "through": Key(_points(Through), "An open line through points: [f1, f2, f3], or booked."),
        "ring": Key(
            _points(Ring), "A closed area: [h1, h2, h3, h4], or booked; it closes on its first point by itself."
        ),
        "curve": Key(_points(Curve), "A smooth curve through points, or booked; closed: true for a pond."),
        "rectangle": Key(
            Record(Rectangle, "a rectangle", _rectangle, name="rectangle").grammar,
            "A rectangle from one edge and a depth.",
        ),
        "taped_round": Key(
            Record(TapedRound, "a round", _round, name="taped_round").grammar,
            "A right-angled building taped wall by wall, from the end of an edge round to where the edge begins; an"
            " extension narrower than the wall it leans on has an edge of its own between two points on that wall.",
        ),
        "circle": Key(Record(Circle, "a circle", _circle, name="circle").grammar, "A circle."),
        "parallel": Key(
            Record(Parallel, "a parallel", _parallel, name="parallel").grammar,
            "An offset copy of another line feature.",
        ),
    },
    "one geometry (at, through, ring, curve, rectangle, taped_round, circle or parallel)",
)

#: Points that a geometry asks for at least, where it is a list.
LEAST_POINTS_OF_GEOMETRY: Final[Mapping[type, int]] = {Through: 2, Ring: 3, Curve: 3}
