"""From a survey's records to its plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil
from typing import Final

import numpy as np
import shapely

from pegline.book.model import Book
from pegline.detail.model import Path
from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import headline
from pegline.errors import Finding
from pegline.plan import fonts
from pegline.plan.display import Item, Page, Stroke, Words, close_ring, flatten
from pegline.plan.extra_sheets.table import FURTHER_SHEETS
from pegline.plan.labels.boxes import LabelPaper
from pegline.plan.labels.plan_labels import place_labels
from pegline.plan.map.features import Content, bounding_corners, map_content, outline_points
from pegline.plan.model import DrawnFeature, Ellipse, Heading, Label, Options, Plan, Sheet, Tuft
from pegline.plan.sheets.column import A4_BODY, A4_HEIGHT, A4_WIDTH, SMALL_TEXT_MM, shorten
from pegline.plan.sheets.layout import lay_out, make_sheets, tables_and_index
from pegline.plan.sheets.papers import MARGIN, Paper, SheetLayout, is_large
from pegline.plan.sheets.tables import schedule_pages
from pegline.plan.style import KIND_LOOKS, LAYERS, Layer, layer_of
from pegline.plane import Array

__all__ = ["compose"]

ELLIPSE_ON_PAPER = 8.0  #: the largest ellipse should be about so long, mm
SCHEDULE_HEADING: Final = Heading("Schedule", "Schedule")


def compose(survey: Survey, options: Options | None = None) -> Plan:
    """Draw a survey: features, labels and sheets, at the book's scale or the largest usual one."""
    options = options or Options()
    book, content = survey.book, map_content(survey.solved)
    layers = _layers(book)
    plotted = [feature for feature in content.features if layers[feature.layer].plots]
    low, high = bounding_corners(plotted)
    layout, findings = lay_out(_hull(plotted), content, options)
    metres_per_mm = layout.scale / 1000
    tufts = tuple(_tufts(content.features, metres_per_mm))
    lettering = place_labels(content, tufts, _label_paper(layout))
    labels = lettering.labels
    alone = len(layout.tiles) == 1
    papers = {tile: Paper(layout.window, tile.centre, layout.scale, layout.turn) for tile in layout.tiles}
    tiles = [tile for tile, paper in papers.items() if alone or paper.shows(low, high).any()]
    content = replace(content, scale=layout.scale, left_out=lettering.left_out)
    tables = tables_and_index(layout, tiles, content)
    tables += (
        [(SCHEDULE_HEADING, page) for page in schedule_pages(content, lettering.numbered)] if lettering.numbered else []
    )
    further = _further_sheets(content, options, len(tiles), tables)
    sheets = (*make_sheets(layout, tiles, content, labels, len(further)), *further)
    return Plan(
        survey,
        options,
        title=book.heading,
        scale=layout.scale,
        turn=layout.turn,
        ellipse_scale=_ellipse_scale(content.features, metres_per_mm),
        layers=layers,
        features=content.features,
        tufts=tufts,
        labels=labels,
        numbered=lettering.numbered,
        sheets=sheets,
        warnings=(*findings, *_unwritable(labels, sheets)),
    )


def _further_sheets(
    content: Content, options: Options, before: int, tables: Sequence[tuple[Heading, list[Item]]] = ()
) -> tuple[Sheet, ...]:
    """Return the sheets asked for; ``before`` is how many come before them, ``tables`` what the plan's
    own sheet has no room for.
    """
    bodies = list(tables)
    bodies += [(FURTHER_SHEETS[name][0], body) for name in options.sheets for body in FURTHER_SHEETS[name][1](content)]
    total = before + len(bodies)
    pages = Counter(heading for heading, _ in bodies)
    there: Counter[Heading] = Counter()
    sheets = []
    for number, (heading, body) in enumerate(bodies, before + 1):
        there[heading] += 1
        name = f"{heading.short} {there[heading]}" if pages[heading] > 1 else heading.short
        sheets.append(_further_sheet(content, name, heading.text, body, number, total))
    return tuple(sheets)


