"""The blocks of a sheet: north point, key, tables, verdict, accuracy, caution and title; each draws itself downward."""

from __future__ import annotations

from collections.abc import Iterable
from math import cos, degrees, sin
from typing import Final, Literal

import numpy as np

from pegline.detail.model import Path, Shape
from pegline.diagnosis.report import accuracy_sentences, check_rows, headline, verdict
from pegline.frame.model import Frame
from pegline.kinds import LAND_EDGES
from pegline.measures.notation import area_text
from pegline.measures.values import CustomaryArea
from pegline.plan.display import Stroke, Words, turning_matrix
from pegline.plan.fonts import text_width
from pegline.plan.map.features import Content
from pegline.plan.model import DrawnFeature
from pegline.plan.sheets.column import COLUMN_LEADING, SMALL_TEXT_MM, Pencil, shorten
from pegline.plan.sheets.row_tables import Block, TableOf, boundary_table, station_table, write_heading
from pegline.plan.style import KIND_LOOKS, layer_of
from pegline.units import METRES_PER

__all__ = [
    "NEEDED_BLOCKS",
    "NEEDLE_SD",
    "SHEET_BLOCKS",
    "SHEET_CAUTION",
    "SLIM",
    "TABLE_BLOCKS",
    "area_name",
    "magnetic_bearing",
    "north_point",
    "title_block",
]


#: Degrees: what models of the earth's field say of the declination at a place (their makers tell 0.4° or so on land).
NEEDLE_SD: Final = 0.4


def other_norths(frame: Frame) -> list[tuple[Literal["true", "magnetic"], float]]:
    """Return the other norths as angles east of the frame's, radians."""
    true = -frame.convergence if frame.north == "grid" and frame.convergence is not None else None
    others: list[tuple[Literal["true", "magnetic"], float]] = [] if true is None else [("true", true)]
    if frame.declination is not None and frame.north in ("grid", "true"):
        others.append(("magnetic", frame.declination + (true or 0.0)))
    if frame.declination is not None and frame.north == "magnetic":
        others.append(("true", -frame.declination))
    return others


def magnetic_bearing(frame: Frame, bearing: float) -> float | None:
    """Return what a compass reads along a bearing from the frame's north, radians; None where nobody knows."""
    if frame.north == "magnetic":
        return bearing
    return next((bearing - east for name, east in other_norths(frame) if name == "magnetic"), None)


SHEET_CAUTION: Final = (
    "This is not a boundary survey. Boundaries are shown as they were pointed out on the ground;"
    " where a legal boundary lies is for a licensed land surveyor to say."
)
KEY_ROW_MM: Final = 3.3
FINE_AREA: Final = 100.0  #: square metres; areas under it are written to hundredths
MOST_FAILED: Final = 4  #: failed checks that are named


def angle_text(radians: float) -> str:
    r"""Return a small angle in degrees, minutes and seconds.

    >>> angle_text(-0.00697)
    '0°23\'58"'
    """
    seconds = round(abs(degrees(radians)) * 3600)
    return f"{seconds // 3600}°{seconds % 3600 // 60:02d}'{seconds % 60:02d}\""


def north_block(pencil: Pencil, content: Content) -> None:
    """Draw which way is north, and what other norths make with it."""
    frame = content.solved.frame
    north_point(pencil, content)
    if frame.north is None:
        pencil.paragraph("No bearing was booked: the sheet is not turned to north. The base line runs along x.")
        return
    turned = "The arrow shows" if content.turn else "Up is"
    pencil.paragraph(f"{turned} {frame.north} north.")
    for name, east in other_norths(frame):
        side = "east" if east > 0 else "west"
        small = angle_text(east) if name == "true" else angle_text(east).rsplit("'", 1)[0] + "'"
        year = f" in {content.solved.book.date.year}" if name == "magnetic" and content.solved.book.date else ""
        pencil.paragraph(f"{name.capitalize()} north lies {small} {side} of it{year}.")


def north_point(pencil: Pencil, content: Content) -> None:
    """Draw the north point, or the axes where nobody knows the north."""
    if content.solved.frame.north is None:
        _axes(pencil, content.turn)
    else:
        _arrow(pencil, other_norths(content.solved.frame), content.turn)


