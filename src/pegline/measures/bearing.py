"""Bearings to lines, and what north they are from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pegline.errors import Place
from pegline.measures.values import Angle, Pair

NorthFrom = Literal["magnetic", "true", "grid"]


@dataclass(frozen=True, slots=True)
class Bearing:
    """The bearing of a line walked from start to end, read once or more."""

    pair: Pair
    angles: tuple[Angle, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class North:
    """All bearings of a book."""

    reference: NorthFrom  #: the key ``from``
    bearings: tuple[Bearing, ...]
    place: Place
    declination: Angle | None = None  #: east positive
    accuracy: Angle | None = None  #: standard deviation of one bearing
