"""The sheets of a drawing: one layout each, with a locked window onto the plan at its scale."""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees
from typing import Any

import numpy as np

from pegline.plan.display import Stroke, Words
from pegline.plan.model import Plan, Sheet
from pegline.plan.style import LINE_TYPES
from pegline.writers.dxf_text import drawing_text, finite

__all__ = ["add_layouts"]

LOCKED = 0x4000  #: flag of a window whose scale must not be changed by chance


def add_layouts(doc: Any, plan: Plan, origin: Any, names: Mapping[str, str], style: str) -> None:
    """Add a layout for each sheet of a plan."""
    for number, sheet in enumerate(plan.sheets):
        if number == 0:
            doc.layouts.rename("Layout1", sheet.name)
            layout = doc.layouts.get(sheet.name)
        else:
            layout = doc.layouts.new(sheet.name)
        _set_up(layout, sheet)
        if sheet.window is not None:
            _window(layout, plan, sheet, origin, names)
        for item in sheet.page.items:
            if isinstance(item, Words):
                _words(layout, item, names, style)
            else:
                _stroke(layout, item, names, 1000 / plan.scale, plan.layers[item.layer].line_type)


def _set_up(layout: Any, sheet: Sheet) -> None:
    width, height = sheet.page.width, sheet.page.height
    layout.page_setup(size=(width, height), margins=(0, 0, 0, 0), units="mm", scale=(1, 1), name=f"ISO_{sheet.paper}")


def _window(layout: Any, plan: Plan, sheet: Sheet, origin: Any, names: Mapping[str, str]) -> None:
    left, bottom, right, top = sheet.window or (0.0, 0.0, 0.0, 0.0)
    centre = np.array(sheet.centre) + origin
    finite(centre, sheet.name)
    viewport = layout.add_viewport(
        center=((left + right) / 2, (bottom + top) / 2),
        size=(right - left, top - bottom),
        view_center_point=tuple(centre.tolist()),
        view_height=(top - bottom) * plan.metres_per_mm,
        status=2,
        dxfattribs={"layer": names["SHEET-WINDOW"]},
    )
    viewport.dxf.flags |= LOCKED
    silent = [names[name] for name, layer in plan.layers.items() if not layer.plots]
    viewport.frozen_layers = [name for name in silent if name in layout.doc.layers]  # the sheet shows what it prints


def _stroke(layout: Any, stroke: Stroke, names: Mapping[str, str], line_scale: float, of_layer: str) -> None:
    finite(stroke.points.ravel(), stroke.layer)
    attribs: dict[str, Any] = {"layer": names[stroke.layer]}
    if stroke.line_type:
        attribs["linetype"] = stroke.line_type
    if LINE_TYPES[stroke.line_type or of_layer]:
        attribs["ltscale"] = line_scale  # line types are sized for the plan; a sheet is in millimetres
    points = [(float(x), float(y)) for x, y in stroke.points]
    if stroke.fill == 0.0 and len(points) in (3, 4):
        layout.add_solid(
            points if len(points) == 3 else [points[0], points[1], points[3], points[2]], dxfattribs=attribs
        )
    elif stroke.drawn:
        layout.add_lwpolyline(points, close=stroke.closed, dxfattribs=attribs)


def _words(layout: Any, words: Words, names: Mapping[str, str], style: str) -> None:
    from ezdxf.enums import TextEntityAlignment

    text = drawing_text(words.text)
    if not text:
        return
    finite([words.x, words.y], words.text)
    attribs = {"layer": names[words.layer], "style": style}
    entity = layout.add_text(text, height=words.height, rotation=degrees(words.rotation), dxfattribs=attribs)
    align = {
        "left": TextEntityAlignment.LEFT,
        "middle": TextEntityAlignment.CENTER,
        "right": TextEntityAlignment.RIGHT,
    }[words.anchor]
    entity.set_placement((words.x, words.y), align=align)
