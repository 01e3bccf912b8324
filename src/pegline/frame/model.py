"""The frame: decided before anything is solved, so that everything is solved in it once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from pegline.errors import Finding, Place
from pegline.records import record

__all__ = ["Frame", "FrameBearing", "FrameControl", "Step"]


@record(frozen=True, slots=True)
class FrameBearing:
    """A booked bearing turned into the frame."""

    start: str
    end: str
    bearing: float  #: from the frame's +y, clockwise, radians
    sd: float  #: radians
    booked: float  #: as read, mean of the readings, radians
    place: Place


@record(frozen=True, slots=True)
class FrameControl:
    """A known station in the frame."""

    station: str
    x: float  #: metres, less the frame's origin
    y: float
    sd: float  #: of each axis, metres
    place: Place


@record(frozen=True, slots=True)
class Step:
    """One line of the table that leads from the needle to the grid, or from the ground to the grid."""

    what: str
    value: str  #: with its unit and sign, ready to print
    note: str = ""


@record(frozen=True, slots=True)
class Frame:
    """Where the survey is put.

    Bearings and control are empty where the frame has none. In a local frame the base line's
    first station is held at 0, 0 and the line along +x; turned to north, the station is held
    and the bearings turn the figure; on a grid, control and bearings do both.
    """

    kind: Literal["local", "north", "grid"]
    north: Literal["magnetic", "true", "grid"] | None
    wkt: str  #: WKT2 of the CRS that the files are written in; an engineering CRS without control
    crs_name: str  #: for people
    origin: tuple[float, float] = (0.0, 0.0)  #: what is added to solved coordinates at the end, metres
    metres_per_unit: float = (
        1.0  #: of the CRS's own unit; coordinates stay in metres and are divided by it when written
    )
    scale: float = 1.0  #: ground length times this is frame length
    #: Of lines whose own scale can be told from the plot's: their scale over ``scale``. Large plots, high up, only.
    own_scales: Mapping[str, float] = field(default_factory=dict)
    shift_sd: float = 0.0  #: of each axis, common to all places: what the change of datum is good to, metres
    epoch: float | None = None  #: the moment that coordinates of a dynamic CRS hold for, as booked, years
    declination: float | None = None  #: radians, east positive
    convergence: float | None = None  #: radians, positive where true north lies west of grid north
    bearings: tuple[FrameBearing, ...] = ()
    control: tuple[FrameControl, ...] = ()
    steps: tuple[Step, ...] = ()
    warnings: tuple[Finding, ...] = ()
