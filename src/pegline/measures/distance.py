"""Distances taped off any line: dimensions, arcs from known points, walls, witnesses."""

from __future__ import annotations

from dataclasses import dataclass

from pegline.errors import Place
from pegline.measures.values import Accuracy, Pair, Reading, Side


@dataclass(frozen=True, slots=True)
class Dimension:
    """A distance between two points, or a point and a station."""

    pair: Pair
    readings: tuple[Reading, ...]
    place: Place
    accuracy: Accuracy | None = None
    note: str | None = None
    page: str | None = None


@dataclass(frozen=True, slots=True)
class Arm:
    """One distance of an arc: from a known point."""

    start: str
    readings: tuple[Reading, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Arc:
    """A point fixed by distances from two or more others."""

    point: str
    arms: tuple[Arm, ...]
    place: Place
    side: Side | None = None
    accuracy: Accuracy | None = None
    note: str | None = None
    page: str | None = None


@dataclass(frozen=True, slots=True)
class Wall:
    """One wall of a right-angled round: a turn (left or right), then its length."""

    left: bool
    readings: tuple[Reading, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Witness:
    """A distance from a lasting object to a peg."""

    object: str
    readings: tuple[Reading, ...]
    place: Place
    note: str | None = None
