"""The lines of a survey as chained: arrows, lengths, and what each check says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import atan2, cos, pi, sin
from typing import Any, Final

import numpy as np
import shapely

from pegline.diagnosis.report import ShownCheck, check_rows, check_word, headline
from pegline.plan.display import Item, Stroke, Words
from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import box
from pegline.plan.labels.placement import PlaceableLabel, places_along, places_around, settle_labels
from pegline.plan.map.features import Content
from pegline.plan.sheets.column import A4_BODY, SMALL_TEXT_MM, Bodies, centred_words, shorten, symbol_strokes

__all__ = ["diagram_pages"]

MAX_CHECK_ROWS: Final = 26  #: checks in the table under the figure; more go onto pages of their own
DIAGRAM_AIR_MM: Final = 14.0
CHECK_ROW_MM: Final = 3.6
NEARER: Final = 25.0  #: how much worse a place of a figure is that is nearer to another line than to its own


def diagram_pages(content: Content) -> Bodies:
    """Yield the figure with the table of checks, and further pages of the table where it is long."""
    left, bottom, right, top = A4_BODY
    rows = _rows(content)
    deep = CHECK_ROW_MM * (min(len(rows), MAX_CHECK_ROWS) + 4) + 4
    first: list[Item] = list(_figure(content, (left, bottom + deep, right, top)))
    yield first + list(_table(content, rows[:MAX_CHECK_ROWS], bottom + deep))
    room = int((top - bottom) / CHECK_ROW_MM) - 5
    for start in range(MAX_CHECK_ROWS, len(rows), room):
        yield list(_table(content, rows[start : start + room], top))


def _rows(content: Content) -> list[ShownCheck]:
    return check_rows(content.solved, content.scale, content.notation)


def _figure(content: Content, box: tuple[float, float, float, float]) -> Iterator[Item]:
    solution = content.solved.adjustment.solution
    names = solution.names[: solution.stations]
    places = _fit(np.array([content.where.position(name) for name in names]), box)
    at = dict(zip(names, places, strict=True))
    judged = {row.check.booking.measured_line: row for row in _rows(content) if row.check.kind == "line"}
    labels, lines = [], []
    for name in names:
        x, y = (float(v) for v in at[name])
        tie = name in content.solved.book.tie_stations
        yield from symbol_strokes("tie-station" if tie else "station", x, y, "SKETCHES", "STATIONS")
        width = text_width(name, 2.5)
        labels.append(PlaceableLabel(name, width, 2.5, places_around(x, y, 1.3, width, 2.5), True, 0))
    for line in content.solved.reduction.lines.values():
        if line.start not in at or line.end not in at:
            continue
        start, end = at[line.start], at[line.end]
        line_type = "SHORT-DASH" if line.use == "check" else "CONTINUOUS"
        yield Stroke("SHEET-FRAME" if line.use == "base" else "SHEET", np.array([start, end]), line_type=line_type)
        yield _arrow(start, end)
        lines.append(np.array([start, end]))
        text = content.notation.figure(line.ground.length) + _mark(judged.get(line.name))
        width = text_width(text, SMALL_TEXT_MM)
        spots = places_along(start, end, width, SMALL_TEXT_MM)
        labels.append(PlaceableLabel(text, width, SMALL_TEXT_MM, spots, True, 1))
    for i, ends in enumerate(lines, start=len(names)):
        others = [other for other in lines if other is not ends]
        labels[i] = replace(labels[i], spots=_off_other_lines(labels[i], ends, others))
    for label, spot in zip(labels, settle_labels(labels, lines, []), strict=True):
        if spot is not None:
            yield centred_words(label.text, spot, label.height, bold=label.height > SMALL_TEXT_MM)


def _off_other_lines(label: PlaceableLabel, line: Any, others: Sequence[Any]) -> Any:
    """Return the places of a label, those nearer to another line than to its own much worse."""
    spots = label.spots.copy()
    x, y, rotation = spots[:, :3].T
    boxes = box(x, y, rotation, label.width, label.height)
    if others:
        own, *away = (shapely.distance(shapely.LineString(ends), boxes) for ends in (line, *others))
        spots[:, 3] += NEARER * (np.min(away, axis=0) < own)
    return spots


def _mark(row: ShownCheck | None) -> str:
    """Return what a check adds to its line's length.

    A line's ground length stands alone; one that was compared has its difference beside it.
    """
    return "" if row is None else f" ({row.difference} {check_word(row.check)})"


def _fit(points: Any, box: tuple[float, float, float, float]) -> Any:
    """Return points drawn as large as a box allows, north up."""
    left, bottom, right, top = box
    low, high = points.min(axis=0), points.max(axis=0)
    size = np.maximum(high - low, 1e-9)
    mm = min((right - left - 2 * DIAGRAM_AIR_MM) / size[0], (top - bottom - 2 * DIAGRAM_AIR_MM) / size[1])
    return (points - (low + high) / 2) * mm + np.array([(left + right) / 2, (bottom + top) / 2])


def _arrow(start: Any, end: Any) -> Stroke:
    """Return the head of an arrow two fifths along a line, pointing as it was chained."""
    tip = start + (end - start) * 0.42
    angle = atan2(end[1] - start[1], end[0] - start[0])
    wings = [tip + 2.2 * np.array([cos(angle + turn), sin(angle + turn)]) for turn in (pi - 0.35, pi + 0.35)]
    return Stroke("SHEET", np.array([wings[0], tip, wings[1]]), True, fill=0.0, line_type="CONTINUOUS")


def _table(content: Content, rows: Sequence[ShownCheck], top: float) -> Iterator[Item]:
    left, _, right, _ = A4_BODY
    columns = (left + 75, left + 100, left + 122, left + 142, right - 3)
    y = top - CHECK_ROW_MM - 1
    yield Words("SHEET-TEXT", f"Lengths in {content.notation.words}, on the ground.", left + 3, y, SMALL_TEXT_MM)
    y -= CHECK_ROW_MM
    if not rows:
        yield Words("SHEET-TEXT", headline(content.solved), left + 3, y, SMALL_TEXT_MM, bold=True)
        return
    yield Words("SHEET-TEXT", "check", left + 3, y, SMALL_TEXT_MM, bold=True)
    for x, head in zip(columns, ("booked", "computed", "difference", "allowed", "verdict"), strict=True):
        yield Words("SHEET-TEXT", head, x, y, SMALL_TEXT_MM, "right", bold=True)
    yield Stroke("SHEET", np.array([(left + 3, y - 1.2), (right - 3, y - 1.2)]))
    for row in rows:
        y -= CHECK_ROW_MM
        bold = not row.check.passed
        yield Words("SHEET-TEXT", shorten(row.label, 50.0, SMALL_TEXT_MM), left + 3, y, SMALL_TEXT_MM, bold=bold)
        cells = (row.booked, row.computed, row.difference, row.allowed, check_word(row.check))
        for x, cell in zip(columns, cells, strict=True):
            yield Words("SHEET-TEXT", cell, x, y, SMALL_TEXT_MM, "right", bold=bold)
