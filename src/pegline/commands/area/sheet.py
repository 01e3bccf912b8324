"""The sheet of areas: a map with the dividing lines, and the figures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.area.areas import AreaResult, small_area
from pegline.commands.positions import Positions
from pegline.commands.questions import AREA_CAUTION
from pegline.commands.sheets import STROKE_TOLERANCE, Flow, SmallMap, field_sheets
from pegline.detail.path import stroke
from pegline.plan.display import Item
from pegline.plan.model import Plan

__all__ = ["area_sheet"]

WIDTHS = (70.0, 62.0, 50.0)  #: of the table's columns, mm


def area_sheet(result: AreaResult) -> Plan:
    """Return the sheet of a survey's areas."""
    survey = result.survey
    notation = notation_of(survey.book)
    flow = Flow("Areas")
    flow.picture(120.0, lambda box: _map(result, box))
    flow.row(["", f"area (± 1 σ), {notation.areas[0]}", "round it"], WIDTHS, bold=True)
    for name, each in result.areas.items():
        spread = small_area(each.area_sd, notation)
        flow.row([name, f"{notation.area(each.area)} ± {spread}", notation.length(each.perimeter)], WIDTHS)
        for rule, size in (("by the trapezoidal rule", each.trapezoidal), ("by Simpson's rule", each.simpson)):
            if size is not None:
                flow.row([f"  {rule}", notation.area(size), ""], WIDTHS)
    if result.division:
        _division(flow, result)
    title = survey.book.heading
    return field_sheets(survey, title, flow.pages, caution=AREA_CAUTION)


def _division(flow: Flow, result: AreaResult) -> None:
    division, notation = result.division, notation_of(result.survey.book)
    if division is None:
        return
    flow.gap(4)
    flow.text(f"Division of {division.of}", bold=True)
    for number, end in enumerate(division.ends, 1):
        away = f"{notation.length(end.distance)} from {end.start} along {end.side}"
        flow.text(f"d{number}: {away} (± {notation.accuracy(end.sd)}, 1 σ)", indent=4)
    for number, part in enumerate(division.parts, 1):
        spread = small_area(part.area_sd, notation)
        share = f"{part.share * 100:.3f} % of the whole"
        flow.text(f"part {number}: {notation.area(part.area)} ± {spread}, {share}", indent=4)
    total = sum(part.area for part in division.parts)
    flow.text(f"Proof: the parts, each from its own outline, add up to {notation.area(total)}.", indent=4)


def _map(result: AreaResult, box: tuple[float, float, float, float]) -> Iterator[Item]:
    """Yield the rings and strips, the dividing lines heavy, their ends named as in the table."""
    survey = result.survey
    positions = Positions(survey)
    outlines = {name: stroke(each.outline, STROKE_TOLERANCE) for name, each in result.areas.items()}
    small = SmallMap(box, np.vstack(list(outlines.values())))
    for points in outlines.values():
        small.line(points, closed=True)
    if result.division:
        ends = result.division.ends
        for first, second in zip(ends[::2], ends[1::2], strict=True):
            small.line(np.array([first.position, second.position]), heavy=True)
        for number, end in enumerate(ends, 1):
            small.mark(end.position, f"d{number}", bold=True)
        for corner in dict.fromkeys(end.start for end in ends):
            if positions.point_behind(corner):
                small.mark(positions.of(corner), corner)
    for name, points in outlines.items():
        small.area_name(points, name)
    if survey.frame.north:
        small.north(0.0)
    yield from small.items
