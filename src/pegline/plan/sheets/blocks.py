"""The blocks of a sheet: north point, key, tables, verdict, accuracy, caution and title; each draws itself downward."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import cos, degrees, sin
from typing import Final

import numpy as np

from pegline.detail.model import Path
from pegline.diagnosis.rule_words import listed
from pegline.frame.model import Frame
from pegline.plan.display import Stroke, Words
from pegline.plan.map.content import Content
from pegline.plan.model import Feature
from pegline.plan.number_text import UNIT_WORDS, area_text, length_text, sd_text, signed
from pegline.plan.scripts import text_width
from pegline.plan.sheets.column import SMALL, Pencil
from pegline.plan.style import KIND_LOOKS, layer_of
from pegline.solved import Solved

__all__ = ["BLOCKS", "CAUTION", "NEEDED", "SLIM", "Block", "verdict"]

CAUTION: Final = (
    "This is not a boundary survey. Boundaries are shown as they were pointed out on the ground;"
    " where a legal boundary lies is for a licensed land surveyor to say."
)
HEADING: Final = 1.8
ROW: Final = 3.3


def _heading(pencil: Pencil, text: str) -> None:
    pencil.gap(1.2)
    pencil.text(text, height=HEADING, bold=True)
    pencil.gap(1.0)


def verdict(solved: Solved) -> str:
    """Return in capitals whether the survey's checks passed."""
    if solved.adjustment.unfinished:
        return f"UNFINISHED · {_verdict_of_checks(solved)}"
    return _verdict_of_checks(solved)


def _verdict_of_checks(solved: Solved) -> str:
    adjustment = solved.adjustment
    failed = sum(not check.passed for check in adjustment.checks)
    if failed:
        return "CHECK FAILED" if failed == 1 else f"{failed} CHECKS FAILED"
    chosen = sum(check.chosen for check in adjustment.checks)
    count = len(adjustment.checks) - chosen
    if solved.checked is None:
        return f"NOT CHECKED: {listed(list(solved.unchecked))}" if count else "NOT CHECKED"
    return "CHECK PASSED" if count == 1 else f"{'' if chosen else 'ALL '}{count} CHECKS PASSED"


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
    if frame.north is None:
        _axes(pencil)
        pencil.paragraph(
            "No bearing was booked: the sheet is not turned to north. The base line runs from left to right."
        )
        return
    _arrow(pencil, _others(frame))
    pencil.paragraph(f"Up is {frame.north} north.")
    for name, east in _others(frame):
        side = "east" if east > 0 else "west"
        small = angle_text(east) if name == "True" else angle_text(east).rsplit("'", 1)[0] + "'"
        year = f" in {content.solved.book.date.year}" if name == "Magnetic" and content.solved.book.date else ""
        pencil.paragraph(f"{name} north lies {small} {side} of it{year}.")


def _others(frame: Frame) -> list[tuple[str, float]]:
    """Return the other norths as angles east of the frame's, radians."""
    true = -frame.convergence if frame.north == "grid" and frame.convergence is not None else None
    others = [] if true is None else [("True", true)]
    if frame.declination is not None and frame.north in ("grid", "true"):
        others.append(("Magnetic", frame.declination + (true or 0.0)))
    if frame.declination is not None and frame.north == "magnetic":
        others.append(("True", -frame.declination))
    return others


def _arrow(pencil: Pencil, others: Sequence[tuple[str, float]]) -> None:
    """Draw the north point: a staff on a ring, a half-filled head, and thin arms to the other norths."""
    x, foot, top = pencil.width / 2, pencil.y - 25.0, pencil.y - 5.0
    pencil.items.append(_words("N", x, pencil.y - 4.0, 2.5))
    ring = [(x + 2.2 * cos(a), foot + 2.2 + 2.2 * sin(a)) for a in np.linspace(0, 2 * np.pi, 49)[:-1]]
    pencil.stroke(ring, closed=True)
    pencil.stroke([(x, foot), (x, top)], layer="SHEET-FRAME")
    pencil.stroke([(x, top), (x - 2.4, top - 8.0), (x, top - 6.2)], closed=True, fill=0.0)
    pencil.stroke([(x, top), (x + 2.4, top - 8.0), (x, top - 6.2)], closed=True)
    pencil.stroke([(x - 2.2, foot + 2.2), (x + 2.2, foot + 2.2)])
    for name, east in others:
        reach = 16.0 if name == "True" else 13.0
        tip = (x + reach * sin(east), foot + 2.2 + reach * cos(east))
        pencil.stroke([(x, foot + 2.2), tip])
        side = 1 if (east > 0) else -1
        pencil.items.append(
            _words(name[0], tip[0] + side * (1.4 + (2.0 if abs(east) < 0.1 else 0.0)), tip[1] - 1.0, SMALL)
        )
    pencil.gap(26.0)


