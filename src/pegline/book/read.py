"""A written table becomes a Book: the keys are read, names resolved, and everything wrong is told at once."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

from pegline.book.check import check
from pegline.book.geometry import At, Booked, Curve, Ring, Through
from pegline.book.half_finished import reducible_part
from pegline.book.model import BOOK, Book, Feature
from pegline.errors import BookError, Finding, Place, in_order
from pegline.measures.lengths import unknown_unit
from pegline.measures.offset import Row
from pegline.measures.reading_log import NOT_YET, Enough, ReadingLog, Wrong
from pegline.measures.source_tree import Table, Text, Written, open_places
from pegline.units import METRES_PER

__all__ = ["read_book"]


def read_book(written: Written, *, file: str, path: str, sha256: str, left_out: Sequence[Written] = ()) -> Book:
    """Return the book that a file's table says.

    Parameters
    ----------
    left_out
        Parts that were taken out of the table, for they cannot be read: what hangs on them waits.

    Raises
    ------
    BookError
        Everything that is wrong in it, in the order of the file.
    """
    sections = _sections(written)
    last = next(iter(written.entries.keys() - set(sections)), "") if isinstance(written, Table) else ""
    log = ReadingLog(open=open_places(written), sections=sections, last=last)
    for part in left_out:
        log.lose(part)
    try:
        book = _read(written, log)
        features = _features(book, log) if book else {}
    except Enough:
        book = None
    if book is None:
        raise BookError(in_order(log.faults))
    book = dataclasses.replace(book, file=file, path=path, sha256=sha256, features=features)
    faults, warnings = check(book, log)
    log.blanks += [finding for finding in faults if finding.rule == NOT_YET]
    faults = [finding for finding in faults if finding.rule != NOT_YET]
    if log.faults or faults:
        raise BookError(in_order([*log.faults, *faults]))
    return reducible_part(dataclasses.replace(book, warnings=in_order([*log.oddities, *warnings])), log)


def _sections(written: Written) -> tuple[str, ...]:
    """Return the sections of a book that are all written: those that it has, but for the one that it ends in."""
    if not isinstance(written, Table) or not written.entries:
        return ()
    *before, last = written.entries
    value = written.entries[last][1]
    ended = bool(value.value) if isinstance(value, Text) else value.closed
    return (*before, last) if ended else tuple(before)


def _read(written: Written, log: ReadingLog) -> Book | None:
    try:
        if not isinstance(written, Table):
            raise Wrong("a book is a map of keys; begin with 'book: 1' and 'unit: m'", written.place, "root")
        return BOOK.read(_with_head(written, log), log)
    except Wrong as wrong:
        log.tell(wrong)
        return None


def _with_head(table: Table, log: ReadingLog) -> Table:
    """Return the table with what every book must say, its lack told, so that the rest is read all the same."""
    entries = dict(table.entries)
    for word, default in (("book", "1"), ("unit", "m")):
        if word not in entries or entries[word][1] == Text("", entries[word][1].place):
            place = entries[word][0].place if word in entries else table.place
            log.tell(Wrong(f"{word} is missing; begin with 'book: 1' and 'unit: m'", place, "missing-key"))
            entries[word] = (Text(word, place), Text(default, place))
    unit = entries["unit"][1]
    if isinstance(unit, Text) and unit.value not in METRES_PER:
        log.tell(Wrong(unknown_unit(unit.value), unit.place, "unit"), "unit")
        entries["unit"] = (entries["unit"][0], Text("m", unit.place))
    return Table(entries, table.place)


# -- features ---------------------------------------------------------------------------------------


def _features(book: Book, log: ReadingLog) -> dict[str, Feature]:
    """Return the features, ``booked`` replaced by the points of their rows, with those that rows make."""
    rows: dict[str, dict[str, list[str]]] = {}
    implied: list[Feature] = []
    for line in book.lines.values():
        for row in line.details:
            if row.feature is not None:
                rows.setdefault(row.feature, {}).setdefault(line.name, []).append(row.name)
            if row.kind is not None:
                implied.append(_feature_of_row(row, row.kind))
    features = {
        name: _resolve_booked(feature, rows.get(name, {}), book, log) for name, feature in book.features.items()
    }
    for feature in implied:
        first = features.setdefault(feature.name, feature)
        if first.geometry != feature.geometry or first.kind != feature.kind:
            text = f"{feature.name!r} is a feature already (book {first.place.line}); give one of them another name"
            log.faults.append(Finding("feature-twice", text, feature.place))
    return features


def _feature_of_row(row: Row, kind: str) -> Feature:
    return Feature(
        row.name,
        kind,
        At(row.name),
        row.place,
        girth=row.girth,
        width=row.width,
        spread=row.spread,
        height=row.height,
        label=row.label,
        note=row.note,
        page=row.page,
    )


def _resolve_booked(feature: Feature, rows: dict[str, list[str]], book: Book, log: ReadingLog) -> Feature:
    geometry = feature.geometry
    booked: object = geometry.point if isinstance(geometry, At) else None
    try:
        if isinstance(booked, Booked):
            names = list(_members(feature, (booked,), rows, book, log))
            if len(names) != 1:
                text = f"at: booked wants one row of {feature.name!r}, and there are {len(names)}; name the point"
                raise Wrong(text, booked.place, "booked")
            return dataclasses.replace(feature, geometry=At(names[0]))
        members: tuple[object, ...] = geometry.points if isinstance(geometry, Through | Ring | Curve) else ()
        booked = next((member for member in members if isinstance(member, Booked)), None)
        if isinstance(geometry, Through | Ring | Curve) and isinstance(booked, Booked):
            points = tuple(dict.fromkeys(_members(feature, members, rows, book, log)))
            least = 2 if isinstance(geometry, Through) else 3
            if len(points) < least and not log.is_lost(feature.name, "feature"):
                raise Wrong(f"{len(points)} booked, which is too few; book {least} or more", booked.place, "points")
            return dataclasses.replace(feature, geometry=dataclasses.replace(geometry, points=points))
    except Wrong as wrong:
        if wrong.rule in ("booked", "points") and not log.is_written("lines"):
            log.blanks.append(Finding(NOT_YET, f"{feature.name}: {wrong.text}", wrong.place))
        else:
            log.tell(wrong, feature.name)
    return feature


def _members(
    feature: Feature, members: tuple[object, ...], rows: dict[str, list[str]], book: Book, log: ReadingLog
) -> Iterator[str]:
    """Yield the names of points, those of rows in place of ``booked``."""
    for member in members:
        if not isinstance(member, Booked):
            yield str(member)
        elif member.line is not None:
            if member.line not in book.lines:
                raise Wrong("", member.place)  # told among the unknown names
            if member.line not in rows and not log.is_lost(feature.name, "feature"):
                text = f"no row of line {member.line} says 'feature: {feature.name}'; add it, or name the points"
                raise Wrong(text, member.place, "booked")
            yield from rows.get(member.line, [])
        else:
            _one_line(feature, member.place, rows, log)
            yield from (name for names in rows.values() for name in names)


def _one_line(feature: Feature, place: Place, rows: dict[str, list[str]], log: ReadingLog) -> None:
    if len(rows) > 1:
        order = ", ".join(f"booked {line}" for line in rows)
        raise Wrong(f"its rows are on several lines; say their order, like [{order}]", place, "booked")
    if not rows and not log.is_lost(feature.name, "feature"):
        raise Wrong(f"no row says 'feature: {feature.name}'; add rows, or name the points", place, "booked")
