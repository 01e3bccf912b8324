"""What a drawing says of itself in words beside the plan, where every program shows it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from pegline.diagnosis.report import headline
from pegline.plan.model import Ellipse, Plan

__all__ = ["notes", "old_properties", "properties", "shifted_grid"]

FALSE_ORIGIN: Final = re.compile(r'(PARAMETER\["False_(Easting|Northing)",)([^\]]+)\]', re.IGNORECASE)
EXAMPLE: Final = 10.0  #: metres, a length of which the notes say what it measures in the drawing


def notes(plan: Plan, shift: tuple[float, float], unit: str) -> Iterator[str]:
    """Yield the notes of a drawing, the most important first.

    Parameters
    ----------
    plan
        What is drawn.
    shift
        What was taken off every easting and northing, in the drawing's unit.
    unit
        The drawing's unit in words.
    """
    frame, book = plan.survey.frame, plan.survey.book
    yield headline(plan.survey.solved)
    yield "This is not a boundary survey. Where a legal boundary lies is for a licensed land surveyor to say."
    north = f"{frame.north} north up" if frame.north else "not turned to north; the base line runs along x"
    yield f"Coordinates are in {unit}, in {frame.crs_name}, {north}."
    if frame.scale != 1.0:
        measured = EXAMPLE * frame.scale
        yield (
            f"Scale factor {frame.scale:.6f}: {EXAMPLE:.3f} m on the ground is {measured:.3f} m here."
            " Figures written in the drawing are lengths on the ground."
        )
    east, north_shift = shift
    if east or north_shift:
        yield f"Drawn near the origin: add {east:.0f} E, {north_shift:.0f} N to its coordinates."
    yield f"Texts and symbols have their size at 1:{plan.scale}."
    if any(isinstance(feature.geometry, Ellipse) for feature in plan.features):
        yield f"Ellipses are of 95 %, drawn {plan.ellipse_scale} times their size."
    day = f", measured {book.date.isoformat()}" if book.date else ""
    yield f"From {book.file}{day}."


def properties(plan: Plan) -> Iterator[tuple[str, str]]:
    """Yield what the drawing's properties say."""
    yield "Survey", plan.title
    yield "Field book", plan.survey.book.file
    yield "SHA-256 of the field book", plan.survey.book.sha256
    yield "Scale", f"1:{plan.scale}"
    yield "Frame", plan.survey.frame.crs_name
    yield "Checked", headline(plan.survey.solved)
    yield "Ellipses", f"95 %, drawn {plan.ellipse_scale} times their size"
    yield "Caution", "not a boundary survey"


def old_properties(title: str, pairs: Sequence[tuple[str, str]]) -> Iterator[tuple[int, str | float]]:
    """Yield properties as the groups of the record where R2000 keeps them: later versions have them in the header.

    It has places for ten of the writer's own, and says how many there are.
    """
    own = [f"{key}={value}" for key, value in pairs][:10]
    yield from ((1, "DWGPROPS COOKIE"), (2, title), (3, ""), (4, ""), (6, ""), (7, ""), (8, "pegline"), (9, ""))
    yield from ((300 + i, own[i] if i < len(own) else "=") for i in range(10))
    yield from ((40, 0.0), (41, 0.0), (42, 0.0), (1, ""), (90, len(own)))


def shifted_grid(prj: str, east: float, north: float) -> str | None:
    """Return a projected CRS whose coordinates are smaller by a shift, in its own unit; None where it has no such form.

    The projection's false origin moves with the coordinates. It gets a name of its own, so that no program
    takes it for the grid that it came from.

    Examples
    --------
    >>> shifted_grid('PROJCS["G",PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0]]', 466e3, 5e6)
    'PROJCS["G less 466000 E 5000000 N",PARAMETER["False_Easting",34000.0],PARAMETER["False_Northing",-5000000.0]]'
    """
    if sorted(name.lower() for _, name, _ in FALSE_ORIGIN.findall(prj)) != ["easting", "northing"]:
        return None

    def shift(match: re.Match[str]) -> str:
        return f"{match[1]}{float(match[3]) - (east if match[2].lower() == 'easting' else north)}]"

    named = re.sub(r'^PROJCS\["([^"]*)"', rf'PROJCS["\1 less {east:.0f} E {north:.0f} N"', prj)
    return FALSE_ORIGIN.sub(shift, named)
