"""A figure of stations and points as it grows, and what a book hints about it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
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


@record(frozen=True, slots=False)
class Hints:
    """What a book says about where things are, beside its measurements."""

    sides: Mapping[str, Side]  #: of stations, and of points fixed by arcs
    sketches: Mapping[str, XY]  #: rough positions, any unit
    look_up_places: Callable[[], Mapping[str, Place]]  #: where each point is first booked: asked for faults only

    @cached_property
    def places(self) -> Mapping[str, Place]:
        """Return where each point is first booked."""
        return self.look_up_places()


@dataclass(slots=True)
class Figure:
    """The figure as it grows: what is known of it after each step.

    It is mutable, as no record that a stage hands on is: each point that is placed lets others follow, and a large
    survey would be copied once for each of its points. ``start_figure`` alone makes and changes it, and what it hands
    on, a ``Start``, is frozen.
    """

    # What is given.
    observations: Sequence[Observation]
    hints: Hints
    booked: Bookings = field(default_factory=dict)  #: of each point that shares equations
    # What of it is looked up by point.
    #: lines to each station: number, length, and the other end
    lines: dict[str, list[tuple[int, Distance, str]]] = field(default_factory=lambda: defaultdict(list))
    #: chainages of tie stations in whose row each station stands: number and chainage
    on_lines: dict[str, list[tuple[int, Chainage]]] = field(default_factory=lambda: defaultdict(list))
    rangings: dict[Group, int] = field(default_factory=dict)  #: number of each tie station's ranging, by its row
    referred: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))  #: who has a side of its lines
    # What is placed.
    at: dict[str, XY] = field(default_factory=dict)  #: metres on the ground, the base line along +x from its start
    rough: dict[str, float] = field(default_factory=dict)  #: how well each point is placed, metres
    used: set[int] = field(default_factory=set)  #: numbers of the observations that placed points
    pairs: dict[str, tuple[str, str]] = field(default_factory=dict)  #: for points cut by two arcs, the centres
    bent: bool = False  #: something stands off the base line
    tentative: bool = False  #: a hand was guessed, and nothing has told yet whether it is the right one
    # What is not placed yet.
    arcs: dict[str, list[ArcAboutStation]] = field(default_factory=lambda: defaultdict(list))  #: to each station
    #: pairs of arcs that are still to be tried, the best first
    heap: list[tuple[bool, float, tuple[Any, ...], str, ArcAboutStation, ArcAboutStation]] = field(default_factory=list)
    waiting: set[tuple[int, int]] = field(default_factory=set)  #: numbers of the arcs of each pair on the heap
    #: stations of whose two places nothing tells which is meant, with the arcs
    unsettled: dict[str, tuple[ArcAboutStation, ArcAboutStation]] = field(default_factory=dict)
    #: what the nearest arcs of a station lack to meet, metres, with these
    gaps: dict[str, tuple[float, ArcAboutStation, ArcAboutStation]] = field(default_factory=dict)
