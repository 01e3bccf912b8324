"""What a setting-out is written as: sheets, a table of the targets, a drawing of them."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.questions import BOUNDARY_CAUTION, FIELD_CAUTION, GROUND_CAUTION
from pegline.commands.setout.setting_out import SettingOut, arcs_sentence, line_sentence, unchecked_sentence
from pegline.commands.setout.targets import TargetSet
from pegline.commands.setout.ways import LineWay, Ways
from pegline.commands.sheets import FLOW_LEADING, STROKE_TOLERANCE, TEXT_MM, Flow, SmallMap, field_sheets, write_sheets
from pegline.detail.path import stroke
from pegline.kinds import LANDMARKS
from pegline.measures.notation import Notation
from pegline.plan.display import Item
from pegline.plan.model import Plan
from pegline.writers.csv_cells import text_cell

__all__ = ["setting_out_sheet", "write_setting_out"]


CHECK_COLUMNS_MM: Final = (62.0, 50.0, 36.0, 34.0)  #: breadths of the columns of the checks, mm
MOST_TOGETHER: Final = 20  #: rows of a table that are kept on one sheet


def setting_out_sheet(result: SettingOut) -> Plan:
    """Return the sheets of a setting-out."""
    survey, notation = result.survey, notation_of(result.survey.book)
    flow = Flow("Setting out")
    flow.picture(112.0, lambda box: _map(result, box))
    flow.text(GROUND_CAUTION, bold=True)
    flow.text(f"Lengths are level, in {notation.words}, ± is 1 σ; [ ] is what the tape should read where it differs.")
    for ways in result.ways:
        flow.gap(2.5)
        _target(flow, ways, notation)
        if ways.best is not None and (loose := result.unchecked(ways)):
            flow.text(f"Mind: {unchecked_sentence(loose)}.", indent=6)
    _checks(flow, result)
    title = survey.book.heading
    return field_sheets(survey, title, flow.pages, caution=f"{FIELD_CAUTION} {BOUNDARY_CAUTION}")


def _target(flow: Flow, ways: Ways, notation: Notation) -> None:
    """Tell how one target is set out: the best way, and another."""
    best = ways.best
    if best is None:
        flow.text(f"{ways.name}: no line and no two standing points are in reach.", bold=True)
    elif isinstance(best, LineWay):
        flow.text(f"{ways.name}: from the line {best.line}, {line_sentence(best, notation)}", bold=True)
        if ways.by_arcs:
            flow.text(f"or by {arcs_sentence(ways.by_arcs[0], notation)}", indent=6)
    else:
        flow.text(f"{ways.name}: {arcs_sentence(best, notation)}", bold=True)
        if ways.by_line:
            line = ways.by_line[0]
            flow.text(f"or from the line {line.line}, {line_sentence(line, notation)}", indent=6)


def _checks(flow: Flow, result: SettingOut) -> None:
    notation, square = notation_of(result.survey.book), result.square
    flow.gap(4)
    flow.text(
        f"A right angle by 3-4-5: {notation.length(square.along)} along the line, {notation.length(square.across)}"
        f" across, {notation.length(square.diagonal)} between their ends."
    )
    if not result.checks:
        return
    flow.gap(4)
    flow.room(min(len(result.checks) + 1, MOST_TOGETHER) * (TEXT_MM * FLOW_LEADING + 2))  # a table is not torn apart
    flow.row(["Check before you leave", "should be", "allowed ±", "taped"], CHECK_COLUMNS_MM, bold=True)
    for check in result.checks:
        one, other = check.between
        allowed = notation.accuracy(check.allowed)
        flow.row([f"{one} to {other}", notation.length(check.distance), allowed, ""], CHECK_COLUMNS_MM)


def _map(result: SettingOut, box: tuple[float, float, float, float]) -> Iterator[Item]:
    """Yield the targets, what is about them, and the lines and stations that they are set out from."""
    survey, targets = result.survey, result.targets
    solution = survey.adjustment.solution
    line_names = {way.best.line for way in result.ways if isinstance(way.best, LineWay)}
    lines = [line for name, line in survey.reduction.lines.items() if name in line_names]
    swung = [name for way in result.ways if way.by_arcs for name in way.by_arcs[0].distances]
    ends = {name: solution.position(name) for line in lines for name in (line.start, line.end)}
    anchors = {name: targets.positions.of(name) for name in swung}
    small = SmallMap(box, np.array([*targets.at.values(), *ends.values(), *anchors.values()]))
    for shape in survey.detail.shapes.values():
        if shape.path is not None and shape.kind in LANDMARKS:
            small.line(stroke(shape.path, STROKE_TOLERANCE))
    for line in lines:
        small.line(np.array([ends[line.start], ends[line.end]]), line_type="LONG-SHORT")
    _draw_outlines(small, targets)
    for name, at in {**anchors, **ends}.items():
        if name in solution.index and name in survey.solved.stations:
            small.station(at, name)
        else:
            small.mark(at, name)
    for name, at in targets.at.items():
        small.mark(at, name, bold=True)
    if survey.frame.north:
        small.north(0.0)
    yield from small.items


def _draw_outlines(small: SmallMap, targets: TargetSet) -> None:
    """Draw the outlines of the targets, open where one of their points is none of them."""
    for outline in targets.outlines:
        places = [targets.at.get(name) for name in outline.points]
        corners = np.array([place for place in places if place is not None])
        if len(corners) > 1:
            small.line(corners, closed=outline.closed and len(corners) == len(places), heavy=True)


TARGET_COLUMNS: Final = ("target", "x", "y", "best", "line", "at", "offset", "sd")
NAME_HEIGHT: Final = 0.25  #: height of names in the drawing, metres
MARK: Final = 0.08  #: radius of the mark of a target, metres


def write_setting_out(result: SettingOut, directory: Path, stem: str, formats: str) -> tuple[Path, ...]:
    """Write a setting-out as sheets, a table and a drawing, and return the paths; raises as ``write_sheets``."""
    more = {"csv": lambda _, path: _write_csv(result, path), "dxf": lambda _, path: _write_dxf(result, path)}
    return write_sheets(setting_out_sheet(result), directory, stem, formats, more)


def _write_csv(result: SettingOut, path: Path) -> None:
    """Write the targets, a row each; metres."""
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\r\n")
        table.writerow(TARGET_COLUMNS)
        for ways in result.ways:
            x, y = result.targets.positions.in_frame(ways.position)
            best = "" if ways.best is None else "line" if isinstance(ways.best, LineWay) else "arcs"
            line = ways.by_line[0] if ways.by_line else None
            from_line = (line.line, f"{line.at:.4f}", f"{line.offset:.4f}") if line else ("", "", "")
            sd = f"{ways.best.sd:.4f}" if ways.best else ""
            table.writerow((text_cell(ways.name), f"{x:.4f}", f"{y:.4f}", best, *from_line, sd))


def _write_dxf(result: SettingOut, path: Path) -> None:
    """Write the targets and their outlines, metres of the frame, true size."""
    from ezdxf.filemanagement import new

    from pegline.writers.dxf.file import refuse_unsound, save, without_clock

    positions = result.targets.positions
    drawing = new("R2010", setup=False)
    drawing.header["$INSUNITS"] = 6  # metres
    for layer, colour in (("TARGETS", 1), ("TARGET-NAMES", 7), ("TARGET-LINES", 3), ("NOTES", 7)):
        drawing.layers.add(layer, color=colour)
    space = drawing.modelspace()
    _draw_targets(space, result)
    low = min(positions.in_frame(at)[1] for at in result.targets.at.values())
    left = min(positions.in_frame(at)[0] for at in result.targets.at.values())
    notes = ("Metres. This is not a boundary survey.", BOUNDARY_CAUTION)
    for row, note in enumerate(notes, 1):
        place = (left, low - 3 * NAME_HEIGHT * row)
        space.add_text(note, height=NAME_HEIGHT, dxfattribs={"layer": "NOTES", "insert": place})
    refuse_unsound(drawing)
    with without_clock():
        save(drawing, path)


def _draw_targets(space: Any, result: SettingOut) -> None:
    positions = result.targets.positions
    for name, at in result.targets.at.items():
        x, y = positions.in_frame(at)
        space.add_point((x, y), dxfattribs={"layer": "TARGETS"})
        space.add_circle((x, y), MARK, dxfattribs={"layer": "TARGETS"})
        place = (x + 2 * MARK, y + 2 * MARK)
        space.add_text(name, height=NAME_HEIGHT, dxfattribs={"layer": "TARGET-NAMES", "insert": place})
    for outline in result.targets.outlines:
        points = [positions.in_frame(result.targets.at[name]) for name in outline.points if name in result.targets.at]
        if len(points) > 1:
            closed = outline.closed and len(points) == len(outline.points)
            space.add_lwpolyline(points, close=closed, dxfattribs={"layer": "TARGET-LINES"})
