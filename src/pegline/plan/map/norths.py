"""The norths beside the one that the frame has."""

from __future__ import annotations

from typing import Final

from pegline.frame.model import Frame

__all__ = ["NEEDLE_SD", "magnetic_bearing", "other_norths"]

#: Degrees: what models of the earth's field say of the declination at a place (their makers tell 0.4° or so on land).
NEEDLE_SD: Final = 0.4


def other_norths(frame: Frame) -> list[tuple[str, float]]:
    """Return the other norths as angles east of the frame's, radians."""
    true = -frame.convergence if frame.north == "grid" and frame.convergence is not None else None
    others = [] if true is None else [("True", true)]
    if frame.declination is not None and frame.north in ("grid", "true"):
        others.append(("Magnetic", frame.declination + (true or 0.0)))
    if frame.declination is not None and frame.north == "magnetic":
        others.append(("True", -frame.declination))
    return others


def magnetic_bearing(frame: Frame, bearing: float) -> float | None:
    """Return what a compass reads along a bearing from the frame's north, radians; None where nobody knows."""
    if frame.north == "magnetic":
        return bearing
    return next((bearing - east for name, east in other_norths(frame) if name == "Magnetic"), None)
