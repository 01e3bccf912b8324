"""A figure of stations and points as it grows, and what a book hints about it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pegline.errors import Place
from pegline.measures.values import Side
from pegline.network.arc_intersection import XY, ArcAboutStation
from pegline.network.observation_types import Chainage, Distance, Group, Observation
from pegline.network.start_points import Bookings
from pegline.records import record

__all__ = ["Figure", "Gap", "Hints"]


@record(frozen=True, slots=True)
class Gap:
    """Arcs that do not meet."""

    point: str  #: the point that they should give
    gap: float  #: what is missing (or too much) between them, metres
    observations: tuple[Distance, ...]  #: the two arcs, then the line between the centres where it was taped
    radii: tuple[float, float]  #: of the two arcs, metres
    apart: float  #: of their centres, metres

    def words(self, length: Callable[[float], str]) -> str:
        """Return what does not meet and by how much.

        Parameters
        ----------
        length
            Writes metres in the units of the book.
        """
        one, other = (arc.start if arc.end == self.point else arc.end for arc in self.observations[:2])
        arcs = f"{length(self.radii[0])} from {one} and {length(self.radii[1])} from {other}"
        apart = f"which are {length(self.apart)} apart"
        if length(self.gap) == length(0.0):
            return f"the arcs to {self.point} only touch: {arcs}, {apart}, so that it would stand in line with them"
        how = "too short by" if self.apart > sum(self.radii) else "one too large by"
        return f"the arcs to {self.point} do not meet: {arcs}, {apart}, {how} {length(self.gap)}"


@record(frozen=True, slots=True)
class Hints:
    """What a book says about where things are, beside its measurements."""

    sides: Mapping[str, Side]  #: of stations, and of points fixed by arcs
    sketches: Mapping[str, XY]  #: rough positions, any unit
    places: Mapping[str, Place]  #: where each point is first booked


@dataclass(slots=True)
class Figure:
    """The figure as it grows."""

    observations: Sequence[Observation]
    hints: Hints
    at: dict[str, XY] = field(default_factory=dict)
    rough: dict[str, float] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)
    pairs: dict[str, tuple[str, str]] = field(default_factory=dict)
    arcs: dict[str, list[ArcAboutStation]] = field(default_factory=lambda: defaultdict(list))
    lines: dict[str, list[tuple[int, Distance, str]]] = field(default_factory=lambda: defaultdict(list))
    referred: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    on_lines: dict[str, list[tuple[int, Chainage]]] = field(default_factory=lambda: defaultdict(list))
    rangings: dict[Group, int] = field(default_factory=dict)
    heap: list[tuple[tuple[Any, ...], str, ArcAboutStation, ArcAboutStation]] = field(default_factory=list)
    waiting: set[tuple[int, int]] = field(default_factory=set)
    unsettled: dict[str, tuple[ArcAboutStation, ArcAboutStation]] = field(default_factory=dict)
    gaps: dict[str, tuple[float, ArcAboutStation, ArcAboutStation]] = field(default_factory=dict)
    booked: Bookings = field(default_factory=dict)
    tentative: bool = False
    bent: bool = False