def _arrow(pencil: Pencil, others: Iterable[tuple[str, float]], turn: float) -> None:
    """Draw the north point: a staff on a ring, a half-filled head, and thin arms to the other norths.

    It turns with the map; ``turn`` is anticlockwise, radians.
    """
    middle = np.array([pencil.width / 2, pencil.y - 16.0])
    turned = turning_matrix(turn)

    def at(x: float, y: float) -> tuple[float, float]:
        px, py = (middle + turned @ np.array([x, y])).tolist()
        return px, py

    foot, top = -9.0, 11.0
    pencil.items.append(_words("N", *at(0.0, 13.4), 2.5))
    ring = [at(2.2 * cos(a), foot + 2.2 + 2.2 * sin(a)) for a in np.linspace(0, 2 * np.pi, 49)[:-1]]
    pencil.stroke(ring, closed=True)
    pencil.stroke([at(0.0, foot), at(0.0, top)], layer="SHEET-FRAME")
    pencil.stroke([at(0.0, top), at(-2.4, top - 8.0), at(0.0, top - 6.2)], closed=True, fill=0.0)
    pencil.stroke([at(0.0, top), at(2.4, top - 8.0), at(0.0, top - 6.2)], closed=True)
    pencil.stroke([at(-2.2, foot + 2.2), at(2.2, foot + 2.2)])
    for name, east in others:
        reach = 16.0 if name == "true" else 13.0
        tip = (reach * sin(east), foot + 2.2 + reach * cos(east))
        pencil.stroke([at(0.0, foot + 2.2), at(*tip)])
        away = (1 if east > 0 else -1) * (1.4 + (2.0 if abs(east) < 0.1 else 0.0))
        pencil.items.append(_words(name[0].upper(), *at(tip[0] + away, tip[1]), SMALL_TEXT_MM))
    pencil.gap(27.0)


def _words(text: str, x: float, y: float, height: float) -> Words:
    """Return a letter about its middle."""
    return Words("SHEET-TEXT", text, x, y - height / 2, height, "middle", bold=True)


def _axes(pencil: Pencil, turn: float) -> None:
    """Draw the axes x and y, which turn with the map."""
    corner = np.array([11.0, pencil.y - 13.0])
    for angle, name in ((turn, "x"), (turn + np.pi / 2, "y")):
        way = np.array([cos(angle), sin(angle)])
        (x, y), (text_x, text_y) = (corner + 9.0 * way).tolist(), (corner + 11.2 * way).tolist()
        pencil.stroke([(float(corner[0]), float(corner[1])), (x, y)])
        pencil.items.append(_words(name, text_x, text_y, SMALL_TEXT_MM))
    pencil.gap(24.5 if turn else 16.5)


def key_block(pencil: Pencil, content: Content) -> None:
    """Show each kind that the plan uses."""
    write_heading(pencil, "KEY")
    half = pencil.width / 2
    entries = list(content.kinds.items())
    for i in range(0, len(entries), 2):
        pencil.gap(KEY_ROW_MM)
        for x, (kind, feature) in zip((0.0, half), entries[i : i + 2], strict=False):
            _sample(pencil, x, feature, content)
            pencil.text(kind, x=x + 10.5, down=False)
    pencil.gap(0.8)
    pencil.paragraph(f"Lengths along walls are in {content.notation.words}, on the ground.")


def _sample(pencil: Pencil, x: float, feature: DrawnFeature, content: Content) -> None:
    middle = pencil.y + 0.8
    layer = feature.layer
    look = KIND_LOOKS.get(feature.kind)
    if feature.symbol:
        pencil.symbol((look and look.symbol) or feature.symbol, x + 4.5, middle, layer)
        return
    if isinstance(feature.geometry, Path) and feature.geometry.closed and feature.spine is None:
        box = np.array(
            [(x + 1.0, middle - 1.1), (x + 8.5, middle - 1.1), (x + 8.5, middle + 1.1), (x + 1.0, middle + 1.1)]
        )
        own = layer_of(feature.kind, content.solved.book.kinds)
        pencil.items.append(Stroke("KEY", box, True, own.fill, line_type=feature.line_type, looks_like=layer))
    else:
        line = np.array([(x, middle), (x + 9.0, middle)])
        pencil.items.append(Stroke("KEY", line, line_type=feature.line_type, looks_like=layer))
    if look and look.tuft:
        pencil.symbol(look.tuft, x + 4.5, middle, layer)


def area_block(pencil: Pencil, content: Content) -> None:
    """Tabulate areas with their standard deviations, in the units asked for."""
    shapes = [(shape, shape.area) for shape in content.solved.detail.shapes.values() if shape.area is not None]
    if not shapes:
        return
    write_heading(pencil, "AREAS")
    first, *others = content.notation.areas
    for shape, area in shapes:
        figure = _area_with_sd(area, shape.area_sd, first)
        name = shorten(area_name(shape), pencil.width - text_width(figure, SMALL_TEXT_MM) - 2.0, SMALL_TEXT_MM)
        pencil.text(name)
        pencil.text(figure, x=pencil.width, anchor="right", down=False)
        for unit in others:
            pencil.text(area_text(area, unit), x=pencil.width, anchor="right")
    pencil.gap(0.6)
    pencil.paragraph("As measured on the ground, ± one standard deviation; no legal areas.")


def area_name(shape: Shape) -> str:
    """Return what an area is called; a boundary is no thing that has one."""
    return "within the marks" if shape.kind in LAND_EDGES else shape.booked.label or shape.name