def _words(text: str, x: float, y: float, height: float) -> Words:
    return Words("SHEET-TEXT", text, x, y, height, "middle", bold=True)


def _axes(pencil: Pencil) -> None:
    x, y = 4.0, pencil.y - 15.0
    for end, name in (((x + 11.0, y), "x"), ((x, y + 11.0), "y")):
        pencil.stroke([(x, y), end])
        pencil.items.append(
            _words(name, end[0] + (2.0 if name == "x" else 0.0), end[1] + (-0.8 if name == "x" else 1.2), SMALL)
        )
    pencil.gap(16.5)


def key_block(pencil: Pencil, content: Content) -> None:
    """Show each kind that the plan uses."""
    _heading(pencil, "KEY")
    half = pencil.width / 2
    entries = list(content.kinds.items())
    for i in range(0, len(entries), 2):
        pencil.gap(ROW)
        for x, (kind, feature) in zip((0.0, half), entries[i : i + 2], strict=False):
            _sample(pencil, x, feature, content)
            pencil.text(kind, x=x + 10.5, down=False)
    pencil.gap(0.8)
    unit = UNIT_WORDS[content.solved.book.unit]
    pencil.paragraph(f"Lengths along walls and boundaries are in {unit}, on the ground.")


def _sample(pencil: Pencil, x: float, feature: Feature, content: Content) -> None:
    middle = pencil.y + 0.8
    layer = feature.layer
    look = KIND_LOOKS.get(feature.kind)
    if feature.symbol:
        symbol = {"tree": "tree-unsized", "shrub-sized": "shrub"}.get(feature.symbol, feature.symbol)
        pencil.symbol(symbol, x + 4.5, middle, layer)
        return
    if isinstance(feature.geometry, Path) and feature.geometry.closed:
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


def station_block(pencil: Pencil, content: Content, rows: int | None = None) -> None:
    """Tabulate the stations; only so many rows when there is no room for all."""
    frame, solution = content.solved.frame, content.solved.adjustment.solution
    names = solution.names[: solution.stations]
    shown = names if rows is None else names[:rows]
    on_grid = frame.kind == "grid"
    unit = frame.metres_per_unit
    where = content.where
    _heading(pencil, "STATIONS")
    columns = (pencil.width * 0.56, pencil.width * 0.86, pencil.width)
    heads = ("east", "north", "± mm") if frame.north else ("x", "y", "± mm")
    pencil.text("", height=SMALL)
    for x, head in zip(columns, heads, strict=True):
        pencil.text(head, x=x, anchor="right", down=False)
    pencil.gap(0.9)
    pencil.rule()
    for name in shown:
        x, y = where.position(name)
        pencil.text(name[:14], bold=True)
        east, north = (x + frame.origin[0]) / unit, (y + frame.origin[1]) / unit
        cells = (f"{east + 0.0:.3f}", f"{north + 0.0:.3f}", f"{where.sd(name) * 1000:.0f}")
        for right, cell in zip(columns, cells, strict=True):
            pencil.text(cell, x=right, anchor="right", down=False)
    if len(shown) < len(names):
        pencil.paragraph(f"… and {len(names) - len(shown)} more, in the table of points.")
    where_to = frame.crs_name if on_grid else "its own frame"
    pencil.gap(0.6)
    pencil.paragraph(
        f"Metres, in {where_to}; ± is one standard deviation, relative to the base line."
        if unit == 1.0
        else f"In {where_to}."
    )


def area_block(pencil: Pencil, content: Content) -> None:
    """Tabulate areas with their standard deviations, in the units asked for."""
    shapes = [(shape, shape.area) for shape in content.solved.detail.shapes.values() if shape.area is not None]
    if not shapes:
        return
    _heading(pencil, "AREAS")
    units = ("m2", *(unit for unit in content.solved.book.sheet.areas if unit not in ("m2", "square metre")))
    for shape, area in shapes:
        label = shape.booked.label or shape.name
        sd = f" ± {shape.area_sd:.{2 if area < 100 else 1}f}" if shape.area_sd is not None else ""
        figure = area_text(area, "m2").replace(" m²", f"{sd} m²")
        pencil.text(label[:22])
        pencil.text(figure, x=pencil.width, anchor="right", down=False)
        for unit in units[1:]:
            pencil.text(area_text(area, unit), x=pencil.width, anchor="right")


