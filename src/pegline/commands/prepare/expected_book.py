"""The book as it would be filled in if the sketch were true: every blank with what it should read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence

from pegline.book.model import Book
from pegline.book.read import read_book
from pegline.commands.prepare.layout import Layout, PickUp, PlannedLine
from pegline.commands.prepare.sketch import is_blank
from pegline.errors import Place
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.plane import Array, distance

__all__ = ["expected_book", "expected_rows", "flow", "mark", "rows_of", "tie_stations"]

#: What an expected book leaves out: it is judged about its own base line, whatever it lies on.
LEFT_OUT = frozenset({"north", "control", "sketch", "witnesses"})


def flow(place: Place, **entries: Written | str | float) -> Table:
    """Return a table of some entries; numbers are metres."""
    return Table(
        {word.rstrip("_"): (Text(word.rstrip("_"), place), _value(value, place)) for word, value in entries.items()},
        place,
    )


def _value(value: Written | str | float, place: Place) -> Written:
    if isinstance(value, float):
        return Text(f"{value:.4f} m", place)
    return Text(value, place) if isinstance(value, str) else value


def mark(place: Place, at: Array) -> Items:
    """Return a place as the value of a sketch, metres."""
    return Items(tuple(Text(f"{value:.3f}", place) for value in at), place)


def rows_of(line: Table) -> tuple[Table, ...]:
    """Return the rows that a line's table has, those booked walking back left out."""
    entry = line.entries.get("details")
    return (
        tuple(row for row in entry[1].items if isinstance(row, Table)) if entry and isinstance(entry[1], Items) else ()
    )


def expected_rows(written: Table) -> Iterator[tuple[str, str, Table]]:
    """Yield the line, the point and the row of every row that is still to be booked."""
    lines = written.entries.get("lines")
    for name, (_, line) in lines[1].entries.items() if lines and isinstance(lines[1], Table) else ():
        for row in rows_of(line) if isinstance(line, Table) else ():
            at, point = row.entries.get("at"), row.entries.get("point")
            if (at is None or is_blank(at[1])) and point and isinstance(point[1], Text) and point[1].value:
                yield name, point[1].value, row


def tie_stations(written: Table) -> Iterator[tuple[str, str]]:
    """Yield every tie station with the line that it stands on, booked already or not."""
    lines = written.entries.get("lines")
    for name, (_, line) in lines[1].entries.items() if lines and isinstance(lines[1], Table) else ():
        for row in rows_of(line) if isinstance(line, Table) else ():
            station = row.entries.get("station")
            if station and isinstance(station[1], Text) and station[1].value:
                yield station[1].value, name


def expected_book(written: Table, book: Book, layout: Layout, bookings: Mapping[str, PickUp]) -> Book:
    """Return the book with every line taped and every point booked as the layout has them, without errors.

    What is measured already stays as it is; lines and points that the layout adds are added.
    """
    entries = {word: entry for word, entry in written.entries.items() if word not in LEFT_OUT}
    place = written.place
    stations: dict[str, tuple[Text, Written]] = {
        name: (Text(name, place), flow(place, sketch=mark(place, at))) for name, at in layout.stations.items()
    }
    entries["stations"] = Text("stations", place), Table(stations, place)
    entries["lines"] = Text("lines", place), Table(dict(_lines(written, layout, bookings)), place)
    if "points" in entries:
        entries["points"] = Text("points", place), _only_met(entries["points"][1])
    table = Table(entries, place)
    return read_book(table, file=book.file, path=book.path, sha256=hashlib.sha256(b"").hexdigest())


def _only_met(points: Written) -> Written:
    """Return the points that lie where lines meet: what is sketched is booked by now."""
    if not isinstance(points, Table):
        return points
    used_names = {
        name: entry
        for name, entry in points.entries.items()
        if isinstance(entry[1], Table) and "meet" in entry[1].entries
    }
    return Table(used_names, points.place)


def _lines(
    written: Table, layout: Layout, bookings: Mapping[str, PickUp]
) -> Iterator[tuple[str, tuple[Text, Written]]]:
    entry = written.entries.get("lines")
    booked = entry[1].entries if entry and isinstance(entry[1], Table) else {}
    for line in layout.lines:
        key, value = booked.get(line.name, (Text(line.name, written.place), Table({}, written.place)))
        table = value if isinstance(value, Table) else Table({}, written.place)
        yield (
            line.name,
            (key, _line(table, line, layout, [each for each in bookings.values() if each.line == line.name])),
        )


def _line(table: Table, line: PlannedLine, layout: Layout, picked: Sequence[PickUp]) -> Table:
    place = table.place
    entries = dict(table.entries)
    entries["use"] = Text("use", place), Text(line.use, place)
    taped = entries.get("taped")
    if "legs" not in entries and (taped is None or is_blank(taped[1])):
        entries["taped"] = Text("taped", place), _value(layout.length(line), place)
    rows = [row for row in rows_of(table) if _is_booked(row)]
    how = {row.entries["point"][1].value: row for row in rows_of(table) if _names_point(row)}  # type: ignore[union-attr]
    rows += [_row(booking, how.get(booking.point), place) for booking in picked]
    there = {row.entries["station"][1].value for row in rows if "station" in row.entries}  # type: ignore[union-attr]
    rows += [
        flow(place, at=float(distance(layout.place(line.start), layout.stations[name])), station=name)
        for name, on in layout.ties.items()
        if on == line.name and name not in there
    ]
    if rows:
        entries["details"] = Text("details", place), Items(tuple(rows), place)
    else:
        entries.pop("details", None)
    return Table(entries, place)


def _is_booked(row: Table) -> bool:
    at = row.entries.get("at")
    sides = [row.entries[word][1] for word in ("left", "right") if word in row.entries]
    return at is not None and not is_blank(at[1]) and not any(is_blank(side) for side in sides)


def _names_point(row: Table) -> bool:
    point = row.entries.get("point")
    return point is not None and isinstance(point[1], Text)


def _row(booking: PickUp, planned: Table | None, place: Place) -> Table:
    """Return the row that books a point without error, with whatever else the planned row says."""
    entries = {
        word: entry
        for word, entry in (planned.entries.items() if planned else ())
        if word not in ("at", "left", "right", "point", "struck")
    }
    one = len(booking.chainages) == 1
    at = [_value(value, place) for value in booking.chainages]
    entries["at"] = Text("at", place), at[0] if one else Items(tuple(at), place)
    if booking.offsets:
        side = "left" if booking.offsets[0] > 0 else "right"
        arms = [_value(abs(value), place) for value in booking.offsets]
        entries[side] = Text(side, place), arms[0] if one else Items(tuple(arms), place)
    entries["point"] = Text("point", place), Text(booking.point, place)
    return Table(entries, place)
