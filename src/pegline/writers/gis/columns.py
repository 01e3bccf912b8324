"""The columns of every layer: what each holds, the values it may take, and names that other programs keep."""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Final, Literal, get_args

from pegline.book.model import Use
from pegline.kinds import KINDS
from pegline.measures.offset import Method
from pegline.records import record

__all__ = [
    "ACCURACY_COLUMNS",
    "LISTS_OF_VALUES",
    "RESERVED",
    "TRUST_COLUMNS",
    "Column",
    "Type",
    "safe_name",
    "type_of",
    "typed_value",
]

#: Dates are texts, YYYY-MM-DD.
Type = Literal["text", "number", "whole number", "date", "yes or no"]


@record(frozen=True, slots=True)
class Column:
    """One column of a layer."""

    name: str
    about: str  #: what it holds, with its unit
    type: Type = "text"
    values: str | None = None  #: the list of values that it takes, by name


SURVEY_COLUMN: Final = Column("survey", "the survey that it is from: the name of its file")
NAME_COLUMN: Final = Column("name", "as in the field book")
KIND_COLUMN: Final = Column("kind", "what it is", values="kind")
NOTE_COLUMN: Final = Column("note", "note in the field book")
LINE_COLUMN: Final = Column("line", "the chain line that it was booked on, P-Q")
CHAINAGE_COLUMN: Final = Column("at", "chainage along that line on the ground, metres", "number")
OFFSET_COLUMN: Final = Column("off", "offset from that line on the ground, metres, left positive", "number")
METHOD_COLUMN: Final = Column("method", "how the right angle was set out", values="method")
SOURCE_COLUMN: Final = Column("source", "place in the field book, LINE:COLUMN")
PAGE_COLUMN: Final = Column("page", "page of the paper book")
IMAGE_COLUMN: Final = Column("image", "image of that page, as the field book names it")
CHECKED_COLUMN: Final = Column(
    "checked", "whether the checks reach it, passed or not; of a line or area: all its points", "yes or no"
)
UNNOTICED_COLUMN: Final = Column(
    "unnoticed",
    "how far one wrong reading that no check notices could have put it, metres; empty: any distance",
    "number",
)
RELIABLE_COLUMN: Final = Column(
    "reliable", "no: the framework is too flat there for its accuracy to be relied on", "yes or no"
)
TRUST_COLUMNS: Final = (CHECKED_COLUMN, UNNOTICED_COLUMN, RELIABLE_COLUMN)
ACCURACY_COLUMNS: Final = (
    Column("sd_x", "standard deviation of x, metres", "number"),
    Column("sd_y", "standard deviation of y, metres", "number"),
    Column("ellipse_a", "semi-major axis of the 95 % ellipse, metres", "number"),
    Column("ellipse_b", "semi-minor axis of the 95 % ellipse, metres", "number"),
    Column("ellipse_bearing", "bearing of its major axis, degrees clockwise from +y", "number"),
)
TAPED_COLUMN: Final = Column("taped", "as taped: mean reading, metres", "number")
SIZE_COLUMNS: Final = (
    Column("girth", "round the stem, metres", "number"),
    Column("width", "metres", "number"),
    Column("spread", "of the crown, metres", "number"),
    Column("height", "metres", "number"),
    Column("thickness", "of a wall or hedge, metres", "number"),
    Column("face", "which face of a wall or hedge was taken", values="face"),
)
LABEL_COLUMN: Final = Column("label", "what the plan says at it")
LAST_COLUMNS: Final = (SOURCE_COLUMN, PAGE_COLUMN, IMAGE_COLUMN, *TRUST_COLUMNS)

#: Lists of values that columns take. Kinds grow by those that a book adds.
LISTS_OF_VALUES: Final[Mapping[str, Mapping[str, str]]] = {
    "kind": {
        "station": "a station of the framework",
        "tie station": "a peg on a chain line",
        "point": "a point that no feature takes",
        **{kind.name: f"{kind.geometry} feature" for kind in KINDS.values()},
    },
    "use": dict(
        zip(
            get_args(Use),
            (
                "the line that all hangs on",
                "makes the framework",
                "between stations held already, or to reach detail",
                "compared, not used in the plotting solution",
                "between points, to book further detail from",
            ),
            strict=True,
        )
    ),
    "method": dict.fromkeys(get_args(Method), "right angle set out by this"),
    "form": {"perpendicular": "at a right angle from one chainage", "oblique": "an arm from one of several chainages"},
    "face": {"left": "as seen walking the line", "right": "as seen walking the line", "middle": "its middle"},
}


#: Words that a database may keep for itself, or that name the parts of a GIS row (SQL:2016 and common practice).
RESERVED: Final = frozenset(
    """add all alter and any array as asc between by case cast check collate column commit constraint create cross
    current date default delete desc distinct drop else end except exists fetch fid for foreign from full geom geometry
    grant group having id in index inner insert intersect interval into is join key left like limit match natural not
    null of ogc_fid oid on or order outer over primary range references right rollback row rowid rows select set shape
    some survey table then time timestamp to transaction trigger true false union unique update user using value values
    view when where window with year""".split()  # noqa: SIM905 - a list of 96 lines reads no better
)


#: A number as a book writes it; one that begins with noughts is a name.
_NUMBER: Final = re.compile(r"-?(?:0|[1-9]\d{0,14})(?P<rest>\.\d+)?", re.ASCII)


def type_of(texts: Iterable[str]) -> Type:
    """Return the type that texts of one column have in common.

    >>> type_of(["1987", "-3"]), type_of(["2.5", "3"]), type_of(["2019-05-01"]), type_of(["007"]), type_of([])
    ('whole number', 'number', 'date', 'text', 'text')
    """
    every = list(texts)
    matches = [_NUMBER.fullmatch(text) for text in every]
    if every and all(matches):
        return "number" if any(match and match["rest"] for match in matches) else "whole number"
    return "date" if every and all(map(_is_date, every)) else "text"


def _is_date(text: str) -> bool:
    try:
        return len(text) == 10 and bool(datetime.date.fromisoformat(text))
    except ValueError:
        return False


def typed_value(text: str, kind: Type) -> str | float | int:
    """Return a text as a value of a type.

    >>> typed_value("1987", "whole number"), typed_value("2.50", "number"), typed_value("2019-05-01", "date")
    (1987, 2.5, '2019-05-01')
    """
    return int(text) if kind == "whole number" else float(text) if kind == "number" else text


def safe_name(text: str, taken: Iterable[str] = ()) -> str:
    """Return a column name that other programs keep: ASCII, lower case, 30 letters at most, no word of SQL's.

    >>> safe_name("Höhe über Grund"), safe_name("order"), safe_name("2nd"), safe_name("樹"), safe_name("a", ["a"])
    ('hohe_uber_grund', 'data_order', 'data_2nd', 'data', 'a_2')
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    name = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")
    if not name or not name[0].isalpha() or name in RESERVED:
        name = f"data_{name}".rstrip("_")
    name = name[:30].rstrip("_")
    names_in_use, number, base = set(taken), 2, name
    while name in names_in_use:
        name = f"{base[: 29 - len(str(number))]}_{number}"
        number += 1
    return name
