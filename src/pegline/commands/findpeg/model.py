"""What is told of a lost peg: its witnesses, what else it can be found from, and where a trial peg should go."""

from __future__ import annotations

from collections.abc import Mapping

from pegline.plane import Array
from pegline.records import record
from pegline.reduction.model import Ground
from pegline.survey import Survey

__all__ = ["ArcCentre", "LostPeg", "Move", "Other", "WitnessResult"]


@record(frozen=True, slots=True)
class WitnessResult:
    """One witness of the peg."""

    object: str
    reading: str  #: as booked
    note: str | None
    ground: Ground  #: the distance on the ground, to the middle of something round
    gone: bool
    point: str | None  #: the station or point that it is; None where it is words only
    difference: float | None = None  #: booked less computed, metres
    test: float | None = None
    agrees: bool | None = None  #: None where it cannot be compared

    @property
    def distance(self) -> float:
        """Return the distance on the ground, metres."""
        return self.ground.length


@record(frozen=True, slots=True)
class Other:
    """Something else surveyed that lasts, from which the peg can be found."""

    name: str
    distance: float  #: to hold, on the ground, metres
    gain: float  #: by which share the search radius shrinks with it, 0 to 1; 1 where nothing fixed the peg before


@record(frozen=True, slots=True)
class ArcCentre:
    """Something that an arc is swung from on the ground."""

    name: str
    distance: float  #: on the ground, metres
    booked: bool  #: a witness's own distance; otherwise computed from the survey
    position: Array  #: (2,)


@record(frozen=True, slots=True)
class Move:
    """How far a trial peg stands from where the peg was."""

    distance: float
    bearing: float  #: radians
    toward: str | None
    aside: float  #: angle from the way towards it, radians, clockwise positive


@record(frozen=True, slots=True)
class LostPeg:
    """What is known of a lost peg."""

    survey: Survey
    peg: str
    witnesses: tuple[WitnessResult, ...]
    position: Array  #: (2,) by survey and witnesses together, in the frame about its origin
    covariance: Array  #: (2, 2)
    anchors: tuple[ArcCentre, ...]  #: what the peg is set again by, as far as it is surveyed
    search_radius: float | None  #: holds the re-set peg in 95 of 100 cases, metres; None where nothing fixes it
    disagrees: str | None
    suspects: tuple[str, ...]  #: those of which one is wrong, where they cannot be told apart
    others: tuple[Other, ...]
    move: Move | None
    measured: Mapping[str, float]  #: booked less measured at the trial peg, metres
