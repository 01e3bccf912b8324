"""The sheets to take to the field: the sketch with the lines, a page to book each line on, witnesses, sums, safety."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from pegline.book.feature import Feature
from pegline.book.geometry import Circle, Curve, Rectangle, Ring, TapedRound
from pegline.book.habits import notation_of
from pegline.commands.prepare.expectation import Expectation, Intention, needs_of
from pegline.commands.prepare.layout import PickUp, PlannedLine
from pegline.commands.prepare.rules import Remark, smallest_noticed
from pegline.commands.prepare.sketch import sketched_outline
from pegline.commands.questions import BOUNDARY_CAUTION, FIELD_CAUTION
from pegline.commands.sheets import SHEET_BODY, TEXT_MM, Flow, SmallMap, field_sheets
from pegline.errors import UsageError
from pegline.plan.display import Item, Stroke, Words
from pegline.plan.fonts import text_width
from pegline.plan.model import Plan
from pegline.plan.sheets.column import shorten
from pegline.plane import distance

__all__ = ["preparation_sheets"]

USE_LINES: Final = {
    "base": "CONTINUOUS",
    "side": "CONTINUOUS",
    "tie": "LONG-DASH",
    "check": "SHORT-DASH",
    "detail": "DOTS",
}
CHAIN: Final = 13.0  #: half the breadth of the chain's column, mm
BLANK_ROW_MM: Final = 13.5  #: from one blank row to the next, mm
WITNESS_COLUMNS_MM: Final = (22.0, 68.0, 34.0, 58.0)  #: breadths of the columns of the witness table, mm
SUMS: Final = (92.0, 46.0, 44.0)
ROOM: Final = 8.0  #: what a line of the sketch is longer than its label at least, mm
UNEXPECTED_ROWS: Final = 3  #: blank rows for what nobody expected

SHEET_SAFETY: Final = (
    "Beside a road: bright clothes, one who watches the traffic, nobody in the roadway with a tape.",
    "Look up before you raise a rod: wires. Look down before you drive a peg: cables, gas, water.",
    "Not alone near water, on walls or on steep ground. No steel tape in a thunderstorm, or near a fence that is live.",
    "Ask before you cross a neighbour's land; leave gates as you find them; pull out the arrows.",
)


def preparation_sheets(expectation: Expectation, judgement: Sequence[Remark]) -> Plan:
    """Return the sheets of a preparation.

    Raises
    ------
    UsageError
        The layout fixes no plan yet.
    """
    survey, book = expectation.survey, expectation.intention.book
    if survey is None:
        raise UsageError(f"no sheets yet: {expectation.trouble}; mend the layout first, or add --propose")
    pages = [("The lines", list(_index(expectation)))]
    for line in expectation.intention.layout.lines:
        if line.name not in book.lines:
            pages += _booking_pages(expectation, line)
    flow = Flow("Witnesses, sums, safety")
    _witnesses(flow, expectation)
    _sums(flow, expectation)
    _judgement(flow, judgement)
    _safety(flow)
    title = book.heading
    return field_sheets(survey, title, [*pages, *flow.pages], caution=f"{FIELD_CAUTION} {BOUNDARY_CAUTION}")


# -- the sketch with the lines ---------------------------------------------------------------------------------------


def _index(expectation: Expectation) -> Iterator[Item]:
    """Yield the sketch, north up, with the lines and what each is for, and the words under it."""
    left, bottom, right, top = SHEET_BODY
    below = 39.0 + 1.5 * len(expectation.intention.layout.lines)  # room for the words under the sketch
    small, unlabelled = _sketch_with_lines(expectation.intention, (left, bottom + below + 3, right, top))
    yield from small.items
    needs = needs_of(expectation)
    flow = Flow("")
    flow.y = bottom + below
    flow.text("North is up. Base: heavy. Tie: long dashes. Check: short dashes. Lengths by the sketch only.")
    if unlabelled:
        flow.text(f"Too short to be labelled: {', '.join(unlabelled)}.")
    flow.text(
        f"Take {needs.pegs} pegs, {needs.rods} rods, {needs.arrows or 'no'} arrows, tapes, a square, this paper and"
        f" pencils. {needs.people} people, {needs.sentence}."
    )
    yield from flow.items


def _sketch_with_lines(intention: Intention, box: tuple[float, float, float, float]) -> tuple[SmallMap, Sequence[str]]:
    """Return the sketch with the lines of the layout, and the labels of those that are too short for theirs."""
    layout, notation = intention.layout, notation_of(intention.book)
    places = {**layout.points, **layout.stations}
    outlines = {
        name: outline
        for name, feature in intention.features.items()
        if (outline := sketched_outline(feature, places, intention.book.unit)) is not None
    }
    small = SmallMap(box, np.vstack([*places.values(), *outlines.values()]))
    unlabelled: list[str] = []
    for name, outline in outlines.items():
        if len(outline) > 1:
            small.line(outline, closed=_closes(intention.features[name]))
    for line in layout.lines:
        ends = np.array([layout.place(line.start), layout.place(line.end)])
        small.line(ends, line_type=USE_LINES[line.use], heavy=line.use == "base")
        share = 0.3 if line.use == "check" else 0.5  # check lines cross others in their middle
        label = f"{line.use} {notation.figure(layout.length(line))}"
        if small.mm * layout.length(line) > text_width(label, TEXT_MM) + ROOM:
            small.along(ends[0], ends[1], label, share=share)
        else:
            unlabelled.append(f"{line.name} {label}")
    for name, at in layout.stations.items():
        small.station(at, name)
    for name, at in layout.points.items():
        small.mark(at, name)
    small.north(0.0)
    return small, unlabelled


def _closes(feature: Feature) -> bool:
    geometry = feature.geometry
    return isinstance(geometry, Ring | Rectangle | TapedRound | Circle) or (
        isinstance(geometry, Curve) and geometry.closed
    )


# -- a page for each line --------------------------------------------------------------------------------------------


def _booking_pages(expectation: Expectation, line: PlannedLine) -> Iterator[tuple[str, list[Item]]]:
    """Yield the pages of a line: its start at the foot, the chain up the middle, blanks on either side."""
    rows = _expected_rows(expectation, line)
    _, bottom, _, top = SHEET_BODY
    most = int((top - bottom - 42.0) / BLANK_ROW_MM)
    if line.use != "check":  # blanks for what nobody expected, to the end of the page
        rows += [None] * UNEXPECTED_ROWS
        rows += [None] * (-len(rows) % most)
    parts = [rows[i : i + most] for i in range(0, len(rows), most)] or [[]]
    for number, part in enumerate(parts):
        heading = f"{line.start} to {line.end}, {line.use}" + (f", page {number + 1}" if number else "")
        items = list(_page(expectation, line, part, first=not number, last=number == len(parts) - 1))
        yield heading, items


def _expected_rows(expectation: Expectation, line: PlannedLine) -> list[PickUp | str | None]:
    """Return what is expected along a line in the order of its chainage: bookings, and the names of tie stations."""
    layout = expectation.intention.layout
    start = layout.place(line.start)
    rows: list[tuple[float, PickUp | str]] = [
        (float(distance(start, layout.stations[name])), name) for name, on in layout.ties.items() if on == line.name
    ]
    for booking in expectation.bookings.values():
        if booking.line == line.name:
            rows += [(chainage, booking) for chainage in booking.chainages]
    return [row for _, row in sorted(rows, key=lambda each: each[0])]


def _page(
    expectation: Expectation, line: PlannedLine, rows: Sequence[PickUp | str | None], *, first: bool, last: bool
) -> Iterator[Item]:
    left, bottom, right, top = SHEET_BODY
    middle = (left + right) / 2
    notation = notation_of(expectation.intention.book)
    length = notation.figure(expectation.intention.layout.length(line))
    yield Words("SHEET-TEXT", f"Line {line.start}-{line.end}", left, top - 5, 4.0, bold=True)
    yield Words("SHEET-TEXT", f"{line.use}; about {length} by the sketch", left, top - 11.5, TEXT_MM)
    yield Words("SHEET-TEXT", "date ____________  tape ____________", right, top - 5, TEXT_MM, "right")
    yield Words("SHEET-TEXT", f"unit {notation.name}   temperature ______", right, top - 11.5, TEXT_MM, "right")
    head = top - 32.0
    for edge in (-CHAIN, CHAIN):
        yield Stroke("SHEET", np.array([(middle + edge, bottom + 12), (middle + edge, head)]))
    if first:
        yield from _end(middle, bottom + 5, line.start)
        yield Words("SHEET-TEXT", f"start: 0 at {line.start}", middle + CHAIN + 4, bottom + 3.5, TEXT_MM)
    else:
        yield Words("SHEET-TEXT", "from the page before", middle, bottom + 3.5, TEXT_MM, "middle")
    if not last:
        yield Words("SHEET-TEXT", "goes on on the next page", middle, head + 5.5, TEXT_MM, "middle")
    else:
        yield from _end(middle, head + 7, line.end)
        yield Words("SHEET-TEXT", "total forward __________", middle - CHAIN - 4, head + 5.5, TEXT_MM, "right")
        yield Words("SHEET-TEXT", "taped back __________", middle + CHAIN + 4, head + 5.5, TEXT_MM)
    for number, booking in enumerate(rows):
        yield from _blank(booking, rows, number, middle, bottom + 18 + BLANK_ROW_MM * number)


def _end(x: float, y: float, name: str) -> Iterator[Item]:
    turns = np.linspace(0, 2 * np.pi, 41)[:-1]
    ring = np.column_stack((x + 10.0 * np.cos(turns), y + 4.6 * np.sin(turns)))
    yield Stroke("SHEET", ring, True)
    yield Words("SHEET-TEXT", shorten(name, 17.0, TEXT_MM), x, y - TEXT_MM / 2, TEXT_MM, "middle", bold=True)


def _blank(
    booking: PickUp | str | None, rows: Sequence[PickUp | str | None], number: int, middle: float, y: float
) -> Iterator[Item]:
    """Yield one blank row: the chainage between the lines of the chain, the offset and the name on its side."""
    right = SHEET_BODY[2]
    yield Words("SHEET-TEXT", "______", middle, y, TEXT_MM, "middle")
    if isinstance(booking, str):
        yield Words("SHEET-TEXT", f"station {booking}, a peg on the line", middle + CHAIN + 4, y, TEXT_MM)
        return
    if booking is None:
        for x, anchor in ((middle - CHAIN - 4, "right"), (middle + CHAIN + 4, "left")):
            yield Words("SHEET-TEXT", "________  ____________", x, y, TEXT_MM, anchor)  # type: ignore[arg-type]
        return
    offset = booking.offsets[0] if booking.offsets else 0.0
    second = booking in rows[:number]
    label = f"{booking.point} again" if second else booking.point
    if booking.method == "on line":
        yield Words("SHEET-TEXT", f"{booking.point}, on the line", middle + CHAIN + 4, y, TEXT_MM)
        return
    room = right - middle - CHAIN - 4 - 24
    name = shorten(label, room, TEXT_MM)
    if offset > 0:
        yield Words("SHEET-TEXT", f"{name}  ________", middle - CHAIN - 4, y, TEXT_MM, "right")
    else:
        yield Words("SHEET-TEXT", f"________  {name}", middle + CHAIN + 4, y, TEXT_MM)


# -- witnesses, sums, safety -----------------------------------------------------------------------------------------


def _witnesses(flow: Flow, expectation: Expectation) -> None:
    flow.text("Witnesses: three lasting things to each peg, to find it again", bold=True)
    flow.gap(2)
    flow.row(["peg", "from", "distance", "to what part"], WITNESS_COLUMNS_MM, bold=True)
    for name in expectation.intention.layout.stations:
        for number in range(3):
            flow.row([name if not number else "", "", "", ""], WITNESS_COLUMNS_MM)


def _sums(flow: Flow, expectation: Expectation) -> None:
    """Write what can be added up before leaving: each check with what the sketch lets expect."""
    intention, layout = expectation.intention, expectation.intention.layout
    notation = notation_of(intention.book)
    flow.gap(7)
    flow.room(40)
    flow.text("Sums to make before you leave the field", bold=True)
    flow.gap(2)
    flow.row(["what", "about, by the sketch", "found"], SUMS, bold=True)
    for line in layout.framework:
        if line.use == "check":
            smallest = smallest_noticed(expectation, line.name)
            noticed = f" (shows a mistake of {notation.small(smallest)})" if smallest is not None else ""
            flow.row([f"check line {line.name}{noticed}", notation.length(layout.length(line)), ""], SUMS)
    for name, feature in intention.features.items():
        if isinstance(feature.geometry, Rectangle):
            edge = feature.geometry.edge
            if edge.start in layout.points and edge.end in layout.points:
                front = float(distance(layout.points[edge.start], layout.points[edge.end]))
                flow.row([f"{name}: front {edge}, taped along the wall", notation.length(front), ""], SUMS)
    flow.gap(2)
    flow.text("Every line taped forward and back: the two differ by no more than the tape explains.")
    flow.text("Type the book and run pegline check before you pull out a peg.")


def _judgement(flow: Flow, judgement: Sequence[Remark]) -> None:
    wrong = [remark for remark in judgement if not remark.good]
    if wrong:
        flow.gap(6)
        flow.text("What is not right with this layout", bold=True)
        for remark in wrong:
            flow.text(f"! {remark.text}.", indent=3)


def _safety(flow: Flow) -> None:
    flow.gap(6)
    flow.room(45)
    flow.text("Safety first", bold=True)
    for text in SHEET_SAFETY:
        flow.text(f"- {text}", indent=3)
