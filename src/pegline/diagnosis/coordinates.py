"""Control under suspicion, told in the figures that the book has, with the slip of a digit that would explain it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from pegline.book.model import Book
from pegline.diagnosis.explanations import Explanation
from pegline.diagnosis.suspects import Doubt
from pegline.frame.model import Frame
from pegline.measures.control import ControlPoint
from pegline.network.observation_types import Control, Observation

__all__ = ["in_figures"]

#: A slip explains a correction that it meets within so many standard deviations,
MEETS: Final = 2.5
#: and only one that stands out so many times from them: small ones some digit always explains.
STANDS_OUT: Final = 10.0


def in_figures(
    groups: Sequence[Sequence[Doubt]], observations: Sequence[Observation], book: Book, frame: Frame
) -> list[list[Doubt]]:
    """Return the doubts with control told as it is booked."""
    return [[_in_figures(doubt, observations[doubt.number], book, frame) for doubt in group] for group in groups]


def _in_figures(doubt: Doubt, one: Observation, book: Book, frame: Frame) -> Doubt:
    if not isinstance(one, Control) or book.control is None:
        return doubt
    point = next(p for p in book.control.points if p.station == one.station)
    axis = "easting" if one.along[0] else "northing"
    booked = point.easting if axis == "easting" else point.northing
    on_grid = (one.booking.value + frame.origin[0 if axis == "easting" else 1]) / frame.metres_per_unit
    change, sd = doubt.correction / frame.metres_per_unit, doubt.sd / frame.metres_per_unit
    if booked is None or point.crs not in (None, book.control.crs):
        # Booked in other figures than the grid's: what it makes there, and what it should make.
        told = f"{_other_figures(point)}: {axis} {on_grid:.3f} on the grid"
        return replace(doubt, reading=told, would_be=f"{axis} {on_grid + change:.3f} on the grid")
    slip = _slip(doubt, booked, change, sd, axis)
    meant = slip.would_be if slip else f"{axis} {booked + change:.3f}"
    return replace(doubt, reading=f"{axis} {booked:.3f}", would_be=meant, slip=slip)


def _other_figures(point: ControlPoint) -> str:
    if point.latitude_deg is not None:
        return f"latitude {point.latitude_deg:.8g}, longitude {point.longitude_deg:.8g}"
    return f"easting {point.easting}, northing {point.northing} in {point.crs}"


def _slip(doubt: Doubt, booked: float, change: float, sd: float, axis: str) -> Explanation | None:
    """Return the slip of a digit that meets a correction best, if one does."""
    from pegline.frame.control_mistakes import other_digits  # brings pyproj, which control has loaded by now

    if abs(change) < STANDS_OUT * sd:
        return None
    words, meant = min(other_digits(f"{booked:.3f}"), key=lambda other: abs(other[1] - booked - change))
    if abs(meant - booked - change) > MEETS * sd:
        return None
    return Explanation(
        words=f"{words} in the {axis}",
        reading=f"{axis} {booked:.3f}",
        would_be=f"{axis} {meant:.3f}",
        place=doubt.place,
        change=doubt.correction,
        edits=(),
        kind="digit",
    )
