"""What a drawing says of itself: units and extents in its header, the survey's facts as its properties."""

from __future__ import annotations

from typing import Any

from pegline.plan.model import Plan, Position
from pegline.plane import Array
from pegline.writers.dxf.tables import DIMENSION_STYLE, TEXT_STYLE
from pegline.writers.dxf.text import drawing_text, old_properties, properties

__all__ = ["set_header", "set_properties"]


def set_header(doc: Any, low: Position, high: Position, unit: int) -> None:
    """Enter units and the room that is drawn on, and show all of it.

    Parameters
    ----------
    low, high
        Lower left and upper right corner of all that is drawn, notes too.
    unit
        $INSUNITS; 0 for none.
    """
    header, space = doc.header, doc.modelspace()
    doc.units = unit
    header["$MEASUREMENT"] = 1
    header["$LUNITS"], header["$LUPREC"] = 2, 3
    header["$AUNITS"], header["$AUPREC"] = 1, 4  # degrees, minutes, seconds
    header["$ANGBASE"], header["$ANGDIR"] = 90.0, 1  # angles read as bearings
    header["$LTSCALE"], header["$PSLTSCALE"] = 1.0, 0
    header["$LWDISPLAY"] = 1
    header["$TEXTSTYLE"], header["$DIMSTYLE"] = TEXT_STYLE, DIMENSION_STYLE
    header["$EXTMIN"], header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
    header["$LIMMIN"], header["$LIMMAX"] = low, high
    space.reset_extents((*low, 0.0), (*high, 0.0))
    space.reset_limits(low, high)
    middle = (low[0] + high[0]) / 2, (low[1] + high[1]) / 2
    height = max(high[1] - low[1], (high[0] - low[0]) / 1.6, 1.0)
    doc.set_modelspace_vport(height=height * 1.1, center=middle)


def set_properties(doc: Any, plan: Plan, shift: Array) -> None:
    """Enter what the drawing says of itself in its properties.

    Parameters
    ----------
    shift
        (2,) what was taken off every coordinate, in the drawing's unit.
    """
    property_pairs = [(key, drawing_text(value)) for key, value in properties(plan)]
    east, north = shift
    if east or north:
        property_pairs.append(("Add to coordinates", f"{east:.0f} E, {north:.0f} N"))
    for key, value in property_pairs:
        doc.header.custom_vars.append(key, value)
    if plan.options.dxf_version == "R2000":
        doc.rootdict.add_xrecord("DWGPROPS").reset(old_properties(drawing_text(plan.title), property_pairs))
