"""Check a book for faults and oddities: one function a check, in two tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import accumulate, chain, pairwise
from typing import Final

from pegline.book.geometry import At, Circle, Curve, Geometry, Parallel, Rectangle, Ring, TapedRound, Through
from pegline.book.model import Book, Feature
from pegline.book.names import (
    KnownNames,
    known_names,
    names_that_look_alike,
    one_name_two_things,
    reserved_names,
    stations_off_their_line,
    unknown_names,
    witnesses_nearly_named,
)
from pegline.errors import Finding
from pegline.kinds import KINDS, FeatureKind, Form
from pegline.measures.reading_log import NOT_YET, ReadingLog
from pegline.measures.scalars import quote
from pegline.measures.spelling import suggest
from pegline.measures.values import Name

__all__ = ["check"]


Check = Callable[[Book, KnownNames], Iterator[Finding]]


def check(book: Book, log: ReadingLog) -> tuple[list[Finding], list[Finding]]:
    """Return what is wrong in a book, and what is odd in it but not wrong."""
    known = known_names(book, log)
    faults = [finding for each in FAULTS for finding in each(book, known)]
    warnings = [finding for each in ODDITIES for finding in each(book, known)]
    return faults, warnings


# -- lines ------------------------------------------------------------------------------------------


def base_line(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell when there is not exactly one base line."""
    bases = [line for line in book.lines.values() if line.use == "base"]
    for line in bases[1:]:
        text = f"{bases[0].name} (book {bases[0].place.line}) is the base line already; write use: side or tie"
        yield Finding("base", text, line.place)
    lines = list(book.lines.values())
    if lines and not bases and not _is_line_lost(known.log):
        ended = known.log.is_written("lines")
        text = f"no line is the base line{'' if ended else ' yet'}; write use: base in the longest one"
        yield Finding("base" if ended else NOT_YET, text, lines[0].place)


def _is_line_lost(log: ReadingLog) -> bool:
    """Return whether a line is left out: it may be the base line, or have been left out because none is."""
    return any(words & {"taped", "legs"} for words in log.lost.values())


