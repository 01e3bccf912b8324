"""The rows booked along a chain line: perpendicular and oblique offsets, points on it, tie stations."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal

from pegline.errors import Place
from pegline.measures.grammar import Grammar, items, one_or_more, scalar, schema_of
from pegline.measures.keys import Key, Record
from pegline.measures.lengths import ACCURACY, CHAINAGE, OFFSETS, SIZE, check_spread, plain_reading, read_reading
from pegline.measures.reading_log import Misread, NameUse, ReadingLog, Wrong
from pegline.measures.scalars import (
    KIND,
    NAME,
    NOTE,
    PAGE,
    TEXT,
    is_plain_name,
    name_to,
    number,
    one_of,
    pair_of,
    plain_signs,
    to,
)
from pegline.measures.source_tree import Table, Text, Written
from pegline.measures.values import Accuracy, Length, Name, Pair, Reading
from pegline.records import record

__all__ = ["METHOD", "ROW", "Form", "Method", "Row", "TapedTo"]

Form = Literal["perpendicular", "oblique", "on line", "station"]
TapedTo = Literal["face", "centre"]  #: what of something round a distance was taped to
Method = Literal["set square", "three-four-five", "swing", "optical square", "eye"]

METHOD: Final = one_of(Method)
_NUMERIC: Final = re.compile(r"[-+~.]*\s*[.\d]")
_STATION: Final = name_to("on the line")
_FEATURE: Final = to("feature")


def _read_at(written: Written, log: ReadingLog) -> Reading | Name:
    """Return a chainage, or the name of a station that stands for its own: a number is always a chainage."""
    if type(written) is not Text or written.value[:1].isdecimal() or _NUMERIC.match(plain_signs(written.value)):
        return read_reading(written, log, "any")
    return _STATION.read(written, log)


_AT: Final = one_or_more(
    Grammar(_read_at, lambda: {"anyOf": [schema_of(CHAINAGE), schema_of(NAME)]}, "chainage"), "a chainage"
)


def _share(text: str) -> float:
    """Return a share of a whole, from 0 to 1."""
    share = number(text)
    if not 0 <= share <= 1:
        raise Misread(f"{text} is no share of a width or height; write a number from 0 to 1")
    return share


_SHARE: Final = scalar(_share, "a share", {"type": "number", "minimum": 0, "maximum": 1})


@record(frozen=True, slots=True)
class Row:
    """One row of ``details``."""

    name: str  #: of the point or tie station; ``FEATURE.N`` where the book gives none
    place: Place
    at: Annotated[
        tuple[Reading | Name, ...],
        Key(
            _AT,
            "Chainage of the foot; two or more for oblique offsets. Or the name of a station on the line.",
            measured=True,
        ),
    ]  #: a Name is a station on the line
    left: Annotated[
        tuple[Reading, ...],
        Key(OFFSETS, "Offset to the left as seen walking the line; one for each chainage.", measured=True),
    ] = ()
    right: Annotated[
        tuple[Reading, ...],
        Key(OFFSETS, "Offset to the right as seen walking the line; one for each chainage.", measured=True),
    ] = ()
    form: Form = "on line"
    feature: Annotated[str | None, Key(_FEATURE, "The feature that this is the next point of.")] = None
    kind: Annotated[str | None, Key(KIND, "Makes the point a feature of its own, of this kind.")] = None
    to: Annotated[
        TapedTo,
        Key(one_of(TapedTo), "face: taped to the near face of something round; default centre."),
    ] = "centre"
    method: Annotated[Method | None, Key(METHOD, "How the right angle was set out.")] = (
        None  #: None: the line's or book's
    )
    accuracy: Annotated[Accuracy | None, Key(ACCURACY, "Standard deviation of the reading as a whole.")] = None
    girth: Annotated[Length | None, Key(SIZE, "Length of the tape once round it.")] = None
    width: Annotated[Length | None, Key(SIZE, "How wide it is.")] = None
    spread: Annotated[Length | None, Key(SIZE, "Diameter of the crown.")] = None
    height: Annotated[Length | None, Key(SIZE, "How high it is.")] = None
    label: Annotated[str | None, Key(TEXT, "What the plan says beside it.")] = None
    note: Annotated[str | None, NOTE] = None
    page: Annotated[str | None, PAGE] = None
    mark_at: Annotated[
        tuple[float, float] | None,
        Key(
            items(_SHARE, "a spot on the page", least=2, most=2),
            "Where on the page's image the row stands, [x, y]: shares of its width and height from the upper left.",
            after="page",
        ),
    ] = None
    produced: Annotated[
        Pair | None, Key(pair_of("point"), "The wall P-Q, produced, cuts the line here.", after="right")
    ] = None
    back: bool = False  #: booked walking the line from its end: chainage and side are as seen then
    struck: Annotated[tuple[Reading, ...], Key(OFFSETS, "A reading that was struck out; kept and never used.")] = ()

    @property
    def offsets(self) -> tuple[Reading, ...]:
        """Return the offsets of either side."""
        return self.left or self.right

    @property
    def is_tie_station(self) -> bool:
        """Return whether the row books a station that stands on the line."""
        return self.form == "station"

    @property
    def side(self) -> int:
        """Return +1 for left of the line as its key directs it, -1 for right, 0 for on it."""
        sign = 1 if self.left else -1 if self.right else 0
        return -sign if self.back else sign


def _row(values: dict[str, Any], table: Table, log: ReadingLog) -> Row:
    if "mark_at" in values and "page" not in values:
        raise Wrong("mark_at is a spot on a page, and the row names none; add page", table.place, "mark")
    if "station" in values:
        return _tie_station(values, table, log)
    left, right, chainages = values.get("left"), values.get("right"), values["at"]
    if left and right:
        raise Wrong("both left and right are given; keep the one that was measured", table.place, "left-and-right")
    offsets = left or right
    if len(chainages) > 1:
        _check_arms(len(chainages), offsets, table)
        values["form"] = "oblique"
    elif offsets:
        check_spread(offsets, log)
        values["form"] = "perpendicular"
    if "produced" in values and (offsets or len(chainages) > 1):
        raise Wrong(
            "produced says where a wall cuts the line itself; leave out left or right, and write one chainage",
            table.place,
            "produced",
        )
    if values.get("to") == "face" and not values.keys() & {"girth", "width"}:
        raise Wrong("to: face needs half the width; write girth or width in the row", table.place, "face")
    values["name"] = _point_name(values, table, log)
    return Row(**values)


def _check_arms(chainages: int, offsets: tuple[Reading, ...] | None, table: Table) -> None:
    if not offsets:
        text = f"{chainages} chainages and no offset; write left or right with one distance for each chainage"
        raise Wrong(text, table.entries["at"][1].place, "oblique")
    if len(offsets) != chainages:
        side = table.entries["left" if "left" in table.entries else "right"]
        text = f"{chainages} chainages but {_count(len(offsets), 'offset')}; write one distance for each chainage"
        raise Wrong(text, side[1].place, "oblique")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _tie_station(values: dict[str, Any], table: Table, log: ReadingLog) -> Row:
    name = values.pop("station")
    place = table.entries["station"][1].place
    for other in ("left", "right", "point", "feature", "kind", "produced"):
        if other in values:
            text = f"{other} is given beside station; a tie station is on the line and nothing else"
            raise Wrong(text, table.entries[other][0].place, "station-row")
    if len(values["at"]) > 1 or isinstance(values["at"][0], Name):
        raise Wrong("a tie station has one chainage; write a number", table.entries["at"][1].place, "station-row")
    log.defined.append(NameUse("station", name, place))
    return Row(**values, name=name, form="station")


def _point_name(values: dict[str, Any], table: Table, log: ReadingLog) -> str:
    """Return the name of the row's point, counting the unnamed rows of its feature."""
    point = values.pop("point", None)
    if point is not None:
        log.defined.append(NameUse("point", point, table.entries["point"][1].place))
        return str(point)
    if "kind" in values:
        raise Wrong("kind makes the point a feature and needs its name; add point", table.place, "row-name")
    feature = values.get("feature")
    if feature is None and "produced" in values:
        feature = "produced"
    if feature is None:
        raise Wrong("nothing says what is here; add point, feature or station", table.place, "row-name")
    log.rows[feature] += 1
    return f"{feature}.{log.rows[feature]}"


_ROW: Final = Record(
    Row,
    "a row of details",
    _row,
    {
        "point": Key(NAME, "Name of the point.", measured=True, after="right"),
        "station": Key(NAME, "A tie station on the line at this chainage.", measured=True, after="point"),
    },
    name="row",
)
#: The keys of the row that most books have most of.
_PLAIN_ROWS: Final = frozenset({("at", "left", "point"), ("at", "right", "point")})


def _read_row(written: Written, log: ReadingLog) -> Row:
    """Return a row: one with a plain chainage, offset and name at once, for a large book has little else."""
    if type(written) is Table and tuple(written.entries) in _PLAIN_ROWS:
        (_, at), (side, offset), (_, point) = written.entries.values()
        chainage, reading = plain_reading(at, log), plain_reading(offset, log)
        if chainage and reading and is_plain_name(point):
            log.defined.append(NameUse("point", point.value, point.place))
            left, right = ((reading,), ()) if side.value == "left" else ((), (reading,))
            return Row(point.value, written.place, (chainage,), left, right, "perpendicular")
    return _ROW.read(written, log)


ROW: Final = Grammar(_read_row, _ROW.schema, _ROW.name)
