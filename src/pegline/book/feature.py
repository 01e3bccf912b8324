"""Features: things on the ground, of a kind, with one geometry; and kinds of a book's own."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, Any, Final, Literal

from pegline.book.geometry import (
    GEOMETRY,
    LEAST_POINTS_OF_GEOMETRY,
    Booked,
    Circle,
    Curve,
    Geometry,
    Rectangle,
    TapedRound,
)
from pegline.errors import Place
from pegline.kinds import Form
from pegline.measures.grammar import Grammar, items, scalar
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.lengths import SIZE
from pegline.measures.reading_log import Misread, NameUse, ReadingLog, Wrong
from pegline.measures.scalars import FLAG, KIND, NAME, NOTE, PAGE, TEXT, one_of, quote
from pegline.measures.source_tree import Table, Written
from pegline.measures.values import Length
from pegline.records import record

__all__ = ["FEATURES", "OWN_KINDS", "Feature", "OwnKind"]


Face = Literal["left", "right", "middle"]  #: of a wall or hedge, as seen going along it


@record(frozen=True, slots=True)
class Feature:
    """Something on the ground, of a kind, with one geometry."""

    name: str
    kind: Annotated[str, Key(KIND, "What it is: building, fence, tree … or one of the book's own kinds.")]
    geometry: Annotated[Geometry, GEOMETRY]
    place: Place
    thickness: Annotated[Length | None, Key(SIZE, "How thick a wall or hedge is.")] = None
    face: Annotated[
        Face | None,
        Key(one_of(Face), "Which face of a wall or hedge its points are on, as seen going along it."),
    ] = None
    girth: Annotated[Length | None, Key(SIZE, "Length of the tape once round it.")] = None
    width: Annotated[Length | None, Key(SIZE, "How wide it is.")] = None
    spread: Annotated[Length | None, Key(SIZE, "Diameter of the crown.")] = None
    height: Annotated[Length | None, Key(SIZE, "How high it is.")] = None
    label: Annotated[str | None, Key(TEXT, "What the plan says beside it.")] = None
    note: Annotated[str | None, NOTE] = None
    page: Annotated[str | None, PAGE] = None
    data: Annotated[
        Mapping[str, str], Key(mapping(TEXT, TEXT, "data"), "Anything else, passed through to the outputs.")
    ] = field(default_factory=dict)

    @property
    def has_half_width(self) -> bool:
        """Return whether half its width is known, which a witness taped to its face needs."""
        of_circle = isinstance(self.geometry, Circle) and (self.geometry.radius or self.geometry.girth)
        return bool(self.girth or self.width or of_circle)


def _feature(values: dict[str, Any], table: Table, log: ReadingLog) -> Feature:
    closed, corners = values.pop("closed", None), values.pop("corners", None)
    name, geometry = values["name"], values["geometry"]
    if closed is not None:
        if not isinstance(geometry, Curve):
            raise Wrong("closed is for curves only; leave it out", table.entries["closed"][0].place)
        geometry = dataclasses.replace(geometry, closed=closed)
    least = LEAST_POINTS_OF_GEOMETRY.get(type(geometry), 0)
    if least and len(geometry.points) < least and not any(isinstance(point, Booked) for point in geometry.points):
        word_, text = next((w, v) for w, (_, v) in table.entries.items() if w in GEOMETRY.keys)
        raise Wrong(
            f"{word_}: {len(geometry.points)} named, which is too few; name {least} or more", text.place, "points"
        )
    if isinstance(geometry, Rectangle | TapedRound):
        geometry = _with_corners(name, geometry, corners, table, log)
    elif corners is not None:
        raise Wrong(
            "corners are for a rectangle or a taped round only; leave them out", table.entries["corners"][0].place
        )
    return Feature(**values | {"geometry": geometry})


def _with_corners(
    name: str, geometry: Rectangle | TapedRound, corners: tuple[str, ...] | None, table: Table, log: ReadingLog
) -> Rectangle | TapedRound:
    """Name the corners that a shape makes, from the edge's end onward."""
    count = 2 if isinstance(geometry, Rectangle) else len(geometry.walls) - geometry.closing
    if corners is None:
        corners = tuple(f"{name}.{number}" for number in range(1, count + 1))
        log.defined.extend(NameUse("corner", corner, table.place) for corner in corners)
    elif len(corners) != count:
        place = table.entries["corners"][1].place
        raise Wrong(f"corners: {len(corners)} names for {count} corners; name each one", place, "corners")
    return dataclasses.replace(geometry, corners=corners)


def _read_corner(written: Written, log: ReadingLog) -> str:
    name = NAME.read(written, log)
    log.defined.append(NameUse("point", name, written.place))
    return name


FEATURES: Final = mapping(
    NAME,
    Record(
        Feature,
        "a feature",
        _feature,
        {
            "closed": Key(FLAG, "true makes a curve come back to its first point.", after="curve"),
            "corners": Key(
                items(Grammar(_read_corner, NAME.schema, NAME.name), "the corners"),
                "Names of the corners that a rectangle or a round makes, from the edge's end onward.",
                after="parallel",
            ),
        },
        name="feature",
    ),
    "features",
    name=lambda name: {"name": name},
)


def _layer(text: str) -> str:
    if re.fullmatch(r"[A-Za-z][A-Za-z0-9_ ]{0,59}", text):
        return text
    raise Misread(f"{quote(text)} is no layer; write plain letters, digits, '_' and spaces")


@record(frozen=True, slots=True)
class OwnKind:
    """A kind of feature that the book adds."""

    name: str
    geometry: Annotated[Form, Key(one_of(Form), "What it is on a plan.")]
    place: Place
    layer: Annotated[
        str | None,
        Key(scalar(_layer, "a layer", {"type": "string", "pattern": "^[A-Za-z][A-Za-z0-9_ ]*$"}), "Layer in drawings."),
    ] = None


OWN_KINDS: Final = mapping(TEXT, Record(OwnKind, "a kind", name="own_kind"), "kinds", name=lambda name: {"name": name})