def _further_sheet(content: Content, name: str, heading: str, body: list[Item], number: int, total: int) -> Sheet:
    book = content.solved.book
    left, bottom, right, top = A4_BODY
    title = book.heading
    day = f", measured {book.date.isoformat()}" if book.date else ""
    upper = A4_HEIGHT - MARGIN
    edge = np.array([(left, MARGIN), (right, MARGIN), (right, upper), (left, upper)])
    origin = shorten(f"From {book.file}{day}. This is not a boundary survey.", 140.0, SMALL_TEXT_MM)
    items: list[Item] = [
        *body,
        Stroke("SHEET-FRAME", edge, True),
        Stroke("SHEET", np.array([(left, top), (right, top)])),
        Stroke("SHEET", np.array([(left, bottom), (right, bottom)])),
        Words("SHEET-TEXT", shorten(title, 110.0, 2.5), left + 3, top + 4.5, 2.5, bold=True),
        Words("SHEET-TEXT", heading, right - 3, top + 4.5, 2.5, "right"),
        Words("SHEET-TEXT", headline(content.solved), left + 3, bottom - 5, 2.5, bold=True),
        Words("SHEET-TEXT", origin, left + 3, bottom - 9.5, SMALL_TEXT_MM),
        Words("SHEET-TEXT", f"Sheet {number} of {total}", right - 3, bottom - 9.5, SMALL_TEXT_MM, "right", bold=True),
    ]
    return Sheet(name, "A4", False, Page(A4_WIDTH, A4_HEIGHT, tuple(items)), None, (0.0, 0.0))


def _label_paper(layout: SheetLayout) -> LabelPaper:
    """Return the paper that labels are placed on; on sheets that join they may lie across their edges."""
    paper = LabelPaper(layout.scale / 1000, layout.turn, is_large(layout.paper))
    if layout.joined:
        return paper
    x, y = paper.at(layout.tiles[0].centre)
    left, bottom, right, top = layout.window
    wide, high = (right - left) / 2, (top - bottom) / 2
    return replace(paper, window=(x - wide, y - high, x + wide, y + high))


def _layers(book: Book) -> dict[str, Layer]:
    """Return the table's layers and those that the book's own kinds make."""
    own = {layer.name: layer for layer in (layer_of(kind, book.kinds) for kind in book.kinds)}
    return {**{name: layer for name, layer in own.items() if name not in LAYERS}, **LAYERS}


def _hull(features: Sequence[DrawnFeature]) -> Array:
    """Return the corners (k, 2) of the least convex outline that holds features, metres."""
    points = np.concatenate([outline_points(feature) for feature in features])
    if not np.isfinite(points).all():
        raise ValueError("what is drawn reaches to infinity")
    return np.asarray(shapely.get_coordinates(shapely.MultiPoint(points).convex_hull))


def _tufts(features: Sequence[DrawnFeature], metres_per_mm: float) -> Iterator[Tuft]:
    """Yield the symbols that stand along lines to show their kind."""
    for feature in features:
        look = KIND_LOOKS.get(feature.kind)
        if feature.other_face or look is None or look.tuft is None or not isinstance(feature.geometry, Path):
            continue
        path = feature.spine or feature.geometry
        points = flatten(path.vertices, path.bulges, path.closed, 0.02 * metres_per_mm)
        points = close_ring(points, closed=path.closed)
        ends = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        if ends[-1] == 0:
            continue
        count = max(1, ceil(ends[-1] / (look.every * metres_per_mm) - 0.5)) if look.every else 1
        at = (np.arange(count) + 0.5) * ends[-1] / count
        piece = np.minimum(np.searchsorted(ends, at, side="right") - 1, len(points) - 2)
        (dx, dy), (x, y) = np.diff(points, axis=0)[piece].T, (np.interp(at, ends, column) for column in points.T)
        for place, rotation in zip(np.stack([x, y], 1).tolist(), np.arctan2(dy, dx).tolist(), strict=True):
            yield Tuft(feature.layer, look.tuft, tuple(place), rotation, feature.source, feature.name)


def _ellipse_scale(features: Sequence[DrawnFeature], metres_per_mm: float) -> int:
    """Return how many times larger ellipses are drawn: a round number that makes the largest some 8 mm long."""
    largest = max((f.geometry.semi_major for f in features if isinstance(f.geometry, Ellipse)), default=0.0)
    if largest == 0:
        return 1
    ideal = ELLIPSE_ON_PAPER * metres_per_mm / (2 * largest)
    return max((n for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if n <= ideal), default=1)


def _unwritable(labels: Sequence[Label], sheets: Sequence[Sheet]) -> Iterator[Finding]:
    """Yield a warning for texts in a script that the typeface lacks."""
    texts = [label.text for label in labels]
    texts += [item.text for sheet in sheets for item in sheet.page.items if isinstance(item, Words)]
    yield from fonts.missing_font_warnings("".join(texts))
