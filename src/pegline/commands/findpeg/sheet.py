"""The sheet that goes out with whoever looks for a peg: a sketch with the arcs, and the steps."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.findpeg.model import LostPeg
from pegline.commands.findpeg.steps import steps
from pegline.commands.questions import BOUNDARY_CAUTION, FIELD_CAUTION
from pegline.commands.sheets import STROKE_TOLERANCE, Flow, SmallMap, field_sheets
from pegline.detail.path import stroke
from pegline.plan.display import Item
from pegline.plan.model import Plan
from pegline.plane import Array, bearing, direction

__all__ = ["peg_sheet"]

ARC_HALF_ANGLE = 0.16  #: half the angle that an arc is drawn over, radians
SKETCH_REACH = 3.0  #: how far beyond peg and anchors the sketch reaches, metres


def peg_sheet(lost: LostPeg) -> Plan:
    """Return the sheet for a lost peg."""
    flow = Flow(f"How to find {lost.peg} again")
    flow.picture(115.0, lambda box: _map(lost, box))
    for number, text in enumerate(steps(lost), 1):
        flow.step(number, text)
    if lost.others:
        flow.gap(3)
        flow.text("Other surveyed things in reach, the best angle first:", bold=True)
        notation = notation_of(lost.survey.book)
        flow.text("; ".join(f"{other.name} {notation.length(other.distance)}" for other in lost.others) + ".")
    title = lost.survey.book.heading
    return field_sheets(lost.survey, title, flow.pages, caution=f"{FIELD_CAUTION} {BOUNDARY_CAUTION}")


def _map(lost: LostPeg, box: tuple[float, float, float, float]) -> Iterator[Item]:
    """Yield what lies about the peg, and an arc about each thing that the tape is hooked on."""
    scale = lost.survey.frame.scale
    corners = np.array([lost.position, *(anchor.position for anchor in lost.anchors)])
    low, high = corners.min(axis=0) - SKETCH_REACH, corners.max(axis=0) + SKETCH_REACH
    small = SmallMap(box, np.array([low, high]))
    for points in _outlines(lost, low, high):
        small.line(points)
    notation = notation_of(lost.survey.book)
    for anchor in lost.anchors:
        small.line(_arc(lost.position, anchor.position, anchor.distance * scale), heavy=True)
        small.line(np.array([anchor.position, lost.position]), line_type="SHORT-DASH")
        small.along(anchor.position, lost.position, notation.figure(anchor.distance))
        small.mark(anchor.position, anchor.name)
    small.station(lost.position, lost.peg)
    if lost.survey.frame.north:
        small.north(0.0)
    yield from small.items


def _arc(peg: Array, anchor: Array, radius: float) -> Array:
    """Return points of the arc about an anchor where it passes the peg."""
    middle = float(bearing(anchor, peg))
    spread = min(ARC_HALF_ANGLE, pi / 2)
    return np.asarray(anchor + radius * direction(np.linspace(middle - spread, middle + spread, 17)))


def _outlines(lost: LostPeg, low: Array, high: Array) -> Iterator[Array]:
    """Yield the pieces of lines and areas that lie about the peg, metres."""
    from shapely import LineString, box

    window = box(*low, *high)
    for shape in lost.survey.detail.shapes.values():
        if shape.path is None:
            continue
        inside = LineString(stroke(shape.path, STROKE_TOLERANCE)).intersection(window)
        for part in getattr(inside, "geoms", [inside]):
            if part.geom_type == "LineString" and not part.is_empty:
                yield np.array(part.coords)