def there_and_back(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a line that is booked in both directions."""
    for line in book.lines.values():
        other = book.lines.get(f"{line.end}-{line.start}")
        if other and (other.place.line, other.place.column) < (line.place.line, line.place.column):
            text = f"{other.name} (book {other.place.line}) is the same line; add its back reading to taped there"
            yield Finding("line-twice", text, line.place)


def ends_as_tie_stations(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a tie station that is an end of the line that it is booked on."""
    for line in book.lines.values():
        for row in line.details:
            if row.is_tie_station and row.name in (line.start, line.end):
                text = f"{row.name} is an end of {line.name} and no tie station on it; look at the name"
                yield Finding("station-row", text, row.place)


def rows_on_a_check_line(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell details on a check line."""
    for line in book.lines.values():
        if line.use == "check" and line.details:
            text = f"{line.name} is a check line and carries no details; write use: tie"
            yield Finding("check-details", text, line.details[0].place)


def lines_between_stations(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell what is booked as between points and lies between stations."""
    for line in book.lines.values():
        if line.use == "detail" and line.start in known.stations and line.end in known.stations:
            yield Finding("detail-line", f"{line.name} is between two stations; write use: tie or check", line.place)
    for dimension in book.dimensions:
        pair = dimension.pair
        if pair.start in known.stations and pair.end in known.stations:
            text = f"{pair} is between two stations; book it under lines, with use: tie or check"
            yield Finding("dimension", text, dimension.place)


def chainages_past_an_obstacle(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a chainage within a leg that goes past an obstacle, where nothing was taped along the line."""
    for line in book.lines.values():
        if not any(leg.passage for leg in line.legs):
            continue
        unit = book.unit_of(line.name)
        lengths = [leg.reading.length.metres(unit) for leg in line.legs]
        ends = list(accumulate(lengths))
        for row in line.details:
            for at in row.at:
                if isinstance(at, Name):
                    continue
                read = at.length.metres(unit)
                chainage = ends[-1] - read if row.back else read
                for leg, length, end in zip(line.legs, lengths, ends, strict=True):
                    if leg.passage and end - length + 0.005 < chainage < end - 0.005:
                        text = (
                            f"at: {at.length.text} is within the leg past {leg.passage.past}, where no tape lay on the"
                            " line; book the point from another line"
                        )
                        yield Finding("past-obstacle", text, at.place)


def faces_without_a_width(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a witness taped to the face of a surveyed thing whose width the book does not say."""
    for witness in chain.from_iterable(book.witnesses.values()):
        is_surveyed = any(witness.object in names for names in (known.stations, known.points, book.features))
        if witness.to != "face" or not is_surveyed:
            continue
        feature = book.features.get(witness.object)
        if feature is None or not feature.has_half_width:
            blank = (
                feature is not None and {(feature.place, size) for size in ("girth", "width")} & known.log.blank_keys
            )
            text = f"to: face needs half the width of {witness.object}; book its girth or width"
            yield Finding(NOT_YET if blank else "face", text, witness.place)


# -- arcs and features ------------------------------------------------------------------------------


def arcs_without_a_side(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a point from two others that may lie on either side of them."""
    if not book.arcs:
        return
    named_by_rows = {row.name for line in book.lines.values() for row in line.details}
    several: dict[str, int] = {}
    for arc in book.arcs:
        several[arc.point] = several.get(arc.point, 0) + len(arc.arms)
    for arc in book.arcs:
        is_placed = arc.point in named_by_rows or known.log.is_lost(arc.point, "point")
        if several[arc.point] == 2 and arc.side is None and not is_placed:
            start, end = (arm.start for arm in arc.arms)
            text = f"two arcs meet on both sides of {start}-{end}; add left_of or right_of"
            yield Finding("arc-side" if known.log.is_written("arcs") else NOT_YET, text, arc.place)


#: What each geometry can be.
_FORMS: Final[Mapping[type, tuple[Form, ...]]] = {
    At: ("point",),
    Through: ("line",),
    Ring: ("line", "area"),
    Curve: ("line",),
    Rectangle: ("line", "area"),
    TapedRound: ("line", "area"),
    Circle: ("line", "area"),
    Parallel: ("line",),
}
_WORDS: Final[Mapping[type, str]] = {
    At: "at",
    Through: "through",
    Ring: "ring",
    Curve: "curve",
    Rectangle: "rectangle",
    TapedRound: "taped_round",
    Circle: "circle",
    Parallel: "parallel",
}
_HINTS: Final[Mapping[Form, str]] = {
    "point": "write at",
    "line": "write through, curve or parallel",
    "area": "write ring, rectangle, taped_round, circle, or curve with closed: true",
}


def _kind(book: Book, feature: Feature) -> FeatureKind | None:
    own = book.kinds.get(feature.kind)
    return FeatureKind(own.name, own.geometry, own.layer or "") if own else KINDS.get(feature.kind)


def _forms(geometry: Geometry) -> tuple[Form, ...]:
    closed = isinstance(geometry, Curve) and geometry.closed
    return ("line", "area") if closed else _FORMS[type(geometry)]


def geometry_of_kinds(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a feature whose geometry its kind cannot have."""
    for feature in book.features.values():
        kind = _kind(book, feature)
        forms = _forms(feature.geometry)
        if kind and kind.geometry not in forms and not (kind.ring_is_area and "area" in forms):
            word = _WORDS[type(feature.geometry)]
            text = f"{kind.name} is a kind of {kind.geometry}, which {word} does not make; {_HINTS[kind.geometry]}"
            yield Finding("kind", text, feature.place)


def kinds_that_ship(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a kind of the book's own that is one of those that ship."""
    for kind in book.kinds.values():
        if kind.name in KINDS:
            yield Finding("kind", f"{kind.name} is a kind already; give yours another name", kind.place)


def parallels(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a parallel to something that is no line, or to itself by a roundabout way."""
    for feature in book.features.values():
        followed = {feature.name}
        other: Feature | None = feature
        while other and isinstance(other.geometry, Parallel):
            other = book.features.get(other.geometry.to)
            if other and other.name in followed:
                yield Finding("parallel", f"{feature.name} is parallel to itself; name another line", feature.place)
                break
            followed.add(other.name if other else "")
        if other is not feature and other and isinstance(other.geometry, At | Circle | Rectangle | TapedRound):
            text = f"parallel: {other.name} is no line; name a feature with through, ring or curve"
            yield Finding("parallel", text, feature.place)


def shapes_on_their_own_corners(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a shape whose edge ends on corners that it makes itself, also by way of another shape."""
    shapes = {
        name: feature for name, feature in book.features.items() if isinstance(feature.geometry, Rectangle | TapedRound)
    }
    makers = {
        corner: name
        for name, feature in shapes.items()
        if isinstance(feature.geometry, Rectangle | TapedRound)
        for corner in feature.geometry.corners
    }
    for name, feature in shapes.items():
        passed: set[str] = set()
        ends = _edge_ends(feature)
        while ends:
            end = ends.pop()
            maker = makers.get(end)
            if maker == name:
                text = f"{name} makes the corner {quote(end)} and hangs on it; name an edge that is booked from a line"
                yield Finding("own-corner", text, feature.place)
                break
            if maker and maker not in passed:
                passed.add(maker)
                ends += _edge_ends(shapes[maker])


def _edge_ends(feature: Feature) -> list[str]:
    """Return the ends of the edge that a shape hangs on."""
    geometry = feature.geometry
    return [geometry.edge.end, geometry.edge.start] if isinstance(geometry, Rectangle | TapedRound) else []


def booked_again_in_a_shape(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell the same point named twice in one outline."""
    for feature in book.features.values():
        geometry = feature.geometry
        if not isinstance(geometry, Through | Ring | Curve):
            continue
        names = geometry.points
        if isinstance(geometry, Ring) and len(names) > 3 and names[0] == names[-1]:
            text = f"ring: it ends on {names[0]} again; leave the last one out, a ring closes by itself"
            yield Finding("ring", text, feature.place)
        elif len(set(names)) < len(names) and any(a == b for a, b in pairwise(names)):
            twice = next(a for a, b in pairwise(names) if a == b)
            yield Finding("points", f"{quote(twice)} is listed twice in a row; leave one out", feature.place)


# -- the frame --------------------------------------------------------------------------------------


def grid_without_control(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell bearings from a grid that nothing names."""
    is_named = book.control or known.log.is_lost("crs", "control")
    if book.north and book.north.reference == "grid" and not is_named:
        text = "from: grid, and no control says which grid; add control, or write magnetic or true"
        yield Finding(
            "grid" if known.log.is_written("north") and known.log.last != "control" else NOT_YET,
            text,
            book.north.place,
        )


# -- what is odd ------------------------------------------------------------------------------------


def pages_without_an_image(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Warn of a page that ``pages`` does not list."""
    if not book.pages:
        return
    for realm, name, place in known.log.used:
        if realm == "page" and name not in book.pages:
            yield Finding("page", f"page {quote(name)} is not among pages{suggest(name, book.pages)}", place)


def widths_of_lines(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Hint at a line with a width, of which one edge alone is drawn."""
    for feature in book.features.values():
        kind = _kind(book, feature)
        if kind and kind.geometry == "line" and feature.thickness and not feature.face:
            text = (
                f"{feature.name} has a thickness and no face, so one line is drawn; for both edges write"
                " face: left, right or middle"
            )
            yield Finding("thickness-of-line", text, feature.place)
        elif kind and kind.geometry == "line" and feature.width and not feature.thickness:
            text = (
                f"{feature.name} has a width, which is a note only: one line is drawn; for both edges write thickness"
                " and face: left, right or middle"
            )
            yield Finding("width-of-line", text, feature.place)


def rows_not_drawn(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Warn of rows of a feature that its geometry does not go through."""
    for line in book.lines.values():
        for row in line.details:
            if row.feature is None:
                continue
            feature = book.features.get(row.feature)
            geometry = feature.geometry if feature else None
            if isinstance(geometry, Through | Ring | Curve) and row.name not in geometry.points:
                text = f"{row.feature} does not go through this row; write booked in its {_WORDS[type(geometry)]}"
                yield Finding("row-not-drawn", text, row.place)


FAULTS: Final[tuple[Check, ...]] = (
    unknown_names,
    stations_off_their_line,
    one_name_two_things,
    reserved_names,
    base_line,
    there_and_back,
    ends_as_tie_stations,
    rows_on_a_check_line,
    lines_between_stations,
    chainages_past_an_obstacle,
    faces_without_a_width,
    arcs_without_a_side,
    geometry_of_kinds,
    kinds_that_ship,
    parallels,
    shapes_on_their_own_corners,
    booked_again_in_a_shape,
    grid_without_control,
)
ODDITIES: Final[tuple[Check, ...]] = (
    witnesses_nearly_named,
    names_that_look_alike,
    pages_without_an_image,
    rows_not_drawn,
    widths_of_lines,
)