def check_block(pencil: Pencil, content: Content) -> None:
    """Give the verdict, and what failed."""
    adjustment = content.solved.adjustment
    pencil.gap(1.2)
    pencil.text(verdict(content.solved), height=2.5, bold=True)
    pencil.gap(0.6)
    if not adjustment.checks:
        pencil.paragraph("Nothing was measured twice: a slip in the book would not show.")
    if chosen := sum(check.chosen for check in adjustment.checks):
        checks = "1 check agrees" if chosen == 1 else f"{chosen} checks agree"
        pencil.paragraph(f"{checks} only because readings left open in the book were chosen so: not counted.")
    for check in [check for check in adjustment.checks if not check.passed][:4]:
        if check.angle:
            off = f"{signed(degrees(check.difference), 2)}°, allowed {degrees(check.allowed):.2f}°"
        else:
            off = f"{signed(check.difference)} m, allowed {check.allowed:.3f} m"
        pencil.paragraph(f"{check.what}: {off}")
    if adjustment.delivered == "plotting" and content.solved.checked is False:
        pencil.paragraph(
            "Plotted from the lines that make the figure alone. Do not rely on it before the check is settled."
        )


def accuracy_block(pencil: Pencil, content: Content) -> None:
    """Say how good the plan is, in words."""
    typical, weakest = content.solved.typical, content.solved.weakest
    if typical is None or weakest is None:
        return
    _heading(pencil, "HOW GOOD IT IS")
    pencil.paragraph(
        f"A typical point is within {sd_text(typical.radius)}, the weakest ({weakest.name}) within"
        f" {sd_text(weakest.radius)} (95 %, relative to the base line);"
        f" one millimetre of this plan is {length_text(content.scale / 1000, 'm')} m."
    )
    if (on_grid := content.solved.weakest_on_grid) is not None:
        text = f"The weakest point drawn ({on_grid.name}) lies on the grid within {sd_text(on_grid.radius)} (95 %)."
        pencil.paragraph(text)
    if content.solved.checked is not True:
        pencil.paragraph("This holds only if the book has no slip.")


def caution_block(pencil: Pencil, content: Content) -> None:
    """Print the caution."""
    pencil.gap(1.2)
    pencil.paragraph(CAUTION)


def title_block(pencil: Pencil, content: Content) -> None:
    """Print what this is, of where, when, by and for whom, and which sheet."""
    book, sheet = content.solved.book, content.solved.book.sheet
    pencil.gap(1.0)
    pencil.paragraph(book.title or book.file.rsplit(".", 1)[0], height=3.5, bold=True)
    pencil.gap(0.5)
    if book.place:
        pencil.paragraph(book.place, height=2.5)
    pencil.gap(0.8)
    pencil.paragraph(f"Scale 1:{content.scale} on {content.paper}", height=2.5, bold=True)
    pencil.gap(0.8)
    surveyor = ", ".join(dict.fromkeys(filter(None, (book.surveyor, *book.party))))
    rows = (
        ("Measured", book.date.isoformat() if book.date else None),
        ("By", surveyor or None),
        ("For", sheet.prepared_for),
        ("Drawn by", sheet.prepared_by),
        ("Purpose", book.purpose),
        ("Number", sheet.number),
        ("Revision", sheet.revision),
        ("Field book", book.file),
        ("Licence", book.licence),
    )
    wide = max(text_width(name, SMALL) for name, value in rows if value) + 2.0
    for name, value in rows:
        if value:
            top = pencil.y
            pencil.paragraph(str(value), indent=wide)
            pencil.items.append(_plain(name, top - SMALL * 1.85))
    pencil.gap(0.8)
    pencil.text(f"Sheet {content.sheet} of {content.sheets}", height=2.5, bold=True)
    pencil.gap(1.0)


def _plain(text: str, y: float) -> Words:
    return Words("SHEET-TEXT", text, 0.0, y, SMALL)


Block = Callable[[Pencil, Content], None]

#: What stands on a sheet, in order; the title comes last, in the corner.
BLOCKS: Final[tuple[Block, ...]] = (
    north_block,
    key_block,
    station_block,
    area_block,
    check_block,
    accuracy_block,
    caution_block,
    title_block,
)
#: What stands on each of several sheets that join.
SLIM: Final[tuple[Block, ...]] = (north_block, check_block, caution_block, title_block)
#: What is kept first where the paper asked for is too small, beside the title.
NEEDED: Final[tuple[Block, ...]] = (
    caution_block,
    check_block,
    north_block,
    accuracy_block,
    key_block,
    station_block,
    area_block,
)
