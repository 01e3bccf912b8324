"""The sheets of a drawing: one layout each, with a locked window onto the plan at its scale."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import degrees
from typing import Any, Final

import numpy as np

from pegline.plan.display import Stroke, Words, turning_matrix
from pegline.plan.model import Plan, Sheet
from pegline.plan.style import LINE_TYPES, Layer
from pegline.writers.dxf.entities import LEFT_ALIGNED, MIDDLE, RIGHT, Drawn, Entities, look
from pegline.writers.dxf.text import drawing_text, finite

__all__ = ["add_layouts"]

LOCKED = 0x4000  #: flag of a window whose scale must not be changed by chance
ALIGNMENTS: Final = {"left": LEFT_ALIGNED, "middle": MIDDLE, "right": RIGHT}


def add_layouts(doc: Any, plan: Plan, origin: Any, unit: float, names: Mapping[str, str], style: str) -> list[Drawn]:
    """Add a layout for each sheet of a plan, and return them with what is to be put into each."""
    layouts: list[Drawn] = []
    for number, sheet in enumerate(plan.sheets):
        if number == 0:
            doc.layouts.rename("Layout1", sheet.name)
            layout = doc.layouts.get(sheet.name)
        else:
            layout = doc.layouts.new(sheet.name)
        _set_up(layout, sheet)
        if sheet.window is not None:
            _window(layout, plan, sheet, origin, unit, names)
        entities = Entities(layout, style, most=len(sheet.page.items))
        layouts.append((layout, _texts(entities, plan, sheet, unit, names)))
    return layouts


def _texts(entities: Entities, plan: Plan, sheet: Sheet, unit: float, names: Mapping[str, str]) -> Iterator[str]:
    for item in sheet.page.items:
        if isinstance(item, Words):
            yield from _words(entities, item, names)
        else:
            yield from _stroke(entities, item, names, unit * 1000 / plan.scale, plan.layers[item.look])


def _set_up(layout: Any, sheet: Sheet) -> None:
    width, height = sheet.page.width, sheet.page.height
    layout.page_setup(size=(width, height), margins=(0, 0, 0, 0), units="mm", scale=(1, 1), name=f"ISO_{sheet.paper}")
    layout.dxf.plot_configuration_file = ""  # whoever plots it chooses the printer, and its paper
    layout.dxf.paper_size = ""


def _window(layout: Any, plan: Plan, sheet: Sheet, origin: Any, unit: float, names: Mapping[str, str]) -> None:
    left, bottom, right, top = sheet.window or (0.0, 0.0, 0.0, 0.0)
    centre = turning_matrix(sheet.turn) @ (np.array(sheet.centre) / unit + origin)  # as the turned view has it
    finite(centre, sheet.name)
    viewport = layout.add_viewport(
        center=((left + right) / 2, (bottom + top) / 2),
        size=(right - left, top - bottom),
        view_center_point=tuple(centre.tolist()),
        view_height=(top - bottom) * plan.metres_per_mm / unit,
        status=2,
        dxfattribs={"layer": names["SHEET-WINDOW"]},
    )
    viewport.dxf.flags |= LOCKED
    viewport.dxf.view_twist_angle = degrees(sheet.turn)
    silent = [names[name] for name, layer in plan.layers.items() if not layer.plots or name == "NOTES"]
    viewport.frozen_layers = [name for name in silent if name in layout.doc.layers]  # the sheet shows what it prints


def _stroke(
    entities: Entities, stroke: Stroke, names: Mapping[str, str], line_scale: float, drawn_as: Layer
) -> Iterator[str]:
    finite(stroke.points.ravel(), stroke.layer)
    # Line types are sized for the plan; a sheet is in millimetres.
    line_type = stroke.line_type or drawn_as.line_type
    scale = line_scale if LINE_TYPES[line_type] else 1.0
    if stroke.looks_like:
        where = look(names[stroke.layer], line_type, scale, drawn_as.index, drawn_as.weight)
    else:
        where = look(names[stroke.layer], stroke.line_type, scale)
    points = stroke.points.tolist()
    if stroke.fill == 0.0 and len(points) in (3, 4):
        yield entities.solid(where, points)
    elif stroke.drawn:
        yield entities.polyline(where, [(x, y, 0.0) for x, y in points], closed=stroke.closed)


def _words(entities: Entities, words: Words, names: Mapping[str, str]) -> Iterator[str]:
    finite([words.x, words.y, words.rotation, words.height], words.text)
    if text := drawing_text(words.text):
        at = float(words.x), float(words.y)
        place = ALIGNMENTS[words.anchor]
        yield entities.text(look(names[words.layer]), text, at, words.height, degrees(words.rotation), place)
