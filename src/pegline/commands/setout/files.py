"""What a setting-out is written as: sheets, a table of the targets, a drawing of them."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Final

from pegline.commands.judgement import BOUNDARY_CAUTION
from pegline.commands.setout.setting_out import SettingOut
from pegline.commands.setout.sheet import setting_out_sheet
from pegline.commands.setout.ways import LineWay
from pegline.commands.sheets import write_sheets
from pegline.writers.csv import safe

__all__ = ["write_setting_out"]

COLUMNS: Final = ("target", "x", "y", "best", "line", "at", "offset", "sd")
TEXT: Final = 0.25  #: height of names in the drawing, metres
MARK: Final = 0.08  #: radius of the mark of a target, metres


def write_setting_out(result: SettingOut, directory: Path, stem: str, formats: str) -> tuple[Path, ...]:
    """Write a setting-out as sheets, a table and a drawing, and return the paths; raises as ``write_sheets``."""
    more = {"csv": lambda _, path: _write_csv(result, path), "dxf": lambda _, path: _write_dxf(result, path)}
    return write_sheets(setting_out_sheet(result), directory, stem, formats, more)


def _write_csv(result: SettingOut, path: Path) -> None:
    """Write the targets, a row each; metres."""
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\r\n")
        table.writerow(COLUMNS)
        for ways in result.ways:
            x, y = result.targets.positions.in_frame(ways.position)
            best = "" if ways.best is None else "line" if isinstance(ways.best, LineWay) else "arcs"
            line = ways.by_line[0] if ways.by_line else None
            from_line = (line.line, f"{line.at:.4f}", f"{line.offset:.4f}") if line else ("", "", "")
            sd = f"{ways.best.sd:.4f}" if ways.best else ""
            table.writerow((safe(ways.name), f"{x:.4f}", f"{y:.4f}", best, *from_line, sd))


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
    for name, at in result.targets.at.items():
        x, y = positions.in_frame(at)
        space.add_point((x, y), dxfattribs={"layer": "TARGETS"})
        space.add_circle((x, y), MARK, dxfattribs={"layer": "TARGETS"})
        place = (x + 2 * MARK, y + 2 * MARK)
        space.add_text(name, height=TEXT, dxfattribs={"layer": "TARGET-NAMES", "insert": place})
    for outline in result.targets.outlines:
        points = [positions.in_frame(result.targets.at[name]) for name in outline.points if name in result.targets.at]
        if len(points) > 1:
            closed = outline.closed and len(points) == len(outline.points)
            space.add_lwpolyline(points, close=closed, dxfattribs={"layer": "TARGET-LINES"})
    low = min(positions.in_frame(at)[1] for at in result.targets.at.values())
    left = min(positions.in_frame(at)[0] for at in result.targets.at.values())
    notes = ("Metres. This is not a boundary survey.", BOUNDARY_CAUTION)
    for row, note in enumerate(notes, 1):
        place = (left, low - 3 * TEXT * row)
        space.add_text(note, height=TEXT, dxfattribs={"layer": "NOTES", "insert": place})
    refuse_unsound(drawing)
    with without_clock():
        save(drawing, path)