def _area_with_sd(area: float, sd: float | None, unit: str | CustomaryArea) -> str:
    """Return an area and its standard deviation, that in square feet where the area is, else in square metres."""
    text = area_text(area, unit)
    if sd is None:
        return text
    if unit == "square feet":
        return text.replace(" sq ft", f" ± {sd / METRES_PER['ft'] ** 2:.1f} sq ft")
    deviation = f"± {sd:.{2 if area < FINE_AREA else 1}f} m²"
    return text.replace(" m²", f" {deviation}") if unit in ("m2", "square metre") else f"{text} {deviation}"


def check_block(pencil: Pencil, content: Content) -> None:
    """Give the verdict, and what failed."""
    judged = verdict(content.solved)
    pencil.gap(1.2)
    pencil.paragraph(headline(content.solved), height=2.5, bold=True)
    pencil.gap(0.6)
    pencil.paragraph(judged.meaning)
    failed = check_rows(content.solved, content.scale, content.notation, failed_only=True)
    for row in failed[:MOST_FAILED]:
        unit = "" if row.check.angle or len(content.notation.units) > 1 else f" {content.notation.name}"
        pencil.paragraph(f"{row.label}: difference {row.difference}{unit}, allowed {row.allowed}{unit}")
    if len(failed) > MOST_FAILED:
        pencil.paragraph(f"and {len(failed) - MOST_FAILED} more, in the computation sheet.")
    if content.solved.adjustment.delivered == "plotting" and content.solved.checked is False:
        pencil.paragraph("Drawn without the lines that check it. Do not use it until the failed check is explained.")


def accuracy_block(pencil: Pencil, content: Content) -> None:
    """Say how good the plan is, in words."""
    sentences = list(accuracy_sentences(content.solved))
    if not sentences:
        return
    write_heading(pencil, "HOW GOOD IT IS")
    for sentence in sentences:
        pencil.paragraph(sentence)
    pencil.paragraph(f"One millimetre of this plan is {content.notation.length(content.scale / 1000)}.")


def caution_block(pencil: Pencil, content: Content) -> None:
    """Print the caution."""
    pencil.gap(1.2)
    pencil.paragraph(SHEET_CAUTION)


def title_block(pencil: Pencil, content: Content) -> None:
    """Print what this is, of where, when, by and for whom, and which sheet."""
    book, sheet = content.solved.book, content.solved.book.sheet
    pencil.gap(1.0)
    pencil.paragraph(book.heading, height=3.5, bold=True)
    pencil.gap(0.5)
    if book.place:
        pencil.paragraph(book.place, height=2.5)
    pencil.gap(0.8)
    pencil.paragraph(f"Scale 1:{content.scale} on {content.paper}", height=2.5, bold=True)
    pencil.gap(0.8)
    _title_rows(pencil, content)
    for revision in sheet.revisions:
        day = revision.date.isoformat() if revision.date else ""
        pencil.paragraph("  ".join(filter(None, (revision.revision, day, revision.note))))
    pencil.gap(0.8)
    pencil.text(f"Sheet {content.sheet} of {content.sheets}", height=2.5, bold=True)
    pencil.gap(1.0)


def _title_rows(pencil: Pencil, content: Content) -> None:
    """Write what the title says of the survey, name and value a line."""
    book, sheet = content.solved.book, content.solved.book.sheet
    surveyor = ", ".join(dict.fromkeys(filter(None, (book.surveyor, *book.party))))
    rows = (
        ("Measured", book.date.isoformat() if book.date else None),
        ("By", surveyor or None),
        ("For", sheet.prepared_for),
        ("Drawn by", sheet.prepared_by),
        ("Purpose", book.purpose),
        ("Number", sheet.number),
        ("Revision", sheet.revision),
        ("Checked by", sheet.checked_by),
        ("Field book", book.file),
        ("Licence", book.licence),
    )
    wide = max(text_width(name, SMALL_TEXT_MM) for name, value in rows if value) + 2.0
    for name, value in rows:
        if value:
            top = pencil.y
            pencil.paragraph(str(value), indent=wide)
            pencil.items.append(_plain(name, top - SMALL_TEXT_MM * COLUMN_LEADING))


def _plain(text: str, y: float) -> Words:
    return Words("SHEET-TEXT", text, 0.0, y, SMALL_TEXT_MM)


#: What stands on a sheet, in order, before the title in its last corner.
SHEET_BLOCKS: Final[tuple[Block | TableOf, ...]] = (
    north_block,
    key_block,
    station_table,
    boundary_table,
    area_block,
    check_block,
    accuracy_block,
    caution_block,
)
#: What stands on each of several sheets that join.
SLIM: Final[tuple[Block | TableOf, ...]] = (north_block, check_block, caution_block)
#: What is kept first where the paper asked for is too small, beside the title.
NEEDED_BLOCKS: Final[tuple[Block, ...]] = (
    caution_block,
    check_block,
    north_block,
    accuracy_block,
    key_block,
    area_block,
)
#: What stands on sheets of its own where the plan's sheet has no room for it.
TABLE_BLOCKS: Final[tuple[Block | TableOf, ...]] = (
    key_block,
    accuracy_block,
    boundary_table,
    area_block,
    station_table,
    check_block,
)
